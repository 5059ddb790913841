//! Laplace's approximation and its gradient against a dense textbook twin, under property tests.

use crate::generalised::internals::{Colouring, Design, Model, State, check};
use crate::{Covariance, Factor, Family, FixedColumn, GeneralisedData, RandomEffect};
use faer::linalg::solvers::Solve;
use faer::{Mat, Side};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use statrs::distribution::{Binomial, Continuous, Discrete, Gamma, NegativeBinomial, Poisson};

const ROWS: usize = 40;

/// Random columns: a factor with a slope and two others, one with a slope; they
/// are crossed, or their levels belong to one of two sites.
struct Columns {
    y: Vec<f64>,
    offset: Vec<f64>,
    weight: Vec<f64>,
    x: Vec<f64>,
    codes: [Vec<u32>; 3],
    levels: [usize; 3],
    slopes: [Vec<f64>; 2],
    theta: Vec<f64>,
    family: Vec<f64>,
}

impl Columns {
    fn random(rng: &mut ChaCha12Rng, family: Family, sites: bool) -> Columns {
        let levels = [9, 4, 3];
        let mut uniform = |from: f64, to: f64| from + (to - from) * rng.random::<f64>();
        let trials: Vec<f64> = (0..ROWS).map(|_| uniform(1.0, 8.0).floor()).collect();
        let y = trials.iter().map(|n| {
            let y = uniform(-1.5, 6.0).max(0.0);
            match family {
                Family::Tweedie => y,
                Family::Binomial => (y / 6.0 * (n + 1.0)).floor() / n,
                _ => y.floor(),
            }
        });
        let y = y.collect();
        let mut column =
            |from: f64, to: f64| -> Vec<f64> { (0..ROWS).map(|_| uniform(from, to)).collect() };
        let mut codes: [Vec<u32>; 3] =
            levels.map(|l| column(0.0, l as f64).iter().map(|c| *c as u32).collect());
        if sites {
            // Levels of b: two in each site; of c: two in the first, one in the second.
            let [a, b, c] = &mut codes;
            for ((a, b), c) in a.iter().zip(b).zip(c) {
                let site = *a % 2;
                *b = 2 * site + *b % 2;
                *c = if site == 0 { *c % 2 } else { 2 };
            }
        }
        let offset = column(-0.5, 0.5);
        let weight = column(0.5, 2.0);
        let weight = if family == Family::Binomial { trials } else { weight };
        let x = column(-1.0, 1.0);
        let slopes = [column(-1.0, 1.0), column(-1.0, 1.0)];
        // Three of the correlated pair, one, two independent ones.
        let theta = column(-1.0, 1.0)[..6].to_vec();
        let parameters = family.parameters().len();
        let family = column(-0.7, 1.2)[..parameters].to_vec();
        Columns { y, offset, weight, x, codes, levels, slopes, theta, family }
    }

    fn data(&self) -> GeneralisedData<'_> {
        let slope =
            |i: usize| RandomEffect::Slope { name: format!("slope {i}"), values: &self.slopes[i] };
        GeneralisedData::new(&self.y)
            .offset(&self.offset)
            .weights(&self.weight)
            .intercept()
            .column(FixedColumn::new("x", self.x.as_slice()))
            .factor(Factor {
                name: "a".into(),
                codes: &self.codes[0],
                levels: self.levels[0],
                effects: vec![RandomEffect::Intercept, slope(0)],
                covariance: Covariance::Correlated,
            })
            .factor(Factor::intercept("b", &self.codes[1], self.levels[1]))
            .factor(Factor {
                name: "c".into(),
                codes: &self.codes[2],
                levels: self.levels[2],
                effects: vec![RandomEffect::Intercept, slope(1)],
                covariance: Covariance::Independent,
            })
    }

    /// Z Lambda, dense.
    fn scaled(&self, theta: &[f64]) -> Mat<f64> {
        let starts = [0, 2 * self.levels[0], 2 * self.levels[0] + self.levels[1]];
        let mut z = Mat::zeros(ROWS, starts[2] + 2 * self.levels[2]);
        for i in 0..ROWS {
            let at = |f: usize, k: usize| starts[f] + k * self.codes[f][i] as usize;
            z[(i, at(0, 2))] = theta[0] + self.slopes[0][i] * theta[1];
            z[(i, at(0, 2) + 1)] = self.slopes[0][i] * theta[2];
            z[(i, at(1, 1))] = theta[3];
            z[(i, at(2, 2))] = theta[4];
            z[(i, at(2, 2) + 1)] = self.slopes[1][i] * theta[5];
        }
        z
    }

    /// The log density from another package's distributions.
    fn log_density(
        &self,
        family: Family,
        parameters: &[f64],
        (y, trials): (f64, f64),
        eta: f64,
    ) -> f64 {
        let mu = eta.exp();
        match family {
            Family::Poisson => Poisson::new(mu).unwrap().ln_pmf(y as u64),
            Family::NegativeBinomial => {
                let size = parameters[0].exp();
                NegativeBinomial::new(size, size / (size + mu)).unwrap().ln_pmf(y as u64)
            }
            Family::Tweedie => {
                let phi = parameters[0].exp();
                let p = 1.0 + 1.0 / (1.0 + (-parameters[1]).exp());
                let rate = mu.powf(2.0 - p) / (phi * (2.0 - p));
                if y == 0.0 {
                    return -rate;
                }
                let (shape, scale) = ((2.0 - p) / (p - 1.0), phi * (p - 1.0) * mu.powf(p - 1.0));
                let parts = Poisson::new(rate).unwrap();
                let density = |j: u64| {
                    let sum = Gamma::new(j as f64 * shape, 1.0 / scale).unwrap();
                    (parts.ln_pmf(j) + sum.ln_pdf(y)).exp()
                };
                (1..150).map(density).sum::<f64>().ln()
            }
            // The weight that multiplies it is the number of trials.
            Family::Binomial => {
                let law = Binomial::new(mu / (1.0 + mu), trials as u64).unwrap();
                law.ln_pmf((y * trials).round() as u64) / trials
            }
        }
    }

    /// Laplace's approximation in full matrices, derivatives of the log
    /// density by differences of fourth order.
    fn deviance(&self, family: Family, x: &[f64]) -> f64 {
        let z = self.scaled(&x[..6]);
        let (b, parameters) = (&x[6..8], &x[8..]);
        let q = z.ncols();
        let mut u = Mat::<f64>::zeros(q, 1);
        for _ in 0..60 {
            let zu = &z * &u;
            let mut h = Mat::<f64>::identity(q, q);
            let mut r = -&u;
            let mut value = (0..q).map(|j| u[(j, 0)].powi(2)).sum::<f64>();
            for i in 0..ROWS {
                let eta = self.offset[i] + b[0] + b[1] * self.x[i] + zu[(i, 0)];
                let l = |by: f64| {
                    let here = (self.y[i], self.weight[i]);
                    self.weight[i] * self.log_density(family, parameters, here, eta + by)
                };
                let d = 2e-3;
                let v = [l(-2.0 * d), l(-d), l(0.0), l(d), l(2.0 * d)];
                let score = (8.0 * (v[3] - v[1]) - (v[4] - v[0])) / (12.0 * d);
                let weight = -(16.0 * (v[3] + v[1]) - (v[4] + v[0]) - 30.0 * v[2]) / (12.0 * d * d);
                value -= 2.0 * v[2];
                for a in 0..q {
                    r[(a, 0)] += score * z[(i, a)];
                    for c in 0..q {
                        h[(a, c)] += weight * z[(i, a)] * z[(i, c)];
                    }
                }
            }
            let llt = h.llt(Side::Lower).unwrap();
            let step = llt.solve(&r);
            let decrement: f64 = (0..q).map(|j| step[(j, 0)] * r[(j, 0)]).sum();
            if decrement < 1e-17 {
                let l = llt.L();
                return value + (0..q).map(|j| 2.0 * l[(j, j)].ln()).sum::<f64>();
            }
            let share = if decrement > 1.0 { 0.5 } else { 1.0 };
            u += faer::Scale(share) * step;
        }
        panic!("the twin's modes did not settle");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(30))]

    #[test]
    fn approximation_and_gradient_equal_the_twin(
        seed: u64, kind in 0..4_usize, sites: bool,
    ) {
        let all =
            [Family::Poisson, Family::NegativeBinomial, Family::Tweedie, Family::Binomial];
        let family = all[kind];
        let columns = Columns::random(&mut ChaCha12Rng::seed_from_u64(seed), family, sites);
        let data = columns.data();
        let checked = check(&data, family).unwrap();
        let design = Design::new(&data, &checked);
        let model = Model::new(design, checked.layout, family);
        let mut state = State::new(&model.design).unwrap();
        prop_assert!(!sites || state.blocks.count() > 1);
        let mut x = columns.theta.clone();
        x.extend([0.4, -0.3]);
        x.extend(&columns.family);
        let (value, gradient) = model.evaluate(&mut state, &x).unwrap();
        let expected = columns.deviance(family, &x);
        prop_assert!((value - expected).abs() < 1e-7 * (1.0 + expected.abs()));
        for (j, slope) in gradient.iter().enumerate() {
            let at = |by: f64| {
                let mut moved = x.clone();
                moved[j] += by;
                columns.deviance(family, &moved)
            };
            let h = 4e-3;
            let differenced = (8.0 * (at(h) - at(-h)) - (at(2.0 * h) - at(-2.0 * h))) / (12.0 * h);
            prop_assert!(
                (slope - differenced).abs() < 2e-5 * (1.0 + slope.abs()),
                "{family:?} parameter {j}: {slope} against {differenced}"
            );
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Coefficients of two sites, moved at once, give the curvature and the slopes of the modes
    /// that each gives moved alone.
    #[test]
    fn parameters_moved_together_give_the_hessian_of_each_alone(seed: u64, negative: bool) {
        let family = if negative { Family::NegativeBinomial } else { Family::Poisson };
        let columns = Columns::random(&mut ChaCha12Rng::seed_from_u64(seed), family, true);
        let in_site = |site: u32, values: &[f64]| -> Vec<f64> {
            let sites = columns.codes[0].iter().map(|a| a % 2);
            values.iter().zip(sites).map(|(x, own)| if own == site { *x } else { 0.0 }).collect()
        };
        let own: Vec<Vec<f64>> = [(0, 0), (0, 1), (1, 0), (1, 1)]
            .map(|(site, slope)| in_site(site, &columns.slopes[slope]))
            .into();
        let mut data = columns.data();
        for (place, values) in own.iter().enumerate() {
            data = data.column(FixedColumn::new(format!("own {place}"), values.as_slice()));
        }
        let checked = check(&data, family).unwrap();
        let model = Model::new(Design::new(&data, &checked), checked.layout, family);
        let mut state = State::new(&model.design).unwrap();
        let mut x = columns.theta.clone();
        x.extend([0.4, -0.3, 0.2, -0.1, 0.3, 0.1]);
        x.extend(&columns.family);
        model.evaluate(&mut state, &x).unwrap();
        let free = vec![true; x.len()];
        let sets = Colouring::of(&model, &state, &free).sets;
        // The four coefficients of sites in two sets; what meets both sites alone.
        prop_assert_eq!(sets.len(), x.len() - 2, "{:?}", sets);
        let (hessian, modes) = model.hessian(&state, &x, &free).unwrap();
        for j in 0..x.len() {
            let h = 1e-3 * x[j].abs().max(0.1);
            let mut at = |by: f64| {
                let mut moved = x.clone();
                moved[j] += by;
                let (_, gradient) = model.evaluate(&mut state, &moved).unwrap();
                (gradient, model.effects(&state, &moved))
            };
            let (up, down) = (at(h), at(-h));
            for i in 0..x.len() {
                let alone = (up.0[i] - down.0[i]) / (2.0 * h);
                let found = hessian[(i, j)];
                // What differencing leaves goes with the curvatures that the entry joins.
                let size = (hessian[(i, i)] * hessian[(j, j)]).abs().sqrt();
                prop_assert!((found - alone).abs() < 2e-4 * (1.0 + size), "{i} {j}");
            }
            for (found, (up, down)) in modes[j].iter().zip(up.1.iter().zip(&down.1)) {
                let alone = (up - down) / (2.0 * h);
                prop_assert!((found - alone).abs() < 1e-4 * (1.0 + alone.abs()));
            }
        }
    }
}

/// The series against the sum over parts that defines it, with another
/// package's distributions, over eight orders of magnitude of y.
#[test]
fn tweedie_series_over_its_range() {
    let columns = Columns::random(&mut ChaCha12Rng::seed_from_u64(1), Family::Tweedie, false);
    for y in [1e-6, 1e-3, 0.1, 1.0, 10.0, 60.0] {
        for logit in [-1.5, 0.0, 1.5] {
            for log_phi in [-0.5_f64, 1.0] {
                let parameters = [log_phi, logit];
                let law = Family::Tweedie.law(&parameters);
                let eta = 0.7;
                let expected = columns.log_density(Family::Tweedie, &parameters, (y, 1.0), eta);
                let here = crate::generalised::internals::log_density(law, y, eta);
                assert!(
                    (here - expected).abs() < 1e-9 * (1.0 + expected.abs()),
                    "{y} {logit} {log_phi}: {here} against {expected}"
                );
            }
        }
    }
}

/// The distribution function against Simpson's rule on the density.
#[test]
fn tweedie_distribution_integrates_the_density() {
    for (logit, log_phi, eta) in [(0.0, 0.0_f64, 0.5_f64), (-0.8, 0.7, -0.4)] {
        let law = Family::Tweedie.law(&[log_phi, logit]);
        let density = |y: f64| crate::generalised::internals::log_density(law, y, eta).exp();
        let (from, to, steps) = (0.5, 4.0, 200_usize);
        let width = (to - from) / steps as f64;
        let sum: f64 = (0..=steps)
            .map(|i| {
                let weight = match i {
                    0 => 1.0,
                    i if i == steps => 1.0,
                    i if i % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                weight * density(from + i as f64 * width)
            })
            .sum();
        let mu = eta.exp();
        let between = law.distribution(to, mu, 1.0).1 - law.distribution(from, mu, 1.0).1;
        assert!((between - sum * width / 3.0).abs() < 1e-8);
        // At 0 stands the whole probability of no part.
        assert!((law.distribution(0.0, mu, 1.0).1 - density(0.0)).abs() < 1e-14);
        assert_eq!(law.distribution(0.0, mu, 1.0).0, 0.0);
    }
}
