//! What pruning a tree costs, from the book's own minutes or its stated rate.

use model::Objective;
use records::Book;
use serde::{Deserialize, Serialize};
use workplan::economics::{Haul, TimeFit, TimedTree, WorkRate, price_at_outturn};

/// Where the working time comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// Fitted to recorded minutes of the region.
    Recorded,
    /// `[economics.pruning_time]` of `book.toml`.
    Stated,
}

/// Working time and cost of pruning one tree of mean size in a region.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Working minutes.
    #[serde(flatten)]
    pub rate: WorkRate,
    /// Where they come from.
    pub source: TimeSource,
    /// The fit by intensity, tree size and tool; `None` when the rate is stated.
    pub time_fit: Option<TimeFit>,
    /// Wage per hour.
    pub wage_per_hour: f64,
    /// Materials per pruned tree.
    pub materials: f64,
    /// Price per kg as quoted.
    pub price_per_kg: f64,
    /// Factor from the price quoted to the price of the plantation's own outturn; 1 without one.
    pub price_factor: f64,
    /// Haulage less the value of the wood if the whole canopy were removed, money; 0 when no
    /// `[economics.cut_wood]` or no canopy sizes are stated.
    pub wood_full_canopy: f64,
}

impl Cost {
    /// Cost in a region from its timed prunings and the mean canopy volume (m3) of its trees;
    /// `None` when there are neither enough recorded minutes nor a stated rate.
    #[must_use]
    pub fn of_region(
        book: &Book,
        region: &str,
        timed: &[TimedTree],
        canopy_m3: Option<f64>,
    ) -> Option<Self> {
        let time_fit = TimeFit::new(timed, book.options.level).ok();
        let stated = book.economics.pruning_time.map(|stated| WorkRate {
            minutes_per_tree: stated.minutes_per_tree,
            minutes_full_canopy: stated.minutes_full_canopy,
        });
        let (rate, source) = match &time_fit {
            Some(fit) => (fit.rate("", None), TimeSource::Recorded),
            None => (stated?, TimeSource::Stated),
        };
        let economics = &book.economics;
        // Both outturns were checked when the book was read.
        let price_factor = economics
            .outturn_lb
            .zip(economics.price_outturn_lb)
            .and_then(|(own, quoted)| price_at_outturn(1.0, own, quoted).ok());
        let haul = economics.cut_wood.zip(canopy_m3).map(|(wood, m3)| Haul::of(&wood, m3));
        Some(Self {
            rate,
            source,
            time_fit,
            wage_per_hour: book.wage_per_hour(region),
            materials: economics.materials_per_pruned_tree,
            price_per_kg: book.price_per_kg(region),
            price_factor: price_factor.unwrap_or(1.0),
            wood_full_canopy: haul.map_or(0.0, |haul| haul.cost - haul.value),
        })
    }

    /// Working time of a tree of a size (canopy ground projection, m2), by the mix of tools that is
    /// recorded; of mean size without one.
    #[must_use]
    pub fn rate_at(&self, size: Option<f64>) -> WorkRate {
        self.time_fit.as_ref().map_or(self.rate, |fit| fit.rate("", size))
    }

    /// Price and cost as the objective of a decision.
    #[must_use]
    pub fn objective(&self) -> Objective {
        let per_minute = self.wage_per_hour / 60.0;
        Objective {
            price_per_kg: self.price_per_kg * self.price_factor,
            cost_per_pruned_tree: self.rate.minutes_per_tree * per_minute + self.materials,
            cost_full_canopy: self.rate.minutes_full_canopy * per_minute + self.wood_full_canopy,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOOK: &str = r#"
[book]
name = "Example"
[regions.coast]
harvest = ["02-01", "05-31"]
flush = ["09-01", "11-30"]
[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.6
materials_per_pruned_tree = 0.04
outturn_lb = 50
price_outturn_lb = 48
[economics.pruning_time]
minutes_per_tree = 4
minutes_full_canopy = 30
[economics.cut_wood]
stacked_per_canopy = 0.1
haulage_per_m3 = 0.5
value_per_m3 = 0.2
"#;

    /// By hand: 1.2 x 50 / 48 = 1.25; 4 min at 0.01 a minute and 0.04 are 0.08; 30 min are 0.3, and
    /// 60 m3 x 0.1 x 0.3 of wood are 1.8.
    #[test]
    fn the_objective_holds_outturn_and_wood() {
        let book = Book::parse(BOOK).unwrap();
        let objective = Cost::of_region(&book, "coast", &[], Some(60.0)).unwrap().objective();
        assert!((objective.price_per_kg - 1.25).abs() < 1e-12);
        assert!((objective.cost_per_pruned_tree - 0.08).abs() < 1e-12);
        assert!((objective.cost_full_canopy - 2.1).abs() < 1e-12);
    }

    #[test]
    fn recorded_minutes_replace_stated_ones() {
        let book = Book::parse(BOOK).unwrap();
        let timed: Vec<TimedTree> = (1..40)
            .map(|k| {
                let intensity = f64::from(k) / 50.0;
                TimedTree {
                    intensity,
                    size: None,
                    tool: String::new(),
                    minutes: 3.0 + 20.0 * intensity,
                }
            })
            .collect();
        let cost = Cost::of_region(&book, "coast", &timed, None).unwrap();
        assert_eq!(cost.source, TimeSource::Recorded);
        assert!((cost.rate.minutes_per_tree - 3.0).abs() < 1e-6);
        assert!((cost.rate_at(Some(9.0)).minutes_full_canopy - 20.0).abs() < 1e-5);
        let few = Cost::of_region(&book, "coast", &timed[..20], None).unwrap();
        assert_eq!((few.source, few.rate.minutes_per_tree), (TimeSource::Stated, 4.0));
    }
}
