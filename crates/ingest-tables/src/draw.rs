//! A share of the trees, drawn by their ids: the way through a book that is larger than memory.
//!
//! What a region's records can tell of pruning is limited by its seasons, sites and blocks long
//! before it is limited by the number of trees in them. The draw therefore has two stages (Cochran,
//! 1977, Sampling Techniques, chapter 11): sites of each region, at least [`FEWEST_SITES`] of them,
//! and trees within these sites, with all their seasons, so that a tree's own level, its habit and
//! its crop before stay known. Trees drawn from all sites alike would stand alone in their blocks,
//! with more blocks, sites and seasons to estimate than trees to estimate them from. Trees of trials
//! are always drawn.

use polars::prelude::{DataFrame, PolarsResult};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Sites of a region below which sites are not drawn, but trees within all of them: what sites and
/// their seasons have of their own is estimated from so many.
const FEWEST_SITES: usize = 20;

/// Which trees are drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// Share of the trees, between 0 and 1.
    share: f64,
    /// Trees that are drawn, those of trials in any case.
    trees: HashSet<String>,
    /// Numbers of all trees of the tree table.
    known: HashSet<u64>,
    /// Sites that trees are drawn from, and all sites.
    sites: (usize, usize),
}

impl Draw {
    /// So large a share of the trees of a tree table, whose blocks the block table has, and those of
    /// `always`.
    ///
    /// # Errors
    /// When a table lacks its columns.
    pub(crate) fn of(
        share: f64,
        blocks: &DataFrame,
        trees: &DataFrame,
        always: &BTreeSet<String>,
    ) -> PolarsResult<Self> {
        let [block, site, region] =
            ["block", "site", "region"].map(|name| blocks.column(name).and_then(|c| c.str()));
        let (block, site, region) = (block?, site?, region?);
        let mut site_of = HashMap::new();
        let mut regions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for ((block, site), region) in block.iter().zip(site.iter()).zip(region.iter()) {
            if let (Some(block), Some(site), Some(region)) = (block, site, region) {
                site_of.insert(block, (region, site));
                regions.entry(region).or_default().insert(site);
            }
        }
        let all_sites = regions.values().map(BTreeSet::len).sum();
        // Share of a drawn site's trees that are drawn.
        let mut within: HashMap<(&str, &str), f64> = HashMap::new();
        for (region, sites) in regions {
            let all = sites.len();
            let count = ((share * all as f64).ceil() as usize).max(FEWEST_SITES).min(all);
            let mut sites: Vec<&str> = sites.into_iter().collect();
            sites.sort_by(|a, b| scattered(a).total_cmp(&scattered(b)).then(a.cmp(b)));
            let part = share * all as f64 / count.max(1) as f64;
            within.extend(sites.into_iter().take(count).map(|site| ((region, site), part)));
        }
        let mut drawn: HashSet<String> = always.iter().cloned().collect();
        let mut known = HashSet::new();
        let (ids, blocks) = (trees.column("tree")?.str()?, trees.column("block")?.str()?);
        for (id, block) in ids.iter().zip(blocks.iter()) {
            let Some(id) = id else { continue };
            known.insert(number(id));
            // A tree of an unknown block will be set aside; a share of them says so.
            let part = block
                .and_then(|block| site_of.get(block))
                .map_or(share, |place| within.get(place).copied().unwrap_or_default());
            if scattered(id) < part {
                drawn.insert(id.to_owned());
            }
        }
        let sites = (within.len(), all_sites);
        Ok(Self { share, trees: drawn, known, sites })
    }

    /// Share of the trees, between 0 and 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.share
    }

    /// Trees that are drawn, and trees of the tree table.
    #[must_use]
    pub fn trees(&self) -> (usize, usize) {
        (self.trees.len(), self.known.len())
    }

    /// Sites that trees are drawn from, trials aside, and sites of the block table.
    #[must_use]
    pub fn sites(&self) -> (usize, usize) {
        self.sites
    }

    /// Whether a tree is drawn. That depends on the ids of trees, blocks, sites and regions alone:
    /// the same trees are drawn whatever the order of rows and files, and a larger share holds those
    /// of a smaller one. Of the trees that the tree table lacks the share is drawn, so that visits
    /// to them are found.
    #[must_use]
    pub fn has(&self, tree: &str) -> bool {
        self.trees.contains(tree)
            || (scattered(tree) < self.share && !self.known.contains(&number(tree)))
    }
}

/// A number for an id: 64-bit FNV-1a (RFC 9923), whose upper bits move little for ids that differ
/// at their end, then the finalizer of SplitMix64 (Steele, Lea and Flood, 2014, OOPSLA, figure 14).
fn number(id: &str) -> u64 {
    let mut z = crate::report::hash(id.as_bytes());
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A number between 0 and 1 for an id.
fn scattered(id: &str) -> f64 {
    (number(id) >> 11) as f64 / (1_u64 << 53) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use polars::df;

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

    /// A book of two regions: one of so many sites with four blocks of 25 trees, one of three sites.
    fn places(sites: usize) -> (DataFrame, DataFrame) {
        let mut blocks: [Vec<String>; 3] = Default::default();
        let mut trees: [Vec<String>; 2] = Default::default();
        let of_region = |region: &'static str, sites| (0..sites).map(move |site| (region, site));
        for (region, site) in of_region("north", sites).chain(of_region("south", 3)) {
            for block in 0..4 {
                let id = format!("{region}{site}b{block}");
                for (column, cell) in blocks.iter_mut().zip([
                    id.clone(),
                    format!("{region}{site}"),
                    region.to_owned(),
                ]) {
                    column.push(cell);
                }
                for tree in 0..25 {
                    trees[0].push(format!("{id}-{tree:02}"));
                    trees[1].push(id.clone());
                }
            }
        }
        let [block, site, region] = &blocks;
        let [tree, in_block] = &trees;
        (
            df!["block" => block, "site" => site, "region" => region].unwrap(),
            df!["tree" => tree, "block" => in_block].unwrap(),
        )
    }

    fn drawn(draw: &Draw, trees: &DataFrame) -> BTreeMap<String, usize> {
        let mut of_site = BTreeMap::new();
        for id in trees.column("tree").unwrap().str().unwrap().iter().flatten() {
            if draw.has(id) {
                let site = id.split('b').next().unwrap().to_owned();
                *of_site.entry(site).or_default() += 1;
            }
        }
        of_site
    }

    #[test]
    fn of_many_sites_some_are_drawn_and_of_few_none_is_left_out() {
        let (blocks, trees) = places(200);
        let draw = Draw::of(0.05, &blocks, &trees, &BTreeSet::new()).unwrap();
        let of_site = drawn(&draw, &trees);
        // A twentieth of 200 sites would be ten: twenty are taken, with half of their trees.
        let north: Vec<usize> =
            of_site.range("north".to_owned().."o".to_owned()).map(|e| *e.1).collect();
        assert_eq!((north.len(), of_site.len()), (20, 23), "{of_site:?}");
        assert_eq!((draw.sites(), draw.trees().1), ((23, 203), 20_300));
        assert_eq!(draw.trees().0, of_site.values().sum::<usize>());
        // 2,000 trees with chance one half, and five standard deviations.
        assert!((888..=1112).contains(&north.iter().sum::<usize>()), "{of_site:?}");
        // Where sites suffice they are drawn whole.
        let draw = Draw::of(0.25, &blocks, &trees, &BTreeSet::new()).unwrap();
        let of_site = drawn(&draw, &trees);
        assert_eq!(of_site.values().filter(|&&trees| trees == 100).count(), 50, "{of_site:?}");
        assert_eq!(of_site.len(), 53);
    }

    #[test]
    fn a_larger_share_holds_a_smaller_one_and_some_are_always_drawn() {
        let (blocks, trees) = places(60);
        let always = BTreeSet::from(["north7b0-03".to_owned()]);
        let draws: Vec<Draw> = [0.0, 0.02, 0.1, 0.3, 0.34, 0.7, 1.0]
            .map(|share| Draw::of(share, &blocks, &trees, &always).unwrap())
            .into();
        assert_eq!(draws[0].trees, always.into_iter().collect());
        for pair in draws.windows(2) {
            assert!(pair[0].trees.is_subset(&pair[1].trees), "{}", pair[1].share);
            assert!(pair[0].trees.len() < pair[1].trees.len());
        }
        assert_eq!(draws[6].trees().0, draws[6].trees().1);
    }

    #[test]
    fn rows_do_not_decide_and_visits_to_unknown_trees_are_met() {
        let (blocks, trees) = places(30);
        let draw = Draw::of(0.1, &blocks, &trees, &BTreeSet::new()).unwrap();
        let again = Draw::of(0.1, &blocks.reverse(), &trees.reverse(), &BTreeSet::new()).unwrap();
        assert_eq!(draw, again);
        let unknown = (0..2000).filter(|n| draw.has(&format!("U{n}"))).count();
        // Five standard deviations of 2,000 with chance a tenth.
        assert!((133..=267).contains(&unknown), "{unknown}");
    }
}
