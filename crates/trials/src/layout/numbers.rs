//! Whether treatments, replicates and plots per block go together.

use super::error::LayoutError;
use super::request::LayoutRequest;
use super::treatments::Treatments;
use records::TrialDesign;

/// Most lines of the harvest sheet for one tree: a pick every other day of four months.
const MOST_PICKS: usize = 60;

/// Replicates of each treatment of a completely randomised design.
pub(super) fn replication(request: &LayoutRequest, treatments: &Treatments) -> Vec<usize> {
    treatments
        .list
        .iter()
        .map(|t| request.replication.get(&t.label).copied().unwrap_or(request.replicates))
        .collect()
}

/// Refuses numbers of treatments, replicates and plots that do not go together, with the count.
pub(super) fn check_numbers(
    request: &LayoutRequest,
    treatments: &Treatments,
) -> Result<(), LayoutError> {
    let (v, r) = (treatments.list.len(), request.replicates);
    let design = request.design;
    if !(1..=MOST_PICKS).contains(&request.picks_per_tree) {
        return Err(LayoutError::request(
            "picks_per_tree",
            format!("{} lines for each tree", request.picks_per_tree),
            format!("give the usual number of picks of a tree, from 1 to {MOST_PICKS}"),
        ));
    }
    if let Some(label) = request.replication.keys().find(|label| treatments.find(label).is_none()) {
        return Err(LayoutError::request(
            "replication",
            format!("`{label}` is no treatment"),
            format!("the treatments are {}", treatments.labels()),
        ));
    }
    if !request.replication.is_empty() && design != TrialDesign::CompletelyRandomised {
        return Err(LayoutError::request(
            "replication",
            "only a completely randomised design has unequal replication",
            "leave it out, or change the design",
        ));
    }
    if design == TrialDesign::LatinSquare {
        if r != 0 && r != v {
            return Err(LayoutError::fit(
                format!(
                    "a Latin square of {v} treatments has {v} rows and {v} columns, not {r} replicates"
                ),
                format!("ask for {v} replicates or none"),
            ));
        }
        if v > 30 {
            return Err(LayoutError::fit(
                format!("a Latin square of {v} treatments needs {v} x {v} = {} plots", v * v),
                "use incomplete blocks for so many treatments",
            ));
        }
        return Ok(());
    }
    if design == TrialDesign::CompletelyRandomised {
        let counts = replication(request, treatments);
        let n = counts.iter().fold(0_usize, |n, &count| n.saturating_add(count));
        if counts.contains(&0) || n <= v {
            return Err(LayoutError::fit(
                format!(
                    "{n} plots for {v} treatments leave {n} - {v} degrees of freedom for error, or a treatment has none"
                ),
                "give every treatment a plot and some two or more",
            ));
        }
        return Ok(());
    }
    if r < 2 {
        return Err(LayoutError::fit(
            format!("{r} replicate(s) leave no error to compare treatments with"),
            "ask for two replicates or more",
        ));
    }
    let k = request.plots_per_block;
    match (design, k) {
        (TrialDesign::IncompleteBlocks, None) => Err(LayoutError::request(
            "plots_per_block",
            "incomplete blocks need their size",
            "near the square root of the number of treatments is usual",
        )),
        (TrialDesign::IncompleteBlocks, Some(k)) => {
            if k < 2 {
                return Err(LayoutError::fit(
                    format!("blocks of {k} plot(s) compare nothing within themselves"),
                    "two plots per block or more",
                ));
            }
            if k >= v {
                return Err(LayoutError::fit(
                    format!(
                        "{v} treatments fit in one block of {k} plots: blocks would be complete"
                    ),
                    "choose randomised blocks",
                ));
            }
            let s = v.div_ceil(k);
            if s * k - v > s || (s * k > v && k == 2) {
                return Err(LayoutError::fit(
                    format!(
                        "{v} treatments do not fit blocks of {k} plots: {s} blocks hold {} plots, {} more than treatments, and blocks may be short by one plot only",
                        s * k,
                        s * k - v
                    ),
                    format!("block sizes of {} would do", fitting(v)),
                ));
            }
            Ok(())
        }
        (TrialDesign::RandomisedBlocks, Some(k)) if k != v => Err(LayoutError::fit(
            format!(
                "{v} treatments do not fit {k} plots per block: a complete block holds each treatment once, {v} plots"
            ),
            format!("ask for {v} plots per block, or for incomplete blocks"),
        )),
        (TrialDesign::AugmentedBlocks | TrialDesign::RandomisedBlocks, _) | (_, None) => Ok(()),
        (_, Some(k)) if k == v => Ok(()),
        (_, Some(k)) => Err(LayoutError::fit(
            format!("{v} treatment combinations do not fit {k} plots per block"),
            format!("leave `plots_per_block` out: a replicate of this design has {v} plots"),
        )),
    }
}

/// Block sizes that a number of treatments allows, as words.
fn fitting(v: usize) -> String {
    let sizes: Vec<String> = (3..v)
        .filter(|&k| {
            let s = v.div_ceil(k);
            s * k - v <= s
        })
        .take(6)
        .map(|k| k.to_string())
        .collect();
    sizes.join(", ")
}
