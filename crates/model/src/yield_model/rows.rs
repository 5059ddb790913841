//! Which tree-seasons enter the yield model.

use super::YieldError;
use crate::table::TreeSeasons;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
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
    /// Regions with trees that are left out because hardly a tree so young was cut.
    #[serde(default)]
    pub uncut: Vec<Uncut>,
}

/// The age from which the trees of a region were cut about as hard as is usual there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Uncut {
    /// Region.
    pub region: String,
    /// Its latest season.
    pub season: i32,
    /// Age, whole years ([`records::youngest_cut`]).
    pub from_years: u32,
}

impl Uncut {
    /// Whether a tree of some age in a season is still younger than that in the latest: the plan cuts none such, so
    /// its crops say nothing of what it advises; and where one block alone is so young, nothing tells what is the
    /// block's and what the age's, in which the levels of all others would be drawn along.
    #[must_use]
    pub fn holds(&self, age_years: f64, season: i32) -> bool {
        age_years + f64::from(self.season - season) < f64::from(self.from_years)
    }
}

/// Rows of a region's latest season, and the age from which its trees were cut about as hard as those of the season
/// are on average; trials are no everyday practice. `None` where no tree was cut.
pub(super) fn latest(table: &TreeSeasons, rows: &[usize]) -> (Vec<usize>, Option<f64>) {
    let latest = rows.iter().map(|&row| table.season[row]).max().unwrap_or(0);
    let all: Vec<usize> = rows.iter().copied().filter(|&row| table.season[row] == latest).collect();
    let everyday = all.iter().copied().filter(|&row| !table.in_trial[row]);
    let cuts = everyday.map(|row| table.intensity[row]).filter(|cut| *cut > 0.0);
    let (sum, count) = cuts.fold((0.0, 0.0), |(sum, count), cut| (sum + cut, count + 1.0));
    let aged =
        rows.iter().map(|&row| (table.tree.codes[row], table.intensity[row], table.age_years[row]));
    let youngest = records::youngest_cut(sum / count, aged);
    (all, youngest)
}

/// By region code: the trees that are too young for any cut, where not all are.
fn uncut(table: &TreeSeasons, rows: &[usize]) -> BTreeMap<u32, Uncut> {
    let mut regions: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for &row in rows {
        regions.entry(table.region.codes[row]).or_default().push(row);
    }
    let of_region = |(code, rows): (u32, Vec<usize>)| {
        let (all, youngest) = latest(table, &rows);
        let uncut = Uncut {
            region: table.region.labels.get(code as usize)?.clone(),
            season: all.first().map(|&row| table.season[row])?,
            from_years: youngest? as u32,
        };
        let apart = |row: &&usize| uncut.holds(table.age_years[**row], table.season[**row]);
        let some = rows.iter().any(|row| apart(&row));
        (some && all.iter().any(|row| !apart(&row))).then_some((code, uncut))
    };
    regions.into_iter().filter_map(of_region).collect()
}

/// Rows with a finite yield of trees past the training age that no trial treated otherwise, without everyday trees that
/// are still younger than any of their region that was cut.
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
    let uncut = uncut(table, &rows);
    let is_uncut = |row: &usize| {
        let of_region = uncut.get(&table.region.codes[*row]);
        !table.in_trial[*row]
            && of_region.is_some_and(|uncut| uncut.holds(table.age_years[*row], table.season[*row]))
    };
    let (left, rows): (Vec<usize>, Vec<usize>) = rows.into_iter().partition(is_uncut);
    let use_ = RowUse {
        read: table.len() as u64,
        used: rows.len() as u64,
        left_out: [
            (text!("tree under the training age"), too_young as u64),
            (
                text!("tree younger than any of its region that was cut about as hard as usual"),
                left.len() as u64,
            ),
            (text!("tree in a trial of something else than pruning"), treated_otherwise as u64),
            (text!("yield or intensity not a number"), unweighed as u64),
        ]
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .map(|(reason, count)| (reason.to_owned(), count))
        .collect(),
        uncut: uncut.into_values().collect(),
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

    /// A block of ten years, cut; one of four, never cut; a tree of it in a trial; and a region without any cut.
    #[test]
    fn trees_too_young_for_any_cut_are_left_out_with_their_history() {
        let regions = ["east"; 8].into_iter().chain(["west"; 4]);
        let table = TreeSeasons {
            region: Labelled::from_values(regions),
            tree: Labelled::from_values((0..12).map(|row| ["a", "b", "c", "d", "e", "f"][row / 2])),
            season: (0..12).map(|row| 2025 + row % 2).collect(),
            age_years: (0..12)
                .map(|row| {
                    f64::from(if (6..8).contains(&row) || row > 9 { 3 } else { 9 } + row % 2)
                })
                .collect(),
            intensity: (0..12).map(|row| if row < 6 { 0.3 } else { 0.0 }).collect(),
            yield_kg: vec![5.0; 12],
            young: vec![false; 12],
            treated_otherwise: vec![false; 12],
            in_trial: vec![false; 12],
            ..TreeSeasons::default()
        };
        let (used, rows) = usable(&table).unwrap();
        assert_eq!((rows.read, rows.used, used.len()), (12, 10, 10));
        assert_eq!(rows.left_out[0].1, 2, "both seasons of the young tree of the east");
        let east = Uncut { region: "east".to_owned(), season: 2026, from_years: 9 };
        assert_eq!(rows.uncut, [east]);
        let in_trial = (0..12).map(|row| row == 6 || row == 7).collect();
        assert_eq!(usable(&TreeSeasons { in_trial, ..table }).unwrap().1.used, 12);
    }

    #[test]
    fn every_row_is_used_or_left_out_for_one_reason() {
        let table = TreeSeasons {
            tree: Labelled::from_values(["a", "b", "c", "d", "e"].into_iter()),
            season: vec![2026; 5],
            yield_kg: vec![5.0, 5.0, 5.0, f64::NAN, 5.0],
            intensity: vec![0.0; 5],
            young: vec![false, true, false, false, true],
            treated_otherwise: vec![false, false, true, true, true],
            region: Labelled::from_values(["r"; 5].into_iter()),
            age_years: vec![9.0; 5],
            in_trial: vec![false; 5],
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
