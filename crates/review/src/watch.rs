//! Trees to look at: persistently poor, suddenly failing, or with a record that is probably wrong.

mod suspects;

use crate::columns::TreeSeasons;
use crate::decomposition::SeasonReview;
use crate::error::{ReviewError, probability, same_length};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

pub use suspects::{Suspect, SuspectKind};

/// Rows and columns of trees in their blocks, by tree code; `None` where not recorded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Places<'a> {
    /// Row in the block.
    pub row: &'a [Option<u32>],
    /// Position in the row.
    pub column: &'a [Option<u32>],
}

/// Where a tree stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Region.
    pub region: String,
    /// Block.
    pub block: String,
    /// Tree.
    pub tree: String,
    /// Row in the block.
    pub row: Option<u32>,
    /// Position in the row.
    pub column: Option<u32>,
}

/// Settings of the watch list.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WatchSettings {
    /// Share of the trees that counts as the worst.
    pub worst: f64,
    /// Least probability of being among them.
    pub sure: f64,
    /// Least number of seasons before a tree is called poor.
    pub least_seasons: u32,
    /// Expected share of false alarms among sudden failures, and among yields too high.
    pub false_discovery_rate: f64,
}

impl Default for WatchSettings {
    fn default() -> Self {
        Self { worst: 0.1, sure: 0.8, least_seasons: 3, false_discovery_rate: 0.05 }
    }
}

/// A tree that stays poor beside its neighbours: a candidate for rework or replanting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PoorTree {
    /// Where.
    pub place: Place,
    /// Level within its block after season, age, pruning and earlier crop, model scale.
    pub level: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Posterior probability that it is among the worst.
    pub p_worst: f64,
    /// Seasons behind it.
    pub seasons: u32,
}

/// A tree that fell far short of its own level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SuddenTree {
    /// Where.
    pub place: Place,
    /// Yield, kg.
    pub observed_kg: f64,
    /// Yield with pruning as in earlier seasons and all else known, kg.
    pub predicted_kg: f64,
    /// Unexplained part over its predictive standard deviation.
    pub standardised: f64,
    /// Adjusted p-value: the least false discovery rate at which the tree is listed.
    pub q_value: f64,
}

/// The lists.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Watch {
    /// Surest first.
    pub poor: Vec<PoorTree>,
    /// Worst first.
    pub sudden: Vec<SuddenTree>,
    /// Records to check, in table order.
    pub suspects: Vec<Suspect>,
    /// Spread of the standardised unexplained parts of the closed season by their quartiles: about 1
    /// when the model's predictive spread is right; alarms use the larger of it and 1.
    pub spread: f64,
    /// Trees with enough seasons to be called poor.
    pub trees_judged: usize,
    /// Settings used.
    pub settings: WatchSettings,
}

/// Makes the lists of a review. `places` are by tree code; without them positions are absent.
///
/// # Errors
/// Columns of unequal length; settings out of range.
pub fn watch(
    review: &SeasonReview,
    table: &TreeSeasons<'_>,
    places: Option<Places<'_>>,
    settings: &WatchSettings,
) -> Result<Watch, ReviewError> {
    table.check()?;
    probability("worst", settings.worst)?;
    probability("sure", settings.sure)?;
    probability("false_discovery_rate", settings.false_discovery_rate)?;
    if let Some(places) = places {
        same_length("row", table.tree.len(), places.row.len())?;
        same_length("column", table.tree.len(), places.column.len())?;
    }
    let last_row = last_rows(review, table);
    let place = |row: usize| {
        let tree = table.tree.code(row);
        Place {
            region: table.region.label(row).to_owned(),
            block: table.block.label(row).to_owned(),
            tree: table.tree.label(row).to_owned(),
            row: places.and_then(|places| places.row[tree]),
            column: places.and_then(|places| places.column[tree]),
        }
    };

    let judged: Vec<_> = review
        .levels
        .iter()
        .filter(|level| level.seasons >= settings.least_seasons && level.std_error > 0.0)
        .collect();
    let modes: Vec<f64> = judged.iter().map(|level| level.mode).collect();
    let errors: Vec<f64> = judged.iter().map(|level| level.std_error).collect();
    let mut poor: Vec<PoorTree> = judged
        .iter()
        .zip(worst_share(&modes, &errors, settings.worst))
        .filter(|(_, p)| *p >= settings.sure)
        .filter_map(|(level, p_worst)| {
            Some(PoorTree {
                place: place(last_row.get(level.tree as usize).copied().flatten()?),
                level: level.mode,
                std_error: level.std_error,
                p_worst,
                seasons: level.seasons,
            })
        })
        .collect();
    poor.sort_by(|a, b| {
        b.p_worst.total_cmp(&a.p_worst).then_with(|| a.place.tree.cmp(&b.place.tree))
    });

    let known: Vec<_> = review.trees.iter().filter(|tree| tree.earlier_seasons > 0).collect();
    let z: Vec<f64> = known.iter().map(|tree| tree.standardised).collect();
    let spread = quartile_spread(&z);
    let scale = spread.max(1.0);
    let normal = Normal::standard();
    let low: Vec<f64> = z.iter().map(|z| normal.cdf(z / scale)).collect();
    let low = benjamini_hochberg(&low);
    let mut sudden: Vec<SuddenTree> = known
        .iter()
        .zip(low.iter().copied())
        .filter(|(_, q)| *q <= settings.false_discovery_rate)
        .map(|(tree, q_value)| SuddenTree {
            place: place(tree.row),
            observed_kg: tree.observed_kg,
            predicted_kg: tree.predicted_kg,
            standardised: tree.standardised,
            q_value,
        })
        .collect();
    sudden.sort_by(|a, b| {
        a.standardised.total_cmp(&b.standardised).then_with(|| a.place.tree.cmp(&b.place.tree))
    });
    let high: Vec<f64> = z.iter().map(|z| normal.sf(z / scale)).collect();
    let high = benjamini_hochberg(&high);
    let suspects = suspects::find(review, table, &known, [&low, &high], settings, &place);
    Ok(Watch { poor, sudden, suspects, spread, trees_judged: judged.len(), settings: *settings })
}

/// Latest row of each tree up to the closed season.
fn last_rows(review: &SeasonReview, table: &TreeSeasons<'_>) -> Vec<Option<usize>> {
    let mut last: Vec<Option<usize>> = vec![None; table.tree.len()];
    for row in review.rows_in_time(table) {
        let own = &mut last[table.tree.code(row)];
        if own.is_none_or(|other| table.season[other] <= table.season[row]) {
            *own = Some(row);
        }
    }
    last
}

/// Posterior probability of each unit to be among the lowest share of all, given normal posteriors
/// with these means and standard errors: Phi((q - m) / s), q being the quantile of the expected
/// distribution of the true levels, sum Phi((q - m) / s) = share x n (Shen and Louis 1998, J. R.
/// Stat. Soc. B 60:455-471). The probabilities sum to share x n; the threshold's own uncertainty
/// is left out, which many units make small.
#[must_use]
pub fn worst_share(modes: &[f64], std_errors: &[f64], share: f64) -> Vec<f64> {
    let normal = Normal::standard();
    let at = |q: f64| modes.iter().zip(std_errors).map(move |(m, s)| normal.cdf((q - m) / s));
    let widest = std_errors.iter().copied().fold(0.0, f64::max);
    let mut low = modes.iter().copied().fold(f64::INFINITY, f64::min) - 9.0 * widest;
    let mut high = modes.iter().copied().fold(f64::NEG_INFINITY, f64::max) + 9.0 * widest;
    // Halving 200 times reaches the spacing of the numbers themselves.
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if at(middle).sum::<f64>() < share * modes.len() as f64 {
            low = middle;
        } else {
            high = middle;
        }
    }
    at(0.5 * (low + high)).collect()
}

/// Adjusted p-values of Benjamini and Hochberg (1995, J. R. Stat. Soc. B 57:289-300): the least rate
/// of false discoveries at which each test is rejected. NaN stays NaN and does not count.
#[must_use]
pub fn benjamini_hochberg(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).filter(|&i| !p_values[i].is_nan()).collect();
    order.sort_by(|a, b| p_values[*b].total_cmp(&p_values[*a]));
    let tests = order.len() as f64;
    let mut adjusted = vec![f64::NAN; p_values.len()];
    let mut least: f64 = 1.0;
    for (i, &place) in order.iter().enumerate() {
        least = least.min(p_values[place] * tests / (tests - i as f64));
        adjusted[place] = least;
    }
    adjusted
}

/// Interquartile range over that of a standard normal; 1 for fewer than 20 values.
fn quartile_spread(values: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    if sorted.len() < 20 {
        return 1.0;
    }
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted[(share * (sorted.len() - 1) as f64).round() as usize];
    (at(0.75) - at(0.25)) / 1.349
}

#[cfg(test)]
mod tests;
