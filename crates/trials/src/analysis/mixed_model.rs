//! The mixed model of a damaged or unbalanced trial, with Kenward-Roger inference.

use super::columns::Columns;
use super::orthogonal::extend;
use crate::design::{Plan, Refusal, StratumKind};
use mixed::{Data, Factor, Fit, FixedColumn, KenwardRoger, Settings, Status};
use words::say;

/// A fitted mixed model.
#[derive(Debug, Clone)]
pub(super) struct MixedFit {
    /// The fit.
    pub fit: Fit,
    /// Inference on its fixed part.
    pub kenward_roger: KenwardRoger,
}

impl MixedFit {
    /// Fits by REML with the random strata of the plan.
    ///
    /// # Errors
    /// A random stratum that the fixed part uses up; a fit that ended without a minimum.
    pub fn new(plan: &Plan, columns: &Columns) -> Result<Self, Refusal> {
        enough_groups(plan, columns)?;
        let y = plan.values();
        let n = y.len() as f64;
        let mean = y.iter().sum::<f64>() / n;
        let spread = (y.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
        let mut data = Data::new(&y).response_units(mean, spread);
        for (name, values) in columns.names.iter().zip(&columns.values) {
            data = data.column(FixedColumn::new(name.clone(), values.as_slice()));
        }
        let random: Vec<(&str, Vec<u32>, usize)> = plan
            .strata
            .iter()
            .filter(|s| s.kind == StratumKind::Random)
            .map(|s| {
                let codes = s.codes.iter().map(|c| *c as u32).collect();
                (s.name.as_str(), codes, s.groups.len())
            })
            .collect();
        for (name, codes, levels) in &random {
            data = data.factor(Factor::intercept(*name, codes, *levels));
        }
        let failed = |e: mixed::Error| match e {
            mixed::Error::NoResidualVariation => Refusal::NoError,
            e => Refusal::NotFitted { reason: e.to_string() },
        };
        let fit = mixed::fit(&data, &Settings::default()).map_err(failed)?;
        if let Status::NotConverged { reason } = fit.status() {
            return Err(Refusal::NotFitted { reason: reason.clone() });
        }
        let kenward_roger = fit.kenward_roger().map_err(failed)?;
        Ok(MixedFit { fit, kenward_roger })
    }
}

/// Each random stratum needs a group more than the fixed part and coarser strata use.
fn enough_groups(plan: &Plan, columns: &Columns) -> Result<(), Refusal> {
    let mut basis = Vec::new();
    for column in &columns.values {
        extend(&mut basis, column);
    }
    let fixed = basis.len();
    for stratum in plan.strata.iter().filter(|s| s.kind == StratumKind::Random) {
        let mut own = basis[..fixed].to_vec();
        for g in 0..stratum.groups.len() {
            let column: Vec<f64> =
                stratum.codes.iter().map(|c| if *c == g { 1.0 } else { 0.0 }).collect();
            extend(&mut own, &column);
        }
        if own.len() == fixed {
            return Err(Refusal::NoErrorDf {
                units: stratum.groups.len(),
                model: say!("the treatments of {}", crate::name_in_words(&stratum.name)),
            });
        }
    }
    Ok(())
}
