//! Blocks, trees and pruning visits, brought together once per run.

use crate::console::Failure;
use crate::pipeline::{Checked, from_ingest};
use ingest_seasons::{HeldBlock, HeldTree, Visit, held_blocks, last_day, visits};
use jiff::civil::Date;
use model::TreeSeasons;
use records::{
    ABOUT_AS_HARD, Book, MeasuredAs, YoungestTrees, canopy_ground_projection_m2,
    half_ellipsoid_volume_m3, trees_per_ha,
};
use std::collections::{BTreeMap, BTreeSet};
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
    /// Ages of the youngest trees past the training age in the records, by what was cut from them.
    youngest: Youngest,
    /// Last day on which anything was cut, by tree.
    last_cuts: BTreeMap<String, Date>,
    /// Basis of most prunings, by block.
    pub bases: BTreeMap<String, MeasuredAs>,
    /// The same by region.
    pub bases_of_regions: BTreeMap<String, MeasuredAs>,
    /// Declared trials of each tree of one.
    pub trials: BTreeMap<String, BTreeSet<String>>,
    /// Trials of the trial table that `book.toml` does not declare.
    pub undeclared: BTreeSet<String>,
    /// Day of the book's last record.
    pub last_record: Option<Date>,
}

type Counts = BTreeMap<String, BTreeMap<&'static str, (usize, MeasuredAs)>>;

impl Holdings {
    /// Reads them from the typed tables; the linked table tells the ages that were recorded.
    ///
    /// # Errors
    /// When the tables break their own promise.
    pub fn of(checked: &Checked, table: &TreeSeasons) -> Result<Self, Failure> {
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
        let mut last_cuts: BTreeMap<String, Date> = BTreeMap::new();
        for visit in &visits {
            let Some((block, tree)) = places.get(visit.tree.as_str()) else { continue };
            let region = &block.region;
            if let Some(date) = visit.date.filter(|_| visit.intensity > 0.0) {
                let last = last_cuts.entry(visit.tree.clone()).or_insert(date);
                *last = date.max(*last);
            }
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
        let declared = &checked.tables.book.trials;
        let mut trials: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        let rows = checked.linked.trial_trees.iter();
        for row in rows.filter(|row| declared.contains_key(&row.trial)) {
            trials.entry(row.tree.clone()).or_default().insert(row.trial.clone());
        }
        let ids = checked.linked.trial_trees.iter().map(|row| row.trial.clone());
        let undeclared = ids.filter(|id| !declared.contains_key(id)).collect();
        Ok(Self {
            undeclared,
            last_record: last_day(&checked.tables).map_err(from_ingest)?,
            youngest: Youngest::of(table),
            trials,
            timed,
            cut_rates,
            last_cuts,
            bases: commonest(by_block),
            bases_of_regions: commonest(by_region),
            blocks,
        })
    }

    /// The declared trial that treats a tree in a season, the first by id.
    #[must_use]
    pub fn trial_of(&self, book: &Book, tree: &str, season: i32) -> Option<&str> {
        let own = self.trials.get(tree)?.iter();
        let holds = |id: &&String| book.trials.get(*id).is_some_and(|trial| trial.holds(season));
        own.filter(holds).map(String::as_str).next()
    }

    /// Whether the records hold a cut of a tree for the harvest of a season or a later one.
    #[must_use]
    pub fn is_pruned_for(&self, book: &Book, region: &str, tree: &str, season: i32) -> bool {
        let calendar = book.regions.get(region).and_then(|region| region.calendar());
        let cut = calendar.zip(self.last_cuts.get(tree));
        cut.is_some_and(|(calendar, day)| i32::from(calendar.season_of_pruning(*day)) >= season)
    }

    /// Declared trials of amounts on trees of a region that wait for a season's harvest, by id.
    #[must_use]
    pub fn waiting(&self, book: &Book, region: &str, season: i32) -> Vec<String> {
        let blocks = self.blocks.iter().filter(|block| block.region == region);
        let trees = blocks.flat_map(|block| &block.trees);
        let own = trees.filter_map(|tree| self.trial_of(book, &tree.tree, season));
        let of_amounts = |id: &&str| book.trials.get(*id).is_some_and(|t| !t.amounts.is_empty());
        let ids: BTreeSet<&str> = own.filter(of_amounts).collect();
        ids.into_iter().map(str::to_owned).collect()
    }

    /// Mean canopy volume of a region's trees that an intensity can be advised for, m3, where sizes are
    /// recorded.
    #[must_use]
    pub fn canopy_m3(&self, book: &Book, region: &str, season: i32) -> Option<f64> {
        mean(self.grown(book, region, season).filter_map(|(_, tree)| {
            let (height, [ns, ew]) = tree.height_m.zip(tree.spread_m)?;
            Some(half_ellipsoid_volume_m3(height, ns, ew))
        }))
    }

    /// Trees per ha of a region, blocks weighted by their trees that an intensity can be advised for.
    #[must_use]
    pub fn trees_per_ha(&self, book: &Book, region: &str, season: i32) -> Option<f64> {
        mean(
            self.grown(book, region, season).filter_map(|(block, _)| {
                block.spacing_m.map(|[row, tree]| trees_per_ha(row, tree))
            }),
        )
    }

    /// Age of the youngest tree past the training age that the records of a region show cut about as
    /// hard, years.
    #[must_use]
    pub fn youngest(&self, region: &str, intensity: f64) -> Option<f64> {
        self.youngest.at(region, intensity)
    }

    /// Fraction of the canopy that the records of a region show cut from some tree as young, in whole
    /// years, or from the youngest where these are little older; 0 where they are more than that.
    #[must_use]
    pub fn hardest(&self, region: &str, age: f64) -> Option<f64> {
        self.youngest.hardest(region, age)
    }

    /// Whether a tree is past the training age and yet younger, in whole years, than the trees that
    /// the records of its region show cut about as hard.
    #[must_use]
    pub fn is_untried(
        &self,
        book: &Book,
        block: &HeldBlock,
        tree: &HeldTree,
        season: i32,
        intensity: f64,
    ) -> bool {
        let age = age(book, block, tree, season);
        let youngest = self.youngest(&block.region, intensity);
        age.zip(youngest).is_some_and(|(age, youngest)| age.floor() < youngest.floor())
    }

    /// The trees that an intensity can be advised for, with their blocks: what they cost is asked before
    /// it is known how hard that is.
    fn grown<'a>(
        &'a self,
        book: &'a Book,
        region: &'a str,
        season: i32,
    ) -> impl Iterator<Item = (&'a HeldBlock, &'a HeldTree)> {
        let blocks = self.blocks.iter().filter(move |block| block.region == region);
        let trees = blocks.flat_map(|block| block.trees.iter().map(move |tree| (block, tree)));
        trees.filter(move |(block, tree)| {
            !is_young(book, block, tree, season) && !self.is_untried(book, block, tree, season, 0.0)
        })
    }
}

/// Whether a tree is under the training age when the flush of a season begins, by which it would be cut:
/// the linked table counts it as grown by the harvest, where it is to tell what it bears.
#[must_use]
pub fn is_young(book: &Book, block: &HeldBlock, tree: &HeldTree, season: i32) -> bool {
    let calendar = book.regions.get(&block.region).and_then(|region| region.calendar());
    let flush = calendar
        .zip(i16::try_from(season).ok())
        .map(|(calendar, season)| calendar.date_of_lead(0, season));
    let age = flush.zip(tree.planted).map(|(flush, planted)| years(planted, flush));
    age.is_some_and(|age| age < book.options.training_age_years)
}

fn years(from: Date, to: Date) -> f64 {
    f64::from((to - from).get_days()) / 365.25
}

/// Age of a tree when the harvest of a season opens, years, as in the linked table; `None` where the
/// day of planting or the harvest is not known.
#[must_use]
pub fn age(book: &Book, block: &HeldBlock, tree: &HeldTree, season: i32) -> Option<f64> {
    let harvest = book.regions.get(&block.region).and_then(|region| region.harvest)?;
    let opens = harvest.start.in_year(i16::try_from(season).ok()?);
    Some(years(tree.planted?, opens))
}

/// Years by which the youngest recorded trees may be older and still tell what a tree can bear (ours: a
/// convention, of no published source).
const LITTLE_OLDER: f64 = 2.0;

/// Ages of the youngest trees past the training age in the records, by what was cut from them: a tree
/// picked unpruned, or cut lightly, tells nothing of what a hard cut does at its age.
pub struct Youngest {
    /// Per region intensities, falling, each with the age of the third youngest of the trees cut so hard or
    /// harder, falling too.
    steps: BTreeMap<String, Vec<[f64; 2]>>,
}

impl Youngest {
    /// Reads the linked table.
    #[must_use]
    pub fn of(table: &TreeSeasons) -> Self {
        let mut rows: BTreeMap<&str, Vec<(f64, f64, u32)>> = BTreeMap::new();
        for row in (0..table.len()).filter(|&row| !table.young[row]) {
            let (cut, age) = (table.intensity[row], table.age_years[row]);
            if cut.is_finite() && age.is_finite() {
                let own = rows.entry(table.region.label(row)).or_default();
                own.push((cut, age, table.tree.codes[row]));
            }
        }
        let steps = |mut rows: Vec<(f64, f64, u32)>| {
            rows.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.total_cmp(&b.1)));
            let all = rows.iter().fold(YoungestTrees::default(), |mut all, (_, age, tree)| {
                all.add(*tree, *age);
                all
            });
            let mut youngest = YoungestTrees::default();
            let mut least = f64::INFINITY;
            let mut steps: Vec<[f64; 2]> = Vec::new();
            for (cut, age, tree) in rows {
                youngest.add(tree, age);
                // Where trees are fewer than tell, the few do.
                let is_told = youngest.is_telling() || !all.is_telling();
                if let Some(age) = youngest.age().filter(|age| is_told && *age < least) {
                    least = age;
                    steps.push([cut, age]);
                }
            }
            steps
        };
        let steps = rows.into_iter().map(|(region, rows)| (region.to_owned(), steps(rows)));
        Self { steps: steps.collect() }
    }

    /// Age of the youngest tree that was cut so hard, less 5 points of the canopy at most; of the one
    /// cut hardest where none was cut so hard. `None` where no age of a cut is known.
    #[must_use]
    pub fn at(&self, region: &str, intensity: f64) -> Option<f64> {
        let steps = self.steps.get(region)?;
        let hard = steps.partition_point(|[cut, _]| *cut >= intensity - ABOUT_AS_HARD - 1e-9);
        steps.get(hard.max(1) - 1).map(|[_, age]| *age)
    }

    /// The hardest cut of a tree of at most this age in whole years, fraction of the canopy; of the
    /// youngest trees where these are a little older, and none where they are more. `None` where no age of
    /// a cut is known.
    #[must_use]
    pub fn hardest(&self, region: &str, age: f64) -> Option<f64> {
        let steps = self.steps.get(region)?;
        let [_, youngest] = steps.last()?;
        let (age, youngest) = (age.floor(), youngest.floor());
        if age < youngest - LITTLE_OLDER {
            return Some(0.0);
        }
        let age = age.max(youngest);
        steps.iter().find(|[_, own]| own.floor() <= age).map(|[cut, _]| *cut)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_youngest_is_one_that_was_cut_about_as_hard() {
        let steps = vec![[0.4, 20.0], [0.3, 12.0], [0.18, 5.0], [0.0, 4.0]];
        let youngest = Youngest { steps: BTreeMap::from([("hills".to_owned(), steps)]) };
        let at = |intensity| youngest.at("hills", intensity);
        assert_eq!([at(0.3), at(0.35), at(0.36)], [Some(12.0), Some(12.0), Some(20.0)]);
        assert_eq!([at(0.18), at(0.23), at(0.24)], [Some(5.0), Some(5.0), Some(12.0)]);
        // Where nothing is cut every record tells; where nobody cut so hard, the hardest does.
        assert_eq!([at(0.0), at(0.9)], [Some(4.0), Some(20.0)]);
        assert_eq!(youngest.at("plain", 0.3), None);
    }

    #[test]
    fn the_hardest_cut_of_an_age_is_of_trees_no_older() {
        let steps = vec![[0.4, 20.0], [0.3, 12.9], [0.18, 5.2], [0.0, 4.1]];
        let youngest = Youngest { steps: BTreeMap::from([("hills".to_owned(), steps)]) };
        let hardest = |age| youngest.hardest("hills", age);
        assert_eq!([hardest(30.0), hardest(12.1), hardest(11.9)], [0.4, 0.3, 0.18].map(Some));
        assert_eq!([hardest(5.1), hardest(4.0)], [0.18, 0.0].map(Some));
        // Younger than every record: what the youngest got, where they are little older.
        let steps = vec![[0.4, 20.0], [0.3, 12.9]];
        let youngest = Youngest { steps: BTreeMap::from([("hills".to_owned(), steps)]) };
        let hardest = |age| youngest.hardest("hills", age);
        assert_eq!([hardest(10.0), hardest(9.9)], [0.3, 0.0].map(Some));
        assert_eq!(youngest.hardest("plain", 9.0), None);
    }
}
