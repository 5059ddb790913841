//! Observed means by intensity class, as recorded and after adjustment to be comparable with the curve.

use crate::scale::Scale;
use crate::support::UNPRUNED_BELOW;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Width of the intensity classes, fraction.
const CLASS_WIDTH: f64 = 0.10;

/// Mean yield of the tree-seasons of one region in an intensity class.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ObservedClass {
    /// Lower end of the class (unpruned: 0).
    pub from: f64,
    /// Upper end of the class (unpruned: 0).
    pub to: f64,
    /// Mean intensity.
    pub mean_intensity: f64,
    /// Mean recorded yield, kg per tree.
    pub mean_kg: f64,
    /// Mean yield, kg per tree, after removing what the model attributes to everything but pruning.
    pub adjusted_kg: f64,
    /// Distinct trees.
    pub trees: u64,
    /// Tree-seasons.
    pub tree_seasons: u64,
}

/// One tree-season on its way into a class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Tree code.
    pub tree: u32,
    /// Fraction removed.
    pub intensity: f64,
    /// Recorded yield, kg.
    pub kg: f64,
    /// Value on the model's scale with everything but pruning brought to the region's average.
    pub adjusted: f64,
}

/// Classes of 0 and (0, 0.1], (0.1, 0.2], ... that hold at least one tree-season. `variance` is what
/// the region's curve adds on the way back to kilograms, so that classes and curve are comparable.
#[must_use]
pub fn classes(observations: &[Observation], scale: Scale, variance: f64) -> Vec<ObservedClass> {
    let class_of = |intensity: f64| {
        if intensity < UNPRUNED_BELOW {
            0
        } else {
            (intensity / CLASS_WIDTH - 1e-9).floor() as usize + 1
        }
    };
    let count = observations.iter().map(|o| class_of(o.intensity) + 1).max().unwrap_or(0);
    (0..count)
        .filter_map(|class| {
            let members: Vec<&Observation> =
                observations.iter().filter(|o| class_of(o.intensity) == class).collect();
            let n = members.len() as f64;
            let mean = |value: &dyn Fn(&Observation) -> f64| {
                members.iter().map(|o| value(o)).sum::<f64>() / n
            };
            (!members.is_empty()).then(|| ObservedClass {
                from: (class.max(1) - 1) as f64 * CLASS_WIDTH,
                to: class as f64 * CLASS_WIDTH,
                mean_intensity: mean(&|o| o.intensity),
                mean_kg: mean(&|o| o.kg),
                adjusted_kg: scale.expected_kg(mean(&|o| o.adjusted), variance),
                trees: members.iter().map(|o| o.tree).collect::<BTreeSet<_>>().len() as u64,
                tree_seasons: members.len() as u64,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_partition_the_tree_seasons() {
        let observations: Vec<Observation> = [0.0, 0.0, 0.05, 0.1, 0.11, 0.35]
            .iter()
            .zip(0_u32..)
            .map(|(&intensity, k)| Observation { tree: k / 2, intensity, kg: 2.0, adjusted: 2.0 })
            .collect();
        let classes = classes(&observations, Scale::Identity, 0.0);
        let found: Vec<_> = classes.iter().map(|c| (c.to, c.tree_seasons, c.trees)).collect();
        assert_eq!(found.len(), 4);
        assert_eq!((found[0].1, found[0].2), (2, 1));
        assert_eq!((found[1].1, found[2].1, found[3].1), (2, 1, 1));
        assert!((found[3].0 - 0.4).abs() < 1e-12);
    }
}
