//! How many replicates locate the best amount, beside those that find a difference.

use super::{replicates_said, typed};
use crate::args::SizeArgs;
use crate::console::Failure;
use records::counted;
use report::{TrialCell, TrialSection, TrialTable};
use serde::Serialize;
use trials::size::{
    Components, Curve, OptimumPrecision, OptimumQuestion, SizeError, TradeOffRequest,
    replicates_for_optimum,
};
use words::{Language, language, say, speaking, text};

/// Trials simulated for every size tried.
const SIMULATIONS: usize = 2000;

/// What the arguments suppose of the best level.
struct Supposed {
    optimum: f64,
    gain: f64,
    lowest: f64,
    /// How near an estimate must come.
    within: f64,
}

/// Least share of the way from the lowest level to the next at which a best level is supposed.
const SLIP: f64 = 0.1;

impl Supposed {
    /// Holds the optimum, its gain and the tolerance against the levels.
    fn of(args: &SizeArgs) -> Result<Self, Failure> {
        let (Some(optimum), Some(gain)) = (args.optimum, args.gain) else {
            return Err(Failure::new(
                "--levels asks where the optimum lies, and --optimum or --gain is missing",
                "suppose a best level, in the unit of --levels, and how much more it yields than the lowest one, per cent of the mean: --optimum 0.30 --gain 20",
            ));
        };
        if let Some(level) = args.levels.iter().find(|level| !level.is_finite()) {
            return Err(Failure::new(
                format!("--levels: {level} is no level"),
                "give numbers, such as --levels 0,0.15,0.30,0.45",
            ));
        }
        let mut levels = args.levels.clone();
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        let (Some(&lowest), Some(&highest), 3..) = (levels.first(), levels.last(), levels.len())
        else {
            return Err(Failure::new(
                "--levels: a curve with a best level needs three different levels or more",
                "give further levels, such as --levels 0,0.15,0.30,0.45",
            ));
        };
        if !(optimum > lowest && optimum <= highest) {
            return Err(Failure::new(
                format!(
                    "--optimum {optimum} lies outside what --levels test, above {lowest} and up to {highest}"
                ),
                "suppose a best level among those tested, in their unit: fractions such as 0.30, or per cent in both",
            ));
        }
        // A fraction beside levels in per cent lies a hundredth of the way to where it was meant.
        let step = levels.iter().find(|level| **level > lowest).copied().unwrap_or(highest);
        if optimum - lowest < SLIP * (step - lowest) {
            return Err(Failure::new(
                format!(
                    "--optimum {optimum} lies hardly above the lowest level tested, {lowest}, and far below the next, {step}"
                ),
                "suppose a best level in the unit of --levels: fractions such as 0.30, or per cent in both",
            ));
        }
        if !(gain > 0.0 && gain.is_finite()) {
            return Err(Failure::new(
                format!("--gain {gain} is no gain"),
                "say what the best level yields more than the lowest, per cent of the mean, such as --gain 20",
            ));
        }
        let steps = levels.windows(2).filter_map(|pair| Some(pair.last()? - pair.first()?));
        let step = steps.fold(f64::INFINITY, f64::min);
        let third = short(step / 3.0);
        let within = args.within.unwrap_or(third);
        // The estimate lies among the tested levels. Half their range about the middle holds every
        // estimate, good or bad; with less, the farther end is a miss wherever the optimum lies.
        let half = (highest - lowest) / 2.0;
        if !(within > 0.0 && within < half) {
            return Err(Failure::new(
                format!(
                    "--within {within} cannot tell a good estimate from a bad one: it must be above 0 and less than half of what is tested, {lowest} to {highest}"
                ),
                format!(
                    "give --within in the unit of --levels and below {}, or leave it out for a third of the smallest step ({third})",
                    short(half)
                ),
            ));
        }
        Ok(Self { optimum, gain, lowest, within })
    }
}

/// A number to three digits, so that what is said is what is computed with.
fn short(value: f64) -> f64 {
    format!("{value:.2e}").parse().unwrap_or(value)
}

/// The question of the arguments; `None` when no levels are given.
///
/// # Errors
/// When only part of the question is given, or its numbers contradict each other.
pub fn question(
    args: &SizeArgs,
    request: &TradeOffRequest,
    components: Components,
) -> Result<Option<OptimumQuestion>, Failure> {
    if args.levels.is_empty() {
        return Ok(None);
    }
    let Supposed { optimum, gain, lowest, within } = Supposed::of(args)?;
    Ok(Some(OptimumQuestion {
        size: request.size,
        components,
        comparison: request.comparison,
        levels: args.levels.clone(),
        curve: Curve {
            optimum,
            top: 1.0 + gain / 100.0,
            bend: -gain / 100.0 / (optimum - lowest).powi(2),
        },
        tolerance: within,
        level: 1.0 - args.alpha / 100.0,
        simulations: SIMULATIONS,
        seed: 1,
    }))
}

/// What was found for one number of seasons and of trees per plot.
#[derive(Serialize)]
pub struct Line {
    seasons: usize,
    trees_per_plot: usize,
    /// Fewest replicates tried that suffice; absent where the most tried do not.
    replicates: Option<usize>,
    /// How well they locate the best level.
    precision: Option<OptimumPrecision>,
}

/// The answer to a question, for programs: what was supposed and asked, and what was found.
#[derive(Serialize)]
pub struct Answer {
    /// Best level supposed.
    supposed_optimum: f64,
    /// What it yields more than the lowest level, as a share of the mean.
    supposed_gain: f64,
    levels: Vec<f64>,
    within: f64,
    /// Share of estimates that must come so near.
    target: f64,
    replicates_tried: Vec<usize>,
    sizes: Vec<Line>,
}

/// The answer to a question, for the page, for a terminal and for programs.
pub struct Located {
    /// Fewest and most replicates tried.
    tried: (usize, usize),
    /// For programs.
    pub answer: Answer,
    /// The answer as a section of the page.
    pub section: TrialSection,
}

/// Fewest replicates of those to try, for every number of trees and seasons.
///
/// # Errors
/// A question that the design does not allow.
pub fn located(args: &SizeArgs, question: &OptimumQuestion) -> Result<Located, SizeError> {
    let mut lines = Vec::new();
    for &seasons in &args.seasons {
        for &trees in &args.trees {
            let mut own = question.clone();
            (own.size.seasons, own.size.trees_per_plot) = (seasons, trees);
            let found = replicates_for_optimum(&own, args.power / 100.0, &args.replicates)?;
            let (replicates, precision) = found.unzip();
            lines.push(Line { seasons, trees_per_plot: trees, replicates, precision });
        }
    }
    let tried = (
        args.replicates.iter().copied().min().unwrap_or_default(),
        args.replicates.iter().copied().max().unwrap_or_default(),
    );
    let mut section = section(args, question, tried, &lines);
    if language() != Language::English {
        let english = speaking(Language::English, || self::section(args, question, tried, &lines));
        section.file_words_of(&english);
    }
    let answer = Answer {
        supposed_optimum: question.curve.optimum,
        supposed_gain: question.curve.top - 1.0,
        levels: question.levels.clone(),
        within: question.tolerance,
        target: args.power / 100.0,
        replicates_tried: args.replicates.clone(),
        sizes: lines,
    };
    Ok(Located { tried, answer, section })
}

fn section(
    args: &SizeArgs,
    question: &OptimumQuestion,
    (fewest, most): (usize, usize),
    lines: &[Line],
) -> TrialSection {
    let heads = [
        text!("Seasons"),
        text!("#Trees per plot"),
        text!("#Replicates"),
        text!("#Within, %"),
        text!("#Mean width of the set"),
        text!("#Sets without a limit, %"),
        text!("#Curve bends down, %"),
    ];
    let caption = say!(
        "Fewest replicates tried that locate the optimum within {} with {} % probability",
        typed(question.tolerance),
        typed(args.power)
    );
    let mut table = TrialTable::new("optimum", caption, &heads);
    for Line { seasons, trees_per_plot, replicates, precision } in lines {
        let cell = |value: fn(&OptimumPrecision) -> f64, digits| {
            TrialCell::Number(precision.as_ref().map(value), digits)
        };
        table.rows.push(vec![
            TrialCell::Text(seasons.to_string()),
            TrialCell::Number(Some(*trees_per_plot as f64), 0),
            replicates.map_or_else(
                || TrialCell::Text(say!("over {most}")),
                |replicates| TrialCell::Number(Some(replicates as f64), 0),
            ),
            cell(|p| 100.0 * p.within_tolerance, 0),
            cell(|p| p.mean_width, if question.tolerance < 1.0 { 3 } else { 1 }),
            cell(|p| 100.0 * p.whole_range, 0),
            cell(|p| 100.0 * p.bends_down, 0),
        ]);
    }
    table.notes.push(say!(
        "By {SIMULATIONS} simulated trials of each size: means of the levels with the design's error, a quadratic fitted, the best level inside the tested range."
    ));
    if lines.iter().any(|line| line.replicates == Some(fewest)) {
        table.notes.push(say!(
            "Where {} stands, the fewest tried suffice, and fewer may do: --replicates tries others.",
            counted(fewest as u64, text!("replicate"), text!("replicates"))
        ));
    }
    TrialSection {
        heading: say!("Locating the optimum"),
        paragraphs: vec![say!(
            "Supposing that the best level is {} and yields {} % of the mean more than the lowest of {}.",
            typed(question.curve.optimum),
            typed(args.gain.unwrap_or_default()),
            // Numbers with a decimal comma are not told apart by another.
            args.levels.iter().map(|level| typed(*level)).collect::<Vec<_>>().join("; ")
        )],
        tables: vec![table],
        ..TrialSection::default()
    }
}

/// The answer for a terminal.
pub fn text(located: &Located) -> String {
    let Located { tried: (fewest, most), answer: Answer { within, sizes, .. }, section } = located;
    let mut out = format!("\n{}\n", section.heading);
    for paragraph in &section.paragraphs {
        out.push_str(&format!("{paragraph}\n"));
    }
    for table in &section.tables {
        out.push_str(&format!("{}\n", table.caption));
    }
    for Line { seasons, trees_per_plot, replicates, precision } in sizes {
        let answer = match replicates.as_ref().zip(precision.as_ref()) {
            Some((replicates, precision)) => {
                let already = if replicates == fewest {
                    text!(" (the fewest tried: fewer may do)")
                } else {
                    ""
                };
                say!(
                    "{}{already}, {:.0} % of estimates within {within}",
                    replicates_said(*replicates),
                    100.0 * precision.within_tolerance,
                    within = typed(*within)
                )
            }
            None => say!("more than {}, the most tried", replicates_said(*most)),
        };
        let line = say!("seasons {seasons}, trees per plot {trees_per_plot}: {answer}");
        out.push_str(&format!("  {line}\n"));
    }
    out
}
