//! Simulates a plantation: log-normal yields with known effects.

use crate::assignment::{RowTarget, randomised, row_targets};
use crate::dice::{Dice, log_sd};
use crate::errors::ErrorProcess;
use crate::orchard::{
    PlannedBlock, ROW_LENGTH, block_row, designed_blocks, planned_blocks, tree_row,
};
use crate::rows::{Latent, Records, TrialRow};
use crate::season::{frames, laterals_luck, picks, prune};
use crate::{Assignment, DesignedTrial, Plantation, RegionPlan, TrialPlan};
use std::collections::BTreeMap;

/// Trees under this age at harvest opening bear nothing worth weighing.
const BEARING_AGE: f64 = 1.5;

/// First random stream of designed trials: those before belong to the regions, and adding a trial
/// changes none of them.
const DESIGNED_STREAM: u64 = 2_000_000;
/// Streams kept for the designed trials of a region.
const TRIALS_PER_REGION: u64 = 1000;

/// Simulates the records of a plantation. The same plan and seed give the same records.
///
/// yield = base x age x density x variety x tree x block x season x site-season x
/// f(intensity, lead) x carry-over x laterals luck x error, every random factor log-normal with
/// mean 1.
#[must_use]
pub fn simulate(plantation: &Plantation, seed: u64) -> Records {
    let mut records = Records::default();
    for (index, region) in plantation.regions.iter().enumerate() {
        let dice = Dice::stream(seed, index as u64);
        RegionRun { plantation, region, index, seed, dice, records: &mut records }.run();
    }
    records
}

struct RegionRun<'a> {
    plantation: &'a Plantation,
    region: &'a RegionPlan,
    index: usize,
    seed: u64,
    dice: Dice,
    records: &'a mut Records,
}

/// What a tree carries from season to season.
struct TreeState {
    tree: usize,
    row: usize,
    effect: f64,
    /// Yield of the place within the block: replicate, main plot and plot of a trial.
    place: f64,
    /// First season of frame counts.
    framed_from: Option<i16>,
    treatment: Option<Given>,
    error_state: Option<f64>,
    earlier_intensity: f64,
}

/// What a trial does to a tree.
#[derive(Clone, Copy)]
struct Given {
    intensity: f64,
    lead_days: f64,
    /// Yield relative to the pruning alone, and the plot's own part.
    factor: f64,
    dressed: Option<bool>,
    /// First season of the treatment.
    from: i16,
    /// Whether the plot was lost before its first harvest under treatment.
    lost: bool,
}

impl RegionRun<'_> {
    fn run(mut self) {
        let region = self.region;
        let (season_sd, site_sd) = (log_sd(region.season_cv), log_sd(region.site_season_cv));
        let mut weather = BTreeMap::new();
        for season in region.seasons() {
            let whole = self.dice.unit_log_normal(season_sd);
            for site in 0..region.sites {
                weather.insert((site, season), whole * self.dice.unit_log_normal(site_sd));
            }
        }
        for (number, block) in planned_blocks(region).iter().enumerate() {
            let mut trees = self.plant(number, block);
            let block_effect = self.dice.unit_log_normal(log_sd(region.block_cv));
            for season in region.seasons() {
                let around = weather.get(&(block.site, season)).copied().unwrap_or(1.0);
                self.season(block, &mut trees, season, block_effect * around);
            }
        }
        let first = planned_blocks(region).len();
        for (nth, (number, block)) in designed_blocks(region).iter().enumerate() {
            let Some(trial) = region.designed.get(*number) else { continue };
            let stream = DESIGNED_STREAM + TRIALS_PER_REGION * self.index as u64 + nth as u64;
            self.dice = Dice::stream(self.seed, stream);
            let mut trees = self.plant_designed(first + nth, block, trial);
            let block_effect = self.dice.unit_log_normal(log_sd(region.block_cv));
            for season in region.seasons() {
                let around = weather.get(&(block.site, season)).copied().unwrap_or(1.0);
                self.season(block, &mut trees, season, block_effect * around);
            }
        }
    }

    /// Plants the trees of a designed trial at one site, replicates as rows of trees.
    fn plant_designed(
        &mut self,
        number: usize,
        block: &PlannedBlock,
        trial: &DesignedTrial,
    ) -> Vec<TreeState> {
        let region = self.region;
        let row = block_row(region, number, block);
        let (block_index, block_id) = (self.records.blocks.len(), row.id.clone());
        self.records.blocks.push(row);
        let age = block.age_years(region, region.last_season);
        let tree_sd = log_sd(trial.tree_cv);
        let plots = trial.plots(&mut self.dice);
        let mut shared: BTreeMap<(usize, Option<usize>), f64> = BTreeMap::new();
        let mut states = Vec::with_capacity(block.trees);
        for plot in plots {
            // Drawn when first met: replicate, main plot, then the plot itself.
            let replicate = *shared
                .entry((plot.replicate, None))
                .or_insert_with(|| self.dice.unit_log_normal(log_sd(trial.replicate_cv)));
            let main = plot.main_plot.map_or(1.0, |main| {
                *shared
                    .entry((plot.replicate, Some(main)))
                    .or_insert_with(|| self.dice.unit_log_normal(log_sd(trial.main_plot_cv)))
            });
            let own = self.dice.unit_log_normal(log_sd(trial.plot_cv));
            let replicate_id = format!("{block_id}-R{:02}", plot.replicate + 1);
            for k in 0..trial.trees_per_plot {
                let effect = tree_sd * self.dice.normal() - tree_sd * tree_sd / 2.0;
                let tree = self.records.trees.len();
                let at = (self.index, block_index);
                let mut row = tree_row(at, &block_id, states.len(), age, effect, &mut self.dice);
                row.row = plot.replicate + 1;
                row.column = plot.plot * trial.trees_per_plot + k + 1;
                self.records.trees.push(row);
                self.records.trials.push(TrialRow {
                    trial: trial.id.clone(),
                    tree,
                    replicate: replicate_id.clone(),
                    main_plot: plot.main_plot.map(|main| format!("{replicate_id}-M{}", main + 1)),
                    plot: Some(format!("{replicate_id}-P{:02}", plot.plot + 1)),
                    levels: plot.treatment.levels.clone(),
                });
                states.push(TreeState {
                    tree,
                    row: plot.replicate,
                    effect,
                    framed_from: trial.framed.then_some(trial.first_season),
                    treatment: Some(Given {
                        intensity: plot.treatment.intensity,
                        lead_days: plot.treatment.lead_days,
                        factor: plot.treatment.ratio,
                        dressed: plot.treatment.dressed,
                        from: trial.first_season,
                        lost: plot.lost,
                    }),
                    place: replicate * main * own,
                    error_state: None,
                    earlier_intensity: 0.0,
                });
            }
        }
        states
    }

    /// The trial that a block is in, if any.
    fn trial_of(&self, block: &PlannedBlock) -> Option<&TrialPlan> {
        match &self.region.practice {
            Assignment::Randomised(plan) if !block.young => Some(plan),
            _ if block.trial => self.region.trial.as_ref(),
            _ => None,
        }
    }

    fn plant(&mut self, number: usize, block: &PlannedBlock) -> Vec<TreeState> {
        let region = self.region;
        let row = block_row(region, number, block);
        let (block_index, block_id) = (self.records.blocks.len(), row.id.clone());
        self.records.blocks.push(row);
        let trial = self.trial_of(block).cloned();
        let treatments = trial
            .as_ref()
            .map(|plan| randomised(plan, block.trees, &mut self.dice))
            .unwrap_or_default();
        let age = block.age_years(region, region.last_season);
        let tree_sd = log_sd(region.tree_cv);
        (0..block.trees)
            .map(|position| {
                let effect = tree_sd * self.dice.normal() - tree_sd * tree_sd / 2.0;
                let at = (self.index, block_index);
                let tree = self.records.trees.len();
                let row = tree_row(at, &block_id, position, age, effect, &mut self.dice);
                self.records.trees.push(row);
                let treatment = treatments.get(position).copied();
                if let (Some(plan), Some((replicate, level))) = (&trial, treatment) {
                    self.records.trials.push(TrialRow {
                        trial: plan.id.clone(),
                        tree,
                        replicate: format!("{block_id}-R{replicate:02}"),
                        main_plot: None,
                        plot: None,
                        levels: [("intensity_level".to_owned(), level.to_string())].into(),
                    });
                }
                TreeState {
                    tree,
                    row: position / ROW_LENGTH,
                    effect,
                    framed_from: self.dice.chance(region.framed_trees).then_some(i16::MIN),
                    treatment: treatment.zip(trial.as_ref()).map(|((_, level), plan)| Given {
                        intensity: level,
                        lead_days: plan.lead_days,
                        factor: 1.0,
                        dressed: None,
                        from: i16::MIN,
                        lost: false,
                    }),
                    place: 1.0,
                    error_state: None,
                    earlier_intensity: 0.0,
                }
            })
            .collect()
    }

    fn season(
        &mut self,
        block: &PlannedBlock,
        trees: &mut [TreeState],
        season: i16,
        block_season: f64,
    ) {
        let region = self.region;
        if block.age_years(region, season) < BEARING_AGE {
            return;
        }
        let errors = ErrorProcess::new(region.error_cv, region.alternation, region.tails);
        let targets = self.targets(block, season);
        let expected = block.expected_kg(region, season) * block_season;
        for state in trees {
            let given = state.treatment.filter(|given| given.from <= season);
            let intent = self.intent(state, season, &targets);
            let pruned = intent.map(|intent| {
                let who = (self.plantation, region);
                let when = (state.tree, season);
                let mut done = prune(who, when, intent, block.counts_shoots, &mut self.dice);
                if let Some(dressed) = given.and_then(|given| given.dressed) {
                    done.visits
                        .iter_mut()
                        .filter_map(|visit| visit.work.as_mut())
                        .for_each(|work| work.dressed = dressed);
                }
                done
            });
            let (intensity, lead_days) =
                pruned.as_ref().map_or((0.0, None), |done| (done.intensity, done.lead_days));
            let ratio = region.response.ratio(intensity, lead_days);
            let (luck, luck_factor) = laterals_luck(&mut self.dice);
            let (error_state, error) = errors.next(state.error_state, &mut self.dice);
            state.error_state = Some(error_state);
            let earlier_intensity = std::mem::replace(&mut state.earlier_intensity, intensity);
            let carried = region.carried(earlier_intensity);
            let placed = state.place * given.map_or(1.0, |given| given.factor);
            let expected = expected * ratio * carried * placed;
            let yield_kg = expected * luck_factor * (state.effect + error).exp();
            let at = (state.tree, season);
            self.records.prunings.extend(pruned.map(|done| done.visits).unwrap_or_default());
            if state.framed_from.is_some_and(|from| from <= season) && !block.young {
                let counted = frames(region, at, (intensity, ratio), luck, &mut self.dice);
                self.records.laterals.extend(counted);
            }
            let lost = given.is_some_and(|given| given.lost);
            if !self.dice.chance(region.missing) && !lost {
                let reference = self.plantation.reference_moisture_pct;
                let picked = picks(region, reference, at, yield_kg, &mut self.dice);
                self.records.harvests.extend(picked);
            }
            if !block.young {
                self.records.latent.push(Latent {
                    tree: state.tree,
                    region: self.index,
                    season,
                    trial: state.treatment.is_some(),
                    intensity,
                    lead_days,
                    earlier_intensity,
                    tree_effect: state.effect,
                    error,
                    yield_kg,
                });
            }
        }
    }

    /// Row targets of a routine block in a season; none for trials and young blocks.
    fn targets(&mut self, block: &PlannedBlock, season: i16) -> Vec<Option<RowTarget>> {
        let region = self.region;
        let routine = match &region.practice {
            Assignment::Routine(routine) | Assignment::Habit { routine, .. } => routine,
            Assignment::Randomised(_) => return Vec::new(),
        };
        if block.young {
            return Vec::new();
        }
        let rows = block.trees.div_ceil(ROW_LENGTH);
        let last = season == region.last_season;
        row_targets(routine, region.leads, last, rows, &mut self.dice)
    }

    /// Intended intensity and lead of a tree, `None` when it is left alone.
    fn intent(
        &mut self,
        state: &TreeState,
        season: i16,
        targets: &[Option<RowTarget>],
    ) -> Option<(f64, f64)> {
        let region = self.region;
        if let Some(given) = state.treatment {
            if season < given.from {
                return None;
            }
            let day = given.lead_days + self.dice.uniform((-2.0, 2.0));
            return (given.intensity > 0.0).then_some((given.intensity, day));
        }
        let target = targets.get(state.row).copied().flatten()?;
        let (tree_sd, habit) = match &region.practice {
            Assignment::Randomised(_) => return None,
            Assignment::Routine(routine) => (routine.tree_sd, 0.0),
            Assignment::Habit { routine, vigour, earlier_crop } => {
                // Standard deviations of the tree's effect and of its last crop error.
                let tree_sd = log_sd(region.tree_cv);
                let strength = (state.effect + tree_sd * tree_sd / 2.0) / tree_sd;
                let crop = state.error_state.unwrap_or(0.0);
                (routine.tree_sd, vigour * strength + earlier_crop * crop)
            }
        };
        let intensity = target.intensity + habit + tree_sd * self.dice.normal();
        let lead = target.lead_days + 2.0 * self.dice.normal();
        let (early, late) = region.leads;
        Some((intensity.clamp(0.02, region.tested_max), lead.clamp(early, late)))
    }
}
