//! Every fixed word of the page, the plots and the sheets, in one place so that it can be translated.

pub mod laterals;
pub mod plan;

use advise::{Evidence, Verdict};
use words::{Text, constant, say, text};

pub const PRODUCT: &str = "Anacurve";

/// A verdict in one word.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Prune => text!("Change"),
        Verdict::Keep => text!("Keep"),
        Verdict::Trial => text!("Trial"),
    }
}

/// A shape for a verdict, the same in tables and plots.
pub fn verdict_shape(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Prune => "▲",
        Verdict::Keep => "■",
        Verdict::Trial => "○",
    }
}

/// What a verdict means.
pub const VERDICT_KEY: [(Verdict, Text); 3] = [
    (Verdict::Prune, constant!("the records support changing to the advised pruning")),
    (Verdict::Keep, constant!("present practice is within tolerance of the best")),
    (Verdict::Trial, constant!("the records cannot tell; a trial would")),
];

/// Kind of evidence.
pub fn evidence(evidence: Evidence) -> &'static str {
    match evidence {
        Evidence::Trial => text!("randomised trials"),
        Evidence::Routine => text!("everyday pruning records"),
        Evidence::Mixed => text!("randomised trials and everyday pruning records"),
    }
}

// How a number was computed, and long tables.
pub const HOW: Text = constant!("How computed");
pub const HOW_DECIDED: Text = constant!("How decided");
pub const SORT_BY: Text = constant!("Sort by");
pub const FILTER: Text = constant!("Show only rows with");
/// Places: rows shown, all rows.
pub const ROWS_SHOWN: Text = constant!("{shown} of {all} rows");

// Readers of the page.
pub const FOR_MANAGER: Text = constant!("For the manager");
pub const FOR_ANALYST: Text = constant!("For the analyst");
pub const FOR_RESEARCHER: Text = constant!("For the researcher");

// Headings.
pub const H_ANSWER: Text = constant!("The answer");
pub const H_COMPARE: Text = constant!("All regions compared");
pub const H_TRIALS: Text = constant!("Designed trials");
pub const H_FINDINGS: Text = constant!("Findings");
pub const CREW_SHEETS: Text = constant!("Crew sheets");
pub const SET_ASIDE: Text = constant!("Rows set aside");
pub const DICTIONARY: Text = constant!("Field dictionary");
pub const EVERY_ESTIMATE: Text = constant!("Every estimate");
pub const H_WORK: Text = constant!("Work plan");
pub const H_SAFETY: Text = constant!("Before anyone prunes");
pub const H_QUALITY: Text = constant!("Data quality");
pub const H_METHOD: Text = constant!("How this was computed");
pub const H_LIMITS: Text = constant!("What this does not know");
pub const H_FILES: Text = constant!("Files of this run");
pub const H_FIGURES: Text = constant!("Key figures");

// Columns of the comparison.
pub const T_ANSWER: Text = constant!("Advice for each region, with what it is worth");
pub const C_REGION: Text = constant!("Region");
pub const C_VERDICT: Text = constant!("Verdict");
pub const C_REMOVE: Text = constant!("Canopy to remove");
pub const C_WHEN: Text = constant!("When");
pub const C_GAIN: Text = constant!("Yield gain over present (kg per tree)");
pub const C_POINT: Text = constant!("Of");
pub const C_SERIES: Text = constant!("Series");
pub const C_CHANCE: Text = constant!("Chance of earning more");

pub fn c_net(currency: &str) -> String {
    say!("Net gain over present ({currency} per tree)")
}

/// Heading of the account over several seasons.
pub fn horizon(seasons: u32) -> String {
    say!("Over {seasons} seasons")
}

// Axes.
pub const AXIS_INTENSITY: Text = constant!("Canopy removed (%)");
pub const AXIS_YIELD: Text = constant!("Raw nuts (kg per tree)");
pub const AXIS_ODDS: Text = constant!("Chance of being best (%)");
pub const AXIS_LEAD: Text = constant!("Days before flush");
pub const AXIS_GAIN: Text = constant!("Yield gain over present (kg per tree)");

pub fn axis_net(currency: &str) -> String {
    say!("Net return ({currency} per tree)")
}

// Legends.
pub const L_MEDIAN: Text = constant!("expected");
pub const L_BAND: Text = constant!("interval");
pub const L_CLASSES: Text = constant!("observed, n trees");
pub const L_PRESENT: Text = constant!("present");
pub const L_ADVISED: Text = constant!("advised");
pub const L_UNTESTED: Text = constant!("not tested");
pub const L_TESTED: Text = constant!("tested range");
pub const L_NET_ODDS: Text = constant!("net return");
pub const L_YIELD_ODDS: Text = constant!("yield");
pub const L_CELL: Text = constant!("gain over unpruned (kg)");

/// Bar and table label of the unpruned class.
pub const UNPRUNED: Text = constant!("none");
pub const NOT_TESTED: Text = constant!("not tested");
pub const TABLE_OF_FIGURE: Text = constant!("The same figure as a table");
pub const NO_ADVICE: Text = constant!("no advice");

// Figure titles.
pub const F_CURVE: Text = constant!("Yield against pruning intensity");
pub const F_NET: Text = constant!("Net return against pruning intensity");
pub const F_ODDS: Text = constant!("Which intensity is best?");
pub const F_SURFACE: Text = constant!("Intensity and timing together");
pub const F_GAIN_KG: Text = constant!("Yield gain over present practice");
pub const F_GAIN_NET: Text = constant!("Net gain over present practice");
pub const F_DUMBBELL: Text = constant!("Present and advised intensity");

pub const CAPTION_CURVE: Text =
    constant!("Expected crop per tree at each intensity, with its interval.");
pub const CAPTION_MEANS: Text = constant!(
    "Circles are the means of recorded crops after taking out site, season, block, tree, age and variety; the number beside each is the trees behind it. Hatched: intensities the records of this region do not test."
);
pub const CAPTION_NET: Text =
    constant!("Expected crop times price, less the cost of pruning, with its interval.");
pub const CAPTION_ODDS: Text = constant!(
    "How often each class of intensity comes out best when the uncertainty of the curve is played through. Bars: net return. Diamonds: yield."
);
pub const CAPTION_SURFACE: Text = constant!(
    "Expected yield gain over leaving trees unpruned. Darker is more. Hatched cells are not tested by the records of this region, so nothing is claimed there."
);
pub const CAPTION_GAIN: Text = constant!(
    "Median and interval of each region. An interval that crosses the zero line leaves the sign open."
);
pub const CAPTION_DUMBBELL: Text = constant!(
    "Mean present intensity and advised intensity; the grey bar is the range the records test."
);
pub const NOT_ADVICE: Text =
    constant!("Not advice: the records cannot tell which practice is best.");
pub const CURVE_OF_RECORDS: Text =
    constant!("The curve shows what they say over the tested range.");
pub const NO_CURVE: Text =
    constant!("The records of this region support no response curve, so none is drawn.");
pub const NO_PICTURES: Text = constant!("There are no figures for this region.");
/// What the numbers of the terminal table are about.
pub const SUMMARY_NOTE: Text = constant!(
    "Gain and chance of earning more are against present practice; where the verdict is Keep or Trial they are those of the best practice that the records support, whose intensity stands behind the gain. An intensity in brackets is for the time until a trial is read."
);
pub const NO_REGIONS: Text = constant!("The record book has no regions, so there is no advice.");

pub fn caption_lead(days: &str) -> String {
    say!(
        " Drawn for pruning {days} before the flush, as the best practice that the records support has it."
    )
}

/// How to read intervals, odds and tolerance.
pub fn how_to_read(tolerance: &str) -> String {
    say!(
        "Gains are the middle of what the records leave possible, followed by the interval; where the \
         verdict is Keep or Trial they are those of the best practice that the records support, whose intensity stands behind the yield gain. An intensity in brackets is for the time until a trial is read. Chances come from the same computation. A practice within {tolerance} of the best net \
         return counts as good enough."
    )
}

/// Cautions shown wherever pruning work appears.
pub const CAUTIONS: [Text; 6] = [
    constant!(
        "Wear protective equipment: helmet, eye and hearing protection, gloves and sturdy shoes."
    ),
    constant!(
        "Ladders and power saws are for trained people only, never alone and never in wet or windy trees."
    ),
    constant!(
        "Cut clean, leave no stubs and clean tools between trees. Dress large wounds as local practice advises."
    ),
    constant!(
        "For any dressing or spray the product label, local rules and licensed practice come before anything written here."
    ),
    constant!(
        "Waiting times before harvest and before people may re-enter come from your local label: enter them in book.toml. Those that are missing are shown as missing."
    ),
    constant!(
        "Someone who knows the block decides for each tree; weak, diseased or recently damaged trees may need less pruning or none."
    ),
];

/// The cautions in one line, for the verdicts of regions.
pub const CAUTION_SHORT: Text = constant!(
    "Protective equipment; ladders and power saws by trained people only; product label, local rules and licensed practice prevail; enter the label's waiting times before harvest and re-entry yourself."
);

/// What to do about the verdict `trial`.
pub const HOW_TO_TRY: Text = constant!(
    "What the trees of each region can find, and how many trees, plots and seasons a difference needs, is told by `anacurve size`; `anacurve layout` draws its plan by lot and prints the sheets for the field. Both explain themselves with --help; the trial is then declared in book.toml, and the next run analyses it."
);

pub const WORK_NONE: Text = constant!("There are no blocks to plan for.");

pub const QUALITY_INTRO: Text = constant!(
    "Every row read is either kept or set aside in quarantine.csv with its reason. Rows that could be read but name an unknown tree or an impossible day are set aside by linking: they count as set aside in the first table and as not linked in the second. Every repair is counted."
);
pub const BALANCED: Text = constant!("✓ yes");
pub const UNBALANCED: Text = constant!("✗ NO");
pub const NO_FINDINGS: Text = constant!("Nothing was found that needs a look.");
pub const NO_LIMITS: Text = constant!("No limits were recorded for this run.");

pub fn quarantined(rows: &str) -> String {
    say!("Rows set aside: {rows}.")
}

pub fn more_places(n: usize) -> String {
    say!("and {n} more")
}

/// Severity word of a finding.
pub fn severity(severity: records::Severity) -> &'static str {
    match severity {
        records::Severity::Repaired => text!("repaired"),
        records::Severity::Warning => text!("please look"),
        records::Severity::Quarantined => text!("set aside"),
        records::Severity::Fatal => text!("stopped the run"),
    }
}

/// Files that stand beside the page, with what they hold.
pub const FILES: [(&str, Text); 20] = [
    ("advice.json", constant!("the advice, for programs")),
    ("advice.csv", constant!("one row per region, for spreadsheets")),
    ("advice.parquet", constant!("the same table, typed")),
    ("crew_sheets.html", constant!("one printed page per block for the crew")),
    (
        "workplan.xlsx",
        constant!("the work plan with materials, shopping list, tools and alarms as a spreadsheet"),
    ),
    ("workplan.csv", constant!("the blocks of the plan as plain text")),
    ("materials.csv", constant!("what each block takes of every product")),
    ("shopping.csv", constant!("what to buy")),
    ("tools.csv", constant!("tools of each crew")),
    ("alarms.csv", constant!("what the windows cannot hold")),
    ("missing.csv", constant!("settings that the plan would need")),
    ("laterals.json", constant!("shoots, flowers and the path to yield, for programs")),
    ("calendar.ics", constant!("the days of each block for a calendar")),
    ("review.html", constant!("the season just closed, with maps and scores")),
    (
        "review.xlsx",
        constant!("its tables as a spreadsheet; each also as plain text in the folder review"),
    ),
    ("review.json", constant!("every number of the review, for programs")),
    ("dictionary.html", constant!("what every field means")),
    ("quarantine.csv", constant!("rows set aside, each with its text, reason and remedy")),
    ("tree_seasons.parquet", constant!("the linked records, one row per tree and season")),
    ("fit.json", constant!("every estimate of the yield model, for checking")),
];

pub const H_REVIEW: Text = constant!("season review");
pub const C_LIMITS: Text = constant!("Limits");
pub const WHOLE_REVIEW: Text = constant!("The whole season review");
pub const H_SEASON: Text = constant!("How the season went");
pub const SKIP_TO_SEASON: Text = constant!("Skip to how the season went");
pub const ON_THIS_PAGE: Text = constant!("On this page");
pub const REVIEW_FILES: Text =
    constant!("Every table above as a spreadsheet, and all numbers for programs:");
pub const REVIEW_MORE: Text = constant!(
    "Sites, blocks, varieties and ages, trees to look at, the plan kept or not, and the advice scored:"
);
pub const SAME_BYTES: Text = constant!("the same records and seed give the same report");
