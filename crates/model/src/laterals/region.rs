//! A region's counts as functions of intensity and lead, draw by draw.

use super::count_fit::CountFit;
use crate::curve::{self, COLUMNS, IntensityShape, Knots};
use crate::design::Role;
use crate::support::{Support, UNPRUNED_BELOW};
use std::collections::BTreeSet;

/// Width of the intensity classes, fraction.
const CLASS_WIDTH: f64 = 0.10;

/// Scale on which effects add.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountLink {
    /// Logarithm of a density, 1/m2.
    Log,
    /// Logit of a share.
    Logit,
}

/// Posterior draws of one region's density or share as a function of intensity and lead.
#[derive(Debug, Clone, PartialEq)]
pub struct CountCurve {
    /// Scale on which the surface adds to the level.
    pub link: CountLink,
    /// Surface coefficients of each draw, in column order, at the region's mean planting density:
    /// a quadratic in intensity whose hump lead raises or lowers.
    pub coefficients: Vec<[f64; COLUMNS]>,
    /// Level of an unpruned average tree in the latest season on the link scale, one per draw.
    pub level: Vec<f64>,
    /// Variance of trees, tree-seasons, blocks and site-seasons around the level.
    pub variance: f64,
}

impl CountCurve {
    /// Mean over trees at an intensity (fraction) and lead (days), one value per draw: a density
    /// exp(level + effect + variance/2), or a share by the approximation of Zeger, Liang and Albert
    /// (1988, Biometrics 44:1049-1060), logistic((level + effect) / sqrt(1 + c2 variance)),
    /// c = 16 sqrt(3) / (15 pi).
    pub fn means(&self, intensity: f64, lead_days: f64) -> impl Iterator<Item = f64> + '_ {
        let c = 16.0 * 3.0_f64.sqrt() / (15.0 * std::f64::consts::PI);
        let narrowing = (1.0 + c * c * self.variance).sqrt();
        self.effects(intensity, lead_days).zip(&self.level).map(move |(effect, level)| {
            let eta = level + effect;
            match self.link {
                CountLink::Log => (eta + self.variance / 2.0).exp(),
                CountLink::Logit => 1.0 / (1.0 + (-eta / narrowing).exp()),
            }
        })
    }

    /// Effect on the link scale of an intensity at a lead against an unpruned tree, one per draw.
    pub fn effects(&self, intensity: f64, lead_days: f64) -> impl Iterator<Item = f64> + '_ {
        let shapes = curve::shapes(intensity, lead_days, Knots::default());
        let profile = IntensityShape::Quadratic.first_profile();
        let columns: [f64; COLUMNS] = std::array::from_fn(|column| profile.column(column, &shapes));
        self.coefficients.iter().map(move |coefficients| {
            coefficients.iter().zip(columns).map(|(coefficient, value)| coefficient * value).sum()
        })
    }
}

/// Frames of one region in an intensity class, as counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountClass {
    /// Lower end of the class (unpruned: 0).
    pub from: f64,
    /// Upper end of the class (unpruned: 0).
    pub to: f64,
    /// Mean intensity over the frames.
    pub mean_intensity: f64,
    /// Frames.
    pub frames: u64,
    /// Laterals over frame area, 1/m2.
    pub laterals_per_m2: f64,
    /// Flowering laterals over laterals of the frames that counted both.
    pub share: Option<f64>,
}

/// A region in the laterals model.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionLaterals {
    /// Region id.
    pub region: String,
    /// Frames used.
    pub frames: u64,
    /// Trees behind them.
    pub trees: u64,
    /// Tree-seasons behind them.
    pub tree_seasons: u64,
    /// Pruned tree-seasons among these.
    pub pruned: u64,
    /// Tree-seasons whose frames counted flowering laterals.
    pub flowering_seasons: u64,
    /// Why no curve is shown, in plain words; `None` when there are frames enough.
    pub too_few: Option<String>,
    /// What was tested on trees with frames.
    pub support: Option<Support>,
    /// Laterals per m2.
    pub laterals: Option<CountCurve>,
    /// Flowering laterals per m2.
    pub flowering: Option<CountCurve>,
    /// Share of laterals that flower.
    pub share: Option<CountCurve>,
    /// Counts by intensity class.
    pub classes: Vec<CountClass>,
}

/// Reads a region's curve off the draws of a count model; `None` for a region that it does not have.
pub(super) fn curve_of(
    count: &CountFit,
    link: CountLink,
    draws: &[Vec<f64>],
    region: &str,
) -> Option<CountCurve> {
    let table = &count.rows.table;
    let code = table.region.labels.iter().position(|label| label == region)? as u32;
    if !count.has_curve(code) {
        return None;
    }
    let rows: Vec<usize> =
        (0..table.len()).filter(|&row| table.region.codes[row] == code).collect();
    let latest = rows.iter().map(|&row| table.season[row]).max()?;
    let recent: Vec<usize> =
        rows.iter().copied().filter(|&row| table.season[row] == latest).collect();
    let mean = |values: &[f64], of: &[usize]| {
        of.iter().map(|&row| values[row]).sum::<f64>() / of.len().max(1) as f64
    };
    let columns = &count.design.columns;
    let average: Vec<f64> = columns
        .iter()
        .map(|column| match column.role {
            Role::Intercept | Role::Region(_) | Role::Nuisance | Role::Habit(_) => {
                mean(&column.values, &recent)
            }
            _ => 0.0,
        })
        .collect();
    let density = if count.design.log_density.is_empty() {
        0.0
    } else {
        mean(&count.design.log_density, &rows)
    };
    let mut curve = CountCurve {
        link,
        coefficients: Vec::with_capacity(draws.len()),
        level: Vec::with_capacity(draws.len()),
        variance: count.variance(),
    };
    for draw in draws {
        let (mut shapes, mut level) = ([0.0; COLUMNS], 0.0);
        for ((column, value), average) in columns.iter().zip(draw).zip(&average) {
            match column.role {
                Role::Shape(shape) => shapes[shape] += value,
                Role::RegionShape(shape, of) if of == code => shapes[shape] += value,
                Role::ShapeByDensity(shape) => shapes[shape] += value * density,
                _ => level += value * average,
            }
        }
        curve.coefficients.push(shapes);
        curve.level.push(level);
    }
    Some(curve)
}

/// Classes of 0 and (0, 0.1], (0.1, 0.2], ... that hold at least one of the frames.
pub(super) fn classes(count: &crate::frames::FrameRows, rows: &[usize]) -> Vec<CountClass> {
    let class_of = |row: usize| {
        let intensity = count.table.intensity[row];
        if intensity < UNPRUNED_BELOW {
            0
        } else {
            (intensity / CLASS_WIDTH - 1e-9).floor() as usize + 1
        }
    };
    let found: BTreeSet<usize> = rows.iter().map(|&row| class_of(row)).collect();
    found
        .into_iter()
        .map(|class| {
            let members: Vec<usize> =
                rows.iter().copied().filter(|&row| class_of(row) == class).collect();
            let sum = |values: &[f64], of: &[usize]| of.iter().map(|&r| values[r]).sum::<f64>();
            let counted: Vec<usize> =
                members.iter().copied().filter(|&row| count.flowering[row].is_finite()).collect();
            let laterals = sum(&count.laterals, &counted);
            CountClass {
                from: (class.max(1) - 1) as f64 * CLASS_WIDTH,
                to: class as f64 * CLASS_WIDTH,
                mean_intensity: sum(&count.table.intensity, &members) / members.len() as f64,
                frames: members.len() as u64,
                laterals_per_m2: sum(&count.laterals, &members) / sum(&count.frame_m2, &members),
                share: (laterals > 0.0).then(|| sum(&count.flowering, &counted) / laterals),
            }
        })
        .collect()
}
