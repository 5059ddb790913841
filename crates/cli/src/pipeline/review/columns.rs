//! Linked tree-seasons as the review reads them.

use crate::console::Failure;
use crate::pipeline::Checked;
use crate::pipeline::advice::Decided;
use arrow::array::{Array, Date32Array};
use ingest_seasons::standing_trees;
use jiff::ToSpan;
use jiff::civil::{Date, date};
use model::{Labelled, MeanEffect, TreeSeasons, Uncut};
use records::tree_season as ts;
use review::{Labels, Scale};
use std::collections::BTreeMap;

/// Owned columns of the bearing trees, all seasons.
pub struct Columns {
    table: TreeSeasons,
    pruning_effect: Option<Vec<f64>>,
    /// Rows of trees that the yield model leaves out as younger than any of their region that was cut.
    too_young: Option<Vec<bool>>,
    /// Scale on which effects add: the yield model's, the square root without one.
    pub scale: Scale,
    /// Mean pruning day of each row.
    pub pruned_on: Vec<Option<Date>>,
    /// Row and position of each tree, by tree code.
    pub places: [Vec<Option<u32>>; 2],
}

impl Columns {
    /// Reads them; young trees are left out.
    ///
    /// # Errors
    /// When the linked table breaks its contract.
    pub fn of(checked: &Checked, decided: &Decided) -> Result<Self, Failure> {
        let defect = "this is a defect of the program; please report it";
        let batch = &checked.linked.tree_seasons;
        let whole = TreeSeasons::from_batch(batch).map_err(|error| Failure::new(error, defect))?;
        let days = batch
            .column_by_name(ts::PRUNED_ON)
            .and_then(|column| column.as_any().downcast_ref::<Date32Array>())
            .ok_or_else(|| Failure::new("the linked table has no pruning days", defect))?;
        let rows: Vec<usize> = (0..whole.len()).filter(|&row| !whole.young[row]).collect();
        let pruned_on =
            rows.iter().map(|&row| days.is_valid(row).then(|| day(days.value(row))).flatten());
        let pruned_on = pruned_on.collect();
        let table = whole.select(&rows);
        let (scale, pruning_effect, too_young) = match decided {
            Decided::Fitted(run) => {
                let effects: BTreeMap<&str, (MeanEffect, f64)> = run
                    .model
                    .regions
                    .iter()
                    .map(|fit| (fit.region.as_str(), (fit.curve.mean_effect(), fit.middle_lead())))
                    .collect();
                let young = too_young(&table, &run.model.rows.uncut);
                (scale(run.model.scale), Some(effect(&table, &effects)), Some(young))
            }
            Decided::Unfitted(_) => (Scale::SquareRoot, None, None),
        };
        let places = places(checked, &table.tree)?;
        Ok(Self { table, pruning_effect, too_young, scale, pruned_on, places })
    }

    /// What the review reads.
    pub fn table(&self) -> review::TreeSeasons<'_> {
        let table = &self.table;
        review::TreeSeasons {
            region: labels(&table.region),
            site: labels(&table.site),
            block: labels(&table.block),
            tree: labels(&table.tree),
            variety: labels(&table.variety),
            season: &table.season,
            yield_kg: &table.yield_kg,
            intensity: &table.intensity,
            age_years: &table.age_years,
            trees_per_ha: &table.trees_per_ha,
            pruning_effect: self.pruning_effect.as_deref(),
            too_young: self.too_young.as_deref(),
        }
    }
}

fn labels(column: &Labelled) -> Labels<'_> {
    Labels { codes: &column.codes, labels: &column.labels }
}

fn scale(scale: model::Scale) -> Scale {
    match scale {
        model::Scale::Log => Scale::Log,
        model::Scale::SquareRoot => Scale::SquareRoot,
        model::Scale::Identity => Scale::Identity,
    }
}

/// Rows of everyday trees that are too young for the yield model: a block that comes into bearing would else be taken
/// for a poor season of the others.
fn too_young(table: &TreeSeasons, uncut: &[Uncut]) -> Vec<bool> {
    (0..table.len())
        .map(|row| {
            let own = uncut.iter().find(|own| own.region == table.region.label(row));
            !table.in_trial[row]
                && own.is_some_and(|own| own.holds(table.age_years[row], table.season[row]))
        })
        .collect()
}

/// Largest effect on the scale of the yields that records can tell: beyond it nothing was compared.
const TOLD: f64 = 100.0;

/// Effect of each row's pruning by its region's curve; 0 where nothing was pruned or the records tell no effect, as
/// of two intensities without an unpruned tree, NaN in a region without a curve.
fn effect(table: &TreeSeasons, regions: &BTreeMap<&str, (MeanEffect, f64)>) -> Vec<f64> {
    (0..table.len())
        .map(|row| {
            let (intensity, lead) = (table.intensity[row], table.lead_days[row]);
            if intensity <= 0.0 {
                return 0.0;
            }
            regions.get(table.region.label(row)).map_or(f64::NAN, |(effect, middle)| {
                let own = effect.at(intensity, if lead.is_finite() { lead } else { *middle });
                if own.abs() <= TOLD { own } else { 0.0 }
            })
        })
        .collect()
}

/// The day of a number of days since 1970-01-01.
fn day(number: i32) -> Option<Date> {
    date(1970, 1, 1).checked_add(number.days()).ok()
}

/// Rows and positions of the trees, by code.
fn places(checked: &Checked, trees: &Labelled) -> Result<[Vec<Option<u32>>; 2], Failure> {
    let standing = standing_trees(&checked.tables).map_err(crate::pipeline::from_ingest)?;
    let known: BTreeMap<&str, [Option<u32>; 2]> = standing
        .iter()
        .map(|tree| {
            let number = |place: Option<i64>| place.and_then(|place| u32::try_from(place).ok());
            (tree.tree.as_str(), [number(tree.row), number(tree.column)])
        })
        .collect();
    let of = |which: usize| {
        let place = |tree: &String| known.get(tree.as_str()).and_then(|place| place[which]);
        trees.labels.iter().map(place).collect()
    };
    Ok([of(0), of(1)])
}
