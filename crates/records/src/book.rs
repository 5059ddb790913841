//! `book.toml`: the settings of a record book.

mod check;
mod locate;
mod trials;

use crate::work::{CutWood, Product, WorkSettings};
use crate::{Calendar, MeasuredAs, Problem, Table, Window};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use thiserror::Error;

pub use trials::{
    SeenTrials, TrialControl, TrialDeclaration, TrialDesign, TrialRoles, TrialTrait,
    written_amount, written_number,
};

/// Layout of record books that this program reads, as `format` under `[book]`.
pub const BOOK_FORMAT: u32 = 1;

/// A checked record-book description.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Book {
    /// Name and currency.
    pub book: BookMeta,
    /// Regions by id, as used in the block table.
    pub regions: BTreeMap<String, Region>,
    /// Prices and costs.
    pub economics: Economics,
    /// Choices with defaults.
    #[serde(default)]
    pub options: Options,
    /// Where the tables are and how they are written; tables left out are found by file stem.
    #[serde(default)]
    pub files: BTreeMap<Table, TableFiles>,
    /// Trials by id, as used in the trial table.
    #[serde(default)]
    pub trials: BTreeMap<String, TrialDeclaration>,
    /// Crews, working days and tools.
    #[serde(default)]
    pub work: WorkSettings,
    /// Dressings and sprays by name.
    #[serde(default)]
    pub products: BTreeMap<String, Product>,
}

/// `[book]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BookMeta {
    /// Layout of `book.toml` and the tables; 1, the only one so far, when absent.
    #[serde(default = "defaults::format")]
    pub format: u32,
    /// Name of the plantation company or programme, shown in reports.
    pub name: String,
    /// Language of reports, plots, crew sheets and calendars.
    #[serde(default)]
    pub language: ReportLanguage,
    /// Moisture, per cent of wet weight, to which yields are brought.
    #[serde(default = "defaults::reference_moisture_pct")]
    #[schemars(range(min = 0, max = 30))]
    pub reference_moisture_pct: f64,
    /// Moisture assumed of picks without one, per cent; without it such picks are taken as weighed at reference moisture.
    #[schemars(range(min = 0, max = 60))]
    pub default_moisture_pct: Option<f64>,
    /// Order of day and month in dates that are not ISO.
    #[serde(default)]
    pub dates: DateOrder,
    /// Decimal mark of numbers.
    #[serde(default)]
    pub decimal: DecimalMark,
    /// Files of the folder that are no table, and sheets as `FILE#SHEET`: notes, climate normals, a
    /// legend. Whatever else is not read is told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_tables: Vec<String>,
}

/// How dates are written. ISO dates and spreadsheet dates are understood everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// Only 2024-07-15.
    #[default]
    Iso,
    /// 15/07/2024.
    DayFirst,
    /// 07/15/2024.
    MonthFirst,
}

impl DateOrder {
    /// The word of `book.toml`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Iso => "iso",
            Self::DayFirst => "day_first",
            Self::MonthFirst => "month_first",
        }
    }
}

/// Languages of reports, by their tags.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReportLanguage {
    /// English.
    #[default]
    En,
    /// Portuguese.
    Pt,
}

/// How decimals are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DecimalMark {
    /// 3.5; a comma decimal is read only where it cannot mean thousands, and counted as a repair.
    #[default]
    Point,
    /// 3,5.
    Comma,
}

/// `[regions.ID]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// Name shown in reports; the id when absent.
    pub name: Option<String>,
    /// Harvest window, `["MM-DD", "MM-DD"]` for its first and last day; every region needs it.
    pub harvest: Option<Window>,
    /// Rest window; from the end of harvest to the flush when absent.
    pub rest: Option<Window>,
    /// Flush window; every region needs it.
    pub flush: Option<Window>,
    /// Price paid here per kg at reference moisture, instead of the book's.
    #[schemars(range(min = 1e-9, max = 1e12))]
    pub price_per_kg: Option<f64>,
    /// Wage per hour here, instead of the book's.
    #[schemars(range(min = 0, max = 1e12))]
    pub wage_per_hour: Option<f64>,
    /// Present practice, when routine records cannot show it.
    pub present: Option<PresentPractice>,
}

/// What the plantation does now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PresentPractice {
    /// Fraction removed.
    #[schemars(range(min = 0, max = 1))]
    pub intensity: f64,
    /// Days before the flush start.
    #[schemars(range(min = -365, max = 365))]
    pub lead_days: f64,
}

/// `[economics]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Economics {
    /// Currency code or word, shown beside money.
    pub currency: String,
    /// Price of raw nuts per kg at reference moisture.
    #[schemars(range(min = 1e-9, max = 1e12))]
    pub price_per_kg: f64,
    /// Wage per working hour.
    #[schemars(range(min = 0, max = 1e12))]
    pub wage_per_hour: f64,
    /// Stated working time, used where the pruning records carry no minutes.
    pub pruning_time: Option<PruningTime>,
    /// Materials (dressing, tool wear) per pruned tree.
    #[serde(default)]
    #[schemars(range(min = 0, max = 1e12))]
    pub materials_per_pruned_tree: f64,
    /// What becomes of cut wood.
    pub cut_wood: Option<CutWood>,
    /// Outturn of the plantation's own nuts, lb of kernel per 80 kg bag.
    #[schemars(range(min = 1, max = 88))]
    pub outturn_lb: Option<f64>,
    /// Outturn at which the price is quoted; prices are brought from it to `outturn_lb`.
    #[schemars(range(min = 1, max = 88))]
    pub price_outturn_lb: Option<f64>,
}

/// Working minutes per pruned tree: `minutes_per_tree + minutes_full_canopy x intensity`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PruningTime {
    /// Minutes per pruned tree that do not depend on intensity (walking, ladder).
    #[schemars(range(min = 0, max = 1440))]
    pub minutes_per_tree: f64,
    /// Additional minutes if the whole canopy were removed.
    #[schemars(range(min = 0, max = 10_000))]
    pub minutes_full_canopy: f64,
}

/// Response scale of the yield model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ResponseScale {
    /// Chosen by profiled Box-Cox among the three.
    #[default]
    Auto,
    /// Logarithm.
    Log,
    /// Square root.
    SquareRoot,
    /// As measured.
    Identity,
}

/// `[options]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Options {
    /// Season to advise for; the one after the last recorded when absent.
    #[schemars(range(min = 1900, max = 2200))]
    pub season: Option<i16>,
    /// Level of intervals, 0.5 to 0.999.
    #[schemars(range(min = 0.5, max = 0.999))]
    pub level: f64,
    /// Loss tolerated inside the advised band and before a change is worth making, per cent of the best net return.
    #[schemars(range(min = 0, max = 50))]
    pub tolerance_pct: f64,
    /// Trees younger than this get training tasks, not an intensity, years.
    #[schemars(range(min = 0, max = 20))]
    pub training_age_years: f64,
    /// Days by which a pick may miss its harvest window and still belong to it.
    #[schemars(range(min = 0, max = 60))]
    pub harvest_grace_days: i32,
    /// A season with picks of fewer trees than this share of what its region usually has is taken for a
    /// slip of the year, per cent: its picks are set aside. 0 takes every season as written.
    #[schemars(range(min = 0, max = 50))]
    pub least_season_pct: f64,
    /// Use only prunings measured on this basis; all bases with a basis term when absent.
    pub only_measured_as: Option<MeasuredAs>,
    /// Response scale of the yield model.
    pub response_scale: ResponseScale,
    /// Crew hours per working day, used for dates in the work plan.
    #[schemars(range(min = 1, max = 16))]
    pub hours_per_day: f64,
    /// Seasons over which a repeated practice is accounted, carry-over included, 1 to 20.
    #[schemars(range(min = 1, max = 20))]
    pub horizon_seasons: u32,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            season: None,
            level: 0.95,
            tolerance_pct: 2.0,
            training_age_years: 3.0,
            harvest_grace_days: 0,
            least_season_pct: 5.0,
            only_measured_as: None,
            response_scale: ResponseScale::Auto,
            hours_per_day: 7.0,
            horizon_seasons: 3,
        }
    }
}

/// The files of one table: `[[files.harvests]]`, as many as there are.
pub type TableFiles = Vec<FileOptions>;

/// How one file is written.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FileOptions {
    /// Path relative to the book folder. `*` stands for any text within a name:
    /// `path = "picks/*.csv"` reads every CSV file of that folder but those that another stanza of the
    /// table, or `not_tables`, names.
    pub path: String,
    /// Sheet name of a spreadsheet; the first sheet when absent. `*` stands for any text: every sheet of
    /// such a name that holds something and that no other stanza names.
    pub sheet: Option<String>,
    /// Header words of this file and the columns they mean.
    #[serde(default)]
    pub header: BTreeMap<String, String>,
    /// Columns whose text is made of several columns of this file, by their header words:
    /// `tree = ["Grove", "Row", "No"]` makes the ids `Grove/Row/No`.
    #[serde(default)]
    pub joined: BTreeMap<String, Vec<String>>,
    /// Header words of columns that mean nothing here, such as remarks; others that are not read are
    /// told.
    #[serde(default)]
    pub not_columns: Vec<String>,
    /// What this file's own words mean, by column (or header word of an id that is joined):
    /// `intensity = { light = 0.15, hard = "40 %" }`, read as if the cell held it; where `units` names the
    /// column too, a text with its own unit. A word that means an empty text stands for no value. A word and a
    /// meaning that both end in `*` change the beginning alone: `tree = { "MA-2/*" = "MA2/*" }`.
    #[serde(default)]
    pub values: BTreeMap<String, BTreeMap<String, StatedValue>>,
    /// Columns written once for a group of rows, as in merged cells: an empty cell takes what stands
    /// above it. Of an id that is joined, the header words that are written so.
    #[serde(default)]
    pub fill_down: Vec<String>,
    /// Texts of cells that make a row none of this table's, as `Total` does; capitals do not count, `*`
    /// stands for any text: `not_rows = ["Total*", "Checked by*"]`.
    #[serde(default)]
    pub not_rows: Vec<String>,
    /// Ids, or header words that an id is joined from, that files write with and without zeros before
    /// their numbers: `007` is read as `7`, `B1-011` as `B1-11`.
    #[serde(default)]
    pub drop_zeros: Vec<String>,
    /// Whether several rows of a tree on one day are visits of their own, as where trees are picked twice a day; of
    /// harvests and prunings. Else they are kept and told: the later may be a correction of the first.
    #[serde(default)]
    pub several_a_day: bool,
    /// Ids that files write with other marks between their parts, with the mark that is meant, by column:
    /// `marks = { tree = "/" }` reads `C1-7`, `C1.7` and `C1 7` as `C1/7`.
    #[serde(default)]
    pub marks: BTreeMap<String, String>,
    /// What is the same in every row and stands in no column of this file, by column:
    /// `every_row = { trial = "Depth 1", date = "2024-05-18" }`. Where `sheet` or `path` holds a `*`, one
    /// here takes what that stands for: `path = "picks/*.csv"` and `date = "*-15"` read `picks/2024-05.csv`
    /// as of 2024-05-15.
    #[serde(default)]
    pub every_row: BTreeMap<String, StatedValue>,
    /// Order of day and month, instead of the book's.
    pub dates: Option<DateOrder>,
    /// Decimal mark, instead of the book's.
    pub decimal: Option<DecimalMark>,
    /// Separator: `,`, `;`, tab or `|`; found from the header when absent.
    pub separator: Option<char>,
    /// Encoding label (`latin1`, `utf-16le`); found from the bytes when absent.
    pub encoding: Option<String>,
    /// Units of columns of this file that differ from the schema: `g`, `lb`, `pct`, `ft`, `mm`, `cm`, `m`;
    /// a quantity where tins or bags were counted (`2.5 kg`); `h:mm` or `m:ss` for times;
    /// `pct_left` or `fraction_left` where intensities say what a cut left of the canopy (`pct_cut` and
    /// `fraction_cut` that they say what it took, however hard).
    #[serde(default)]
    pub units: BTreeMap<String, String>,
    /// Basis of intensities in this file when no column says it.
    pub measured_as: Option<MeasuredAs>,
}

/// What a word of a file means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum StatedValue {
    /// A number, read as if the cell held it.
    Number(f64),
    /// A text, read as if the cell held it: a word of the schema, a number with its unit, or nothing.
    Text(String),
}

/// `book.toml` could not be used; every problem found, in file order.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("book.toml has {}", crate::counted(problems.len() as u64, "problem", "problems"))]
pub struct BookError {
    /// What is wrong.
    pub problems: Vec<Problem>,
}

impl Region {
    /// The region's calendar; `None` only in a book that was not checked.
    #[must_use]
    pub fn calendar(&self) -> Option<Calendar> {
        Some(Calendar { harvest: self.harvest?, rest: self.rest, flush: self.flush? })
    }
}

impl Book {
    /// Reads and checks the text of `book.toml`.
    ///
    /// # Errors
    /// [`BookError`] with every problem, each with its line and a remedy.
    pub fn parse(text: &str) -> Result<Self, BookError> {
        // Before unknown keys are complained of: a newer layout may well have some.
        if let Some(problem) = check::other_format(text) {
            return Err(BookError { problems: vec![problem] });
        }
        let mut book: Self = toml::from_str(text)
            .map_err(|error| BookError { problems: vec![locate::from_toml(text, &error)] })?;
        book.trials.values_mut().for_each(TrialDeclaration::name_columns);
        let problems = check::problems(&book, text);
        if problems.is_empty() { Ok(book) } else { Err(BookError { problems }) }
    }

    /// Problems of the declared trials that are told with the trial table at hand: columns that it
    /// has not, a control that no plot has, amounts of what is no factor. `seen` is `None` where
    /// there is no table, or none that could be read; `text` is that of `book.toml`.
    #[must_use]
    pub fn trial_problems(&self, text: &str, seen: Option<&SeenTrials>) -> Vec<Problem> {
        check::trial_problems(self, text, seen)
    }

    /// Line of the path of a file declared under `[[files.TABLE]]` in the text of `book.toml`.
    #[must_use]
    pub fn file_place(&self, text: &str, table: Table, path: &str) -> Option<u64> {
        locate::line_of_file(text, table, path)
    }

    /// Line of `[trials.ID]` in the text of `book.toml`.
    #[must_use]
    pub fn trial_place(&self, text: &str, id: &str) -> Option<u64> {
        self.trial_key_place(text, id, None)
    }

    /// Line of a key under `[trials.ID]`, or that of the header where the key does not stand there.
    #[must_use]
    pub fn trial_key_place(&self, text: &str, id: &str, key: Option<&str>) -> Option<u64> {
        locate::line_of(text, &format!("trials.{id}"), key)
    }

    /// Name of a region for people.
    #[must_use]
    pub fn region_name<'a>(&'a self, id: &'a str) -> &'a str {
        self.regions.get(id).and_then(|region| region.name.as_deref()).unwrap_or(id)
    }

    /// Price per kg in a region.
    #[must_use]
    pub fn price_per_kg(&self, region: &str) -> f64 {
        self.regions
            .get(region)
            .and_then(|region| region.price_per_kg)
            .unwrap_or(self.economics.price_per_kg)
    }

    /// Wage per hour in a region.
    #[must_use]
    pub fn wage_per_hour(&self, region: &str) -> f64 {
        self.regions
            .get(region)
            .and_then(|region| region.wage_per_hour)
            .unwrap_or(self.economics.wage_per_hour)
    }
}

mod defaults {
    pub(super) fn format() -> u32 {
        super::BOOK_FORMAT
    }

    pub(super) fn reference_moisture_pct() -> f64 {
        9.0
    }
}
