//! Path: how much of the effect of pruning on yield runs through flowering laterals.

mod effects;
mod sensitivity;
mod slope;

use crate::laterals::{LateralsModel, RegionLaterals};
use crate::region_curve::Summary;
use crate::scale::Scale;
use crate::support::UNPRUNED_BELOW;
use crate::table::TreeSeasons;
use crate::yield_model::{RegionFit, YieldError, usable};
use sensitivity::{Residuals, undoing};
use slope::{Framed, Slope};
use thiserror::Error;
use words::say;

pub use crate::laterals::LateralsSettings as PathSettings;
pub use effects::{Effects, split};

/// Fewest tree-seasons with frames and yield for a slope.
const LEAST_TREE_SEASONS: usize = 60;
/// Fewest of a region with frames that counted flowering laterals.
const LEAST_REGION_SEASONS: u64 = 30;

/// How far beyond what was tried on trees with frames a practice may lie: half a grid step, days.
const INTENSITY_ROOM: f64 = 0.01;
const LEAD_ROOM: f64 = 3.0;

/// Why there is no path.
#[derive(Debug, Error)]
pub enum PathError {
    /// Flowering laterals are not counted, or too rarely.
    #[error("{}", say!("flowering laterals are counted on too few frames"))]
    NoFlowering,
    /// Too few tree-seasons with both.
    #[error("{}", say!("{tree_seasons} tree-seasons with both frame counts and a yield are too few (at least {LEAST_TREE_SEASONS})"))]
    TooFew {
        /// Tree-seasons.
        tree_seasons: usize,
    },
    /// One frame per tree-season.
    #[error("{}", say!("flowering of a tree-season was counted in a single frame, which does not show how far counts can be trusted: count at least two frames per tree"))]
    OneFrame,
    /// Counts of one tree-season vary as much as counts of different ones.
    #[error("{}", say!("frames of one tree in one season differ as much as those of different trees and seasons: the counts do not tell the tree-seasons apart"))]
    NoSpread,
    /// The yield design could not be built.
    #[error(transparent)]
    Yield(#[from] YieldError),
    /// The engine refused.
    #[error("{}", say!("the path could not be fitted: {}", _0))]
    Engine(#[from] mixed::Error),
}

/// Trees treated alike before the change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathPoint {
    /// Fraction removed.
    pub intensity: f64,
    /// Days before the flush start; any value when unpruned.
    pub lead_days: f64,
    /// Share of trees, adding to 1 over the points.
    pub weight: f64,
}

/// The slope of yield on flowering laterals with its draws, common to all regions.
#[derive(Debug, Clone)]
pub struct PathModel {
    /// Tree-seasons with frames and yield.
    pub tree_seasons: u64,
    /// Trees behind them.
    pub trees: u64,
    /// Slope of yield, on the response scale, per unit of log flowering density; an elasticity on
    /// the log scale.
    pub slope: Summary,
    /// Share of the variance of log density between the tree-seasons of a tree that the frames show.
    pub reliability: f64,
    /// Whether the slope rests on differences between the seasons of a tree.
    pub within_trees: bool,
    /// Scale of the yield model.
    pub scale: Scale,
    /// Draws of the calibration at which the yield model was fitted.
    pub calibrations: u64,
    draws: Vec<f64>,
    residuals: Vec<Residuals>,
    level: f64,
}

/// Summaries of the three effects of a change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EffectSummaries {
    /// On yield.
    pub total: Summary,
    /// Through more or fewer flowering laterals.
    pub indirect: Summary,
    /// By everything else.
    pub direct: Summary,
}

/// The path of a change in one region.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionPath {
    /// Effects, kg per tree.
    pub kg: EffectSummaries,
    /// Effects, per cent of the expected yield before the change.
    pub per_cent: EffectSummaries,
    /// Expected yield before the change, kg per tree.
    pub before_kg: f64,
    /// Change of flowering laterals per m2, as a ratio.
    pub flowering_ratio: Summary,
    /// Share of the total that runs through flowering laterals; `None` unless the interval of the
    /// total excludes 0.
    pub share: Option<Summary>,
    /// Hidden residual correlation at which the interval of the indirect effect reaches 0: 0 when it
    /// includes 0 as it stands, `None` when none up to 0.95 does.
    pub undone_at: Option<f64>,
}

impl PathModel {
    /// Fits the slope of yield on flowering laterals.
    ///
    /// # Errors
    /// [`PathError`] when the counts cannot carry a slope.
    pub fn fit(
        table: &TreeSeasons,
        laterals: &LateralsModel,
        scale: Scale,
        settings: &PathSettings,
    ) -> Result<Self, PathError> {
        let count = laterals.flowering.as_ref().ok_or(PathError::NoFlowering)?;
        let (table, _) = usable(table)?;
        let framed = Framed::of(&table, count)?;
        let tree_seasons = framed.table.len();
        if tree_seasons < LEAST_TREE_SEASONS {
            return Err(PathError::TooFew { tree_seasons });
        }
        let Slope { draws, residuals, reliability, within_trees, calibrations } =
            slope::fit(&framed, count, scale, settings)?;
        Ok(Self {
            tree_seasons: tree_seasons as u64,
            trees: framed.table.tree.len() as u64,
            slope: Summary::of(draws.iter().copied(), settings.level),
            reliability,
            within_trees,
            scale,
            calibrations,
            draws,
            residuals,
            level: settings.level,
        })
    }

    /// Why a region's path is not shown, in plain words; `None` when it can be.
    #[must_use]
    pub fn too_few(region: &RegionLaterals) -> Option<String> {
        if let Some(why) = &region.too_few {
            return Some(why.clone());
        }
        if region.flowering.is_none() || region.flowering_seasons < LEAST_REGION_SEASONS {
            return Some(format!(
                "flowering laterals were counted in only {} tree-seasons",
                region.flowering_seasons
            ));
        }
        None
    }

    /// Why a practice cannot be followed through the frames of a region, in plain words: it was not
    /// tried on trees with frames. `None` when it can.
    #[must_use]
    pub fn untried(region: &RegionLaterals, practice: PathPoint) -> Option<String> {
        let support = region.support.as_ref()?;
        if practice.intensity < UNPRUNED_BELOW {
            let why = "no tree with frame counts was left unpruned";
            return (!support.includes_unpruned()).then(|| why.to_owned());
        }
        let within = |[low, high]: [f64; 2], value: f64, room: f64| {
            (low - room..=high + room).contains(&value)
        };
        let tried = within(support.intensity, practice.intensity, INTENSITY_ROOM)
            && support.lead.is_some_and(|lead| within(lead, practice.lead_days, LEAD_ROOM));
        (!tried).then(|| {
            format!(
                "removing {:.0} % of the canopy {:.0} days before the flush was not tried on trees with frame counts",
                100.0 * practice.intensity,
                practice.lead_days
            )
        })
    }

    /// Effects of moving from a practice to another one, draw by draw: the total from the region's
    /// yield surface, the indirect part as slope times the change in log flowering density. Draws
    /// of the three are combined as independent, which makes the interval of the direct part a
    /// little wide. `None` when the region has too few frames, or none under the new practice.
    #[must_use]
    pub fn effects(
        &self,
        fit: &RegionFit,
        region: &RegionLaterals,
        before: &[PathPoint],
        after: PathPoint,
    ) -> Option<RegionPath> {
        if Self::too_few(region).or_else(|| Self::untried(region, after)).is_some() {
            return None;
        }
        let flowering = region.flowering.as_ref()?;
        let lead_of = |point: &PathPoint| fit.fixed_lead.unwrap_or(point.lead_days);
        let n = self.draws.len().min(fit.curve.draws()).min(flowering.level.len());
        let mut sums = vec![Effects { total: 0.0, indirect: 0.0, direct: 0.0 }; n];
        let (mut before_kg, mut on_mediator) = (vec![0.0; n], vec![0.0; n]);
        let after_kg: Vec<f64> =
            fit.curve.expected_kg(after.intensity, lead_of(&after)).take(n).collect();
        let after_flowering: Vec<f64> =
            flowering.effects(after.intensity, after.lead_days).take(n).collect();
        for point in before {
            let kg = fit.curve.expected_kg(point.intensity, lead_of(point));
            let shoots = flowering.effects(point.intensity, point.lead_days);
            for (draw, (kg, shoots)) in kg.zip(shoots).take(n).enumerate() {
                let change = after_flowering[draw] - shoots;
                let indirect = self.draws[draw] * change;
                let part =
                    split(self.scale, [kg, after_kg[draw]], fit.curve.variance[draw], indirect);
                sums[draw].total += point.weight * part.total;
                sums[draw].indirect += point.weight * part.indirect;
                sums[draw].direct += point.weight * part.direct;
                before_kg[draw] += point.weight * kg;
                on_mediator[draw] += point.weight * change;
            }
        }
        let summary = |of: &dyn Fn(&Effects) -> f64, unit: &dyn Fn(f64) -> f64| {
            let draws = sums.iter().zip(&before_kg).map(|(effects, kg)| of(effects) * unit(*kg));
            Summary::of(draws, self.level)
        };
        let all = |unit: &dyn Fn(f64) -> f64| EffectSummaries {
            total: summary(&|e| e.total, unit),
            indirect: summary(&|e| e.indirect, unit),
            direct: summary(&|e| e.direct, unit),
        };
        let kg = all(&|_| 1.0);
        let clear = kg.total.low > 0.0 || kg.total.high < 0.0;
        Some(RegionPath {
            kg,
            per_cent: all(&|kg| 100.0 / kg),
            before_kg: Summary::of(before_kg.iter().copied(), self.level).median,
            flowering_ratio: Summary::of(on_mediator.iter().map(|a| a.exp()), self.level),
            share: clear.then(|| summary(&|e| e.indirect / e.total, &|_| 1.0)),
            undone_at: undoing(&self.residuals[..n], &on_mediator, self.level),
        })
    }
}
