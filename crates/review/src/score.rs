//! Last year's advice scored: predicted intervals against what was realised.

mod realised;
mod record;

use crate::error::{ReviewError, probability};
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

pub(crate) use realised::LEAST_TREES;
pub use realised::{Comparison, Realised, Side, realised_gain};
pub use record::{Appended, HitRate, ScoreRecord, binomial_interval};

/// What was predicted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Gain in yield over present practice, kg per tree.
    GainOverPresent,
    /// Gain in yield over unpruned trees, kg per tree.
    GainOverUnpruned,
    /// Mean yield of a region's trees, kg per tree.
    Yield,
}

/// A prediction for one region and season.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Predicted {
    /// Region.
    pub region: String,
    /// Season predicted.
    pub season: i32,
    /// Quantity.
    pub quantity: Quantity,
    /// Median, kg per tree.
    pub median: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Probability content of the limits.
    pub level: f64,
    /// Yield that a gain is over, kg per tree in an average season; `None` in advice kept by an earlier version.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_kg: Option<f64>,
}

/// A gain as the season gave it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct InSeason {
    /// Gain, kg per tree.
    pub gain_kg: f64,
    /// What the trees that followed would have given in this season, treated as those beside them, kg per tree.
    pub otherwise_kg: f64,
}

/// A prediction with its outcome: one row of the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScoreRow {
    /// What was predicted.
    #[serde(flatten)]
    pub predicted: Predicted,
    /// Realised value, kg per tree; a gain is put at the yields of an average season, as it was predicted for one.
    pub realised: f64,
    /// Its standard error.
    pub realised_std_error: f64,
    /// Trees that followed the advice and trees that did not.
    pub trees: [usize; 2],
    /// Limits of the realised value that the prediction allows for, its standard error included.
    pub limits: [f64; 2],
    /// Whether the realised value lies within them.
    pub hit: bool,
    /// Whether it lies within the predicted limits themselves.
    pub within_predicted: bool,
    /// Whether the realised value is known well enough beside the predicted one, and of what was predicted: a hit of
    /// one that is not says little, as nearly everything would lie within its limits.
    pub telling: bool,
    /// Share of present practice of which no like tree was left, so that the nearest ones stand for it.
    #[serde(default)]
    pub stand_in: f64,
    /// Interval score of the limits, kg per tree; the smaller the better.
    pub interval_score: f64,
    /// Realised less predicted median, kg per tree.
    pub error: f64,
    /// The gain in the season itself; `None` where nothing says what the predicted gain was over, so that `realised`
    /// is that of the season.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_season: Option<InSeason>,
}

impl ScoreRow {
    /// Whether the outcome is known well enough beside the prediction for the score to tell: [`ScoreRow::telling`],
    /// judged anew, as an earlier version judged more strictly.
    #[must_use]
    pub fn tells(&self) -> bool {
        let own = quantile(self.predicted.level) * self.realised_std_error;
        2.0 * own <= MOST_VAGUE * (self.predicted.high - self.predicted.low)
            && self.stand_in <= MOST_STAND_IN
    }
}

/// Normal quantile of the upper limit of an interval of a level.
fn quantile(level: f64) -> f64 {
    Normal::standard().inverse_cdf(0.5 + 0.5 * level)
}

/// Interval score (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359-378, eq. 43): width plus
/// 2 / alpha for every unit by which the value lies outside, alpha = 1 - level.
#[must_use]
pub fn interval_score(low: f64, high: f64, level: f64, value: f64) -> f64 {
    let alpha = 1.0 - level;
    (high - low) + 2.0 / alpha * ((low - value).max(0.0) + (value - high).max(0.0))
}

/// How many times as wide as the predicted limits those of the realised value alone may be for a score to tell (ours: a
/// convention). The limits that count hold both errors, so that a score is fair however wide they are; those of a
/// value known much worse than the prediction would hold nearly everything.
const MOST_VAGUE: f64 = 3.0;
/// Share of present practice that the nearest trees may stand for in a score that is counted.
const MOST_STAND_IN: f64 = 0.1;

/// Scores a prediction. The realised value is itself an estimate, so the limits it is held against
/// are those of predicting an estimate: each half width h of the predicted interval becomes
/// sqrt(h^2 + (z s)^2), s being the standard error and z the normal quantile of the level.
///
/// # Errors
/// Limits out of order, a level outside (0, 1), or an outcome that is not finite.
pub fn score(predicted: &Predicted, realised: &Realised) -> Result<ScoreRow, ReviewError> {
    probability("level", predicted.level)?;
    let Predicted { median, low, high, level, .. } = *predicted;
    if !(low <= median && median <= high && (high - low).is_finite()) {
        let need = "between its limits";
        return Err(ReviewError::Setting { name: "predicted median", value: median, need });
    }
    let known = realised.gain_kg.is_finite() && realised.std_error_kg.is_finite();
    if !known || realised.std_error_kg < 0.0 {
        return Err(ReviewError::NotFinite {
            what: "realised value".into(),
            label: predicted.region.clone(),
        });
    }
    let own = quantile(level) * realised.std_error_kg;
    let limits = [median - (median - low).hypot(own), median + (high - median).hypot(own)];
    let within = |[low, high]: [f64; 2]| low <= realised.gain_kg && realised.gain_kg <= high;
    let row = ScoreRow {
        predicted: predicted.clone(),
        realised: realised.gain_kg,
        realised_std_error: realised.std_error_kg,
        trees: [realised.followed, realised.not_followed],
        limits,
        hit: within(limits),
        within_predicted: within([low, high]),
        telling: false,
        stand_in: 0.0,
        interval_score: interval_score(limits[0], limits[1], level, realised.gain_kg),
        error: realised.gain_kg - median,
        in_season: None,
    };
    Ok(ScoreRow { telling: row.tells(), ..row })
}

#[cfg(test)]
mod tests;
