//! Columns of the fixed part of the model, coded so that coefficients are contrasts of equally weighted means.

use crate::design::{Cell, Part, Plan, StratumKind};
use std::ops::Range;

/// Fixed columns over the units: intercept, terms, covariate, fixed blocks.
#[derive(Debug, Clone)]
pub(super) struct Columns {
    /// Unique names.
    pub names: Vec<String>,
    /// Values by unit.
    pub values: Vec<Vec<f64>>,
    /// Columns of each term of the plan.
    pub terms: Vec<Range<usize>>,
    /// Number of columns of intercept and terms, which stand first.
    pub treatments: usize,
    /// Column of the covariate, and the mean it is centred on.
    pub covariate: Option<(usize, f64)>,
    /// Columns of each fixed block stratum (position among the strata).
    pub blocks: Vec<(usize, Range<usize>)>,
    /// Values of the intercept and the terms by cell of the plan.
    pub cells: Vec<Vec<f64>>,
}

impl Columns {
    /// Codes the plan; fixed blocks are those strata that hold every treatment.
    pub fn new(plan: &Plan) -> Self {
        let mut names = vec!["intercept".to_owned()];
        let mut cells: Vec<Vec<f64>> = vec![vec![1.0]; plan.cells.len()];
        let mut terms = Vec::with_capacity(plan.terms.len());
        for term in &plan.terms {
            let start = names.len();
            for (cell, row) in plan.cells.iter().zip(&mut cells) {
                let mut product = vec![1.0];
                for part in &term.parts {
                    let width = width(*part, plan);
                    let level = part.level(cell, &plan.factors, &plan.cells);
                    let code = match part {
                        Part::Control | Part::Group => vec![against(*part, cell, plan)],
                        _ => code(level, width),
                    };
                    product =
                        product.iter().flat_map(|p| code.iter().map(move |c| p * c)).collect();
                }
                row.extend(product);
            }
            let end = cells.first().map_or(start, Vec::len);
            names.extend((start..end).map(|j| format!("{} {}", term.name, j - start + 1)));
            terms.push(start..end);
        }
        let treatments = names.len();
        let mut values: Vec<Vec<f64>> = (0..treatments)
            .map(|j| plan.units.iter().map(|u| cells[u.cell][j]).collect())
            .collect();
        let covariate = plan.covariate.as_ref().map(|name| {
            let given: Vec<f64> = plan.units.iter().filter_map(|u| u.covariate).collect();
            let mean = given.iter().sum::<f64>() / given.len() as f64;
            values.push(given.iter().map(|x| x - mean).collect());
            names.push(format!("covariate {name}"));
            (treatments, mean)
        });
        let mut blocks = Vec::new();
        for (s, stratum) in plan.strata.iter().enumerate() {
            if stratum.kind == StratumKind::Blocks {
                let start = names.len();
                let last = stratum.groups.len() - 1;
                for g in 0..last {
                    // Differences from equal weights: zeros stand for the average block.
                    let coded = stratum.codes.iter().map(|c| match *c {
                        c if c == g => 1.0,
                        c if c == last => -1.0,
                        _ => 0.0,
                    });
                    values.push(coded.collect());
                    names.push(format!("{} {}", stratum.name, g + 1));
                }
                blocks.push((s, start..names.len()));
            }
        }
        Columns { names, values, terms, treatments, covariate, blocks, cells }
    }

    /// The mean of cells, equally weighted, at the mean of the covariate and over equally weighted
    /// blocks.
    pub fn mean(&self, cells: &[usize]) -> Vec<f64> {
        let mut out = vec![0.0; self.names.len()];
        for cell in cells {
            for (o, x) in out.iter_mut().zip(&self.cells[*cell]) {
                *o += x / cells.len() as f64;
            }
        }
        out
    }

    /// Unit contrasts of a range of coefficients.
    pub fn unit_rows(&self, range: Range<usize>) -> Vec<Vec<f64>> {
        range
            .map(|j| {
                let mut row = vec![0.0; self.names.len()];
                row[j] = 1.0;
                row
            })
            .collect()
    }
}

fn width(part: Part, plan: &Plan) -> usize {
    match part {
        Part::Control | Part::Group => 1,
        _ => part.level_names(&plan.factors, &plan.cells).len().saturating_sub(1),
    }
}

/// The control, or the checks, against the rest: the coefficient is the difference of their means,
/// and the column adds up to 0 over the treatments, so that the intercept is the mean of all of
/// them and season the mean over all of them, as the table of its means has it. With 1 and 0
/// instead, season would be that of the rest alone and never orthogonal to its interaction.
fn against(part: Part, cell: &Cell, plan: &Plan) -> f64 {
    let stands = |cell: &Cell| part.level(cell, &plan.factors, &plan.cells) == Some(1);
    let share = plan.cells.iter().filter(|c| stands(c)).count() as f64 / plan.cells.len() as f64;
    if stands(cell) { 1.0 - share } else { -share }
}

/// Deviations from the mean of the levels, so that every coefficient is a contrast of equally
/// weighted means.
fn code(level: Option<usize>, width: usize) -> Vec<f64> {
    match level {
        None => vec![0.0; width],
        Some(level) if level == width => vec![-1.0; width],
        Some(level) => (0..width).map(|j| if j == level { 1.0 } else { 0.0 }).collect(),
    }
}
