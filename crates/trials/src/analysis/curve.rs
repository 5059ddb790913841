//! Quadratic curves over amounts, their optimum and what the data say of it.

use super::fitted::{Fitted, Judge};
use super::inversion::{OptimumSet, invert};
use super::means::part_name;
use super::orthogonal::dot;
use super::polynomial::{every_level_stands, orthogonal};
use crate::amount_words::{amount_words, estimated_amount};
use crate::design::{Amounts, Part, Plan};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::{say, text};

/// Level of the sets.
const ALPHA: f64 = 0.05;

/// Where the fitted curve is highest, or has the slope asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Peak {
    /// Inside the tested range.
    Inside {
        /// Amount.
        amount: f64,
        /// Fitted value there.
        value: f64,
    },
    /// Above every tested amount. Nothing beyond is advised.
    Above,
    /// Below every tested amount. Nothing beyond is advised.
    Below,
    /// The curve does not bend down: it has no maximum.
    None,
}

/// An optimum with the amounts compatible with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Optimum {
    /// Slope at the optimum, response per unit of the amount: 0 for the maximum, else the price
    /// ratio (cost of a unit of the amount over the price of a unit of the response).
    pub price_ratio: f64,
    /// Fitted optimum.
    pub peak: Peak,
    /// 95 % set inside the tested range; `None` where no error judges it or there is no maximum.
    pub set: Option<OptimumSet>,
    /// In words.
    pub words: String,
}

/// A quadratic fitted by least squares to the adjusted means over an amount, each counting alike as
/// in the components, and judged with their covariance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Curve {
    /// Factor of amounts.
    pub factor: String,
    /// Unit of the amounts.
    pub unit: String,
    /// Level of another factor within which it holds; `None` for the average over all.
    pub within: Option<(String, String)>,
    /// Smallest and largest amount tested.
    pub range: (f64, f64),
    /// Each amount and its mean.
    pub points: Vec<(f64, f64)>,
    /// Coefficients of 1, the amount and its square.
    pub coefficients: [f64; 3],
    /// Standard error of the coefficient of the square.
    pub curvature_error: Option<f64>,
    /// Test that the means stray from the curve: F, numerator's and denominator's degrees of
    /// freedom, p. `None` with three amounts.
    pub lack_of_fit: Option<(f64, f64, f64, f64)>,
    /// The maximum.
    pub maximum: Optimum,
    /// Where the next unit pays for itself, if a price ratio was given.
    pub economic: Option<Optimum>,
}

/// Curves of every factor with three amounts or more: averaged, and within the levels of each other
/// treatment factor.
pub(super) fn curves(plan: &Plan, fitted: &Fitted, ratios: &BTreeMap<String, f64>) -> Vec<Curve> {
    let mut out = Vec::new();
    for term in plan.terms.iter().filter(|t| t.parts.len() <= 2) {
        for (at, part) in term.parts.iter().enumerate() {
            let Part::Factor(f) = part else { continue };
            let factor = &plan.factors[*f];
            let Some(amounts) = factor.amounts.as_ref().filter(|a| a.values.len() > 2) else {
                continue;
            };
            if !every_level_stands(plan, *f) {
                continue;
            }
            let other = term.parts.iter().enumerate().find(|(i, _)| *i != at).map(|(_, p)| *p);
            let groups = plan.groups_of(term);
            let levels = amounts.values.len();
            for o in 0..groups.len() / levels {
                let mine: Vec<&(Vec<String>, Vec<usize>)> = (0..levels)
                    .map(|l| {
                        if at == 0 {
                            &groups[l * (groups.len() / levels) + o]
                        } else {
                            &groups[o * levels + l]
                        }
                    })
                    .collect();
                let within = other.map(|p| (part_name(p, plan), mine[0].0[1 - at].clone()));
                let rows = mine.iter().map(|(_, cells)| fitted.columns.mean(cells)).collect();
                let question = Question { judge: fitted, amounts, rows, name: &factor.name };
                out.extend(question.curve(within, ratios.get(&factor.name).copied()));
            }
        }
    }
    out
}

/// Means over an amount to which a curve is fitted.
pub(crate) struct Question<'a> {
    /// What estimates and judges combinations.
    pub(crate) judge: &'a dyn Judge,
    /// The amounts, one per mean.
    pub(crate) amounts: &'a Amounts,
    /// Each mean as a combination of what `judge` estimates.
    pub(crate) rows: Vec<Vec<f64>>,
    /// The factor.
    pub(crate) name: &'a str,
}

impl Question<'_> {
    /// Combination of what is estimated from weights of the means.
    fn combine(&self, weights: &[f64]) -> Vec<f64> {
        let mut l = vec![0.0; self.rows.first().map_or(0, Vec::len)];
        for (w, row) in weights.iter().zip(&self.rows) {
            l.iter_mut().zip(row).for_each(|(l, r)| *l += w * r);
        }
        l
    }

    /// The curve and its optimum, and that of `ratio`; `None` where a mean is not estimated.
    pub(crate) fn curve(
        &self,
        within: Option<(String, String)>,
        ratio: Option<f64>,
    ) -> Option<Curve> {
        let x = self.amounts.values.as_slice();
        let basis = orthogonal(x);
        // Weights of the means in the coefficient of each orthogonal polynomial.
        let of = |degree: usize| -> Vec<f64> {
            let p = &basis[degree];
            let norm = dot(p, p);
            p.iter().map(|p| p / norm).collect()
        };
        let (mean, slope, bend) = (of(0), of(1), of(2));
        // p1 = x - m; p2 = x^2 - s (x - m) - v: expanded to powers of x.
        let total = x.len() as f64;
        let m = x.iter().sum::<f64>() / total;
        let square: Vec<f64> = x.iter().map(|x| x * x).collect();
        let v = square.iter().sum::<f64>() / total;
        let p1 = &basis[1];
        let s = dot(&square, p1) / dot(p1, p1);
        let means: Option<Vec<f64>> =
            self.rows.iter().map(|row| self.judge.value_of(row)).collect();
        let value = |w: &[f64]| self.judge.value_of(&self.combine(w));
        let (a0, a1, a2) = (value(&mean)?, value(&slope)?, value(&bend)?);
        let coefficients = [a0 - m * a1 + (s * m - v) * a2, a1 - s * a2, a2];
        let slope_at = |x: f64, ratio: f64| -> Option<(f64, f64, f64)> {
            let w: Vec<f64> =
                slope.iter().zip(&bend).map(|(b1, b2)| b1 + (2.0 * x - s) * b2).collect();
            let e = self.judge.estimate(&self.combine(&w))?;
            Some((e.estimate - ratio, e.std_error, e.df))
        };
        let range = (x[0], x[x.len() - 1]);
        let optimum = |ratio: f64| {
            let set = invert(&|x| slope_at(x, ratio), range.0, range.1, ALPHA);
            self.optimum(&coefficients, range, ratio, set)
        };
        let l: Vec<Vec<f64>> = (3..x.len()).map(|d| self.combine(&of(d))).collect();
        let lack_of_fit = if l.is_empty() { None } else { self.judge.test(&l) }
            .map(|(t, _)| (t.statistic, t.df, t.df_denominator, t.p_value));
        Some(Curve {
            factor: self.name.to_owned(),
            unit: self.amounts.unit.clone(),
            within,
            range,
            points: x.iter().copied().zip(means?).collect(),
            curvature_error: self.judge.estimate(&self.combine(&bend)).map(|e| e.std_error),
            lack_of_fit,
            maximum: optimum(0.0),
            economic: ratio.map(optimum),
            coefficients,
        })
    }

    /// An end of a set in words: a tested amount as it was given.
    fn bound(&self, amount: f64) -> String {
        if self.amounts.values.contains(&amount) {
            amount_words(amount, &self.amounts.unit)
        } else {
            estimated_amount(amount, &self.amounts.unit)
        }
    }

    fn optimum(
        &self,
        [b0, b1, b2]: &[f64; 3],
        (low, high): (f64, f64),
        price_ratio: f64,
        set: Option<OptimumSet>,
    ) -> Optimum {
        let amount = (price_ratio - b1) / (2.0 * b2);
        let bends_down = *b2 < 0.0 && amount.is_finite();
        let peak = match bends_down {
            false => Peak::None,
            true if amount < low => Peak::Below,
            true if amount > high => Peak::Above,
            true => Peak::Inside { amount, value: b0 + amount * (b1 + amount * b2) },
        };
        let what = if price_ratio == 0.0 { text!("maximum") } else { text!("economic optimum") };
        let name = self.name;
        // Amounts that were tested stand as they were given, those that were fitted as far as they are
        // known.
        let words = |amount: f64| estimated_amount(amount, &self.amounts.unit);
        let (low, high) =
            (amount_words(low, &self.amounts.unit), amount_words(high, &self.amounts.unit));
        let tested = say!("the tested range of {name}, {low} to {high}");
        let first = match peak {
            Peak::Inside { amount, .. } => {
                say!("The fitted {what} is at {name} {}", words(amount))
            }
            Peak::Above => say!(
                "The fitted {what} lies above {tested}; nothing beyond {high} is advised before it \
                 has been tested"
            ),
            Peak::Below => say!(
                "The fitted {what} lies below {tested}; nothing below {low} is advised before it has \
                 been tested"
            ),
            Peak::None => say!("The fitted curve does not bend down and has no {what}"),
        };
        let set = set.filter(|_| peak != Peak::None);
        let second = match set {
            None => say!("no set is given for it"),
            Some(OptimumSet::Interval { low, high, open_below, open_above }) => {
                let open = match (open_below, open_above) {
                    (false, false) => "",
                    (true, false) => text!(", open below the tested range"),
                    (false, true) => text!(", open above the tested range"),
                    (true, true) => text!(", open on both sides"),
                };
                say!(
                    "its 95 % set inside the tested range is {} to {}{open}",
                    self.bound(low),
                    self.bound(high)
                )
            }
            Some(OptimumSet::TwoPieces { lower_end, upper_begin }) => say!(
                "its 95 % set is everything tested but {} to {}: the trial does not locate it",
                words(lower_end),
                words(upper_begin)
            ),
            Some(OptimumSet::WholeRange) => {
                say!("its 95 % set is the whole tested range: the trial does not locate it")
            }
            Some(OptimumSet::Below) => say!("no tested amount belongs to its 95 % set"),
            Some(OptimumSet::Above | OptimumSet::Nowhere) => {
                say!("no tested amount belongs to its 95 % set")
            }
        };
        Optimum { price_ratio, peak, set, words: format!("{first}; {second}.") }
    }
}
