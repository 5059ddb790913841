//! Products and factors of the small k x k blocks of one level, row by row in slices.

/// Sum of products.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// The product A B of two k x k matrices.
pub(crate) fn product(a: &[f64], b: &[f64], k: usize) -> Vec<f64> {
    let mut out = vec![0.0; k * k];
    for i in 0..k {
        for l in 0..k {
            let x = a[i * k + l];
            if x != 0.0 {
                for j in 0..k {
                    out[i * k + j] += x * b[l * k + j];
                }
            }
        }
    }
    out
}

/// The transpose of a k x k matrix.
pub(crate) fn transpose(a: &[f64], k: usize) -> Vec<f64> {
    let mut out = vec![0.0; k * k];
    for i in 0..k {
        for j in 0..k {
            out[j * k + i] = a[i * k + j];
        }
    }
    out
}

/// Lower Cholesky factor. A pivot at or below `floor` times its diagonal gives
/// a column of zeros, so a semi-definite matrix gets its canonical factor.
pub(crate) fn cholesky(a: &[f64], k: usize, floor: f64) -> Vec<f64> {
    let mut l = vec![0.0; k * k];
    for j in 0..k {
        let pivot = a[j * k + j] - dot(&l[j * k..j * k + j], &l[j * k..j * k + j]);
        if pivot > floor * a[j * k + j].abs() {
            let root = pivot.sqrt();
            l[j * k + j] = root;
            for i in j + 1..k {
                let rest = a[i * k + j] - dot(&l[i * k..i * k + j], &l[j * k..j * k + j]);
                l[i * k + j] = rest / root;
            }
        }
    }
    l
}

/// Inverse of a positive definite matrix and its log-determinant.
pub(crate) fn inverse(a: &[f64], k: usize) -> (Vec<f64>, f64) {
    if k == 1 {
        return (vec![1.0 / a[0]], a[0].ln());
    }
    let l = cholesky(a, k, 0.0);
    let log_det = (0..k).map(|j| 2.0 * l[j * k + j].ln()).sum();
    // Forward substitution gives the inverse factor column by column.
    let mut inv = vec![0.0; k * k];
    for j in 0..k {
        for i in j..k {
            let mut x = if i == j { 1.0 } else { 0.0 };
            for m in j..i {
                x -= l[i * k + m] * inv[m * k + j];
            }
            inv[i * k + j] = x / l[i * k + i];
        }
    }
    let out = product(&transpose(&inv, k), &inv, k);
    (out, log_det)
}
