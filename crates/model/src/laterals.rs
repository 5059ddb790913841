//! The laterals model: how pruning changes the lateral shoots of a tree, and how many of them flower.

pub(crate) mod count_fit;
mod pooling;
mod region;

use crate::design::HabitStatus;
use crate::frames::{FrameRows, FrameUse, Frames, beside};
use crate::support::{Support, UNPRUNED_BELOW};
use crate::table::TreeSeasons;
use crate::yield_model::{YieldError, sample};
use count_fit::{Count, CountFit};
use mixed::{GeneralisedCoefficient, ParameterEstimate, SpreadEstimate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use thiserror::Error;
use words::say;

pub use region::{CountClass, CountCurve, CountLink, RegionLaterals};

/// Frames above which those of a sample of trees are used: the time grows with every frame, and a
/// region of a large book still has thousands. A choice of ours, with no measured loss behind it.
const MOST_FRAMES: usize = 60_000;
/// Fewest frames of all regions together for which a model is tried.
const LEAST_FRAMES: usize = 60;
/// Fewest frames, trees, pruned tree-seasons and distinct intensities of a region whose curve is
/// shown.
const LEAST_REGION_FRAMES: u64 = 40;
const LEAST_TREES: u64 = 10;
const LEAST_PRUNED: u64 = 15;
const LEAST_LEVELS: usize = 3;

/// Settings of the laterals and path models.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LateralsSettings {
    /// Draws.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Level of intervals.
    pub level: f64,
}

/// Why there is no laterals model.
#[derive(Debug, Error)]
pub enum LateralsError {
    /// The book has no frame counts beside harvests.
    #[error("{}", say!("no frame counts of laterals stand beside a harvest"))]
    NoFrames,
    /// Too few for a model.
    #[error("{}", say!("{frames} frame counts of laterals are too few for a model (at least {LEAST_FRAMES})"))]
    TooFew {
        /// Usable frames.
        frames: usize,
    },
    /// The covariance of a fit is not positive definite.
    #[error("{}", say!("the counts of laterals do not identify their model"))]
    Unidentified,
    /// The search did not end at an optimum.
    #[error("{}", say!("the model of the laterals did not reach its optimum: {}", _0))]
    NotConverged(String),
    /// The design could not be identified.
    #[error(transparent)]
    Design(#[from] YieldError),
    /// The engine refused.
    #[error("{}", say!("the laterals could not be fitted: {}", _0))]
    Engine(#[from] mixed::Error),
}

/// A fitted count model, for the record.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CountSummary {
    /// What is counted: `laterals`, `flowering_laterals` or `share_flowering`.
    pub response: &'static str,
    /// How the search ended.
    pub status: String,
    /// Log-likelihood by Laplace's approximation.
    pub loglik: f64,
    /// Frames used.
    pub frames: u64,
    /// Coefficients on the link scale, before pooling.
    pub coefficients: Vec<GeneralisedCoefficient>,
    /// Spreads on the link scale.
    pub spreads: Vec<SpreadEstimate>,
    /// Parameters of the distribution.
    pub parameters: Vec<ParameterEstimate>,
    /// Terms left out of the model and why.
    pub left_out: Vec<String>,
    /// What the residuals look like.
    pub residuals: ResidualCheck,
}

/// Randomised quantile residuals (Dunn and Smyth, 1996, J. Comput. Graph. Stat. 5:236-244): standard
/// normal when the model holds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ResidualCheck {
    /// Residuals.
    pub count: u64,
    /// Mean, 0 expected.
    pub mean: f64,
    /// Standard deviation, 1 expected (a little less with few frames per tree-season).
    pub sd: f64,
    /// Share beyond 1.96 either way, 0.05 expected.
    pub beyond: f64,
}

/// The fitted laterals model.
#[derive(Debug, Clone)]
pub struct LateralsModel {
    /// Frames used and left out.
    pub frames: FrameUse,
    /// Laterals, flowering laterals and the share flowering, as far as they were counted.
    pub fits: Vec<CountSummary>,
    /// Regions with frames, by id.
    pub regions: Vec<RegionLaterals>,
    /// The model of flowering laterals, for the path.
    pub(crate) flowering: Option<CountFit>,
}

impl LateralsModel {
    /// Fits the counts of linked frames beside their tree-seasons.
    ///
    /// # Errors
    /// [`LateralsError`] when there are too few frames or the engine cannot fit them.
    pub fn fit(
        frames: &Frames,
        table: &TreeSeasons,
        settings: &LateralsSettings,
    ) -> Result<Self, LateralsError> {
        let (rows, mut used) = beside(frames, table);
        let rows = drawn(rows, MOST_FRAMES, &mut used);
        match rows.len() {
            0 => return Err(LateralsError::NoFrames),
            n if n < LEAST_FRAMES => return Err(LateralsError::TooFew { frames: n }),
            _ => {}
        }
        let counted: Vec<usize> =
            (0..rows.len()).filter(|&row| rows.flowering[row].is_finite()).collect();
        let flowers = rows.select(&counted);
        let all = Fitted::new(rows.clone(), Count::Laterals, settings)?;
        let habit = &all.count.design.habit;
        let mut regions: Vec<RegionLaterals> = rows
            .table
            .region
            .labels
            .iter()
            .zip(habit)
            .map(|(region, habit)| describe(&rows, region, *habit))
            .collect();
        let mut fits = vec![all.summary("laterals", settings)?];
        fill(&mut regions, |r| (&mut r.laterals, all.curve(CountLink::Log, &r.region)));
        // Flowering is a second table: without enough of it the laterals still stand.
        let mut flowering = None;
        if flowers.len() >= LEAST_FRAMES
            && let Ok(density) = Fitted::new(flowers.clone(), Count::Flowering, settings)
            && let Ok(share) = Fitted::new(flowers, Count::Share, settings)
        {
            fits.push(density.summary("flowering_laterals", settings)?);
            fits.push(share.summary("share_flowering", settings)?);
            fill(&mut regions, |r| (&mut r.flowering, density.curve(CountLink::Log, &r.region)));
            fill(&mut regions, |r| (&mut r.share, share.curve(CountLink::Logit, &r.region)));
            flowering = Some(density.count);
        }
        Ok(Self { frames: used, fits, regions, flowering })
    }

    /// The region of an id.
    #[must_use]
    pub fn region(&self, region: &str) -> Option<&RegionLaterals> {
        self.regions.iter().find(|found| found.region == region)
    }
}

/// The rows, or where they are many those of a sample of trees, the same number from each region.
fn drawn(rows: FrameRows, most: usize, used: &mut FrameUse) -> FrameRows {
    let drawn = sample(&rows.table, most);
    let passed_over = rows.len() - drawn.len();
    if passed_over == 0 {
        return rows;
    }
    used.used = drawn.len() as u64;
    used.left_out.push((
        say!("tree not drawn: of more than {most} frames those of a sample of trees are used"),
        passed_over as u64,
    ));
    rows.select(&drawn)
}

/// Sets a curve in every region that has frames enough.
fn fill(
    regions: &mut [RegionLaterals],
    of: impl Fn(&mut RegionLaterals) -> (&mut Option<CountCurve>, Option<CountCurve>),
) {
    for region in regions.iter_mut().filter(|region| region.too_few.is_none()) {
        let (place, curve) = of(region);
        *place = curve;
    }
}

struct Fitted {
    count: CountFit,
    draws: Vec<Vec<f64>>,
}

impl Fitted {
    fn new(
        rows: FrameRows,
        what: Count,
        settings: &LateralsSettings,
    ) -> Result<Self, LateralsError> {
        let count = count_fit::fit(rows, what)?;
        // Each model draws from a stream of its own.
        let seed = settings.seed.wrapping_add(1 + what as u64);
        let draws =
            count.coefficient_draws(settings.draws, seed).ok_or(LateralsError::Unidentified)?;
        Ok(Self { count, draws })
    }

    fn curve(&self, link: CountLink, region: &str) -> Option<CountCurve> {
        region::curve_of(&self.count, link, &self.draws, region)
    }

    fn summary(
        &self,
        response: &'static str,
        settings: &LateralsSettings,
    ) -> Result<CountSummary, LateralsError> {
        let fit = &self.count.fit;
        Ok(CountSummary {
            response,
            status: fit.status().to_string(),
            loglik: fit.loglik(),
            frames: fit.rows().used,
            coefficients: fit.coefficients(),
            spreads: fit.spreads(settings.level)?,
            parameters: fit.parameters(settings.level)?,
            left_out: self.count.design.left_out.clone(),
            residuals: residuals(&fit.quantile_residuals(settings.seed)),
        })
    }
}

fn residuals(values: &[f64]) -> ResidualCheck {
    let known: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    let n = known.len().max(1) as f64;
    let mean = known.iter().sum::<f64>() / n;
    let square = known.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n;
    ResidualCheck {
        count: known.len() as u64,
        mean,
        sd: square.sqrt(),
        beyond: known.iter().filter(|value| value.abs() > 1.96).count() as f64 / n,
    }
}

/// Counts of a region's frames, and whether they are enough.
fn describe(rows: &FrameRows, region: &str, habit: HabitStatus) -> RegionLaterals {
    let table = &rows.table;
    let own: Vec<usize> =
        (0..rows.len()).filter(|&row| table.region.label(row) == region).collect();
    let seasons = |wanted: &dyn Fn(usize) -> bool| {
        let found = own.iter().copied().filter(|&row| wanted(row));
        found.map(|row| rows.tree_season.codes[row]).collect::<BTreeSet<_>>().len() as u64
    };
    let trees: BTreeSet<u32> = own.iter().map(|&row| table.tree.codes[row]).collect();
    let intensities: Vec<f64> = own.iter().map(|&row| table.intensity[row]).collect();
    let leads: Vec<f64> = own.iter().map(|&row| table.lead_days[row]).collect();
    let support = Support::of(&intensities, &leads);
    let (frames, trees) = (own.len() as u64, trees.len() as u64);
    let pruned = seasons(&|row| table.intensity[row] >= UNPRUNED_BELOW);
    let levels = support.as_ref().map_or(0, |support| support.levels);
    let too_few = if frames < LEAST_REGION_FRAMES || trees < LEAST_TREES {
        Some(format!("{frames} frame counts of {trees} trees are too few to draw a curve from"))
    } else if pruned < LEAST_PRUNED {
        Some(format!("only {pruned} pruned tree-seasons have frame counts"))
    } else if levels < LEAST_LEVELS {
        Some("the trees with frame counts were pruned too much alike".to_owned())
    } else if habit == HabitStatus::Unresolved {
        Some(
            "each tree with frame counts was always pruned alike, so an effect of pruning cannot be told from the choice of trees"
                .to_owned(),
        )
    } else {
        None
    };
    RegionLaterals {
        region: region.to_owned(),
        frames,
        trees,
        tree_seasons: seasons(&|_| true),
        pruned,
        flowering_seasons: seasons(&|row| rows.flowering[row].is_finite()),
        too_few,
        support,
        laterals: None,
        flowering: None,
        share: None,
        classes: region::classes(rows, &own),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Labelled;

    #[test]
    fn of_many_frames_those_of_whole_trees_are_used_and_all_are_accounted_for() {
        // Three frames of each of 200 trees, in two regions of very different size.
        let tree = |at: usize| at / 3;
        let names: Vec<String> = (0..200).map(|tree| format!("T{tree:03}")).collect();
        let rows = 0..600;
        let labels =
            |of: &dyn Fn(usize) -> &'static str| Labelled::from_values(rows.clone().map(of));
        let nothing = labels(&|_| "");
        let table = TreeSeasons {
            region: labels(&|at| if tree(at) < 190 { "large" } else { "small" }),
            site: nothing.clone(),
            block: nothing.clone(),
            tree: Labelled::from_values(rows.clone().map(|at| names[tree(at)].as_str())),
            season: rows.clone().map(|at| 2020 + (at % 3) as i32).collect(),
            yield_kg: vec![1.0; 600],
            intensity: vec![0.1; 600],
            lead_days: vec![40.0; 600],
            basis: nothing.clone(),
            minutes: vec![f64::NAN; 600],
            age_years: vec![9.0; 600],
            trees_per_ha: vec![156.0; 600],
            variety: nothing.clone(),
            girth_cm: vec![f64::NAN; 600],
            previous_intensity: vec![f64::NAN; 600],
            in_trial: vec![false; 600],
            treated_otherwise: vec![false; 600],
            young: vec![false; 600],
        };
        let frames = Frames {
            tree: table.tree.clone(),
            season: table.season.clone(),
            frame_m2: vec![0.5; 600],
            laterals: vec![10.0; 600],
            flowering: vec![6.0; 600],
            side: nothing,
        };
        let (all, mut used) = beside(&frames, &table);
        let few = drawn(all.clone(), 200, &mut used);
        assert_eq!(used.used as usize, few.len());
        assert_eq!(used.used + used.left_out.iter().map(|(_, n)| n).sum::<u64>(), used.read);
        let of = |region: &str| {
            (0..few.len()).filter(|&row| few.table.region.label(row) == region).count()
        };
        // Half of the frames wanted from each; the small region has fewer and keeps them.
        assert!((95..=110).contains(&of("large")), "{}", of("large"));
        assert_eq!(of("small"), 30);
        let mut frames_of = std::collections::BTreeMap::new();
        for row in 0..few.len() {
            *frames_of.entry(few.table.tree.label(row)).or_insert(0) += 1;
        }
        assert!(frames_of.values().all(|frames| *frames == 3), "whole trees");
        let mut used = FrameUse::default();
        assert_eq!(drawn(all.clone(), 600, &mut used).len(), all.len());
        assert!(used.left_out.is_empty());
    }
}
