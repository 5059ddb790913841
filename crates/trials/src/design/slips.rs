//! Slips of writing that the design does not contradict, so that the trial would be analysed with
//! treatments, plots or blocks that nobody laid out.

use super::block_slips::block_slips;
use super::checks::level_in_words;
use super::refusal::Refusal;
use super::roles::{Rows, grouped};
use super::slip::Slip;
use records::{TrialDeclaration, TrialDesign, common_form};
use std::collections::{BTreeMap, BTreeSet};

/// Fewest blocks in which a level that stands in one of them is odd.
pub(super) const FEWEST_BLOCKS: usize = 3;

/// Every row of the trial table, those of lost trees among them: a plot whose trees died was laid
/// out all the same.
pub(super) struct Standing<'a> {
    pub(super) rows: Rows<'a>,
    /// Block of each row; empty where the design has no complete blocks.
    blocks: Vec<String>,
    /// Column of the blocks.
    block_column: Option<&'a str>,
    /// Factors with their levels by row, empty where a cell is.
    pub(super) levels: Vec<(&'a str, Vec<String>)>,
    /// Treatment of each row.
    pub(super) treatments: Vec<String>,
}

impl<'a> Standing<'a> {
    fn of(rows: &Rows<'a>, declared: &'a TrialDeclaration) -> Self {
        let all =
            Rows { observations: rows.observations, used: (0..rows.observations.len()).collect() };
        let cells = |column: &str| -> Vec<String> {
            let read = all.cells(column, "factor").unwrap_or_default();
            read.into_iter().map(Option::unwrap_or_default).collect()
        };
        let block_column = complete(declared.design).then(|| match &declared.roles.block {
            Some(block) if !all.has(&declared.roles.replicate) => block.as_str(),
            _ => declared.roles.replicate.as_str(),
        });
        let levels: Vec<(&str, Vec<String>)> = declared
            .keyed_factors()
            .map(|(_, factor)| {
                let amount = declared.amounts.contains_key(factor);
                let read = cells(factor);
                let texts = read.iter().map(|cell| super::plots::canonical(cell, amount));
                (factor, texts.collect())
            })
            .collect();
        let treatments = (0..all.used.len())
            .map(|row| {
                let named = levels.iter().filter_map(|(name, texts)| {
                    let text = texts.get(row).filter(|text| !text.is_empty())?;
                    let level = level_in_words(declared.amounts.get(*name), text);
                    Some(format!("{name} {level}"))
                });
                named.collect::<Vec<_>>().join(", ")
            })
            .collect();
        let blocks = block_column.map(cells).unwrap_or_default();
        Self { rows: all, blocks, block_column, levels, treatments }
    }

    /// Rows by complete block; none where there are no such blocks.
    fn by_block(&self) -> BTreeMap<&str, Vec<usize>> {
        let mut found = grouped(&self.blocks);
        found.remove("");
        found
    }

    /// Trees of each treatment among rows, with those rows.
    fn plots(&self, rows: &[usize]) -> BTreeMap<&str, (usize, Vec<usize>)> {
        let mut trees: BTreeMap<&str, (BTreeSet<&str>, Vec<usize>)> = BTreeMap::new();
        for &row in rows {
            let Some(treatment) = self.treatments.get(row).filter(|t| !t.is_empty()) else {
                continue;
            };
            let (trees, own) = trees.entry(treatment).or_default();
            trees.insert(&self.rows.observations.tree[row]);
            own.push(row);
        }
        trees.into_iter().map(|(t, (trees, rows))| (t, (trees.len(), rows))).collect()
    }
}

/// Whether every block of the design holds every treatment, and blocks are told by a column.
fn complete(design: TrialDesign) -> bool {
    matches!(
        design,
        TrialDesign::RandomisedBlocks
            | TrialDesign::SplitPlot
            | TrialDesign::SplitSplitPlot
            | TrialDesign::StripPlot
    )
}

/// The middle of some counts, 0 of none.
pub(super) fn median(mut counts: Vec<usize>) -> usize {
    counts.sort_unstable();
    counts.get(counts.len() / 2).copied().unwrap_or(0)
}

/// Refuses plots that were told by block and treatment where one of them holds the trees of two and
/// its block lacks a treatment: a mislabelled plot has melted into that of its label.
///
/// # Errors
/// Such a plot.
pub(super) fn melted(rows: &Rows<'_>, declared: &TrialDeclaration) -> Result<(), Refusal> {
    if declared.roles.plot.is_some() {
        return Ok(());
    }
    let standing = Standing::of(rows, declared);
    let blocks = standing.by_block();
    let plots: BTreeMap<&str, BTreeMap<&str, (usize, Vec<usize>)>> =
        blocks.iter().map(|(block, own)| (*block, standing.plots(own))).collect();
    let usual = median(plots.values().flat_map(|own| own.values().map(|(n, _)| *n)).collect());
    let in_blocks = |treatment: &str| plots.values().filter(|p| p.contains_key(treatment)).count();
    let everything: BTreeSet<&str> = plots.values().flat_map(|own| own.keys().copied()).collect();
    // A treatment of most blocks: one that is mistyped elsewhere is not lacking here.
    let usually: Vec<&str> =
        everything.into_iter().filter(|t| 2 * in_blocks(t) > plots.len()).collect();
    for (block, own) in &plots {
        let lacking: Vec<String> =
            usually.iter().filter(|t| !own.contains_key(**t)).map(|t| (*t).to_owned()).collect();
        let double = own.iter().find(|(_, (n, _))| *n > usual && 2 * n >= 3 * usual);
        let Some((treatment, (trees, rows))) = double else { continue };
        // The label of the treatment is wrong, or that of the block: then another block lacks it.
        let robbed = plots.iter().find(|(_, other)| !other.contains_key(treatment));
        let lacks = match (lacking.is_empty(), robbed) {
            (false, _) => Some((*block, lacking)),
            (true, Some((other, _))) if usually.contains(treatment) => {
                Some((*other, vec![(*treatment).to_owned()]))
            }
            _ => None,
        };
        if let Some((robbed, lacking)) = lacks {
            return Err(Refusal::PlotsMelted {
                treatment: (*treatment).to_owned(),
                block: format!("replicate {block}").into(),
                robbed: format!("replicate {robbed}").into(),
                trees: u32::try_from(*trees).unwrap_or(u32::MAX),
                usual: u32::try_from(usual).unwrap_or(u32::MAX),
                lacking,
                evidence: standing.rows.evidence_at(rows.iter().copied()),
            });
        }
    }
    Ok(())
}

/// What looks mistyped in the rows of a trial.
pub(super) fn slips(rows: &Rows<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
    let standing = Standing::of(rows, declared);
    let mut found = alike(&standing, declared);
    found.extend(lone_levels(&standing));
    found.extend(thin_blocks(&standing));
    found.extend(lacking_treatments(&standing, &found));
    found.extend(lone_plots(&standing, declared));
    found.extend(block_slips(&standing, declared));
    if declared.design == TrialDesign::CompletelyRandomised {
        found.extend(uneven_treatments(&standing, declared));
    } else {
        // Two labels on one plot of a plot column are refused; a tree may bear plot and label of another.
        found.extend(uneven_plots(&standing, declared.roles.plot.is_some()));
    }
    found.extend(undeclared(&standing, declared));
    found
}

/// Levels and blocks that the eye takes for one another.
fn alike(standing: &Standing<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
    let mut found = Vec::new();
    let blocks = standing.block_column.map(|column| (column, &standing.blocks));
    // Numbers have one spelling each, so that amounts of like digits are other amounts.
    let names = standing.levels.iter().filter(|(name, _)| !declared.amounts.contains_key(*name));
    for (column, texts) in blocks.into_iter().chain(names.map(|(name, texts)| (*name, texts))) {
        let mut by_form: BTreeMap<String, Vec<(&str, Vec<usize>)>> = BTreeMap::new();
        for (text, rows) in grouped(texts).into_iter().filter(|(text, _)| !text.is_empty()) {
            let form = common_form(text).replace(' ', "");
            by_form.entry(form).or_default().push((text, rows));
        }
        for mut spellings in by_form.into_values() {
            spellings.sort_by_key(|(_, rows)| std::cmp::Reverse(rows.len()));
            let Some(((first, _), others)) = spellings.split_first() else { continue };
            found.extend(others.iter().map(|(second, rows)| Slip::Alike {
                column: column.to_owned(),
                first: (*first).to_owned(),
                second: (*second).to_owned(),
                evidence: standing.rows.evidence_at(rows.iter().copied()),
            }));
        }
    }
    found
}

/// Levels of one complete block, where most levels stand in most blocks.
fn lone_levels(standing: &Standing<'_>) -> Vec<Slip> {
    let blocks = standing.by_block();
    let mut found = Vec::new();
    if blocks.len() < FEWEST_BLOCKS {
        return found;
    }
    for (factor, texts) in &standing.levels {
        let mut levels = grouped(texts);
        levels.remove("");
        let stands = |rows: &[usize]| -> BTreeSet<&str> {
            let own = rows.iter().filter_map(|row| standing.blocks.get(*row));
            own.map(String::as_str).filter(|block| !block.is_empty()).collect()
        };
        let common = levels.values().filter(|rows| 2 * stands(rows).len() > blocks.len()).count();
        if 2 * common < levels.len() {
            continue;
        }
        for (level, rows) in &levels {
            if let [block] = stands(rows).into_iter().collect::<Vec<_>>().as_slice() {
                found.push(Slip::LevelInOneBlock {
                    factor: (*factor).to_owned(),
                    level: (*level).to_owned(),
                    block: format!("replicate {block}"),
                    blocks: blocks.len(),
                    evidence: standing.rows.evidence_at(rows.iter().copied()),
                });
            }
        }
    }
    found
}

/// Levels of one plot where every treatment was to have several and no complete block tells: without
/// blocks, and in incomplete ones. New entries of an augmented design stand on one plot each.
fn lone_plots(standing: &Standing<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
    let roles = &declared.roles;
    let column = match declared.design {
        TrialDesign::CompletelyRandomised => roles.plot.as_ref(),
        // A block holds a treatment once.
        TrialDesign::IncompleteBlocks => roles.plot.as_ref().or(roles.block.as_ref()),
        _ => return Vec::new(),
    };
    let plots: Vec<String> = match column {
        Some(column) => {
            let read = standing.rows.cells(column, "plot").unwrap_or_default();
            read.into_iter().map(Option::unwrap_or_default).collect()
        }
        // Without a column of plots each tree is one.
        None => standing.rows.observations.tree.clone(),
    };
    let mut found = Vec::new();
    for (factor, texts) in &standing.levels {
        let mut levels = grouped(texts);
        levels.remove("");
        let plots_of = |rows: &[usize]| -> usize {
            rows.iter().filter_map(|row| plots.get(*row)).collect::<BTreeSet<_>>().len()
        };
        let counts: Vec<usize> = levels.values().map(|rows| plots_of(rows)).collect();
        let usual = median(counts.clone());
        let lone = counts.iter().filter(|count| **count == 1).count();
        if usual < 2 || 3 * lone > counts.len() {
            continue;
        }
        let unit = declared.amounts.get(*factor);
        let common: Vec<(&str, f64)> = levels
            .iter()
            .filter(|(_, rows)| unit.is_some() && plots_of(rows) > 1)
            .filter_map(|(level, _)| Some((*level, level.parse().ok()?)))
            .collect();
        for (level, rows) in levels.iter().filter(|(_, rows)| plots_of(rows) == 1) {
            let slipped = level.parse::<f64>().ok().filter(|own| *own > 0.0).and_then(|own| {
                let near = |ratio: f64| (ratio - 1.0).abs() < 1e-9;
                let digit = |(_, other): &&(&str, f64)| {
                    near(10.0 * own / other) || near(own / (10.0 * other))
                };
                common.iter().find(digit).map(|(other, _)| level_in_words(unit, other))
            });
            found.push(Slip::LevelOnOnePlot {
                factor: (*factor).to_owned(),
                level: level_in_words(unit, level),
                usual,
                slipped,
                evidence: standing.rows.evidence_at(rows.iter().copied()),
            });
        }
    }
    found
}

/// Complete blocks with half of the usual treatments at the most.
fn thin_blocks(standing: &Standing<'_>) -> Vec<Slip> {
    let blocks = standing.by_block();
    let holds = |rows: &[usize]| standing.plots(rows).len();
    let usual = median(blocks.values().map(|rows| holds(rows)).collect());
    let thin = blocks.iter().filter(|(_, rows)| 2 * holds(rows) <= usual);
    let slip = |(block, rows): (&&str, &Vec<usize>)| Slip::ThinBlock {
        block: format!("replicate {block}"),
        holds: holds(rows),
        usual,
        evidence: standing.rows.evidence_at(rows.iter().copied()),
    };
    thin.map(slip).collect()
}

/// Complete blocks without treatments that more than half of the blocks hold. A block that is told as thin or by a
/// level of its own alone lacks them for that reason.
fn lacking_treatments(standing: &Standing<'_>, told: &[Slip]) -> Vec<Slip> {
    let blocks = standing.by_block();
    if blocks.len() < FEWEST_BLOCKS {
        return Vec::new();
    }
    let is_told = |name: &str| {
        told.iter().any(|slip| {
            matches!(slip, Slip::LevelInOneBlock { block, .. } | Slip::ThinBlock { block, .. } if block == name)
        })
    };
    let holds: BTreeMap<&str, BTreeSet<&str>> = blocks
        .iter()
        .map(|(block, rows)| (*block, standing.plots(rows).into_keys().collect()))
        .collect();
    let in_blocks = |treatment: &str| holds.values().filter(|own| own.contains(treatment)).count();
    let usual: BTreeSet<&str> = holds
        .values()
        .flatten()
        .copied()
        .filter(|treatment| 2 * in_blocks(treatment) > blocks.len())
        .collect();
    // What a thin block holds may be what the block that it is mistyped for lacks.
    let thin: BTreeSet<&str> = told
        .iter()
        .filter_map(|slip| match slip {
            Slip::ThinBlock { block, .. } => holds.get(block.strip_prefix("replicate ")?),
            _ => None,
        })
        .flatten()
        .copied()
        .collect();
    let lacking = holds.iter().filter_map(|(block, own)| {
        let lacking: Vec<String> = usual
            .difference(own)
            .filter(|t| !thin.contains(**t))
            .map(|t| (*t).to_owned())
            .collect();
        let name = format!("replicate {block}");
        (!lacking.is_empty() && !is_told(&name)).then(|| Slip::LackingTreatments {
            block: name,
            lacking,
            blocks: blocks.len(),
            evidence: standing.rows.evidence_at(blocks[block].iter().copied()),
        })
    });
    lacking.collect()
}

/// What most of some counts are, where three in four are the same.
pub(super) fn usual(counts: &[usize]) -> Option<usize> {
    let middle = median(counts.to_vec());
    let same = counts.iter().filter(|count| **count == middle).count();
    (4 * same >= 3 * counts.len()).then_some(middle)
}

/// Plots told by block and treatment of which one holds the trees that another of its block, or of
/// its treatment, lacks.
fn uneven_plots(standing: &Standing<'_>, has_plots: bool) -> Vec<Slip> {
    let blocks = standing.by_block();
    let plots: Vec<(&str, &str, usize, Vec<usize>)> = blocks
        .iter()
        .flat_map(|(block, own)| {
            let own = standing.plots(own).into_iter();
            own.map(|(treatment, (trees, rows))| (*block, treatment, trees, rows))
        })
        .collect();
    let counts: Vec<usize> = plots.iter().map(|(_, _, trees, _)| *trees).collect();
    let Some(usual) = usual(&counts) else { return Vec::new() };
    let many = plots.iter().filter(|(_, _, trees, _)| *trees > usual);
    many.filter_map(|(block, treatment, trees, rows)| {
        let is_rest = |(_, _, left, _): &&(&str, &str, usize, Vec<usize>)| {
            *left < usual && usual - left == trees - usual
        };
        let rests = || plots.iter().filter(is_rest);
        // A treatment is mistyped more often than a block.
        let (other_block, other, left, _) = rests()
            .find(|(own, ..)| own == block)
            .or_else(|| rests().find(|(_, own, ..)| own == treatment))?;
        Some(Slip::UnevenPlots {
            treatment: (*treatment).to_owned(),
            block: format!("replicate {block}"),
            trees: *trees,
            other: (*other).to_owned(),
            other_block: format!("replicate {other_block}"),
            left: *left,
            usual,
            has_plots,
            evidence: standing.rows.evidence_at(rows.iter().copied()),
        })
    })
    .collect()
}

/// Without blocks: treatments of which one has the plots that another lacks, and plots with the trees
/// of two.
fn uneven_treatments(standing: &Standing<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
    let observed = standing.rows.observations;
    // Without a column of plots each tree is one.
    let plots: Vec<String> = match &declared.roles.plot {
        Some(column) => {
            let read = standing.rows.cells(column, "plot").unwrap_or_default();
            read.into_iter().map(Option::unwrap_or_default).collect()
        }
        None => observed.tree.clone(),
    };
    let different = |texts: &[String], rows: &[usize]| -> usize {
        rows.iter().filter_map(|row| texts.get(*row)).collect::<BTreeSet<_>>().len()
    };
    let mut treatments = grouped(&standing.treatments);
    treatments.remove("");
    let counts: BTreeMap<&str, usize> =
        treatments.iter().map(|(name, rows)| (*name, different(&plots, rows))).collect();
    let middle = median(counts.values().copied().collect());
    let off: Vec<(&&str, &usize)> = counts.iter().filter(|(_, count)| **count != middle).collect();
    let mut found = Vec::new();
    if let [(first, a), (second, b)] = off.as_slice()
        && counts.len() > off.len()
        && *a + *b == 2 * middle
    {
        let (many, few) = if a > b { (first, second) } else { (second, first) };
        found.push(Slip::UnevenTreatments {
            treatment: (**many).to_owned(),
            plots: **a.max(b),
            other: (**few).to_owned(),
            left: **a.min(b),
            usual: middle,
            evidence: standing.rows.evidence_at(treatments[**many].iter().copied()),
        });
    }
    if declared.roles.plot.is_none() {
        return found;
    }
    let mut by_plot = grouped(&plots);
    by_plot.remove("");
    let trees: BTreeMap<&str, usize> =
        by_plot.iter().map(|(plot, rows)| (*plot, different(&observed.tree, rows))).collect();
    let Some(usual) = usual(&trees.values().copied().collect::<Vec<_>>()) else { return found };
    for (plot, count) in trees.iter().filter(|(_, count)| **count >= 2 * usual) {
        let rows = &by_plot[plot];
        let treatment = rows.first().and_then(|row| standing.treatments.get(*row));
        if let Some(treatment) = treatment
            && let Some(plots) = counts.get(treatment.as_str()).filter(|plots| **plots < middle)
        {
            found.push(Slip::LargePlot {
                plot: format!("plot {plot}"),
                trees: *count,
                usual,
                treatment: treatment.clone(),
                plots: *plots,
                usual_plots: middle,
                evidence: standing.rows.evidence_at(rows.iter().copied()),
            });
        }
    }
    found
}

/// Two levels that go together and with nothing else, in a factorial that crosses the others.
fn undeclared(standing: &Standing<'_>, declared: &TrialDeclaration) -> Option<Slip> {
    if declared.control.as_ref().is_some_and(|control| control.beside_factorial) {
        return None;
    }
    let only = |texts: &[String], rows: &[usize], own: &str| {
        rows.iter().all(|row| texts.get(*row).is_some_and(|text| text == own))
    };
    for (at, (factor, texts)) in standing.levels.iter().enumerate() {
        for (other, others) in standing.levels.iter().skip(at + 1) {
            let (levels, other_levels) = (grouped(texts), grouped(others));
            // Two levels beside it on each side are a factorial that it stands beside.
            if levels.len() < 3 || other_levels.len() < 3 {
                continue;
            }
            let mut pairs = levels.iter().filter_map(|(level, rows)| {
                let other_level = others.get(*rows.first()?)?.as_str();
                let back = other_levels.get(other_level)?;
                let alone = only(others, rows, other_level) && only(texts, back, level);
                alone.then_some((*level, other_level, rows))
            });
            // With two such pairs the factors are confounded rather than a control beside them.
            if let (Some((level, other_level, rows)), None) = (pairs.next(), pairs.next()) {
                return Some(Slip::Undeclared {
                    factor: (*factor).to_owned(),
                    level: level.to_owned(),
                    other: (*other).to_owned(),
                    other_level: other_level.to_owned(),
                    evidence: standing.rows.evidence_at(rows.iter().copied()),
                });
            }
        }
    }
    None
}
