//! Rerandomisation until treatments are alike in what was measured before the trial.

use super::error::LayoutError;
use super::field::Slots;
use super::plan::{Cell, Plan};
use super::request::{Balance, Covariate, LayoutRequest};
use super::treatments::Treatments;
use records::TrialDesign;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Mean of a covariate over the trees of a treatment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TreatmentMean {
    /// Treatment.
    pub treatment: String,
    /// What was measured.
    pub covariate: Covariate,
    /// Mean over plots.
    pub mean: f64,
}

/// What rerandomisation did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BalanceReport {
    /// Balanced covariates.
    pub on: Vec<Covariate>,
    /// Share of the valid layouts that is accepted, as asked.
    pub acceptance: f64,
    /// Layouts drawn to find the threshold of that share.
    pub calibration_draws: usize,
    /// Greatest imbalance that is accepted: Mahalanobis distance of treatment means from the mean
    /// of their block, summed over treatments and strata.
    pub threshold: f64,
    /// Mean imbalance of layouts without rerandomisation.
    pub usual_imbalance: f64,
    /// Layouts drawn until one was accepted.
    pub draws: usize,
    /// Imbalance of the layout.
    pub imbalance: f64,
    /// Means by treatment in the layout.
    pub means: Vec<TreatmentMean>,
}

/// One kind of unit that levels are randomised to.
struct Stratum {
    /// Centred within blocks and whitened covariates of each unit.
    units: Vec<Vec<f64>>,
    /// A plot of each unit: its treatment tells the unit's level.
    plot: Vec<usize>,
    /// Level in this stratum of each treatment.
    level: Vec<usize>,
    levels: usize,
}

/// Imbalance of a layout.
pub(super) struct Imbalance {
    strata: Vec<Stratum>,
}

impl Imbalance {
    pub(super) fn of(
        request: &LayoutRequest,
        balance: &Balance,
        treatments: &Treatments,
        slots: &Slots,
        plan: &Plan,
    ) -> Result<Self, LayoutError> {
        if balance.on.is_empty() {
            return Err(LayoutError::request(
                "balance.on",
                "nothing to balance",
                "name earlier_crop, girth_cm or both",
            ));
        }
        if !(0.001..=1.0).contains(&balance.acceptance) {
            return Err(LayoutError::request(
                "balance.acceptance",
                format!("{} is no share between 0.001 and 1", balance.acceptance),
                "0.01 is usual; less leaves too few layouts to draw from",
            ));
        }
        let values = values(balance, slots, plan)?;
        let all: Vec<usize> = (0..treatments.list.len()).collect();
        let stratum = |unit: fn(&Cell) -> Key, block: fn(&Cell) -> Key, level: Vec<usize>| {
            build(plan, &values, unit, block, None, level)
        };
        let of = |position: usize| {
            treatments.list.iter().map(|t| t.stratum_level[position]).collect::<Vec<_>>()
        };
        let found: Vec<Option<Stratum>> = match request.design {
            TrialDesign::CompletelyRandomised => vec![stratum(plot_key, |_| [0; 4], all)],
            TrialDesign::LatinSquare => vec![build(
                plan,
                &values,
                plot_key,
                |cell| [cell.main, 0, 0, 0],
                Some(|cell| [cell.sub, 0, 0, 0]),
                all,
            )],
            TrialDesign::SplitPlot => {
                vec![stratum(main_key, replicate_key, of(0)), stratum(plot_key, main_key, of(1))]
            }
            TrialDesign::SplitSplitPlot => vec![
                stratum(main_key, replicate_key, of(0)),
                stratum(sub_key, main_key, of(1)),
                stratum(plot_key, sub_key, of(2)),
            ],
            TrialDesign::StripPlot => vec![
                stratum(main_key, replicate_key, of(0)),
                stratum(|cell| [cell.replicate, 0, cell.sub, 0], replicate_key, of(1)),
            ],
            TrialDesign::RandomisedBlocks
            | TrialDesign::IncompleteBlocks
            | TrialDesign::AugmentedBlocks => vec![stratum(plot_key, replicate_key, all)],
        };
        let strata: Vec<Stratum> = found.into_iter().flatten().collect();
        if strata.is_empty() {
            return Err(LayoutError::request(
                "balance.on",
                "the covariate is the same on all plots of a block",
                "leave `balance` out: every layout is balanced",
            ));
        }
        Ok(Self { strata })
    }

    /// Sum over strata and levels of n d' S^-1 d, with d the mean of the level's units after
    /// removing block means and S their covariance within blocks: the criterion of Morgan and
    /// Rubin (2012, Annals of Statistics 40:1263-1282) carried from two groups to several and to
    /// blocks.
    pub(super) fn at(&self, assigned: &[usize]) -> f64 {
        self.strata
            .iter()
            .map(|stratum| {
                let width = stratum.units.first().map_or(0, Vec::len);
                let mut sums = vec![0.0; stratum.levels * width];
                let mut counts = vec![0_usize; stratum.levels];
                for (unit, &plot) in stratum.units.iter().zip(&stratum.plot) {
                    let level = stratum.level[assigned[plot]];
                    counts[level] += 1;
                    for (sum, value) in sums[level * width..].iter_mut().zip(unit) {
                        *sum += value;
                    }
                }
                sums.chunks(width.max(1))
                    .zip(&counts)
                    .filter(|(_, count)| **count > 0)
                    .map(|(sum, &count)| sum.iter().map(|s| s * s).sum::<f64>() / count as f64)
                    .sum::<f64>()
            })
            .sum()
    }
}

type Key = [usize; 4];

fn plot_key(cell: &Cell) -> Key {
    [cell.replicate, cell.main + 1, cell.sub + 1, cell.within + 1]
}

fn sub_key(cell: &Cell) -> Key {
    [cell.replicate, cell.main + 1, cell.sub + 1, 0]
}

fn main_key(cell: &Cell) -> Key {
    [cell.replicate, cell.main + 1, 0, 0]
}

fn replicate_key(cell: &Cell) -> Key {
    [cell.replicate, 0, 0, 0]
}

/// Covariates by plot of the plan.
fn values(balance: &Balance, slots: &Slots, plan: &Plan) -> Result<Vec<Vec<f64>>, LayoutError> {
    plan.cells
        .iter()
        .map(|cell| {
            let slot = &slots.list[cell.slot];
            balance
                .on
                .iter()
                .map(|covariate| {
                    slot.before.get(covariate).copied().flatten().ok_or_else(|| {
                        let tree = slot.trees.first().map_or("", |tree| &tree.tree);
                        LayoutError::request(
                            "balance.on",
                            format!(
                                "no {} is known for all trees of the plot with tree {tree}",
                                covariate.as_str()
                            ),
                            "record it, leave those trees out, or balance something else",
                        )
                    })
                })
                .collect()
        })
        .collect()
}

/// Unit means, centred within blocks (and across, for rows and columns) and whitened; `None` when
/// nothing varies within blocks.
fn build(
    plan: &Plan,
    values: &[Vec<f64>],
    unit: fn(&Cell) -> Key,
    block: fn(&Cell) -> Key,
    across: Option<fn(&Cell) -> Key>,
    level: Vec<usize>,
) -> Option<Stratum> {
    let mut members: BTreeMap<Key, Vec<usize>> = BTreeMap::new();
    for (index, cell) in plan.cells.iter().enumerate() {
        members.entry(unit(cell)).or_default().push(index);
    }
    let plot: Vec<usize> = members.values().filter_map(|plots| plots.first().copied()).collect();
    let width = values.first().map_or(0, Vec::len);
    let mut units: Vec<Vec<f64>> = members
        .values()
        .map(|plots| {
            (0..width)
                .map(|k| plots.iter().map(|&p| values[p][k]).sum::<f64>() / plots.len() as f64)
                .collect()
        })
        .collect();
    let magnitude: Vec<f64> =
        (0..width).map(|k| units.iter().map(|unit| unit[k] * unit[k]).sum()).collect();
    let mut freedom = units.len();
    for key in std::iter::once(block).chain(across) {
        let mut blocks: BTreeMap<Key, Vec<usize>> = BTreeMap::new();
        for (index, &plot) in plot.iter().enumerate() {
            blocks.entry(key(&plan.cells[plot])).or_default().push(index);
        }
        freedom = (freedom + usize::from(freedom < units.len())).saturating_sub(blocks.len());
        for inside in blocks.values() {
            let mean: Vec<f64> = (0..width)
                .map(|k| inside.iter().map(|&u| units[u][k]).sum::<f64>() / inside.len() as f64)
                .collect();
            for &unit in inside {
                units[unit].iter_mut().zip(&mean).for_each(|(value, mean)| *value -= mean);
            }
        }
    }
    let units = whiten(&units, &magnitude, freedom.max(1) as f64)?;
    let levels = level.iter().max().map_or(0, |max| max + 1);
    Some(Stratum { units, plot, level, levels })
}

/// Columns made orthogonal, each with unit variance over `freedom`; columns whose variation is
/// rounding beside their `magnitude` (sum of squares before centring), or that others explain, are
/// left out.
fn whiten(units: &[Vec<f64>], magnitude: &[f64], freedom: f64) -> Option<Vec<Vec<f64>>> {
    let width = units.first().map_or(0, Vec::len);
    let mut columns: Vec<Vec<f64>> = Vec::new();
    for k in 0..width {
        let mut column: Vec<f64> = units.iter().map(|unit| unit[k]).collect();
        let before: f64 = column.iter().map(|x| x * x).sum();
        for other in &columns {
            let share = dot(&column, other) / freedom;
            for (x, y) in column.iter_mut().zip(other) {
                *x -= share * y;
            }
        }
        let after = dot(&column, &column);
        if after > 1e-12 * before && after > 1e-24 * magnitude[k] {
            let scale = (after / freedom).sqrt();
            columns.push(column.into_iter().map(|x| x / scale).collect());
        }
    }
    if columns.is_empty() {
        return None;
    }
    Some((0..units.len()).map(|u| columns.iter().map(|column| column[u]).collect()).collect())
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Means of the covariates by treatment.
pub(super) fn means(
    balance: &Balance,
    treatments: &Treatments,
    slots: &Slots,
    plan: &Plan,
    assigned: &[usize],
) -> Vec<TreatmentMean> {
    let mut means = Vec::new();
    for (index, treatment) in treatments.list.iter().enumerate() {
        for &covariate in &balance.on {
            let values: Vec<f64> = plan
                .cells
                .iter()
                .zip(assigned)
                .filter(|(_, at)| **at == index)
                .filter_map(|(cell, _)| {
                    slots.list[cell.slot].before.get(&covariate).copied().flatten()
                })
                .collect();
            if !values.is_empty() {
                means.push(TreatmentMean {
                    treatment: treatment.label.clone(),
                    covariate,
                    mean: values.iter().sum::<f64>() / values.len() as f64,
                });
            }
        }
    }
    means
}
