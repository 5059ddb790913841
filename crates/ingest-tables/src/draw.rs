//! A share of the trees, drawn by their ids: the way through a book that is larger than memory.
//!
//! What a region's records can tell of pruning is limited by its seasons, sites and blocks long
//! before it is limited by the number of trees in them. Whole trees are drawn, with all their
//! seasons, so that a tree's own level, its habit and its crop before stay known; trees of trials
//! are always among them.

use std::collections::BTreeSet;

/// Which trees are drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// Share of the trees, between 0 and 1.
    share: f64,
    /// Trees that are drawn in any case.
    always: BTreeSet<String>,
}

impl Draw {
    /// So large a share of the trees, and these.
    pub(crate) fn new(share: f64, always: BTreeSet<String>) -> Self {
        Self { share, always }
    }

    /// Share of the trees, between 0 and 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.share
    }

    /// Whether a tree is drawn. That depends on its id alone: the same trees are drawn whatever
    /// the order of rows and files, and a larger share holds those of a smaller one.
    #[must_use]
    pub fn has(&self, tree: &str) -> bool {
        scattered(tree) < self.share || self.always.contains(tree)
    }
}

/// A number between 0 and 1 for an id: 64-bit FNV-1a (RFC 9923), whose upper bits move little for
/// ids that differ at their end, then the finalizer of SplitMix64 (Steele, Lea and Flood, 2014,
/// OOPSLA, figure 14).
fn scattered(id: &str) -> f64 {
    let mut z = crate::report::hash(id.as_bytes());
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^= z >> 31;
    (z >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: Kolmogorov's test; with 20,000 ids a distance beyond 0.0138 has probability 0.001
    /// (1.95 over the root of their number).
    #[test]
    fn ids_of_a_plantation_fall_evenly() {
        let spellings: [fn(usize) -> String; 3] = [
            |n| format!("T{n}"),
            |n| format!("A{}-{:02}-{:02}", n / 400, n / 20 % 20, n % 20),
            |n| format!("{n:08}"),
        ];
        for spelling in spellings {
            let mut values: Vec<f64> = (0..20_000).map(|n| scattered(&spelling(n))).collect();
            values.sort_by(f64::total_cmp);
            let distance = values
                .iter()
                .enumerate()
                .map(|(rank, value)| (value - rank as f64 / 20_000.0).abs())
                .fold(0.0, f64::max);
            assert!(distance < 0.0138, "{distance}");
        }
    }

    #[test]
    fn a_larger_share_holds_a_smaller_one_and_some_are_always_drawn() {
        let [few, more] = [0.1, 0.3].map(|share| Draw::new(share, ["T1".to_owned()].into()));
        assert!(few.has("T1"));
        assert!((0..1000).map(|n| format!("T{n}")).all(|id| more.has(&id) || !few.has(&id)));
        assert!(!Draw::new(0.0, BTreeSet::new()).has("T1"));
        assert!(Draw::new(1.0, BTreeSet::new()).has("T1"));
    }
}
