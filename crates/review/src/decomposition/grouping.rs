//! The closed season by region, site, block, variety, age class and density class.

use super::{Part, SeasonReview};
use crate::columns::TreeSeasons;
use crate::error::ReviewError;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use words::say;

/// Lower bounds of the age classes above the first, years, and of the density classes, trees per ha.
const AGES: [u32; 6] = [5, 10, 15, 20, 30, 40];
const DENSITIES: [u32; 3] = [100, 200, 400];

/// How trees are grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Grouping {
    /// By region.
    Region,
    /// By site.
    Site,
    /// By block.
    Block,
    /// By variety.
    Variety,
    /// By age class at harvest.
    Age,
    /// By class of trees per hectare.
    Density,
}

impl Grouping {
    /// All groupings.
    pub const ALL: [Grouping; 6] = [
        Grouping::Region,
        Grouping::Site,
        Grouping::Block,
        Grouping::Variety,
        Grouping::Age,
        Grouping::Density,
    ];
}

/// A part of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PartKg {
    /// The part.
    pub part: Part,
    /// Mean over the trees, kg per tree.
    pub kg: f64,
    /// Its standard error from the uncertain effects of age, pruning and earlier crop; season has that
    /// of what these leave to it. `None` for the level and the unexplained, and without such effects.
    pub std_error_kg: Option<f64>,
}

/// Closed season of a group of trees; all means in kg per tree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupReview {
    /// Grouping.
    pub grouping: Grouping,
    /// Name of the group; empty where it is unknown.
    pub label: String,
    /// Trees harvested in the closed season.
    pub trees: usize,
    /// Mean yield.
    pub observed_kg: f64,
    /// Mean of the trees' regions in the earlier seasons.
    pub expected_kg: f64,
    /// Mean of what these trees usually give: expectation with their level known.
    pub usual_kg: f64,
    /// Observed less expected.
    pub difference_kg: f64,
    /// Parts that sum to the difference, in the order of [`Part::ALL`].
    pub parts: Vec<PartKg>,
    /// Standard error of the unexplained part from the spread between trees, kg; NaN for one tree.
    pub unexplained_std_error_kg: f64,
}

impl SeasonReview {
    /// Means by group, in the order of the labels (classes from low to high). Parts of trees add up,
    /// so the groups of any grouping add up to the same whole.
    ///
    /// # Errors
    /// [`ReviewError::PartsDoNotSum`] when the parts of a group miss the difference by more than
    /// rounding, 1e-9 of its largest term.
    pub fn groups(
        &self,
        table: &TreeSeasons<'_>,
        grouping: Grouping,
    ) -> Result<Vec<GroupReview>, ReviewError> {
        table.check()?;
        let mut groups: BTreeMap<(usize, String), Vec<usize>> = BTreeMap::new();
        for (place, tree) in self.trees.iter().enumerate() {
            let text = |label: &str| (0, label.to_owned());
            let number = |column: &[f64]| column.get(tree.row).copied().unwrap_or(f64::NAN);
            let key = match grouping {
                Grouping::Region => text(table.region.label(tree.row)),
                Grouping::Site => text(table.site.label(tree.row)),
                Grouping::Block => text(table.block.label(tree.row)),
                Grouping::Variety => text(table.variety.label(tree.row)),
                Grouping::Age => class(number(table.age_years), &AGES),
                Grouping::Density => class(number(table.trees_per_ha), &DENSITIES),
            };
            groups.entry(key).or_default().push(place);
        }
        groups
            .into_iter()
            .map(|((_, label), places)| self.group(grouping, label, &places))
            .collect()
    }

    fn group(
        &self,
        grouping: Grouping,
        label: String,
        places: &[usize],
    ) -> Result<GroupReview, ReviewError> {
        let n = places.len() as f64;
        let mean = |value: &dyn Fn(usize) -> f64| places.iter().map(|&p| value(p)).sum::<f64>() / n;
        let observed_kg = mean(&|p| self.trees[p].observed_kg);
        let expected_kg = mean(&|p| self.trees[p].expected_kg);
        let difference_kg = observed_kg - expected_kg;
        let parts: Vec<PartKg> = Part::ALL
            .iter()
            .map(|&part| PartKg {
                part,
                kg: mean(&|p| self.trees[p].parts_kg[part as usize]),
                std_error_kg: self.sensitivity.std_error(part, places),
            })
            .collect();
        let sum: f64 = parts.iter().map(|part| part.kg).sum();
        let size = parts.iter().map(|part| part.kg.abs()).fold(observed_kg.abs(), f64::max);
        let error = (sum - difference_kg).abs();
        if error.is_nan() || error > 1e-9 * size.max(1.0) {
            return Err(ReviewError::PartsDoNotSum { label, sum, difference: difference_kg });
        }
        let unexplained = |p: usize| self.trees[p].parts_kg[Part::Unexplained as usize];
        let centre = mean(&unexplained);
        let squares = mean(&|p| (unexplained(p) - centre).powi(2));
        Ok(GroupReview {
            grouping,
            label,
            trees: places.len(),
            observed_kg,
            expected_kg,
            usual_kg: mean(&|p| self.trees[p].usual_kg),
            difference_kg,
            parts,
            unexplained_std_error_kg: (squares / (n - 1.0)).sqrt(),
        })
    }
}

/// Class of a value, with a rank that orders classes; unknown values come last, unlabelled.
fn class(value: f64, bounds: &[u32]) -> (usize, String) {
    if !value.is_finite() {
        return (bounds.len() + 1, String::new());
    }
    let rank = bounds.iter().take_while(|&&bound| value >= f64::from(bound)).count();
    let label = match (rank.checked_sub(1).and_then(|below| bounds.get(below)), bounds.get(rank)) {
        (None, Some(high)) => say!("under {high}"),
        (Some(low), Some(high)) => say!("{low} to under {high}"),
        (Some(low), None) => say!("{low} and over"),
        (None, None) => String::new(),
    };
    (rank, label)
}
