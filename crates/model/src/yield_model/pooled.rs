//! The fit with partially pooled regions, its posterior, and each region's surface read off the draws.

use super::rows::latest;
use super::{
    BEND_PRIOR_SCALE, LEAST_EFFECTIVE, OTHER_PRIOR_SCALE, REGION_PRIOR_SCALE, RegionFit,
    WithinSeasons, YieldError,
};
use crate::curve::{BENDS, COLUMN_NAMES, COLUMNS, LeadDegree, REFERENCE_LEAD_DAYS, surface};
use crate::design::{Design, Group, HabitStatus, Role};
use crate::observed::{Observation, classes};
use crate::region_curve::{RegionCurve, quantile};
use crate::scale::Scale;
use crate::support::{Support, UNPRUNED_BELOW};
use crate::table::TreeSeasons;
use mixed::{
    Draws, EffectSum, Fit, IntegrationSettings, JointTest, Posterior, Prior, PriorShape,
    SpreadPrior,
};
use std::collections::{BTreeMap, BTreeSet};

/// Largest square of a lag-1 correlation that a variance is computed from.
const MOST_CORRELATION_SQ: f64 = 0.9;

pub(super) struct Pooled {
    pub(super) fit: Fit,
    pub(super) posterior: Posterior,
    pub(super) draws: Draws,
    pub(super) regions: Vec<RegionFit>,
}

/// How many draws of which stream, and how finely the variance parameters are integrated over.
pub(super) struct Sample {
    pub(super) count: usize,
    pub(super) seed: u64,
    pub(super) integration: IntegrationSettings,
}

/// Integration of a fit over the variance parameters, and the regions' surfaces. Where the same
/// family has been integrated with other knees, it is over the same points, unless too few of these
/// count.
pub(super) fn read(
    (table, response): (&TreeSeasons, &[f64]),
    (design, scale): (&Design, Scale),
    fit: Fit,
    sample: Sample,
    likeliest: Option<&Posterior>,
) -> Result<Pooled, YieldError> {
    let carried = likeliest.and_then(|posterior| posterior.carried(&fit).ok());
    let wanted = LEAST_EFFECTIVE * sample.integration.points as f64;
    let posterior = match carried.filter(|own| own.record().effective_nodes >= wanted) {
        Some(posterior) => posterior,
        None => fit.integrate(&prior(design), &sample.integration)?,
    };
    let together: Vec<&str> =
        design.groups.iter().filter(|g| !g.slopes.is_empty()).map(|g| g.name.as_str()).collect();
    let sums = block_sums(table, design);
    // Where a block is what most levels belong to, and rows are pooled, its effects have no draws.
    let draws = match posterior.draws_with_sums(sample.count, sample.seed, &together, &sums) {
        Err(mixed::Error::PooledGroups { .. }) => {
            posterior.draws(sample.count, sample.seed, &together)?
        }
        drawn => drawn?,
    };
    let reader = Reader::new(table, design, scale, &fit, &draws, response)?;
    let regions =
        (0..table.region.len()).map(|code| reader.region(code as u32)).collect::<Vec<_>>();
    Ok(Pooled { fit, posterior, draws, regions })
}

/// Column of the draws that holds the mean effect of a region's blocks.
fn blocks_column(code: u32) -> String {
    format!("region.blocks[{code}]")
}

/// Rows of a region's latest season: the trees that advice is for, as they stand. Those younger than the
/// trees on record that were cut about as hard as is usual are not asked for such a cut, as they are no part
/// of present practice.
fn latest_rows(table: &TreeSeasons, rows: &[usize]) -> Vec<usize> {
    let (all, youngest) = latest(table, rows);
    let Some(youngest) = youngest else { return all };
    let grown: Vec<usize> = all
        .iter()
        .copied()
        .filter(|&row| table.age_years[row].is_nan() || table.age_years[row].floor() >= youngest)
        .collect();
    if grown.is_empty() { all } else { grown }
}

/// The mean effect of the blocks of each region, by the trees of its latest season. Advice is for
/// blocks that have records: their level is theirs, not that of a block not yet seen.
fn block_sums(table: &TreeSeasons, design: &Design) -> Vec<EffectSum> {
    let Some(blocks) = block_group(design) else { return Vec::new() };
    let region = |code: u32| -> Vec<usize> {
        (0..table.len()).filter(|&row| table.region.codes[row] == code).collect()
    };
    (0..table.region.len() as u32)
        .map(|code| {
            let rows = latest_rows(table, &region(code));
            let mut weights: BTreeMap<usize, f64> = BTreeMap::new();
            for &row in &rows {
                *weights.entry(blocks.codes[row] as usize).or_default() += 1.0 / rows.len() as f64;
            }
            EffectSum {
                name: blocks_column(code),
                factor: blocks.name.clone(),
                weights: weights.into_iter().collect(),
            }
        })
        .collect()
}

/// The random intercepts of blocks, where the model has them.
fn block_group(design: &Design) -> Option<&Group> {
    design.groups.iter().find(|group| group.name == "block" && group.slopes.is_empty())
}

/// Half-normal priors on every relative spread.
fn prior(design: &Design) -> Prior {
    let mut prior = Prior::half_normal(OTHER_PRIOR_SCALE);
    for group in design.groups.iter().filter(|group| !group.slopes.is_empty()) {
        for &shape in &group.slopes {
            let scale = if BENDS.contains(&shape) { BEND_PRIOR_SCALE } else { REGION_PRIOR_SCALE };
            let region = SpreadPrior { shape: PriorShape::HalfNormal, scale };
            prior = prior.term(format!("{}.{}", group.name, COLUMN_NAMES[shape]), region);
        }
    }
    prior
}

/// F test in each region that its habit columns are all 0.
pub(super) fn habit_tests(
    table: &TreeSeasons,
    design: &Design,
    fit: &Fit,
) -> Result<Vec<(String, JointTest)>, YieldError> {
    let mut tests = Vec::new();
    for (code, label) in (0_u32..).zip(&table.region.labels) {
        let rows: Vec<Vec<f64>> = (0..design.columns.len())
            .filter(|&k| design.columns[k].role == Role::Habit(code))
            .map(|k| (0..design.columns.len()).map(|j| f64::from(u8::from(j == k))).collect())
            .collect();
        if !rows.is_empty() {
            tests.push((label.clone(), fit.joint_test(&rows)?));
        }
    }
    Ok(tests)
}

/// Mean log density of each region's rows, by region code; zeros when density is not in the model.
pub(super) fn region_density(table: &TreeSeasons, design: &Design) -> Vec<f64> {
    (0..table.region.len() as u32)
        .map(|region| {
            let values: Vec<f64> = design
                .log_density
                .iter()
                .zip(&table.region.codes)
                .filter(|(_, code)| **code == region)
                .map(|(value, _)| *value)
                .collect();
            values.iter().sum::<f64>() / values.len().max(1) as f64
        })
        .collect()
}

/// What a fit attributes to everything but pruning, per row.
pub(super) struct Nuisance {
    pub(super) fixed: Vec<f64>,
    pub(super) random: Vec<f64>,
    pub(super) random_but_trees: Vec<f64>,
}

impl Nuisance {
    pub(super) fn of(table: &TreeSeasons, design: &Design, fit: &Fit) -> Result<Self, YieldError> {
        let mut fixed = vec![0.0; table.len()];
        for (column, estimate) in design.columns.iter().zip(fit.estimates()) {
            if !is_pruning(column.role) {
                for (sum, value) in fixed.iter_mut().zip(&column.values) {
                    *sum += estimate * value;
                }
            }
        }
        let mut random = vec![0.0; table.len()];
        let mut random_but_trees = random.clone();
        for group in design.groups.iter().filter(|group| group.slopes.is_empty()) {
            let modes = fit.modes(&group.name)?;
            for (row, &code) in group.codes.iter().enumerate() {
                let effect = modes.row(code as usize).first().copied().unwrap_or(0.0);
                random[row] += group.loading(row) * effect;
                if group.name != "tree" {
                    random_but_trees[row] += group.loading(row) * effect;
                }
            }
        }
        Ok(Self { fixed, random, random_but_trees })
    }
}

/// Reads regions off the fit and its draws.
struct Reader<'a> {
    table: &'a TreeSeasons,
    design: &'a Design,
    scale: Scale,
    response: &'a [f64],
    draws: &'a Draws,
    /// Coefficient estimates; every column was checked to be estimable.
    estimates: Vec<f64>,
    /// What the fit attributes to everything but pruning, per row: fixed part and random intercepts.
    fixed_nuisance: Vec<f64>,
    random_nuisance: Vec<f64>,
    /// The part of the fixed nuisance that the earlier crop brings.
    earlier_crop: Vec<f64>,
    density: Vec<f64>,
    /// Effect of the row's block as estimated; zeros where the draws hold none.
    blocks: Vec<f64>,
    /// Draws of the residual variance and of the variance of all random intercepts together, but of
    /// blocks that are drawn themselves.
    variance: Vec<[f64; 2]>,
}

impl<'a> Reader<'a> {
    fn new(
        table: &'a TreeSeasons,
        design: &'a Design,
        scale: Scale,
        fit: &Fit,
        draws: &'a Draws,
        response: &'a [f64],
    ) -> Result<Self, YieldError> {
        let estimates = fit.estimates();
        let Nuisance { fixed: fixed_nuisance, random: random_nuisance, .. } =
            Nuisance::of(table, design, fit)?;
        let mut earlier_crop = vec![0.0; table.len()];
        for (column, estimate) in design.columns.iter().zip(&estimates) {
            if matches!(column.role, Role::EarlierCrop(_)) {
                for (sum, value) in earlier_crop.iter_mut().zip(&column.values) {
                    *sum += estimate * value;
                }
            }
        }
        let drawn = block_group(design).filter(|_| position(draws, &blocks_column(0)).is_some());
        let mut blocks = vec![0.0; table.len()];
        if let Some(group) = drawn {
            let modes = fit.modes(&group.name)?;
            for (value, &code) in blocks.iter_mut().zip(&group.codes) {
                *value = modes.row(code as usize).first().copied().unwrap_or(0.0);
            }
        }
        let sigma = draws.sigma_column();
        let intercepts: Vec<usize> = design
            .groups
            .iter()
            .filter(|group| group.slopes.is_empty())
            .filter(|group| drawn.is_none_or(|own| own.name != group.name))
            .filter_map(|group| position(draws, &format!("{}.intercept", group.name)))
            .collect();
        let variance = (0..draws.len())
            .map(|draw| {
                let row = draws.values().row(draw);
                let spread: f64 = intercepts.iter().map(|&k| row[k] * row[k]).sum();
                let residual = row[sigma].powi(2);
                [residual, residual * spread]
            })
            .collect();
        Ok(Self {
            table,
            design,
            scale,
            response,
            draws,
            estimates,
            fixed_nuisance,
            random_nuisance,
            earlier_crop,
            density: region_density(table, design),
            blocks,
            variance,
        })
    }

    fn region(&self, code: u32) -> RegionFit {
        let table = self.table;
        let rows: Vec<usize> =
            (0..table.len()).filter(|&row| table.region.codes[row] == code).collect();
        let intensities: Vec<f64> = rows.iter().map(|&row| table.intensity[row]).collect();
        let leads: Vec<f64> = rows.iter().map(|&row| table.lead_days[row]).collect();
        let curve = self.curve(code, &rows);
        let mean_variance = curve.variance.iter().sum::<f64>() / curve.draws().max(1) as f64;
        let level = self.point_level(&rows);
        let observations: Vec<Observation> = rows
            .iter()
            .map(|&row| Observation {
                tree: table.tree.codes[row],
                intensity: table.intensity[row],
                kg: table.yield_kg[row],
                adjusted: level + self.response[row]
                    - self.fixed_nuisance[row]
                    - self.random_nuisance[row],
            })
            .collect();
        let distinct =
            |values: &mut dyn Iterator<Item = i64>| values.collect::<BTreeSet<_>>().len();
        RegionFit {
            region: curve.region.clone(),
            rows: rows.len() as u64,
            trees: distinct(&mut rows.iter().map(|&row| i64::from(table.tree.codes[row]))) as u64,
            seasons: distinct(&mut rows.iter().map(|&row| i64::from(table.season[row]))) as u32,
            season_means: season_means(table, &rows),
            trial_rows: rows.iter().filter(|&&row| table.in_trial[row]).count() as u64,
            pruned_rows: intensities.iter().filter(|i| **i >= UNPRUNED_BELOW).count() as u64,
            habit: self.design.habit.get(code as usize).copied().unwrap_or(HabitStatus::NoneSeen),
            within: WithinSeasons::of(
                rows.iter()
                    .map(|&row| ((table.site.codes[row], table.season[row]), table.intensity[row])),
            ),
            support: Support::of(&intensities, &leads),
            usual_lead: median_lead(&leads),
            fixed_lead: (self.design.lead_degree == LeadDegree::None)
                .then(|| median_lead(&leads).unwrap_or(REFERENCE_LEAD_DAYS)),
            classes: classes(&observations, self.scale, mean_variance),
            curve,
        }
    }

    /// Mean value of every fixed column over the region's rows of its latest season, 0 for pruning.
    fn average_row(&self, rows: &[usize]) -> Vec<f64> {
        let rows = latest_rows(self.table, rows);
        self.design
            .columns
            .iter()
            .map(|column| {
                if is_pruning(column.role) || is_passing(column.role) {
                    0.0
                } else {
                    rows.iter().map(|&row| column.values[row]).sum::<f64>()
                        / rows.len().max(1) as f64
                }
            })
            .collect()
    }

    /// The average tree of the blocks as they are, unpruned.
    fn point_level(&self, rows: &[usize]) -> f64 {
        let average = self.average_row(rows);
        let fixed: f64 = average.iter().zip(&self.estimates).map(|(a, b)| a * b).sum();
        let latest = latest_rows(self.table, rows);
        let blocks: f64 = latest.iter().map(|&row| self.blocks[row]).sum();
        fixed + blocks / latest.len().max(1) as f64
    }

    fn curve(&self, code: u32, rows: &[usize]) -> RegionCurve {
        let average = self.average_row(rows);
        let regional = self.design.regional[code as usize];
        let blocks = position(self.draws, &blocks_column(code));
        let extra = self.spread_of_fixed_part(rows);
        let density = self.density.get(code as usize).copied().unwrap_or(0.0);
        let region_slopes: Vec<(usize, usize)> = self
            .design
            .groups
            .iter()
            .flat_map(|group| group.slopes.iter().map(move |&shape| (group, shape)))
            .filter_map(|(group, shape)| {
                let name = format!("{}.{}[{code}]", group.name, COLUMN_NAMES[shape]);
                Some((shape, position(self.draws, &name)?))
            })
            .collect();
        let mut coefficients = Vec::with_capacity(self.draws.len());
        let mut level = Vec::with_capacity(self.draws.len());
        let mut variance = Vec::with_capacity(self.draws.len());
        for draw in 0..self.draws.len() {
            let row = self.draws.values().row(draw);
            let fixed = &row[self.draws.coefficient_columns()];
            let mut curve = [0.0; COLUMNS];
            let mut at = blocks.map_or(0.0, |column| row[column]);
            let mut correlation = 0.0;
            for ((column, value), average) in self.design.columns.iter().zip(fixed).zip(&average) {
                match column.role {
                    Role::Shape(shape) => curve[shape] += value,
                    Role::ShapeByDensity(shape) => curve[shape] += value * density,
                    Role::EarlierCrop(own) if own == code => correlation = *value,
                    _ => at += value * average,
                }
            }
            for &(shape, column) in &region_slopes {
                curve[shape] += row[column];
            }
            coefficients.push(surface(&curve, &regional.profile));
            level.push(at);
            // Variance of a stationary error with that lag-1 correlation; cut where a draw is not.
            let [residual, intercepts] = self.variance[draw];
            let stationary = residual / (1.0 - correlation.powi(2).min(MOST_CORRELATION_SQ));
            variance.push(stationary + intercepts + extra);
        }
        RegionCurve {
            region: self.table.region.labels.get(code as usize).cloned().unwrap_or_default(),
            scale: self.scale,
            knots: self.design.knots,
            knees: vec![regional.knee; coefficients.len()],
            coefficients,
            level,
            variance,
        }
    }

    /// What differences between trees in age, variety, block and so on add to the variance around the
    /// average tree, in the form that [`Scale::expected_kg`] takes.
    fn spread_of_fixed_part(&self, rows: &[usize]) -> f64 {
        let values: Vec<f64> = latest_rows(self.table, rows)
            .into_iter()
            .map(|row| self.fixed_nuisance[row] - self.earlier_crop[row] + self.blocks[row])
            .collect();
        let n = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / n;
        match self.scale {
            // exp(m + v/2) with v/2 = log of the mean of exp(x - m).
            Scale::Log => {
                2.0 * (values.iter().map(|value| (value - mean).exp()).sum::<f64>() / n).ln()
            }
            Scale::SquareRoot => values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / n,
            Scale::Identity => 0.0,
        }
    }
}

fn position(draws: &Draws, name: &str) -> Option<usize> {
    draws.names().iter().position(|candidate| candidate == name)
}

fn is_pruning(role: Role) -> bool {
    matches!(role, Role::Shape(_) | Role::RegionShape(..) | Role::ShapeByDensity(_))
}

/// What the average tree of a coming season is not charged with.
fn is_passing(role: Role) -> bool {
    matches!(role, Role::Basis | Role::EarlierCrop(_) | Role::CarryOver)
}

/// Lowest and highest mean yield of the rows of a season, kg per tree.
fn season_means(table: &TreeSeasons, rows: &[usize]) -> [f64; 2] {
    let mut sums: BTreeMap<i32, (f64, f64)> = BTreeMap::new();
    for &row in rows {
        let own = sums.entry(table.season[row]).or_default();
        *own = (own.0 + table.yield_kg[row], own.1 + 1.0);
    }
    let means = sums.into_values().map(|(sum, count)| sum / count);
    means.fold([f64::INFINITY, 0.0], |[low, high], mean| [low.min(mean), high.max(mean)])
}

/// Days between the median lead and the nearest one on record from which the nearest stands for it.
const LEAD_GAP_DAYS: f64 = 1.0;

/// Median lead of pruned tree-seasons; `None` when nothing was pruned. Where half the trees were pruned early and half
/// late it is a day on which trees were pruned, not one between.
fn median_lead(leads: &[f64]) -> Option<f64> {
    let mut known: Vec<f64> = leads.iter().copied().filter(|lead| lead.is_finite()).collect();
    known.sort_by(f64::total_cmp);
    let nearest = |median: f64| {
        let mut all = known.iter().copied();
        let first = all.next().unwrap_or(median);
        let far = |lead: f64| (lead - median).abs();
        let nearest = all.fold(first, |best, lead| if far(lead) < far(best) { lead } else { best });
        if far(nearest) > LEAD_GAP_DAYS { nearest } else { median }
    };
    (!known.is_empty()).then(|| nearest(quantile(&known, 0.5)))
}
