//! Yields that look like a slip of the pen, the unit or the tree.

use super::{Place, WatchSettings};
use crate::columns::TreeSeasons;
use crate::decomposition::{SeasonReview, TreeReview};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Factors of usual slips: a decimal place, two of them, grams for kilograms, pounds.
const SLIPS: [f64; 4] = [10.0, 100.0, 1000.0, 2.2046];
/// Predictive standard deviations within which the repaired yield of a slip must lie.
const NEAR: f64 = 1.5;
/// Seasons in which two trees must agree to the last digit to be copies.
const LEAST_COPIED: usize = 3;

/// What is odd about a record.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum SuspectKind {
    /// Near the prediction if divided by this factor.
    Slip {
        /// 10, 100 or 1000 (or their inverses) for decimals and units, 2.2046 for pounds.
        factor: f64,
    },
    /// Above anything that the tree's history and the season explain.
    TooHigh,
    /// A tree with the same yields to the last digit in all of several seasons.
    Copied,
}

/// A record to check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspect {
    /// Where.
    pub place: Place,
    /// What is odd.
    #[serde(flatten)]
    pub kind: SuspectKind,
    /// Yield as recorded, kg.
    pub observed_kg: f64,
    /// Yield predicted, kg.
    pub predicted_kg: f64,
    /// The other tree of a copy.
    pub same_as: Option<String>,
}

pub(super) fn find(
    review: &SeasonReview,
    table: &TreeSeasons<'_>,
    known: &[&TreeReview],
    [q_low, q_high]: [&[f64]; 2],
    settings: &WatchSettings,
    place: &dyn Fn(usize) -> Place,
) -> Vec<Suspect> {
    let copies = copies(review, table);
    let mut suspects = Vec::new();
    for ((tree, q_low), q_high) in known.iter().zip(q_low).zip(q_high) {
        let far = q_low.min(*q_high) <= settings.false_discovery_rate;
        let other = copies.get(&table.tree.code(tree.row));
        let kind = match (slip(review, tree).filter(|_| far), other) {
            (Some(factor), _) => SuspectKind::Slip { factor },
            (None, Some(_)) => SuspectKind::Copied,
            (None, None) if *q_high <= settings.false_discovery_rate => SuspectKind::TooHigh,
            (None, None) => continue,
        };
        suspects.push(Suspect {
            place: place(tree.row),
            observed_kg: tree.observed_kg,
            predicted_kg: tree.predicted_kg,
            same_as: other
                .filter(|_| kind == SuspectKind::Copied)
                .and_then(|&other| table.tree.labels.get(other).cloned()),
            kind,
        });
    }
    suspects
}

/// The factor that brings a yield nearest to its prediction, if any brings it near.
fn slip(review: &SeasonReview, tree: &TreeReview) -> Option<f64> {
    if tree.unexplained == 0.0 {
        return None;
    }
    let sd = tree.unexplained / tree.standardised;
    let value = review.scale.forward(tree.observed_kg);
    let after = |factor: f64| {
        let repaired = review.scale.forward(tree.observed_kg / factor);
        ((tree.unexplained + repaired - value) / sd).abs()
    };
    SLIPS
        .iter()
        .flat_map(|&factor| [factor, 1.0 / factor])
        .map(|factor| (after(factor), factor))
        .filter(|(z, _)| *z < NEAR)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, factor)| factor)
}

/// Trees of a block with the same positive yields in all of at least three seasons; each points to
/// the first of its kind.
fn copies(review: &SeasonReview, table: &TreeSeasons<'_>) -> BTreeMap<usize, usize> {
    let mut histories: BTreeMap<(usize, usize), Vec<(i32, u64)>> = BTreeMap::new();
    for row in review.rows_in_time(table) {
        let key = (table.block.code(row), table.tree.code(row));
        let own = histories.entry(key).or_default();
        own.push((table.season[row], table.yield_kg[row].to_bits()));
    }
    let mut first: BTreeMap<(usize, Vec<(i32, u64)>), usize> = BTreeMap::new();
    let mut copies = BTreeMap::new();
    for ((block, tree), mut history) in histories {
        let all_positive = history.iter().all(|(_, bits)| f64::from_bits(*bits) > 0.0);
        if history.len() < LEAST_COPIED || !all_positive {
            continue;
        }
        history.sort_unstable();
        match first.get(&(block, history.clone())) {
            Some(&other) => {
                copies.insert(tree, other);
            }
            None => {
                first.insert((block, history), tree);
            }
        }
    }
    copies
}
