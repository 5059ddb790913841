//! Fixed columns made orthogonal in extended precision, so that later steps lose no digits.

use crate::double::Double;
use crate::matrix::Matrix;

/// The internal columns X' = X T (orthogonal, mean square 1) and the internal
/// response y' = (y - X b0) / s, for declared columns X and y. Then b = b0 + s T b'.
#[derive(Debug, Clone)]
pub(crate) struct Basis {
    /// T, p x p upper triangular. Column j of a column left out is n with
    /// X n = 0, in the scale of its column.
    pub t: Matrix,
    /// Least-squares coefficients b0 of the kept columns.
    pub start: Vec<f64>,
    /// s: root mean square residual.
    pub response_scale: f64,
    /// Sum of the logs of the diagonal of T over the kept columns.
    pub log_det: f64,
    /// [X' | y'] = [X | y] times this.
    pub from_declared: Matrix,
}

/// A [`Basis`] before rounding.
#[derive(Debug, Clone)]
pub(crate) struct Orthogonal {
    pub kept: Vec<usize>,
    /// [X' | y'] = [X | y] times this, (p + 1) squared by row; 0 in the columns left out.
    pub from_declared: Vec<Double>,
    pub basis: Basis,
    /// Residual sum of squares over that of the (declared) response.
    pub residual_share: f64,
}

/// Cholesky of [X | y]'W[X | y] (lower triangle used), column by column; a
/// column whose pivot is under `tolerance` of its own sum of squares is left out.
pub(crate) fn orthogonalise(gram: &[Double], size: usize, tolerance: f64, rows: f64) -> Orthogonal {
    let p = size - 1;
    let mut kept: Vec<usize> = Vec::new();
    // Row by row; row i belongs to kept[i].
    let mut factor: Vec<Vec<Double>> = Vec::new();
    let mut lines: Vec<Vec<Double>> = Vec::with_capacity(size);
    let mut residual = Double::ZERO;
    for j in 0..size {
        let mut line: Vec<Double> = Vec::with_capacity(kept.len() + 1);
        for (i, other) in kept.iter().enumerate() {
            let done = dot(&line, &factor[i][..i]);
            line.push((gram[j * size + other] - done) / factor[i][i]);
        }
        let pivot = gram[j * size + j] - dot(&line, &line);
        lines.push(line.clone());
        if j == p {
            residual = pivot;
        } else if pivot.hi > tolerance * gram[j * size + j].hi {
            line.push(pivot.sqrt());
            factor.push(line);
            kept.push(j);
        }
    }
    let root_rows = Double::from(rows).sqrt();
    // Column a of the inverse of the upper factor R, with X_kept R^-1 orthonormal.
    let inverse: Vec<Vec<Double>> = (0..kept.len())
        .map(|a| {
            let mut unit = vec![Double::ZERO; a + 1];
            unit[a] = Double::ONE;
            back(&factor, &unit)
        })
        .collect();
    let scale =
        if residual.hi > 0.0 { (residual / Double::from(rows)).sqrt() } else { Double::ONE };
    let start = back(&factor, &lines[p]);
    let mut from_declared = vec![Double::ZERO; size * size];
    let mut t = Matrix::zeros(p, p);
    let mut log_det = 0.0;
    for (a, column) in kept.iter().enumerate() {
        for (i, x) in inverse[a].iter().enumerate() {
            let value = *x * root_rows;
            from_declared[kept[i] * size + column] = value;
            t[(kept[i], *column)] = value.round();
        }
        log_det += t[(*column, *column)].ln();
        from_declared[column * size + p] = -start[a] / scale;
    }
    from_declared[size * size - 1] = Double::ONE / scale;
    for j in (0..p).filter(|j| !kept.contains(j)) {
        let square = gram[j * size + j].hi;
        let own = if square > 0.0 { (rows / square).sqrt() } else { 1.0 };
        t[(j, j)] = own;
        for (i, x) in back(&factor, &lines[j]).iter().enumerate() {
            t[(kept[i], j)] = -x.round() * own;
        }
    }
    let mut b0 = vec![0.0; p];
    for (column, x) in kept.iter().zip(&start) {
        b0[*column] = x.round();
    }
    let rounded = from_declared.iter().map(|x| x.round()).collect();
    Orthogonal {
        basis: Basis {
            t,
            start: b0,
            response_scale: scale.round(),
            log_det,
            from_declared: Matrix::from_values(size, size, rounded),
        },
        kept,
        residual_share: (residual / gram[size * size - 1]).round(),
        from_declared,
    }
}

/// R^-1 v for the upper factor R = L' and the leading entries of v.
fn back(factor: &[Vec<Double>], v: &[Double]) -> Vec<Double> {
    let mut out = v.to_vec();
    for i in (0..out.len()).rev() {
        let mut rest = out[i];
        for (m, x) in out.iter().enumerate().skip(i + 1) {
            rest = rest - factor[m][i] * *x;
        }
        out[i] = rest / factor[i][i];
    }
    out
}

fn dot(a: &[Double], b: &[Double]) -> Double {
    a.iter().zip(b).fold(Double::ZERO, |s, (x, y)| s + *x * *y)
}
