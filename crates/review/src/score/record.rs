//! The growing record of scored advice.

use super::ScoreRow;
use crate::error::{ReviewError, probability};
use serde::{Deserialize, Serialize};
use statrs::distribution::{Beta, ContinuousCDF};

/// Scored predictions, oldest first: by season, region and quantity.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ScoreRecord {
    /// Rows.
    pub rows: Vec<ScoreRow>,
}

/// What became of new rows.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Appended {
    /// Rows added.
    pub added: usize,
    /// Rows that the record held already, with the same numbers to nine digits.
    pub repeated: usize,
    /// Rows of a season, region and quantity that the record holds with other numbers: the record
    /// was kept, since a score must not change once it is known.
    pub conflicting: Vec<ScoreRow>,
}

/// Hits among scored predictions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HitRate {
    /// Predictions.
    pub scored: u64,
    /// Hits.
    pub hits: u64,
    /// Hits over predictions.
    pub rate: f64,
    /// Exact binomial limits of the rate.
    pub limits: [f64; 2],
    /// Level of the limits.
    pub level: f64,
    /// Mean level of the predicted intervals: the rate to expect.
    pub expected: f64,
    /// Hits and predictions among those whose outcome was known well enough to tell.
    pub telling: [u64; 2],
    /// Mean interval score, kg per tree.
    pub mean_interval_score: f64,
    /// Mean of realised less predicted, kg per tree.
    pub bias: f64,
    /// Its standard error from the spread of the errors; NaN for one prediction.
    pub bias_std_error: f64,
}

impl ScoreRecord {
    /// Adds rows; the record stays sorted and holds each season, region and quantity once.
    pub fn append(&mut self, rows: impl IntoIterator<Item = ScoreRow>) -> Appended {
        let mut outcome = Appended::default();
        for row in rows {
            match self.rows.binary_search_by(|held| key(held).cmp(&key(&row))) {
                Ok(place) if same(&self.rows[place], &row) => outcome.repeated += 1,
                Ok(_) => outcome.conflicting.push(row),
                Err(place) => {
                    self.rows.insert(place, row);
                    outcome.added += 1;
                }
            }
        }
        outcome
    }

    /// Hit rate of the rows chosen (a region, a season, all); `None` when none is.
    ///
    /// # Errors
    /// A level outside (0, 1).
    pub fn hit_rate(
        &self,
        chosen: impl Fn(&ScoreRow) -> bool,
        level: f64,
    ) -> Result<Option<HitRate>, ReviewError> {
        let rows: Vec<&ScoreRow> = self.rows.iter().filter(|row| chosen(row)).collect();
        if rows.is_empty() {
            return Ok(None);
        }
        let n = rows.len() as f64;
        let mean =
            |value: &dyn Fn(&ScoreRow) -> f64| rows.iter().map(|r| value(r)).sum::<f64>() / n;
        let count = |is: &dyn Fn(&ScoreRow) -> bool| rows.iter().filter(|r| is(r)).count() as u64;
        let hits = count(&|row| row.hit);
        let bias = mean(&|row| row.error);
        let squares = mean(&|row| (row.error - bias).powi(2));
        Ok(Some(HitRate {
            scored: rows.len() as u64,
            hits,
            rate: hits as f64 / n,
            limits: binomial_interval(hits, rows.len() as u64, level)?,
            level,
            expected: mean(&|row| row.predicted.level),
            telling: [count(&|row| row.telling && row.hit), count(&|row| row.telling)],
            mean_interval_score: mean(&|row| row.interval_score),
            bias,
            bias_std_error: (squares / (n - 1.0)).sqrt(),
        }))
    }
}

/// Whether two scores tell the same: numbers that went through a text file may differ in the last digit.
fn same(a: &ScoreRow, b: &ScoreRow) -> bool {
    let numbers = |row: &ScoreRow| {
        let p = &row.predicted;
        [p.median, p.low, p.high, p.level, row.realised, row.realised_std_error]
    };
    let close = |(a, b): (f64, f64)| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
    a.trees == b.trees && numbers(a).into_iter().zip(numbers(b)).all(close)
}

fn key(row: &ScoreRow) -> (i32, &str, super::Quantity) {
    (row.predicted.season, row.predicted.region.as_str(), row.predicted.quantity)
}

/// Exact limits of a binomial share (Clopper and Pearson 1934, Biometrika 26:404-413).
///
/// # Errors
/// No trial, more successes than trials, or a level outside (0, 1).
pub fn binomial_interval(hits: u64, trials: u64, level: f64) -> Result<[f64; 2], ReviewError> {
    probability("level", level)?;
    if trials == 0 || hits > trials {
        let value = hits as f64;
        return Err(ReviewError::Setting { name: "hits", value, need: "at most the trials" });
    }
    let tail = 0.5 * (1.0 - level);
    let (x, n) = (hits as f64, trials as f64);
    let quantile = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |d| d.inverse_cdf(p));
    Ok([
        if hits == 0 { 0.0 } else { quantile(x, n - x + 1.0, tail) },
        if hits == trials { 1.0 } else { quantile(x + 1.0, n - x, 1.0 - tail) },
    ])
}
