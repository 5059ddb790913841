//! Every fixed word of the page, the plots and the sheets, in one place so that it can be translated.

pub mod laterals;
pub mod plan;

use advise::{Evidence, Verdict};

/// Language of this catalogue, as an HTML `lang` value.
pub const LANGUAGE: &str = "en";
pub const PRODUCT: &str = "Anacurve";

/// Month names, January first.
pub fn month(number: i8) -> &'static str {
    match number {
        1 => "January",
        2 => "February",
        3 => "March",
        4 => "April",
        5 => "May",
        6 => "June",
        7 => "July",
        8 => "August",
        9 => "September",
        10 => "October",
        11 => "November",
        _ => "December",
    }
}

/// A verdict in one word.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Prune => "Change",
        Verdict::Keep => "Keep",
        Verdict::Trial => "Trial",
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
pub const VERDICT_KEY: [(Verdict, &str); 3] = [
    (Verdict::Prune, "the records support changing to the advised pruning"),
    (Verdict::Keep, "present practice is within tolerance of the best"),
    (Verdict::Trial, "the records cannot tell; a trial would"),
];

/// Kind of evidence.
pub fn evidence(evidence: Evidence) -> &'static str {
    match evidence {
        Evidence::Trial => "randomised trials",
        Evidence::Routine => "everyday pruning records",
        Evidence::Mixed => "randomised trials and everyday pruning records",
    }
}

// How a number was computed, and long tables.
pub const HOW: &str = "How computed";
pub const HOW_DECIDED: &str = "How decided";
pub const SORT_BY: &str = "Sort by";
pub const FILTER: &str = "Show only rows with";
/// Places: rows shown, all rows.
pub const ROWS_SHOWN: &str = "{shown} of {all} rows";

// Readers of the page.
pub const FOR_MANAGER: &str = "For the manager";
pub const FOR_ANALYST: &str = "For the analyst";
pub const FOR_RESEARCHER: &str = "For the researcher";

// Headings.
pub const H_ANSWER: &str = "The answer";
pub const H_COMPARE: &str = "All regions compared";
pub const H_TRIALS: &str = "Designed trials";
pub const H_FINDINGS: &str = "Findings";
pub const CREW_SHEETS: &str = "Crew sheets";
pub const SET_ASIDE: &str = "Rows set aside";
pub const DICTIONARY: &str = "Field dictionary";
pub const EVERY_ESTIMATE: &str = "Every estimate";
pub const H_WORK: &str = "Work plan";
pub const H_SAFETY: &str = "Before anyone prunes";
pub const H_QUALITY: &str = "Data quality";
pub const H_METHOD: &str = "How this was computed";
pub const H_LIMITS: &str = "What this does not know";
pub const H_FILES: &str = "Files of this run";
pub const H_FIGURES: &str = "Key figures";

// Columns of the comparison.
pub const T_ANSWER: &str = "Advice for each region, with what it is worth";
pub const C_REGION: &str = "Region";
pub const C_VERDICT: &str = "Verdict";
pub const C_REMOVE: &str = "Canopy to remove";
pub const C_WHEN: &str = "When";
pub const C_GAIN: &str = "Yield gain over present (kg per tree)";
pub const C_POINT: &str = "Of";
pub const C_SERIES: &str = "Series";
pub const C_CHANCE: &str = "Chance of earning more";

pub fn c_net(currency: &str) -> String {
    format!("Net gain over present ({currency} per tree)")
}

/// Heading of the account over several seasons.
pub fn horizon(seasons: u32) -> String {
    format!("Over {seasons} seasons")
}

// Axes.
pub const AXIS_INTENSITY: &str = "Canopy removed (%)";
pub const AXIS_YIELD: &str = "Raw nuts (kg per tree)";
pub const AXIS_ODDS: &str = "Chance of being best (%)";
pub const AXIS_LEAD: &str = "Days before flush";
pub const AXIS_GAIN: &str = "Yield gain over present (kg per tree)";

pub fn axis_net(currency: &str) -> String {
    format!("Net return ({currency} per tree)")
}

// Legends.
pub const L_MEDIAN: &str = "expected";
pub const L_BAND: &str = "interval";
pub const L_CLASSES: &str = "observed, n trees";
pub const L_PRESENT: &str = "present";
pub const L_ADVISED: &str = "advised";
pub const L_UNTESTED: &str = "not tested";
pub const L_TESTED: &str = "tested range";
pub const L_NET_ODDS: &str = "net return";
pub const L_YIELD_ODDS: &str = "yield";
pub const L_CELL: &str = "gain over unpruned (kg)";

/// Bar and table label of the unpruned class.
pub const UNPRUNED: &str = "none";
pub const NOT_TESTED: &str = "not tested";
pub const TABLE_OF_FIGURE: &str = "The same figure as a table";
pub const NO_ADVICE: &str = "no advice";

// Figure titles.
pub const F_CURVE: &str = "Yield against pruning intensity";
pub const F_NET: &str = "Net return against pruning intensity";
pub const F_ODDS: &str = "Which intensity is best?";
pub const F_SURFACE: &str = "Intensity and timing together";
pub const F_GAIN_KG: &str = "Yield gain over present practice";
pub const F_GAIN_NET: &str = "Net gain over present practice";
pub const F_DUMBBELL: &str = "Present and advised intensity";

pub const CAPTION_CURVE: &str = "Expected crop per tree at each intensity, with its interval.";
pub const CAPTION_MEANS: &str = "Circles are the means of recorded crops after taking out site, season, block, tree, age and variety; the number beside each is the trees behind it. Hatched: intensities the records of this region do not test.";
pub const CAPTION_NET: &str =
    "Expected crop times price, less the cost of pruning, with its interval.";
pub const CAPTION_ODDS: &str = "How often each class of intensity comes out best when the uncertainty of the curve is played through. Bars: net return. Diamonds: yield.";
pub const CAPTION_SURFACE: &str = "Expected yield gain over leaving trees unpruned. Darker is more. Hatched cells are not tested by the records of this region, so nothing is claimed there.";
pub const CAPTION_GAIN: &str = "Median and interval of each region. An interval that crosses the zero line leaves the sign open.";
pub const CAPTION_DUMBBELL: &str =
    "Mean present intensity and advised intensity; the grey bar is the range the records test.";
pub const NOT_ADVICE: &str = "Not advice: the records cannot tell which practice is best.";
pub const CURVE_OF_RECORDS: &str = "The curve shows what they say over the tested range.";
pub const NO_CURVE: &str =
    "The records of this region support no response curve, so none is drawn.";
pub const NO_PICTURES: &str = "There are no figures for this region.";
/// What the numbers of the terminal table are about.
pub const SUMMARY_NOTE: &str = "Gain and chance of earning more are against present practice; where the verdict is Keep or Trial they are those of the best practice that the records support. An intensity in brackets is for the time until a trial is read.";
pub const NO_REGIONS: &str = "The record book has no regions, so there is no advice.";

pub fn caption_lead(days: &str) -> String {
    format!(" Drawn for pruning {days} before the flush.")
}

/// How to read intervals, odds and tolerance.
pub fn how_to_read(tolerance: &str) -> String {
    format!(
        "Gains are the middle of what the records leave possible, followed by the interval; where the \
         verdict is Keep or Trial they are those of the best practice that the records support. An intensity in brackets is for the time until a trial is read. Chances come from the same computation. A practice within {tolerance} of the best net \
         return counts as good enough."
    )
}

/// Cautions shown wherever pruning work appears.
pub const CAUTIONS: [&str; 6] = [
    "Wear protective equipment: helmet, eye and hearing protection, gloves and sturdy shoes.",
    "Ladders and power saws are for trained people only, never alone and never in wet or windy trees.",
    "Cut clean, leave no stubs and clean tools between trees. Dress large wounds as local practice advises.",
    "For any dressing or spray the product label, local rules and licensed practice come before anything written here.",
    "Waiting times before harvest and before people may re-enter come from your local label: enter them in book.toml. Those that are missing are shown as missing.",
    "Someone who knows the block decides for each tree; weak, diseased or recently damaged trees may need less pruning or none.",
];

/// The cautions in one line, for the verdicts of regions.
pub const CAUTION_SHORT: &str = "Protective equipment; ladders and power saws by trained people only; product label, local rules and licensed practice prevail; enter the label's waiting times before harvest and re-entry yourself.";

pub const WORK_NONE: &str = "There are no blocks to plan for.";

pub const QUALITY_INTRO: &str = "Every row read is either kept or set aside in quarantine.csv with its reason. Rows that could be read but name an unknown tree or an impossible day are set aside by linking: they count as set aside in the first table and as not linked in the second. Every repair is counted.";
pub const BALANCED: &str = "✓ yes";
pub const UNBALANCED: &str = "✗ NO";
pub const NO_FINDINGS: &str = "Nothing was found that needs a look.";
pub const NO_LIMITS: &str = "No limits were recorded for this run.";

pub fn quarantined(rows: &str) -> String {
    format!("Rows set aside: {rows}.")
}

pub fn more_places(n: usize) -> String {
    format!("and {n} more")
}

/// Severity word of a finding.
pub fn severity(severity: records::Severity) -> &'static str {
    match severity {
        records::Severity::Repaired => "repaired",
        records::Severity::Warning => "please look",
        records::Severity::Quarantined => "set aside",
        records::Severity::Fatal => "stopped the run",
    }
}

/// Files that stand beside the page, with what they hold.
pub const FILES: [(&str, &str); 20] = [
    ("advice.json", "the advice, for programs"),
    ("advice.csv", "one row per region, for spreadsheets"),
    ("advice.parquet", "the same table, typed"),
    ("crew_sheets.html", "one printed page per block for the crew"),
    (
        "workplan.xlsx",
        "the work plan with materials, shopping list, tools and alarms as a spreadsheet",
    ),
    ("workplan.csv", "the blocks of the plan as plain text"),
    ("materials.csv", "what each block takes of every product"),
    ("shopping.csv", "what to buy"),
    ("tools.csv", "tools of each crew"),
    ("alarms.csv", "what the windows cannot hold"),
    ("missing.csv", "settings that the plan would need"),
    ("laterals.json", "shoots, flowers and the path to yield, for programs"),
    ("calendar.ics", "the days of each block for a calendar"),
    ("review.html", "the season just closed, with maps and scores"),
    ("review.xlsx", "its tables as a spreadsheet; each also as plain text in the folder review"),
    ("review.json", "every number of the review, for programs"),
    ("dictionary.html", "what every field means"),
    ("quarantine.csv", "rows set aside, each with its text, reason and remedy"),
    ("tree_seasons.parquet", "the linked records, one row per tree and season"),
    ("fit.json", "every estimate of the yield model, for checking"),
];

pub const H_REVIEW: &str = "season review";
pub const C_LIMITS: &str = "Limits";
pub const WHOLE_REVIEW: &str = "The whole season review";
pub const H_SEASON: &str = "How the season went";
pub const SKIP_TO_SEASON: &str = "Skip to how the season went";
pub const ON_THIS_PAGE: &str = "On this page";
pub const REVIEW_FILES: &str = "Every table above as a spreadsheet, and all numbers for programs:";
pub const REVIEW_MORE: &str = "Sites, blocks, varieties and ages, trees to look at, the plan kept or not, and the advice scored:";
pub const SAME_BYTES: &str = "the same records and seed give the same report";
