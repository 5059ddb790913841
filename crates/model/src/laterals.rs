//! The laterals model: how pruning changes the lateral shoots of a tree, and how many of them flower.

pub(crate) mod count_fit;
mod pooling;
mod region;

use crate::design::HabitStatus;
use crate::frames::{FrameRows, FrameUse, Frames, beside};
use crate::support::{Support, UNPRUNED_BELOW};
use crate::table::TreeSeasons;
use crate::yield_model::YieldError;
use count_fit::{Count, CountFit};
use mixed::{GeneralisedCoefficient, ParameterEstimate, SpreadEstimate};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use thiserror::Error;

pub use region::{CountClass, CountCurve, CountLink, RegionLaterals};

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
    #[error("no frame counts of laterals stand beside a harvest")]
    NoFrames,
    /// Too few for a model.
    #[error("{frames} frame counts of laterals are too few for a model (at least {LEAST_FRAMES})")]
    TooFew {
        /// Usable frames.
        frames: usize,
    },
    /// The covariance of a fit is not positive definite.
    #[error("the counts of laterals do not identify their model")]
    Unidentified,
    /// The search did not end at an optimum.
    #[error("the model of the laterals did not reach its optimum: {0}")]
    NotConverged(String),
    /// The design could not be identified.
    #[error(transparent)]
    Design(#[from] YieldError),
    /// The engine refused.
    #[error("the laterals could not be fitted: {0}")]
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
        let (rows, used) = beside(frames, table);
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
