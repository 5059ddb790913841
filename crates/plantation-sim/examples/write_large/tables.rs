//! Simulated rows as tables of a record book, those of visits season by season.

use arrow::array::{ArrayRef, Date32Array, Float64Array, Int64Array, StringArray};
use arrow::error::ArrowError;
use arrow::record_batch::RecordBatch;
use jiff::civil::{Date, date};
use plantation_sim::Records;
use records::RawIntensity;
use std::collections::BTreeMap;
use std::sync::Arc;

fn days(day: Date) -> i32 {
    (day - date(1970, 1, 1)).get_days()
}

fn text<'a>(cells: impl Iterator<Item = &'a str>) -> ArrayRef {
    Arc::new(StringArray::from_iter_values(cells))
}

/// Rounded as crews write it down.
fn rounded(cells: impl Iterator<Item = Option<f64>>, decimals: i32) -> ArrayRef {
    let scale = 10_f64.powi(decimals);
    Arc::new(Float64Array::from_iter(cells.map(|cell| cell.map(|x| (x * scale).round() / scale))))
}

fn whole(cells: impl Iterator<Item = usize>) -> ArrayRef {
    Arc::new(Int64Array::from_iter_values(cells.map(|cell| cell as i64)))
}

fn dates(cells: impl Iterator<Item = Date>) -> ArrayRef {
    Arc::new(Date32Array::from_iter_values(cells.map(days)))
}

/// Rows by calendar year of their day: a file is kept for each.
fn by_year<T>(rows: &[T], day: impl Fn(&T) -> Date) -> BTreeMap<i16, Vec<&T>> {
    let mut years: BTreeMap<i16, Vec<&T>> = BTreeMap::new();
    for row in rows {
        years.entry(day(row).year()).or_default().push(row);
    }
    years
}

/// The tables by the stem of their file.
pub fn batches(records: &Records) -> Result<Vec<(String, RecordBatch)>, ArrowError> {
    let tree = |index: usize| records.trees.get(index).map_or("", |tree| tree.id.as_str());
    let blocks = &records.blocks;
    let trees = &records.trees;
    let mut out = vec![
        (
            "blocks".to_owned(),
            RecordBatch::try_from_iter([
                ("block", text(blocks.iter().map(|row| row.id.as_str()))),
                ("site", text(blocks.iter().map(|row| row.site.as_str()))),
                ("region", text(blocks.iter().map(|row| row.region_id.as_str()))),
                ("row_spacing_m", rounded(blocks.iter().map(|row| Some(row.row_spacing_m)), 2)),
                ("tree_spacing_m", rounded(blocks.iter().map(|row| Some(row.tree_spacing_m)), 2)),
                ("variety", text(blocks.iter().map(|row| row.variety.as_str()))),
                ("planted", dates(blocks.iter().map(|row| row.planted))),
                ("training", text(blocks.iter().map(|row| row.training))),
                ("area_ha", rounded(blocks.iter().map(|row| Some(row.area_ha)), 2)),
            ])?,
        ),
        (
            "trees".to_owned(),
            RecordBatch::try_from_iter([
                ("tree", text(trees.iter().map(|row| row.id.as_str()))),
                (
                    "block",
                    text(
                        trees
                            .iter()
                            .map(|row| blocks.get(row.block).map_or("", |block| block.id.as_str())),
                    ),
                ),
                ("row", whole(trees.iter().map(|row| row.row))),
                ("column", whole(trees.iter().map(|row| row.column))),
                ("girth_cm", rounded(trees.iter().map(|row| Some(row.girth_cm)), 1)),
                ("height_m", rounded(trees.iter().map(|row| Some(row.height_m)), 1)),
                ("spread_ns_m", rounded(trees.iter().map(|row| Some(row.spread_ns_m)), 1)),
                ("spread_ew_m", rounded(trees.iter().map(|row| Some(row.spread_ew_m)), 1)),
            ])?,
        ),
    ];
    if !records.trials.is_empty() {
        let rows = &records.trials;
        let level = |row: &plantation_sim::TrialRow| {
            row.levels.get("intensity_level").cloned().unwrap_or_default()
        };
        out.push((
            "trials".to_owned(),
            RecordBatch::try_from_iter([
                ("trial", text(rows.iter().map(|row| row.trial.as_str()))),
                ("tree", text(rows.iter().map(|row| tree(row.tree)))),
                ("replicate", text(rows.iter().map(|row| row.replicate.as_str()))),
                (
                    "intensity_level",
                    Arc::new(StringArray::from_iter_values(rows.iter().map(level))),
                ),
            ])?,
        ));
    }
    for (year, rows) in by_year(&records.prunings, |row| row.date) {
        let fraction = rows.iter().map(|row| row.intensity.fraction().ok());
        let basis = rows.iter().map(|row| match row.intensity {
            RawIntensity::Shoots { .. } => "shoots",
            _ => "canopy_fraction",
        });
        let work = |of: &dyn Fn(&plantation_sim::Work) -> f64| -> Vec<Option<f64>> {
            rows.iter().map(|row| row.work.as_ref().map(of)).collect()
        };
        let tools = rows.iter().map(|row| row.work.as_ref().map_or("", |work| work.tool));
        let batch = RecordBatch::try_from_iter([
            ("tree", text(rows.iter().map(|row| tree(row.tree)))),
            ("date", dates(rows.iter().map(|row| row.date))),
            ("intensity", rounded(fraction, 2)),
            ("measured_as", text(basis)),
            ("cuts_to_3cm", rounded(work(&|work| f64::from(work.cuts[0])).into_iter(), 0)),
            ("cuts_3_to_5cm", rounded(work(&|work| f64::from(work.cuts[1])).into_iter(), 0)),
            ("cuts_5_to_10cm", rounded(work(&|work| f64::from(work.cuts[2])).into_iter(), 0)),
            ("cuts_over_10cm", rounded(work(&|work| f64::from(work.cuts[3])).into_iter(), 0)),
            ("minutes", rounded(work(&|work| work.minutes).into_iter(), 1)),
            ("tool", text(tools)),
        ])?;
        out.push((format!("prunings_{year}"), batch));
    }
    for (year, rows) in by_year(&records.harvests, |row| row.date) {
        let batch = RecordBatch::try_from_iter([
            ("tree", text(rows.iter().map(|row| tree(row.tree)))),
            ("date", dates(rows.iter().map(|row| row.date))),
            ("nut_kg", rounded(rows.iter().map(|row| Some(row.nut_kg)), 2)),
            ("moisture_pct", rounded(rows.iter().map(|row| row.moisture_pct), 1)),
        ])?;
        out.push((format!("harvests_{year}"), batch));
    }
    for (year, rows) in by_year(&records.laterals, |row| row.date) {
        let batch = RecordBatch::try_from_iter([
            ("tree", text(rows.iter().map(|row| tree(row.tree)))),
            ("date", dates(rows.iter().map(|row| row.date))),
            ("frame_m2", rounded(rows.iter().map(|row| Some(row.frame_m2)), 2)),
            ("laterals", whole(rows.iter().map(|row| row.laterals as usize))),
            ("flowering_laterals", whole(rows.iter().map(|row| row.flowering as usize))),
            ("side", text(rows.iter().map(|row| row.side))),
        ])?;
        out.push((format!("laterals_{year}"), batch));
    }
    Ok(out)
}
