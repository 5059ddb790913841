//! Blocks, trees and pruning visits, brought together once per run.

use crate::console::Failure;
use crate::pipeline::{Checked, from_ingest};
use ingest_seasons::{HeldBlock, HeldTree, Visit, held_blocks, visits};
use records::{MeasuredAs, canopy_ground_projection_m2, half_ellipsoid_volume_m3, trees_per_ha};
use std::collections::BTreeMap;
use workplan::economics::TimedTree;
use workplan::tools::{CountedTree, CutRates};

/// What a book holds beside its tree-seasons.
pub struct Holdings {
    /// Blocks with the trees that stand in them.
    pub blocks: Vec<HeldBlock>,
    /// Timed prunings by region.
    pub timed: BTreeMap<String, Vec<TimedTree>>,
    /// Cuts by diameter class and region.
    pub cut_rates: BTreeMap<String, CutRates>,
    /// Basis of most prunings, by block.
    pub bases: BTreeMap<String, MeasuredAs>,
    /// The same by region.
    pub bases_of_regions: BTreeMap<String, MeasuredAs>,
}

type Counts = BTreeMap<String, BTreeMap<&'static str, (usize, MeasuredAs)>>;

impl Holdings {
    /// Reads them from the typed tables.
    ///
    /// # Errors
    /// When the tables break their own promise.
    pub fn of(checked: &Checked) -> Result<Self, Failure> {
        let blocks = held_blocks(&checked.tables).map_err(from_ingest)?;
        let visits = visits(&checked.tables).map_err(from_ingest)?;
        let places: BTreeMap<&str, (&HeldBlock, &HeldTree)> = blocks
            .iter()
            .flat_map(|block| {
                block.trees.iter().map(move |tree| (tree.tree.as_str(), (block, tree)))
            })
            .collect();
        let mut timed: BTreeMap<String, Vec<TimedTree>> = BTreeMap::new();
        let mut counted: BTreeMap<String, Vec<CountedTree>> = BTreeMap::new();
        let (mut by_block, mut by_region) = (Counts::new(), Counts::new());
        for visit in &visits {
            let Some((block, tree)) = places.get(visit.tree.as_str()) else { continue };
            let region = &block.region;
            if let Some(minutes) = visit.minutes {
                timed.entry(region.clone()).or_default().push(TimedTree {
                    intensity: visit.intensity,
                    size: tree.spread_m.map(|[ns, ew]| canopy_ground_projection_m2(ns, ew)),
                    tool: visit.tool.clone().unwrap_or_default(),
                    minutes,
                });
            }
            let row = CountedTree { intensity: visit.intensity, cuts: visit.cuts };
            counted.entry(region.clone()).or_default().push(row);
            count(&mut by_block, &block.block, visit);
            count(&mut by_region, region, visit);
        }
        let cut_rates = counted
            .into_iter()
            .filter_map(|(region, trees)| Some((region, CutRates::of(&trees)?)))
            .collect();
        Ok(Self {
            timed,
            cut_rates,
            bases: commonest(by_block),
            bases_of_regions: commonest(by_region),
            blocks,
        })
    }

    /// Mean canopy volume of a region's trees, m3, where sizes are recorded.
    #[must_use]
    pub fn canopy_m3(&self, region: &str) -> Option<f64> {
        mean(self.trees(region).filter_map(|tree| {
            let (height, [ns, ew]) = tree.height_m.zip(tree.spread_m)?;
            Some(half_ellipsoid_volume_m3(height, ns, ew))
        }))
    }

    /// Trees per ha of a region, blocks weighted by their trees.
    #[must_use]
    pub fn trees_per_ha(&self, region: &str) -> Option<f64> {
        mean(self.blocks.iter().filter(|block| block.region == region).flat_map(|block| {
            let density = block.spacing_m.map(|[row, tree]| trees_per_ha(row, tree));
            block.trees.iter().filter_map(move |_| density)
        }))
    }

    fn trees(&self, region: &str) -> impl Iterator<Item = &HeldTree> {
        self.blocks.iter().filter(move |block| block.region == region).flat_map(|b| &b.trees)
    }
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

fn count(counts: &mut Counts, place: &str, visit: &Visit) {
    let Some(basis) = MeasuredAs::from_word(&visit.measured_as) else {
        return;
    };
    if visit.intensity > 0.0 {
        let entry = counts.entry(place.to_owned()).or_default().entry(basis.as_str());
        entry.or_insert((0, basis)).0 += 1;
    }
}

fn commonest(counts: Counts) -> BTreeMap<String, MeasuredAs> {
    let most = |bases: BTreeMap<_, (usize, MeasuredAs)>| {
        bases.into_values().max_by_key(|(count, _)| *count).map(|(_, basis)| basis)
    };
    counts.into_iter().filter_map(|(place, bases)| Some((place, most(bases)?))).collect()
}
