//! Treatments by block and replicate, with what the blocking costs.

use super::alpha::alpha;
use super::draw::Draw;
use super::efficiency::{BlockEfficiency, IncompleteMethod};
use super::lattice::{rectangular, square};
use faer::{Mat, Side};
use std::collections::BTreeMap;

/// Treatments of each block of each replicate.
pub(super) type Blocks = Vec<Vec<Vec<usize>>>;

/// An incomplete block design before randomisation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct BlocksOf {
    pub treatments: usize,
    pub blocks: Blocks,
}

impl BlocksOf {
    pub(super) fn efficiency(&self) -> Option<BlockEfficiency> {
        efficiency(&self.blocks, self.treatments)
    }

    /// Blocks of a replicate in a random order, full blocks before short ones as the field has them.
    pub(super) fn placed(&self, replicate: usize, order: &[usize]) -> Vec<usize> {
        let blocks = &self.blocks[replicate];
        let mut placed = order.to_vec();
        placed.sort_by_key(|&block| std::cmp::Reverse(blocks[block].len()));
        placed
    }
}

/// A resolvable incomplete block design of `v` treatments in blocks of `k` (some `k - 1`): a square
/// lattice for v = k^2, a rectangular lattice for v = k (k + 1), where they exist for so many
/// replicates; else the best of many alpha designs.
pub(super) fn incomplete(
    v: usize,
    k: usize,
    replicates: usize,
    draw: &mut Draw,
) -> (IncompleteMethod, BlocksOf) {
    let (method, blocks) = blocks_of(v, k, replicates, draw);
    (method, BlocksOf { treatments: v, blocks })
}

fn blocks_of(v: usize, k: usize, replicates: usize, draw: &mut Draw) -> (IncompleteMethod, Blocks) {
    if v == k * k
        && let Some(blocks) = square(k, replicates)
    {
        return (IncompleteMethod::SquareLattice, blocks);
    }
    if v == k * (k + 1)
        && let Some(blocks) = rectangular(k + 1, replicates)
    {
        return (IncompleteMethod::RectangularLattice, blocks);
    }
    (IncompleteMethod::Alpha, alpha(v, k, replicates, draw))
}

/// Numbers of pairs of treatments by how often they share a block.
fn concurrences(blocks: &Blocks, v: usize) -> Vec<usize> {
    let mut together = vec![0; v * v];
    for block in blocks.iter().flatten() {
        for &a in block {
            for &b in block {
                together[a * v + b] += 1;
            }
        }
    }
    together
}

/// Efficiency of the intra-block analysis; `None` when some contrast has no information within
/// blocks. The matrix is I - sum over blocks of n n' / (r k), with eigenvalues e (canonical
/// efficiency factors) besides the one 0 of the mean; the average is harmonic, because the mean
/// variance of a difference is 2 sigma^2 / (r E) (John and Williams 1995, Cyclic and Computer
/// Generated Designs, chapter 2).
pub(super) fn efficiency(blocks: &Blocks, v: usize) -> Option<BlockEfficiency> {
    let r = blocks.len();
    let mut matrix = Mat::<f64>::zeros(v, v);
    for index in 0..v {
        matrix[(index, index)] = 1.0;
    }
    for block in blocks.iter().flatten() {
        for &a in block {
            for &b in block {
                matrix[(a, b)] -= 1.0 / (r * block.len()) as f64;
            }
        }
    }
    let factors = matrix.self_adjoint_eigenvalues(Side::Lower).ok()?;
    let canonical = factors.get(1..)?;
    let least = canonical.first().copied()?;
    if least.is_nan() || least < 1e-9 {
        return None;
    }
    let average = (v - 1) as f64 / canonical.iter().map(|factor| 1.0 / factor).sum::<f64>();
    let together = concurrences(blocks, v);
    let mut counts = BTreeMap::new();
    for a in 0..v {
        for b in 0..a {
            *counts.entry(together[a * v + b]).or_insert(0) += 1;
        }
    }
    let s = blocks.first().map_or(0, Vec::len);
    let contrasts = ((v - 1) * (r - 1)) as f64;
    let lost = r * (s - 1);
    Some(BlockEfficiency {
        average,
        upper_bound: if lost < v {
            contrasts / (contrasts + lost as f64)
        } else {
            1.0 - (s - 1) as f64 / (v - 1) as f64
        },
        least,
        concurrences: counts,
    })
}
