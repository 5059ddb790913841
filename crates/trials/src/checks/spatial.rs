//! An optional adjustment for the field: random rows and columns beside the design.

use super::{CheckError, FieldPosition, LinearFit};
use mixed::{Contrast, Data, Factor, FixedColumn, Settings};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use words::{say, text};

/// What rows and columns of the field gain over the model of the design alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SpatialAdjustment {
    /// Mean standard error of a treatment difference by the design alone.
    pub mean_sed_before: f64,
    /// Mean standard error (Kenward-Roger) with rows and columns.
    pub mean_sed_after: f64,
    /// AIC of the design alone, by REML.
    pub aic_before: f64,
    /// AIC with rows and columns, by REML with the same fixed terms.
    pub aic_after: f64,
    /// Variance between rows, units of the response squared; 0 at the boundary, and where the
    /// design carries the rows.
    pub row_variance: f64,
    /// Variance between columns, likewise.
    pub column_variance: f64,
    /// Residual variance.
    pub residual_variance: f64,
    /// Differences with rows and columns, in the order of the contrasts given: estimate, standard
    /// error, degrees of freedom; `None` where not estimable.
    pub differences: Vec<Option<(f64, f64, f64)>>,
    /// What the numbers say.
    pub reading: String,
}

/// Fits `response` by the `columns` of the design (one value per plot) and the random `groups` of
/// its strata (group of every plot, by stratum), without and with random rows and columns of the
/// field, and compares the treatment differences `contrasts` (one coefficient per column). Rows or
/// columns that the design carries, because they are its blocks or unite some, are left out: nothing
/// tells their spread.
///
/// The planned analysis stays that of the design; this one is a second opinion (Gilmour, Cullis
/// and Verbyla 1997, J. Agric. Biol. Environ. Stat. 2:269-293).
///
/// # Errors
/// When positions are missing, fewer than three rows and three columns are there, the design carries
/// both, or a fit fails.
pub fn spatial_adjustment(
    response: &[f64],
    columns: &[Vec<f64>],
    groups: &[Vec<usize>],
    contrasts: &[Vec<f64>],
    positions: &[FieldPosition],
) -> Result<SpatialAdjustment, CheckError> {
    let (rows, row_count) = codes(positions.iter().map(|p| p.row).collect());
    let (cols, column_count) = codes(positions.iter().map(|p| p.column).collect());
    if positions.len() != response.len() {
        return Err(CheckError::Columns(say!(
            "{} positions for {} plots",
            positions.len(),
            response.len()
        )));
    }
    for (what, found) in
        [(text!("rows of the field"), row_count), (text!("columns of the field"), column_count)]
    {
        if found < 3 {
            return Err(CheckError::TooFew { what: what.to_owned(), found, needed: 3 });
        }
    }
    let mut data = Data::new(response);
    for (index, column) in columns.iter().enumerate() {
        data = data.column(FixedColumn::new(format!("x{index}"), column.as_slice()));
    }
    let strata: Vec<(Vec<u32>, usize)> =
        groups.iter().map(|codes| codes_of_groups(codes)).collect();
    for (index, (codes, levels)) in strata.iter().enumerate() {
        data = data.factor(Factor::intercept(say!("stratum {index}"), codes, *levels));
    }
    let failed = |error: mixed::Error| CheckError::Fit(error.to_string());
    let before = mixed::fit(&data, &Settings::default()).map_err(failed)?;
    let free = |codes: &[u32], count| -> Result<bool, CheckError> {
        let same = groups.iter().any(|own| is_same_partition(codes, own));
        Ok(!same && !is_carried(response, columns, (codes, count))?)
    };
    let (by_row, by_column) = (free(&rows, row_count)?, free(&cols, column_count)?);
    let what = match (by_row, by_column) {
        (true, true) => text!("Rows and columns of the field"),
        (true, false) => text!("Rows of the field, whose columns the design carries,"),
        (false, true) => text!("Columns of the field, whose rows the design carries,"),
        (false, false) => {
            return Err(CheckError::Columns(say!(
                "rows and columns of the field are blocks of the design and leave nothing to adjust for"
            )));
        }
    };
    if by_row {
        data = data.factor(Factor::intercept("field row", &rows, row_count));
    }
    if by_column {
        data = data.factor(Factor::intercept("field column", &cols, column_count));
    }
    let after = mixed::fit(&data, &Settings::default()).map_err(failed)?;
    let inference = after.kenward_roger().map_err(failed)?;
    let plain = before.kenward_roger().map_err(failed)?;
    let mut differences = Vec::with_capacity(contrasts.len());
    let (mut sed_before, mut sed_after, mut counted) = (0.0, 0.0, 0.0);
    for contrast in contrasts {
        let adjusted = inference.contrast(contrast, 0.95).map_err(failed)?;
        let own = plain.contrast(contrast, 0.95).map_err(failed)?;
        if let (Contrast::Estimated(a), Contrast::Estimated(b)) = (&adjusted, &own) {
            sed_after += a.std_error;
            sed_before += b.std_error;
            counted += 1.0;
        }
        differences.push(adjusted.estimated().map(|e| (e.estimate, e.std_error, e.df)));
    }
    if counted == 0.0 {
        return Err(CheckError::Fit(say!("no treatment difference is estimable")));
    }
    let spread = |name: &str| {
        let theta = after.theta().into_iter().find(|theta| theta.name.starts_with(name));
        theta.map_or(0.0, |theta| (theta.value * after.sigma()).powi(2))
    };
    let variances = 1.0 + groups.len() as f64;
    let aic_before = before.criterion() + 2.0 * variances;
    let added = f64::from(u8::from(by_row) + u8::from(by_column));
    let aic_after = after.criterion() + 2.0 * (variances + added);
    let (mean_sed_before, mean_sed_after) = (sed_before / counted, sed_after / counted);
    Ok(SpatialAdjustment {
        mean_sed_before,
        mean_sed_after,
        aic_before,
        aic_after,
        row_variance: spread("field row"),
        column_variance: spread("field column"),
        residual_variance: after.sigma().powi(2),
        differences,
        reading: reading(what, aic_before - aic_after, mean_sed_before, mean_sed_after),
    })
}

fn reading(what: &str, aic_gain: f64, before: f64, after: f64) -> String {
    let change = 100.0 * (after / before - 1.0);
    if aic_gain > 0.0 {
        say!(
            "{what} explain the plots better (AIC lower by {aic_gain:.1}); \
             the mean standard error of a difference changes by {change:+.0} %. The planned \
             analysis stands; differences that both agree on are the safest."
        )
    } else {
        say!(
            "{what} do not help (AIC higher by {:.1}, mean standard error \
             of a difference {change:+.0} %): the analysis of the design needs no adjustment.",
            -aic_gain
        )
    }
}

/// Whether the columns of a design already tell the levels apart: their indicators add no rank.
fn is_carried(
    response: &[f64],
    columns: &[Vec<f64>],
    (codes, count): (&[u32], usize),
) -> Result<bool, CheckError> {
    let levels = (0..count as u32)
        .map(|level| codes.iter().map(|code| f64::from(u8::from(*code == level))).collect());
    let with: Vec<Vec<f64>> = columns.iter().cloned().chain(levels).collect();
    Ok(LinearFit::new(response, &with)?.rank == LinearFit::new(response, columns)?.rank)
}

/// Whether two codings put the same plots together.
fn is_same_partition(a: &[u32], b: &[usize]) -> bool {
    let pairs: BTreeSet<(u32, usize)> = a.iter().copied().zip(b.iter().copied()).collect();
    let distinct = |count: usize| pairs.len() == count;
    distinct(a.iter().collect::<BTreeSet<_>>().len())
        && distinct(b.iter().collect::<BTreeSet<_>>().len())
}

/// Group codes as the mixed model takes them, and the number of groups.
fn codes_of_groups(codes: &[usize]) -> (Vec<u32>, usize) {
    let levels = codes.iter().max().map_or(0, |m| m + 1);
    (codes.iter().map(|c| *c as u32).collect(), levels)
}

/// Level of each value in rising order, and the number of levels.
fn codes(values: Vec<f64>) -> (Vec<u32>, usize) {
    let mut levels = values.clone();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    let code = |v: &f64| levels.iter().position(|l| l == v).unwrap_or(0) as u32;
    (values.iter().map(code).collect(), levels.len())
}
