//! Weights that look as if written in another unit than the rest of their file.

use crate::cell::number::plain;
use crate::summary::{Event, Summary};
use crate::table::LINE;
use polars::prelude::{DataFrame, PolarsResult};
use records::{Code, Severity, Table};

/// The column whose values are held against each other.
pub(crate) const WEIGHT: &str = "nut_kg";
/// Grams in a kilogram, between which a slip lies.
const SLIP: f64 = 1000.0;
/// How far the value that was meant may lie from the middle of the file: picks of one file differ, but
/// their tenfold is rare and their thousandth is none. Common practice, as in outlier screening by
/// orders of magnitude.
const NEAR: f64 = 10.0;
/// Fewer weights than these have no middle worth the name.
const FEWEST: usize = 10;

/// Tells weights that are about a thousand times smaller than the (upper) median of their file: kilograms
/// written in a file of grams. The rows are kept, as a pick of one nut is possible; `cell` is the cell
/// of the weights, from 1. (Grams in a file of kilograms exceed what is possible and are set aside
/// while rows are read.)
pub(crate) fn note(
    table: Table,
    rows: &DataFrame,
    cell: Option<u32>,
    summary: &mut Summary,
) -> PolarsResult<()> {
    if table != Table::Harvests {
        return Ok(());
    }
    let weights = rows.column(WEIGHT)?.f64()?;
    let mut borne: Vec<f64> = weights.iter().flatten().filter(|&kg| kg > 0.0).collect();
    if borne.len() < FEWEST {
        return Ok(());
    }
    let middle = borne.len() / 2;
    let (_, &mut median, _) = borne.select_nth_unstable_by(middle, f64::total_cmp);
    for (kg, line) in weights.iter().zip(rows.column(LINE)?.u32()?.iter()) {
        let (Some(kg), Some(line)) = (kg, line) else { continue };
        let meant = kg * SLIP;
        if kg > 0.0 && (median / NEAR..=median * NEAR).contains(&meant) {
            let (severity, code, line) = (Severity::Warning, Code::UnitSuspect, u64::from(line));
            let event = Event { severity, code, column: WEIGHT, line, cell };
            summary.add(event, 1, || format!("{} kg", plain(kg)));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::FileReport;
    use polars::prelude::Column;

    fn told(weights: &[f64]) -> Vec<String> {
        let lines: Vec<u32> = (2..).take(weights.len()).collect();
        let columns = vec![Column::new(WEIGHT.into(), weights), Column::new(LINE.into(), lines)];
        let rows = DataFrame::new(weights.len(), columns).unwrap();
        let mut summary = Summary::default();
        note(Table::Harvests, &rows, Some(3), &mut summary).unwrap();
        let problems = summary.problems(&FileReport {
            file: "harvests.csv".to_owned(),
            table: Table::Harvests,
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
        let mut weights: Vec<f64> = (1..=12).map(|kg| 0.25 * f64::from(kg)).collect();
        assert!(told(&weights).is_empty());
        weights.extend([0.0, 0.05, 0.02]);
        assert!(told(&weights).is_empty());
        weights.extend([0.0024, 0.0031]);
        let told = told(&weights);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("harvests.csv:17:3: nut_kg: 2 values about a thousand"),
            "{told:?}"
        );
        assert!(told[0].ends_with("0.0024 kg"), "{told:?}");
    }
}
