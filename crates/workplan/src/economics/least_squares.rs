//! Least squares with coefficients that may not be negative, for a handful of columns.

/// Symmetric normal equations A b = c, row major.
#[derive(Debug, Clone)]
pub(super) struct Normal {
    pub(super) size: usize,
    pub(super) matrix: Vec<f64>,
    pub(super) right: Vec<f64>,
}

impl Normal {
    pub(super) fn zero(size: usize) -> Self {
        Self { size, matrix: vec![0.0; size * size], right: vec![0.0; size] }
    }

    /// Adds a row with its weight.
    pub(super) fn add(&mut self, row: &[f64], y: f64, weight: f64) {
        for (i, a) in row.iter().enumerate() {
            self.right[i] += weight * a * y;
            for (j, b) in row.iter().enumerate() {
                self.matrix[i * self.size + j] += weight * a * b;
            }
        }
    }

    /// Inverse of the equations limited to some columns; `None` when a pivot of the matrix scaled
    /// to unit diagonal falls under 1e-10 (collinear columns).
    pub(super) fn inverse(&self, columns: &[usize]) -> Option<Vec<f64>> {
        let n = columns.len();
        let scale: Vec<f64> =
            columns.iter().map(|&c| self.matrix[c * self.size + c].sqrt()).collect();
        if scale.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
            return None;
        }
        // Gauss-Jordan without row exchanges is stable on a scaled positive definite matrix.
        let mut work = vec![0.0; n * n];
        let mut out = vec![0.0; n * n];
        for i in 0..n {
            out[i * n + i] = 1.0;
            for j in 0..n {
                work[i * n + j] =
                    self.matrix[columns[i] * self.size + columns[j]] / (scale[i] * scale[j]);
            }
        }
        for k in 0..n {
            let pivot = work[k * n + k];
            if !(pivot.is_finite() && pivot > 1e-10) {
                return None;
            }
            for j in 0..n {
                work[k * n + j] /= pivot;
                out[k * n + j] /= pivot;
            }
            for i in (0..n).filter(|&i| i != k) {
                let factor = work[i * n + k];
                for j in 0..n {
                    work[i * n + j] -= factor * work[k * n + j];
                    out[i * n + j] -= factor * out[k * n + j];
                }
            }
        }
        for i in 0..n {
            for j in 0..n {
                out[i * n + j] /= scale[i] * scale[j];
            }
        }
        Some(out)
    }

    fn solve(&self, columns: &[usize]) -> Option<Vec<f64>> {
        let inverse = self.inverse(columns)?;
        let n = columns.len();
        Some(
            (0..n)
                .map(|i| (0..n).map(|j| inverse[i * n + j] * self.right[columns[j]]).sum())
                .collect(),
        )
    }
}

/// Coefficients, none below zero, with the least sum of squares (Lawson and Hanson, 1974, Solving
/// Least Squares Problems, chapter 23), and the columns that are free; `None` when columns are collinear.
pub(super) fn non_negative(normal: &Normal) -> Option<(Vec<f64>, Vec<usize>)> {
    let n = normal.size;
    let all: Vec<usize> = (0..n).collect();
    normal.inverse(&all)?;
    let mut x = vec![0.0; n];
    let mut free: Vec<usize> = Vec::new();
    // Each pass lowers the sum of squares, so the number of passes is bounded; the cap guards rounding.
    for _ in 0..(3 * n + 10) * 4 {
        let slope = |j: usize| {
            normal.right[j] - (0..n).map(|k| normal.matrix[j * n + k] * x[k]).sum::<f64>()
        };
        let tolerance = |j: usize| 1e-10 * (normal.right[j].abs() + f64::MIN_POSITIVE);
        let best = (0..n)
            .filter(|j| !free.contains(j) && slope(*j) > tolerance(*j))
            .max_by(|a, b| slope(*a).total_cmp(&slope(*b)));
        let Some(best) = best else { break };
        free.push(best);
        free.sort_unstable();
        loop {
            let step = normal.solve(&free)?;
            let shrink = free
                .iter()
                .zip(&step)
                .filter(|(_, s)| **s <= 0.0)
                .map(|(&j, s)| x[j] / (x[j] - s))
                .fold(1.0_f64, |a, b| a.min(if b.is_finite() { b } else { 0.0 }));
            let done = step.iter().all(|s| *s > 0.0);
            for (&j, s) in free.iter().zip(&step) {
                x[j] = if done { *s } else { x[j] + shrink * (s - x[j]) };
            }
            if done {
                break;
            }
            let zero = |j: usize, s: f64| s <= 0.0 && x[j] <= 1e-12 * (1.0 + s.abs());
            let leaving: Vec<usize> =
                free.iter().zip(&step).filter(|(j, s)| zero(**j, **s)).map(|(j, _)| *j).collect();
            free.retain(|j| !leaving.contains(j));
            for j in leaving {
                x[j] = 0.0;
            }
        }
    }
    Some((x, free))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn normal(rows: &[(Vec<f64>, f64)], columns: usize) -> Normal {
        let mut normal = Normal::zero(columns);
        for (row, y) in rows {
            normal.add(row, *y, 1.0);
        }
        normal
    }

    fn squares(rows: &[(Vec<f64>, f64)], x: &[f64]) -> f64 {
        rows.iter()
            .map(|(row, y)| (y - row.iter().zip(x).map(|(a, b)| a * b).sum::<f64>()).powi(2))
            .sum()
    }

    proptest! {
        /// Against every subset of columns, each solved without limits.
        #[test]
        fn no_subset_does_better(rows in prop::collection::vec(
            (prop::collection::vec(0.0..1.0_f64, 3), -1.0..2.0_f64), 6..12)) {
            let normal = normal(&rows, 3);
            if let Some((x, _)) = non_negative(&normal) {
                prop_assert!(x.iter().all(|x| *x >= 0.0));
                let mut best = squares(&rows, &[0.0; 3]);
                for subset in 1_u8..8 {
                    let columns: Vec<usize> = (0..3).filter(|j| subset >> j & 1 == 1).collect();
                    let solved = normal.solve(&columns).unwrap();
                    if solved.iter().all(|s| *s >= 0.0) {
                        let mut full = [0.0; 3];
                        columns.iter().zip(&solved).for_each(|(&j, s)| full[j] = *s);
                        best = best.min(squares(&rows, &full));
                    }
                }
                prop_assert!((squares(&rows, &x) - best).abs() < 1e-9 * (1.0 + best));
            }
        }
    }

    #[test]
    fn collinear_columns_are_refused() {
        let rows: Vec<_> = (1..9).map(|k| (vec![1.0, 2.0], f64::from(k))).collect();
        assert!(non_negative(&normal(&rows, 2)).is_none());
    }
}
