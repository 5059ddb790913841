//! Least squares through an orthonormal basis of the columns; estimability by rank.

/// Share of a column's norm left beside earlier columns under which it counts as one of them.
const RANK_SHARE: f64 = 1e-9;
/// Largest relative discrepancy of a contrast with the space of the rows.
const ESTIMABLE: f64 = 1e-8;

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Takes the projections on orthonormal `basis` out of `v`, twice, and returns the coefficients.
pub(super) fn take_out(v: &mut [f64], basis: &[Vec<f64>]) -> Vec<f64> {
    let mut coefficients = vec![0.0; basis.len()];
    // Twice is enough (Giraud, Langou, Rozloznik 2005).
    for _ in 0..2 {
        for (q, r) in basis.iter().zip(&mut coefficients) {
            let c = dot(q, v);
            *r += c;
            v.iter_mut().zip(q).for_each(|(x, q)| *x -= c * q);
        }
    }
    coefficients
}

/// Adds what is new in `column` to an orthonormal basis; the coefficients on the basis, or `None`
/// with them where nothing is new.
pub(super) fn extend(basis: &mut Vec<Vec<f64>>, column: &[f64]) -> (Vec<f64>, bool) {
    let size = dot(column, column).sqrt();
    let mut v = column.to_vec();
    let mut coefficients = take_out(&mut v, basis);
    let left = dot(&v, &v).sqrt();
    // Written so that NaN counts as nothing new.
    let new = left > RANK_SHARE * size && size > 0.0;
    if new {
        v.iter_mut().for_each(|x| *x /= left);
        coefficients.push(left);
        basis.push(v);
    }
    (coefficients, new)
}

/// A factored design: X = Q R over its independent columns.
#[derive(Debug, Clone)]
pub(super) struct Factored {
    /// Orthonormal basis, one vector over the units each.
    pub basis: Vec<Vec<f64>>,
    /// Coefficients of each column on the basis.
    columns: Vec<Vec<f64>>,
    /// Columns that are new.
    kept: Vec<usize>,
}

impl Factored {
    pub fn new(columns: &[Vec<f64>]) -> Self {
        let mut out = Factored { basis: Vec::new(), columns: Vec::new(), kept: Vec::new() };
        for (j, column) in columns.iter().enumerate() {
            let (coefficients, new) = extend(&mut out.basis, column);
            if new {
                out.kept.push(j);
            }
            out.columns.push(coefficients);
        }
        out
    }

    pub fn rank(&self) -> usize {
        self.basis.len()
    }

    /// Basis vectors that the columns of a range added.
    pub fn added(&self, range: std::ops::Range<usize>) -> &[Vec<f64>] {
        let start = self.kept.partition_point(|j| *j < range.start);
        let end = self.kept.partition_point(|j| *j < range.end);
        &self.basis[start..end]
    }

    /// Coordinates a with l'b = a'Q'y, and what is missing by column: all near 0 when `l` is
    /// estimable.
    fn solve(&self, l: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut a: Vec<f64> = Vec::with_capacity(self.rank());
        for j in &self.kept {
            let column = &self.columns[*j];
            let pivot = column[a.len()];
            let rest = l[*j] - dot(column, &a);
            a.push(rest / pivot);
        }
        let missing = (0..self.columns.len())
            .filter(|j| self.kept.binary_search(j).is_err())
            .map(|j| l[j] - dot(&self.columns[j], &a))
            .collect();
        (a, missing)
    }

    /// Coordinates of an estimable contrast, `None` of one that is not.
    pub fn coordinates(&self, l: &[f64]) -> Option<Vec<f64>> {
        let (a, missing) = self.solve(l);
        let size = dot(l, l).sqrt();
        missing.iter().all(|m| m.abs() <= ESTIMABLE * size).then_some(a)
    }

    /// Independent estimable combinations of the rows of `l`.
    pub fn estimable(&self, l: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let size = l.iter().map(|row| dot(row, row)).sum::<f64>().sqrt();
        let mut pending: Vec<(Vec<f64>, Vec<f64>)> =
            l.iter().map(|row| (self.solve(row).1, row.clone())).collect();
        let width = pending.first().map_or(0, |p| p.0.len());
        // Elimination: rows that bring in what cannot be estimated are used up, one per column.
        for column in 0..width {
            let largest = pending
                .iter()
                .enumerate()
                .max_by(|a, b| a.1.0[column].abs().total_cmp(&b.1.0[column].abs()));
            let Some((at, _)) = largest.filter(|(_, p)| p.0[column].abs() > ESTIMABLE * size)
            else {
                continue;
            };
            let (pivot_missing, pivot_row) = pending.swap_remove(at);
            for (missing, row) in &mut pending {
                let c = missing[column] / pivot_missing[column];
                missing.iter_mut().zip(&pivot_missing).for_each(|(x, p)| *x -= c * p);
                row.iter_mut().zip(&pivot_row).for_each(|(x, p)| *x -= c * p);
            }
        }
        let mut spanned: Vec<Vec<f64>> = Vec::new();
        let mut out = Vec::new();
        for (_, row) in pending {
            if let Some(a) = self.coordinates(&row)
                && extend(&mut spanned, &a).1
            {
                out.push(row);
            }
        }
        out
    }
}
