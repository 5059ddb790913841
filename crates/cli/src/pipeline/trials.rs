//! Declared trials: what was observed in them, trait by trait.

mod amounts;
mod analysed;
mod beside;
mod checks;
mod compared;
mod counts;
mod doubts;
pub mod field;
mod further;
#[cfg(test)]
mod in_blocks;
mod missing;
mod over_seasons;
mod own_days;
mod own_scale;
mod partial;
mod plot_of;
mod plots;
mod pooling;
mod report;
pub mod request;
mod rounds;
mod seasons;
mod sites;
mod slipped;
mod tables;
mod together;
mod words;
mod years;

use super::advice::next_season;
use super::work::Holdings;
use super::{Checked, from_ingest};
use crate::console::Failure;
use ::trials::Observations;
use ::words::{say, text};
use advise::Cost;
pub use analysed::{AnalysedPart, AnalysedTrial, analysed, looked_through};
pub use beside::beside;
use counts::{Counts, Observed};
pub use doubts::Doubt;
use ingest_seasons::{TrialTree, held_blocks, pick_days, standing_trees};
pub use missing::NotAnalysed;
use model::{Frames, TableError, TreeSeasons};
use partial::Partial;
use plot_of::{Places, means_of_plots};
pub use pooling::PooledTrait;
use records::{Table, TrialDeclaration, counted, written_amount, written_number};
pub use report::report;
use rounds::{Rounds, Short};
use seasons::Seasons;
use std::collections::{BTreeMap, BTreeSet};
pub use words::nothing_tested;

/// A declared trial with what the book holds of it.
#[derive(Debug, Clone)]
pub struct DeclaredTrial {
    /// Id in the book.
    pub id: String,
    /// How it was laid out.
    pub declaration: TrialDeclaration,
    /// One per declared trait that has values: a row for every tree and season, NaN where nothing
    /// was recorded.
    pub observed: Vec<Observations>,
    /// Trees in the trial table.
    pub trees: usize,
    /// Rows of the trial table, and of visits to its trees, that were set aside.
    pub set_aside: u64,
    /// Seasons analysed, ascending.
    pub seasons: Vec<i32>,
    /// Season of the covariate `earlier_crop`.
    pub earlier: Option<i32>,
    /// Cost of removing a whole canopy over the price of a kg of nuts, kg per tree, where the book
    /// tells both for the region of the trial's first tree.
    pub price_ratio: Option<f64>,
    /// Region of each of its trees that was harvested, by id.
    pub region_of: BTreeMap<String, String>,
    /// What a person should know: traits without values, trees pruned off their treatment.
    pub notes: Vec<String>,
    /// What a person must settle before the result is used; each `what` is among the notes.
    pub doubts: Vec<Doubt>,
    /// Why nothing of it, or not every trait, can be analysed; each `what` is among the notes.
    pub not_analysed: Vec<NotAnalysed>,
}

impl DeclaredTrial {
    /// Title, or the id.
    #[must_use]
    pub fn title(&self) -> &str {
        self.declaration.title.as_deref().unwrap_or(&self.id)
    }

    fn lacks(&mut self, why: NotAnalysed) {
        self.notes.push(why.what.clone());
        self.not_analysed.push(why);
    }

    fn doubt(&mut self, doubts: Vec<Doubt>) {
        self.notes.extend(doubts.iter().map(|doubt| doubt.what.clone()));
        self.doubts.extend(doubts);
    }
}

/// The declared trials of a checked book, by id.
///
/// # Errors
/// When the program broke a promise.
pub fn declared(checked: &Checked) -> Result<Vec<DeclaredTrial>, Failure> {
    let broken = |error: TableError| {
        Failure::new(error, "this is a defect of the program; please report it")
    };
    let book = &checked.tables.book;
    if book.trials.is_empty() {
        return Ok(Vec::new());
    }
    let table = TreeSeasons::from_batch(&checked.linked.tree_seasons).map_err(broken)?;
    let frames = Frames::from_batch(&checked.linked.frame_counts).map_err(broken)?;
    let counts = Counts::of(&table, &frames, &checked.linked.tree_seasons);
    let seasons = Seasons::of(&table);
    let holdings = Holdings::of(checked, &table)?;
    let rounds = Rounds::new(pick_days(&checked.tables).map_err(from_ingest)?, book, &table);
    let standing = standing_trees(&checked.tables).map_err(from_ingest)?;
    let held = held_blocks(&checked.tables).map_err(from_ingest)?;
    let places = Places::of(&standing, &held);
    let records = Records { table: &table, counts: &counts, all: &seasons, rounds, places };
    let trials = book.trials.iter().map(|(id, declaration)| {
        let trees: Vec<&TrialTree> =
            checked.linked.trial_trees.iter().filter(|tree| tree.trial == *id).collect();
        let rows = checked.tables.rows_of_trial(id);
        let own: BTreeSet<&str> = trees.iter().map(|tree| tree.tree.as_str()).collect();
        let earlier = seasons.of_trial(declaration, &trees).1;
        let is_within = |table: Table, first: i32, last: i32| {
            own_days::may_hold(declaration, earlier, book, table, [first, last])
        };
        let lost = checked.tables.set_aside_of_trial(id, &own, &is_within);
        let picks_set_aside = checked.tables.sets_picks_aside(&is_within);
        let rows = Rows { read: rows, set_aside: lost.len() as u64, picks_set_aside };
        let mut trial = one(id, declaration, &trees, rows, &records);
        // A trial without a row left says so itself.
        if let Some(first) = lost.first().filter(|_| trial.trees > 0) {
            trial.notes.push(say!(
                "{} set aside (first {}: {}); the check of the book tells each.",
                counted(
                    lost.len() as u64,
                    text!("row of this trial and its trees was"),
                    text!("rows of this trial and its trees were")
                ),
                format!("{}:{}", first.file, first.line),
                first.reason
            ));
        }
        trial.doubt(doubts::under_other_ids(id, &checked.linked.trial_trees));
        trial.price_ratio = price_ratio(checked, &trial, &table, &holdings);
        trial.region_of = region_of(&trees, &table);
        trial
    });
    Ok(trials.collect())
}

/// Trials in the trial table that `book.toml` does not declare, with their number of trees.
#[must_use]
pub fn undeclared(checked: &Checked) -> BTreeMap<String, (usize, Vec<String>)> {
    let mut found: BTreeMap<String, (usize, Vec<String>)> = BTreeMap::new();
    let known = &checked.tables.book.trials;
    for tree in checked.linked.trial_trees.iter().filter(|tree| !known.contains_key(&tree.trial)) {
        let (trees, columns) = found.entry(tree.trial.clone()).or_default();
        *trees += 1;
        let given =
            ["replicate", "main_plot", "sub_plot", "site", "block", "row", "column", "plot"];
        for (name, cell) in &tree.columns {
            if cell.is_some() && !given.contains(&name.as_str()) && !columns.contains(name) {
                columns.push(name.clone());
            }
        }
    }
    found
}

/// Rows of a trial in the files.
#[derive(Debug, Clone, Copy)]
struct Rows {
    /// Rows of the trial table.
    read: u64,
    /// Rows of the trial table, and of visits to its trees, that were set aside.
    set_aside: u64,
    /// Whether picks of the book were set aside, of whatever tree.
    picks_set_aside: bool,
}

/// What the book holds of trees, trial or not.
struct Records<'a> {
    table: &'a TreeSeasons,
    counts: &'a Counts<'a>,
    all: &'a Seasons<'a>,
    rounds: Rounds,
    places: Places<'a>,
}

fn one(
    id: &str,
    declaration: &TrialDeclaration,
    trees: &[&TrialTree],
    rows: Rows,
    records: &Records<'_>,
) -> DeclaredTrial {
    let Records { table, counts, all, rounds, places } = records;
    let (seasons, earlier) = all.of_trial(declaration, trees);
    let mut trial = DeclaredTrial {
        id: id.to_owned(),
        declaration: declaration.clone(),
        observed: Vec::new(),
        trees: trees.len(),
        set_aside: rows.set_aside,
        earlier,
        price_ratio: None,
        region_of: BTreeMap::new(),
        notes: Vec::new(),
        doubts: Vec::new(),
        not_analysed: Vec::new(),
        seasons,
    };
    if trees.is_empty() {
        trial.lacks(NotAnalysed::of_rows(rows.read));
        return trial;
    }
    trial.doubt(sites::undeclared(declaration, trees, places).into_iter().collect());
    trial.doubt(doubts::absent_replicates(declaration, trees));
    trial.doubt(sites::stated(declaration, trees, places).into_iter().collect());
    let harvested = all.harvested(trees);
    let (told_of, misdated): (BTreeSet<i32>, Vec<Doubt>) =
        years::under_another_year(declaration, trees, all, &counts.picks).into_iter().unzip();
    trial.doubt(misdated);
    if trial.seasons.is_empty() {
        trial.lacks(NotAnalysed::of_seasons(
            declaration,
            &harvested,
            &rounds.picked(trees),
            rows.set_aside,
        ));
        return trial;
    }
    trial.notes.extend(missing::seasons_without_harvest(declaration, &harvested, &told_of));
    // One entry per tree and season, trees slowest.
    let at: Vec<(&TrialTree, i32, Option<usize>)> = trees
        .iter()
        .flat_map(|tree| {
            trial.seasons.iter().map(|&season| (*tree, season, all.row(&tree.tree, season)))
        })
        .collect();
    let mut shared = Shared::of(declaration, &at, all, table, earlier);
    shared.place(declaration, &at, places);
    let (mut partial, mut first_values) = (Partial::default(), None);
    for wanted in &declaration.traits {
        let values: Vec<Observed> =
            at.iter().map(|(.., row)| counts.of_row(*wanted, *row)).collect();
        let seen = values.iter().filter(|value| value.value.is_finite()).count();
        let observed = counts::trait_of(*wanted);
        if seen == 0 {
            let name = &observed.name;
            trial.lacks(NotAnalysed::of_trait(name));
            continue;
        }
        let exposure = values.iter().map(|value| value.exposure).collect::<Option<Vec<f64>>>();
        let values: Vec<f64> = values.iter().map(|value| value.value).collect();
        let counting = partial.counting(declaration, &at, &observed.name, &values);
        first_values.get_or_insert_with(|| values.clone());
        let all = Observations {
            trial: id.to_owned(),
            observed,
            values,
            exposure,
            columns: shared.columns.clone(),
            numbers: shared.numbers.clone(),
            tree: at.iter().map(|(tree, ..)| tree.tree.clone()).collect(),
            season: at.iter().map(|&(_, season, _)| Some(season)).collect(),
            place: at.iter().map(|(tree, ..)| tree.place.to_string()).collect(),
        };
        trial.observed.push(pooling::kept(&all, &counting));
    }
    trial.doubt(partial.doubts(declaration));
    trial.notes.extend(missing::gone(&at));
    trial.doubt(doubts::sites_without_season(declaration, &at));
    trial.notes.extend(missing::unharvested(declaration, &at, rows.picks_set_aside));
    trial.doubt(doubts::off_treatment(declaration, &at, table));
    trial.doubt(slipped::hundredths(declaration, &at, table));
    trial.doubt(slipped::covariate(declaration, &at, &shared.numbers).into_iter().collect());
    let Short { doubts: short, told, unfinished } =
        rounds.short(declaration, trees, &trial.seasons);
    trial.notes.extend(unfinished);
    // A season told by its rounds needs no count of its picks.
    let untold: Vec<(&TrialTree, i32, Option<usize>)> =
        at.iter().copied().filter(|(_, season, _)| !told.contains(season)).collect();
    trial.doubt(short);
    trial.doubt(doubts::short_of_picks(declaration, &untold, &counts.picks));
    if let Some(values) = first_values {
        trial.doubt(doubts::without_values(declaration, &at, &values));
        trial.doubt(doubts::dead_with_nothing(&at, &values).into_iter().collect());
    }
    trial
}

/// Columns that are the same for every trait.
struct Shared {
    columns: BTreeMap<String, Vec<Option<String>>>,
    numbers: BTreeMap<String, Vec<f64>>,
}

impl Shared {
    fn of(
        declaration: &TrialDeclaration,
        at: &[(&TrialTree, i32, Option<usize>)],
        all: &Seasons<'_>,
        table: &TreeSeasons,
        earlier: Option<i32>,
    ) -> Self {
        let names: Vec<&String> =
            at.first().map(|(tree, ..)| tree.columns.keys().collect()).unwrap_or_default();
        let cell = |tree: &TrialTree, name: &str| tree.columns.get(name).cloned().flatten();
        let columns = names.iter().map(|name| {
            let unit = declaration.amounts.get(*name);
            let cells = at.iter().map(|(tree, ..)| {
                let text = cell(tree, name);
                // One spelling for one amount, so that 0.3, 0.30 and 0,3 are one level.
                let number = unit.and_then(|unit| written_amount(text.as_deref()?, unit));
                number.map(|number| number.to_string()).or(text)
            });
            ((*name).clone(), cells.collect())
        });
        let columns: BTreeMap<String, Vec<Option<String>>> = columns.collect();
        let mut numbers = BTreeMap::new();
        let own = declaration.covariate.as_deref().filter(|name| columns.contains_key(*name));
        if let Some(name) = own {
            let values = at.iter().map(|(tree, ..)| {
                cell(tree, name).as_deref().and_then(written_number).unwrap_or(f64::NAN)
            });
            numbers.insert(name.to_owned(), values.collect());
        }
        let girths = at.iter().map(|(tree, ..)| tree.girth_cm.unwrap_or(f64::NAN));
        numbers.insert("girth_cm".to_owned(), girths.collect());
        let crops = at.iter().map(|(tree, ..)| {
            let row = earlier.and_then(|season| all.row(&tree.tree, season));
            row.and_then(|row| table.yield_kg.get(row)).copied().unwrap_or(f64::NAN)
        });
        numbers.insert("earlier_crop".to_owned(), crops.collect());
        Self { columns, numbers }
    }

    /// Rows and columns of the field: those of the trial's own rows where they have any, else those
    /// of the tree table (another trial's plan in the same table takes nothing from this one); as
    /// numbers, the middle of the trees of a plot, whether or not they gave a value.
    fn place(
        &mut self,
        declaration: &TrialDeclaration,
        at: &[(&TrialTree, i32, Option<usize>)],
        places: &Places<'_>,
    ) {
        let roles = &declaration.roles;
        for (along, (name, role)) in
            [("row", &roles.row), ("column", &roles.column)].into_iter().enumerate()
        {
            let column = role.as_deref().unwrap_or(name);
            let own = self.columns.get(column).filter(|cells| cells.iter().any(Option::is_some));
            let cells = match own {
                Some(own) => own.clone(),
                None if role.is_none() => {
                    let of = |(tree, ..): &(&TrialTree, i32, Option<usize>)| {
                        places.of_tree(&tree.tree, along).map(|place| place.to_string())
                    };
                    at.iter().map(of).collect()
                }
                None => continue,
            };
            let values: Vec<f64> = cells
                .iter()
                .map(|cell| cell.as_deref().and_then(written_number).unwrap_or(f64::NAN))
                .collect();
            self.columns.insert(column.to_owned(), cells);
            self.numbers.insert(name.to_owned(), means_of_plots(declaration, at, &values));
        }
    }
}

/// Region of each tree that was harvested.
fn region_of(trees: &[&TrialTree], table: &TreeSeasons) -> BTreeMap<String, String> {
    let own: BTreeSet<&str> = trees.iter().map(|tree| tree.tree.as_str()).collect();
    let rows = (0..table.len()).filter(|&row| own.contains(table.tree.label(row)));
    rows.map(|row| (table.tree.label(row).to_owned(), table.region.label(row).to_owned())).collect()
}

fn price_ratio(
    checked: &Checked,
    trial: &DeclaredTrial,
    table: &TreeSeasons,
    holdings: &Holdings,
) -> Option<f64> {
    let tree = trial.observed.first()?.tree.first()?;
    let row = (0..table.len()).find(|&row| table.tree.label(row) == tree)?;
    let region = table.region.label(row);
    let timed = holdings.timed.get(region).map_or(&[][..], Vec::as_slice);
    let book = &checked.tables.book;
    let season = i32::from(next_season(checked, region));
    let cost = Cost::of_region(book, region, timed, holdings.canopy_m3(book, region, season))?;
    let objective = cost.objective();
    (objective.price_per_kg > 0.0).then(|| objective.cost_full_canopy / objective.price_per_kg)
}
