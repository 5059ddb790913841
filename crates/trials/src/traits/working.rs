//! Counts and shares with the variance between plots estimated over its own degrees of freedom.
//!
//! A generalised model is fitted as a linear mixed model of the working response, by restricted maximum
//! likelihood and over again until it stays (pseudo-likelihood: Wolfinger and O'Connell 1993, Journal of
//! Statistical Computation and Simulation 48:233-243). What plots vary beyond chance is the clumping at which
//! the residual variance of that model is 1: without random strata that is Pearson's chi-squared equal to
//! its degrees of freedom (Breslow 1984, Applied Statistics 33:38-44 for counts; Williams 1982, Applied
//! Statistics 31:144-148, method II, for shares). Maximum likelihood takes no account of the degrees of freedom
//! that treatments and blocks use up, and finds differences in a trial of twenty plots where there are none.

use super::generalised::Kind;
use super::units::Totals;
use mixed::{Data, Factor, Fit, FixedColumn, Matrix, Settings, Status};

/// A random stratum: name, group of each unit, number of groups.
pub(super) type Stratum = (String, Vec<u32>, usize);

/// Estimates on the link scale, as they are used for means and tests.
pub(super) struct Working {
    /// One for each column of the model, the first an intercept.
    pub(super) estimates: Vec<f64>,
    /// Their covariance, but for `by`.
    pub(super) covariance: Matrix,
    /// What the covariance is multiplied by.
    pub(super) by: f64,
    /// What plots vary beyond chance: the variance of a count of mean m is m + clumping m^2, that of a number out
    /// of n with share p is n p (1 - p) (1 + (n - 1) clumping). 0 where they vary no more than chance has it.
    pub(super) clumping: f64,
    /// Variance of the units, of that which chance has, by which the errors were multiplied: above 1 where no
    /// clumping explains it, as of shares out of 1, and below 1 beside random strata; else 1.
    pub(super) dispersion: f64,
    /// Covariance by chance alone, without random strata, where units vary less than that, and what it is
    /// multiplied by: no error is smaller.
    pub(super) chance: Option<(Matrix, f64)>,
}

impl Working {
    /// Covariances of the estimates with what each is multiplied by: as units vary, and by chance alone.
    pub(super) fn covariances(&self) -> impl Iterator<Item = (&Matrix, f64)> {
        let chance = self.chance.as_ref().map(|(covariance, by)| (covariance, *by));
        std::iter::once((&self.covariance, self.by)).chain(chance)
    }

    /// a' V a of the covariance that makes it largest.
    pub(super) fn variance(&self, a: &[f64]) -> f64 {
        self.covariances().map(|of| quadratic(of, a, a)).fold(0.0, f64::max)
    }
}

/// a' V b, of a covariance V with what it is multiplied by.
pub(super) fn quadratic((covariance, by): (&Matrix, f64), a: &[f64], b: &[f64]) -> f64 {
    let row = |i: usize| -> f64 { covariance.row(i).iter().zip(b).map(|(v, y)| v * y).sum() };
    by * a.iter().enumerate().map(|(i, x)| x * row(i)).sum::<f64>()
}

/// Most rounds of a fit, and of the search for the clumping.
const ROUNDS: usize = 100;
/// Change of the linear predictor, in errors of the unit, at which a fit stays.
const STAYS: f64 = 1e-9;
/// Least clumping looked for: below it plots vary by chance.
const LEAST_CLUMPING: f64 = 1e-8;
/// Logarithm of the residual variance that counts as none.
const NEAR_ONE: f64 = 1e-9;
/// Largest linear predictor: beyond it a count or a share is at the end of its scale.
const FARTHEST: f64 = 30.0;

/// What is fitted.
pub(super) struct Task<'a> {
    pub(super) totals: &'a Totals,
    pub(super) kind: Kind,
    /// The first is replaced by an intercept.
    pub(super) columns: &'a [Vec<f64>],
    pub(super) random: &'a [Stratum],
}

impl Task<'_> {
    /// Fits with the clumping that the plots show; `None` where no variance between plots can be told.
    pub(super) fn fitted(&self) -> Option<Working> {
        let chance = self.settled(0.0)?;
        let dispersion = chance.sigma().powi(2);
        let of = |fit: &Fit, clumping: f64, by: f64, dispersion: f64| {
            let covariance = fit.covariance();
            Working {
                estimates: fit.estimates(),
                covariance,
                by,
                clumping,
                dispersion,
                chance: None,
            }
        };
        if dispersion <= 1.0 {
            // Counts and shares are no steadier than chance has it: a dispersion below 1 is taken for 1, as is customary
            // for quasi-likelihood. With random strata the variance of the units cannot be put at 1 by itself; it stays
            // as estimated over its degrees of freedom, and no error is taken to be below that of chance without any
            // stratum, which is the least that generalised least squares can have with the variance at 1.
            if self.random.is_empty() {
                return Some(of(&chance, 0.0, 1.0 / dispersion, 1.0));
            }
            let plain = Task { random: &[], ..*self }.settled(0.0)?;
            let mut found = of(&chance, 0.0, 1.0, dispersion);
            found.chance = Some((plain.covariance(), 1.0 / plain.sigma().powi(2)));
            return Some(found);
        }
        match self.clumping() {
            Some((clumping, fit)) => Some(of(&fit, clumping, 1.0 / fit.sigma().powi(2), 1.0)),
            None => Some(of(&chance, 0.0, 1.0, dispersion)),
        }
    }

    /// The clumping at which units vary as the model says, with its fit.
    fn clumping(&self) -> Option<(f64, Fit)> {
        let over = |log: f64| {
            let fit = self.settled(log.exp())?;
            Some((fit.sigma().powi(2).ln(), fit))
        };
        // Shares clump at most wholly; counts without an end that matters.
        let largest = if self.kind == Kind::Share { 0.0 } else { 9.0 };
        let (mut low, mut high) = (LEAST_CLUMPING.ln(), largest);
        let (mut above, mut below) = (over(low)?.0, over(high)?.0);
        if below > 0.0 {
            return None;
        }
        // Regula falsi that halves the value of an end that stays (Dowell and Jarratt 1971, BIT 11:168-174).
        let mut stayed = 0;
        for _ in 0..ROUNDS {
            let next = if above > 0.0 { low + (high - low) * above / (above - below) } else { low };
            let (value, fit) = over(next)?;
            if value.abs() < NEAR_ONE || high - low < 1e-12 || above <= 0.0 {
                return Some((next.exp(), fit));
            }
            if value > 0.0 {
                (low, above) = (next, value);
                below *= if stayed > 0 { 0.5 } else { 1.0 };
                stayed = 1;
            } else {
                (high, below) = (next, value);
                above *= if stayed < 0 { 0.5 } else { 1.0 };
                stayed = -1;
            }
        }
        None
    }

    /// Fits with a given clumping until the working response stays.
    fn settled(&self, clumping: f64) -> Option<Fit> {
        let mut eta: Vec<f64> = self.units().map(|(sum, of)| self.start(sum, of)).collect();
        for _ in 0..ROUNDS {
            let working: Vec<[f64; 2]> = self
                .units()
                .zip(&eta)
                .map(|((sum, of), eta)| self.working(sum, of, *eta, clumping))
                .collect();
            let response: Vec<f64> = working.iter().map(|[z, _]| *z).collect();
            let weights: Vec<f64> = working.iter().map(|[_, w]| *w).collect();
            let fit = self.linear(&response, &weights)?;
            let next = self.predicted(&fit)?;
            let moved = next
                .iter()
                .zip(&eta)
                .zip(&weights)
                .map(|((next, eta), weight)| (next - eta).abs() * weight.sqrt())
                .fold(0.0, f64::max);
            eta = next;
            if moved < STAYS {
                return Some(fit);
            }
        }
        None
    }

    fn units(&self) -> impl Iterator<Item = (f64, f64)> {
        self.totals.sums.iter().copied().zip(self.totals.exposures.iter().copied())
    }

    fn start(&self, sum: f64, of: f64) -> f64 {
        match self.kind {
            Kind::Count => ((sum + 0.5) / of).ln(),
            Kind::Share => ((sum + 0.5) / (of - sum + 0.5)).ln(),
        }
    }

    /// Working response of a unit, and its weight: one over its variance.
    fn working(&self, sum: f64, of: f64, eta: f64, clumping: f64) -> [f64; 2] {
        match self.kind {
            Kind::Count => {
                let mean = of * eta.exp();
                [eta + (sum - mean) / mean, mean / (1.0 + clumping * mean)]
            }
            Kind::Share => {
                let share = 1.0 / (1.0 + (-eta).exp());
                let chance = of * share * (1.0 - share);
                [eta + (sum - of * share) / chance, chance / (1.0 + (of - 1.0).max(0.0) * clumping)]
            }
        }
    }

    fn linear(&self, response: &[f64], weights: &[f64]) -> Option<Fit> {
        let n = response.len() as f64;
        let mean = response.iter().sum::<f64>() / n;
        let spread = (response.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / n).sqrt();
        if !(spread > 0.0 && spread.is_finite()) {
            return None;
        }
        let mut data =
            Data::new(response).response_units(mean, spread).weights(weights).intercept();
        for (index, column) in self.columns.iter().enumerate().skip(1) {
            data = data.column(FixedColumn::new(format!("column {index}"), column.as_slice()));
        }
        for (name, codes, levels) in self.random {
            data = data.factor(Factor::intercept(name.clone(), codes, *levels));
        }
        let fit = mixed::fit(&data, &Settings::default()).ok()?;
        let is_found = !matches!(fit.status(), Status::NotConverged { .. });
        (is_found && fit.sigma() > 0.0 && fit.sigma().is_finite()).then_some(fit)
    }

    /// Linear predictor of every unit, random effects at their modes.
    fn predicted(&self, fit: &Fit) -> Option<Vec<f64>> {
        let estimates = fit.estimates();
        let mut eta = vec![*estimates.first()?; self.totals.sums.len()];
        for (estimate, column) in estimates.iter().zip(self.columns).skip(1) {
            eta.iter_mut().zip(column).for_each(|(eta, x)| *eta += estimate * x);
        }
        for (name, codes, _) in self.random {
            let modes = fit.modes(name).ok()?;
            eta.iter_mut().zip(codes).for_each(|(eta, code)| *eta += modes.row(*code as usize)[0]);
        }
        eta.iter_mut().for_each(|eta| *eta = eta.clamp(-FARTHEST, FARTHEST));
        eta.iter().all(|eta| eta.is_finite()).then_some(eta)
    }
}
