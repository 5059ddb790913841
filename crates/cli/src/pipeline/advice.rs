//! From tree-seasons to advice, figures and work plan.

use super::Checked;
use super::unfitted::{self, Unfitted};
use super::work::{Holdings, plan};
use crate::console::{Failure, Stages};
use advise::{Advice, Cost, Evidences, RegionAdvice, RegionPicture};
use model::{ChallengerScore, TreeSeasons, YieldError, YieldModel, YieldSettings};
use records::{Book, Code, Place, Practice, Problem, Severity, counted};
use std::collections::BTreeMap;
use words::{say, text};
use workplan::plan::Plan;

/// Posterior draws of a run.
const DRAWS: usize = 4000;

/// A fitted and decided run.
pub struct Advised {
    /// Settings of the model.
    pub settings: YieldSettings,
    /// The yield model.
    pub model: YieldModel,
    /// Surface and random forest scored on left-out seasons; `Ok(None)` with too few seasons.
    pub challenger: Result<Option<ChallengerScore>, String>,
    /// Advice per region.
    pub advice: Advice,
    /// Figures per region.
    pub pictures: Vec<RegionPicture>,
    /// Work plan.
    pub plan: Plan,
    /// Cost of pruning per region.
    pub costs: BTreeMap<String, Cost>,
}

/// What a run is asked for.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// Seed of every random draw.
    pub seed: u64,
    /// Whether a random forest is to be scored beside the surface.
    pub challenger: bool,
}

impl Wanted {
    /// All of it.
    pub fn whole(seed: u64) -> Self {
        Self { seed, challenger: true }
    }
}

/// How far a run came.
pub enum Decided {
    /// Fitted and decided.
    Fitted(Box<Advised>),
    /// Too few records for a fit.
    Unfitted(Box<Unfitted>),
}

impl Decided {
    /// Advice, figures and work plan.
    pub fn results(&self) -> (&Advice, &[RegionPicture], &Plan) {
        match self {
            Self::Fitted(run) => (&run.advice, &run.pictures, &run.plan),
            Self::Unfitted(run) => (&run.advice, &[], &run.plan),
        }
    }
}

/// What advice rests on with and without a fit.
pub struct Shared<'a> {
    /// The record book, read and linked.
    checked: &'a Checked,
    /// Tree-seasons.
    pub table: &'a TreeSeasons,
    /// Cost of pruning per region.
    pub costs: BTreeMap<String, Cost>,
    /// Blocks, trees and timed prunings.
    pub holdings: Holdings,
    seed: u64,
}

/// Fits the yield model and decides region by region; records too thin for a fit end in advice to
/// lay out a trial.
///
/// # Errors
/// When no tree-season can be used, the engine cannot fit them, or pruning cannot be costed.
pub fn advise(checked: &Checked, wanted: Wanted, stages: &Stages) -> Result<Decided, Failure> {
    let seed = wanted.seed;
    let book = &checked.tables.book;
    stages.enter("costing");
    let table = table_of(checked)?;
    let holdings = Holdings::of(checked, &table)?;
    let costs = costs(checked, &table, &holdings)?;
    let shared = Shared { checked, table: &table, costs, holdings, seed };
    let settings = settings_of(book, seed);
    let model = match fitted(&table, &settings, stages)? {
        Ok(model) => model,
        Err(error) => {
            return Ok(Decided::Unfitted(Box::new(unfitted::advise(checked, &shared, &error))));
        }
    };
    let challenger = if wanted.challenger {
        stages.enter("challenger");
        stages.now("predicting left-out seasons by a random forest beside the surface");
        ChallengerScore::of(&table, &model, seed).map_err(|error| error.to_string())
    } else {
        Ok(None)
    };
    stages.enter("deciding");
    let mut regions = Vec::new();
    let mut pictures = Vec::new();
    for region in book.regions.keys() {
        stages.now(format!("deciding for {}", book.region_name(region)));
        let season = shared.next_season(region);
        let practice = shared.practice(region);
        let fitted = model.regions.iter().find(|fit| &fit.region == region);
        let (Some(fit), Some(cost)) = (fitted, shared.costs.get(region)) else {
            regions.push(advise::without_records(book, region, &practice, i32::from(season)));
            continue;
        };
        let evidence = Evidences {
            book,
            fit,
            practice: &practice,
            cost,
            season,
            trees_per_ha: shared.holdings.trees_per_ha(book, region, i32::from(season)),
            converged: !matches!(model.fit.status(), mixed::Status::NotConverged { .. }),
            carry_over: model.carry_over.as_ref(),
            seed,
            turning_point: model.turning_point(fit, book.options.level),
        };
        let (region, picture) = advise::decide(&evidence);
        regions.push(region);
        pictures.extend(picture);
    }
    stages.enter("work_plan");
    stages.now("scheduling the work");
    shared.name_waiting(&mut regions);
    let plan = plan(book, &shared.holdings, &regions, &shared.costs);
    let advice = shared.advice(regions);
    let costs = shared.costs;
    let advised = Advised { settings, model, challenger, advice, pictures, plan, costs };
    Ok(Decided::Fitted(Box::new(advised)))
}

/// The yield model alone, for what needs no advice and so no cost of pruning; `None` with records
/// too thin for a fit.
///
/// # Errors
/// When no tree-season can be used, or the engine cannot fit them.
pub fn yield_model(
    checked: &Checked,
    seed: u64,
    stages: &Stages,
) -> Result<Option<YieldModel>, Failure> {
    let settings = settings_of(&checked.tables.book, seed);
    Ok(fitted(&table_of(checked)?, &settings, stages)?.ok())
}

/// The linked table of a book.
///
/// # Errors
/// When the table breaks its own promise.
pub fn table_of(checked: &Checked) -> Result<TreeSeasons, Failure> {
    TreeSeasons::from_batch(&checked.linked.tree_seasons)
        .map_err(|error| Failure::new(error, "this is a defect of the program; please report it"))
}

fn settings_of(book: &Book, seed: u64) -> YieldSettings {
    YieldSettings {
        scale: book.options.response_scale,
        draws: DRAWS,
        seed,
        level: book.options.level,
    }
}

/// The model, or inside what records too thin for it lack.
fn fitted(
    table: &TreeSeasons,
    settings: &YieldSettings,
    stages: &Stages,
) -> Result<Result<YieldModel, YieldError>, Failure> {
    stages.enter("fitting");
    stages.now(format!(
        "fitting the yield response to {}",
        counted(table.len() as u64, text!("tree-season"), text!("tree-seasons"))
    ));
    match YieldModel::fit(table, settings) {
        Err(error) if !unfitted::is_thin(&error, table) => Err(from_yield(&error)),
        fitted => Ok(fitted),
    }
}

impl Shared<'_> {
    /// The advice of a run.
    pub fn advice(&self, mut regions: Vec<RegionAdvice>) -> Advice {
        for region in &mut regions {
            region.last_record = self.holdings.last_record;
        }
        let book = &self.checked.tables.book;
        Advice {
            book: book.book.name.clone(),
            season: regions.iter().map(|region| region.season).max().unwrap_or_default(),
            seed: self.seed,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            inputs: self.checked.tables.fingerprint(),
            currency: book.economics.currency.clone(),
            tolerance_pct: book.options.tolerance_pct,
            regions,
        }
    }

    /// Names with each region the declared trials of its trees that wait for the season advised for.
    pub fn name_waiting(&self, regions: &mut [RegionAdvice]) {
        let book = &self.checked.tables.book;
        for region in regions {
            region.trials_waiting = self.holdings.waiting(book, &region.region, region.season);
        }
    }

    /// The season after a region's last recorded one, unless the book sets it.
    pub fn next_season(&self, region: &str) -> i16 {
        next_season(self.checked, region)
    }

    /// Present practice of a region; unpruned when neither records nor the book show one.
    pub fn practice(&self, region: &str) -> Practice {
        let known = self.checked.linked.practice.iter();
        let known = known.into_iter().find(|practice| practice.region == region);
        known.cloned().unwrap_or_else(|| Practice::assumed(region))
    }
}

/// The season after a region's last recorded one, unless the book sets it.
pub fn next_season(checked: &Checked, region: &str) -> i16 {
    let summary = &checked.linked.summary.regions;
    let own = summary.iter().find(|summary| summary.region == region);
    let season = own.map_or_else(
        || summary.iter().map(|summary| summary.next_season).max().unwrap_or_default(),
        |summary| summary.next_season,
    );
    let options = &checked.tables.book.options;
    options.season.unwrap_or(i16::try_from(season).unwrap_or(i16::MAX))
}

/// What a book that cannot be fitted lacks, in the words of its records.
fn from_yield(error: &YieldError) -> Failure {
    let check = text!("`anacurve check` shows what was linked and what was set aside");
    let (what, hint) = match error {
        YieldError::NoRows(_) => (
            error.to_string(),
            text!(
                "record the harvests of trees past training_age_years (under [options] in book.toml)"
            ),
        ),
        YieldError::ZeroOnLog { zeros } => (
            say!(
                "{} zero yield, which has no logarithm",
                counted(*zeros, text!("tree-season has"), text!("tree-seasons have"))
            ),
            text!("set response_scale = \"auto\" under [options] in book.toml, or remove the line"),
        ),
        YieldError::Engine(mixed::Error::NoResidualVariation) => (
            say!("the yields do not vary beyond age, season and region: nothing to fit"),
            text!(
                "check that every tree was weighed; an average written to each tree tells nothing"
            ),
        ),
        _ => (
            error.to_string(),
            text!(
                "a book of few trees or seasons often cannot be fitted: add more of them; else look \
             over the records for odd values"
            ),
        ),
    };
    Failure::new(what, format!("{hint}; {check}"))
}

/// What keeps pruning from being costed, for which a run refuses the book.
///
/// # Errors
/// When the tables break their own promise.
pub fn uncosted(checked: &Checked) -> Result<Option<Problem>, Failure> {
    let table = table_of(checked)?;
    let holdings = Holdings::of(checked, &table)?;
    Ok(match costs(checked, &table, &holdings) {
        Err(Failure::Other { what, hint }) => {
            let what = what.trim_start_matches("book.toml: ");
            let place = Place::file("book.toml");
            Some(Problem::new(place, Severity::Warning, Code::SettingMissing, what, hint))
        }
        _ => None,
    })
}

/// Cost of pruning in every region with records.
fn costs(
    checked: &Checked,
    table: &TreeSeasons,
    holdings: &Holdings,
) -> Result<BTreeMap<String, Cost>, Failure> {
    let book = &checked.tables.book;
    let timed = |region: &str| holdings.timed.get(region).map_or(&[][..], Vec::as_slice);
    let canopy_m3 =
        |region: &str| holdings.canopy_m3(book, region, i32::from(next_season(checked, region)));
    table
        .region
        .labels
        .iter()
        .map(|region| match Cost::of_region(book, region, timed(region), canopy_m3(region)) {
            Some(cost) => Ok((region.clone(), cost)),
            None => {
                let unread = checked.problems().into_iter().find(|problem| {
                    problem.code == Code::CellLeftOut && problem.what.starts_with("minutes:")
                });
                let unread = unread.map_or_else(String::new, |problem| {
                    format!(" ({}: {})", problem.place, problem.what)
                });
                Err(Failure::new(
                    format!(
                        "book.toml: no rate of work is stated, and the prunings of region '{region}' carry too few minutes to cost pruning from{unread}"
                    ),
                    "add [economics.pruning_time] with minutes_per_tree and minutes_full_canopy to book.toml, or fill minutes in the table prunings; `anacurve check` tells cells that cannot be read",
                ))
            }
        })
        .collect()
}
