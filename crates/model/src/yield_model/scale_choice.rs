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
            &Settings { criterion: Criterion::Ml, ..super::rough() },
        )?;
        let jacobian: f64 =
            table.yield_kg.iter().filter(|kg| **kg > 0.0).map(|&kg| scale.log_derivative(kg)).sum();
        evidence.push((scale, fit.loglik() + jacobian));
    }
    let best = evidence.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(Scale::Identity, |e| e.0);
    Ok(Choice { scale: best, evidence })
}

/// Removes the fixed columns that the rows cannot tell from earlier ones.
pub(crate) fn identify(table: &TreeSeasons, design: &mut Design) -> Result<(), YieldError> {
    let mut plain = data(design, &table.yield_kg);
    plain.factors.clear();
    match mixed::fit(&plain, &Settings::default())?.status().clone() {
        Status::Unidentified { columns } => design.remove_columns(&columns),
        Status::Interior | Status::Boundary { .. } | Status::NotConverged { .. } => {}
    }
    Ok(())
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
    let mut data = Data::new(response).response_units(centre, scale);
    for column in &design.columns {
        data = data.column(
            FixedColumn::new(column.name.clone(), column.values.as_slice())
                .units(column.centre, column.scale),
        );
    }
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
