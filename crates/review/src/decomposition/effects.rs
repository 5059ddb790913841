//! Effects of season, age, pruning, earlier crop and level on the model's scale, row by row.

use super::fixed::{self, Column};
use super::levels::{self, Levels};
use super::sensitivity::Effects;
use super::{PARTS, Part, TreeLevel};
use crate::columns::{Labels, TreeSeasons};
use crate::error::ReviewError;
use crate::scale::Scale;
use mixed::{Data, Factor, Fit, FixedColumn, Settings};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Rounds in which the effect of the earlier crop is sought, the change that ends them, the step by
/// which the last one is tried, the bound of the effect, and the trees with three seasons in a row that a region needs for it.
const MOST_ROUNDS: usize = 8;
const SETTLED: f64 = 0.002;
const STEP: f64 = 0.05;
const MOST_CORRELATION: f64 = 0.9;
const LEAST_TREES: usize = 20;

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
    let in_time: Vec<usize> =
        (0..table.len()).filter(|&row| table.season[row] <= closed_of(row)).collect();
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

/// Rows used with what does not change between rounds.
struct Rows {
    used: Vec<usize>,
    /// Response less the pruning effect that was given and less `centre`.
    response: Vec<f64>,
    centre: f64,
    given: Vec<f64>,
    columns: Vec<Column>,
    /// Place of the same tree's row one season before.
    before: Vec<Option<usize>>,
    season: Vec<u32>,
    season_levels: usize,
    block: Vec<u32>,
    tree: Vec<u32>,
    levels: (usize, usize),
}

/// One round's fit.
struct Solved {
    fit: Fit,
    /// Fixed parts by row, without the earlier crop.
    fixed: Vec<[f64; PARTS]>,
    constant: Vec<f64>,
    season: Vec<f64>,
    /// Response less constant, fixed parts and season: level, earlier crop and error.
    deviations: Vec<f64>,
    /// What the effect of the earlier crop lacks, and its standard error, by region that has it.
    crop: Vec<(f64, f64)>,
    /// By how much that error grows because levels follow the effect.
    growth: Vec<f64>,
}

impl Rows {
    fn new(table: &TreeSeasons<'_>, used: Vec<usize>, scale: Scale) -> Self {
        let given: Vec<f64> = used
            .iter()
            .map(|&row| table.pruning_effect.map_or(0.0, |effect| effect[row]))
            .collect();
        let mut response: Vec<f64> = used
            .iter()
            .zip(&given)
            .map(|(&row, given)| scale.forward(table.yield_kg[row]) - given)
            .collect();
        let centre = response.iter().sum::<f64>() / response.len() as f64;
        response.iter_mut().for_each(|value| *value -= centre);
        let places: BTreeMap<(u32, i32), usize> = used
            .iter()
            .enumerate()
            .map(|(place, &row)| ((table.tree.codes[row], table.season[row]), place))
            .collect();
        let before = used
            .iter()
            .map(|&row| places.get(&(table.tree.codes[row], table.season[row] - 1)).copied())
            .collect();
        let keys: Vec<(u32, i32)> =
            used.iter().map(|&row| (table.region.codes[row], table.season[row])).collect();
        let mut distinct = keys.clone();
        distinct.sort_unstable();
        distinct.dedup();
        let season =
            keys.iter().map(|key| distinct.binary_search(key).unwrap_or(0) as u32).collect();
        Self {
            response,
            centre,
            given,
            columns: fixed::columns(table, &used),
            before,
            season,
            season_levels: distinct.len(),
            block: used.iter().map(|&row| table.block.codes[row]).collect(),
            tree: used.iter().map(|&row| table.tree.codes[row]).collect(),
            levels: (table.block.len(), table.tree.len()),
            used,
        }
    }

    /// Regions in which enough trees were seen three seasons in a row.
    fn crop_regions(&self, table: &TreeSeasons<'_>) -> Vec<usize> {
        let mut trees: BTreeMap<usize, std::collections::BTreeSet<u32>> = BTreeMap::new();
        for (place, &row) in self.used.iter().enumerate() {
            if self.before[place].and_then(|before| self.before[before]).is_some() {
                trees.entry(table.region.code(row)).or_default().insert(self.tree[place]);
            }
        }
        trees.into_iter().filter(|(_, own)| own.len() >= LEAST_TREES).map(|(r, _)| r).collect()
    }

    /// Loading of the level and weight of each row.
    fn loading(&self, table: &TreeSeasons<'_>, rho: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let pairs = self.used.iter().zip(&self.before).map(|(&row, before)| {
            let own = rho[table.region.code(row)];
            if before.is_some() { (1.0 - own, 1.0) } else { (1.0, 1.0 - own * own) }
        });
        pairs.unzip()
    }

    /// Values less rho times those of the row before.
    fn differenced(&self, table: &TreeSeasons<'_>, rho: &[f64], values: &[f64]) -> Vec<f64> {
        let own = |(place, &row): (usize, &usize)| match self.before[place] {
            Some(before) => values[place] - rho[table.region.code(row)] * values[before],
            None => values[place],
        };
        self.used.iter().enumerate().map(own).collect()
    }

    /// Deviation of the crop before, by region.
    fn crop(
        &self,
        table: &TreeSeasons<'_>,
        crop_regions: &[usize],
        deviations: &[f64],
    ) -> Vec<Column> {
        let column = |&region: &usize| Column {
            name: format!("earlier crop in {}", table.region.labels[region]),
            part: Some(Part::EarlierCrop),
            values: self
                .used
                .iter()
                .zip(&self.before)
                .map(|(&row, before)| match before {
                    Some(before) if table.region.code(row) == region => deviations[*before],
                    _ => 0.0,
                })
                .collect(),
        };
        crop_regions.iter().map(column).collect()
    }

    /// One round: effects given rho, and what rho lacks where a round before gave deviations.
    fn solve(
        &self,
        table: &TreeSeasons<'_>,
        (crop_regions, rho): (&[usize], &[f64]),
        last: Option<&Solved>,
    ) -> Result<Solved, ReviewError> {
        let spread = levels::spread(&self.response);
        if spread <= 0.0 {
            return Err(mixed::Error::NoResidualVariation.into());
        }
        let (loading, weights) = self.loading(table, rho);
        let crop =
            last.map_or_else(Vec::new, |last| self.crop(table, crop_regions, &last.deviations));
        // The season of the row before is known from the round before.
        let known: Vec<f64> = match last {
            Some(last) => self.response.iter().zip(&last.season).map(|(y, s)| y - s).collect(),
            None => self.response.clone(),
        };
        let mut response = self.differenced(table, rho, &known);
        if let Some(last) = last {
            response.iter_mut().zip(&last.season).for_each(|(value, season)| *value += season);
        }
        let mut data = Data::new(&response).response_units(0.0, spread).weights(&weights);
        for column in &self.columns {
            let values = self.differenced(table, rho, &column.values);
            data = data.column(FixedColumn::new(column.name.clone(), values));
        }
        for column in &crop {
            data = data.column(FixedColumn::new(column.name.clone(), column.values.as_slice()));
        }
        data = data.factor(Factor::intercept("season", &self.season, self.season_levels));
        let (with_block, with_tree) = levels::separable(&self.block, &self.tree);
        if with_block {
            data = data.factor(levels::loaded("block", &self.block, self.levels.0, &loading));
        }
        if with_tree {
            data = data.factor(levels::loaded("tree", &self.tree, self.levels.1, &loading));
        }
        let fit = mixed::fit(&data, &Settings::default())?;
        let estimates = fit.estimates();
        let modes = fit.conditional_modes("season")?.modes.column(0);
        let mut fixed = vec![[0.0; PARTS]; self.used.len()];
        let mut constant = vec![0.0; self.used.len()];
        for (column, estimate) in self.columns.iter().zip(&estimates) {
            if !estimate.is_finite() {
                continue;
            }
            for (place, value) in column.values.iter().enumerate() {
                match column.part {
                    Some(part) => fixed[place][part as usize] += estimate * value,
                    None => constant[place] += estimate * value,
                }
            }
        }
        let season: Vec<f64> = self.season.iter().map(|&code| modes[code as usize]).collect();
        let deviations = (0..self.used.len())
            .map(|p| self.response[p] - constant[p] - fixed[p].iter().sum::<f64>() - season[p])
            .collect();
        let covariance = fit.covariance();
        let crop = (self.columns.len()..estimates.len())
            .map(|j| match estimates[j].is_finite() {
                true => (estimates[j], covariance[(j, j)].sqrt()),
                false => (0.0, f64::NAN),
            })
            .collect();
        let growth = vec![1.0; crop_regions.len()];
        Ok(Solved { fit, fixed, constant, season, deviations, crop, growth })
    }

    /// Standard errors of the earlier crop's effect hold the share of the level that goes with it.
    /// Letting that share follow, a round lacks less for a step of rho than the step: by 1 - r, and
    /// the error grows by 1 / (1 - r).
    fn allow_for_levels(
        &self,
        table: &TreeSeasons<'_>,
        (crop_regions, rho): (&[usize], &[f64]),
        solved: &mut Solved,
    ) -> Result<(), ReviewError> {
        let mut moved = rho.to_vec();
        crop_regions.iter().for_each(|&region| moved[region] += STEP);
        let [here, there] = [rho, &moved]
            .map(|rho| self.solve(table, (crop_regions, rho), Some(solved)).map(|own| own.crop));
        let pairs = here?.into_iter().zip(there?);
        let growth = pairs.map(|(here, there)| STEP / (here.0 - there.0)).collect::<Vec<f64>>();
        // A step that lacks no less, or hardly, leaves the effect as good as unknown: ten times.
        let bounded = |growth: f64| if (1.0..=10.0).contains(&growth) { growth } else { 10.0 };
        solved.growth = growth
            .into_iter()
            .map(|own| if own > 0.0 && own < 1.0 { 1.0 } else { bounded(own) })
            .collect();
        Ok(())
    }

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
