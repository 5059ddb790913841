//! Tests and intervals of generalised models on simulated data with known truth: level, power, coverage.

// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

use mixed::{
    CheckSettings, Factor, Family, FixedColumn, GeneralisedData, GeneralisedFit, Point, PointLevel,
    ResponseKind, fit_generalised,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, Gamma, Poisson, StandardNormal};

/// What makes the counts.
#[derive(Clone, Copy, PartialEq)]
enum Truth {
    Poisson,
    NegativeBinomial,
    /// Poisson, but 0 with probability 0.25.
    ZeroInflated,
    /// A Poisson number of gamma parts: Tweedie of power 1.5, dispersion 1.2.
    Tweedie,
}

struct Sample {
    y: Vec<f64>,
    x: Vec<f64>,
    codes: Vec<u32>,
    effects: Vec<f64>,
}

const INTERCEPT: f64 = 1.0;
const SLOPE: f64 = 0.3;
const SPREAD: f64 = 0.5;
const SIZE: f64 = 2.0;

fn sample(seed: u64, groups: usize, each: usize, truth: Truth) -> Sample {
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut out = Sample { y: vec![], x: vec![], codes: vec![], effects: vec![] };
    for g in 0..groups {
        let normal: f64 = StandardNormal.sample(&mut rng);
        out.effects.push(SPREAD * normal);
        for _ in 0..each {
            let x = 2.0 * rng.random::<f64>() - 1.0;
            let mut mean = (INTERCEPT + SLOPE * x + SPREAD * normal).exp();
            if truth == Truth::NegativeBinomial {
                mean *= Gamma::new(SIZE, 1.0 / SIZE).unwrap().sample(&mut rng);
            }
            let inflated = truth == Truth::ZeroInflated && rng.random::<f64>() < 0.25;
            let y = match truth {
                Truth::Tweedie => parts(mean, &mut rng),
                _ => Poisson::new(mean).unwrap().sample(&mut rng),
            };
            out.y.push(if inflated { 0.0 } else { y });
            out.x.push(x);
            out.codes.push(g as u32);
        }
    }
    out
}

/// At power 1.5 a part is exponential with mean phi sqrt(mu) / 2, and the
/// number of parts has mean 2 sqrt(mu) / phi.
fn parts(mean: f64, rng: &mut ChaCha12Rng) -> f64 {
    let number: f64 = Poisson::new(2.0 * mean.sqrt() / 1.2).unwrap().sample(rng);
    let part = Gamma::new(1.0, 0.6 * mean.sqrt()).unwrap();
    (0..number as usize).map(|_| part.sample(rng)).sum()
}

impl Sample {
    fn fit(&self, family: Family) -> GeneralisedFit {
        let data = GeneralisedData::new(&self.y)
            .intercept()
            .column(FixedColumn::new("x", self.x.as_slice()))
            .factor(Factor::intercept("g", &self.codes, self.effects.len()));
        fit_generalised(&data, family).unwrap()
    }
}

/// Shares of data sets with p at most 0.05: overdispersion, zero excess.
fn rejections(truth: Truth, family: Family, sets: u64) -> [f64; 2] {
    let mut count = [0.0; 2];
    for seed in 0..sets {
        let fit = sample(1000 + seed, 20, 6, truth).fit(family);
        let checks = fit.checks(CheckSettings { simulations: 39, seed }).unwrap();
        count[0] += f64::from(checks.overdispersion.p_value <= 0.05);
        count[1] += f64::from(checks.zero_excess.p_value <= 0.05);
    }
    count.map(|c| c / sets as f64)
}

/// Binomial error of a share of 0.05, three standard errors.
fn allowed(sets: u64) -> f64 {
    3.0 * (0.05 * 0.95 / sets as f64).sqrt()
}

#[test]
fn tests_hold_their_level() {
    let sets = 300;
    for (truth, family) in
        [(Truth::Poisson, Family::Poisson), (Truth::NegativeBinomial, Family::NegativeBinomial)]
    {
        let [over, zeros] = rejections(truth, family, sets);
        assert!((over - 0.05).abs() < allowed(sets), "{family:?} overdispersion {over}");
        assert!((zeros - 0.05).abs() < allowed(sets), "{family:?} zero excess {zeros}");
    }
}

#[test]
fn tests_have_power() {
    let [over, _] = rejections(Truth::NegativeBinomial, Family::Poisson, 60);
    assert!(over > 0.9, "overdispersion found in {over}");
    let [over, zeros] = rejections(Truth::ZeroInflated, Family::Poisson, 60);
    assert!(zeros > 0.9, "zero excess found in {zeros}");
    assert!(over > 0.9, "zero inflation is overdispersion too: {over}");
}

/// Kolmogorov and Smirnov's distance to the standard normal, times sqrt(n).
fn distance(mut residuals: Vec<f64>) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal};
    let normal = Normal::new(0.0, 1.0).unwrap();
    residuals.sort_by(f64::total_cmp);
    let n = residuals.len() as f64;
    let gap = residuals.iter().enumerate().fold(0.0_f64, |m, (i, r)| {
        let u = normal.cdf(*r);
        m.max((u - i as f64 / n).abs()).max(((i + 1) as f64 / n - u).abs())
    });
    gap * n.sqrt()
}

/// 1.358 is the 5 % point of the limiting distribution (Smirnov 1948); with
/// estimated parameters the test is conservative.
#[test]
fn quantile_residuals_are_normal_when_the_model_holds() {
    let sets = 100;
    let mut rejected = 0.0;
    for seed in 0..sets {
        let fit = sample(seed, 40, 25, Truth::NegativeBinomial).fit(Family::NegativeBinomial);
        rejected += f64::from(distance(fit.quantile_residuals(seed)) > 1.358);
    }
    assert!(rejected / sets as f64 <= 0.05 + allowed(sets), "rejected {rejected} of {sets}");
    let mut rejected = 0.0;
    for seed in 0..sets {
        let fit = sample(seed, 20, 25, Truth::Tweedie).fit(Family::Tweedie);
        rejected += f64::from(distance(fit.quantile_residuals(seed)) > 1.358);
    }
    assert!(rejected / sets as f64 <= 0.05 + allowed(sets), "Tweedie: {rejected} of {sets}");
    let mut found = 0.0;
    for seed in 0..20 {
        let fit = sample(seed, 40, 25, Truth::NegativeBinomial).fit(Family::Poisson);
        found += f64::from(distance(fit.quantile_residuals(seed)) > 1.358);
    }
    assert!(found >= 19.0, "found {found} of 20");
}

/// Coverage of 90 % limits for all kinds of mean, the coefficient, the spread
/// and the size. Laplace and Wald are approximations: 0.04 are allowed beside
/// three binomial standard errors.
#[test]
fn limits_cover_the_truth() {
    let sets = 300_u64;
    let mut covered = [0.0; 7];
    for seed in 0..sets {
        let data = sample(5000 + seed, 40, 6, Truth::NegativeBinomial);
        let fit = data.fit(Family::NegativeBinomial);
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let fresh: f64 = StandardNormal.sample(&mut rng);
        let truth = [
            (ResponseKind::TypicalGroup, 0.0),
            (ResponseKind::PopulationMean, 0.5 * SPREAD * SPREAD),
            (ResponseKind::KnownGroup, data.effects[3]),
            (ResponseKind::NewGroup, SPREAD * fresh),
        ];
        for (count, (kind, effect)) in covered.iter_mut().zip(truth) {
            let level = (kind == ResponseKind::KnownGroup).then_some(3);
            let point = Point {
                fixed: vec![1.0, 0.5],
                levels: vec![PointLevel { factor: "g".into(), level, values: vec![1.0] }],
                observation_weight: None,
            };
            let here = fit.predict(&point, 0.0, kind, 0.9).unwrap();
            let mean = (INTERCEPT + 0.5 * SLOPE + effect).exp();
            *count += f64::from(here.low <= mean && mean <= here.high);
        }
        let slope = &fit.coefficients()[1];
        covered[4] += f64::from(((slope.estimate - SLOPE) / slope.std_error).abs() < 1.644_853_627);
        let spread = &fit.spreads(0.9).unwrap()[0];
        covered[5] += f64::from(spread.low <= SPREAD && SPREAD <= spread.high);
        let size = &fit.parameters(0.9).unwrap()[0];
        covered[6] += f64::from(size.low <= SIZE && SIZE <= size.high);
    }
    let error = 3.0 * (0.9 * 0.1 / sets as f64).sqrt() + 0.04;
    for (at, count) in covered.iter().enumerate() {
        let share = count / sets as f64;
        assert!((share - 0.9).abs() < error, "limits {at} cover {share}");
    }
}

/// The mean of estimates over data sets lies within Monte-Carlo error and a
/// small bias of the truth: power 1.5, dispersion 1.2, spread 0.5.
#[test]
fn tweedie_recovers_its_truth() {
    let sets = 40;
    let mut sums = [0.0; 4];
    for seed in 0..sets {
        let fit = sample(9000 + seed, 60, 12, Truth::Tweedie).fit(Family::Tweedie);
        let row = fit.parameters(0.95).unwrap();
        sums[0] += row[0].estimate;
        sums[1] += row[1].estimate;
        sums[2] += fit.spreads(0.95).unwrap()[0].estimate;
        sums[3] += fit.estimates()[1];
    }
    let truth = [(1.2, 0.03), (1.5, 0.01), (SPREAD, 0.03), (SLOPE, 0.03)];
    for (sum, (value, margin)) in sums.iter().zip(truth) {
        let mean = sum / sets as f64;
        assert!((mean - value).abs() < margin, "{mean} against {value}");
    }
}
