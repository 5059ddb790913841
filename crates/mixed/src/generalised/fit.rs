//! Estimates of a generalised mixed model: search, boundary, covariance.

use super::approximation::Model;
use super::design::Design;
use super::family::{Family, LARGEST_LOG_SIZE};
use super::modes::State;
use super::result::{GeneralisedFit, GeneralisedRecord};
use super::rows::{GeneralisedData, check};
use super::search::{Found, OUT_OF_ITERATIONS, inverse_over, search};
use crate::record::Visit;
use crate::small::dot;
use crate::status::Status;
use crate::{Error, Matrix};

/// Quasi-Newton iterations before the curvature is computed anew, and how often: far from where a
/// curvature was taken a new one saves more evaluations than it costs.
const ROUND: usize = 10;
const ROUNDS: usize = 20;
/// Newton decrement (in units of the deviance) that counts as converged.
const CONVERGED: f64 = 1e-9;
/// Smallest eigenvalue of the Hessian with a unit diagonal that counts as curved.
const FLAT: f64 = 1e-7;
/// Spread of eta under which a theta is tried at exactly 0.
const NEAR_ZERO: f64 = 3e-2;
/// Log size above which the Poisson family is tried.
const NEAR_POISSON: f64 = 7.0;
/// Rise of the deviance by which a boundary point still is the minimum.
const NO_RISE: f64 = 1e-6;

/// Fits a generalised model by maximum likelihood with Laplace's approximation
/// (observed information) over theta, the coefficients and the family's
/// parameters jointly (Breslow and Clayton 1993; Kristensen et al. 2016).
/// Log-likelihoods carry all constants.
///
/// # Errors
/// Lengths, level codes, weights, units and names as for [`crate::fit`];
/// negative responses, counts that are not whole, only zeros, dependent fixed
/// columns, modes that do not settle at the start.
pub fn fit_generalised(
    data: &GeneralisedData<'_>,
    family: Family,
) -> Result<GeneralisedFit, Error> {
    let checked = check(data, family)?;
    let design = Design::new(data, &checked);
    let model = Model::new(design, checked.layout, family);
    let mut state = State::new(&model.design)?;
    let start = model.first()?;
    let mut visited = Vec::new();
    let estimated = estimate(&model, &mut state, &start, &mut visited)?;
    GeneralisedFit::new(model, state, estimated, checked.units, checked.tally, visited)
}

/// What a search over the whole model found.
#[derive(Debug, Clone)]
pub(crate) struct Estimated {
    pub found: Found,
    pub free: Vec<bool>,
    /// Whether the size went to infinity.
    pub poisson: bool,
    /// 2 x inverse Hessian over the free parameters, internal units.
    pub covariance: Matrix,
    /// Derivatives of the modes by each free parameter.
    pub sensitivity: Vec<Vec<f64>>,
    pub decrement: f64,
    pub smallest: f64,
}

/// Searches from `start`, looks at the boundary, ends with Newton steps.
pub(crate) fn estimate(
    model: &Model,
    state: &mut State,
    start: &[f64],
    visited: &mut Vec<Visit>,
) -> Result<Estimated, Error> {
    let mut free = vec![true; model.width()];
    let mut found = descend(model, state, start, &free, visited)?;
    found = try_zeros(model, state, found, &mut free, visited)?;
    let poisson = try_poisson(model, state, &mut found, &mut free, visited);
    canonical(model, &mut found);
    finish(model, state, found, free, poisson, visited)
}

/// A search over the free parameters, by curvatures taken on the way.
pub(crate) fn descend(
    model: &Model,
    state: &mut State,
    start: &[f64],
    free: &[bool],
    visited: &mut Vec<Visit>,
) -> Result<Found, Error> {
    let mut x = start.to_vec();
    for round in 1.. {
        let (_, gradient) = model.evaluate(state, &x)?;
        let hessian = model.first_hessian(state, &x, &gradient)?;
        let (inverse, _) = inverse_over(&hessian, free, 1e-2).ok_or(NO_CURVATURE)?;
        let found = descend_along(model, state, &x, inverse, ROUND, visited)?;
        if found.reason != OUT_OF_ITERATIONS || round == ROUNDS {
            return Ok(found);
        }
        x = found.x;
    }
    Err(NO_CURVATURE)
}

/// A search from `start` by a matrix near the inverse Hessian, 0 for parameters that are held.
pub(crate) fn descend_along(
    model: &Model,
    state: &mut State,
    start: &[f64],
    inverse: Matrix,
    iterations: usize,
    visited: &mut Vec<Visit>,
) -> Result<Found, Error> {
    let count = model.entries.len();
    let mut objective = |x: &[f64]| {
        let (value, gradient) = model.evaluate(state, x).ok()?;
        visited.push(Visit { theta: x[..count].to_vec(), criterion: value });
        Some((value, gradient))
    };
    search(&mut objective, start, inverse, iterations)
        .ok_or(Error::Numerical { what: "a generalised model cannot be evaluated at the start" })
}

const NO_CURVATURE: Error = Error::Numerical { what: "the curvature has no eigenvalues" };

/// 0 is stationary by symmetry and the search only comes near it: each small
/// spread is set to 0, the rest searched again, and 0 kept if it is no worse.
fn try_zeros(
    model: &Model,
    state: &mut State,
    mut found: Found,
    free: &mut [bool],
    visited: &mut Vec<Visit>,
) -> Result<Found, Error> {
    let scale = model.spread_scale();
    for m in 0..model.entries.len() {
        if !model.entries[m].is_diagonal() || found.x[m].abs() * scale[m] > NEAR_ZERO {
            continue;
        }
        // What stands below it in its column of Lambda stays free.
        let (mut x, mut fewer) = (found.x.clone(), free.to_vec());
        x[m] = 0.0;
        fewer[m] = false;
        if let Ok(at) = descend(model, state, &x, &fewer, visited)
            && at.value <= found.value + NO_RISE
        {
            found = at;
            free.copy_from_slice(&fewer);
        }
    }
    Ok(found)
}

/// A large size is tried at its limit.
fn try_poisson(
    model: &Model,
    state: &mut State,
    found: &mut Found,
    free: &mut [bool],
    visited: &mut Vec<Visit>,
) -> bool {
    let at = model.entries.len() + model.design.p;
    if model.family != Family::NegativeBinomial || found.x[at] < NEAR_POISSON {
        return false;
    }
    let (mut x, mut fewer) = (found.x.clone(), free.to_vec());
    x[at] = LARGEST_LOG_SIZE;
    fewer[at] = false;
    match descend(model, state, &x, &fewer, visited) {
        Ok(end) if end.value <= found.value + NO_RISE => {
            *found = end;
            free.copy_from_slice(&fewer);
            true
        }
        _ => false,
    }
}

/// Turns the columns of Lambda whose diagonal is negative.
fn canonical(model: &Model, found: &mut Found) {
    for (m, entry) in model.entries.iter().enumerate().filter(|(_, e)| e.is_diagonal()) {
        if found.x[m] < 0.0 {
            for (j, other) in model.entries.iter().enumerate() {
                if other.factor == entry.factor && other.column == entry.column {
                    found.x[j] = -found.x[j];
                    found.gradient[j] = -found.gradient[j];
                }
            }
        }
    }
}

/// Newton steps on the exact gradient, until the decrement is rounding.
fn finish(
    model: &Model,
    state: &mut State,
    mut found: Found,
    free: Vec<bool>,
    poisson: bool,
    visited: &mut Vec<Visit>,
) -> Result<Estimated, Error> {
    let mut round = 0;
    loop {
        // The state must stand at the point.
        model.deviance(state, &found.x)?;
        let (hessian, sensitivity) = model.hessian(state, &found.x, &free)?;
        let (mut inverse, smallest) = inverse_over(&hessian, &free, FLAT).ok_or(NO_CURVATURE)?;
        let first = decrement(&inverse, &found.gradient);
        // The same Hessian serves a few steps.
        for _ in 0..3 {
            if decrement(&inverse, &found.gradient) < 0.01 * CONVERGED {
                break;
            }
            let step = inverse.times(&found.gradient);
            let x: Vec<f64> = found.x.iter().zip(&step).map(|(x, s)| x - s).collect();
            let Ok((value, gradient)) = model.evaluate(state, &x) else { break };
            visited.push(Visit { theta: x[..model.entries.len()].to_vec(), criterion: value });
            let better = decrement(&inverse, &gradient) < decrement(&inverse, &found.gradient);
            if !better || value > found.value + 1e-10 * (1.0 + value.abs()) {
                break;
            }
            found = Found { x, value, gradient, reason: found.reason };
        }
        round += 1;
        if first > 1e-4 && round < 3 {
            continue;
        }
        let decrement = decrement(&inverse, &found.gradient);
        for i in 0..inverse.n_rows() {
            for v in inverse.row_mut(i) {
                *v *= 2.0;
            }
        }
        model.evaluate(state, &found.x)?;
        return Ok(Estimated {
            found,
            free,
            poisson,
            covariance: inverse,
            sensitivity,
            decrement,
            smallest,
        });
    }
}

fn decrement(inverse: &Matrix, gradient: &[f64]) -> f64 {
    dot(gradient, &inverse.times(gradient))
}

impl Model {
    /// Root mean square of the column of each theta: theta times this is a
    /// spread of the linear predictor.
    pub(crate) fn spread_scale(&self) -> Vec<f64> {
        let design = &self.design;
        let scale = |e: &crate::layout::ThetaEntry| {
            let part = self.parts[e.factor];
            let (values, width) =
                if part.own { (&design.own, design.k) } else { (&design.others, design.other) };
            let squares: f64 =
                values.chunks_exact(width).map(|z| z[part.start + e.row].powi(2)).sum();
            (squares / design.n as f64).sqrt()
        };
        self.entries.iter().map(scale).collect()
    }
}

impl Estimated {
    /// How the search ended.
    pub fn status(&self, model: &Model) -> Status {
        if self.decrement.is_nan() || self.decrement > CONVERGED * (1.0 + self.found.value.abs()) {
            return Status::NotConverged {
                reason: format!("the Newton decrement is {:.3e}", self.decrement),
            };
        }
        if self.smallest < FLAT {
            return Status::NotConverged {
                reason: format!(
                    "the deviance has curvature {:.3e} in one direction",
                    self.smallest
                ),
            };
        }
        let mut terms: Vec<String> = model
            .entries
            .iter()
            .zip(&self.free)
            .filter(|(e, free)| e.is_diagonal() && !**free)
            .map(|(e, _)| e.name.clone())
            .collect();
        if self.poisson {
            terms.push("1 / size".into());
        }
        if terms.is_empty() { Status::Interior } else { Status::Boundary { terms } }
    }

    /// The account of the search.
    pub fn record(
        &self,
        model: &Model,
        state: &State,
        rows: crate::RowCounts,
        visited: Vec<Visit>,
    ) -> GeneralisedRecord {
        GeneralisedRecord {
            family: model.family,
            rows,
            eliminated_factor: model
                .layout
                .eliminated
                .map(|f| model.layout.factors[f].name.clone()),
            groups: if model.design.k == 0 { 0 } else { model.design.groups() },
            theta_names: model.entries.iter().map(|e| e.name.clone()).collect(),
            visited,
            sweeps: state.sweeps,
            stop_reason: self.found.reason.to_owned(),
            newton_decrement: self.decrement,
            hessian_min_eigenvalue: self.smallest,
            status: self.status(model),
        }
    }
}
