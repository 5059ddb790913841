//! Weights and intensities that look as if written in another unit than the rest of their file.

use crate::FileReport;
use crate::cell::number::plain;
use crate::parts::FILE;
use crate::summary::{Event, Summary};
use crate::table::LINE;
use polars::prelude::{DataFrame, PolarsResult};
use records::{Code, MeasuredAs, Place, Problem, Severity, Table, counted, units};
use std::collections::BTreeMap;
use words::{say, text};

/// A column whose values are held against each other; what lies between two units that people mix, grams
/// in a kilogram and per cent in a whole; and below what a slip must lie: a fraction is below 1, so that
/// one read as per cent is below one per cent.
const MIXED: [(Table, &str, f64, f64); 2] = [
    (Table::Harvests, "nut_kg", 1000.0, f64::INFINITY),
    (Table::Prunings, "intensity", 100.0, 0.01),
];
/// How far the value that was meant may lie from the middle of the file: values of one file differ, but
/// their tenfold is rare and their hundredth is none. Common practice, as in outlier screening by orders
/// of magnitude.
const NEAR: f64 = 10.0;
/// The same above the middle for weights, half an order of magnitude: a pick of a nut or two is no slip.
const NEAR_ABOVE: f64 = 3.2;
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
    for (_, column, slip, below) in MIXED.into_iter().filter(|(of, ..)| *of == table) {
        let values = rows.column(column)?.f64()?;
        let mut positive: Vec<f64> = values.iter().flatten().filter(|&value| value > 0.0).collect();
        if positive.len() < FEWEST {
            continue;
        }
        let Some(median) = upper_median(&mut positive) else { continue };
        let above = if table == Table::Harvests { NEAR_ABOVE } else { NEAR };
        for (value, line) in values.iter().zip(rows.column(LINE)?.u32()?.iter()) {
            let (Some(value), Some(line)) = (value, line) else { continue };
            let is_near = (median / NEAR..=median * above).contains(&(value * slip));
            if value > 0.0 && value < below && is_near {
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

/// Fewest values of a file that is held against the others of its table.
const FEWEST_OF_FILE: usize = 3;

/// Tells files whose values as a whole are about a thousand (or a hundred) times smaller than those of the
/// other files of their table, and files of intensities that are all one per cent at most: nothing within
/// such a file is odd.
pub(crate) fn whole_files(
    frames: &BTreeMap<Table, DataFrame>,
    files: &[FileReport],
    cell_of: impl Fn(u32, &str) -> Option<u32>,
) -> PolarsResult<Vec<Problem>> {
    let mut problems = Vec::new();
    for (table, column, slip, below) in MIXED {
        let Some(frame) = frames.get(&table) else { continue };
        let stands = frame.column(FILE)?.u32()?.iter().zip(frame.column(LINE)?.u32()?.iter());
        let mut of_files: BTreeMap<u32, OfFile> = BTreeMap::new();
        for (value, stands) in frame.column(column)?.f64()?.iter().zip(stands) {
            let (Some(value), (Some(file), Some(line))) = (value, stands) else { continue };
            // Intensities that are reckoned from counts have no cell, and no unit to be a slip of.
            if value > 0.0 && cell_of(file, column).is_some() {
                let own = of_files
                    .entry(file)
                    .or_insert(OfFile { first: (line, value), values: Vec::new() });
                own.values.push(value);
            }
        }
        let middles: BTreeMap<u32, f64> = of_files
            .iter_mut()
            .filter(|(_, own)| own.values.len() >= FEWEST_OF_FILE)
            .filter_map(|(&file, own)| Some((file, upper_median(&mut own.values)?)))
            .collect();
        for (&file, &middle) in &middles {
            let Some(own) = of_files.get(&file) else { continue };
            let others = middles.iter().filter(|(other, _)| **other != file);
            let mut others: Vec<f64> = others.map(|(_, middle)| *middle).collect();
            let is_near = |others: f64| {
                (others / NEAR..=others * NEAR).contains(&(middle * slip)) && middle < below
            };
            let others = upper_median(&mut others).filter(|others| is_near(*others));
            let is_slight = table == Table::Prunings
                && own.values.len() >= FEWEST
                && own.values.iter().all(|value| *value <= below);
            if others.is_none() && !is_slight {
                continue;
            }
            let Some(report) = files.get(file as usize) else { continue };
            let place = Place {
                file: report.file.clone(),
                line: Some(u64::from(own.first.0)),
                column: cell_of(file, column),
            };
            let (what, remedy) = own.sentence(table, column, middle, others);
            problems.push(Problem::new(place, Severity::Warning, Code::UnitSuspect, what, remedy));
        }
    }
    Ok(problems)
}

/// Half of the canopy: common practice calls a cut beyond it a hard one. That a file most of whose cuts are
/// harder may hold what was left is ours: a convention.
const HARD: f64 = 0.5;
/// Fewer cuts than these may all be hard. Ours: a convention.
const FEWEST_HARD: usize = 20;

/// Tells files most of whose cuts (by the upper median) take more than half of the canopy, unless their
/// units say that they hold what was cut: read as what was cut, a column of what was left ends in
/// advice to cut three quarters. Shares of shoots or of their length are none of the canopy, and are
/// left out. `unit_of` is what a file's settings say its unit is.
pub(crate) fn hard_files<'a>(
    frames: &BTreeMap<Table, DataFrame>,
    files: &[FileReport],
    cell_of: impl Fn(u32, &str) -> Option<u32>,
    unit_of: impl Fn(u32) -> Option<&'a str>,
) -> PolarsResult<Vec<Problem>> {
    let (table, column) = (Table::Prunings, "intensity");
    let Some(frame) = frames.get(&table) else { return Ok(Vec::new()) };
    let stands = frame.column(FILE)?.u32()?.iter().zip(frame.column("measured_as")?.str()?.iter());
    let mut of_files: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    for (value, (file, basis)) in frame.column(column)?.f64()?.iter().zip(stands) {
        let (Some(value), Some(file)) = (value, file) else { continue };
        let is_canopy = basis == Some(MeasuredAs::CanopyFraction.as_str());
        if value > 0.0 && is_canopy && cell_of(file, column).is_some() {
            of_files.entry(file).or_default().push(value);
        }
    }
    let mut problems = Vec::new();
    for (file, mut values) in of_files {
        let number = values.len();
        let (Some(report), Some(median)) = (files.get(file as usize), upper_median(&mut values))
        else {
            continue;
        };
        let is_settled = unit_of(file).is_some_and(units::tells_part);
        if is_settled || number < FEWEST_HARD || median <= HARD {
            continue;
        }
        let is_per_cent = report
            .repairs
            .iter()
            .any(|repair| repair.column == column && repair.code == Code::UnitConverted);
        let unit = if is_per_cent { "pct" } else { "fraction" };
        let path = report.file.split('#').next().unwrap_or_default();
        problems.push(Problem::new(
            Place::file(&report.file),
            Severity::Warning,
            Code::UnitSuspect,
            say!(
                "{column}: the {} of this file take {} % of the canopy (median), more than half: what was left taken for what was cut?",
                counted(number as u64, text!("pruning"), text!("prunings")),
                plain(rounded(median * 100.0))
            ),
            say!(
                "kept; under [[files.{table}]] of path = \"{path}\" in book.toml units = {{ {column} = \"{unit}_left\" }} says that the file holds what was left of the canopy, units = {{ {column} = \"{unit}_cut\" }} that the cuts were so hard"
            ),
        ));
    }
    Ok(problems)
}

/// The positive values of a file, and where the first stands.
struct OfFile {
    first: (u32, f64),
    values: Vec<f64>,
}

impl OfFile {
    fn sentence(
        &self,
        table: Table,
        column: &str,
        middle: f64,
        others: Option<f64>,
    ) -> (String, String) {
        let values = counted(self.values.len() as u64, text!("value"), text!("values"));
        let of_others = |unit: &str, times: f64| match others {
            Some(others) => {
                say!(
                    ", where {} {unit} is usual in the other files",
                    plain(rounded(others * times))
                )
            }
            None => String::new(),
        };
        if table == Table::Prunings {
            let of_others = of_others("%", 100.0);
            return (
                say!(
                    "{column}: the {values} of this file are {} % of the canopy (median){of_others}: fractions read as per cent?",
                    plain(rounded(middle * 100.0))
                ),
                say!(
                    "kept; if the file is written in fractions, give it a stanza of its own under [[files.{table}]] in book.toml with units = {{ {column} = \"fraction\" }}"
                ),
            );
        }
        let of_others = of_others("kg", 1.0);
        (
            say!(
                "{column}: the {values} of this file are {} kg (median){of_others}: another unit?",
                plain(rounded(middle))
            ),
            say!(
                "kept; if the file is written in another unit, give it a stanza of its own under [[files.{table}]] in book.toml with units for {column}"
            ),
        )
    }
}

/// To two digits, as a size is told.
fn rounded(value: f64) -> f64 {
    let digits = 10_f64.powi(1 - value.log10().floor() as i32);
    (value * digits).round() / digits
}

fn upper_median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use polars::prelude::Column;

    fn report(file: &str, table: Table) -> FileReport {
        FileReport {
            file: file.to_owned(),
            table,
            rows_read: 0,
            rows_kept: 0,
            rows_quarantined: 0,
            rows_not_drawn: 0,
            repairs: Vec::new(),
            fingerprint: String::new(),
        }
    }

    fn told(table: Table, column: &str, values: &[f64]) -> Vec<String> {
        let lines: Vec<u32> = (2..).take(values.len()).collect();
        let columns = vec![Column::new(column.into(), values), Column::new(LINE.into(), lines)];
        let rows = DataFrame::new(values.len(), columns).unwrap();
        let mut summary = Summary::default();
        note(table, &rows, &[(column.to_owned(), 3)].into(), &mut summary).unwrap();
        let problems = summary.problems(&report("file.csv", table));
        problems.iter().map(|problem| format!("{}: {}", problem.place, problem.what)).collect()
    }

    #[test]
    fn kilograms_in_a_file_of_grams_are_told_and_small_picks_are_not() {
        let told = |weights: &[f64]| told(Table::Harvests, "nut_kg", weights);
        let mut weights: Vec<f64> = (1..=12).map(|kg| 0.25 * f64::from(kg)).collect();
        assert!(told(&weights).is_empty());
        // Thin first and last rounds: a nut or two.
        weights.extend([0.0, 0.05, 0.02, 0.01]);
        assert!(told(&weights).is_empty());
        weights.extend([0.0024, 0.0031]);
        let told = told(&weights);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("file.csv:18:3: nut_kg: 2 values about a thousand"),
            "{told:?}"
        );
        assert!(told[0].ends_with("0.0024 kg"), "{told:?}");
    }

    /// A file whose sheet alone was written in fractions, or in another unit of weight, is told by itself.
    #[test]
    fn a_whole_file_of_another_unit_is_told() {
        let told = |table: Table, column: &str, files: &[Vec<f64>]| -> Vec<(String, String)> {
            let rows: Vec<(f64, u32, u32)> = (0..)
                .zip(files)
                .flat_map(|(file, values)| (2..).zip(values).map(move |(line, v)| (*v, file, line)))
                .collect();
            let part = |of: fn(&(f64, u32, u32)) -> u32| rows.iter().map(of).collect::<Vec<_>>();
            let values: Vec<f64> = rows.iter().map(|row| row.0).collect();
            let columns = vec![
                Column::new(column.into(), values),
                Column::new(FILE.into(), part(|row| row.1)),
                Column::new(LINE.into(), part(|row| row.2)),
            ];
            let frame = DataFrame::new(rows.len(), columns).unwrap();
            let reports = (0..files.len()).map(|file| report(&format!("{file}.csv"), table));
            let frames = [(table, frame)].into();
            let found = whole_files(&frames, &reports.collect::<Vec<_>>(), |_, _| Some(3)).unwrap();
            found.into_iter().map(|problem| (problem.place.to_string(), problem.what)).collect()
        };
        let cuts: Vec<f64> = (1..=12).map(|step| 0.05 * f64::from(step)).collect();
        let slight: Vec<f64> = cuts.iter().map(|cut| cut / 100.0).collect();
        let prunings = |files: &[Vec<f64>]| told(Table::Prunings, "intensity", files);
        assert_eq!(prunings(&[cuts.clone(), cuts.clone()]), []);
        let found = prunings(&[cuts.clone(), slight.clone()]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].0, "1.csv:2:3");
        assert!(
            found[0].1.contains(
                "the 12 values of this file are 0.35 % of the canopy (median), where 35 % is usual"
            ),
            "{}",
            found[0].1
        );
        // A book of one file, all of it slight; and a sheet of light cuts, which are cuts.
        assert_eq!(prunings(std::slice::from_ref(&slight)).len(), 1);
        assert_eq!(prunings(&[cuts.clone(), vec![0.02; 12]]), []);
        // One or two cuts of one per cent are no file of fractions.
        assert_eq!(prunings(&[cuts, vec![0.005; 2]]), []);
        let kg: Vec<f64> = (1..=12).map(|kg| 0.25 * f64::from(kg)).collect();
        let grams: Vec<f64> = kg.iter().map(|kg| kg / 1000.0).collect();
        let picks = |files: &[Vec<f64>]| told(Table::Harvests, "nut_kg", files);
        let light: Vec<f64> = kg.iter().map(|kg| kg / 20.0).collect();
        assert_eq!(picks(&[kg.clone(), light]), []);
        assert_eq!(picks(&[kg, grams]).len(), 1);
    }

    /// A column of what was left, read as what was cut, is told; hard cuts that are said to be cuts, cuts of
    /// which half are light, few cuts and shares of shoots are not.
    #[test]
    fn a_file_of_what_was_left_is_told() {
        let told = |cuts: &[f64], basis: &str, unit: Option<&'static str>| {
            let columns = vec![
                Column::new("intensity".into(), cuts),
                Column::new("measured_as".into(), vec![basis; cuts.len()]),
                Column::new(FILE.into(), vec![0_u32; cuts.len()]),
            ];
            let frame = DataFrame::new(cuts.len(), columns).unwrap();
            let frames = [(Table::Prunings, frame)].into();
            let reports = [report("book.xlsx#Cuts", Table::Prunings)];
            hard_files(&frames, &reports, |_, _| Some(3), |_| unit).unwrap()
        };
        let cuts: Vec<f64> = (1..=20).map(|step| 0.02 * f64::from(step)).collect();
        let left: Vec<f64> = cuts.iter().map(|cut| 1.0 - cut).chain([0.0; 30]).collect();
        let canopy = MeasuredAs::CanopyFraction.as_str();
        let found = told(&left, canopy, None);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].severity, found[0].code), (Severity::Warning, Code::UnitSuspect));
        assert_eq!(found[0].place, Place::file("book.xlsx#Cuts"));
        assert!(found[0].what.contains("the 20 prunings of this file take 80 %"), "{found:?}");
        for part in ["path = \"book.xlsx\"", "\"fraction_left\"", "\"fraction_cut\""] {
            assert!(found[0].remedy.contains(part), "{found:?}");
        }
        assert_eq!(told(&left, canopy, Some("pct")).len(), 1);
        assert!(told(&left, canopy, Some("pct_cut")).is_empty());
        assert!(told(&left, MeasuredAs::Shoots.as_str(), None).is_empty());
        assert!(told(&left[1..], canopy, None).is_empty());
        assert!(told(&cuts, canopy, None).is_empty());
        let half = [vec![0.5; 30], vec![0.9; 29]].concat();
        assert!(told(&half, canopy, None).is_empty());
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
