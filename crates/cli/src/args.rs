//! What can be typed on the command line.

mod distributed;
mod help;
mod plan;
mod review;

pub use distributed::{FitMomentsArgs, SqlArgs};
pub use help::{CompletionsArgs, ExplainArgs, ManualArgs, SchemaArgs, SchemaFormat};
pub use plan::{PlanArgs, WhatIfArgs};
pub use review::{ReviewArgs, ZonesArgs};

use clap::builder::{PossibleValue, TypedValueParser};
use clap::{Arg, Args, Parser, Subcommand, ValueEnum};
use plantation_sim::Example;
use records::TrialDesign;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use trials::size::Comparison;

const ABOUT: &str =
    "Next season's pruning intensity and window per region, from a plantation's own records";

const AFTER: &str = "\
Getting started:
  anacurve demo my-book      write an example record book
  anacurve check my-book     see what is read, linked and set aside
  anacurve run my-book       write the report to reports/<book>/<season>/index.html
  anacurve plan my-book --out plan      the work plan alone: crew sheets, calendar, shopping list
  anacurve whatif my-book --price 0.9   what other prices, wages and yields would bring
  anacurve trial my-book     analyse the designed trials that book.toml declares
  anacurve size --help       how large the next trial must be
  anacurve layout --help     draw the next trial by lot

A record book is a folder with book.toml (regions with their calendars, prices, costs) and the
tables blocks, trees, prunings and harvests (laterals and trials if you have them) as CSV, TSV,
XLSX, ODS or Parquet.

Exit codes:
  0  done
  1  done, with findings that a person should look at (check, trial; run with --strict; plan where a
     window cannot hold the work or blocks or trees were set aside; review where the records do not
     allow one; zones where a zone is not stable; fit-moments where the fit does not converge or the
     sums do not determine it)
  2  failed: nothing was written but what the message names";

/// The command line.
#[derive(Debug, Parser)]
#[command(name = "anacurve", version, about = ABOUT, after_help = AFTER, max_term_width = 100)]
pub struct Cli {
    /// Language of what is written for people: en or pt; book.toml's own where absent
    #[arg(long, global = true, value_name = "LANG", value_parser = Closed::of(spoken, languages))]
    pub language: Option<words::Language>,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// A value of a closed set, which completions and help list.
#[derive(Clone)]
struct Closed<T: Clone + Send + Sync + 'static> {
    parse: fn(&str) -> Result<T, String>,
    known: fn() -> Vec<&'static str>,
}

impl<T: Clone + Send + Sync + 'static> Closed<T> {
    fn of(parse: fn(&str) -> Result<T, String>, known: fn() -> Vec<&'static str>) -> Self {
        Self { parse, known }
    }
}

impl<T: Clone + Send + Sync + 'static> TypedValueParser for Closed<T> {
    type Value = T;

    fn parse_ref(
        &self,
        command: &clap::Command,
        argument: Option<&Arg>,
        value: &OsStr,
    ) -> Result<T, clap::Error> {
        self.parse.parse_ref(command, argument, value)
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new((self.known)().into_iter().map(PossibleValue::new)))
    }
}

fn languages() -> Vec<&'static str> {
    words::Language::ALL.map(words::Language::tag).to_vec()
}

fn spoken(tag: &str) -> Result<words::Language, String> {
    let known =
        || words::Language::ALL.map(|language| format!("{} ({})", language.tag(), language.name()));
    words::Language::of(tag).ok_or_else(|| format!("languages are {}", known().join(", ")))
}

impl Command {
    /// The record book whose language is spoken, where the command has one.
    #[must_use]
    pub fn book(&self) -> Option<&Path> {
        match self {
            Self::Run(args) => Some(&args.book),
            Self::Review(args) => Some(&args.book),
            Self::Plan(args) => Some(&args.book),
            Self::WhatIf(args) => Some(&args.book),
            Self::Check(args) => Some(&args.book),
            Self::Trial(args) => Some(&args.book),
            Self::Size(args) => args.book.as_deref(),
            Self::Layout(args) => args.book.as_deref(),
            Self::Sql(args) => Some(&args.book),
            Self::Zones(_)
            | Self::FitMoments(_)
            | Self::Explain(_)
            | Self::Schema(_)
            | Self::Completions(_)
            | Self::Manual(_)
            | Self::Demo(_) => None,
        }
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check, link, fit and advise, and write the report of a record book
    Run(RunArgs),
    /// Review the season just closed: yields against expectation, trees, plan kept, advice scored
    Review(ReviewArgs),
    /// Write the work plan alone: crew sheets, spreadsheet, calendar and shopping list
    Plan(PlanArgs),
    /// What other prices, wages, yields and horizons would bring
    #[command(name = "whatif")]
    WhatIf(WhatIfArgs),
    /// Read and link a record book and print what was kept, repaired, set aside and why
    Check(CheckArgs),
    /// Analyse the designed trials of a record book as journals expect
    Trial(TrialArgs),
    /// How large the next trial must be: power by trees, replicates and seasons
    Size(Box<SizeArgs>),
    /// Draw a new trial by lot: field map, field sheets, labels and the tables to read back
    Layout(LayoutArgs),
    /// Propose regions from climate normals, for blocks that have none yet
    Zones(ZonesArgs),
    /// Write the yield model as standard SQL, for more records than one machine holds
    Sql(SqlArgs),
    /// Fit the yield model from the table of sums that the SQL of `sql` gave
    FitMoments(FitMomentsArgs),
    /// Say what the code of a problem means, why it matters and what to do
    Explain(ExplainArgs),
    /// Print what a record book may hold: tables, columns, units, ranges, book.toml
    Schema(SchemaArgs),
    /// Print the script that completes commands in a shell
    Completions(CompletionsArgs),
    /// Write manual pages, one per command
    Manual(ManualArgs),
    /// Write an invented record book to try the program on
    Demo(DemoArgs),
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Lines for people.
    Text,
    /// One JSON document for programs.
    Json,
}

/// Arguments of `run`.
#[derive(Debug, Args)]
#[command(after_help = "\
Writes to OUT/<book>/<season>/: index.html (the report, also to print), advice.csv, advice.json,
advice.parquet, crew_sheets.html, workplan.xlsx and its sheets as CSV, calendar.ics, fit.json, draws.arrow,
tree_seasons.parquet, quarantine.csv and plots/. The folder is replaced as a whole at the end, so an
interrupted run leaves the last report as it was. The same records and seed give the same bytes.
Records too few for a fit still get a report: every region is advised to lay out a trial, with the
reason, and there is no draws.arrow.

Exit code 2 means that no report was written, or that its message names the report because only what
is printed failed; 1 (with --strict only) that the report is written and something was set aside or
needs a look.

Examples:
  anacurve run data-demo
  anacurve run my-book --out season-reports --format json > advice.json")]
pub struct RunArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Folder under which the report folder is written
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub out: PathBuf,
    /// Seed of every random draw; the same seed gives the same report
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How the advice is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Exit with 1 when rows were set aside or anything needs a look
    #[arg(long)]
    pub strict: bool,
    /// Keep the advice and the scores of earlier advice in the book (folder kept)
    #[arg(long)]
    pub keep: bool,
    /// Use the records as they stood when this season's harvest closed
    #[arg(long, value_name = "YEAR", value_parser = year)]
    pub through: Option<i16>,
    /// Keep the rows of every file in this folder, and parse only files that are new or changed
    ///
    /// The report is the same with and without it. The folder may be deleted at any time.
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Use the records of this share of the trees alone, for books larger than memory
    ///
    /// Sites are drawn in each region, at least twenty, and trees within them, with all their
    /// seasons; every tree of a trial is among them. The work plan still holds all trees. Intervals
    /// are as wide as the trees drawn make them.
    #[arg(long, value_name = "SHARE", value_parser = share, conflicts_with = "cache")]
    pub draw_trees: Option<f64>,
    /// Write the seconds of each stage and the most memory held to this file, as JSON
    #[arg(long, value_name = "FILE")]
    pub timings: Option<PathBuf>,
}

const CHECK_HELP: &str = "\
Prints, file by file, rows read = kept + quarantined; what was linked into tree-seasons and what
was not, with the reason; and every problem as file:line:column with what to do about it.

Below, two rows of every file of visits, drawn at random, are shown as they were read. Compare them
with the field books: a swapped day and month, a wrong unit or a shifted column shows there, and in
no rule. The same seed draws the same rows, another seed others.

With --out, writes tree_seasons.parquet and quarantine.csv into that folder.

Exit code 1 means that something was set aside or needs a look, 2 that the book cannot be used.

Examples:
  anacurve check my-book
  anacurve check my-book --seed 2
  anacurve check my-book --out checked --format json";

/// The sizes up to which a book is read, in words.
fn limits() -> String {
    let mut text =
        "A larger file is refused, a longer row or text sets its row aside:\n".to_owned();
    for limit in records::limits::ALL {
        text.push_str(&format!("  {:<46} {}\n", limit.what, limit.words()));
    }
    text
}

/// Arguments of `check`.
#[derive(Debug, Args)]
#[command(after_help = CHECK_HELP, after_long_help = format!("{CHECK_HELP}\n\n{}", limits()))]
pub struct CheckArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Folder for tree_seasons.parquet and quarantine.csv, none that another command writes; nothing is written without it
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Keep the rows of every file in this folder, and parse only files that are new or changed
    #[arg(long, value_name = "DIR")]
    pub cache: Option<PathBuf>,
    /// Seed of the rows drawn for comparison with the field books
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// How the findings are printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `demo`.
#[derive(Debug, Args)]
#[command(after_help = "\
Companies, places and records are invented; truth.json says what a perfect analysis would find.

  --kind demo     six regions with every kind of table, untidy files and about 1 % bad rows
  --kind first    one farm, four plain tables, nothing wrong in them: a pattern for your own
  --kind trial    a trial field and nothing else
  --kind untidy   two sites with spreadsheets, headings of their own, wet nuts in grams, slips

The same seed writes the same book; with another the true curves stay, while weather, trees and slips
of the pen differ.

Examples:
  anacurve demo try-it && anacurve run try-it
  anacurve demo my-book --kind first
  anacurve demo --out try-it --seed 7")]
pub struct DemoArgs {
    /// Folder to write; it must be new or empty
    #[arg(value_name = "DIR", required_unless_present = "out")]
    pub dir: Option<PathBuf>,
    /// The same folder, named as in run and check; give one of the two
    #[arg(long, value_name = "DIR", conflicts_with = "dir")]
    pub out: Option<PathBuf>,
    /// Which book: the whole demo or a small one
    #[arg(long, value_name = "KIND", default_value = "demo", value_parser = Closed::of(example, examples))]
    pub kind: Example,
    /// Seed of the invented records; each kind has one of its own
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `trial`.
#[derive(Debug, Args)]
#[command(after_help = "\
A trial is declared in book.toml by the roles of its columns, for example:

  [trials.OC-depth]
  title = \"How much canopy to remove\"
  design = \"randomised_blocks\"
  factors = [\"intensity_level\"]
  amounts = { intensity_level = \"fraction\" }
  roles = { plot = \"plot\" }

Further entries: main_factors, sub_factors, sub_sub_factors (split plots and strips), checks
(augmented blocks), control = { factor, level, beside_factorial }, covariate = \"earlier_crop\",
\"girth_cm\" or a column, traits, seasons, letters = true. An amount is in fraction (of the canopy:
0.15 or 15 %), days, percent (any other per cent: 15 or 15 %) or a unit of its own. Levels of a
fraction are compared with the cuts on record, and those in days of a factor with lead in its name
with the days of the prunings; of another name, or in percent, where the prunings are plainly its
levels. The model follows from the design and is printed in words. A trial that follows another on
the same trees has rows of its own in the trial table; seasons tells which harvests belong to which.

With --out, writes trials.html (finding, plan in words, analysis of variance, means with SEm, SEd and
CD at 5 and 1 %, CV, comparisons, plots, residual checks, methods), every table as CSV and one
spreadsheet per trial under trials/, trials/*-components.toml for size --components, and trials.json
with every number.

Exit code 1 means that a trial or a trait of one was not analysed, that rows of its table look
mistyped, or that rows of it or of the picks and prunings of its trees were set aside, so that the
result is without them (a harvest still to come is none of these); 2 that nothing was written
but what the message names.

Examples:
  anacurve trial data-demo
  anacurve trial data-demo TD-date --out trial-report
  anacurve trial data-demo --format json > trials.json")]
pub struct TrialArgs {
    /// Folder of the record book, with its book.toml
    pub book: PathBuf,
    /// Trials to analyse; all declared ones when none is named
    #[arg(value_name = "ID")]
    pub trials: Vec<String>,
    /// Folder for the page and tables; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// How the findings are printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// Arguments of `size`.
#[derive(Debug, Args)]
#[command(after_help = "\
How much trees vary comes from the yield model of the book, or from --components: a TOML file of
coefficients of variation in per cent, for example

  tree = 35            between trees of a plot, lasting
  tree_season = 25     of a tree from season to season
  plot = 5             between plots

and, where known, replicate, main_plot, sub_plot, season, treatment_season, main_plot_season,
plot_season. Absent ones are 0. adjusted_for names the covariate that they were adjusted for, and
plot_limit is the most that plots may vary where they seem not to: both are told beside the sizes.
The report of an analysed trial holds such a file for each trait:
trials/TRIAL-TRAIT-components.toml under the folder of trial --out and of run.

Prints the power of every combination of --trees, --replicates and --seasons, and the fewest trees
that suffice. With --out, writes size.html with the trade-off drawn, size/*.csv and size.json.

Examples:
  anacurve size data-demo --treatments 5 --difference 20
  anacurve size data-demo --design split_plot --main 3 --sub 3 --compare sub --difference 15
  anacurve size --components cv.toml --treatments 4 --difference 25 --out size-report
  anacurve size data-demo --treatments 5 --difference 20 --levels 0,0.15,0.30,0.45,0.60 \
    --optimum 0.30 --gain 20")]
pub struct SizeArgs {
    /// Record book whose yield model tells how much trees vary
    #[arg(value_name = "BOOK")]
    pub book: Option<PathBuf>,
    /// Coefficients of variation instead of a book's
    #[arg(long, value_name = "FILE.toml", conflicts_with = "book")]
    pub components: Option<PathBuf>,
    /// Design, as in book.toml
    #[arg(long, value_name = "DESIGN", default_value = "randomised_blocks", value_parser = Closed::of(design, designs))]
    pub design: TrialDesign,
    /// Treatments, the control among them
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub treatments: usize,
    /// Main-plot treatments of a split plot; strips one way
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub main: usize,
    /// Sub-plot treatments; strips across
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub sub: usize,
    /// Sub-sub-plot treatments
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub sub_sub: usize,
    /// Checks of an augmented design
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub checks: usize,
    /// Incomplete blocks of a replicate
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub blocks: usize,
    /// Average efficiency factor of incomplete blocks, as a layout states it
    #[arg(long, value_name = "E", value_parser = number, allow_negative_numbers = true, default_value_t = 1.0)]
    pub efficiency: f64,
    /// Means compared: treatments, checks, main, sub, sub_sub, sub_within_main, main_at_sub,
    /// sub_sub_within or main_by_sub; treatments, or sub for split plots, when absent
    #[arg(long, value_name = "MEANS", value_parser = comparison)]
    pub compare: Option<Comparison>,
    /// Difference to be found, per cent of the mean; without it the smallest that each size finds
    #[arg(long, value_name = "PCT", value_parser = number, allow_negative_numbers = true)]
    pub difference: Option<f64>,
    /// Power wanted, per cent
    #[arg(long, value_name = "PCT", value_parser = number, allow_negative_numbers = true, default_value_t = 80.0)]
    pub power: f64,
    /// Level of the test, per cent
    #[arg(long, value_name = "PCT", value_parser = number, allow_negative_numbers = true, default_value_t = 5.0)]
    pub alpha: f64,
    /// Trees per plot to try
    #[arg(long, value_name = "N,..", value_delimiter = ',', default_value = "1,2,4,6")]
    pub trees: Vec<usize>,
    /// Replicates to try
    #[arg(long, value_name = "N,..", value_delimiter = ',', default_value = "3,4,5,6,8,10,12,16")]
    pub replicates: Vec<usize>,
    /// Seasons to try
    #[arg(long, value_name = "N,..", value_delimiter = ',', default_value = "1,2,3")]
    pub seasons: Vec<usize>,
    /// The answer is for other seasons than those observed
    #[arg(long)]
    pub other_seasons: bool,
    /// Levels of an amount, such as 0,0.15,0.30,0.45,0.60: asks for the replicates that locate its
    /// best too
    #[arg(long, value_name = "X,..", value_parser = number, allow_negative_numbers = true, value_delimiter = ',')]
    pub levels: Vec<f64>,
    /// Best level supposed true, in the unit of --levels
    #[arg(long, value_name = "X", value_parser = number, allow_negative_numbers = true, requires = "levels")]
    pub optimum: Option<f64>,
    /// What the best level is supposed to yield more than the lowest, per cent of the mean
    #[arg(long, value_name = "PCT", value_parser = number, allow_negative_numbers = true, requires = "levels")]
    pub gain: Option<f64>,
    /// The best level is located when the estimate is this near to it, in the unit of --levels and
    /// less than half their range; a third of the smallest step between levels when absent
    #[arg(long, value_name = "X", value_parser = number, allow_negative_numbers = true, requires = "levels")]
    pub within: Option<f64>,
    /// Folder for the page; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

fn share(text: &str) -> Result<f64, String> {
    let found: Option<f64> = text.parse().ok();
    found
        .filter(|share| *share > 0.0 && *share < 1.0)
        .ok_or_else(|| "a share lies between 0 and 1, such as 0.05 for a twentieth".to_owned())
}

/// A number of a command line, which takes the decimal point in every language, as `book.toml` does.
fn number(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        // What is no finite number is refused where its range is known.
        Ok(number) => Ok(number),
        _ if text.contains(',') => {
            let meant = text.replace(',', ".");
            Err(format!("numbers take a decimal point here: did you mean {meant}?"))
        }
        _ => Err("this is no number; write digits with a decimal point, such as 1.5".to_owned()),
    }
}

/// A year of a command line.
fn year(text: &str) -> Result<i16, String> {
    let found: Option<i16> = text.parse().ok();
    found
        .filter(|year| (1900..=2200).contains(year))
        .ok_or_else(|| "a year is wanted, such as 2026".to_owned())
}

/// Most money of a command line: sums of it over trees, hectares and seasons fit their columns.
const MOST_MONEY: f64 = 1e9;
/// Most that yields are supposed to be of those expected.
const MOST_YIELD_LEVEL: f64 = 100.0;

/// Money of a command line.
fn money(text: &str) -> Result<f64, String> {
    match number(text)? {
        money if money.is_nan() => Err("this is no amount of money".to_owned()),
        money if money < 0.0 => Err("money is zero or more".to_owned()),
        money if money > MOST_MONEY => {
            Err(format!("money is from 0 to {MOST_MONEY}: count in a larger unit of it"))
        }
        money => Ok(money),
    }
}

/// A multiple of the yields expected.
fn yield_level(text: &str) -> Result<f64, String> {
    match number(text)? {
        // Written so that NaN is refused.
        level if !(0.0..=MOST_YIELD_LEVEL).contains(&level) => Err(format!(
            "a multiple of the yields expected is from 0 to {MOST_YIELD_LEVEL}, such as 0.8 for a \
             fifth less"
        )),
        level => Ok(level),
    }
}

fn examples() -> Vec<&'static str> {
    Example::ALL.map(Example::as_str).to_vec()
}

fn example(text: &str) -> Result<Example, String> {
    let known = Example::ALL.map(Example::as_str).join(", ");
    let found = Example::ALL.into_iter().find(|example| example.as_str() == text);
    found.ok_or_else(|| format!("no example book of that name; known are {known}"))
}

fn designs() -> Vec<&'static str> {
    TrialDesign::ALL.map(TrialDesign::as_str).to_vec()
}

fn design(text: &str) -> Result<TrialDesign, String> {
    let known = TrialDesign::ALL.map(TrialDesign::as_str).join(", ");
    let found = TrialDesign::ALL.into_iter().find(|design| design.as_str() == text);
    found.ok_or_else(|| format!("no design of that name; known are {known}"))
}

fn comparison(text: &str) -> Result<Comparison, String> {
    serde_json::from_value(serde_json::Value::String(text.to_owned()))
        .map_err(|_| "no comparison of that name; see --help".to_owned())
}

/// Arguments of `layout`.
#[derive(Debug, Args)]
#[command(after_help = LAYOUT_HELP)]
pub struct LayoutArgs {
    /// What is wanted, as TOML; or the layout.json of a trial drawn before, to print its sheets again
    #[arg(value_name = "REQUEST")]
    pub request: PathBuf,
    /// Record book whose trees the trial will use, with their places, earlier crop and girth
    #[arg(long, value_name = "BOOK")]
    pub book: Option<PathBuf>,
    /// Folder to write; a folder written by this command before is replaced
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Seed of the draw, which a request needs; write it down with the trial
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

const LAYOUT_HELP: &str = "\
Writes to DIR: map.svg (field map), field-sheets.html (map, sheets and cautions, to print),
field-sheets.xlsx (plots, pruning and harvest sheets, labels), trials.csv (rows for the trial table),
book-section.toml (lines for book.toml) and layout.json. Put the rows and the lines into the book,
prune, harvest, and `anacurve run` or `anacurve trial` analyses the trial without further edits.
Of a new field it also writes trees.csv and, where [field] states site and region, blocks.csv: put
them into the book too, for example as trees-north.csv and blocks-north.csv, or add their rows.

For a further season give the layout.json of the trial instead of a request: nothing is drawn, and
map and field sheets are written again, with --book without the trees that no longer stand.

A request (this one, saved as next.toml, works on the demo book):

  trial = \"OC-next\"
  title = \"Date and depth of the cut\"
  design = \"split_plot\"
  replicates = 3
  trees_per_plot = { rows = 1, columns = 2 }

  [[factors]]
  name = \"lead_days\"
  levels = [\"20\", \"50\"]
  unit = \"days\"
  on = \"main_plots\"

  [[factors]]
  name = \"intensity_level\"
  levels = [\"0.15\", \"0.30\", \"0.45\"]
  unit = \"fraction\"
  on = \"sub_plots\"

  [field]
  blocks = [\"OC03\"]

design: completely_randomised, randomised_blocks, latin_square, split_plot, split_split_plot,
strip_plot, incomplete_blocks (with plots_per_block) or augmented_blocks (with checks).
on: plots (the default), main_plots, sub_plots or sub_sub_plots; for strips, main_plots one way and
sub_plots across. unit: only for levels that are amounts; levels in days of a factor with lead in its
name are days from pruning to the start of the flush, and get the dates of the region's calendar.
[field]: blocks of --book, which needs no prunings and no harvests yet; or trees listed as
{ tree, block, row, column, earlier_crop, girth_cm }; or rows and columns of plots of a field yet to
be planted, with the site and region that it will lie in, and block, its id (the trial's if absent);
--book then tells the calendar. Trees that by their status no longer stand are left out and named.
Further entries: control = { factor, level, beside_factorial }, replication = { LABEL = N },
guards = { around_trial, between_plots, inside_plots },
restrictions = { no_equal_neighbours, never_neighbours, corners },
blocking = position, plantation_block, earlier_crop or girth,
balance = { on = [\"earlier_crop\"], acceptance = 0.01 } to draw until treatments are alike in it,
traits = [\"nut_yield\"], picks_per_tree = 3 for as many lines of each tree on the harvest sheet.
A trial at several sites is drawn site by site, a request each with the same id and site = \"NAME\";
book.toml takes the section of the first, and the book the tables and sheets of each.

Examples:
  anacurve layout next.toml --book data-demo --out next-trial --seed 20261125
  anacurve layout new-field.toml --out new-field --seed 7 --format json";
