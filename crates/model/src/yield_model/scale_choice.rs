//! The response scale, by profiled Box-Cox likelihood among log, square root and identity.

use super::YieldError;
use crate::design::Design;
use crate::scale::Scale;
use crate::table::TreeSeasons;
use mixed::{Criterion, Data, Factor, FixedColumn, RandomEffect, Settings, Status};
use records::ResponseScale;

pub(super) struct Choice {
    pub(super) scale: Scale,
    pub(super) evidence: Vec<(Scale, f64)>,
}

/// The declared scale, or the one with the highest maximised log-likelihood of the yields in kg.
pub(super) fn choose(
    table: &TreeSeasons,
    design: &Design,
    wanted: ResponseScale,
) -> Result<Choice, YieldError> {
    let zeros = table.yield_kg.iter().filter(|kg| **kg <= 0.0).count() as u64;
    let declared = match wanted {
        ResponseScale::Log if zeros > 0 => return Err(YieldError::ZeroOnLog { zeros }),
        ResponseScale::Log => Some(Scale::Log),
        ResponseScale::SquareRoot => Some(Scale::SquareRoot),
        ResponseScale::Identity => Some(Scale::Identity),
        ResponseScale::Auto => None,
    };
    if let Some(scale) = declared {
        return Ok(Choice { scale, evidence: Vec::new() });
    }
    let mut evidence = Vec::new();
    for scale in Scale::ALL {
        if scale == Scale::Log && zeros > 0 {
            continue;
        }
        // A zero has no density on the square-root scale: the scales are compared on the rest.
        let response: Vec<f64> = table
            .yield_kg
            .iter()
            .map(|&kg| if kg > 0.0 { scale.forward(kg) } else { f64::NAN })
            .collect();
        let fit = mixed::fit(
            &data(design, &response),
            &Settings { criterion: Criterion::Ml, ..super::rough(None) },
        )?;
        let jacobian: f64 =
            table.yield_kg.iter().filter(|kg| **kg > 0.0).map(|&kg| scale.log_derivative(kg)).sum();
        evidence.push((scale, fit.loglik() + jacobian));
    }
    let best = evidence.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(Scale::Identity, |e| e.0);
    Ok(Choice { scale: best, evidence })
}

/// Rows above which columns are looked at in a part of them first.
const MANY_ROWS: usize = 60_000;

/// Removes the fixed columns that the rows cannot tell from earlier ones.
pub(crate) fn identify(table: &TreeSeasons, design: &mut Design) -> Result<(), YieldError> {
    // Columns that a part of the rows tells apart are told apart by all.
    let part: Vec<usize> = (0..table.len()).filter(|&row| is_in_part(row, table.len())).collect();
    if part.len() < table.len() {
        let pick = |values: &[f64]| -> Vec<f64> { part.iter().map(|&row| values[row]).collect() };
        let columns: Vec<Vec<f64>> =
            design.columns.iter().map(|column| pick(&column.values)).collect();
        let response = pick(&table.yield_kg);
        let values = columns.iter().map(Vec::as_slice);
        if unidentified(fixed(design, values, Data::new(&response)))?.is_empty() {
            return Ok(());
        }
    }
    let values = design.columns.iter().map(|column| column.values.as_slice());
    let columns = unidentified(fixed(design, values, Data::new(&table.yield_kg)))?;
    design.remove_columns(&columns);
    Ok(())
}

/// Whether a row is among some [`MANY_ROWS`], scattered so that no season or block is favoured:
/// multiples of the golden ratio (Knuth, 1998, The Art of Computer Programming 3, section 6.4).
fn is_in_part(row: usize, rows: usize) -> bool {
    let scattered = f64::from((row as u32).wrapping_mul(2_654_435_761)) / 4_294_967_296.0;
    scattered * (rows as f64) < MANY_ROWS as f64
}

/// Names of the fixed columns that the rows cannot tell from earlier ones.
fn unidentified(data: Data<'_>) -> Result<Vec<String>, YieldError> {
    Ok(match mixed::fit(&data, &Settings::default())?.status() {
        Status::Unidentified { columns } => columns.clone(),
        Status::Interior | Status::Boundary { .. } | Status::NotConverged { .. } => Vec::new(),
    })
}

/// Adds the fixed columns of a design with these values.
fn fixed<'a>(design: &Design, values: impl Iterator<Item = &'a [f64]>, data: Data<'a>) -> Data<'a> {
    design.columns.iter().zip(values).fold(data, |data, (column, values)| {
        let named = FixedColumn::new(column.name.clone(), values);
        data.column(named.units(column.centre, column.scale))
    })
}

/// The engine's view of a design and a response.
pub(crate) fn data<'a>(design: &'a Design, response: &'a [f64]) -> Data<'a> {
    let finite = || response.iter().filter(|value| value.is_finite());
    let count = finite().count().max(1) as f64;
    let mean = finite().sum::<f64>() / count;
    let spread = (finite().map(|y| (y - mean).powi(2)).sum::<f64>() / count).sqrt();
    // Powers of two and three digits keep the declared constants readable in the record.
    let centre = (mean * 1000.0).round() / 1000.0;
    let scale = if spread > 0.0 { 2.0_f64.powf(spread.log2().round()) } else { 1.0 };
    let values = design.columns.iter().map(|column| column.values.as_slice());
    let mut data = fixed(design, values, Data::new(response).response_units(centre, scale));
    for group in &design.groups {
        let mut factor = Factor::intercept(group.name.clone(), &group.codes, group.labels.len());
        if !group.slopes.is_empty() {
            factor.effects = group
                .slopes
                .iter()
                .map(|&shape| RandomEffect::Slope {
                    name: crate::curve::COLUMN_NAMES[shape].to_owned(),
                    values: &design.shapes[shape],
                })
                .collect();
            factor = factor.independent();
        } else if !group.loading.is_empty() {
            factor.effects =
                vec![RandomEffect::Slope { name: "intercept".to_owned(), values: &group.loading }];
        }
        data = data.factor(factor);
    }
    data
}
