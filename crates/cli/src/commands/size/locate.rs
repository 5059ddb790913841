//! How many replicates locate the best amount, beside those that find a difference.

use crate::args::SizeArgs;
use crate::console::Failure;
use report::{TrialCell, TrialSection, TrialTable};
use trials::size::{
    Components, Curve, OptimumPrecision, OptimumQuestion, SizeError, TradeOffRequest,
    replicates_for_optimum,
};

/// Trials simulated for every size tried.
const SIMULATIONS: usize = 2000;

/// The question of the arguments; `None` when no levels are given.
///
/// # Errors
/// When only part of the question is given.
pub fn question(
    args: &SizeArgs,
    request: &TradeOffRequest,
    components: Components,
) -> Result<Option<OptimumQuestion>, Failure> {
    if args.levels.is_empty() {
        return Ok(None);
    }
    let (Some(optimum), Some(gain)) = (args.optimum, args.gain) else {
        return Err(Failure::new(
            "--levels asks where the optimum lies, and --optimum or --gain is missing",
            "suppose a best level and how much more it yields than the lowest one, per cent of the mean: --optimum 30 --gain 20",
        ));
    };
    let lowest = args.levels.iter().copied().fold(f64::INFINITY, f64::min);
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
        tolerance: args.within,
        level: 1.0 - args.alpha / 100.0,
        simulations: SIMULATIONS,
        seed: 1,
    }))
}

/// Replicates for every number of trees and seasons, as a section.
///
/// # Errors
/// A question that the design does not allow.
pub fn section(args: &SizeArgs, question: &OptimumQuestion) -> Result<TrialSection, SizeError> {
    let heads = [
        "Seasons",
        "#Trees per plot",
        "#Replicates",
        "#Within, %",
        "#Mean width of the set",
        "#Sets without a limit, %",
        "#Curve bends down, %",
    ];
    let caption = format!(
        "Replicates that locate the optimum within {} with {} % probability",
        args.within, args.power
    );
    let mut table = TrialTable::new("optimum", caption, &heads);
    let most = args.replicates.iter().copied().max().unwrap_or(16);
    for &seasons in &args.seasons {
        for &trees in &args.trees {
            let mut own = question.clone();
            (own.size.seasons, own.size.trees_per_plot) = (seasons, trees);
            let found = replicates_for_optimum(&own, args.power / 100.0, most)?;
            let cell = |value: fn(&OptimumPrecision) -> f64, digits| {
                TrialCell::Number(found.as_ref().map(|(_, precision)| value(precision)), digits)
            };
            table.rows.push(vec![
                TrialCell::Text(seasons.to_string()),
                TrialCell::Number(Some(trees as f64), 0),
                found.as_ref().map_or_else(
                    || TrialCell::Text(format!("over {most}")),
                    |(replicates, _)| TrialCell::Number(Some(*replicates as f64), 0),
                ),
                cell(|p| 100.0 * p.within_tolerance, 0),
                cell(|p| p.mean_width, 1),
                cell(|p| 100.0 * p.whole_range, 0),
                cell(|p| 100.0 * p.bends_down, 0),
            ]);
        }
    }
    table.notes.push(format!(
        "By {SIMULATIONS} simulated trials of each size: means of the levels with the design's error, a quadratic fitted, the best level inside the tested range."
    ));
    Ok(TrialSection {
        heading: "Locating the optimum".to_owned(),
        paragraphs: vec![format!(
            "Supposing that the best level is {} and yields {} % of the mean more than the lowest of {}.",
            question.curve.optimum,
            args.gain.unwrap_or_default(),
            args.levels.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
        )],
        tables: vec![table],
        ..TrialSection::default()
    })
}

/// The section's table for a terminal.
pub fn text(section: &TrialSection) -> String {
    let mut out = format!("\n{}\n", section.heading);
    for paragraph in &section.paragraphs {
        out.push_str(&format!("{paragraph}\n"));
    }
    for table in &section.tables {
        out.push_str(&format!("{}\n", table.caption));
        for row in &table.rows {
            if let [
                TrialCell::Text(seasons),
                TrialCell::Number(Some(trees), _),
                replicates,
                TrialCell::Number(within, _),
                ..,
            ] = row.as_slice()
            {
                let needed = match replicates {
                    TrialCell::Number(Some(count), _) => format!("{count} replicates"),
                    TrialCell::Text(words) => format!("{words} replicates"),
                    _ => continue,
                };
                let within =
                    within.map_or_else(String::new, |share| format!(", within in {share:.0} %"));
                out.push_str(&format!(
                    "  seasons {seasons}, trees per plot {trees}: {needed}{within}\n"
                ));
            }
        }
    }
    out
}
