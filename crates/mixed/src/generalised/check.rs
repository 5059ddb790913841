//! Checks of a fitted generalised model: residuals, overdispersion, too many zeros.

use super::approximation::Local;
use super::fit::descend;
use super::result::GeneralisedFit;
use crate::Error;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// How to check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct CheckSettings {
    /// Data sets simulated from the fit and fitted again.
    pub simulations: usize,
    /// Seed of the simulations.
    pub seed: u64,
}

impl Default for CheckSettings {
    fn default() -> Self {
        CheckSettings { simulations: 199, seed: 1 }
    }
}

/// One test by simulation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// Statistic of the data.
    pub statistic: f64,
    /// Mean of the statistic over the simulated data sets.
    pub expected: f64,
    /// Share of data sets (the observed one counted) with at least this
    /// statistic: small when there is too much.
    pub p_value: f64,
}

/// Both tests with their settings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Checks {
    /// Pearson's chi-square over its degrees of freedom.
    pub overdispersion: Check,
    /// Zeros observed minus zeros expected under the fit.
    pub zero_excess: Check,
    /// Zeros among the used rows.
    pub zeros: usize,
    /// Simulated data sets that could be fitted.
    pub simulations: usize,
    /// Settings used.
    pub settings: CheckSettings,
}

impl GeneralisedFit {
    /// Randomised quantile residuals (Dunn and Smyth 1996), one per row given,
    /// NaN for rows set aside: standard normal when the model holds, whatever
    /// the mean, but for the shrinkage of the modes on which they condition.
    pub fn quantile_residuals(&self, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let design = &self.model.design;
        let law = self.model.law(&self.estimated.found.x);
        let normal = Normal::new(0.0, 1.0).ok();
        let mut out = vec![f64::NAN; self.record().rows.read as usize];
        for g in 0..design.groups() {
            for i in design.rows[g]..design.rows[g + 1] {
                let mu = law.mean(self.state.eta(design, g, i));
                let (below, here) = law.distribution(design.response[i], mu, design.weight[i]);
                let u = below + rng.random::<f64>() * (here - below);
                // Beyond these a distribution function is rounding.
                let u = u.clamp(1e-15, 1.0 - 1e-15);
                out[design.order[i]] = normal.map_or(f64::NAN, |n| n.inverse_cdf(u));
            }
        }
        out
    }

    /// Fitted means at the conditional modes, one per row given, NaN for rows
    /// set aside.
    pub fn fitted(&self) -> Vec<f64> {
        let design = &self.model.design;
        let law = self.model.law(&self.estimated.found.x);
        let mut out = vec![f64::NAN; self.record().rows.read as usize];
        for g in 0..design.groups() {
            for i in design.rows[g]..design.rows[g + 1] {
                out[design.order[i]] = law.mean(self.state.eta(design, g, i));
            }
        }
        out
    }

    /// Tests for overdispersion and for too many zeros, by a parametric
    /// bootstrap: data sets drawn from the fit (new effects included) are
    /// fitted again, so that what the fit adapts to is the same on both
    /// sides (Davison and Hinkley 1997, section 4.4).
    ///
    /// Against a family that estimates its own dispersion the first test has
    /// little to find; it is meant for [`Family::Poisson`](crate::Family).
    ///
    /// # Errors
    /// Fewer than 19 simulations, or fewer than 19 that can be fitted.
    pub fn checks(&self, settings: CheckSettings) -> Result<Checks, Error> {
        let few = Error::BadSetting {
            name: "simulations",
            value: settings.simulations as f64,
            need: "at least 19 that can be fitted",
        };
        if settings.simulations < 19 {
            return Err(few);
        }
        let mut rng = ChaCha12Rng::seed_from_u64(settings.seed);
        let x = &self.estimated.found.x;
        let law = self.model.law(x);
        let observed = self.statistics(&self.model, &self.state, x);
        let mut model = self.model.clone();
        let mut drawn: Vec<[f64; 2]> = Vec::with_capacity(settings.simulations);
        for _ in 0..settings.simulations {
            let response = model.simulate(&self.state, law, &mut rng);
            if response.iter().all(|y| *y == 0.0) {
                continue;
            }
            model.design.set_response(response);
            let mut state = self.state.clone();
            let free = &self.estimated.free;
            if let Ok(found) = descend(&model, &mut state, x, free, &mut Vec::new())
                && model.evaluate(&mut state, &found.x).is_ok()
            {
                drawn.push(self.statistics(&model, &state, &found.x));
            }
        }
        if drawn.len() < 19 {
            return Err(few);
        }
        let test = |m: usize| {
            let above = drawn.iter().filter(|d| d[m] >= observed[m]).count();
            Check {
                statistic: observed[m],
                expected: drawn.iter().map(|d| d[m]).sum::<f64>() / drawn.len() as f64,
                p_value: (1 + above) as f64 / (1 + drawn.len()) as f64,
            }
        };
        Ok(Checks {
            overdispersion: test(0),
            zero_excess: test(1),
            zeros: self.model.design.response.iter().filter(|y| **y == 0.0).count(),
            simulations: drawn.len(),
            settings,
        })
    }

    /// Pearson's ratio and the excess of zeros; the inverses of the blocks in
    /// `state` must be those of its modes.
    fn statistics(
        &self,
        model: &super::approximation::Model,
        state: &super::modes::State,
        x: &[f64],
    ) -> [f64; 2] {
        let design = &model.design;
        let (k, other) = (design.k, design.other);
        let law = model.law(x);
        let mut local = Local::default();
        let (mut pearson, mut rows, mut excess) = (0.0, 0.0, 0.0);
        for g in 0..design.groups() {
            local.load(state, design, g);
            for i in design.rows[g]..design.rows[g + 1] {
                let mu = law.mean(state.eta(design, g, i));
                let y = design.response[i];
                let h = local.leverage(
                    &state.own[i * k..(i + 1) * k],
                    &state.others[i * other..(i + 1) * other],
                    &design.slot[i * other..(i + 1) * other],
                );
                pearson += design.weight[i] * (y - mu).powi(2) / law.variance(mu);
                // Over effects and responses, E (y - mu)^2 = variance (1 - h w)
                // in the linear approximation.
                rows += 1.0 - h * state.weight[i];
                excess += f64::from(y == 0.0) - law.zero(mu, design.weight[i]);
            }
        }
        [pearson / (rows - design.p as f64).max(1.0), excess]
    }
}
