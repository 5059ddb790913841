//! Arrow adapter: linked frame counts, and each beside the tree-season that it belongs to.

use crate::table::{Labelled, TableError, TreeSeasons, column, floats, labelled};
use arrow::array::{Int32Array, RecordBatch};
use records::frame_count as fc;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::text;

/// Columns of the linked frame counts, one value per frame; NaN stands for a missing number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Frames {
    /// Tree.
    pub tree: Labelled,
    /// Season whose crop the laterals bear.
    pub season: Vec<i32>,
    /// Area of the frame, m2.
    pub frame_m2: Vec<f64>,
    /// Laterals in the frame.
    pub laterals: Vec<f64>,
    /// Flowering laterals in the frame; NaN when not counted.
    pub flowering: Vec<f64>,
    /// Side of the tree as recorded; empty when not recorded.
    pub side: Labelled,
}

/// Frames used by the count models and left out.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct FrameUse {
    /// Linked frames.
    pub read: u64,
    /// Frames in the models.
    pub used: u64,
    /// Left out by reason.
    pub left_out: Vec<(String, u64)>,
}

impl Frames {
    /// Reads a record batch that follows `records::frame_count::COLUMNS`.
    ///
    /// # Errors
    /// [`TableError`] when a column is absent or of another type.
    pub fn from_batch(batch: &RecordBatch) -> Result<Self, TableError> {
        Ok(Self {
            tree: labelled(batch, fc::TREE)?,
            season: whole(batch, fc::SEASON)?.values().to_vec(),
            frame_m2: floats(batch, fc::FRAME_M2)?,
            laterals: counts(batch, fc::LATERALS)?,
            flowering: counts(batch, fc::FLOWERING)?,
            side: labelled(batch, fc::SIDE)?,
        })
    }

    /// Number of frames.
    #[must_use]
    pub fn len(&self) -> usize {
        self.season.len()
    }

    /// Whether there is no frame.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.season.is_empty()
    }
}

fn whole<'a>(batch: &'a RecordBatch, name: &str) -> Result<&'a Int32Array, TableError> {
    column::<Int32Array>(batch, name, "32-bit whole numbers")
}

fn counts(batch: &RecordBatch, name: &str) -> Result<Vec<f64>, TableError> {
    Ok(whole(batch, name)?.iter().map(|n| n.map_or(f64::NAN, f64::from)).collect())
}

/// Usable frames with the tree-season of each; all columns have one value per frame.
#[derive(Debug, Clone)]
pub(crate) struct FrameRows {
    /// Place, season, pruning and covariates of the tree-season.
    pub table: TreeSeasons,
    /// Tree-season of each frame, by its label `tree season`.
    pub tree_season: Labelled,
    pub frame_m2: Vec<f64>,
    pub laterals: Vec<f64>,
    pub flowering: Vec<f64>,
    pub side: Labelled,
}

/// Puts frames beside their tree-seasons; frames of young trees and of trees treated otherwise stay out, as in
/// the yield model.
pub(crate) fn beside(frames: &Frames, table: &TreeSeasons) -> (FrameRows, FrameUse) {
    let rows: BTreeMap<(&str, i32), usize> = table
        .season
        .iter()
        .enumerate()
        .map(|(row, &season)| ((table.tree.label(row), season), row))
        .collect();
    let (mut at, mut kept) = (Vec::new(), Vec::new());
    let [mut unlinked, mut young, mut otherwise, mut odd] = [0_u64; 4];
    for (frame, &season) in frames.season.iter().enumerate() {
        let row = rows.get(&(frames.tree.label(frame), season)).copied();
        let flowering = frames.flowering[frame];
        match row {
            None => unlinked += 1,
            Some(row) if table.young[row] => young += 1,
            Some(row) if table.treated_otherwise[row] => otherwise += 1,
            Some(row)
                if !(table.intensity[row].is_finite()
                    && frames.frame_m2[frame] > 0.0
                    && frames.laterals[frame] >= 0.0)
                    || flowering > frames.laterals[frame] =>
            {
                odd += 1;
            }
            Some(row) => {
                at.push(row);
                kept.push(frame);
            }
        }
    }
    let used = FrameUse {
        read: frames.len() as u64,
        used: kept.len() as u64,
        left_out: [
            (text!("no tree-season in the table"), unlinked),
            (text!("tree under the training age"), young),
            (text!("tree in a trial of something else than pruning"), otherwise),
            (text!("more flowering laterals than laterals, or a number missing"), odd),
        ]
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .map(|(reason, count)| (reason.to_owned(), count))
        .collect(),
    };
    let pick = |values: &[f64]| kept.iter().map(|&frame| values[frame]).collect::<Vec<f64>>();
    let seasons: Vec<String> =
        at.iter().map(|&row| format!("{} {}", table.tree.label(row), table.season[row])).collect();
    let sides: Vec<String> = kept.iter().map(|&frame| side(frames.side.label(frame))).collect();
    let rows = FrameRows {
        table: table.select(&at),
        tree_season: Labelled::from_values(seasons.iter().map(String::as_str)),
        frame_m2: pick(&frames.frame_m2),
        laterals: pick(&frames.laterals),
        flowering: pick(&frames.flowering),
        side: Labelled::from_values(sides.iter().map(String::as_str)),
    };
    (rows, used)
}

impl FrameRows {
    /// The frames of the given positions, with labels coded anew.
    pub(crate) fn select(&self, rows: &[usize]) -> Self {
        let pick = |values: &[f64]| rows.iter().map(|&row| values[row]).collect::<Vec<f64>>();
        let relabel =
            |column: &Labelled| Labelled::from_values(rows.iter().map(|&row| column.label(row)));
        Self {
            table: self.table.select(rows),
            tree_season: relabel(&self.tree_season),
            frame_m2: pick(&self.frame_m2),
            laterals: pick(&self.laterals),
            flowering: pick(&self.flowering),
            side: relabel(&self.side),
        }
    }

    /// Number of frames.
    pub(crate) fn len(&self) -> usize {
        self.frame_m2.len()
    }
}

/// One spelling of a side; letters of the compass are written out.
fn side(recorded: &str) -> String {
    let lower = recorded.trim().to_lowercase();
    match lower.as_str() {
        "" => "not recorded".to_owned(),
        "n" => "north".to_owned(),
        "s" => "south".to_owned(),
        "e" => "east".to_owned(),
        "w" => "west".to_owned(),
        _ => lower,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_frame_is_used_or_left_out_for_a_reason() {
        let labels = |values: &[&'static str]| Labelled::from_values(values.iter().copied());
        let blank = || labels(&["", "", ""]);
        let table = TreeSeasons {
            region: labels(&["r", "r", "r"]),
            site: blank(),
            block: blank(),
            tree: labels(&["a", "a", "b"]),
            season: vec![2024, 2025, 2025],
            yield_kg: vec![1.0; 3],
            intensity: vec![0.0, 0.2, 0.1],
            lead_days: vec![f64::NAN, 40.0, 50.0],
            basis: blank(),
            minutes: vec![f64::NAN; 3],
            age_years: vec![9.0; 3],
            trees_per_ha: vec![156.0; 3],
            variety: blank(),
            girth_cm: vec![f64::NAN; 3],
            previous_intensity: vec![f64::NAN; 3],
            in_trial: vec![false; 3],
            treated_otherwise: vec![false; 3],
            young: vec![false, false, true],
        };
        let frames = Frames {
            tree: labels(&["a", "b", "a", "c", "a"]),
            season: vec![2025, 2025, 2024, 2025, 2024],
            frame_m2: vec![0.5; 5],
            laterals: vec![10.0, 10.0, 8.0, 9.0, 4.0],
            flowering: vec![6.0, 6.0, f64::NAN, 3.0, 5.0],
            side: labels(&["N", "n", " North", "", ""]),
        };
        let (rows, used) = beside(&frames, &table);
        assert_eq!((used.read, used.used), (5, 2));
        assert_eq!(used.left_out.iter().map(|(_, n)| n).sum::<u64>(), 3);
        assert_eq!(rows.table.intensity, [0.2, 0.0]);
        assert_eq!(rows.side.labels, ["north"]);
        assert_eq!(rows.tree_season.labels, ["a 2024", "a 2025"]);
        assert_eq!(rows.tree_season.codes, [1, 0]);
    }
}
