//! Frame counts: the laterals model, the path to yield, and what the report shows of them.

use super::Checked;
use super::advice::Advised;
use crate::console::{Failure, Stages};
use advise::{CurvePoint, Interval, RegionAdvice};
use model::{
    CountClass, CountCurve, Frames, HabitStatus, LateralsError, LateralsModel, LateralsSettings,
    PathModel, PathPoint, RegionFit, Summary, TreeSeasons,
};
use report::{CountMean, Effects, MethodItem, Path, PathSlope, RegionLaterals};
use serde_json::{Value, json};
use words::{say, text};

/// Step of the curves, fraction of the canopy.
const STEP: f64 = 0.01;

/// The counts of a run.
pub struct Counted {
    /// The laterals model, or why there is none; `Ok(None)` in a book without frames.
    pub laterals: Result<Option<LateralsModel>, String>,
    /// The path model, or why there is none.
    pub path: Result<PathModel, String>,
    /// What the report shows, region by region.
    pub regions: Vec<RegionLaterals>,
}

/// Fits the frame counts of a book beside its advice.
///
/// # Errors
/// When the program broke a promise; counts that cannot be fitted are an ordinary outcome.
pub fn count(checked: &Checked, advised: &Advised, stages: &Stages) -> Result<Counted, Failure> {
    let broken = |error| Failure::new(error, "this is a defect of the program; please report it");
    let table = TreeSeasons::from_batch(&checked.linked.tree_seasons).map_err(broken)?;
    let frames = Frames::from_batch(&checked.linked.frame_counts).map_err(broken)?;
    let settings = LateralsSettings {
        draws: advised.settings.draws,
        seed: advised.settings.seed,
        level: advised.settings.level,
    };
    let none = || say!("there is no model of the counts");
    if frames.is_empty() {
        return Ok(Counted { laterals: Ok(None), path: Err(none()), regions: Vec::new() });
    }
    stages.enter("laterals");
    stages.now(format!("fitting laterals to {} frame counts", frames.len()));
    let laterals = match LateralsModel::fit(&frames, &table, &settings) {
        Ok(model) => Ok(Some(model)),
        Err(LateralsError::NoFrames) => Ok(None),
        Err(error) => Err(error.to_string()),
    };
    stages.enter("path");
    stages.now("following the path from pruning through flowering to yield");
    let path = match &laterals {
        Ok(Some(laterals)) => PathModel::fit(&table, laterals, advised.model.scale, &settings)
            .map_err(|error| error.to_string()),
        _ => Err(none()),
    };
    let regions = advised
        .advice
        .regions
        .iter()
        .map(|advice| {
            let reader = Reader { checked, advised, advice, path: &path, settings };
            reader.region(&laterals)
        })
        .collect();
    Ok(Counted { laterals, path, regions })
}

struct Reader<'a> {
    checked: &'a Checked,
    advised: &'a Advised,
    advice: &'a RegionAdvice,
    path: &'a Result<PathModel, String>,
    settings: LateralsSettings,
}

impl Reader<'_> {
    fn region(&self, laterals: &Result<Option<LateralsModel>, String>) -> RegionLaterals {
        let blank = RegionLaterals {
            region: self.advice.region.clone(),
            frames: 0,
            trees: 0,
            tree_seasons: 0,
            missing: Some(say!("no laterals were counted in this region")),
            tested_intensity: None,
            lead_days: None,
            laterals: Vec::new(),
            flowering: Vec::new(),
            share: Vec::new(),
            classes: Vec::new(),
            path_missing: None,
            path: None,
        };
        let model = match laterals {
            Ok(Some(model)) => model,
            Ok(None) => return blank,
            Err(why) => return RegionLaterals { missing: Some(why.clone()), ..blank },
        };
        let Some(found) = model.region(&self.advice.region) else { return blank };
        let shown = RegionLaterals {
            frames: found.frames,
            trees: found.trees,
            tree_seasons: found.tree_seasons,
            missing: found.too_few.clone(),
            tested_intensity: found.support.as_ref().map(|support| support.intensity),
            classes: found.classes.iter().map(mean).collect(),
            ..blank
        };
        let (Some(curve), Some(range)) = (&found.laterals, shown.tested_intensity) else {
            let missing = shown.missing.clone();
            let unclear = || say!("the counts do not tell pruning from the other terms");
            return RegionLaterals { missing: missing.or_else(|| Some(unclear())), ..shown };
        };
        let target = self.target();
        let lead = target.map(|(point, _)| point.lead_days);
        let at = lead.unwrap_or_else(|| {
            found
                .support
                .as_ref()
                .and_then(|s| s.lead)
                .map_or(0.0, |[low, high]| 0.5 * (low + high))
        });
        let draw = |curve: &Option<CountCurve>| {
            curve.as_ref().map_or_else(Vec::new, |curve| self.points(curve, range, at))
        };
        let path = target.and_then(|(point, fit)| self.path(fit, found, point));
        let vague = path.as_ref().is_some_and(tells_nothing);
        let path = path.filter(|_| !vague);
        RegionLaterals {
            missing: None,
            lead_days: Some(at),
            laterals: self.points(curve, range, at),
            flowering: draw(&found.flowering),
            share: draw(&found.share),
            path_missing: path.is_none().then(|| match vague {
                true => say!("the counts do not tell it: the limits of what runs through flowering reach beyond any crop"),
                false => self.why_no_path(found, target.map(|(point, _)| point)),
            }),
            path,
            ..shown
        }
    }

    /// The advised practice, or the best supported one, with the region's yield surface.
    fn target(&self) -> Option<(PathPoint, &RegionFit)> {
        let region = &self.advice.region;
        let fit = self.advised.model.regions.iter().find(|fit| &fit.region == region)?;
        let shown = self.advised.pictures.iter().find(|picture| &picture.region == region)?;
        let lead_days = shown.curve_lead_days?;
        Some((PathPoint { intensity: shown.best_intensity, lead_days, weight: 1.0 }, fit))
    }

    fn points(&self, curve: &CountCurve, [low, high]: [f64; 2], lead: f64) -> Vec<CurvePoint> {
        let steps = ((high - low) / STEP).round().max(1.0);
        (0..=steps as usize)
            .map(|k| {
                let intensity = low + (high - low) * k as f64 / steps;
                let Summary { median, low, high, .. } =
                    Summary::of(curve.means(intensity, lead), self.settings.level);
                CurvePoint { intensity, median, low, high }
            })
            .collect()
    }

    fn path(
        &self,
        fit: &RegionFit,
        found: &model::RegionLaterals,
        target: PathPoint,
    ) -> Option<Path> {
        let path = self.path.as_ref().ok()?;
        if fit.habit == HabitStatus::Unresolved {
            return None;
        }
        let practice =
            self.checked.linked.practice.iter().find(|p| p.region == self.advice.region)?;
        let before: Vec<PathPoint> = practice
            .points
            .iter()
            .map(|point| PathPoint {
                intensity: point.intensity,
                lead_days: point.lead_days.unwrap_or(target.lead_days),
                weight: point.weight,
            })
            .collect();
        let effects = path.effects(fit, found, &before, target)?;
        let level = self.settings.level;
        let interval = |s: Summary| Interval { median: s.median, low: s.low, high: s.high, level };
        let all = |e: model::EffectSummaries| Effects {
            total: interval(e.total),
            indirect: interval(e.indirect),
            direct: interval(e.direct),
        };
        Some(Path {
            intensity: target.intensity,
            lead_days: (target.intensity > 0.0).then_some(target.lead_days),
            before_kg: effects.before_kg,
            kg: all(effects.kg),
            per_cent: all(effects.per_cent),
            flowering_ratio: interval(effects.flowering_ratio),
            share: effects.share.map(interval),
            undone_at: effects.undone_at,
            slope: PathSlope {
                slope: interval(path.slope),
                reliability: path.reliability,
                tree_seasons: path.tree_seasons,
                within_trees: path.within_trees,
            },
        })
    }

    fn why_no_path(&self, found: &model::RegionLaterals, target: Option<PathPoint>) -> String {
        if let Err(why) = self.path {
            return why.clone();
        }
        let untried = || target.and_then(|target| PathModel::untried(found, target));
        PathModel::too_few(found).or_else(untried).unwrap_or_else(|| {
            say!("cause and habit cannot be told apart here, so the effect on yield is not known")
        })
    }
}

/// Largest change that a path can bring, kg per tree: no tree bears as much.
const MOST_KG: f64 = 1000.0;

/// Whether the limits of a path say nothing.
fn tells_nothing(path: &Path) -> bool {
    let limits = [&path.kg.total, &path.kg.indirect, &path.kg.direct];
    // Written so that NaN says nothing.
    limits.iter().any(|own| [own.low, own.high].iter().any(|kg| kg.is_nan() || kg.abs() > MOST_KG))
}

fn mean(class: &CountClass) -> CountMean {
    CountMean {
        from: class.from,
        to: class.to,
        mean_intensity: class.mean_intensity,
        frames: class.frames,
        laterals_per_m2: class.laterals_per_m2,
        share: class.share,
    }
}

/// How the counts were modelled, for the page; nothing in a book without frames.
#[must_use]
pub fn sentences(counted: &Counted) -> Vec<MethodItem> {
    let item = |id, heading: &str, text| MethodItem { id, heading: heading.to_owned(), text };
    let model = match &counted.laterals {
        Ok(Some(model)) => model,
        Ok(None) => return Vec::new(),
        Err(why) => return vec![item("laterals", text!("Laterals"), format!("{why}."))],
    };
    let checks: Vec<String> = model
        .fits
        .iter()
        .map(|fit| {
            say!(
                "{}: {} residuals, standard deviation {:.2} (1 expected), {:.1} % beyond 1.96 (5 % expected)",
                fit.response.replace('_', " "),
                fit.residuals.count,
                fit.residuals.sd,
                100.0 * fit.residuals.beyond
            )
        })
        .collect();
    let left_out: Vec<String> = model
        .frames
        .left_out
        .iter()
        .map(|(reason, frames)| say!("{frames} left out: {reason}"))
        .collect();
    let left_out =
        if left_out.is_empty() { String::new() } else { format!(" ({})", left_out.join("; ")) };
    let path = match &counted.path {
        Ok(path) => say!(
            "The total effect of a change of practice is that of the yield model. The part through flowering laterals is the change in log flowering laterals per m2 times the slope of yield on it, {:.2} ({:.2} to {:.2}) on the model's scale per log unit, common to all regions; the rest is the direct part. In kilograms the two are averaged over both practices and add up to the total (Imai, Keele and Tingley 2010). The slope comes from the yield model on {} tree-seasons with frames, with the tree-season's own deviation in flowering as a further column: its empirical-Bayes estimate from the counts (regression calibration; Carroll et al. 2006), not the raw density, {}. The calibration is drawn {} times from the uncertainty of the count model and the yield model refitted at each; the variance between tree-seasons is centred on what pairs of frames of a tree-season say. Draws of total, change in flowering and slope are combined as independent, which makes the interval of the direct part a little wide. Assumed: no unmeasured common cause of flowering and yield within a tree-season; the effect of flowering on yield does not depend on how the tree was pruned or on the region.",
            path.slope.median,
            path.slope.low,
            path.slope.high,
            path.tree_seasons,
            if path.within_trees {
                text!(
                    "beside columns or levels for lasting differences between trees and for site x season and block x season"
                )
            } else {
                text!("beside levels for site x season and block x season")
            },
            path.calibrations
        ),
        Err(why) => say!("No path is computed: {why}."),
    };
    vec![
        item(
            "laterals",
            text!("Laterals"),
            say!(
                "{} of {} frame counts are used{left_out}. Laterals and flowering laterals are negative binomial with the log of the frame area as offset; flowering laterals among laterals are binomial with a logit link, because each lateral flowers or does not. All have the columns of the yield model (pruning surface, habit, age, density, variety, measurement basis), the side of the tree as a factor, and random levels of trees, tree-seasons, blocks and site x season (Laplace's approximation). Regions' curves are then drawn together as far as the counts of all regions suggest, averaged over how far regions may differ (half-normal prior, scale 0.3 on the log scale for the effect of a quarter of the canopy). Randomised quantile residuals (Dunn and Smyth 1996; a little narrow where few frames share a tree-season): {}.",
                model.frames.used,
                model.frames.read,
                checks.join("; ")
            ),
        ),
        item("path", text!("Path through flowering"), path),
    ]
}

/// The counts' part of `fit.json`.
#[must_use]
pub fn fit_json(counted: &Counted) -> Value {
    let models = match &counted.laterals {
        Ok(Some(model)) => json!({ "frames": model.frames, "fits": model.fits }),
        Ok(None) => Value::Null,
        Err(why) => json!({ "missing": why }),
    };
    let path = match &counted.path {
        Ok(path) => json!({
            "slope": { "median": path.slope.median, "low": path.slope.low, "high": path.slope.high },
            "reliability": path.reliability, "tree_seasons": path.tree_seasons,
            "trees": path.trees, "within_trees": path.within_trees,
            "calibrations": path.calibrations,
        }),
        Err(why) => json!({ "missing": why }),
    };
    json!({ "models": models, "path": path, "regions": counted.regions })
}
