//! The climate table: one row per site or block, one column per feature.

use crate::console::Failure;
use jiff::civil::Date;
use review::{FeatureKind, Features};
use std::fs;
use std::path::Path;

/// Features by the beginning of their column's name: family and kind.
const FAMILIES: [(&str, &str, FeatureKind); 9] = [
    ("rain_", "rain", FeatureKind::Plain),
    ("temperature_", "temperature", FeatureKind::Plain),
    ("humidity_", "humidity", FeatureKind::Plain),
    ("sunshine_", "sunshine", FeatureKind::Plain),
    ("altitude_", "altitude", FeatureKind::Plain),
    ("dry_", "dry season", FeatureKind::Plain),
    ("harvest_", "calendar", FeatureKind::DayOfYear),
    ("rest_", "calendar", FeatureKind::DayOfYear),
    ("flush_", "calendar", FeatureKind::DayOfYear),
];
/// Names of the first column.
const PLACES: [&str; 2] = ["block", "site"];
/// Largest file read, bytes.
const MOST: u64 = 64 << 20;

/// Reads the table: separator comma, semicolon or tab; a decimal comma where the separator is another.
///
/// # Errors
/// With every problem found, by line and column.
pub fn read(path: &Path) -> Result<Features, Failure> {
    let unreadable = |error: &std::io::Error| {
        Failure::new(
            format!("{}: {error}", path.display()),
            "name a CSV file with one row per site or block; `anacurve zones --help` shows one",
        )
    };
    let size = fs::metadata(path).map_err(|error| unreadable(&error))?.len();
    if size > MOST {
        return Err(Failure::new(
            format!(
                "{}: {size} bytes, more than the {MOST} a table of normals may have",
                path.display()
            ),
            "give one row per site or block and one column per feature",
        ));
    }
    let text = fs::read_to_string(path).map_err(|error| unreadable(&error))?;
    parse(&path.display().to_string(), text.trim_start_matches('\u{feff}'))
}

fn parse(name: &str, text: &str) -> Result<Features, Failure> {
    let first = text.lines().next().unwrap_or("");
    let separator = [';', '\t', ','].into_iter().find(|mark| first.contains(*mark)).unwrap_or(',');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator as u8)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let malformed = |error: &csv::Error| {
        let line = error.position().map_or(1, csv::Position::line);
        Failure::new(
            format!("{name}:{line}: {error}"),
            "give every row as many cells as the header, one for each column",
        )
    };
    let header: Vec<String> = reader
        .headers()
        .map_err(|error| malformed(&error))?
        .iter()
        .map(|word| word.to_lowercase().replace([' ', '-'], "_"))
        .collect();
    if !header.first().is_some_and(|word| PLACES.contains(&word.as_str())) {
        return Err(Failure::new(
            format!(
                "{name}:1:1: the first column is '{}'",
                header.first().map_or("", String::as_str)
            ),
            "the first column must be block or site",
        ));
    }
    let mut problems = Vec::new();
    let mut features = Features {
        blocks: Vec::new(),
        names: Vec::new(),
        families: Vec::new(),
        kinds: Vec::new(),
        values: Vec::new(),
    };
    for (place, word) in header.iter().enumerate().skip(1) {
        match FAMILIES.iter().find(|(start, ..)| word.starts_with(start)) {
            Some((_, family, kind)) => {
                features.names.push(word.clone());
                features.families.push((*family).to_owned());
                features.kinds.push(*kind);
            }
            None => problems.push(format!(
                "{name}:1:{}: no feature is known by the beginning of '{word}'",
                place + 1
            )),
        }
    }
    for record in reader.records() {
        let record = record.map_err(|error| malformed(&error))?;
        let line = record.position().map_or(0, csv::Position::line);
        let block = record.get(0).unwrap_or("").to_owned();
        if block.is_empty() {
            problems.push(format!("{name}:{line}:1: no name of the {}", header[0]));
        } else if features.blocks.contains(&block) {
            problems.push(format!("{name}:{line}:1: {block} stands here a second time"));
        }
        let mut values = Vec::new();
        for (place, kind) in features.kinds.iter().enumerate() {
            let cell = record.get(place + 1).unwrap_or("");
            let value = match kind {
                FeatureKind::Plain => plain(cell, separator),
                FeatureKind::DayOfYear => day_of_year(cell),
            };
            match value {
                Some(value) => values.push(value),
                None => {
                    let wanted = match kind {
                        FeatureKind::Plain => "a number",
                        FeatureKind::DayOfYear => "a day written MM-DD",
                    };
                    problems.push(format!("{name}:{line}:{}: '{cell}' is not {wanted}", place + 2));
                    values.push(f64::NAN);
                }
            }
        }
        features.blocks.push(block);
        features.values.push(values);
    }
    if problems.is_empty() { Ok(features) } else { Err(refused(&problems)) }
}

/// All problems at once.
fn refused(problems: &[String]) -> Failure {
    let starts: Vec<&str> = FAMILIES.iter().map(|(start, ..)| *start).collect();
    Failure::new(
        problems.join("\n"),
        format!(
            "columns of features begin with {}; leave a cell empty where a number is not known",
            starts.join(", ")
        ),
    )
}

/// A number; NaN for an empty cell.
fn plain(cell: &str, separator: char) -> Option<f64> {
    if cell.is_empty() {
        return Some(f64::NAN);
    }
    let cell = if separator == ',' { cell.to_owned() } else { cell.replace(',', ".") };
    cell.parse().ok().filter(|value: &f64| value.is_finite())
}

/// Day of a common year from MM-DD; NaN for an empty cell.
fn day_of_year(cell: &str) -> Option<f64> {
    if cell.is_empty() {
        return Some(f64::NAN);
    }
    let (month, day) = cell.split_once('-')?;
    let date = Date::new(2001, month.trim().parse().ok()?, day.trim().parse().ok()?).ok()?;
    Some(f64::from(date.day_of_year()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separators_commas_and_days_are_read() {
        let text = "site;rain_01_mm;altitude_m;flush_from\nA;12,5;40;09-01\nB;;55;12-31\n";
        let features = parse("normals.csv", text).unwrap_or_else(|_| unreachable!());
        assert_eq!(features.blocks, ["A", "B"]);
        assert_eq!(features.families, ["rain", "altitude", "calendar"]);
        assert_eq!(features.values[0], [12.5, 40.0, 244.0]);
        assert!(features.values[1][0].is_nan());
        assert_eq!(features.values[1][2], 365.0);
    }

    #[test]
    fn every_problem_is_named_with_its_place() {
        let text = "site,rain_01_mm,colour\nA,wet,red\nA,3,red\n";
        let message =
            parse("normals.csv", text).map_or_else(|error| error.to_string(), |_| String::new());
        for wanted in ["normals.csv:1:3", "normals.csv:2:2: 'wet'", "normals.csv:3:1"] {
            assert!(message.contains(wanted), "{wanted} in {message}");
        }
    }
}
