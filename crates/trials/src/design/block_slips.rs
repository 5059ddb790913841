//! Slips in the blocks of incomplete and augmented designs, which hold no full set of treatments: a check that
//! a block lacks, a plot under the label of another block.

use super::roles::{Rows, grouped, joined};
use super::slip::Slip;
use super::slips::{FEWEST_BLOCKS, Standing, median, usual};
use records::{TrialDeclaration, TrialDesign, differ_by_one};
use std::collections::{BTreeMap, BTreeSet};

/// The blocks of a design whose blocks hold a part of the treatments.
struct Blocks<'a> {
    /// Plots by block, each with the block's rows; a block is told by its replicate too.
    plots: BTreeMap<&'a str, (usize, Vec<usize>)>,
    rows: &'a Rows<'a>,
    /// Replicate of each row, one for all where none is read.
    replicates: &'a [String],
}

/// Slips of an incomplete or an augmented design; none of any other.
pub(super) fn block_slips(standing: &Standing<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
    let (rows, roles) = (&standing.rows, &declared.roles);
    let cells = |column: &str| -> Vec<String> {
        let read = rows.cells(column, "block").unwrap_or_default();
        read.into_iter().map(Option::unwrap_or_default).collect()
    };
    let has_replicates = rows.has(&roles.replicate);
    let one = || vec![String::new(); rows.used.len()];
    let (column, replicates) = match (declared.design, &roles.block) {
        (TrialDesign::IncompleteBlocks, Some(block)) if has_replicates => {
            (block, cells(&roles.replicate))
        }
        (TrialDesign::IncompleteBlocks | TrialDesign::AugmentedBlocks, Some(block)) => {
            (block, one())
        }
        (TrialDesign::AugmentedBlocks, None) => (&roles.replicate, one()),
        _ => return Vec::new(),
    };
    let labels = cells(column);
    if labels.len() != replicates.len() {
        return Vec::new();
    }
    let named = if replicates.iter().any(|own| !own.is_empty()) {
        joined(&[("replicate", &replicates), ("block", &labels)], labels.len())
    } else {
        joined(&[("block", &labels)], labels.len())
    };
    // Without a column of plots a block holds a treatment once.
    let plot = match &roles.plot {
        Some(column) => cells(column),
        None => standing.treatments.clone(),
    };
    let plots = grouped(&named)
        .into_iter()
        .map(|(block, own)| {
            let own: Vec<usize> = own
                .into_iter()
                .filter(|row| labels.get(*row).is_some_and(|label| !label.is_empty()))
                .collect();
            let ids: BTreeSet<&String> =
                own.iter().filter_map(|row| plot.get(*row)).filter(|id| !id.is_empty()).collect();
            (block, (ids.len(), own))
        })
        .filter(|(_, (count, _))| *count > 0)
        .collect();
    let blocks = Blocks { plots, rows, replicates: &replicates };
    let mut found = blocks.alone();
    found.extend(blocks.uneven());
    found.extend(blocks.lacking_checks(standing, declared));
    found
}

impl Blocks<'_> {
    /// Blocks of one plot where three in four hold several.
    fn alone(&self) -> Vec<Slip> {
        let counts: Vec<usize> = self.plots.values().map(|(count, _)| *count).collect();
        let several = counts.iter().filter(|count| **count > 1).count();
        if 4 * several < 3 * counts.len() {
            return Vec::new();
        }
        let alone = self.plots.iter().filter(|(_, (count, _))| *count == 1);
        let slip = |(block, (_, rows)): (&&str, &(usize, Vec<usize>))| Slip::LoneBlock {
            block: (*block).to_owned(),
            usual: median(counts.clone()),
            evidence: self.rows.evidence_at(rows.iter().copied()),
        };
        alone.map(slip).collect()
    }

    /// Blocks with plots too many beside one of the same replicate with as many too few. Ours, a convention:
    /// where more than a quarter of the blocks are off the usual size, and more than two, sizes were laid out
    /// unlike. A block that is too small by itself lost its plots.
    fn uneven(&self) -> Vec<Slip> {
        let counts: Vec<usize> = self.plots.values().map(|(count, _)| *count).collect();
        let middle = median(counts.clone());
        let off = counts.iter().filter(|count| **count != middle).count();
        if usual(&counts).is_none() && (off > 2 || counts.len() < off + 2) {
            return Vec::new();
        }
        let replicate = |rows: &[usize]| rows.first().and_then(|row| self.replicates.get(*row));
        let many = self.plots.iter().filter(|(_, (count, _))| *count > middle);
        many.filter_map(|(block, (plots, rows))| {
            let (other, (left, _)) = self.plots.iter().find(|(_, (left, others))| {
                *left > 1 && left + plots == 2 * middle && replicate(others) == replicate(rows)
            })?;
            Some(Slip::UnevenBlocks {
                block: (*block).to_owned(),
                plots: *plots,
                other: (*other).to_owned(),
                left: *left,
                usual: middle,
                evidence: self.rows.evidence_at(rows.iter().copied()),
            })
        })
        .collect()
    }

    /// Blocks of an augmented design without a check that more than half of them hold, with the new entry of the
    /// block that is the check but for one letter. Ours, a convention: without such an entry it is told where no more than
    /// a quarter of checks and blocks do not meet, as checks may be laid out in a part of the blocks.
    fn lacking_checks(&self, standing: &Standing<'_>, declared: &TrialDeclaration) -> Vec<Slip> {
        let factor = standing.levels.first().filter(|_| standing.levels.len() == 1);
        let (TrialDesign::AugmentedBlocks, Some((_, levels))) = (declared.design, factor) else {
            return Vec::new();
        };
        let holds: BTreeMap<&str, BTreeSet<&str>> = self
            .plots
            .iter()
            .map(|(block, (_, rows))| {
                let own = rows.iter().filter_map(|row| levels.get(*row)).map(String::as_str);
                (*block, own.collect())
            })
            .collect();
        let blocks = holds.len();
        let mut pairs = Vec::new();
        for check in &declared.checks {
            let lacking: Vec<&str> = holds
                .iter()
                .filter(|(_, own)| !own.contains(check.as_str()))
                .map(|(block, _)| *block)
                .collect();
            pairs.extend(lacking.iter().map(|block| (check, *block, blocks - lacking.len())));
        }
        let few = blocks >= FEWEST_BLOCKS && 4 * pairs.len() <= blocks * declared.checks.len();
        pairs
            .into_iter()
            .filter_map(|(check, block, held)| {
                let letters: Vec<char> = check.chars().collect();
                let near: Vec<&str> = holds
                    .get(block)?
                    .iter()
                    .copied()
                    .filter(|entry| {
                        let own: Vec<char> = entry.chars().collect();
                        !declared.checks.iter().any(|check| check == entry)
                            && differ_by_one(&letters, &own)
                    })
                    .collect();
                // Two such entries leave open which.
                let entry =
                    if let [entry] = near.as_slice() { Some((*entry).to_owned()) } else { None };
                let told = 2 * held > blocks && few || held > 0 && entry.is_some();
                let (_, rows) = self.plots.get(block)?;
                let own = |row: &&usize| {
                    let level = levels.get(**row).map(String::as_str);
                    entry.is_none() || level == entry.as_deref()
                };
                let evidence = self.rows.evidence_at(rows.iter().filter(own).copied());
                told.then(|| Slip::LackingCheck {
                    block: block.to_owned(),
                    check: check.clone(),
                    held,
                    blocks,
                    entry,
                    evidence,
                })
            })
            .collect()
    }
}
