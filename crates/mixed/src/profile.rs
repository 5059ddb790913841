//! Profile-likelihood limits for standard deviations.

use crate::Error;
use crate::fit::Fit;
use crate::quasi_newton::{Evaluation, minimise};
use crate::satterthwaite::unprofiled;
use crate::settings::{Criterion, check_level};
use crate::small::dot;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Two-sided limits of a standard deviation, in response units per unit of the
/// effect's column.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProfileLimits {
    /// `factor.effect`, or `residual`.
    pub term: String,
    /// Standard deviation.
    pub estimate: f64,
    /// Lower limit; exactly 0 when no spread lies within the limits.
    pub low: f64,
    /// Upper limit; `None` when the profile stays below the rise.
    pub high: Option<f64>,
    /// Confidence level.
    pub level: f64,
    /// Criterion that is profiled.
    pub criterion: Criterion,
}

/// What is held while the rest is optimised.
#[derive(Debug, Clone)]
enum Held {
    /// Entries of one row of Lambda: the spread of one effect.
    Row(Vec<usize>),
    Residual,
}

/// One conditional minimum.
#[derive(Debug, Clone)]
struct At {
    theta: Vec<f64>,
    rise: f64,
}

impl Fit {
    /// Limits at which the deviance, minimised over everything else, has risen
    /// by the chi-square(1) quantile of `level`: of the REML criterion for a
    /// fit by REML, of the ML deviance (as lme4 profiles) for one by ML
    /// (Bates et al. 2015, section 5.1). One row per effect, `residual` last.
    ///
    /// # Errors
    /// A level outside (0, 1); [`Error::Numerical`] when the criterion cannot
    /// be minimised along the profile.
    pub fn profile_limits(&self, level: f64) -> Result<Vec<ProfileLimits>, Error> {
        check_level(level)?;
        let rise = ChiSquared::new(1.0).map_or(f64::NAN, |c| c.inverse_cdf(level));
        let mut out = Vec::new();
        for (f, factor) in self.system.layout.factors.iter().enumerate() {
            for (effect, name) in factor.effects.iter().enumerate() {
                let entries = self.system.entries.iter().enumerate();
                let row = entries.filter(|(_, e)| e.factor == f && e.row == effect);
                let held = Held::Row(row.map(|(i, _)| i).collect());
                let zero = self.minimum_without(&self.entries_of(f, effect))?;
                let term = format!("{}.{name}", factor.name);
                out.push(self.limits(term, &held, zero - self.criterion(), rise, level)?);
            }
        }
        out.push(self.limits("residual".into(), &Held::Residual, f64::INFINITY, rise, level)?);
        Ok(out)
    }

    /// Limits of one spread; `at_zero` is the rise at no spread.
    fn limits(
        &self,
        term: String,
        held: &Held,
        at_zero: f64,
        rise: f64,
        level: f64,
    ) -> Result<ProfileLimits, Error> {
        let estimate = match held {
            Held::Row(row) => self.sigma * self.norm(row, &self.solved.theta),
            Held::Residual => self.sigma,
        };
        let profile = Profile { fit: self, held };
        let start = At { theta: self.solved.theta.clone(), rise: 0.0 };
        let low = if at_zero <= rise {
            0.0
        } else {
            profile.cross(estimate, start.clone(), 0.5, rise)?.unwrap_or(0.0)
        };
        let high = if estimate > 0.0 {
            profile.cross(estimate, start, 1.5, rise)?
        } else {
            profile.cross_from_zero(start, rise)?
        };
        let scale = self.system.units.response_scale;
        Ok(ProfileLimits {
            term,
            estimate: scale * estimate,
            low: scale * low,
            high: high.map(|h| scale * h),
            level,
            criterion: self.system.criterion,
        })
    }

    /// Spread relative to sigma of the effect whose row of Lambda is `row`.
    fn norm(&self, row: &[usize], theta: &[f64]) -> f64 {
        row.iter().map(|i| theta[*i] * theta[*i]).sum::<f64>().sqrt()
    }
}

struct Profile<'a> {
    fit: &'a Fit,
    held: &'a Held,
}

impl Profile<'_> {
    /// Walks from `from` by `factor` until the rise is passed, then closes in.
    fn cross(&self, from: f64, start: At, factor: f64, rise: f64) -> Result<Option<f64>, Error> {
        let (mut inside, mut at) = (from, start);
        for _ in 0..60 {
            let outside = inside * factor;
            let next = self.minimum(outside, &self.moved(&at, inside, outside))?;
            if next.rise > rise {
                return self.close_in((inside, at), (outside, next), rise).map(Some);
            }
            (inside, at) = (outside, next);
        }
        Ok(None)
    }

    /// As [`Profile::cross`], upwards from no spread.
    fn cross_from_zero(&self, start: At, rise: f64) -> Result<Option<f64>, Error> {
        let Held::Row(row) = self.held else { return Ok(None) };
        // The last entry of the row is its diagonal.
        let Some(diagonal) = row.last() else { return Ok(None) };
        let first = 0.1 / self.fit.system.column_rms[*diagonal];
        let mut theta = start.theta.clone();
        theta[*diagonal] = first;
        let spread = first * self.fit.sigma;
        let at = self.minimum(spread, &theta)?;
        if at.rise > rise {
            return self.close_in((0.0, start), (spread, at), rise).map(Some);
        }
        self.cross(spread, at, 1.5, rise)
    }

    /// Regula falsi (Illinois) on the root of the rise, which is nearly linear
    /// in the spread.
    fn close_in(&self, inside: (f64, At), outside: (f64, At), rise: f64) -> Result<f64, Error> {
        let off = |at: &At| at.rise.max(0.0).sqrt() - rise.sqrt();
        let (mut a, mut at_a) = inside;
        let (mut b, at_b) = outside;
        let (mut ga, mut gb) = (off(&at_a), off(&at_b));
        for _ in 0..60 {
            let c = (a * gb - b * ga) / (gb - ga);
            let next = self.minimum(c, &self.moved(&at_a, a, c))?;
            let gc = off(&next);
            if gc.abs() < 1e-9 || (b - a).abs() < 1e-10 * b.abs() {
                return Ok(c);
            }
            if gc < 0.0 {
                (a, at_a, ga) = (c, next, gc);
                gb *= 0.5;
            } else {
                (b, gb) = (c, gc);
                ga *= 0.5;
            }
        }
        Ok(0.5 * (a + b))
    }

    /// A start at spread `to` from the minimum at `from`: the row of Lambda is
    /// stretched, so that sigma stays.
    fn moved(&self, at: &At, from: f64, to: f64) -> Vec<f64> {
        let mut theta = at.theta.clone();
        let Held::Row(row) = self.held else { return theta };
        if from > 0.0 {
            for i in row {
                theta[*i] *= to / from;
            }
        } else if let Some(diagonal) = row.last() {
            theta[*diagonal] = to / self.fit.sigma;
        }
        theta
    }

    /// The rise at one spread. 0 is stationary for every other spread, so a
    /// second search starts with those at 0 moved off it.
    fn minimum(&self, spread: f64, start: &[f64]) -> Result<At, Error> {
        let system = &self.fit.system;
        let mut starts = vec![start.to_vec()];
        let mut moved = start.to_vec();
        for (i, e) in system.entries.iter().enumerate() {
            if e.is_diagonal() && (moved[i] * system.column_rms[i]).abs() < 1e-3 {
                moved[i] = 0.3 / system.column_rms[i];
            }
        }
        if moved != starts[0] {
            starts.push(moved);
        }
        let mut best: Option<(f64, Vec<f64>)> = None;
        for start in starts {
            let x: Vec<f64> =
                start.iter().zip(&system.column_rms).map(|(t, rms)| t * rms).collect();
            let found = minimise(&mut |x| self.evaluate(spread, x), &x, 200, 1e-7);
            if let Some(m) = found.filter(|m| best.as_ref().is_none_or(|b| m.value < b.0)) {
                best = Some((m.value, m.x));
            }
        }
        let (value, x) =
            best.ok_or(Error::Numerical { what: "the profile of a standard deviation" })?;
        let theta = x.iter().zip(&system.column_rms).map(|(x, rms)| x / rms).collect();
        Ok(At { theta, rise: value - unprofiled(system, &self.fit.solved, self.fit.sigma) })
    }

    /// Deviance and gradient over standardised theta; sigma follows from the
    /// held spread s as s / |row of Lambda|.
    fn evaluate(&self, spread: f64, x: &[f64]) -> Evaluation {
        let system = &self.fit.system;
        let theta: Vec<f64> = x.iter().zip(&system.column_rms).map(|(x, rms)| x / rms).collect();
        let sigma = match self.held {
            Held::Residual => spread,
            Held::Row(row) => spread / self.fit.norm(row, &theta),
        };
        if !(sigma > 0.0 && sigma.is_finite()) {
            return None;
        }
        let s = system.solve(&theta).ok()?;
        let parts = system.gradient(&s);
        let mut gradient: Vec<f64> =
            parts.log_det.iter().zip(&parts.rss).map(|(l, r)| l + r / (sigma * sigma)).collect();
        if let Held::Row(row) = self.held {
            let by_sigma = 2.0 * system.divisor() / sigma - 2.0 * s.rss / sigma.powi(3);
            let norm = self.fit.norm(row, &theta);
            for i in row {
                gradient[*i] -= by_sigma * sigma * theta[*i] / (norm * norm);
            }
        }
        for (g, rms) in gradient.iter_mut().zip(&system.column_rms) {
            *g /= rms;
        }
        let value = unprofiled(system, &s, sigma);
        (value.is_finite() && dot(&gradient, &gradient).is_finite()).then_some((value, gradient))
    }
}
