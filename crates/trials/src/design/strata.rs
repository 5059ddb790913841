//! Error strata of a design, from the coarsest to the units.

use super::plan::{Stratum, StratumKind};
use super::plots::Groups;
use super::roles::{codes, grouped};
use records::TrialDesign;

/// Groups of the units by used row, before units are formed.
struct Level<'a> {
    name: &'static str,
    kind: StratumKind,
    texts: &'a [String],
}

/// The strata of the units, each given by its first used row. With `seasons`, every stratum also
/// stands crossed with season: what a block or main plot had in common in one season. `trees`
/// makes units trees within plots.
pub(super) fn strata<'a>(
    design: TrialDesign,
    groups: &'a Groups,
    first_rows: &[usize],
    seasons: Option<&[String]>,
    trees: Option<&[String]>,
) -> Vec<Stratum> {
    use StratumKind::{Blocks, Random};
    let mut levels: Vec<Level<'a>> = Vec::new();
    let mut add = |name, kind, texts: Option<&'a Vec<String>>| {
        if let Some(texts) = texts {
            levels.push(Level { name, kind, texts: texts.as_slice() });
        }
    };
    let squares = groups.replicate.as_ref().filter(|r| grouped(r).len() > 1);
    match design {
        TrialDesign::CompletelyRandomised => {}
        TrialDesign::RandomisedBlocks => add("replicates", Blocks, groups.replicate.as_ref()),
        TrialDesign::LatinSquare => {
            add("squares", Blocks, squares);
            add("rows", Blocks, groups.row.as_ref());
            add("columns", Blocks, groups.column.as_ref());
        }
        TrialDesign::SplitPlot => {
            add("replicates", Blocks, groups.replicate.as_ref());
            add("main plots", Random, groups.main_plot.as_ref());
        }
        TrialDesign::SplitSplitPlot => {
            add("replicates", Blocks, groups.replicate.as_ref());
            add("main plots", Random, groups.main_plot.as_ref());
            add("sub plots", Random, groups.sub_plot.as_ref());
        }
        TrialDesign::StripPlot => {
            add("replicates", Blocks, groups.replicate.as_ref());
            add("strips one way", Random, groups.main_plot.as_ref());
            add("strips across", Random, groups.sub_plot.as_ref());
        }
        TrialDesign::IncompleteBlocks => {
            add("replicates", Blocks, squares);
            add("blocks within replicates", Random, groups.block.as_ref());
        }
        TrialDesign::AugmentedBlocks => add("blocks", Blocks, groups.block.as_ref()),
    }
    let whole = match design {
        TrialDesign::SplitPlot => "sub plots",
        TrialDesign::SplitSplitPlot => "sub-sub plots",
        TrialDesign::StripPlot => "crossings of strips",
        _ => "plots",
    };
    let mut out: Vec<Stratum> = levels
        .iter()
        .map(|l| stratum(l.name.to_owned(), l.kind, pick(l.texts, first_rows)))
        .collect();
    let plots = pick(&groups.plot, first_rows);
    if let Some(seasons) = seasons {
        out.push(stratum(whole.to_owned(), Random, plots.clone()));
        let season = pick(seasons, first_rows);
        for level in &levels {
            let texts = cross(&pick(level.texts, first_rows), &season);
            out.push(stratum(format!("{} x season", level.name), Random, texts));
        }
        if let Some(trees) = trees {
            out.push(stratum(format!("{whole} x season"), Random, cross(&plots, &season)));
            out.push(stratum("trees".to_owned(), Random, pick(trees, first_rows)));
        }
    } else if trees.is_some() {
        out.push(stratum(whole.to_owned(), Random, plots));
    }
    let units = first_rows.len();
    // A stratum with as many groups as units is the units; with one group it is their mean.
    out.retain(|s| s.groups.len() < units && s.groups.len() > 1);
    let mut seen: Vec<Vec<usize>> = Vec::new();
    out.retain(|s| {
        let new = !seen.contains(&s.codes);
        seen.push(s.codes.clone());
        new
    });
    let name = match (seasons.is_some(), trees.is_some()) {
        (false, false) => whole.to_owned(),
        (true, false) => format!("{whole} x season"),
        (false, true) => "trees within plots".to_owned(),
        (true, true) => "trees x season".to_owned(),
    };
    let all = (0..units).map(|u| format!("unit {}", u + 1)).collect();
    out.push(Stratum {
        name,
        kind: StratumKind::Residual,
        codes: (0..units).collect(),
        groups: all,
    });
    out
}

fn pick(texts: &[String], rows: &[usize]) -> Vec<String> {
    rows.iter().map(|r| texts[*r].clone()).collect()
}

fn cross(a: &[String], b: &[String]) -> Vec<String> {
    a.iter().zip(b).map(|(x, y)| format!("{x}, season {y}")).collect()
}

fn stratum(name: String, kind: StratumKind, texts: Vec<String>) -> Stratum {
    let (codes, groups) = codes(&texts);
    Stratum { name, kind, codes, groups }
}
