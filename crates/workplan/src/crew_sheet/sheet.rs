//! The sheet itself.

use super::how_much::HowMuch;
use super::recipe::Recipe;
use super::{Drawing, canopy, collar_cut, lateral_cut, modified_leader, open_centre};
use crate::products::{ProductKind, Quantity};
use crate::safety::Hazards;
use crate::text::{Catalogue, Key};
use crate::tools::{ToolKind, ToolNeed, name};
use crate::young::{BlockTask, YoungTask};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use words::{counted, speaking, text};

/// What is done in a block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Work {
    /// Change to the advised intensity.
    Prune(HowMuch),
    /// Go on as at present.
    Keep(HowMuch),
    /// Prune as stated until a trial is laid out.
    Trial(HowMuch),
    /// Train young trees.
    Train {
        /// Tasks, in order.
        tasks: Vec<BlockTask>,
        /// Whether the block table names the training system.
        training_stated: bool,
    },
    /// Nothing by this plan: every tree belongs to designed trials and is cut by their field sheets.
    OfTrials,
}

/// Trees of a block that a designed trial treats.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InTrial {
    /// Trial id.
    pub trial: String,
    /// Trees, by id.
    pub ids: Vec<String>,
}

/// Trees of a block that a sheet does not count, by id, trials aside.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Apart {
    /// Grown trees that were pruned for this harvest already, by the records.
    pub pruned_already: Vec<String>,
    /// Trees younger than those of the sheet: left unpruned, in training, or on a sheet of their own.
    pub younger: Vec<String>,
}

/// Most ids of trees that a sheet lists; the tree table, or the field sheets of a trial, hold them all.
const LISTED: usize = 60;

impl InTrial {
    /// Number of trees.
    #[must_use]
    pub fn trees(&self) -> u64 {
        self.ids.len() as u64
    }
}

/// Trees by id, cut short where they are many.
fn listed(ids: &[String], words: &Catalogue) -> String {
    let first: Vec<&str> = ids.iter().take(LISTED).map(String::as_str).collect();
    match ids.len().saturating_sub(LISTED) {
        0 => first.join(", "),
        more => {
            let more = words.number(more as f64, 0);
            words.say(Key::AndMore, &[("first", &first.join(", ")), ("more", &more)])
        }
    }
}

/// A sentence on a number of trees of the block.
fn apart([one, more]: [Key; 2], trees: usize, words: &Catalogue) -> String {
    let key = if trees == 1 { one } else { more };
    words.say(key, &[("trees", &some_trees(trees as u64, words))])
}

/// A number of trees, as the language counts.
fn some_trees(number: u64, words: &Catalogue) -> String {
    speaking(words.spoken_language(), || counted(number, text!("tree"), text!("trees")))
}

/// What a sheet is made from.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetInput {
    /// Block.
    pub block: String,
    /// Site.
    pub site: String,
    /// Region, by its name for people.
    pub region: String,
    /// What is done.
    pub work: Work,
    /// Trees.
    pub trees: u64,
    /// Those of them worked on.
    pub trees_worked: u64,
    /// First and last day allowed.
    pub window: Option<[Date; 2]>,
    /// First and last day scheduled.
    pub scheduled: Option<[Date; 2]>,
    /// Share of the work that the window cannot hold, 0 to 1.
    pub left_undone: f64,
    /// Person-days.
    pub person_days: Option<f64>,
    /// People of the crew.
    pub crew_size: Option<f64>,
    /// Tools to take along.
    pub tools: Vec<ToolNeed>,
    /// Cut wood, stacked m3.
    pub stacked_m3: Option<f64>,
    /// Products used.
    pub quantities: Vec<Quantity>,
    /// Whether crowns are out of reach from the ground; say so when heights are not known.
    pub ladders: bool,
    /// Trees of the block that are none of `trees`, as designed trials treat them.
    pub in_trials: Vec<InTrial>,
    /// Trees of the block that are none of `trees`, trials aside.
    pub apart: Apart,
    /// `trees` by id, where they are not all of the block, trials aside.
    pub ids: Option<Vec<String>>,
    /// Age of the youngest tree on which the region's records show what is asked of grown trees, years,
    /// where all `trees` are younger.
    pub youngest_recorded: Option<f64>,
}

/// A number with its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fact {
    /// Name.
    pub label: String,
    /// Value with its unit.
    pub value: String,
}

/// What a printable sheet holds, in reading order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrewSheet {
    /// Language of the texts.
    pub language: String,
    /// The block.
    pub title: String,
    /// What is done.
    pub work: String,
    /// The instruction, in the largest type.
    pub how_much: Vec<String>,
    /// What to know before the first cut: trees that are not to be touched, trees of which no record
    /// tells.
    pub warnings: Vec<String>,
    /// Where to cut, or the tasks of young trees.
    pub steps: Vec<String>,
    /// Numbers and dates.
    pub facts: Vec<Fact>,
    /// Tools.
    pub tools: Vec<String>,
    /// Products.
    pub recipes: Vec<Recipe>,
    /// Cautions that belong to the work.
    pub cautions: Vec<String>,
    /// Drawings.
    pub drawings: Vec<Drawing>,
}

impl SheetInput {
    /// The sheet in a language.
    #[must_use]
    pub fn sheet(&self, words: &Catalogue) -> CrewSheet {
        let instruction = self.instruction();
        let cutting = self.cuts();
        let steps = match &self.work {
            Work::Train { tasks, training_stated } => {
                training_steps(tasks, *training_stated, self.trees, words)
            }
            _ if cutting => [Key::WhereSpread, Key::WhereLateral, Key::WhereCollar]
                .map(|key| words.text(key).to_owned())
                .to_vec(),
            _ => Vec::new(),
        };
        CrewSheet {
            language: words.language.to_owned(),
            title: self.block.clone(),
            work: words.text(self.work_key()).to_owned(),
            how_much: instruction.map_or_else(Vec::new, |how_much| how_much.lines(words)),
            warnings: self
                .warnings(words)
                .into_iter()
                .chain(self.trial_trees(words))
                .chain(self.left_alone(words))
                .chain(self.choice(words))
                .collect(),
            steps,
            facts: self.facts(words),
            tools: self.tools.iter().map(|need| tool_line(need, words)).collect(),
            recipes: self.quantities.iter().map(|quantity| Recipe::of(quantity, words)).collect(),
            cautions: self.cautions().iter().map(|key| words.text(*key).to_owned()).collect(),
            drawings: if cutting { self.drawings(words) } else { Vec::new() },
        }
    }

    /// Whether the sheet names a cut.
    fn cuts(&self) -> bool {
        match &self.work {
            Work::Prune(how_much) | Work::Keep(how_much) | Work::Trial(how_much) => {
                how_much.intensity > 0.0
            }
            Work::Train { .. } => true,
            Work::OfTrials => false,
        }
    }

    /// That trees belong to trials or were pruned already, and that what is asked was tried on none so
    /// young.
    #[must_use]
    pub fn warnings(&self, words: &Catalogue) -> Vec<String> {
        let of_trial = self.in_trials.iter().map(|own| {
            let trees = some_trees(own.trees(), words);
            let places = [("trees", trees.as_str()), ("trial", own.trial.as_str())];
            words.say(if own.trees() == 1 { Key::OfTrialOne } else { Key::OfTrial }, &places)
        });
        let young = self.youngest_recorded.map(|age| {
            let (trees, years) = (some_trees(self.trees, words), words.number(age.floor(), 0));
            // Who is asked for no cut need not be told to stop.
            let key = match (self.cuts(), self.trees) {
                (true, 1) => Key::YoungerThanRecordsOne,
                (true, _) => Key::YoungerThanRecords,
                (false, 1) => Key::YoungerLeftOne,
                (false, _) => Key::YoungerLeft,
            };
            words.say(key, &[("trees", &trees), ("years", &years)])
        });
        let already = &self.apart.pruned_already;
        let already = (!already.is_empty())
            .then(|| apart([Key::PrunedAlreadyOne, Key::PrunedAlready], already.len(), words));
        of_trial.chain(already).chain(young).collect()
    }

    /// The trees that a crew finds in the block and leaves alone, by id, a line per kind.
    fn left_alone(&self, words: &Catalogue) -> impl Iterator<Item = String> {
        let Apart { pruned_already, younger } = &self.apart;
        let ids = |key, ids: &[String]| {
            (!ids.is_empty()).then(|| words.say(key, &[("ids", &listed(ids, words))]))
        };
        let lines = [
            ids(Key::PrunedIds, pruned_already),
            (!younger.is_empty())
                .then(|| apart([Key::YoungerApartOne, Key::YoungerApart], younger.len(), words)),
            ids(Key::YoungerIds, younger),
        ];
        lines.into_iter().flatten()
    }

    /// The trees of trials among those that a crew works on, by id, a line per trial.
    fn trial_trees<'a>(&'a self, words: &'a Catalogue) -> impl Iterator<Item = String> + 'a {
        let among_others = self.work != Work::OfTrials;
        self.in_trials.iter().filter(move |_| among_others).map(|own| {
            let ids = listed(&own.ids, words);
            words.say(Key::TrialTrees, &[("trial", own.trial.as_str()), ("ids", ids.as_str())])
        })
    }

    /// That the plan does not say which of the trees are cut, where not all are.
    fn choice(&self, words: &Catalogue) -> Option<String> {
        let is_choice = self.cuts()
            && self.instruction().is_some()
            && (1..self.trees).contains(&self.trees_worked);
        is_choice.then(|| {
            let [worked, all] =
                [self.trees_worked, self.trees].map(|trees| words.number(trees as f64, 0));
            words.say(Key::ChooseTrees, &[("worked", &worked), ("all", &all)])
        })
    }

    /// Cautions that belong to the block's work.
    #[must_use]
    pub fn cautions(&self) -> Vec<Key> {
        let mut tools: Vec<ToolKind> = self.tools.iter().map(|need| need.kind).collect();
        let trains = matches!(self.work, Work::Train { .. });
        // Young trees are thinned and topped with whatever is at hand.
        if trains {
            tools.push(ToolKind::Power);
        }
        Hazards {
            cutting: self.cuts(),
            ladders: self.ladders || trains,
            tools,
            products: self.quantities.iter().map(|q| q.kind).collect::<Vec<ProductKind>>(),
        }
        .cautions()
    }

    /// The word for what is done.
    #[must_use]
    pub fn work_key(&self) -> Key {
        let unpruned = |how_much: &HowMuch| how_much.intensity <= 0.0;
        match &self.work {
            Work::Train { .. } => Key::Train,
            Work::OfTrials => Key::OfTrials,
            Work::Trial(_) => Key::Trial,
            Work::Prune(how_much) | Work::Keep(how_much) if unpruned(how_much) => Key::Rest,
            Work::Prune(_) => Key::Prune,
            Work::Keep(_) => Key::Keep,
        }
    }

    /// How much is cut; `None` for young trees and for those of trials.
    #[must_use]
    pub fn instruction(&self) -> Option<&HowMuch> {
        match &self.work {
            Work::Prune(how_much) | Work::Keep(how_much) | Work::Trial(how_much) => Some(how_much),
            Work::Train { .. } | Work::OfTrials => None,
        }
    }

    /// Trees, or how many of them where not all are worked on.
    pub(crate) fn trees_said(&self, words: &Catalogue) -> String {
        let all = words.number(self.trees as f64, 0);
        if self.trees_worked == self.trees {
            return all;
        }
        let worked = words.number(self.trees_worked as f64, 0);
        words.say(Key::TreesOf, &[("worked", &worked), ("all", &all)])
    }

    /// Share of the work that the window cannot hold, where it cannot.
    pub(crate) fn left_undone_said(&self, words: &Catalogue) -> Option<String> {
        (self.left_undone > 0.0)
            .then(|| format!("{} %", words.number((100.0 * self.left_undone).max(1.0), 0)))
    }

    fn facts(&self, words: &Catalogue) -> Vec<Fact> {
        let span = |[from, to]: [Date; 2]| words.span(from, to);
        let rows = [
            (Key::Dates, self.scheduled.map(span)),
            (Key::LeftUndone, self.left_undone_said(words)),
            (Key::Window, self.window.map(span)),
            (Key::Trees, Some(self.trees_said(words))),
            (Key::People, self.crew_size.map(|people| words.short(people, 1))),
            (Key::PersonDays, self.person_days.map(|days| small(days, words))),
            (Key::CutWood, self.stacked_m3.map(|m3| format!("{} m³", small(m3, words)))),
            (Key::Site, Some(self.site.clone())),
            (Key::Region, Some(self.region.clone())),
        ];
        rows.into_iter()
            .filter_map(|(key, value)| Some((words.text(key).to_owned(), value?)))
            .map(|(label, value)| Fact { label, value })
            .collect()
    }

    fn drawings(&self, words: &Catalogue) -> Vec<Drawing> {
        match &self.work {
            Work::Prune(how_much) | Work::Keep(how_much) | Work::Trial(how_much) => {
                vec![canopy(how_much, words), lateral_cut(words), collar_cut(words)]
            }
            Work::Train { tasks, .. } => tasks
                .iter()
                .filter_map(|task| match task.task {
                    YoungTask::Pinch { .. } => Some(open_centre(words)),
                    YoungTask::Top { low_m, high_m } => Some(modified_leader(low_m, high_m, words)),
                    _ => None,
                })
                .collect(),
            Work::OfTrials => Vec::new(),
        }
    }
}

fn training_steps(
    tasks: &[BlockTask],
    training_stated: bool,
    all: u64,
    words: &Catalogue,
) -> Vec<String> {
    let line = |task: &BlockTask| {
        let sentence = task.task.sentence(words);
        if task.trees == all {
            sentence
        } else {
            let trees = words.number(task.trees as f64, 0);
            words.say(Key::TaskTrees, &[("trees", &trees), ("task", &sentence)])
        }
    };
    let missing = (!training_stated).then(|| words.text(Key::TrainingMissing).to_owned());
    tasks.iter().map(line).chain(missing).collect()
}

/// A quantity of which a small one does not read as none.
fn small(value: f64, words: &Catalogue) -> String {
    match value {
        value if value < 1.0 => words.short(value, 2),
        value if value < 10.0 => words.number(value, 1),
        value => words.number(value, 0),
    }
}

fn tool_line(need: &ToolNeed, words: &Catalogue) -> String {
    let (tool, pieces) = (name(&need.tool, words), need.pieces.to_string());
    match need.cuts {
        Some(cuts) => words.say(
            Key::ToolPieces,
            &[("tool", tool), ("pieces", &pieces), ("cuts", &words.number(cuts, 0))],
        ),
        None => words.say(Key::ToolPiecesOnly, &[("tool", tool), ("pieces", &pieces)]),
    }
}
