//! Where the search starts: a generalised linear fit without random effects.

use super::approximation::Model;
use super::family::{Family, logistic};
use crate::small::{cholesky, dot};
use crate::{Error, Matrix};

/// Reweighting steps; the result is only a start.
const STEPS: usize = 12;

impl Model {
    /// theta at half a unit of the linear predictor, coefficients of the
    /// model with variance proportional to the mean, the family's parameters
    /// from Pearson residuals there.
    pub fn first(&self) -> Result<Vec<f64>, Error> {
        let design = &self.design;
        let p = design.p;
        let mean = dot(&design.weight, &design.response) / design.weight.iter().sum::<f64>();
        let shares = self.family == Family::Binomial;
        let first = |y: &f64| {
            let middle = 0.5 * (y + mean);
            if shares { (middle / (1.0 - middle)).ln() } else { middle.ln() }
        };
        let mut eta: Vec<f64> = design.response.iter().map(first).collect();
        let mut b = vec![0.0; p];
        let mut last = f64::INFINITY;
        for _ in 0..STEPS {
            let (mut gram, mut right) = (Matrix::zeros(p, p), vec![0.0; p]);
            for (i, eta) in eta.iter().enumerate() {
                let (mu, slope, _) = mean_at(shares, *eta);
                let z = eta - design.offset[i] + (design.response[i] - mu) / slope;
                let x = &design.fixed[i * p..(i + 1) * p];
                let w = design.weight[i] * slope;
                for a in 0..p {
                    right[a] += w * z * x[a];
                    for c in 0..=a {
                        gram[(a, c)] += w * x[a] * x[c];
                    }
                }
            }
            b = solve(&gram, right).ok_or(NO_START)?;
            let mut value = 0.0;
            for (i, eta) in eta.iter_mut().enumerate() {
                *eta = design.offset[i] + dot(&design.fixed[i * p..(i + 1) * p], &b);
                let (_, _, integral) = mean_at(shares, *eta);
                value += design.weight[i] * (integral - design.response[i] * *eta);
            }
            if (last - value).abs() < 1e-5 * (1.0 + value.abs()) {
                break;
            }
            last = value;
        }
        let mut x: Vec<f64> = self.first_theta();
        x.extend(b);
        x.extend(self.first_parameters(&eta));
        Ok(x)
    }

    fn first_theta(&self) -> Vec<f64> {
        let design = &self.design;
        let entry = |e: &crate::layout::ThetaEntry| {
            if !e.is_diagonal() {
                return 0.0;
            }
            let part = self.parts[e.factor];
            let (values, width) =
                if part.own { (&design.own, design.k) } else { (&design.others, design.other) };
            let squares: f64 =
                values.chunks_exact(width).map(|z| z[part.start + e.row].powi(2)).sum();
            0.5 / (squares / design.n as f64).sqrt().max(1e-8)
        };
        self.entries.iter().map(entry).collect()
    }

    fn first_parameters(&self, eta: &[f64]) -> Vec<f64> {
        let design = &self.design;
        let mut sums = [0.0; 3];
        for (i, eta) in eta.iter().enumerate() {
            let mu = eta.clamp(-30.0, 30.0).exp();
            let (w, square) = (design.weight[i], (design.response[i] - mu).powi(2));
            sums[0] += w * mu * mu;
            sums[1] += w * (square - mu);
            sums[2] += w * square / mu.powf(1.5);
        }
        let rows: f64 = design.weight.iter().sum();
        match self.family {
            Family::Poisson | Family::Binomial => Vec::new(),
            // Part of the excess is the random effects'.
            Family::NegativeBinomial => {
                let size = 2.0 * sums[0] / sums[1].max(1e-3 * sums[0]);
                vec![size.clamp(0.05, 200.0).ln()]
            }
            Family::Tweedie => vec![(0.7 * sums[2] / rows).clamp(1e-6, 1e6).ln(), 0.0],
        }
    }
}

/// Mean at a linear predictor, its slope, and its integral.
fn mean_at(shares: bool, eta: f64) -> (f64, f64, f64) {
    let eta = eta.clamp(-30.0, 30.0);
    if shares {
        let mu = logistic(eta);
        (mu, mu * (1.0 - mu), eta.max(0.0) + (-eta.abs()).exp().ln_1p())
    } else {
        let mu = eta.exp();
        (mu, mu, mu)
    }
}

const NO_START: Error =
    Error::Numerical { what: "a generalised model has no start: its columns are near dependent" };

fn solve(gram: &Matrix, mut x: Vec<f64>) -> Option<Vec<f64>> {
    let p = gram.n_rows();
    let l = cholesky(gram.values(), p, 0.0);
    for i in 0..p {
        let done = dot(&l[i * p..i * p + i], &x[..i]);
        x[i] = (x[i] - done) / l[i * p + i];
    }
    for i in (0..p).rev() {
        let done: f64 = (i + 1..p).map(|m| l[m * p + i] * x[m]).sum();
        x[i] = (x[i] - done) / l[i * p + i];
    }
    x.iter().all(|v| v.is_finite()).then_some(x)
}
