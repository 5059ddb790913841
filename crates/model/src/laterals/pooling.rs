//! Partial pooling of regions' coefficients after a fit without pooling, over the spread between regions.
//!
//! The fit gives estimates b with covariance V. Coefficients that answer to each other in different
//! regions are normal around a common mean with standard deviation tau, the mean is flat, tau is
//! half-normal. Given tau the posterior is normal, and the marginal likelihood of tau is in closed
//! form, so tau is averaged over instead of being plugged in: with two or three regions a maximum
//! likelihood estimate of tau is 0 half of the time, which would hide that regions may differ
//! (Gelman, 2006, Bayesian Anal. 1:515-533; Roever, 2020, J. Stat. Softw. 93(6)).

use mixed::Matrix;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

/// Nodes of each spread: quantiles of its prior at equal steps, so that prior weights are equal.
const NODES: usize = 12;
/// Standard normal quantiles at 1/2 + (k + 1/2) / 24, k = 0 to 11: half-normal ones at
/// (k + 1/2) / 12.
const HALF_NORMAL: [f64; NODES] = [
    0.052_245_2,
    0.157_311,
    0.264_147,
    0.374_095,
    0.488_776,
    0.610_295,
    0.741_594,
    0.887_147,
    1.054_47,
    1.258_16,
    1.534_12,
    2.036_83,
];

/// Coefficients that are exchangeable between regions, by position, and the scale of the prior on
/// their spread.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Exchangeable {
    pub positions: Vec<usize>,
    pub scale: f64,
}

/// Draws of all coefficients under partial pooling, n rows; `None` when the covariance is not
/// positive definite.
pub(crate) fn draws(
    estimates: &[f64],
    covariance: &Matrix,
    pools: &[Exchangeable],
    n: usize,
    seed: u64,
) -> Option<Vec<Vec<f64>>> {
    let p = estimates.len();
    let precision = inverse(covariance.values(), p)?;
    let nodes = nodes(estimates, &precision, pools)?;
    let highest = nodes.iter().map(|node| node.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let mut cumulative = Vec::with_capacity(nodes.len());
    let mut total = 0.0;
    for node in &nodes {
        total += (node.log_weight - highest).exp();
        cumulative.push(total);
    }
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let draw = |_| {
        let u = rng.random::<f64>() * total;
        let at = cumulative.partition_point(|c| *c <= u).min(nodes.len() - 1);
        let node = &nodes[at];
        let mut z: Vec<f64> = (0..p).map(|_| StandardNormal.sample(&mut rng)).collect();
        back(&node.root, p, &mut z);
        node.mean.iter().zip(&z).map(|(m, e)| m + e).collect()
    };
    Some((0..n).map(draw).collect())
}

/// The posterior at one combination of spreads.
struct Node {
    log_weight: f64,
    mean: Vec<f64>,
    /// Lower Cholesky factor of the posterior precision, row by row.
    root: Vec<f64>,
}

fn nodes(estimates: &[f64], precision: &[f64], pools: &[Exchangeable]) -> Option<Vec<Node>> {
    let p = estimates.len();
    let pools: Vec<&Exchangeable> = pools.iter().filter(|pool| pool.positions.len() > 1).collect();
    let right = times(precision, p, estimates);
    let mut out = Vec::new();
    for combination in 0..NODES.pow(pools.len() as u32) {
        let mut matrix = precision.to_vec();
        let mut log_weight = 0.0;
        let mut rest = combination;
        for pool in &pools {
            let tau = pool.scale * HALF_NORMAL[rest % NODES];
            rest /= NODES;
            let members = pool.positions.len() as f64;
            // Deviations from the mean over the pool: (I - 11'/R) / tau^2.
            for &i in &pool.positions {
                for &j in &pool.positions {
                    let centred = f64::from(u8::from(i == j)) - 1.0 / members;
                    matrix[i * p + j] += centred / (tau * tau);
                }
            }
            log_weight -= (members - 1.0) * tau.ln();
        }
        let root = cholesky(&matrix, p)?;
        let mut mean = right.clone();
        forward(&root, p, &mut mean);
        let explained: f64 = mean.iter().map(|v| v * v).sum();
        back(&root, p, &mut mean);
        log_weight += 0.5 * explained - (0..p).map(|i| root[i * p + i].ln()).sum::<f64>();
        out.push(Node { log_weight, mean, root });
    }
    Some(out)
}

fn times(a: &[f64], p: usize, x: &[f64]) -> Vec<f64> {
    a.chunks_exact(p).map(|row| row.iter().zip(x).map(|(a, x)| a * x).sum()).collect()
}

/// Lower factor L of a = LL', row by row; `None` when a is not positive definite.
fn cholesky(a: &[f64], p: usize) -> Option<Vec<f64>> {
    let mut l = vec![0.0; p * p];
    for i in 0..p {
        for j in 0..=i {
            let done: f64 = (0..j).map(|k| l[i * p + k] * l[j * p + k]).sum();
            let rest = a[i * p + j] - done;
            if i == j {
                if !(rest > 0.0 && rest.is_finite()) {
                    return None;
                }
                l[i * p + i] = rest.sqrt();
            } else {
                l[i * p + j] = rest / l[j * p + j];
            }
        }
    }
    Some(l)
}

/// Replaces x by L^-1 x.
fn forward(l: &[f64], p: usize, x: &mut [f64]) {
    for i in 0..p {
        let done: f64 = (0..i).map(|k| l[i * p + k] * x[k]).sum();
        x[i] = (x[i] - done) / l[i * p + i];
    }
}

/// Replaces x by L'^-1 x.
fn back(l: &[f64], p: usize, x: &mut [f64]) {
    for i in (0..p).rev() {
        let done: f64 = (i + 1..p).map(|k| l[k * p + i] * x[k]).sum();
        x[i] = (x[i] - done) / l[i * p + i];
    }
}

fn inverse(a: &[f64], p: usize) -> Option<Vec<f64>> {
    let l = cholesky(a, p)?;
    let mut out = vec![0.0; p * p];
    for j in 0..p {
        let mut column = vec![0.0; p];
        column[j] = 1.0;
        forward(&l, p, &mut column);
        back(&l, p, &mut column);
        for (i, value) in column.into_iter().enumerate() {
            out[i * p + j] = value;
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use mixed::Matrix;

    fn diagonal(values: &[f64]) -> Matrix {
        let mut m = Matrix::zeros(values.len(), values.len());
        for (i, v) in values.iter().enumerate() {
            m[(i, i)] = *v;
        }
        m
    }

    fn moments(draws: &[Vec<f64>], j: usize) -> (f64, f64) {
        let n = draws.len() as f64;
        let mean = draws.iter().map(|d| d[j]).sum::<f64>() / n;
        (mean, (draws.iter().map(|d| (d[j] - mean).powi(2)).sum::<f64>() / n).sqrt())
    }

    /// Rubin's eight schools: estimates and standard errors as printed by Gelman et al., Bayesian
    /// Data Analysis. Witness: the posterior by brute force over a fine grid of tau with the book's
    /// conditional formulas (5.17, 5.20), under the half-normal prior used here.
    #[test]
    fn eight_schools_against_a_fine_grid() {
        let y = [28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0];
        let s = [15.0_f64, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0];
        let scale = 10.0;
        let (mut weight, mut first) = (0.0, [0.0; 8]);
        for k in 1..4000 {
            let tau = 60.0 * f64::from(k) / 4000.0;
            let w: Vec<f64> = s.iter().map(|s| 1.0 / (s * s + tau * tau)).collect();
            let sum: f64 = w.iter().sum();
            let mu = y.iter().zip(&w).map(|(y, w)| y * w).sum::<f64>() / sum;
            let mut log = -0.5 * (tau / scale).powi(2) - 0.5 * sum.ln();
            for (y, w) in y.iter().zip(&w) {
                log += 0.5 * w.ln() - 0.5 * w * (y - mu).powi(2);
            }
            weight += log.exp();
            for ((sum, y), s) in first.iter_mut().zip(y).zip(s) {
                let (own, common) = (1.0 / (s * s), 1.0 / (tau * tau));
                *sum += log.exp() * (y * own + mu * common) / (own + common);
            }
        }
        let variances = s.map(|s| s * s);
        let pool = Exchangeable { positions: (0..8).collect(), scale };
        let n = 40_000;
        let draws = draws(&y, &diagonal(&variances), &[pool], n, 3).unwrap();
        for (j, sum) in first.iter().enumerate() {
            let (mean, sd) = moments(&draws, j);
            // Five Monte Carlo errors, and 0.15 for twelve nodes of tau against four thousand.
            let room = 5.0 * sd / (n as f64).sqrt() + 0.15;
            assert!((mean - sum / weight).abs() < room, "school {j}");
        }
    }

    /// Without anything to pool the draws follow the fit.
    #[test]
    fn nothing_to_pool_leaves_the_fit() {
        let draws = draws(&[1.0, -2.0], &diagonal(&[0.25, 4.0]), &[], 20_000, 1).unwrap();
        let (mean, sd) = moments(&draws, 1);
        assert!((mean + 2.0).abs() < 0.07 && (sd - 2.0).abs() < 0.05);
        assert!(super::draws(&[1.0], &diagonal(&[0.0]), &[], 10, 1).is_none());
    }
}
