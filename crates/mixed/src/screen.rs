//! Which fixed columns the rows can tell apart, and which contrasts they can estimate.

use crate::matrix::Matrix;
use crate::small::dot;

/// Result of a pivot-by-pivot look at the fixed cross-product.
#[derive(Debug, Clone)]
pub(crate) struct Screen {
    /// Columns that stay, ascending.
    pub kept: Vec<usize>,
    /// Columns left out, ascending.
    pub dropped: Vec<usize>,
    /// One vector n per dropped column with X n = 0.
    pub null: Vec<Vec<f64>>,
}

/// Factors X'WX in column order; a column whose pivot is under `tolerance`
/// times its own sum of squares depends on earlier ones and is left out.
pub(crate) fn screen(xx: &Matrix, tolerance: f64) -> Screen {
    let p = xx.n_rows();
    let mut kept: Vec<usize> = Vec::new();
    let mut dropped = Vec::new();
    let mut null = Vec::new();
    // Row i of the factor belongs to kept[i].
    let mut factor: Vec<Vec<f64>> = Vec::new();
    for j in 0..p {
        let mut line: Vec<f64> = Vec::with_capacity(kept.len() + 1);
        for (i, other) in kept.iter().enumerate() {
            let rest = xx[(j, *other)] - dot(&line, &factor[i][..i]);
            line.push(rest / factor[i][i]);
        }
        let pivot = xx[(j, j)] - dot(&line, &line);
        if pivot > tolerance * xx[(j, j)] {
            line.push(pivot.sqrt());
            factor.push(line);
            kept.push(j);
        } else {
            let mut n = vec![0.0; p];
            n[j] = 1.0;
            for i in (0..kept.len()).rev() {
                let later: f64 = (i + 1..kept.len()).map(|m| factor[m][i] * -n[kept[m]]).sum();
                n[kept[i]] = -(line[i] - later) / factor[i][i];
            }
            dropped.push(j);
            null.push(n);
        }
    }
    Screen { kept, dropped, null }
}

impl Screen {
    /// Whether a contrast (over all columns, internal units) is a function of X b.
    pub fn is_estimable(&self, contrast: &[f64]) -> bool {
        let size = contrast.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
        self.null.iter().all(|n| {
            let along = contrast.iter().zip(n).map(|(a, b)| (a * b).abs());
            let scale = along.fold(size, f64::max);
            dot(contrast, n).abs() <= 1e-7 * scale
        })
    }
}
