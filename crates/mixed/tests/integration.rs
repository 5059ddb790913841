//! Integration over theta against brute force, and its calibration.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Case, close, intercept};
use mixed::{Data, Factor, Fit, IntegrationSettings, Method, Posterior, Prior, Settings, fit};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

fn fitted(case: &str, factors: &[&'static str]) -> Fit {
    let shapes = factors.iter().map(|f| intercept(f)).collect();
    fit(&Case::new(case, shapes).data(), &Settings::default()).unwrap()
}

/// Posterior of theta in a balanced one-way layout, from its two sums of
/// squares alone (Searle, Casella, McCulloch 1992, chapter 9), by a dense
/// trapezoid; returns mean, sd and the distribution function.
fn one_way_by_brute_force(
    case: &str,
    log_prior: impl Fn(f64) -> f64,
) -> (f64, f64, Vec<(f64, f64)>) {
    let table = common::Table::read(case);
    let (y, batch) = (table.get("y"), table.codes("Batch"));
    let (a, n) = (6.0, 5.0);
    let grand = y.iter().sum::<f64>() / 30.0;
    let (mut between, mut within) = (0.0, 0.0);
    for g in 0..6 {
        let mine: Vec<f64> = (0..30).filter(|i| batch[*i] == g).map(|i| y[i]).collect();
        let mean = mine.iter().sum::<f64>() / n;
        between += n * (mean - grand).powi(2);
        within += mine.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    }
    let log_density = |t: f64| {
        let c = 1.0 + n * t * t;
        -0.5 * ((a - 1.0) * c.ln() + (a * n - 1.0) * (within + between / c).ln()) + log_prior(t)
    };
    // In s with t = s^2, so that heavy tails are reached.
    let (steps, end) = (400_000, 40.0_f64);
    let h = end / f64::from(steps);
    let top = (1..1000).map(|i| log_density(f64::from(i) * 0.01)).fold(f64::MIN, f64::max);
    let (mut total, mut first, mut second) = (0.0, 0.0, 0.0);
    let mut cdf = Vec::new();
    for i in 0..steps {
        let s = (f64::from(i) + 0.5) * h;
        let t = s * s;
        let w = (log_density(t) - top).exp() * 2.0 * s * h;
        total += w;
        first += w * t;
        second += w * t * t;
        cdf.push((t, total));
    }
    let mean = first / total;
    for point in &mut cdf {
        point.1 /= total;
    }
    (mean, (second / total - mean * mean).sqrt(), cdf)
}

fn quantile(cdf: &[(f64, f64)], at: f64) -> f64 {
    cdf[cdf.partition_point(|p| p.1 < at)].0
}

fn check_one_way(case: &str, prior: &Prior, log_prior: impl Fn(f64) -> f64) {
    let posterior =
        fitted(case, &["Batch"]).integrate(prior, &IntegrationSettings::default()).unwrap();
    let (mean, sd, cdf) = one_way_by_brute_force(case, log_prior);
    let record = posterior.record();
    assert_eq!(record.method, Method::GaussLegendre);
    assert!(record.edge_weight < 1e-10, "edge weight {}", record.edge_weight);
    assert!(record.effective_nodes > 10.0);
    let found = &posterior.theta()[0];
    close("mean", found.mean, mean, 1e-6);
    close("sd", found.std_dev, sd, 1e-5);
    // Quantiles are interpolated between nodes.
    close("median", found.median, quantile(&cdf, 0.5), 0.01);
    close("q05", found.q05, quantile(&cdf, 0.05), 0.02);
    close("q95", found.q95, quantile(&cdf, 0.95), 0.02);
}

#[test]
fn one_parameter_matches_brute_force() {
    let half_normal = |scale: f64| move |t: f64| -0.5 * (t / scale).powi(2);
    let half_cauchy = |scale: f64| move |t: f64| -(1.0 + (t / scale).powi(2)).ln();
    for case in ["dyestuff", "dyestuff2"] {
        for scale in [0.5, 1.0, 2.0] {
            check_one_way(case, &Prior::half_normal(scale), half_normal(scale));
            check_one_way(case, &Prior::half_cauchy(scale), half_cauchy(scale));
        }
    }
}

#[test]
fn reweighting_equals_integrating_anew() {
    let fit = fitted("dyestuff", &["Batch"]);
    let settings = IntegrationSettings::default();
    let sensitivity =
        fit.integrate(&Prior::half_normal(1.0), &settings).unwrap().sensitivity().unwrap();
    for (scale, found) in [(0.5, &sensitivity.half), (2.0, &sensitivity.double)] {
        let anew = fit.integrate(&Prior::half_normal(scale), &settings).unwrap();
        close("mean", found[0].mean, anew.theta()[0].mean, 1e-5);
    }
    assert!(sensitivity.half[0].mean < sensitivity.used[0].mean);
    assert!(sensitivity.used[0].mean < sensitivity.double[0].mean);
}

/// Two parameters against a dense grid of the criterion itself, which the
/// textbook twin has checked.
#[test]
fn two_parameters_match_a_grid() {
    for (case, factors) in [("oats", ["plot", "B"]), ("penicillin", ["plate", "sample"])] {
        let fit = fitted(case, &factors);
        let scale = 2.0;
        let cells = 220;
        let (mut total, mut means, mut squares) = (0.0, [0.0; 2], [0.0; 2]);
        let offset = fit.criterion();
        let place = |i: usize| {
            // Squared spacing: dense near 0, reaching far.
            let s = (i as f64 + 0.5) / cells as f64;
            (12.0 * s * s, 24.0 * s / cells as f64)
        };
        for i in 0..cells {
            let (a, da) = place(i);
            for j in 0..cells {
                let (b, db) = place(j);
                let log = -0.5 * (fit.criterion_at(&[a, b]).unwrap() - offset)
                    - 0.5 * (a * a + b * b) / (scale * scale);
                let w = log.exp() * da * db;
                total += w;
                for (m, x) in means.iter_mut().zip([a, b]) {
                    *m += w * x;
                }
                for (m, x) in squares.iter_mut().zip([a, b]) {
                    *m += w * x * x;
                }
            }
        }
        let posterior =
            fit.integrate(&Prior::half_normal(scale), &IntegrationSettings::default()).unwrap();
        let record = posterior.record();
        assert_eq!(record.method, Method::FoldedT);
        assert!(record.effective_nodes > 0.4 * 2048.0, "{}", record.effective_nodes);
        for (k, found) in posterior.theta().iter().enumerate() {
            let mean = means[k] / total;
            let sd = (squares[k] / total - mean * mean).sqrt();
            // Quasi-Monte-Carlo error of about 1000 effective nodes.
            assert!((found.mean - mean).abs() < 0.03 * sd, "{case} {found:?} against {mean}");
            close("sd", found.std_dev, sd, 0.04);
        }
    }
}

#[test]
fn correlated_slopes_integrate() {
    use common::Shape;
    let case = Case::new(
        "sleepstudy",
        vec![Shape {
            name: "Subject",
            slopes: &["Days"],
            covariance: mixed::Covariance::Correlated,
        }],
    );
    let fit = fit(&case.data(), &Settings::default()).unwrap();
    let prior = Prior::half_normal(1.0);
    let settings = IntegrationSettings::default();
    let a = fit.integrate(&prior, &settings).unwrap();
    assert!(a.record().effective_nodes > 800.0, "{:?}", a.record());
    // Another shift of the points gives the same answer.
    let b = fit.integrate(&prior, &IntegrationSettings { seed: 9, ..settings }).unwrap();
    for (x, y) in a.theta().iter().zip(b.theta()) {
        assert!((x.mean - y.mean).abs() < 0.06 * x.std_dev, "{x:?} {y:?}");
    }
}

/// Witness: the integration of the other fit in its own right.
#[test]
fn points_serve_for_a_similar_fit() {
    let shape = common::Shape {
        name: "Subject",
        slopes: &["Days"],
        covariance: mixed::Covariance::Correlated,
    };
    let case = Case::new("sleepstudy", vec![shape]);
    let data = case.data();
    let fitted = fit(&data, &Settings::default()).unwrap();
    let days = case.table.get("z:Days").to_vec();
    // A bend that the first fit does not know.
    let squares: Vec<f64> = days.iter().map(|d| (d - 4.5).powi(2)).collect();
    let bent = data.clone().column(mixed::FixedColumn::new("bend", &squares));
    let other = fit(&bent, &Settings::default()).unwrap();
    // A search from the end of a similar one looks at fewer points and ends at the same minimum.
    let rough = Settings { first_minimum: true, tolerance: 1e-3, ..Settings::default() };
    let searched = |start| fit(&bent, &Settings { start, ..rough.clone() }).unwrap();
    let (from_ones, again) = (searched(Vec::new()), searched(fitted.theta()));
    let [long, short] = [&from_ones, &again].map(|fit| fit.record().visited.len());
    assert!(short < long, "{short} of {long}");
    assert!((again.criterion() - other.criterion()).abs() < 1e-3, "{}", again.criterion());
    assert_eq!(again.record().evidence.hessian_min_eigenvalue, None);
    let prior = Prior::half_normal(1.0);
    let settings = IntegrationSettings::default();
    let posterior = fitted.integrate(&prior, &settings).unwrap();
    let (carried, own) =
        (posterior.carried(&other).unwrap(), other.integrate(&prior, &settings).unwrap());
    assert_eq!(carried.record().prior, prior);
    for (found, expected) in carried.theta().iter().zip(own.theta()) {
        assert!((found.mean - expected.mean).abs() < 0.06 * expected.std_dev, "{found:?}");
        close("sd", found.std_dev, expected.std_dev, 0.06);
    }
    // The same fit keeps its weights.
    let same = posterior.carried(&fitted).unwrap();
    close("nodes", same.record().effective_nodes, posterior.record().effective_nodes, 1e-9);
    assert_eq!(posterior.record().method, Method::FoldedT);
    let strange =
        fit(&Case::new("dyestuff", vec![intercept("Batch")]).data(), &Settings::default());
    assert!(posterior.carried(&strange.unwrap()).is_err());
    let by_ml = fit(&bent, &Settings::ml()).unwrap();
    assert!(posterior.carried(&by_ml).is_err());
}

/// Six spreads at once, several of them near 0: two shifts of the points agree
/// within their effective size, and the record says how many count.
#[test]
fn six_parameters_integrate() {
    let n = 480_usize;
    let mut rng = ChaCha12Rng::seed_from_u64(6);
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    let levels = [40_u32, 9, 6];
    let codes: Vec<Vec<u32>> = levels
        .iter()
        .map(|l| (0..n).map(|_| (rng.random::<f64>() * f64::from(*l)) as u32).collect())
        .collect();
    let x: Vec<f64> = (0..n).map(|_| rng.random::<f64>() - 0.5).collect();
    let spreads = [(0.8, 0.5), (0.4, 0.0), (0.0, 0.3)];
    let mut y: Vec<f64> = (0..n).map(|_| normal(&mut rng)).collect();
    for ((code, l), (a, b)) in codes.iter().zip(levels).zip(spreads) {
        let effects: Vec<(f64, f64)> =
            (0..l).map(|_| (a * normal(&mut rng), b * normal(&mut rng))).collect();
        for i in 0..n {
            let (u, v) = effects[code[i] as usize];
            y[i] += u + v * x[i];
        }
    }
    let mut data = Data::new(&y).intercept();
    for ((code, l), name) in codes.iter().zip(levels).zip(["a", "b", "c"]) {
        let factor = Factor::intercept(name, code, l as usize).slope("x", &x);
        data = data.factor(factor.independent());
    }
    let fit = fit(&data, &Settings::default()).unwrap();
    let integrate = |seed| {
        let settings = IntegrationSettings { seed, ..IntegrationSettings::default() };
        fit.integrate(&Prior::half_normal(0.7), &settings).unwrap()
    };
    let (a, b) = (integrate(1), integrate(2));
    println!("{:?}", a.record());
    assert!(a.record().effective_nodes > 300.0, "{:?}", a.record());
    for (x, y) in a.theta().iter().zip(b.theta()) {
        assert!((x.mean - y.mean).abs() < 0.15 * x.std_dev, "{x:?} {y:?}");
    }
}

/// Simulation-based calibration (Talts et al. 2018): with theta drawn from the
/// prior, its posterior distribution function at the truth is uniform.
#[test]
fn posterior_of_theta_is_calibrated() {
    let (groups, per_group, runs) = (7_u32, 4, 300);
    let mut rng = ChaCha12Rng::seed_from_u64(2024);
    let codes: Vec<u32> = (0..groups).flat_map(|g| [g; 4]).collect();
    let mut uniforms: Vec<f64> = Vec::new();
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    for _ in 0..runs {
        let theta = normal(&mut rng).abs();
        let effects: Vec<f64> = (0..groups).map(|_| theta * normal(&mut rng)).collect();
        let y: Vec<f64> = (0..groups as usize * per_group)
            .map(|i| effects[i / per_group] + normal(&mut rng))
            .collect();
        let data =
            Data::new(&y).intercept().factor(Factor::intercept("g", &codes, groups as usize));
        let posterior = fit(&data, &Settings::default())
            .unwrap()
            .integrate(&Prior::half_normal(1.0), &IntegrationSettings::default())
            .unwrap();
        uniforms.push(below(&posterior, theta));
    }
    // Chi-square over ten cells: 0.999 point with 9 degrees of freedom is 27.9.
    let mut cells = [0.0; 10];
    for u in &uniforms {
        cells[((u * 10.0) as usize).min(9)] += 1.0;
    }
    let expected = f64::from(runs) / 10.0;
    let chi: f64 = cells.iter().map(|c| (c - expected).powi(2) / expected).sum();
    assert!(chi < 27.9, "chi-square {chi}: {cells:?}");
}

fn below(posterior: &Posterior, theta: f64) -> f64 {
    posterior.nodes().iter().filter(|(t, _)| t[0] < theta).map(|(_, w)| w).sum()
}

/// Share of 95 % Satterthwaite intervals that cover the true mean, with few
/// groups, within four binomial standard errors.
#[test]
fn satterthwaite_intervals_cover() {
    let runs = 600;
    let mut rng = ChaCha12Rng::seed_from_u64(77);
    let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
    let mut covered = 0;
    for _ in 0..runs {
        let (mut y, mut codes) = (Vec::new(), Vec::new());
        for g in 0..8_u32 {
            let effect = 1.5 * normal(&mut rng);
            let size = 2 + (rng.random::<f64>() * 5.0) as usize;
            for _ in 0..size {
                y.push(3.0 + effect + normal(&mut rng));
                codes.push(g);
            }
        }
        let data = Data::new(&y).intercept().factor(Factor::intercept("g", &codes, 8));
        let fit = fit(&data, &Settings::default()).unwrap();
        let row = fit.contrast(&[1.0], 0.95).unwrap();
        let row = row.estimated().unwrap();
        covered += usize::from(row.conf_low <= 3.0 && 3.0 <= row.conf_high);
    }
    let share = covered as f64 / f64::from(runs);
    let error = (0.95 * 0.05 / f64::from(runs)).sqrt();
    assert!((share - 0.95).abs() < 4.0 * error, "coverage {share}");
}
