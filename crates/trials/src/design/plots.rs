//! Which plot, block and main plot each row belongs to.

use super::factor::PlanFactor;
use super::refusal::Refusal;
use super::roles::{Rows, distinct, grouped, joined};
use records::{TrialDeclaration, TrialDesign};

/// Groups of the used rows, by name.
pub(super) struct Groups {
    /// Complete blocks.
    pub replicate: Option<Vec<String>>,
    /// Incomplete blocks, or blocks of an augmented design.
    pub block: Option<Vec<String>>,
    /// Rows of a Latin square.
    pub row: Option<Vec<String>>,
    /// Columns of a Latin square.
    pub column: Option<Vec<String>>,
    /// Main plots, or strips one way.
    pub main_plot: Option<Vec<String>>,
    /// Sub plots of a split-split plot, or strips across.
    pub sub_plot: Option<Vec<String>>,
    /// Plots.
    pub plot: Vec<String>,
    /// Whether plots were told from treatments instead of read.
    pub plot_told: bool,
}

/// Level texts of a factor by used row; empty on control plots.
pub(super) struct Levels {
    /// Name of the factor.
    pub name: String,
    /// Level texts.
    pub texts: Vec<String>,
}

/// Reads the groups that the design needs.
///
/// # Errors
/// A missing or empty column; a main plot, plot or tree in two groups.
pub(super) fn groups(
    rows: &Rows<'_>,
    declared: &TrialDeclaration,
    levels: &[Levels],
) -> Result<Groups, Refusal> {
    use TrialDesign as D;
    let roles = &declared.roles;
    let n = rows.used.len();
    let design = declared.design;
    let replicate = match design {
        D::CompletelyRandomised => None,
        D::RandomisedBlocks | D::StripPlot => Some(block_column(rows, declared)?),
        D::SplitPlot | D::SplitSplitPlot => {
            let free = roles.main_plot.is_some() && !rows.has(&roles.replicate);
            if free { None } else { Some(rows.full(&roles.replicate, "replicate")?) }
        }
        D::LatinSquare | D::IncompleteBlocks | D::AugmentedBlocks => {
            let read = rows.has(&roles.replicate);
            if read { Some(rows.full(&roles.replicate, "replicate")?) } else { None }
        }
    };
    let within = |texts: Vec<String>, name: &str| -> Vec<String> {
        match &replicate {
            Some(r) => joined(&[("replicate", r), (name, &texts)], n),
            None => joined(&[(name, &texts)], n),
        }
    };
    let block = match (design, &roles.block) {
        (D::IncompleteBlocks, Some(column)) => Some(within(rows.full(column, "block")?, "block")),
        (D::IncompleteBlocks, None) => {
            return Err(Refusal::NoColumn { column: "block".into(), role: "block".into() });
        }
        (D::AugmentedBlocks, Some(column)) => Some(rows.full(column, "block")?),
        (D::AugmentedBlocks, None) => Some(rows.full(&roles.replicate, "replicate")?),
        _ => None,
    };
    let line = |column: &Option<String>, name: &str| -> Result<Option<Vec<String>>, Refusal> {
        if design != D::LatinSquare {
            return Ok(None);
        }
        let column = column.clone().unwrap_or_else(|| name.to_owned());
        let lines = rows.full(&column, name)?;
        // Of one square the replicate says nothing.
        let one = replicate.as_ref().is_none_or(|own| grouped(own).len() < 2);
        Ok(Some(if one { joined(&[(name, &lines)], n) } else { within(lines, name) }))
    };
    let (row, column) = (line(&roles.row, "row")?, line(&roles.column, "column")?);
    let of = |names: &[String]| -> Vec<String> {
        let chosen: Vec<&Levels> =
            names.iter().filter_map(|n| levels.iter().find(|l| l.name == *n)).collect();
        let parts: Vec<(&str, &[String])> =
            chosen.iter().map(|l| (l.name.as_str(), l.texts.as_slice())).collect();
        joined(&parts, n)
    };
    let inside = |outer: &Option<Vec<String>>, texts: Vec<String>| -> Vec<String> {
        match outer {
            Some(o) => o.iter().zip(&texts).map(|(a, b)| format!("{a}, {b}")).collect(),
            None => texts,
        }
    };
    let named = replicate.as_ref().map(|r| joined(&[("replicate", r)], n));
    let main = declared.main_factors.as_slice();
    let sub = declared.sub_factors.as_slice();
    let (mut main_plot, mut sub_plot) = (None, None);
    if matches!(design, D::SplitPlot | D::SplitSplitPlot) {
        main_plot = Some(match &roles.main_plot {
            Some(c) => {
                nested(rows, "main plot", "main plots", &rows.full(c, "main_plot")?, &named)?
            }
            None => inside(&named, of(main)),
        });
    }
    if design == D::SplitSplitPlot {
        sub_plot = Some(match &roles.sub_plot {
            Some(c) => {
                nested(rows, "sub plot", "sub plots", &rows.full(c, "sub_plot")?, &main_plot)?
            }
            None => inside(&main_plot, of(sub)),
        });
    }
    if design == D::StripPlot {
        main_plot = Some(inside(&named, of(main)));
        sub_plot = Some(inside(&named, of(sub)));
    }
    // Within the outer group, what tells plots apart.
    let treatment = match design {
        D::SplitPlot => of(sub),
        D::SplitSplitPlot => of(&declared.sub_sub_factors),
        _ => of(&levels.iter().map(|l| l.name.clone()).collect::<Vec<_>>()),
    };
    let outer = match design {
        D::CompletelyRandomised => None,
        D::RandomisedBlocks | D::StripPlot => named.clone(),
        D::SplitPlot => main_plot.clone(),
        D::SplitSplitPlot => sub_plot.clone(),
        D::LatinSquare => {
            let (r, c) = (row.clone().unwrap_or_default(), column.clone().unwrap_or_default());
            // The replicate stands before the row already.
            let within_row = |at: usize, c: &'_ str| -> String {
                let replicate = replicate.as_ref().and_then(|own| own.get(at));
                let prefix = replicate.map(|own| format!("replicate {own}, "));
                let rest = prefix.and_then(|prefix| c.strip_prefix(&prefix));
                rest.unwrap_or(c).to_owned()
            };
            let named = r.iter().zip(&c).enumerate();
            Some(named.map(|(at, (r, c))| format!("{r}, {}", within_row(at, c))).collect())
        }
        D::IncompleteBlocks | D::AugmentedBlocks => block.as_ref().map(|b| match design {
            D::AugmentedBlocks => joined(&[("block", b)], n),
            _ => b.clone(),
        }),
    };
    let tree: Vec<String> = rows.used.iter().map(|r| rows.observations.tree[*r].clone()).collect();
    let (plot, plot_told) = match &roles.plot {
        Some(c) => {
            let texts = rows.full(c, "plot")?;
            (nested(rows, "plot", "blocks", &texts, &outer)?, false)
        }
        None => match design {
            D::CompletelyRandomised => (tree.clone(), false),
            D::LatinSquare => (outer.clone().unwrap_or_default(), false),
            _ => (inside(&outer, treatment), true),
        },
    };
    within_one(rows, "tree", "plots", &tree, &plot)?;
    Ok(Groups { replicate, block, row, column, main_plot, sub_plot, plot, plot_told })
}

/// The replicate's column, or the block's where only that is there.
fn block_column(rows: &Rows<'_>, declared: &TrialDeclaration) -> Result<Vec<String>, Refusal> {
    let roles = &declared.roles;
    match &roles.block {
        Some(block) if !rows.has(&roles.replicate) => rows.full(block, "block"),
        _ => rows.full(&roles.replicate, "replicate"),
    }
}

/// Ids made unique: numbers that start again in every outer group are joined with it; an id that
/// lies in some two of them is refused.
fn nested(
    rows: &Rows<'_>,
    unit: &str,
    groups: &str,
    ids: &[String],
    outer: &Option<Vec<String>>,
) -> Result<Vec<String>, Refusal> {
    let alone = joined(&[(unit, ids)], ids.len());
    let Some(outer) = outer else { return Ok(alone) };
    let by_id = grouped(ids);
    let repeated = by_id.values().filter(|at| distinct(outer, at).len() > 1).count();
    if 2 * repeated > by_id.len() {
        return Ok(outer.iter().zip(&alone).map(|(o, i)| format!("{o}, {i}")).collect());
    }
    within_one(rows, unit, groups, ids, outer)?;
    Ok(alone)
}

/// Refuses an id that lies in two groups.
fn within_one(
    rows: &Rows<'_>,
    unit: &str,
    groups: &str,
    ids: &[String],
    outer: &[String],
) -> Result<(), Refusal> {
    for (id, at) in grouped(ids) {
        let found = distinct(outer, &at);
        if found.len() > 1 {
            return Err(Refusal::InTwo {
                unit: unit.to_owned(),
                id: id.to_owned(),
                groups: groups.to_owned(),
                found,
                evidence: rows.evidence_at(at),
            });
        }
    }
    Ok(())
}

/// Level texts of each factor, numbers of amounts written one way.
pub(super) fn levels(
    rows: &Rows<'_>,
    declared: &TrialDeclaration,
    names: &[String],
) -> Result<Vec<Levels>, Refusal> {
    let mut out = Vec::with_capacity(names.len());
    let control = declared.control.as_ref().filter(|c| c.beside_factorial);
    let on_control: Vec<bool> = match control {
        Some(c) => {
            let wanted = canonical(&c.level, declared.amounts.contains_key(&c.factor));
            let amount = declared.amounts.contains_key(&c.factor);
            let cells = rows.cells(&c.factor, "factor of the control")?;
            cells
                .iter()
                .map(|t| t.as_ref().is_some_and(|t| canonical(t, amount) == wanted))
                .collect()
        }
        None => vec![false; rows.used.len()],
    };
    for name in names {
        let amount = declared.amounts.contains_key(name);
        let cells = rows.cells(name, "factor")?;
        let empty: Vec<usize> =
            (0..cells.len()).filter(|i| cells[*i].is_none() && !on_control[*i]).collect();
        if !empty.is_empty() {
            return Err(Refusal::EmptyCells {
                column: name.clone(),
                evidence: rows.evidence_at(empty),
            });
        }
        let marks = control.is_some_and(|c| c.factor == *name);
        let texts = cells
            .iter()
            .zip(&on_control)
            .map(|(cell, control)| match cell {
                Some(text) if marks || !control => canonical(text, amount),
                _ => String::new(),
            })
            .collect();
        out.push(Levels { name: name.clone(), texts });
    }
    Ok(out)
}

/// Amounts as their shortest number, so that `25` and `25.0` are one level.
pub(super) fn canonical(text: &str, amount: bool) -> String {
    let text = text.trim();
    match text.parse::<f64>() {
        Ok(x) if amount && x.is_finite() => x.to_string(),
        _ => text.to_owned(),
    }
}

/// Level of a factor by used row; `None` on control plots.
pub(super) fn positions(
    factor: &PlanFactor,
    levels: &Levels,
    control: Option<&str>,
) -> Vec<Option<usize>> {
    let at = |t: &String| if Some(t.as_str()) == control { None } else { factor.position(t) };
    levels.texts.iter().map(at).collect()
}
