//! Effects of season, age, pruning, earlier crop and level on the model's scale, row by row.

use super::fixed::Column;
use super::levels::Levels;
use super::rounds::{Rows, Solved};
use super::sensitivity::Effects;
use super::{PARTS, Part, TreeLevel};
use crate::columns::{Labels, TreeSeasons};
use crate::error::ReviewError;
use crate::scale::Scale;
use serde::{Deserialize, Serialize};

/// Rounds in which the effect of the earlier crop is sought, the change that ends them, its bound.
const MOST_ROUNDS: usize = 8;
const SETTLED: f64 = 0.002;
const MOST_CORRELATION: f64 = 0.9;

/// Effect of the earlier crop in a region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EarlierCrop {
    /// Region.
    pub region: String,
    /// Change per unit by which the crop before lay above the tree's level, model scale.
    pub estimate: f64,
    /// Its standard error; NaN when not estimable.
    pub std_error: f64,
}

/// Everything the review reads off the model.
pub(super) struct Fitted {
    /// Rows used, ascending; the other lists follow them.
    pub(super) used: Vec<usize>,
    pub(super) left_out_rows: usize,
    pub(super) parts: Vec<[f64; PARTS]>,
    /// Yields without season, age, pruning and earlier crop.
    pub(super) adjusted: Vec<f64>,
    pub(super) predictive_sd: Vec<f64>,
    pub(super) earlier_seasons: Vec<u32>,
    /// Constant by region code.
    pub(super) constant: Vec<f64>,
    pub(super) earlier_crop: Vec<EarlierCrop>,
    pub(super) left_out: Vec<String>,
    pub(super) residual_sd: f64,
    pub(super) levels: Vec<TreeLevel>,
    pub(super) effects: Effects,
}

/// Fits yield = constant + age + pruning + season of the region + level + error, the level being that
/// of the block and the tree and the errors of a tree following one another with correlation rho:
/// the effect of the earlier crop. Each row with a crop before is fitted less rho times the row before
/// (Prais and Winsten 1954), its columns likewise, so that its level counts 1 - rho; a row without one
/// has the weight 1 - rho^2. That this is free of the bias which a lagged response has beside a tree
/// effect, a test shows. The deviation of the crop before stands beside the columns: its coefficient is
/// what rho lacks, and rounds end when it lacks nothing.
pub(super) fn fit(
    table: &TreeSeasons<'_>,
    closed: &[i32],
    scale: Scale,
) -> Result<Fitted, ReviewError> {
    let closed_of = |row: usize| closed[table.region.code(row)];
    let compared = |row: usize| table.too_young.is_none_or(|young| !young[row]);
    let in_time: Vec<usize> = (0..table.len())
        .filter(|&row| table.season[row] <= closed_of(row) && compared(row))
        .collect();
    let usable = |row: &usize| {
        scale.forward(table.yield_kg[*row]).is_finite()
            && table.intensity[*row].is_finite()
            && table.pruning_effect.is_none_or(|effect| effect[*row].is_finite())
    };
    let used: Vec<usize> = in_time.iter().copied().filter(usable).collect();
    let left_out_rows = in_time.len() - used.len();
    if !used.iter().any(|&row| table.season[row] == closed_of(row)) {
        return Err(ReviewError::NoSeason);
    }
    if !used.iter().any(|&row| table.season[row] < closed_of(row)) {
        return Err(ReviewError::NoEarlierSeason);
    }
    let rows = Rows::new(table, used, scale);
    let crop_regions = rows.crop_regions(table);
    let mut rho = vec![0.0; table.region.len()];
    let mut solved = rows.solve(table, (&[], &rho), None)?;
    for _ in 0..MOST_ROUNDS {
        if crop_regions.is_empty() {
            break;
        }
        let next = rows.solve(table, (&crop_regions, &rho), Some(&solved))?;
        let moved = next.crop.iter().map(|(lacking, _)| lacking.abs()).fold(0.0, f64::max);
        for (&region, (lacking, _)) in crop_regions.iter().zip(&next.crop) {
            rho[region] = (rho[region] + lacking).clamp(-MOST_CORRELATION, MOST_CORRELATION);
        }
        solved = next;
        if moved < SETTLED {
            break;
        }
    }
    if !crop_regions.is_empty() {
        rows.allow_for_levels(table, (&crop_regions, &rho), &mut solved)?;
    }
    let mut fitted = rows.finish(table, closed, &solved, &rho, &crop_regions)?;
    fitted.left_out_rows = left_out_rows;
    Ok(fitted)
}

impl Rows {
    /// Levels from the earlier rows, then the parts of every row.
    fn finish(
        self,
        table: &TreeSeasons<'_>,
        closed: &[i32],
        solved: &Solved,
        rho: &[f64],
        crop_regions: &[usize],
    ) -> Result<Fitted, ReviewError> {
        let (loading, weights) = self.loading(table, rho);
        // Deviation less what the crop before explains.
        let carried = |place: usize| {
            let own = rho[table.region.code(self.used[place])];
            self.before[place].map_or(0.0, |before| own * solved.deviations[before])
        };
        let left: Vec<f64> =
            (0..self.used.len()).map(|p| solved.deviations[p] - carried(p)).collect();
        let fit_rows = |places: &[usize]| {
            let pick = |values: &[f64]| places.iter().map(|&p| values[p]).collect::<Vec<_>>();
            let codes = |values: &[u32]| places.iter().map(|&p| values[p]).collect::<Vec<_>>();
            let (block, tree) = (codes(&self.block), codes(&self.tree));
            Levels::fit(
                &pick(&left),
                &pick(&loading),
                &pick(&weights),
                (
                    Labels { codes: &block, labels: table.block.labels },
                    Labels { codes: &tree, labels: table.tree.labels },
                ),
            )
        };
        let is_earlier = |row: usize| table.season[row] < closed[table.region.code(row)];
        let earlier: Vec<usize> =
            (0..self.used.len()).filter(|&p| is_earlier(self.used[p])).collect();
        let known = fit_rows(&earlier)?;
        let all = fit_rows(&(0..self.used.len()).collect::<Vec<_>>())?;
        let residual_sd = solved.fit.sigma();
        let mut seasons = vec![(0_u32, 0_u32); table.tree.len()];
        for &row in &self.used {
            let own = &mut seasons[table.tree.code(row)];
            own.0 += u32::from(is_earlier(row));
            own.1 += 1;
        }
        let mut constant = vec![f64::NAN; table.region.len()];
        let mut parts = Vec::with_capacity(self.used.len());
        // By how much the crop before lay above the level.
        let mut adjusted = Vec::with_capacity(self.used.len());
        let mut excess = Vec::with_capacity(self.used.len());
        let mut predictive_sd = Vec::with_capacity(self.used.len());
        for (p, &row) in self.used.iter().enumerate() {
            let region = table.region.code(row);
            constant[region] = self.centre + solved.constant[p] + known.constant;
            let (block, tree) = (self.block[p] as usize, self.tree[p] as usize);
            let (mut level, variance) = known.of(block, tree);
            adjusted.push(
                constant[region]
                    + solved.fixed[p][Part::Level as usize]
                    + left[p]
                    + (1.0 - loading[p]) * level,
            );
            if is_earlier(row) {
                // As for the closed season: known from other seasons than its own.
                level += known.without((left[p], loading[p], weights[p]), block, tree);
            }
            let mut own = solved.fixed[p];
            let before = self.before[p];
            excess.push(before.map_or(0.0, |before| solved.deviations[before] - level));
            own[Part::Season as usize] += solved.season[p];
            own[Part::Pruning as usize] += self.given[p];
            own[Part::Level as usize] += level;
            own[Part::EarlierCrop as usize] += rho[region] * excess[p];
            let total = self.centre + self.response[p] + self.given[p];
            own[Part::Unexplained as usize] = total - constant[region] - own.iter().sum::<f64>();
            parts.push(own);
            let factor = loading[p];
            predictive_sd
                .push((residual_sd.powi(2) / weights[p] + factor * factor * variance).sqrt());
        }
        let levels = all.tree.as_ref().map_or_else(Vec::new, |effects| {
            seasons
                .iter()
                .zip(0_u32..)
                .filter(|((_, n), _)| *n > 0)
                .map(|((_, n), tree)| TreeLevel {
                    tree,
                    mode: effects.modes[tree as usize],
                    std_error: effects.variances[tree as usize].max(0.0).sqrt(),
                    seasons: *n,
                })
                .collect()
        });
        let estimates = solved.fit.estimates();
        let mut left_out: Vec<String> = self
            .columns
            .iter()
            .zip(&estimates)
            .filter(|(_, estimate)| !estimate.is_finite())
            .map(|(column, _)| column.name.clone())
            .collect();
        for (region, label) in table.region.labels.iter().enumerate() {
            if !crop_regions.contains(&region) && constant[region].is_finite() {
                left_out.push(format!("earlier crop in {label}"));
            }
        }
        let earlier_crop = crop_regions
            .iter()
            .zip(solved.crop.iter().zip(&solved.growth))
            .map(|(&region, ((_, std_error), growth))| EarlierCrop {
                region: table.region.labels[region].clone(),
                estimate: rho[region],
                std_error: std_error * growth,
            })
            .collect();
        let effects = self.uncertain(table, solved, crop_regions, &excess);
        Ok(Fitted {
            effects,
            left_out_rows: 0,
            earlier_seasons: self.used.iter().map(|&r| seasons[table.tree.code(r)].0).collect(),
            used: self.used,
            parts,
            adjusted,
            predictive_sd,
            constant,
            earlier_crop,
            left_out,
            residual_sd,
            levels,
        })
    }

    /// The effects of age, pruning and earlier crop that were estimated.
    fn uncertain(
        &self,
        table: &TreeSeasons<'_>,
        solved: &Solved,
        crop_regions: &[usize],
        excess: &[f64],
    ) -> Effects {
        let estimates = solved.fit.estimates();
        let mut chosen = Vec::new();
        let mut columns = Vec::new();
        let covariance = solved.fit.covariance();
        for j in (0..estimates.len()).filter(|&j| covariance[(j, j)] > 0.0) {
            let column = match self.columns.get(j) {
                Some(Column { part: Some(part @ (Part::Age | Part::Pruning)), values, .. }) => {
                    Effects::column(*part, values, &self.season)
                }
                Some(_) => continue,
                None => {
                    let region = crop_regions.get(j - self.columns.len());
                    let own = |(&row, excess): (&usize, &f64)| {
                        if Some(&table.region.code(row)) == region { *excess } else { 0.0 }
                    };
                    let values: Vec<f64> = self.used.iter().zip(excess).map(own).collect();
                    Effects::column(Part::EarlierCrop, &values, &self.season)
                }
            };
            chosen.push(j);
            columns.push(column);
        }
        let growth = |j: usize| {
            let crop = j.checked_sub(self.columns.len());
            crop.and_then(|place| solved.growth.get(place)).copied().unwrap_or(1.0)
        };
        let entry = |i: usize, j: usize| growth(i) * covariance[(i, j)] * growth(j);
        let row = |&i: &usize| chosen.iter().map(|&j| entry(i, j)).collect();
        Effects { columns, covariance: chosen.iter().map(row).collect() }
    }
}
