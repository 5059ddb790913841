//! How far two fits differ.

use mixed::Fit;

/// Largest differences of criterion, residual spread, variance parameters, coefficients, their
/// covariance and the regions' own effects; each relative to its size, that of a coefficient being
/// no less than its standard error.
#[must_use]
pub fn largest_differences(a: &Fit, b: &Fit) -> [(&'static str, f64); 6] {
    let apart = |x: f64, y: f64, size: f64| (x - y).abs() / size;
    let (cov_a, cov_b) = (a.covariance(), b.covariance());
    let errors: Vec<f64> = (0..cov_b.n_rows()).map(|j| cov_b[(j, j)].sqrt()).collect();
    let coefficients = a
        .estimates()
        .iter()
        .zip(b.estimates())
        .zip(&errors)
        .map(|((x, y), error)| apart(*x, y, y.abs().max(*error)))
        .fold(0.0, worse);
    let mut covariance = 0.0;
    for i in 0..errors.len() {
        for j in 0..errors.len() {
            let own = apart(cov_a[(i, j)], cov_b[(i, j)], errors[i] * errors[j]);
            covariance = worse(covariance, own);
        }
    }
    let theta = a
        .theta()
        .into_iter()
        .zip(b.theta())
        .map(|(x, y)| apart(x.value, y.value, y.value.abs().max(1.0)));
    let regional = match (a.conditional_modes("region"), b.conditional_modes("region")) {
        (Ok(x), Ok(y)) => {
            let pairs = x.modes.values().iter().zip(y.modes.values());
            pairs.map(|(x, y)| apart(*x, *y, 1.0)).fold(0.0, worse)
        }
        (Err(_), Err(_)) => 0.0,
        _ => f64::NAN,
    };
    [
        ("criterion", apart(a.criterion(), b.criterion(), b.criterion().abs())),
        ("sigma", apart(a.sigma(), b.sigma(), b.sigma())),
        ("theta", theta.fold(0.0, worse)),
        ("coefficients", coefficients),
        ("covariance", covariance),
        ("regional", regional),
    ]
}

/// The larger, where NaN is the largest.
fn worse(a: f64, b: f64) -> f64 {
    if a.is_nan() || b.is_nan() { f64::NAN } else { a.max(b) }
}
