//! Slope of yield on flowering, from counts that measure flowering with error.
//!
//! A few frames do not tell the flowering of a tree-season exactly, and a slope on the raw density
//! would be too flat. The density enters as its empirical-Bayes estimate given counts, pruning and
//! everything else in the yield model (regression calibration: Carroll, Ruppert, Stefanski and
//! Crainiceanu, 2006, Measurement Error in Nonlinear Models, ch. 4). Only a tree-season's own
//! deviation counts: what a tree always is, and what a site has in a season, have columns or levels
//! of their own, so that neither vigour nor weather passes for an effect of flowering. The
//! calibration is drawn anew from the count model's own uncertainty, and the yield model refitted
//! at each, so that the uncertainty of how much the counts can be trusted reaches the slope. The
//! spread between tree-seasons, on which the trust rests, is centred on what pairs of frames say:
//! Laplace's approximation makes it a little too small with few frames, and the slope too steep.

use super::sensitivity::Residuals;
use super::{PathError, PathSettings};
use crate::curve::{IntensityShape, Knots};
use crate::design::{Column, Design, RegionCurves, Role, Source};
use crate::laterals::count_fit::{CountFit, TREE, TREE_SEASON};
use crate::scale::Scale;
use crate::table::TreeSeasons;
use mixed::{CoefficientValue, Contrast, GeneralisedDraws, Matrix, Settings};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StudentT};
use std::collections::BTreeMap;

/// Draws of the calibration; at each the yield model is fitted again.
const CALIBRATIONS: usize = 40;
/// Fewest of them that must give a slope.
const LEAST_CALIBRATIONS: usize = 30;
/// Name of the mediator's column.
const MEDIATOR: &str = "flowering";
/// Name of the column of a tree's lasting flowering.
const MEDIATOR_OF_TREE: &str = "flowering of the tree";

/// Draws of the slope with what the sensitivity figure needs.
#[derive(Debug, Clone)]
pub(super) struct Slope {
    /// Slope on the response scale per unit of log density, one per draw.
    pub draws: Vec<f64>,
    pub residuals: Vec<Residuals>,
    /// Share of the mediator's variance between tree-seasons that the counts show.
    pub reliability: f64,
    /// Whether lasting differences between trees have a column of their own.
    pub within_trees: bool,
    /// Draws of the calibration that gave a slope.
    pub calibrations: u64,
}

/// Tree-seasons of the yield model that have frames, and the level of each in the count model.
pub(super) struct Framed {
    pub table: TreeSeasons,
    tree_season: Vec<usize>,
    tree: Option<Vec<usize>>,
}

impl Framed {
    /// Joins the yield model's rows to the count model's levels.
    pub(super) fn of(table: &TreeSeasons, count: &CountFit) -> Result<Self, PathError> {
        let levels = |name: &str| -> Option<BTreeMap<&str, usize>> {
            let group = count.design.groups.iter().find(|group| group.name == name)?;
            Some(group.labels.iter().enumerate().map(|(k, label)| (label.as_str(), k)).collect())
        };
        let seasons = levels(TREE_SEASON).ok_or(PathError::OneFrame)?;
        let trees = levels(TREE);
        let (mut rows, mut tree_season, mut tree) = (Vec::new(), Vec::new(), Vec::new());
        for row in 0..table.len() {
            let label = format!("{} {}", table.tree.label(row), table.season[row]);
            if let Some(&level) = seasons.get(label.as_str()) {
                rows.push(row);
                tree_season.push(level);
                if let Some(trees) = &trees {
                    tree.extend(trees.get(table.tree.label(row)));
                }
            }
        }
        let tree = (tree.len() == rows.len()).then_some(tree);
        Ok(Self { table: table.select(&rows), tree_season, tree })
    }

    fn pick(&self, modes: &Matrix, levels: &[usize]) -> Vec<f64> {
        levels.iter().map(|&level| modes.row(level).first().copied().unwrap_or(0.0)).collect()
    }
}

/// Fits the yield of framed tree-seasons on pruning and flowering, calibration by calibration.
pub(super) fn fit(
    framed: &Framed,
    count: &CountFit,
    scale: Scale,
    settings: &PathSettings,
) -> Result<Slope, PathError> {
    let spreads = count.spreads();
    let place = |name: &str| count.design.groups.iter().position(|group| group.name == name);
    let at = place(TREE_SEASON).ok_or(PathError::OneFrame)?;
    if spreads.get(at).is_none_or(|spread| *spread <= 0.0) {
        return Err(PathError::NoSpread);
    }
    let varies = |k: &usize| spreads.get(*k).is_some_and(|spread| *spread > 0.0);
    let of_tree = place(TREE).filter(varies).and(framed.tree.as_deref());
    let mut names = vec![TREE_SEASON];
    if of_tree.is_some() {
        names.push(TREE);
    }
    let draws = count.fit.draws(CALIBRATIONS, settings.seed, &names)?;
    let response: Vec<f64> = framed.table.yield_kg.iter().map(|&kg| scale.forward(kg)).collect();
    let mut design = Design::new(
        &framed.table,
        RegionCurves::PartialPooling,
        (IntensityShape::Quadratic, Knots::default()),
    );
    crate::yield_model::identify(&framed.table, &mut design)?;
    let plain = design.columns.len();
    let pairs = count.pair_variance(&count.rows.flowering).ok_or(PathError::NoSpread)?;
    let widening = pairs / spreads[at].powi(2);
    let mut slopes = Vec::new();
    let mut reliability = 0.0;
    let mut first = None;
    for calibration in 0..CALIBRATIONS {
        design.columns.truncate(plain);
        add(&mut design, framed, &draws, calibration, of_tree);
        let sd = draws.spreads[(calibration, at)];
        if let Some(found) = one(&design, &response, plain, sd, &mut first) {
            let found = found.respread(widening);
            reliability += found.shown / (found.sd * found.sd);
            slopes.push(found);
        }
    }
    if slopes.len() < LEAST_CALIBRATIONS {
        return Err(PathError::NoSpread);
    }
    let mut rng = ChaCha12Rng::seed_from_u64(settings.seed.wrapping_add(1));
    let (mut values, mut residuals) = (Vec::new(), Vec::new());
    for draw in 0..settings.draws {
        let found = &slopes[draw % slopes.len()];
        let t = StudentT::new(found.df.max(1.0)).map_or(0.0, |law| law.sample(&mut rng));
        let slope = found.estimate + found.std_error * t;
        values.push(slope);
        // What the counts do not show of the mediator is part of the fit's residual.
        let hidden = (found.sd * found.sd - found.shown).max(0.0) * slope * slope;
        let rest = (found.residual_sd.powi(2) - hidden).max(0.01 * found.residual_sd.powi(2));
        residuals.push(Residuals::of(slope, found.sd, rest.sqrt()));
    }
    Ok(Slope {
        draws: values,
        residuals,
        calibrations: slopes.len() as u64,
        reliability: reliability / slopes.len() as f64,
        within_trees: of_tree.is_some() || design.groups.iter().any(|group| group.name == TREE),
    })
}

/// Adds the calibrated deviations of one draw.
fn add(
    design: &mut Design,
    framed: &Framed,
    draws: &GeneralisedDraws,
    calibration: usize,
    of_tree: Option<&[usize]>,
) {
    let modes = &draws.modes[calibration];
    let columns = [
        (MEDIATOR, modes.first(), Some(framed.tree_season.as_slice())),
        (MEDIATOR_OF_TREE, modes.get(1), of_tree),
    ];
    for (name, modes, levels) in columns {
        if let (Some(modes), Some(levels)) = (modes, levels) {
            let values = framed.pick(modes, levels);
            let n = values.len().max(1) as f64;
            let scale = (values.iter().map(|v| v * v).sum::<f64>() / n).sqrt();
            // The declared unit must not be 0; a column of zeros is found unidentified.
            let scale = if scale > 0.0 { scale } else { 1.0 };
            let name = name.to_owned();
            design.columns.push(Column {
                name,
                values,
                role: Role::Nuisance,
                source: Source::Given,
                centre: 0.0,
                scale,
            });
        }
    }
}

/// The slope at one calibration.
struct Found {
    estimate: f64,
    std_error: f64,
    df: f64,
    residual_sd: f64,
    /// Spread of the mediator between tree-seasons in this draw.
    sd: f64,
    /// Variance of its calibrated value.
    shown: f64,
}

impl Found {
    /// The same with the mediator's variance widened by a factor: a calibrated value is its
    /// reliability r times what the counts say, and r becomes c r / (1 - r + c r).
    fn respread(self, factor: f64) -> Self {
        let before = (self.shown / (self.sd * self.sd)).min(1.0);
        let after = factor * before / (1.0 - before + factor * before);
        let scale = before / after;
        Self {
            estimate: self.estimate * scale,
            std_error: self.std_error * scale,
            sd: self.sd * factor.sqrt(),
            shown: self.shown / (scale * scale),
            ..self
        }
    }
}

/// The slope of the column `at`. The first calibration's fit is left in `first` with the degrees of
/// freedom of its slope: they hardly differ from one calibration to another, and the fits of the
/// others search from it.
fn one(
    design: &Design,
    response: &[f64],
    at: usize,
    sd: f64,
    first: &mut Option<(mixed::Fit, f64)>,
) -> Option<Found> {
    let settings = match first {
        Some((fit, _)) => crate::yield_model::rough(Some(fit)),
        None => Settings::default(),
    };
    let fit = mixed::fit(&crate::yield_model::data(design, response), &settings).ok()?;
    let df = match first {
        Some((_, df)) => *df,
        None => {
            let mut unit = vec![0.0; design.columns.len()];
            *unit.get_mut(at)? = 1.0;
            let Contrast::Estimated(slope) = fit.contrast(&unit, 0.95).ok()? else { return None };
            first.insert((fit.clone(), slope.df)).1
        }
    };
    let slope = fit.coefficients().into_iter().nth(at)?;
    let CoefficientValue::Estimated { estimate, std_error } = slope.value else { return None };
    let values = &design.columns.get(at)?.values;
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let shown = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n;
    let usable = estimate.is_finite() && std_error > 0.0 && shown > 0.0;
    usable.then(|| Found { estimate, std_error, df, residual_sd: fit.sigma(), sd, shown })
}
