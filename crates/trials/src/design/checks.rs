//! Contradictions between the declared design and the rows.

use super::plots::{Groups, Levels};
use super::refusal::Refusal;
use super::roles::{Rows, distinct, grouped, joined};
use crate::{amount_words, place_in_words};
use records::{TrialDeclaration, TrialDesign, counted};
use std::collections::BTreeMap;
use words::{say, text};

/// A level as people read it: an amount with its unit, a fraction as per cent.
pub(super) fn level_in_words(unit: Option<&String>, level: &str) -> String {
    match (unit, level.parse::<f64>()) {
        (Some(unit), Ok(value)) => amount_words(value, unit),
        _ => level.to_owned(),
    }
}

/// Treatment of each used row, in words.
pub(super) fn treatments(
    levels: &[Levels],
    declared: &TrialDeclaration,
    rows: usize,
) -> Vec<String> {
    (0..rows)
        .map(|r| {
            let named = levels.iter().filter(|l| !l.texts[r].is_empty());
            let words = named.map(|l| {
                let level = level_in_words(declared.amounts.get(&l.name), &l.texts[r]);
                format!("{} {level}", l.name)
            });
            words.collect::<Vec<_>>().join(", ")
        })
        .collect()
}

/// Refuses a tree that occurs twice in a season.
pub(super) fn trees_once(rows: &Rows<'_>) -> Result<(), Refusal> {
    let mut seen: BTreeMap<(&str, Option<i32>), Vec<usize>> = BTreeMap::new();
    for row in &rows.used {
        let key = (rows.observations.tree[*row].as_str(), rows.observations.season[*row]);
        seen.entry(key).or_default().push(*row);
    }
    match seen.into_iter().find(|(_, rows)| rows.len() > 1) {
        Some(((tree, season), twice)) => Err(Refusal::TreeTwice {
            tree: tree.to_owned(),
            season,
            evidence: rows.evidence(twice),
        }),
        None => Ok(()),
    }
}

/// Runs every check that the design asks for. Where main plots lie in replicates, a refusal tells how many of
/// these the rows make: a wrong count shows that the column does not tell them.
pub(super) fn check(
    rows: &Rows<'_>,
    declared: &TrialDeclaration,
    levels: &[Levels],
    groups: &Groups,
) -> Result<(), Refusal> {
    use TrialDesign as D;
    let is_split = matches!(declared.design, D::SplitPlot | D::SplitSplitPlot | D::StripPlot);
    let count = groups.replicate.as_ref().filter(|_| is_split).map(|of| grouped(of).len());
    fits(rows, declared, levels, groups).map_err(|refusal| refusal.with_replicates(count))
}

fn fits(
    rows: &Rows<'_>,
    declared: &TrialDeclaration,
    levels: &[Levels],
    groups: &Groups,
) -> Result<(), Refusal> {
    use TrialDesign as D;
    let treatment = treatments(levels, declared, rows.used.len());
    two_treatments(rows, groups, &treatment)?;
    if groups.plot_told {
        told_twice(rows, groups, &treatment)?;
    }
    for factor in levels.iter().filter(|l| declared.main_factors.contains(&l.name)) {
        varies(rows, factor, groups.main_plot.as_deref())?;
    }
    if declared.design == D::SplitSplitPlot {
        for factor in levels.iter().filter(|l| declared.sub_factors.contains(&l.name)) {
            varies(rows, factor, groups.sub_plot.as_deref())?;
        }
    }
    let of = |names: &[String]| -> Vec<String> {
        let chosen: Vec<(&str, &[String])> = levels
            .iter()
            .filter(|l| names.contains(&l.name))
            .map(|l| (l.name.as_str(), l.texts.as_slice()))
            .collect();
        joined(&chosen, rows.used.len())
    };
    let replicate = groups.replicate.as_ref().map(|r| joined(&[("replicate", r)], r.len()));
    match declared.design {
        D::RandomisedBlocks => once(rows, &treatment, replicate.as_deref(), &groups.plot)?,
        D::IncompleteBlocks => {
            once(rows, &treatment, groups.block.as_deref(), &groups.plot)?;
            once(rows, &treatment, replicate.as_deref(), &groups.plot)?;
        }
        D::SplitPlot | D::SplitSplitPlot => {
            let main = groups.main_plot.clone().unwrap_or_default();
            once(rows, &of(&declared.main_factors), replicate.as_deref(), &main)?;
            if let (D::SplitSplitPlot, Some(sub)) = (declared.design, &groups.sub_plot) {
                once(rows, &of(&declared.sub_factors), groups.main_plot.as_deref(), sub)?;
                once(
                    rows,
                    &of(&declared.sub_sub_factors),
                    groups.sub_plot.as_deref(),
                    &groups.plot,
                )?;
            } else {
                once(rows, &of(&declared.sub_factors), groups.main_plot.as_deref(), &groups.plot)?;
            }
        }
        D::StripPlot => once(rows, &treatment, replicate.as_deref(), &groups.plot)?,
        D::LatinSquare => latin(rows, groups, &treatment)?,
        D::CompletelyRandomised | D::AugmentedBlocks => {}
    }
    single_block(declared, groups)?;
    confounded(declared, levels, groups)?;
    repeated(groups, &treatment)
}

fn two_treatments(rows: &Rows<'_>, groups: &Groups, treatment: &[String]) -> Result<(), Refusal> {
    for (plot, at) in grouped(&groups.plot) {
        let found = distinct(treatment, &at);
        if found.len() > 1 {
            return Err(Refusal::TwoTreatments {
                plot: plot_id(plot),
                treatments: found,
                evidence: rows.evidence_at(at),
            });
        }
    }
    Ok(())
}

/// A plot's id as a sentence takes it that says `plot` before it.
fn plot_id(name: &str) -> String {
    match (name.strip_prefix("plot "), name.rsplit_once(", plot ")) {
        (Some(id), _) => id.to_owned(),
        (None, Some((outer, id))) => format!("{id} ({outer})"),
        (None, None) => name.to_owned(),
    }
}

/// Where plots are told from block and treatment and nearly all hold one tree, further trees are
/// further plots of that treatment in the block rather than a second tree.
fn told_twice(rows: &Rows<'_>, groups: &Groups, treatment: &[String]) -> Result<(), Refusal> {
    let trees: Vec<String> = rows.used.iter().map(|r| rows.observations.tree[*r].clone()).collect();
    let plots = grouped(&groups.plot);
    let counts: Vec<usize> = plots.values().map(|at| distinct(&trees, at).len()).collect();
    let single = counts.iter().filter(|c| **c == 1).count();
    if 4 * single <= 3 * counts.len() {
        return Ok(());
    }
    match plots.iter().zip(&counts).find(|(_, c)| **c > 1) {
        Some(((plot, at), times)) => Err(Refusal::TreatmentTwice {
            treatment: at.first().map(|p| treatment[*p].clone()).unwrap_or_default(),
            block: block_of(plot),
            times: *times,
            replicates: None,
            evidence: rows.evidence_at(at.iter().copied()),
        }),
        None => Ok(()),
    }
}

/// The block's part of a plot's name, which begins with it.
fn block_of(plot: &str) -> String {
    plot.split(", ").take_while(|w| w.starts_with("replicate") || w.starts_with("block")).fold(
        String::new(),
        |stem, word| {
            if stem.is_empty() { word.to_owned() } else { format!("{stem}, {word}") }
        },
    )
}

/// Refuses a treatment in two plots of a block.
fn once(
    rows: &Rows<'_>,
    treatment: &[String],
    block: Option<&[String]>,
    plot: &[String],
) -> Result<(), Refusal> {
    let Some(block) = block else { return Ok(()) };
    for (name, at) in grouped(block) {
        let mut plots: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for p in at {
            plots.entry(&treatment[p]).or_default().push(p);
        }
        for (treatment, at) in plots {
            let found = distinct(plot, &at);
            if found.len() > 1 {
                return Err(Refusal::TreatmentTwice {
                    treatment: treatment.to_owned(),
                    block: name.to_owned(),
                    times: found.len(),
                    replicates: None,
                    evidence: rows.evidence_at(at),
                });
            }
        }
    }
    Ok(())
}

fn varies(rows: &Rows<'_>, factor: &Levels, plot: Option<&[String]>) -> Result<(), Refusal> {
    let Some(plot) = plot else { return Ok(()) };
    for (name, at) in grouped(plot) {
        let found = distinct(&factor.texts, &at);
        if found.len() > 1 {
            return Err(Refusal::VariesWithin {
                factor: factor.name.clone(),
                plot: name.to_owned(),
                replicates: None,
                evidence: rows.evidence_at(against_the_rest(&factor.texts, &at)),
                levels: found,
            });
        }
    }
    Ok(())
}

/// The positions whose text differs from that of most; all of them where no text has most.
fn against_the_rest(texts: &[String], positions: &[usize]) -> Vec<usize> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for p in positions {
        *counts.entry(&texts[*p]).or_default() += 1;
    }
    let most = counts.iter().find(|(_, count)| 2 * **count > positions.len());
    let differs = |p: &usize| most.is_none_or(|(text, _)| texts[*p] != **text);
    positions.iter().copied().filter(differs).collect()
}

/// As many rows and columns as treatments, each treatment once in each.
fn latin(rows: &Rows<'_>, groups: &Groups, treatment: &[String]) -> Result<(), Refusal> {
    let (Some(row), Some(column)) = (&groups.row, &groups.column) else { return Ok(()) };
    let all: Vec<usize> = (0..treatment.len()).collect();
    let order = distinct(treatment, &all).len();
    let squares: Vec<(&str, Vec<usize>)> = match &groups.replicate {
        Some(r) => grouped(r).into_iter().collect(),
        None => vec![("", all)],
    };
    let several = squares.len() > 1;
    for (name, square) in squares {
        let (r, c) = (distinct(row, &square).len(), distinct(column, &square).len());
        if r != order || c != order {
            let counts = say!(
                "{} and {} for {order} treatments",
                counted(r as u64, text!("row"), text!("rows")),
                counted(c as u64, text!("column"), text!("columns"))
            );
            // Rows and columns of the whole table are others than those of a replicate.
            let detail = if several {
                say!("replicate {name}, read as one square, has {counts}")
            } else {
                counts
            };
            return Err(Refusal::NotLatin { detail, evidence: rows.evidence_at(square) });
        }
        for lines in [row, column] {
            let mut seen: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
            for p in &square {
                seen.entry((&lines[*p], &treatment[*p])).or_default().push(*p);
            }
            for ((line, treatment), at) in seen {
                if distinct(&groups.plot, &at).len() > 1 {
                    return Err(Refusal::NotLatin {
                        detail: say!(
                            "{treatment} occurs twice in {line}",
                            line = place_in_words(line)
                        ),
                        evidence: rows.evidence_at(at),
                    });
                }
            }
        }
    }
    Ok(())
}

/// Refuses blocks of which there is one.
fn single_block(declared: &TrialDeclaration, groups: &Groups) -> Result<(), Refusal> {
    use TrialDesign as D;
    let blocks = match declared.design {
        D::AugmentedBlocks => groups.block.as_deref(),
        D::IncompleteBlocks | D::LatinSquare | D::CompletelyRandomised => None,
        _ => groups.replicate.as_deref(),
    };
    match blocks {
        Some(blocks) if blocks.iter().all(|t| *t == blocks[0]) => {
            Err(Refusal::OneReplicate { what: say!("all plots lie in one block, {}", blocks[0]) })
        }
        _ => Ok(()),
    }
}

/// Refuses a trial in which no treatment is repeated.
fn repeated(groups: &Groups, treatment: &[String]) -> Result<(), Refusal> {
    if grouped(treatment).values().any(|at| distinct(&groups.plot, at).len() > 1) {
        Ok(())
    } else {
        Err(Refusal::OneReplicate { what: say!("every treatment stands on one plot only") })
    }
}

/// Refuses a factor that another factor determines, or that never varies within a block.
fn confounded(
    declared: &TrialDeclaration,
    levels: &[Levels],
    groups: &Groups,
) -> Result<(), Refusal> {
    for factor in levels {
        for other in levels.iter().filter(|o| o.name != factor.name) {
            let by_level = grouped(&other.texts);
            let filled = by_level.iter().filter(|(level, _)| !level.is_empty());
            let pairs: Option<Vec<String>> = filled
                .map(|(level, at)| {
                    let found = distinct(&factor.texts, at);
                    match found.as_slice() {
                        [one] => {
                            Some(say!("{} {level} always has {} {one}", other.name, factor.name))
                        }
                        _ => None,
                    }
                })
                .collect();
            if let Some(pairs) = pairs {
                return Err(Refusal::Confounded {
                    factor: factor.name.clone(),
                    with: other.name.clone(),
                    detail: pairs.join("; "),
                });
            }
        }
        let blocks = match declared.design {
            TrialDesign::IncompleteBlocks | TrialDesign::AugmentedBlocks => None,
            _ => groups.replicate.as_ref(),
        };
        if let Some(blocks) = blocks {
            let by_block = grouped(blocks);
            let pairs: Option<Vec<String>> = by_block
                .iter()
                .map(|(block, at)| match distinct(&factor.texts, at).as_slice() {
                    [one] => Some(say!("replicate {block} has {one} only")),
                    _ => None,
                })
                .collect();
            if let Some(pairs) = pairs {
                return Err(Refusal::Confounded {
                    factor: factor.name.clone(),
                    with: "replicates".to_owned(),
                    detail: pairs.join("; "),
                });
            }
        }
    }
    Ok(())
}
