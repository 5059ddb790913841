//! Blocks or sites ranked with shrinkage, so that small ones do not top the list by luck.

use crate::columns::Labels;
use crate::error::{ReviewError, probability, same_length};
use mixed::{Data, Factor, FixedColumn, IntegrationSettings, Prior, Settings};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use words::text;

/// Settings of a ranking.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RankSettings {
    /// Probability content of the intervals.
    pub level: f64,
    /// Posterior draws.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Scale of the half-normal prior on each spread relative to the residual one.
    pub prior_scale: f64,
}

impl Default for RankSettings {
    fn default() -> Self {
        Self { level: 0.95, draws: 2000, seed: 1, prior_scale: 2.0 }
    }
}

/// A unit (block, site) in a ranking. Values are deviations from the mean of all units (of its
/// region, where regions were given), in the units of the values ranked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ranked {
    /// Unit.
    pub unit: String,
    /// Rows behind it.
    pub rows: usize,
    /// Deviation of its plain mean.
    pub raw: f64,
    /// Conditional mode: the deviation shrunk by what chance would do to a unit of this size, at the
    /// REML estimate of the spreads.
    pub mode: f64,
    /// Posterior mean, uncertain spreads integrated out; the list is sorted by it.
    pub shrunk: f64,
    /// Lower limit of the deviation.
    pub low: f64,
    /// Upper limit of the deviation.
    pub high: f64,
    /// Median rank, 1 the best.
    pub rank: u32,
    /// Limits of the rank.
    pub rank_limits: [u32; 2],
    /// Probability of a place in the best quarter.
    pub p_top_quarter: f64,
    /// Probability of a place in the worst quarter.
    pub p_bottom_quarter: f64,
}

/// Units, best first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ranking {
    /// The units.
    pub units: Vec<Ranked>,
    /// Standard deviation between units; 0 when chance alone can explain their differences.
    pub unit_sd: f64,
    /// Standard deviation within units (and trees).
    pub residual_sd: f64,
    /// How the fit ended, in a sentence.
    pub status: String,
    /// Units of a quarter, at least 1.
    pub quarter: usize,
    /// Settings used.
    pub settings: RankSettings,
}

/// Ranks units by value = mean (by region) + unit (+ tree) + error, with normal units and trees: rows
/// whose value is NaN are left out. Give trees when a tree has several rows (seasons). Ranks come
/// from joint draws (Laird and Louis 1989, J. Educ. Stat. 14:29-46), not from the order of the modes.
///
/// # Errors
/// Columns of unequal length, fewer than three units with rows, engine failures.
pub fn rank(
    values: &[f64],
    unit: Labels<'_>,
    tree: Option<Labels<'_>>,
    region: Option<Labels<'_>>,
    settings: &RankSettings,
) -> Result<Ranking, ReviewError> {
    probability("level", settings.level)?;
    unit.check("unit", values.len())?;
    tree.map_or(Ok(()), |tree| tree.check("tree", values.len()))?;
    region.map_or(Ok(()), |region| region.check("region", values.len()))?;
    same_length("values", unit.codes.len(), values.len())?;
    if settings.draws < 100 {
        let value = settings.draws as f64;
        return Err(ReviewError::Setting { name: "draws", value, need: "at least 100" });
    }
    let rows: Vec<usize> = (0..values.len()).filter(|&row| values[row].is_finite()).collect();
    let present: BTreeSet<usize> = rows.iter().map(|&row| unit.code(row)).collect();
    if present.len() < 3 {
        return Err(ReviewError::TooFew {
            what: text!("a ranking"),
            least: 3,
            found: present.len(),
        });
    }
    let present: Vec<usize> = present.into_iter().collect();
    let response: Vec<f64> = rows.iter().map(|&row| values[row]).collect();
    let codes: Vec<u32> = rows
        .iter()
        .map(|&row| present.binary_search(&unit.code(row)).unwrap_or(0) as u32)
        .collect();
    let trees: Option<Vec<u32>> = tree.map(|tree| rows.iter().map(|&r| tree.codes[r]).collect());
    let region_of = |row: usize| region.map_or(0, |region| region.code(row));
    let centre = response.iter().sum::<f64>() / response.len() as f64;
    let spread =
        (response.iter().map(|v| (v - centre).powi(2)).sum::<f64>() / response.len() as f64).sqrt();
    if spread <= 0.0 {
        return Err(mixed::Error::NoResidualVariation.into());
    }
    let mut data = Data::new(&response).response_units(centre, spread).intercept();
    let regions: BTreeSet<usize> = rows.iter().map(|&row| region_of(row)).collect();
    for &own in regions.iter().skip(1) {
        let is = |row: &usize| f64::from(u8::from(region_of(*row) == own));
        data = data.column(FixedColumn::new(
            format!("region {own}"),
            rows.iter().map(is).collect::<Vec<_>>(),
        ));
    }
    data = data.factor(Factor::intercept("unit", &codes, present.len()));
    if let (Some(codes), Some(tree)) = (&trees, tree) {
        let distinct: BTreeSet<u32> = codes.iter().copied().collect();
        if distinct.len() < codes.len() && distinct.len() > present.len() {
            data = data.factor(Factor::intercept("tree", codes, tree.len()));
        }
    }
    let fit = mixed::fit(&data, &Settings::default())?;
    let modes = fit.modes("unit")?.column(0);
    let integration = IntegrationSettings { seed: settings.seed, ..IntegrationSettings::default() };
    let posterior = fit.integrate(&Prior::half_normal(settings.prior_scale), &integration)?;
    let draws = posterior.draws(settings.draws, settings.seed, &["unit"])?;
    let mut effects: Vec<Vec<f64>> = (0..present.len())
        .map(|level| draws.column(&format!("unit.intercept[{level}]")).unwrap_or_default())
        .collect();
    let of_region = regions_of_units(&codes, &rows, &region_of, present.len());
    centre_draws(&mut effects, &of_region, settings.draws);
    let places = places(&effects, settings.draws);
    let raw = raw_deviations(&response, &codes, &of_region);
    let quarter = present.len().div_ceil(4);
    let tail = 0.5 * (1.0 - settings.level);
    let mut units: Vec<Ranked> = (0..present.len())
        .map(|level| {
            let mut own = effects[level].clone();
            own.sort_by(f64::total_cmp);
            let mut rank = places[level].clone();
            rank.sort_unstable();
            let share = |is: &dyn Fn(u32) -> bool| {
                rank.iter().filter(|rank| is(**rank)).count() as f64 / rank.len() as f64
            };
            Ranked {
                unit: unit.labels[present[level]].clone(),
                rows: codes.iter().filter(|&&code| code as usize == level).count(),
                raw: raw[level],
                mode: modes[level],
                shrunk: own.iter().sum::<f64>() / own.len() as f64,
                low: at(&own, tail),
                high: at(&own, 1.0 - tail),
                rank: at(&rank, 0.5),
                rank_limits: [at(&rank, tail), at(&rank, 1.0 - tail)],
                p_top_quarter: share(&|rank| rank as usize <= quarter),
                p_bottom_quarter: share(&|rank| rank as usize > present.len() - quarter),
            }
        })
        .collect();
    units.sort_by(|a, b| b.shrunk.total_cmp(&a.shrunk).then_with(|| a.unit.cmp(&b.unit)));
    let relative = fit.theta().into_iter().find(|theta| theta.name.starts_with("unit."));
    Ok(Ranking {
        units,
        unit_sd: relative.map_or(0.0, |theta| theta.value.abs()) * fit.sigma(),
        residual_sd: fit.sigma(),
        status: fit.status().to_string(),
        quarter,
        settings: *settings,
    })
}

/// Rank of each unit in each draw, 1 the highest; equal draws by position.
fn places(effects: &[Vec<f64>], draws: usize) -> Vec<Vec<u32>> {
    let mut places = vec![Vec::with_capacity(draws); effects.len()];
    let mut order: Vec<usize> = (0..effects.len()).collect();
    (0..draws).for_each(|draw| {
        order.sort_unstable();
        order.sort_by(|a, b| effects[*b][draw].total_cmp(&effects[*a][draw]));
        for (&level, rank) in order.iter().zip(1_u32..) {
            places[level].push(rank);
        }
    });
    places
}

/// Region of each unit, that of its last row.
fn regions_of_units(
    codes: &[u32],
    rows: &[usize],
    region_of: &dyn Fn(usize) -> usize,
    units: usize,
) -> Vec<usize> {
    let mut regions = vec![0; units];
    for (&code, &row) in codes.iter().zip(rows) {
        regions[code as usize] = region_of(row);
    }
    regions
}

/// Less the mean of the region's units, draw by draw. The model's effects are deviations from a mean over all
/// the units that there might be, which few units leave all but unknown; units are held against each other.
fn centre_draws(effects: &mut [Vec<f64>], of_region: &[usize], draws: usize) {
    let mut units: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (unit, &region) in of_region.iter().enumerate() {
        units.entry(region).or_default().push(unit);
    }
    for own in units.values() {
        let mean =
            |draw| own.iter().map(|&unit| effects[unit][draw]).sum::<f64>() / own.len() as f64;
        let means: Vec<f64> = (0..draws).map(mean).collect();
        for &unit in own {
            effects[unit].iter_mut().zip(&means).for_each(|(effect, mean)| *effect -= mean);
        }
    }
}

/// Means of units less the mean of their region's unit means.
fn raw_deviations(response: &[f64], codes: &[u32], of_region: &[usize]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); of_region.len()];
    for (value, &code) in response.iter().zip(codes) {
        let own = &mut sums[code as usize];
        *own = (own.0 + value, own.1 + 1.0);
    }
    let mut regions: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for ((sum, n), region) in sums.iter().zip(of_region) {
        let own = regions.entry(*region).or_default();
        *own = (own.0 + sum / n, own.1 + 1.0);
    }
    let centre = |region: &usize| regions.get(region).map_or(0.0, |(sum, n)| sum / n);
    sums.iter().zip(of_region).map(|((sum, n), region)| sum / n - centre(region)).collect()
}

/// Quantile of sorted values: the smallest one with at least this share at or below it.
fn at<T: Copy + Default>(sorted: &[T], share: f64) -> T {
    let place = (share * sorted.len() as f64).ceil().max(1.0) as usize - 1;
    sorted.get(place.min(sorted.len().saturating_sub(1))).copied().unwrap_or_default()
}

#[cfg(test)]
mod tests;
