//! Weights that fit other trees better than the trees they are written for: a list that slipped by a line, and blocks
//! that were interchanged. A tree that bears more than its block in one season does so in most, so each season's
//! weights are held against what the same trees bore in the others.

use crate::frame::{floats, ints, texts};
use crate::outcome::Outcome;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use records::{Code, Place, Table, counted, natural_order};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest trees of a block with a harvest that tell what its season was (this and those below ours: conventions, of no
/// published source).
const TREES: usize = 20;
/// Fewest other seasons of a tree that tell what it usually bears beside its block.
const OTHER_SEASONS: usize = 2;
/// Least correlation of a block's trees with themselves over its other seasons for them to be told apart.
const REPEATABLE: f64 = 0.3;
/// Largest such correlation that is believed: a single odd tree would otherwise outweigh a list.
const MOST_REPEATABLE: f64 = 0.85;
/// Standard deviations up to which a tree counts as out of the ordinary.
const WINSOR: f64 = 2.5;
/// Least logarithm of the likelihood ratio in favour of the other trees: one in a million, as many lists and stretches
/// of lists are tried.
const SURE: f64 = 14.0;

/// Region, site and block.
type Block<'a> = (&'a str, &'a str, &'a str);

/// Logarithms of the yield of each tree of a block by season.
type Trees<'a> = BTreeMap<&'a str, Vec<(i32, f64)>>;

/// A value of each tree of a list, where it is known.
type Values = Vec<Option<f64>>;

/// One block's trees in the order of their ids.
struct Listed<'a> {
    trees: Vec<&'a str>,
    /// By season and tree: how many standard deviations the logarithm of its yield lies from its block's mean.
    seasons: BTreeMap<i32, Values>,
}

/// A block in one season: its trees then, and in the other seasons.
struct Held {
    now: Values,
    else_: Values,
    /// Correlation of the trees with themselves over the block's other seasons.
    repeatable: f64,
    /// The same in this season.
    with_itself: f64,
}

/// Tells both.
pub(crate) fn warn(linked: &DataFrame, outcome: &mut Outcome) -> PolarsResult<()> {
    let places = texts(linked, ts::REGION)?.iter().zip(texts(linked, ts::SITE)?.iter());
    let trees = texts(linked, ts::BLOCK)?.iter().zip(texts(linked, ts::TREE)?.iter());
    let yields = ints(linked, ts::SEASON)?.iter().zip(floats(linked, ts::YIELD_KG)?.iter());
    let mut blocks: BTreeMap<Block<'_>, Trees<'_>> = BTreeMap::new();
    for row in places.zip(trees).zip(yields) {
        let (((Some(region), Some(site)), (Some(block), Some(tree))), (Some(season), Some(kg))) =
            row
        else {
            continue;
        };
        if kg > 0.0 {
            let own = blocks.entry((region, site, block)).or_default().entry(tree).or_default();
            own.push((season, kg.ln()));
        }
    }
    let mut sites: BTreeMap<(&str, &str), Vec<(&str, Listed<'_>)>> = BTreeMap::new();
    for ((region, site, block), trees) in blocks {
        sites.entry((region, site)).or_default().push((block, Listed::of(trees)));
    }
    for ((region, _), blocks) in &sites {
        tell_of_site(region, blocks, outcome);
    }
    Ok(())
}

impl<'a> Listed<'a> {
    fn of(trees: Trees<'a>) -> Self {
        let mut own: Vec<(&str, Vec<(i32, f64)>)> = trees.into_iter().collect();
        own.sort_by_cached_key(|(tree, _)| (natural_order(tree), *tree));
        let all: BTreeSet<i32> =
            own.iter().flat_map(|(_, yields)| yields.iter().map(|(season, _)| *season)).collect();
        let in_season = |season: i32| -> Values {
            let of_tree = |yields: &Vec<(i32, f64)>| {
                yields.iter().find(|(other, _)| *other == season).map(|(_, log)| *log)
            };
            own.iter().map(|(_, yields)| of_tree(yields)).collect()
        };
        let seasons = all
            .into_iter()
            .filter_map(|season| Some((season, standardised(&in_season(season))?)))
            .collect();
        Self { trees: own.into_iter().map(|(tree, _)| tree).collect(), seasons }
    }

    /// What the trees bore in the seasons but `season`, of those with enough of them.
    fn others(&self, season: i32) -> Option<Values> {
        let mean = |tree: usize| {
            let others = self.seasons.iter().filter(|(other, _)| **other != season);
            let own: Vec<f64> = others.filter_map(|(_, trees)| trees[tree]).collect();
            let sum: f64 = own.iter().sum();
            (own.len() >= OTHER_SEASONS).then(|| sum / own.len() as f64)
        };
        standardised(&(0..self.trees.len()).map(mean).collect::<Values>())
    }

    /// The seasons that can be judged.
    fn held(&self) -> BTreeMap<i32, Held> {
        let judged: Vec<(i32, &Values, Values, f64)> = self
            .seasons
            .iter()
            .filter_map(|(season, now)| {
                let others = self.others(*season)?;
                let with_itself = correlation(now, &others)?;
                Some((*season, now, others, with_itself))
            })
            .collect();
        let repeatable = |season: i32| {
            let others = || judged.iter().filter(|(other, ..)| *other != season);
            let sum: f64 = others().map(|(.., with_itself)| with_itself).sum();
            (others().count() >= OTHER_SEASONS).then(|| sum / others().count() as f64)
        };
        let held = judged.iter().filter_map(|(season, now, others, with_itself)| {
            let repeatable = repeatable(*season).filter(|r| *r >= REPEATABLE)?;
            let repeatable = repeatable.min(MOST_REPEATABLE);
            Some((
                *season,
                Held {
                    now: (*now).clone(),
                    else_: others.clone(),
                    repeatable,
                    with_itself: *with_itself,
                },
            ))
        });
        held.collect()
    }
}

/// Values less their mean in standard deviations, cut at [`WINSOR`]; nothing of too few or of equal ones.
fn standardised(values: &[Option<f64>]) -> Option<Values> {
    let known = || values.iter().flatten();
    let count = known().count();
    if count < TREES {
        return None;
    }
    let mean = known().sum::<f64>() / count as f64;
    let spread =
        (known().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1) as f64).sqrt();
    let of = |value: &f64| ((value - mean) / spread).clamp(-WINSOR, WINSOR);
    (spread > 1e-9).then(|| values.iter().map(|value| value.as_ref().map(of)).collect())
}

/// Correlation of standardised values.
fn correlation(one: &[Option<f64>], other: &[Option<f64>]) -> Option<f64> {
    let pairs = || one.iter().zip(other).filter_map(|(a, b)| Some(((*a)?, (*b)?)));
    let (mut cross, mut squares) = (0.0, [0.0; 2]);
    for (a, b) in pairs() {
        cross += a * b;
        squares = [squares[0] + a * a, squares[1] + b * b];
    }
    (pairs().count() >= TREES).then(|| cross / (squares[0] * squares[1]).sqrt())
}

impl Held {
    /// Logarithm of the likelihood of a tree's yield as that of a tree with this `usual` one, over that as its own: of
    /// the normal distribution of one standardised variable given another of the correlation (Anderson, T. W. (2003),
    /// An Introduction to Multivariate Statistical Analysis, 3rd ed., section 2.5). 0 where one is not known.
    fn gain(&self, tree: usize, usual: Option<f64>) -> f64 {
        let own =
            self.now.get(tree).copied().flatten().zip(self.else_.get(tree).copied().flatten());
        own.zip(usual).map_or(0.0, |((now, own), other)| {
            let off = |usual: f64| (now - self.repeatable * usual).powi(2);
            (off(own) - off(other)) / (2.0 * (1.0 - self.repeatable.powi(2)))
        })
    }

    /// The stretch of trees whose yields fit best those `step` further in the list, and by how much.
    fn slipped(&self, step: isize) -> (f64, std::ops::Range<usize>) {
        let (mut best, mut found) = (0.0, 0..0);
        let (mut sum, mut start) = (0.0, 0);
        for tree in 0..self.now.len() {
            let other = tree.checked_add_signed(step).and_then(|at| self.else_.get(at));
            sum += self.gain(tree, other.copied().flatten());
            if sum <= 0.0 {
                (sum, start) = (0.0, tree + 1);
            } else if sum > best {
                (best, found) = (sum, start..tree + 1);
            }
        }
        (best, found)
    }

    /// Whether the trees are less like themselves than half of what they are in other seasons: others need not be
    /// compared with all blocks of a site.
    fn is_odd(&self) -> bool {
        self.with_itself < 0.5 * self.repeatable
    }

    /// By how much the whole list fits the trees of another block better than its own.
    fn as_of(&self, other: &Self) -> f64 {
        (0..self.now.len()).map(|tree| self.gain(tree, other.else_[tree])).sum()
    }
}

fn tell_of_site(region: &str, blocks: &[(&str, Listed<'_>)], outcome: &mut Outcome) {
    let held: Vec<BTreeMap<i32, Held>> = blocks.iter().map(|(_, listed)| listed.held()).collect();
    let mut interchanged = BTreeSet::new();
    let has_odd = |place: usize| held[place].values().any(Held::is_odd);
    for (place, (block, listed)) in blocks.iter().enumerate().filter(|(at, _)| has_odd(*at)) {
        for (other, (beside, others)) in blocks.iter().enumerate().skip(place + 1) {
            if listed.trees.len() != others.trees.len() {
                continue;
            }
            for (season, own) in held[place].iter().filter(|(_, own)| own.is_odd()) {
                let theirs = held[other].get(season).filter(|theirs| theirs.is_odd());
                let Some(theirs) = theirs else { continue };
                let gains = [own.as_of(theirs), theirs.as_of(own)];
                if gains.iter().sum::<f64>() < SURE || gains.iter().any(|gain| *gain <= 0.0) {
                    continue;
                }
                interchanged.extend([(place, *season), (other, *season)]);
                outcome.warn(
                    Place::file(Table::Harvests.as_str()),
                    Code::WeightsMoved,
                    say!(
                        "region '{region}': the harvests of season {season} in block '{block}' go with what the trees of block '{beside}' bear in other seasons, tree by tree in the order of their ids, and the other way round"
                    ),
                    text!("kept; compare with the field book: the blocks were most likely interchanged, so write each one's ids before its weights"),
                );
            }
        }
    }
    for (place, (block, listed)) in blocks.iter().enumerate() {
        for (season, own) in &held[place] {
            let steps = [1, -1].map(|step| (own.slipped(step), step));
            let most = steps.into_iter().max_by(|((a, _), _), ((b, _), _)| a.total_cmp(b));
            let Some(((gain, stretch), step)) = most else { continue };
            let ends =
                (listed.trees.get(stretch.start), listed.trees.get(stretch.end.saturating_sub(1)));
            let (Some(first), Some(last)) = ends else { continue };
            if gain < SURE || interchanged.contains(&(place, *season)) {
                continue;
            }
            let whose = if step > 0 {
                text!("the next tree of the list bears")
            } else {
                text!("the tree before it in the list bears")
            };
            outcome.warn(
                Place::file(Table::Harvests.as_str()),
                Code::WeightsMoved,
                say!(
                    "region '{region}', block '{block}': in season {season} {} from '{first}' to '{last}' have harvests that go with what {whose} in other seasons, not with their own",
                    counted(stretch.len() as u64, text!("tree"), text!("trees"))
                ),
                text!("kept; compare with the field book: a line may have been left out or written twice, so that the weights after it stand beside another tree"),
            );
        }
    }
}
