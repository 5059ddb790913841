//! Random designs, simulated from a seed.

use crate::{Covariance, Data, Factor, FixedColumn, RandomEffect};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// How the weights of a design are made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Weighting {
    None,
    Counts,
    Real,
}

/// What to simulate.
#[derive(Debug, Clone)]
pub struct Plan {
    pub seed: u64,
    pub rows: usize,
    pub columns: usize,
    /// Per factor: levels, effects (1 or 2), correlated.
    pub factors: Vec<(usize, usize, bool)>,
    pub weighting: Weighting,
    /// Same slope values in every level, so that groups share their design.
    pub balanced: bool,
}

/// Owned columns.
#[derive(Debug, Clone)]
pub struct Design {
    pub plan: Plan,
    pub y: Vec<f64>,
    pub w: Vec<f64>,
    pub x: Vec<Vec<f64>>,
    pub codes: Vec<Vec<u32>>,
    pub slopes: Vec<Vec<f64>>,
    pub theta: Vec<f64>,
}

impl Plan {
    pub fn simulate(&self) -> Design {
        let mut rng = ChaCha12Rng::seed_from_u64(self.seed);
        let n = self.rows;
        let mut draw = |low: f64, high: f64| low + (high - low) * rng.random::<f64>();
        let w = (0..n)
            .map(|_| match self.weighting {
                Weighting::None => 1.0,
                Weighting::Counts => draw(1.0, 5.0).floor(),
                Weighting::Real => draw(0.2, 3.0),
            })
            .collect();
        let mut x = vec![vec![1.0; n]];
        for _ in 1..self.columns {
            x.push((0..n).map(|_| draw(-1.0, 2.0)).collect());
        }
        let mut codes = Vec::new();
        let mut slopes = Vec::new();
        let mut theta = Vec::new();
        for (levels, effects, correlated) in &self.factors {
            let code: Vec<u32> = (0..n)
                .map(|i| {
                    // The first rows see every level once.
                    if self.balanced || i < *levels {
                        (i % levels) as u32
                    } else {
                        draw(0.0, *levels as f64) as u32
                    }
                })
                .collect();
            let slope: Vec<f64> = (0..n)
                .map(|i| if self.balanced { (i / levels) as f64 - 1.0 } else { draw(-1.0, 1.0) })
                .collect();
            codes.push(code);
            slopes.push(slope);
            theta.push(if draw(0.0, 1.0) < 0.1 { 0.0 } else { draw(0.1, 2.0) });
            if *effects == 2 {
                if *correlated {
                    theta.push(draw(-1.0, 1.0));
                }
                theta.push(draw(0.1, 1.5));
            }
        }
        let mut y: Vec<f64> = (0..n).map(|_| draw(-1.0, 1.0) + draw(-1.0, 1.0)).collect();
        for (code, slope) in codes.iter().zip(&slopes) {
            for i in 0..n {
                let level = f64::from(code[i]);
                y[i] += 0.8 * (1.7 * level).sin() + 0.3 * (2.9 * level).cos() * slope[i];
            }
        }
        for column in &x[1..] {
            for i in 0..n {
                y[i] += 0.5 * column[i];
            }
        }
        Design { plan: self.clone(), y, w, x, codes, slopes, theta }
    }
}

impl Design {
    /// The rows listed, in that order.
    pub fn rows(&self, rows: &[usize]) -> Design {
        let take = |v: &Vec<f64>| rows.iter().map(|i| v[*i]).collect::<Vec<f64>>();
        Design {
            y: take(&self.y),
            w: take(&self.w),
            x: self.x.iter().map(take).collect(),
            slopes: self.slopes.iter().map(take).collect(),
            codes: self.codes.iter().map(|c| rows.iter().map(|i| c[*i]).collect()).collect(),
            ..self.clone()
        }
    }

    pub fn data(&self) -> Data<'_> {
        let mut data = Data::new(&self.y);
        if self.plan.weighting != Weighting::None {
            data = data.weights(&self.w);
        }
        for (j, x) in self.x.iter().enumerate() {
            data = data.column(FixedColumn::new(format!("x{j}"), x.as_slice()));
        }
        for (f, (levels, effects, correlated)) in self.plan.factors.iter().enumerate() {
            let mut list = vec![RandomEffect::Intercept];
            if *effects == 2 {
                list.push(RandomEffect::Slope { name: "slope".into(), values: &self.slopes[f] });
            }
            data = data.factor(Factor {
                name: format!("f{f}"),
                codes: &self.codes[f],
                levels: *levels,
                effects: list,
                covariance: if *correlated {
                    Covariance::Correlated
                } else {
                    Covariance::Independent
                },
            });
        }
        data
    }
}
