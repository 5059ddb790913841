//! Draws at one theta against the analytic mean and covariance.

use super::design::{Plan, Weighting};
use crate::integrate::{IntegrationSettings, Prior};
use crate::{Settings, fit};

/// With all weight on the REML estimate of theta, coefficients and effects are
/// multivariate t with n - p degrees of freedom: mean the estimate, covariance
/// (n - p) / (n - p - 2) times the prediction-error covariance.
#[test]
fn match_the_analytic_distribution_given_theta() {
    let plan = Plan {
        seed: 11,
        rows: 60,
        columns: 2,
        factors: vec![(12, 2, true), (4, 1, true)],
        weighting: Weighting::Counts,
        balanced: false,
    };
    let design = plan.simulate();
    let data = design.data().response_units(0.5, 2.0);
    let fitted = fit(&data, &Settings::default()).unwrap();
    let mut posterior =
        fitted.integrate(&Prior::half_normal(1.0), &IntegrationSettings::default()).unwrap();
    posterior.nodes.truncate(1);
    posterior.nodes[0].theta = fitted.solved.theta.clone();
    posterior.weights = vec![1.0];

    let n = 40_000;
    let draws = posterior.draws(n, 5, &["f1", "f0"]).unwrap();
    let again = posterior.draws(n, 5, &["f1", "f0"]).unwrap();
    assert_eq!(draws, again);
    assert_eq!(draws.names().len(), 4 + 1 + 2 + 4 + 24);

    // Sums of effects are those of the draws that they are made of, whichever factor is eliminated.
    let sum = |name: &str, factor: &str, weights: &[(usize, f64)]| crate::EffectSum {
        name: name.into(),
        factor: factor.into(),
        weights: weights.to_vec(),
    };
    let sums =
        [sum("small", "f1", &[(0, 0.25), (3, 0.75)]), sum("big", "f0", &[(2, 1.0), (11, -0.5)])];
    let summed = posterior.draws_with_sums(200, 5, &["f1", "f0"], &sums).unwrap();
    let of = |name: &str| summed.column(name).unwrap();
    let weighted = |a: &str, b: &str, [u, v]: [f64; 2]| -> Vec<f64> {
        of(a).iter().zip(of(b)).map(|(a, b)| u * a + v * b).collect()
    };
    let near = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
    let small_sum = weighted("f1.intercept[0]", "f1.intercept[3]", [0.25, 0.75]);
    assert!(near(&of("small"), &small_sum));
    let big_sum = weighted("f0.intercept[2]", "f0.intercept[11]", [1.0, -0.5]);
    assert!(near(&of("big"), &big_sum));
    let alone = posterior.draws_with_sums(200, 5, &[], &sums).unwrap();
    assert_eq!((alone.column("small"), alone.column("big")), (Some(of("small")), Some(of("big"))));
    let beyond = posterior.draws_with_sums(1, 5, &[], &[sum("x", "f1", &[(4, 1.0)])]);
    assert!(beyond.unwrap_err().to_string().contains("level 4 of factor f1"));

    let big = fitted.conditional_modes("f0").unwrap();
    let small = fitted.conditional_modes("f1").unwrap();
    let joint = small.joint.unwrap();
    let covariance = fitted.covariance();
    let df = fitted.df_residual();
    let heavier = df / (df - 2.0);
    let mut expected: Vec<(String, f64, f64)> = Vec::new();
    for (j, (name, b)) in ["x0", "x1"].iter().zip(fitted.estimates()).enumerate() {
        expected.push(((*name).to_owned(), b, covariance[(j, j)]));
    }
    for level in 0..4 {
        let name = format!("f1.intercept[{level}]");
        expected.push((name, small.modes[(level, 0)], joint[(level, level)]));
    }
    for level in 0..12 {
        for (e, effect) in ["intercept", "slope"].iter().enumerate() {
            let name = format!("f0.{effect}[{level}]");
            expected.push((name, big.modes[(level, e)], big.variances[(level, e)]));
        }
    }
    let moments = |x: &[f64], y: &[f64]| {
        let (mx, my) = (mean(x), mean(y));
        let products: Vec<f64> = x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)).collect();
        mean(&products)
    };
    for (name, centre, variance) in &expected {
        let column = draws.column(name).unwrap();
        let z = (mean(&column) - centre) / (variance * heavier / n as f64).sqrt();
        assert!(z.abs() < 4.5, "{name}: mean off by {z} standard errors");
        let ratio = moments(&column, &column) / (variance * heavier);
        // Relative standard error of a variance is about sqrt(2/n) = 0.7 %.
        assert!((ratio - 1.0).abs() < 0.04, "{name}: variance ratio {ratio}");
    }
    // Effects and coefficients are drawn jointly: a level's mean has the
    // variance that the prediction of that known group reports.
    let point = crate::Point {
        fixed: vec![1.0, 0.3],
        levels: vec![
            crate::PointLevel { factor: "f1".into(), level: Some(2), values: vec![1.0] },
            crate::PointLevel { factor: "f0".into(), level: Some(7), values: vec![1.0, -0.4] },
        ],
        observation_weight: None,
    };
    let prediction =
        fitted.predict(&point, crate::IntervalKind::KnownGroup, 0.95).unwrap().unwrap();
    let parts = ["x0", "x1", "f1.intercept[2]", "f0.intercept[7]", "f0.slope[7]"];
    let columns: Vec<Vec<f64>> = parts.iter().map(|p| draws.column(p).unwrap()).collect();
    let weights = [1.0, 0.3, 1.0, 1.0, -0.4];
    let sum: Vec<f64> =
        (0..n).map(|i| columns.iter().zip(weights).map(|(c, w)| w * c[i]).sum()).collect();
    let variance = prediction.std_error.powi(2) * heavier;
    let z = (mean(&sum) - prediction.estimate) / (variance / n as f64).sqrt();
    assert!(z.abs() < 4.5, "joint mean off by {z}");
    let ratio = moments(&sum, &sum) / variance;
    assert!((ratio - 1.0).abs() < 0.04, "joint variance ratio {ratio}");
    // E(sigma^2) = rss / (n - p - 2).
    let sigma2: Vec<f64> = draws.column("sigma").unwrap().iter().map(|s| s * s).collect();
    let ratio = mean(&sigma2) / (fitted.sigma().powi(2) * heavier);
    assert!((ratio - 1.0).abs() < 0.01, "sigma^2 ratio {ratio}");
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}
