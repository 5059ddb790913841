//! Net return per tree and per ha, its odds of loss, and the prices and wages at which it breaks even.

use crate::quantile::{Band, quantile, sorted};
use serde::{Deserialize, Serialize};

/// What a change of practice brings and costs, per tree; the cost may be negative. With a practice's
/// whole yield, hours and other costs in place of differences, the returns are its net return.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// Draws of the yield gain over present practice, kg per tree.
    pub gain_kg: Vec<f64>,
    /// Working hours more than present practice, per tree.
    pub hours: f64,
    /// Materials and haulage less the value of wood, more than present practice, money per tree.
    pub other: f64,
    /// Trees per ha; `None` when spacing is not known.
    pub trees_per_ha: Option<f64>,
}

/// Prices to value a change with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prices {
    /// Money per kg at the book's outturn and reference moisture.
    pub per_kg: f64,
    /// Wage per hour.
    pub per_hour: f64,
}

/// Gain of a change over present practice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Returns {
    /// Money per tree.
    pub per_tree: Band,
    /// Mean money per tree.
    pub mean_per_tree: f64,
    /// Money per ha.
    pub per_ha: Option<Band>,
    /// Probability that the change earns less than present practice.
    pub odds_of_loss: f64,
    /// Price per kg at which it breaks even.
    pub price: BreakEven,
    /// Wage per hour at which it breaks even; `None` when it takes the hours of present practice.
    pub wage: Option<BreakEven>,
}

/// On which side of the break-even value the change pays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pays {
    /// At every value above.
    Above,
    /// At every value below.
    Below,
}

/// Break-even value over the draws. A limit of `None` lies beyond every value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BreakEven {
    /// Side on which it pays.
    pub pays: Pays,
    /// Median.
    pub median: Option<f64>,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// Probability content of the limits.
    pub level: f64,
    /// Share of draws in which it pays at no value from 0 up.
    pub never: f64,
    /// Share of draws in which it pays at every value from 0 up.
    pub always: f64,
}

/// Smallest difference in yield that a price can make up for, kg per tree: a tenth of a gram. Less is
/// rounding between two equal practices, and would ask for prices of any size.
const LEAST_KG: f64 = 1e-4;
/// Smallest difference in working time that a wage can make up for, hours per tree.
const LEAST_HOURS: f64 = 1e-4;

impl BreakEven {
    /// From break-even values, infinite ones meaning never (above) or always (below).
    fn of(values: Vec<f64>, pays: Pays, level: f64) -> Option<Self> {
        let count = values.len() as f64;
        let share =
            |test: fn(f64) -> bool| values.iter().filter(|v| test(**v)).count() as f64 / count;
        let (unbounded, zero) = (share(|v| v == f64::INFINITY), share(|v| v <= 0.0));
        let (never, always) = match pays {
            Pays::Above => (unbounded, zero),
            Pays::Below => (zero, unbounded),
        };
        let sorted = sorted(values.into_iter().map(|v| v.max(0.0)));
        let at = |p| quantile(&sorted, p);
        let tail = (1.0 - level) / 2.0;
        let finite = |v: f64| Some(v).filter(|v| v.is_finite());
        Some(Self {
            pays,
            median: finite(at(0.5)?),
            low: finite(at(tail)?),
            high: finite(at(1.0 - tail)?),
            level,
            never,
            always,
        })
    }
}

impl Change {
    /// Gain of one draw at prices: price x kg - wage x hours - other.
    fn gain(&self, kg: f64, prices: Prices) -> f64 {
        prices.per_kg * kg - prices.per_hour * self.hours - self.other
    }

    /// Gain, odds and break-even values at prices; `None` without draws.
    #[must_use]
    pub fn returns(&self, prices: Prices, level: f64) -> Option<Returns> {
        let gains: Vec<f64> = self.gain_kg.iter().map(|&kg| self.gain(kg, prices)).collect();
        let per_tree = Band::of(gains.iter().copied(), level)?;
        let count = gains.len() as f64;
        Some(Returns {
            per_tree,
            mean_per_tree: gains.iter().sum::<f64>() / count,
            per_ha: self.trees_per_ha.map(|n| Band {
                median: n * per_tree.median,
                low: n * per_tree.low,
                high: n * per_tree.high,
                level,
            }),
            odds_of_loss: gains.iter().filter(|gain| **gain < 0.0).count() as f64 / count,
            price: self.break_even_price(prices.per_hour, level)?,
            wage: self.break_even_wage(prices.per_kg, level),
        })
    }

    /// Price at which the gain of each draw is 0: cost / kg. A change that costs more than present
    /// practice pays above it (never, without a gain in yield); one that saves pays below it (always,
    /// without a loss).
    fn break_even_price(&self, wage: f64, level: f64) -> Option<BreakEven> {
        let cost = wage * self.hours + self.other;
        if cost >= 0.0 {
            let price = |&kg: &f64| if kg > LEAST_KG { cost / kg } else { f64::INFINITY };
            BreakEven::of(self.gain_kg.iter().map(price).collect(), Pays::Above, level)
        } else {
            let price = |&kg: &f64| if kg < -LEAST_KG { cost / kg } else { f64::INFINITY };
            BreakEven::of(self.gain_kg.iter().map(price).collect(), Pays::Below, level)
        }
    }

    /// Wage at which the gain of each draw is 0: (price x kg - other) / hours.
    fn break_even_wage(&self, price: f64, level: f64) -> Option<BreakEven> {
        if self.hours.abs() < LEAST_HOURS {
            return None;
        }
        let pays = if self.hours > 0.0 { Pays::Below } else { Pays::Above };
        let wages = self.gain_kg.iter().map(|kg| (price * kg - self.other) / self.hours).collect();
        BreakEven::of(wages, pays, level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn change(gain_kg: Vec<f64>, hours: f64, other: f64) -> Change {
        Change { gain_kg, hours, other, trees_per_ha: Some(100.0) }
    }

    /// By hand: 0.5 h at 2 and 0.2 of materials cost 1.2; gains of 1, 2 and 4 kg at 1 each.
    #[test]
    fn a_worked_case() {
        let change = change(vec![1.0, 2.0, 4.0], 0.5, 0.2);
        let found = change.returns(Prices { per_kg: 1.0, per_hour: 2.0 }, 0.5).unwrap();
        assert!((found.per_tree.median - 0.8).abs() < 1e-12);
        assert!((found.per_ha.unwrap().median - 80.0).abs() < 1e-9);
        assert!((found.odds_of_loss - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(found.price.pays, Pays::Above);
        assert!((found.price.median.unwrap() - 0.6).abs() < 1e-12);
        let wage = found.wage.unwrap();
        assert_eq!(wage.pays, Pays::Below);
        assert!((wage.median.unwrap() - 3.6).abs() < 1e-12);
    }

    #[test]
    fn a_change_that_never_pays_has_no_price() {
        let change = change(vec![-1.0, -2.0, 0.0], 0.5, 0.2);
        let found = change.returns(Prices { per_kg: 1.0, per_hour: 2.0 }, 0.9).unwrap();
        assert_eq!((found.price.median, found.price.never), (None, 1.0));
        assert_eq!(
            (found.wage.as_ref().unwrap().median, found.wage.unwrap().never),
            (Some(0.0), 1.0)
        );
    }

    proptest! {
        /// The closed form is where the gain of the draw changes sign.
        #[test]
        fn gain_is_zero_at_break_even(kg in -5.0..5.0_f64, hours in -2.0..2.0_f64,
                                      other in -1.0..1.0_f64, price in 0.1..3.0_f64, wage in 0.1..3.0_f64) {
            let change = change(vec![kg], hours, other);
            let found = change.returns(Prices { per_kg: price, per_hour: wage }, 0.9).unwrap();
            let gains = |price, wage| change.gain(kg, Prices { per_kg: price, per_hour: wage });
            if let Some(even) = found.price.median {
                prop_assert!(gains(even, wage).abs() < 1e-9);
                let above = gains(even * 1.01 + 0.01, wage) >= 0.0;
                prop_assert_eq!(above, found.price.pays == Pays::Above);
            } else {
                let pays = gains(price, wage) >= 0.0;
                prop_assert_eq!(pays, found.price.pays == Pays::Below);
            }
            if let Some(even) = found.wage.as_ref().and_then(|w| w.median).filter(|w| *w > 0.0) {
                prop_assert!(gains(price, even).abs() < 1e-8);
            }
        }
    }
}
