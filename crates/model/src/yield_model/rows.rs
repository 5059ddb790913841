//! Which tree-seasons enter the yield model.

use super::YieldError;
use crate::table::TreeSeasons;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// Tree-seasons used and left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowUse {
    /// Tree-seasons of the linked table.
    pub read: u64,
    /// Tree-seasons in the model.
    pub used: u64,
    /// Left out by reason.
    pub left_out: Vec<(String, u64)>,
}

/// Rows with a finite yield of trees past the training age that no trial treated otherwise.
pub(crate) fn usable(table: &TreeSeasons) -> Result<(TreeSeasons, RowUse), YieldError> {
    let young = |row: &usize| table.young[*row];
    let weighed =
        |row: &usize| table.yield_kg[*row].is_finite() && table.intensity[*row].is_finite();
    let all = 0..table.len();
    let too_young = all.clone().filter(young).count();
    let otherwise = |row: &usize| table.treated_otherwise[*row] && !young(row);
    let treated_otherwise = all.clone().filter(otherwise).count();
    let rows: Vec<usize> =
        all.filter(|row| !young(row) && !otherwise(row) && weighed(row)).collect();
    let unweighed = table.len() - too_young - treated_otherwise - rows.len();
    let use_ = RowUse {
        read: table.len() as u64,
        used: rows.len() as u64,
        left_out: [
            (text!("tree under the training age"), too_young as u64),
            (text!("tree in a trial of something else than pruning"), treated_otherwise as u64),
            (text!("yield or intensity not a number"), unweighed as u64),
        ]
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .map(|(reason, count)| (reason.to_owned(), count))
        .collect(),
    };
    if rows.is_empty() {
        let reasons: Vec<String> =
            use_.left_out.iter().map(|(reason, count)| format!("{count} x {reason}")).collect();
        let reasons =
            if reasons.is_empty() { say!("the linked table is empty") } else { reasons.join(", ") };
        return Err(YieldError::NoRows(reasons));
    }
    Ok((table.select(&rows), use_))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Labelled;

    #[test]
    fn every_row_is_used_or_left_out_for_one_reason() {
        let table = TreeSeasons {
            tree: Labelled::from_values(["a", "b", "c", "d", "e"].into_iter()),
            season: vec![2026; 5],
            yield_kg: vec![5.0, 5.0, 5.0, f64::NAN, 5.0],
            intensity: vec![0.0; 5],
            young: vec![false, true, false, false, true],
            treated_otherwise: vec![false, false, true, true, true],
            ..TreeSeasons::default()
        };
        let (used, rows) = usable(&table).unwrap();
        assert_eq!((used.len(), used.tree.label(0)), (1, "a"));
        let left_out: u64 = rows.left_out.iter().map(|(_, count)| count).sum();
        assert_eq!((rows.read, rows.used, left_out), (5, 1, 4));
        let counts: Vec<u64> = rows.left_out.iter().map(|(_, count)| *count).collect();
        assert_eq!(counts, [2, 2], "young, and treated otherwise");
    }
}
