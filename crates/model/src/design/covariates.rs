//! Terms that shift yields besides pruning: age, density, variety, measurement basis.

use super::words::term_in_words;
use super::{Design, Logarithm, Quantity, Role, Source, indicator};
use crate::curve::COLUMN_NAMES;
use crate::table::TreeSeasons;
use std::collections::BTreeSet;
use words::say;

/// Age, years, around which log age is centred: a tree coming into full bearing.
pub(crate) const REFERENCE_AGE: f64 = 10.0;
/// Girth, cm, around which log girth is centred.
pub(crate) const REFERENCE_GIRTH_CM: f64 = 80.0;
/// Youngest age the logarithm is taken of, years.
pub(crate) const LEAST_AGE: f64 = 0.5;

pub(super) fn add(design: &mut Design, table: &TreeSeasons) {
    add_age(design, table);
    add_density(design, table);
    for (code, label) in (0_u32..).zip(&table.variety.labels).skip(1) {
        let name = if label.is_empty() {
            "variety unknown".to_owned()
        } else {
            format!("variety {label}")
        };
        let source = Source::Variety(label.clone());
        design.push(name, indicator(&table.variety, code), Role::Nuisance, source);
    }
    add_basis(design, table);
}

fn add_age(design: &mut Design, table: &TreeSeasons) {
    // Written so that an unknown age stays one: the maximum with NaN is the other number.
    let log = |age: f64| (age.max(LEAST_AGE) / REFERENCE_AGE).ln();
    let log_age: Vec<f64> = table
        .age_years
        .iter()
        .map(|age| if age.is_finite() { log(*age) } else { f64::NAN })
        .collect();
    let Some((log_age, log)) = filled(design, ("age", Quantity::Age), &log_age) else { return };
    let squared = log_age.iter().map(|a| a * a).collect();
    design.push("log age".to_owned(), log_age, Role::Nuisance, Source::Log(log));
    // Trees planted together age with the seasons: a curve in age would take the place of the
    // seasons' own ups and downs.
    let ages: BTreeSet<i64> = table
        .age_years
        .iter()
        .filter(|age| age.is_finite())
        .map(|age| age.round() as i64)
        .collect();
    let seasons: BTreeSet<i32> = table.season.iter().copied().collect();
    if ages.len() > seasons.len() + 1 {
        design.push("log age squared".to_owned(), squared, Role::Nuisance, Source::LogSquared(log));
    } else {
        design.left_out.push(say!("no curve in age: the trees are too alike in age"));
    }
}

/// Trunk girth is measured once and says how strong a tree is; too few girths say nothing.
pub(super) fn add_girth(design: &mut Design, table: &TreeSeasons) {
    let known = table.girth_cm.iter().filter(|girth| **girth > 0.0).count();
    if 2 * known < table.len() {
        design.left_out.push(say!(
            "no effect of girth: it is recorded for {known} of {} tree-seasons",
            table.len()
        ));
        return;
    }
    let log: Vec<f64> = table
        .girth_cm
        .iter()
        .map(|girth| if *girth > 0.0 { (girth / REFERENCE_GIRTH_CM).ln() } else { f64::NAN })
        .collect();
    if let Some((log, source)) = filled(design, ("girth", Quantity::Girth), &log) {
        design.push("log girth".to_owned(), log, Role::Nuisance, Source::Log(source));
    }
}

fn add_density(design: &mut Design, table: &TreeSeasons) {
    let log: Vec<f64> = table.trees_per_ha.iter().map(|density| density.ln()).collect();
    let known = filled(design, ("planting density", Quantity::Density), &log);
    let Some((log, source)) = known else { return };
    let mean = log.iter().sum::<f64>() / log.len().max(1) as f64;
    let log: Vec<f64> = log.iter().map(|value| value - mean).collect();
    let source = Logarithm { centre: mean, ..source };
    design.push("log density".to_owned(), log.clone(), Role::Nuisance, Source::Log(source));
    for &shape in design.family.core() {
        let values = design.shapes[shape].iter().zip(&log).map(|(s, d)| s * d).collect();
        design.push(
            format!("{} x log density", COLUMN_NAMES[shape]),
            values,
            Role::ShapeByDensity(shape),
            Source::ShapeByLog(shape, source),
        );
    }
    design.log_density = log;
}

/// Missing values replaced by the mean of the known ones, with an indicator column; `None` (and a
/// note) when the column does not vary or nothing is known.
fn filled(
    design: &mut Design,
    (what, quantity): (&str, Quantity),
    values: &[f64],
) -> Option<(Vec<f64>, Logarithm)> {
    let known: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    let (low, high) = known
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)));
    if known.is_empty() {
        let what = term_in_words(what);
        design.left_out.push(say!("no effect of {what}: it is not recorded"));
        return None;
    }
    if high - low < 1e-9 {
        let what = term_in_words(what);
        design.left_out.push(say!("no effect of {what}: it does not vary"));
        return None;
    }
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    if known.len() < values.len() {
        let missing = values.iter().map(|v| f64::from(u8::from(!v.is_finite()))).collect();
        let source = Source::Unknown(quantity);
        design.push(format!("{what} unknown"), missing, Role::Nuisance, source);
    }
    let filled = values.iter().map(|&v| if v.is_finite() { v } else { mean }).collect();
    Some((filled, Logarithm { quantity, fill: mean, centre: 0.0 }))
}

/// Intensities measured on another basis than the most common one get their own slope, so that two
/// bases are never pooled as if they were one.
fn add_basis(design: &mut Design, table: &TreeSeasons) {
    let count = |code: u32| table.basis.codes.iter().filter(|&&c| c == code).count();
    let bases: Vec<(u32, &String)> =
        (0_u32..).zip(&table.basis.labels).filter(|(_, label)| label.as_str() != "none").collect();
    let Some(&(common, _)) = bases.iter().max_by_key(|(code, _)| count(*code)) else { return };
    for (code, label) in bases {
        if code != common {
            let values = table
                .basis
                .codes
                .iter()
                .zip(&table.intensity)
                .map(|(&c, &intensity)| if c == code { intensity } else { 0.0 })
                .collect();
            design.push(
                format!("intensity measured as {label}"),
                values,
                Role::Basis,
                Source::Basis(label.clone()),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::{IntensityShape, Knots};
    use crate::design::RegionCurves;
    use crate::table::Labelled;

    /// Trees planted in different years, one in five with an unknown age.
    fn table() -> TreeSeasons {
        let rows = 60;
        let labels = |prefix: &str, of: &dyn Fn(usize) -> usize| {
            let values: Vec<String> = (0..rows).map(|row| format!("{prefix}{}", of(row))).collect();
            Labelled::from_values(values.iter().map(String::as_str))
        };
        let age = |row: usize| match row / 2 % 5 {
            0 => f64::NAN,
            _ => (4 + row / 2) as f64,
        };
        TreeSeasons {
            region: labels("r", &|_| 0),
            site: labels("s", &|_| 0),
            block: labels("b", &|row| row % 3),
            tree: labels("t", &|row| row / 2),
            season: (0..rows).map(|row| 2020 + (row % 2) as i32).collect(),
            yield_kg: vec![3.0; rows],
            intensity: (0..rows).map(|row| 0.1 * (row % 4) as f64).collect(),
            lead_days: vec![f64::NAN; rows],
            basis: labels("canopy", &|_| 0),
            minutes: vec![f64::NAN; rows],
            age_years: (0..rows).map(age).collect(),
            trees_per_ha: vec![100.0; rows],
            variety: labels("v", &|_| 0),
            girth_cm: vec![f64::NAN; rows],
            previous_intensity: vec![f64::NAN; rows],
            in_trial: vec![false; rows],
            treated_otherwise: vec![false; rows],
            young: vec![false; rows],
        }
    }

    #[test]
    fn a_tree_of_unknown_age_is_not_half_a_year_old() {
        let table = table();
        let family = (IntensityShape::Quadratic, Knots::default());
        let design = Design::new(&table, RegionCurves::PartialPooling, family);
        let column = |name: &str| {
            let own = design.columns.iter().find(|column| column.name == name);
            own.map(|column| column.values.clone()).unwrap_or_default()
        };
        let (log, unknown) = (column("log age"), column("age unknown"));
        let known: Vec<f64> =
            log.iter().zip(&unknown).filter(|p| *p.1 == 0.0).map(|p| *p.0).collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        assert_eq!(unknown.iter().sum::<f64>(), 12.0);
        assert!(log.iter().zip(&unknown).all(|(log, no)| *no == 0.0 || (log - mean).abs() < 1e-12));
    }
}
