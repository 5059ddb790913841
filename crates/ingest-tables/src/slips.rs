//! Weights and intensities that look as if written in another unit than the rest of their file.

use crate::cell::number::plain;
use crate::summary::{Event, Summary};
use crate::table::LINE;
use polars::prelude::{DataFrame, PolarsResult};
use records::{Code, Severity, Table};
use std::collections::BTreeMap;

/// A column whose values are held against each other, and what lies between two units that people mix:
/// grams in a kilogram, per cent in a whole.
const MIXED: [(Table, &str, f64); 2] =
    [(Table::Harvests, "nut_kg", 1000.0), (Table::Prunings, "intensity", 100.0)];
/// How far the value that was meant may lie from the middle of the file: values of one file differ, but
/// their tenfold is rare and their hundredth is none. Common practice, as in outlier screening by orders
/// of magnitude.
const NEAR: f64 = 10.0;
/// Fewer values than these have no middle worth the name.
const FEWEST: usize = 10;

/// Tells values that are about a thousand (or a hundred) times smaller than the (upper) median of their
/// file: kilograms written in a file of grams, fractions in a file of per cent. The rows are kept, as a
/// pick of one nut is possible; `cells` are the cells of columns, from 1. (The opposite slips exceed what
/// is possible and are set aside while rows are read.)
pub(crate) fn note(
    table: Table,
    rows: &DataFrame,
    cells: &BTreeMap<String, u32>,
    summary: &mut Summary,
) -> PolarsResult<()> {
    for (_, column, slip) in MIXED.into_iter().filter(|(of, ..)| *of == table) {
        let values = rows.column(column)?.f64()?;
        let mut positive: Vec<f64> = values.iter().flatten().filter(|&value| value > 0.0).collect();
        if positive.len() < FEWEST {
            continue;
        }
        let middle = positive.len() / 2;
        let (_, &mut median, _) = positive.select_nth_unstable_by(middle, f64::total_cmp);
        for (value, line) in values.iter().zip(rows.column(LINE)?.u32()?.iter()) {
            let (Some(value), Some(line)) = (value, line) else { continue };
            let meant = value * slip;
            // A whole per cent may be a light cut.
            let is_far = value < median / NEAR;
            if value > 0.0 && is_far && (median / NEAR..=median * NEAR).contains(&meant) {
                let (severity, code, line) =
                    (Severity::Warning, Code::UnitSuspect, u64::from(line));
                let cell = cells.get(column).copied();
                let event = Event { severity, code, column, line, cell };
                summary.add(event, 1, || plain(value));
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::FileReport;
    use polars::prelude::Column;

    fn told(table: Table, column: &str, values: &[f64]) -> Vec<String> {
        let lines: Vec<u32> = (2..).take(values.len()).collect();
        let columns = vec![Column::new(column.into(), values), Column::new(LINE.into(), lines)];
        let rows = DataFrame::new(values.len(), columns).unwrap();
        let mut summary = Summary::default();
        note(table, &rows, &[(column.to_owned(), 3)].into(), &mut summary).unwrap();
        let problems = summary.problems(&FileReport {
            file: "file.csv".to_owned(),
            table,
            rows_read: 0,
            rows_kept: 0,
            rows_quarantined: 0,
            rows_not_drawn: 0,
            repairs: Vec::new(),
            fingerprint: String::new(),
        });
        problems.iter().map(|problem| format!("{}: {}", problem.place, problem.what)).collect()
    }

    #[test]
    fn kilograms_in_a_file_of_grams_are_told_and_small_picks_are_not() {
        let told = |weights: &[f64]| told(Table::Harvests, "nut_kg", weights);
        let mut weights: Vec<f64> = (1..=12).map(|kg| 0.25 * f64::from(kg)).collect();
        assert!(told(&weights).is_empty());
        weights.extend([0.0, 0.05, 0.02]);
        assert!(told(&weights).is_empty());
        weights.extend([0.0024, 0.0031]);
        let told = told(&weights);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("file.csv:17:3: nut_kg: 2 values about a thousand"),
            "{told:?}"
        );
        assert!(told[0].ends_with("0.0024 kg"), "{told:?}");
    }

    #[test]
    fn fractions_in_a_file_of_per_cent_are_told_and_light_cuts_are_not() {
        let told = |cuts: &[f64]| told(Table::Prunings, "intensity", cuts);
        let mut cuts: Vec<f64> = (1..=12).map(|step| 0.05 * f64::from(step)).collect();
        cuts.extend([0.0, 0.04]);
        assert!(told(&cuts).is_empty());
        cuts.extend([0.003, 0.0015]);
        let told = told(&cuts);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("file.csv:16:3: intensity: 2 values about a hundred"),
            "{told:?}"
        );
    }
}
