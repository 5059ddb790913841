//! A small simulated orchard with known parts, for tests.

use crate::columns::{Labels, TreeSeasons};
use crate::decomposition::{PARTS, Part};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use std::collections::BTreeMap;

pub(crate) const REGIONS: usize = 3;
const SITES: usize = 2;
pub(crate) const BLOCKS: usize = 5;
pub(crate) const TREES: usize = 20;
const SEASONS: i32 = 6;
const TREE_SD: f64 = 0.3;
const BLOCK_SD: f64 = 0.15;
const SEASON_SD: f64 = 0.2;
pub(crate) const NOISE_SD: f64 = 0.2;

/// Yields on a log scale from parts that are known.
pub(crate) struct Orchard {
    pub(crate) closed: i32,
    pub(crate) rho: f64,
    pub(crate) constant: f64,
    /// True parts by row.
    pub(crate) parts: Vec<[f64; PARTS]>,
    pub(crate) yield_kg: Vec<f64>,
    codes: [Vec<u32>; 5],
    labels: [Vec<String>; 5],
    season: Vec<i32>,
    intensity: Vec<f64>,
    age_years: Vec<f64>,
    trees_per_ha: Vec<f64>,
}

impl Orchard {
    pub(crate) fn simulate(seed: u64) -> Self {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let mut dice = ChaCha12Rng::seed_from_u64(seed.wrapping_add(1000));
        let rho = -0.3;
        let closed = 2025;
        let name = |word: &str, n: usize| (0..n).map(|k| format!("{word}{k}")).collect();
        let mut orchard = Self {
            closed,
            rho,
            constant: 1.4,
            parts: Vec::new(),
            yield_kg: Vec::new(),
            codes: Default::default(),
            labels: [
                name("r", REGIONS),
                name("s", REGIONS * SITES),
                name("b", REGIONS * SITES * BLOCKS),
                name("t", REGIONS * SITES * BLOCKS * TREES),
                name("v", 2),
            ],
            season: Vec::new(),
            intensity: Vec::new(),
            age_years: Vec::new(),
            trees_per_ha: Vec::new(),
        };
        for region in 0..REGIONS {
            let seasons: Vec<f64> = (0..SEASONS).map(|_| SEASON_SD * normal()).collect();
            for site in 0..SITES {
                for block in 0..BLOCKS {
                    let site = region * SITES + site;
                    let block = site * BLOCKS + block;
                    let planted = 2000 + dice.random_range(0..15);
                    let density = [70.0, 150.0, 250.0][dice.random_range(0..3)];
                    let level = BLOCK_SD * normal();
                    for tree in 0..TREES {
                        let tree = block * TREES + tree;
                        let level = level + TREE_SD * normal();
                        let mut deviation = NOISE_SD / (1.0 - rho * rho).sqrt() * normal();
                        for t in 0..SEASONS {
                            // Pruned harder by and by, at random within a season.
                            let intensity = if dice.random::<f64>() < 0.2 + 0.1 * f64::from(t) {
                                0.05 * f64::from(dice.random_range(1..9))
                            } else {
                                0.0
                            };
                            let season = closed - SEASONS + 1 + t;
                            let age = f64::from(season - planted);
                            let crop = if t > 0 { rho * deviation } else { 0.0 };
                            if t > 0 {
                                deviation = crop + NOISE_SD * normal();
                            }
                            let mut parts = [0.0; PARTS];
                            parts[Part::Season as usize] = seasons[t as usize];
                            parts[Part::Age as usize] = 0.4 * (age / 15.0).ln();
                            parts[Part::Pruning as usize] = pruning(intensity);
                            parts[Part::EarlierCrop as usize] = crop;
                            parts[Part::Level as usize] = level;
                            parts[Part::Unexplained as usize] = deviation - crop;
                            let value = orchard.constant + parts.iter().sum::<f64>();
                            orchard.parts.push(parts);
                            orchard.yield_kg.push(value.exp());
                            let codes = [region, site, block, tree, block % 2];
                            for (column, code) in orchard.codes.iter_mut().zip(codes) {
                                column.push(code as u32);
                            }
                            orchard.season.push(season);
                            orchard.intensity.push(intensity);
                            orchard.age_years.push(age);
                            orchard.trees_per_ha.push(density);
                        }
                    }
                }
            }
        }
        orchard
    }

    pub(crate) fn table(&self) -> TreeSeasons<'_> {
        let labels = |k: usize| Labels { codes: &self.codes[k], labels: &self.labels[k] };
        TreeSeasons {
            region: labels(0),
            site: labels(1),
            block: labels(2),
            tree: labels(3),
            variety: labels(4),
            season: &self.season,
            yield_kg: &self.yield_kg,
            intensity: &self.intensity,
            age_years: &self.age_years,
            trees_per_ha: &self.trees_per_ha,
            pruning_effect: None,
            too_young: None,
        }
    }

    /// The last season, the same in all regions.
    pub(crate) fn seasons(&self) -> BTreeMap<String, i32> {
        self.table().last_seasons()
    }

    /// Yields had no tree been pruned.
    pub(crate) fn unpruned_yields(&self) -> Vec<f64> {
        let pairs = self.yield_kg.iter().zip(&self.parts);
        pairs.map(|(kg, parts)| kg * (-parts[Part::Pruning as usize]).exp()).collect()
    }

    /// True level of each tree, its block's included.
    pub(crate) fn tree_levels(&self) -> Vec<f64> {
        let mut levels = vec![0.0; self.labels[3].len()];
        for (parts, &tree) in self.parts.iter().zip(&self.codes[3]) {
            levels[tree as usize] = parts[Part::Level as usize];
        }
        levels
    }
}

/// Highest near 0.3 of the canopy, a fifth above none.
fn pruning(intensity: f64) -> f64 {
    1.2 * intensity - 2.0 * intensity * intensity
}
