//! What is lost by incomplete blocks if they were useless.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How the blocks were made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IncompleteMethod {
    /// Square lattice (Yates 1936).
    SquareLattice,
    /// Rectangular lattice (Harshbarger 1947).
    RectangularLattice,
    /// Alpha design (Patterson and Williams 1976).
    Alpha,
}

/// Efficiency factors of the comparison of treatments within blocks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockEfficiency {
    /// Average efficiency factor E: the mean variance of a difference is 2 sigma^2 / (r E), against
    /// 2 sigma^2 / r in complete blocks with the same sigma.
    pub average: f64,
    /// No design of v treatments with r replicates of s blocks exceeds
    /// (v-1)(r-1) / ((v-1)(r-1) + r(s-1)) when r(s-1) < v (Patterson and Williams 1976; square
    /// lattices reach it), nor 1 - (s-1)/(v-1) otherwise: both are the efficiency if the
    /// information lost to blocks, s-1 in all, were spread evenly over the contrasts that can bear
    /// it.
    pub upper_bound: f64,
    /// Efficiency factor of the contrast that is known least.
    pub least: f64,
    /// Pairs of treatments by number of blocks that they share.
    pub concurrences: BTreeMap<usize, usize>,
}
