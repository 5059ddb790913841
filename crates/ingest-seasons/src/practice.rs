//! Present practice of every region, stated or read off its latest routine season.

use crate::frame::{REGION_NO, TREE_NO, flags, floats, indices, ints, texts};
use crate::outcome::Outcome;
use crate::places::Places;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, Code, Place, Practice, PracticeBefore, PracticePoint, youngest_cut};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use words::say;

mod turn;

/// Intensity and lead of one tree-season not young.
type Treated = (f64, Option<f64>);

/// A tree-season as treated.
struct Aged {
    tree: Option<u32>,
    treated: Treated,
    /// Years at harvest.
    age: Option<f64>,
}

/// Tree-seasons of one region that are not young.
#[derive(Default)]
struct Seen {
    /// Tree, intensity and age of every one that was pruned, trials too.
    cut: Vec<(u32, f64, f64)>,
    /// The routine ones of the latest seasons, by season.
    latest: BTreeMap<i32, Vec<Aged>>,
}

/// Most seasons in which every tree of a region is pruned once.
const LONGEST_TURN: i32 = 4;

impl Seen {
    /// Adds a routine tree-season, and forgets what is too old to be of use.
    fn add(&mut self, season: i32, own: Aged) {
        self.latest.entry(season).or_default().push(own);
        if self.latest.len() > LONGEST_TURN as usize + 1 {
            self.latest.pop_first();
        }
    }

    /// The latest season that shows a practice: one of a few stray trees beside those of another season, as where
    /// all others stand in a trial, does not.
    fn season(&self) -> Option<i32> {
        let most = self.latest.values().map(Vec::len).max()?;
        let mut shown =
            self.latest.iter().rev().filter(|(_, all)| all.len() as f64 >= STRAY * most as f64);
        shown.next().map(|(season, _)| *season)
    }

    /// What the latest routine season shows, with those before it where trees are pruned in turn, and how it
    /// differs from the season before where they are not.
    fn practice(&self, region: &str) -> Option<Practice> {
        let season = self.season()?;
        let in_turn = turn::seasons(season, &self.latest);
        let seasons = season - in_turn + 1..=season;
        let youngest = self.youngest(seasons.clone());
        let (all, younger) = self.grown(seasons, youngest);
        let own = Practice {
            in_turn: in_turn.unsigned_abs(),
            younger,
            ..seen_practice(region, season, &all)
        };
        // The same trees, by the same limit and as old as they are now: else a young block would count in one of
        // the two shares and not in the other.
        let (earlier, _) =
            self.grown(season - 1..=season - 1, youngest.map(|youngest| youngest - 1.0));
        if in_turn > 1 || (earlier.len() as u64) < FEWEST_TO_TELL.min(own.tree_seasons) {
            return Some(own);
        }
        let earlier = seen_practice(region, season - 1, &earlier);
        let is_other = (earlier.share_pruned - own.share_pruned).abs() > OTHER_SHARE
            || (earlier.intensity - own.intensity).abs() > OTHER_INTENSITY;
        let before =
            PracticeBefore { share_pruned: earlier.share_pruned, intensity: earlier.intensity };
        Some(Practice { before: is_other.then_some(before), ..own })
    }

    /// Age of the youngest trees on record that were cut about as hard as is usual in some seasons.
    fn youngest(&self, seasons: RangeInclusive<i32>) -> Option<f64> {
        let all = || self.latest.range(seasons.clone()).flat_map(|(_, all)| all);
        let cuts = || all().map(|own| own.treated.0).filter(|cut| *cut > 0.0);
        let usual = cuts().sum::<f64>() / cuts().count() as f64;
        youngest_cut(usual, self.cut.iter().copied())
    }

    /// Routine trees of some seasons, and how many were left out: those younger than `youngest`. No plan asks for
    /// such a cut of them, so that what is done to them is not what a change would change.
    fn grown(&self, seasons: RangeInclusive<i32>, youngest: Option<f64>) -> (Vec<Treated>, u64) {
        let all = || self.latest.range(seasons.clone()).flat_map(|(_, all)| all);
        let is_younger = |age: Option<f64>| {
            age.zip(youngest).is_some_and(|(age, youngest)| age.floor() < youngest)
        };
        let grown = all().filter(|own| !is_younger(own.age)).map(|own| own.treated);
        let grown: Vec<Treated> = grown.collect();
        let left_out = (all().count() - grown.len()) as u64;
        (grown, left_out)
    }
}

/// Share of the trees of the fullest of the latest seasons below which a season shows no practice (ours: a
/// convention, of no published source).
const STRAY: f64 = 0.1;
/// Fewest tree-seasons of the season before that show another practice, or all where there are fewer now (this
/// and the two below ours: conventions, of no published source).
const FEWEST_TO_TELL: u64 = 10;
/// Difference of the share of trees pruned from which the season before is told.
const OTHER_SHARE: f64 = 0.25;
/// Difference of the mean intensity from which it is.
const OTHER_INTENSITY: f64 = 0.1;

/// One practice per region of the linked table where it is stated or can be seen, by region id.
pub(crate) fn of_regions(
    linked: &DataFrame,
    places: &Places,
    book: &Book,
    outcome: &mut Outcome,
) -> PolarsResult<Vec<Practice>> {
    let mut regions: BTreeMap<u32, Seen> = BTreeMap::new();
    let kinds = texts(linked, ts::TRIAL)?.iter().zip(flags(linked, ts::YOUNG)?.iter());
    let treated = floats(linked, ts::INTENSITY)?.iter().zip(floats(linked, ts::LEAD_DAYS)?.iter());
    let seasons = indices(linked, REGION_NO)?.iter().zip(ints(linked, ts::SEASON)?.iter());
    let aged = floats(linked, ts::AGE_YEARS)?.iter().zip(indices(linked, TREE_NO)?.iter());
    let rows = seasons.zip(kinds).zip(treated).zip(aged);
    for ((((region, season), (trial, young)), (intensity, lead)), (age, tree)) in rows {
        let (Some(region), Some(season), Some(intensity)) = (region, season, intensity) else {
            continue;
        };
        let seen = regions.entry(region).or_default();
        if young == Some(true) {
            continue;
        }
        if intensity > 0.0 {
            seen.cut.extend(tree.zip(age).map(|(tree, age)| (tree, intensity, age)));
        }
        if trial.is_some() {
            continue;
        }
        seen.add(season, Aged { tree, treated: (intensity, lead), age });
    }
    let mut practices = Vec::with_capacity(regions.len());
    for (region, seen) in regions {
        let id = places.region_id(region);
        let stated = book.regions.get(id).and_then(|region| region.present);
        match (stated, seen.practice(id)) {
            (Some(stated), _) => {
                practices.push(Practice::stated(id, stated.intensity, Some(stated.lead_days)));
            }
            (None, Some(practice)) => practices.push(practice),
            (None, None) => outcome.warn(
                Place::file("book.toml"),
                Code::SettingMissing,
                say!("region '{id}' has no routine records to show its present practice"),
                say!("add present = {{ intensity = 0.2, lead_days = 40 }} to [regions.{id}]"),
            ),
        }
    }
    Ok(practices)
}

/// Points of a practice at the most: yields are averaged over them draw by draw.
const MOST_POINTS: usize = 256;

/// Trees treated alike: their number, and the sums of their intensities, per cent, and leads, days.
type Alike = (u64, i64, Option<i64>);

/// Whole per cent and days share a point, so that trees treated alike but for rounding do; where
/// these are too many, cells of twice, three times that width and so on. A cell stands at the mean
/// of its trees.
fn alike(all: &[Treated]) -> Vec<Alike> {
    let whole = |value: f64| value.round() as i64;
    let mut width = 1;
    loop {
        let cell = |value: i64| (value + width / 2).div_euclid(width);
        let mut cells: BTreeMap<(i64, Option<i64>), Alike> = BTreeMap::new();
        for &(intensity, lead) in all {
            let (per_cent, days) = (whole(100.0 * intensity), lead.map(whole));
            let own =
                cells.entry((cell(per_cent), days.map(cell))).or_insert((0, 0, days.map(|_| 0)));
            *own = (own.0 + 1, own.1 + per_cent, own.2.zip(days).map(|(sum, days)| sum + days));
        }
        if cells.len() <= MOST_POINTS {
            return cells.into_values().collect();
        }
        width += 1;
    }
}

fn seen_practice(region: &str, season: i32, all: &[Treated]) -> Practice {
    let number = all.len() as f64;
    let total: f64 = all.iter().map(|(intensity, _)| intensity).sum();
    let weighted: f64 = all.iter().filter_map(|&(intensity, lead)| Some(intensity * lead?)).sum();
    Practice {
        region: region.to_owned(),
        season: Some(season),
        in_turn: 1,
        before: None,
        tree_seasons: all.len() as u64,
        share_pruned: all.iter().filter(|(intensity, _)| *intensity > 0.0).count() as f64 / number,
        intensity: total / number,
        lead_days: (total > 0.0).then(|| weighted / total),
        points: alike(all)
            .into_iter()
            .map(|(n, per_cents, days)| PracticePoint {
                intensity: per_cents as f64 / n as f64 / 100.0,
                lead_days: days.map(|days| days as f64 / n as f64),
                weight: n as f64 / number,
            })
            .collect(),
        left_to_compare: 0,
        younger: 0,
        is_assumed: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twenty old trees, of which ten are cut each season, and ten young ones that are never cut: they count in
    /// neither share, though the season before was cut so lightly that by itself its limit of age would be lower.
    #[test]
    fn a_young_block_counts_in_the_share_of_both_seasons_or_of_neither() {
        let mut seen = Seen::default();
        // Light cuts of young trees long ago lower the limit of a season of light cuts alone.
        seen.cut.extend([(90, 0.05, 5.0), (91, 0.05, 5.0), (92, 0.05, 5.0)]);
        for (season, cut, pruned) in [(2024, 0.05, 20), (2025, 0.3, 10)] {
            for tree in 0..30_u32 {
                let age = if tree < 20 { 20.0 } else { 6.0 } + f64::from(season - 2024);
                let intensity = if tree < pruned { cut } else { 0.0 };
                if intensity > 0.0 {
                    seen.cut.push((tree, intensity, age));
                }
                seen.add(
                    season,
                    Aged { tree: Some(tree), treated: (intensity, None), age: Some(age) },
                );
            }
        }
        let practice = seen.practice("hills").unwrap();
        assert_eq!((practice.younger, practice.tree_seasons, practice.in_turn), (10, 20, 1));
        assert!((practice.share_pruned - 0.5).abs() < 1e-12);
        let before = practice.before.unwrap();
        assert!((before.share_pruned - 1.0).abs() < 1e-12, "{}", before.share_pruned);
    }

    /// All trees but one enter a trial: the one whose row was forgotten is not what the region does.
    #[test]
    fn a_stray_tree_beside_a_trial_shows_no_practice() {
        let shown = |strays: u32| {
            let mut seen = Seen::default();
            for (season, trees, intensity) in [(2024, 40, 0.1), (2025, strays, 0.45)] {
                for tree in 0..trees {
                    let treated = (intensity, Some(40.0));
                    seen.add(season, Aged { tree: Some(tree), treated, age: Some(12.0) });
                }
            }
            let practice = seen.practice("hills").unwrap();
            (practice.season, practice.tree_seasons)
        };
        assert_eq!(shown(1), (Some(2024), 40));
        assert_eq!(shown(3), (Some(2024), 40));
        assert_eq!(shown(4), (Some(2025), 4));
    }

    /// A thousand intensities and leads of their own, and trees left unpruned.
    #[test]
    fn many_practices_share_points_and_keep_their_means() {
        let mut all: Vec<Treated> = (0..1000)
            .map(|k| (f64::from(5 + k % 40) / 100.0, Some(f64::from(20 + k / 40 * 3 % 70))))
            .collect();
        all.extend([(0.0, None); 250]);
        let practice = seen_practice("hills", 2026, &all);
        assert!((100..=MOST_POINTS).contains(&practice.points.len()), "{}", practice.points.len());
        let sum = |of: &dyn Fn(&PracticePoint) -> f64| practice.points.iter().map(of).sum::<f64>();
        assert!((sum(&|point| point.weight) - 1.0).abs() < 1e-12);
        assert!((sum(&|point| point.weight * point.intensity) - practice.intensity).abs() < 1e-12);
        let pruned: Vec<f64> = all.iter().filter_map(|(_, lead)| *lead).collect();
        let mean = pruned.iter().sum::<f64>() / 1250.0;
        let found = sum(&|point| point.weight * point.lead_days.unwrap_or(0.0));
        assert!((found - mean).abs() < 1e-9, "{found} {mean}");
        let unpruned = practice.points.iter().filter(|point| point.lead_days.is_none());
        assert_eq!(
            unpruned.map(|point| (point.intensity, point.weight)).collect::<Vec<_>>(),
            [(0.0, 0.2)]
        );
        // Few practices stay as they are recorded.
        let few =
            seen_practice("hills", 2026, &[(0.3, Some(40.4)), (0.3, Some(39.8)), (0.0, None)]);
        let points: Vec<_> = few.points.iter().map(|p| (p.intensity, p.lead_days)).collect();
        assert_eq!(points, [(0.0, None), (0.3, Some(40.0))]);
    }
}
