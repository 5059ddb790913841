//! Present practice of a region: what its routine records show was done last.

use serde::{Deserialize, Serialize};

/// Tree-seasons of one region that were treated alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PracticePoint {
    /// Fraction removed, 0 when unpruned.
    pub intensity: f64,
    /// Days before the flush start; `None` when unpruned.
    pub lead_days: Option<f64>,
    /// Share of the region's tree-seasons, adding to 1 over the points.
    pub weight: f64,
}

impl PracticePoint {
    /// Whether trees were treated otherwise than advised.
    fn is_unlike(&self, advised: f64) -> bool {
        // A tree that was pruned is not one left unpruned, however lightly.
        (self.intensity - advised).abs() > UNLIKE + 1e-9
            || (self.intensity > 0.0) != (advised > 0.0)
    }
}

/// Present practice of a region, from its latest recorded season with routine records.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Practice {
    /// Region id.
    pub region: String,
    /// Season it describes, the last where trees are pruned in turn; `None` when stated in `book.toml`.
    pub season: Option<i32>,
    /// Seasons up to that one that it describes together, as every tree is pruned in one of them: 1 where trees
    /// are not pruned in turn.
    #[serde(default = "one_season")]
    pub in_turn: u32,
    /// The season before, where quite another practice was recorded then.
    #[serde(default)]
    pub before: Option<PracticeBefore>,
    /// Tree-seasons behind it; 0 when stated in `book.toml`.
    pub tree_seasons: u64,
    /// Share of tree-seasons pruned at all.
    pub share_pruned: f64,
    /// Mean intensity over all tree-seasons, unpruned ones counting 0.
    pub intensity: f64,
    /// Intensity-weighted mean lead, days; `None` when nothing was pruned.
    pub lead_days: Option<f64>,
    /// The practice as a distribution, sorted by intensity and lead.
    pub points: Vec<PracticePoint>,
    /// Tree-seasons of that season that are not counted, as they were left to compare the others with.
    #[serde(default)]
    pub left_to_compare: u64,
    /// Tree-seasons of that season that are not counted, as they are younger than the trees on record that
    /// were cut about as hard as is usual ([`youngest_cut`]).
    #[serde(default)]
    pub younger: u64,
    /// Whether neither records nor `book.toml` tell it, so that trees are taken to be left unpruned.
    #[serde(default)]
    pub is_assumed: bool,
}

/// What was done in the season before, where it differs from present practice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PracticeBefore {
    /// Share of tree-seasons pruned at all.
    pub share_pruned: f64,
    /// Mean intensity over all tree-seasons, unpruned ones counting 0.
    pub intensity: f64,
}

/// Present practice as it was read before trees pruned in turn were known.
#[must_use]
pub fn one_season() -> u32 {
    1
}

/// Difference of intensity from which a tree was not treated as advised, be its crew no careful one.
const UNLIKE: f64 = 0.1;
/// Largest share of the trees treated unlike the advice that may be left to compare with; of more, some are
/// what a region does.
const FEW: f64 = 0.25;

/// How much less of the canopy than asked, or than usual, may have been cut from a tree that still tells from
/// which age trees are cut so.
pub const ABOUT_AS_HARD: f64 = 0.05;

/// Fewest trees that tell from which age trees are cut so: one or two may be slips of the pen (ours: a
/// convention, of no published source).
pub const TELLING_TREES: usize = 3;

/// The youngest of some trees: the third youngest's age, so that a slip or two do not tell.
#[derive(Debug, Clone, Default)]
pub struct YoungestTrees {
    /// Least ages and their trees, ascending.
    least: Vec<(f64, u32)>,
}

impl YoungestTrees {
    /// Adds a tree at an age, years.
    pub fn add(&mut self, tree: u32, age: f64) {
        match self.least.iter_mut().find(|(_, own)| *own == tree) {
            Some((least, _)) => *least = least.min(age),
            None => self.least.push((age, tree)),
        }
        self.least.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.least.truncate(TELLING_TREES);
    }

    /// The age of the third youngest, or of the oldest where there are fewer; `None` without a tree.
    #[must_use]
    pub fn age(&self) -> Option<f64> {
        self.least.last().map(|(age, _)| *age)
    }

    /// Whether there are trees enough to tell.
    #[must_use]
    pub fn is_telling(&self) -> bool {
        self.least.len() == TELLING_TREES
    }
}

/// The age in whole years from which the trees of a region are cut about as hard as `usual` (fraction of the
/// canopy): of all trees on record cut so, each a tree with its cut and its age. `None` where none was.
#[must_use]
pub fn youngest_cut(usual: f64, cuts: impl IntoIterator<Item = (u32, f64, f64)>) -> Option<f64> {
    let mut youngest = YoungestTrees::default();
    for (tree, cut, age) in cuts {
        if cut > 0.0 && cut >= usual - ABOUT_AS_HARD - 1e-9 && age.is_finite() {
            youngest.add(tree, age.floor());
        }
    }
    youngest.age()
}

impl Practice {
    /// Intensities between which nine trees in ten lie: the quantiles 5 and 95 % of the points by their
    /// weights, `None` without a point.
    #[must_use]
    pub fn middle(&self) -> Option<[f64; 2]> {
        let total: f64 = self.points.iter().map(|point| point.weight).sum();
        let quantile = |share: f64| {
            let mut below = 0.0;
            let mut points = self.points.iter();
            points
                .find(|point| {
                    below += point.weight;
                    below > share * total
                })
                .map(|point| point.intensity)
        };
        Some([quantile(0.05)?, quantile(0.95)?])
    }

    /// The practice stated in `book.toml`, or leaving every tree unpruned.
    #[must_use]
    pub fn stated(region: &str, intensity: f64, lead_days: Option<f64>) -> Self {
        let pruned = intensity > 0.0;
        let lead_days = if pruned { lead_days } else { None };
        Self {
            region: region.to_owned(),
            season: None,
            in_turn: 1,
            before: None,
            tree_seasons: 0,
            share_pruned: f64::from(u8::from(pruned)),
            intensity,
            lead_days,
            points: vec![PracticePoint { intensity, lead_days, weight: 1.0 }],
            left_to_compare: 0,
            younger: 0,
            is_assumed: false,
        }
    }

    /// Every tree left unpruned, where neither records nor `book.toml` tell what is done.
    #[must_use]
    pub fn assumed(region: &str) -> Self {
        Self { is_assumed: true, ..Self::stated(region, 0.0, None) }
    }

    /// Share of the trees of a season that were treated unlike the intensity advised for it, where they are too many to
    /// be those left to compare with and too few to be all that is done; `None` elsewhere, or where trees are pruned in
    /// turn.
    #[must_use]
    pub fn much_unlike(&self, advised: f64) -> Option<f64> {
        let unlike = self.points.iter().filter(|point| point.is_unlike(advised));
        let apart: f64 = unlike.map(|point| point.weight).sum();
        let share = apart / self.points.iter().map(|point| point.weight).sum::<f64>();
        let is_much = share > FEW && share < 1.0 - FEW;
        (self.season.is_some() && self.in_turn == 1 && is_much).then_some(share)
    }

    /// The practice of a season in which an intensity had been advised, without the trees left to compare
    /// with: the few that were treated unlike it, where nearly all were treated so. `None` where that is not
    /// so, none was, or trees are pruned in turn.
    #[must_use]
    pub fn without_controls(&self, advised: f64) -> Option<Self> {
        let is_control = |point: &&PracticePoint| point.is_unlike(advised);
        let weight =
            |points: &[PracticePoint]| points.iter().map(|point| point.weight).sum::<f64>();
        let (controls, points): (Vec<PracticePoint>, Vec<PracticePoint>) =
            self.points.iter().partition(is_control);
        let (apart, all) = (weight(&controls), weight(&self.points));
        if self.season.is_none() || self.in_turn > 1 || controls.is_empty() || apart > FEW * all {
            return None;
        }
        let kept = all - apart;
        let mean = |of: &dyn Fn(&PracticePoint) -> Option<f64>| {
            points.iter().filter_map(|point| Some(point.weight * of(point)?)).sum::<f64>() / kept
        };
        let intensity = mean(&|point| Some(point.intensity));
        let leads = mean(&|point| Some(point.intensity * point.lead_days?));
        let left = (apart / all * self.tree_seasons as f64).round() as u64;
        Some(Self {
            tree_seasons: self.tree_seasons - left,
            share_pruned: mean(&|point| Some(f64::from(u8::from(point.intensity > 0.0)))),
            intensity,
            lead_days: (intensity > 0.0).then(|| leads / intensity),
            points: points
                .iter()
                .map(|point| PracticePoint { weight: point.weight / kept, ..*point })
                .collect(),
            left_to_compare: left,
            ..self.clone()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of trees cut at a quarter and more, where 0.3 is usual; the third youngest tells, a tree once.
    #[test]
    fn one_tree_or_two_do_not_tell_from_which_age_trees_are_cut() {
        let old = [(1, 0.3, 12.9), (2, 0.25, 11.2), (3, 0.4, 10.0), (4, 0.3, 14.0)];
        assert_eq!(youngest_cut(0.3, old), Some(12.0));
        let with =
            |young: &[(u32, f64, f64)]| youngest_cut(0.3, old.into_iter().chain(young.to_vec()));
        assert_eq!(with(&[(5, 0.3, 4.0)]), Some(11.0));
        assert_eq!(with(&[(5, 0.3, 4.0), (5, 0.3, 5.0), (5, 0.3, 6.0)]), Some(11.0));
        assert_eq!(with(&[(5, 0.3, 4.0), (6, 0.3, 4.5), (7, 0.26, 4.9)]), Some(4.0));
        assert_eq!(with(&[(5, 0.2, 4.0), (6, 0.2, 4.0), (7, 0.2, 4.0)]), Some(12.0));
        assert_eq!(youngest_cut(0.3, [(1, 0.3, 9.5), (2, 0.3, 8.0)]), Some(9.0));
        assert_eq!(youngest_cut(f64::NAN, old), None);
    }

    /// 80 trees pruned as advised, 10 unpruned and 10 as before; then half of them as before.
    #[test]
    fn a_few_trees_left_to_compare_are_no_practice() {
        let point = |intensity: f64, weight: f64| PracticePoint {
            intensity,
            lead_days: (intensity > 0.0).then_some(100.0 * intensity),
            weight,
        };
        let practice = |points: Vec<PracticePoint>| Practice {
            season: Some(2026),
            tree_seasons: 100,
            points,
            ..Practice::stated("hills", 0.27, Some(40.0))
        };
        let followed =
            practice(vec![point(0.0, 0.1), point(0.15, 0.1), point(0.3, 0.4), point(0.4, 0.4)]);
        let found = followed.without_controls(0.32).unwrap();
        assert_eq!((found.tree_seasons, found.left_to_compare), (80, 20));
        // By hand: (0.3 + 0.4) / 2, and leads of 30 and 40 days weighted by intensity, 25/0.7.
        assert!((found.intensity - 0.35).abs() < 1e-12 && (found.share_pruned - 1.0).abs() < 1e-12);
        assert!((found.lead_days.unwrap() - 25.0 / 0.7).abs() < 1e-9);
        assert!((found.points.iter().map(|p| p.weight).sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(found.without_controls(0.32), None, "nothing is left out twice");
        let unpruned = practice(vec![point(0.0, 0.8), point(0.05, 0.1), point(0.3, 0.1)]);
        let found = unpruned.without_controls(0.0).unwrap();
        assert_eq!((found.intensity, found.lead_days, found.share_pruned), (0.0, None, 0.0));
        let half = practice(vec![point(0.15, 0.5), point(0.35, 0.5)]);
        assert_eq!(half.without_controls(0.35), None);
        assert_eq!(Practice::stated("hills", 0.2, None).without_controls(0.5), None);
    }

    /// Hundredths of 100 trees, one of each, lie between the 6th and the 96th.
    #[test]
    fn nine_trees_in_ten_lie_in_the_middle() {
        let point = |intensity: f64| PracticePoint { intensity, lead_days: None, weight: 0.01 };
        let points = (0..100).map(|k| point(f64::from(k) / 100.0)).collect();
        let practice = Practice { points, ..Practice::stated("hills", 0.2, None) };
        let [low, high] = practice.middle().unwrap();
        assert!((low - 0.05).abs() < 0.011 && (high - 0.95).abs() < 0.011, "{low} {high}");
        assert_eq!(Practice::stated("hills", 0.2, None).middle(), Some([0.2, 0.2]));
        assert_eq!(Practice { points: Vec::new(), ..practice }.middle(), None);
    }
}
