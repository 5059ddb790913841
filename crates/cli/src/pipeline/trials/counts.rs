//! Values of a trait in a tree-season.

use ::trials::{Trait, TraitKind};
use ::words::text;
use arrow::array::{Array, Float64Array, Int32Array, RecordBatch};
use model::{Frames, TreeSeasons};
use records::TrialTrait;
use records::tree_season as ts;
use std::collections::BTreeMap;

/// Frames of a tree-season added up.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    area: f64,
    laterals: f64,
    /// Area and laterals of the frames whose flowering laterals were counted, and these.
    area_flowering: f64,
    laterals_flowering: f64,
    flowering: f64,
}

/// What a tree-season shows of a trait; NaN where nothing was recorded.
#[derive(Debug, Clone, Copy)]
pub(super) struct Observed {
    pub(super) value: f64,
    /// Exposure or total; `None` for traits that have none.
    pub(super) exposure: Option<f64>,
}

/// Yields, nut counts and frame counts by row of the linked table.
pub(super) struct Counts<'a> {
    table: &'a TreeSeasons,
    nuts: Vec<f64>,
    /// Picks that were added up.
    pub(super) picks: Vec<i32>,
    frames: BTreeMap<usize, Sums>,
}

/// Name, unit and kind of a declared trait.
pub(super) fn trait_of(of: TrialTrait) -> Trait {
    let (id, name, unit, kind) = match of {
        TrialTrait::NutYield => {
            ("nut-yield", text!("nut yield"), text!("kg per tree"), TraitKind::Measured)
        }
        TrialTrait::NutCount => {
            ("nut-count", text!("nut count"), text!("nuts per tree"), TraitKind::Count)
        }
        TrialTrait::NutWeight => {
            ("nut-weight", text!("nut weight"), text!("g per nut"), TraitKind::Measured)
        }
        TrialTrait::Laterals => ("laterals", text!("laterals"), text!("per m2"), TraitKind::Count),
        TrialTrait::FloweringLaterals => {
            ("flowering-laterals", text!("flowering laterals"), text!("per m2"), TraitKind::Count)
        }
        TrialTrait::ShareFlowering => (
            "share-of-laterals-flowering",
            text!("share of laterals flowering"),
            "",
            TraitKind::Proportion,
        ),
    };
    Trait { id: id.to_owned(), name: name.to_owned(), unit: unit.to_owned(), kind }
}

impl<'a> Counts<'a> {
    pub(super) fn of(table: &'a TreeSeasons, frames: &Frames, linked: &RecordBatch) -> Self {
        let nuts = linked.column_by_name(ts::NUT_COUNT);
        let nuts = nuts.and_then(|column| column.as_any().downcast_ref::<Float64Array>());
        let nuts = nuts.map(|nuts| nuts.iter().map(|n| n.unwrap_or(f64::NAN)).collect());
        let picks = linked.column_by_name(ts::PICKS);
        let picks = picks.and_then(|column| column.as_any().downcast_ref::<Int32Array>());
        let picks = picks.map(|picks| picks.iter().map(Option::unwrap_or_default).collect());
        let rows: BTreeMap<(&str, i32), usize> = table
            .season
            .iter()
            .enumerate()
            .map(|(row, &season)| ((table.tree.label(row), season), row))
            .collect();
        let mut sums: BTreeMap<usize, Sums> = BTreeMap::new();
        let columns = frames.season.iter().zip(&frames.frame_m2);
        let columns = columns.zip(frames.laterals.iter().zip(&frames.flowering));
        for (frame, ((&season, &area), (&laterals, &flowering))) in columns.enumerate() {
            let Some(&row) = rows.get(&(frames.tree.label(frame), season)) else { continue };
            let own = sums.entry(row).or_default();
            own.area += area;
            own.laterals += laterals;
            if flowering.is_finite() {
                own.area_flowering += area;
                own.laterals_flowering += laterals;
                own.flowering += flowering;
            }
        }
        Self {
            table,
            nuts: nuts.unwrap_or_default(),
            picks: picks.unwrap_or_default(),
            frames: sums,
        }
    }

    /// The trait in a row of the linked table; nothing was recorded without a row.
    pub(super) fn of_row(&self, of: TrialTrait, row: Option<usize>) -> Observed {
        let measured = |value: f64| Observed { value, exposure: None };
        let sums = row.and_then(|row| self.frames.get(&row)).copied().unwrap_or_default();
        let exposed = |value: f64, exposure: f64| {
            let seen = exposure > 0.0;
            Observed { value: if seen { value } else { f64::NAN }, exposure: Some(exposure) }
        };
        let kg = row.and_then(|row| self.table.yield_kg.get(row)).copied().unwrap_or(f64::NAN);
        let nuts = row.and_then(|row| self.nuts.get(row)).copied().unwrap_or(f64::NAN);
        match of {
            TrialTrait::NutYield => measured(kg),
            TrialTrait::NutCount => measured(nuts),
            TrialTrait::NutWeight => {
                measured(if nuts > 0.0 { 1000.0 * kg / nuts } else { f64::NAN })
            }
            TrialTrait::Laterals => exposed(sums.laterals, sums.area),
            TrialTrait::FloweringLaterals => exposed(sums.flowering, sums.area_flowering),
            TrialTrait::ShareFlowering => exposed(sums.flowering, sums.laterals_flowering),
        }
    }
}
