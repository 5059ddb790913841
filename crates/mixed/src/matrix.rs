//! A plain dense matrix for results, row by row.

use serde::Serialize;

/// Dense matrix of results, stored by row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Matrix {
    rows: usize,
    columns: usize,
    values: Vec<f64>,
}

impl Matrix {
    /// A matrix of zeros.
    pub fn zeros(rows: usize, columns: usize) -> Self {
        Matrix { rows, columns, values: vec![0.0; rows * columns] }
    }

    /// Number of rows.
    pub fn n_rows(&self) -> usize {
        self.rows
    }

    /// Number of columns.
    pub fn n_columns(&self) -> usize {
        self.columns
    }

    /// One row. Panics outside the matrix, like a slice.
    pub fn row(&self, row: usize) -> &[f64] {
        &self.values[row * self.columns..(row + 1) * self.columns]
    }

    /// Copy of one column. Panics outside the matrix, like a slice.
    pub fn column(&self, column: usize) -> Vec<f64> {
        (0..self.rows).map(|i| self[(i, column)]).collect()
    }

    /// All values, row by row.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The quadratic form a' M b, for a square matrix.
    pub(crate) fn quadratic(&self, a: &[f64], b: &[f64]) -> f64 {
        a.iter()
            .enumerate()
            .filter(|(_, x)| **x != 0.0)
            .map(|(i, x)| x * crate::small::dot(self.row(i), b))
            .sum()
    }
}

impl std::ops::Index<(usize, usize)> for Matrix {
    type Output = f64;
    fn index(&self, (i, j): (usize, usize)) -> &f64 {
        &self.values[i * self.columns + j]
    }
}

impl std::ops::IndexMut<(usize, usize)> for Matrix {
    fn index_mut(&mut self, (i, j): (usize, usize)) -> &mut f64 {
        &mut self.values[i * self.columns + j]
    }
}

impl Matrix {
    /// Takes `rows x columns` values by row.
    pub(crate) fn from_values(rows: usize, columns: usize, values: Vec<f64>) -> Self {
        debug_assert_eq!(values.len(), rows * columns);
        Matrix { rows, columns, values }
    }

    /// Copies a dense matrix of the algebra library.
    pub(crate) fn from_dense(m: faer::MatRef<'_, f64>) -> Self {
        let mut out = Matrix::zeros(m.nrows(), m.ncols());
        for i in 0..m.nrows() {
            for j in 0..m.ncols() {
                out[(i, j)] = m[(i, j)];
            }
        }
        out
    }

    /// View for the algebra library.
    pub(crate) fn dense(&self) -> faer::MatRef<'_, f64> {
        faer::MatRef::from_row_major_slice(&self.values, self.rows, self.columns)
    }

    pub(crate) fn row_mut(&mut self, row: usize) -> &mut [f64] {
        &mut self.values[row * self.columns..(row + 1) * self.columns]
    }

    /// The product M v.
    pub(crate) fn times(&self, v: &[f64]) -> Vec<f64> {
        (0..self.rows).map(|i| crate::small::dot(self.row(i), v)).collect()
    }

    /// Copies the lower triangle onto the upper one.
    pub(crate) fn mirror(&mut self) {
        const TILE: usize = 16;
        let n = self.rows;
        for i0 in (0..n).step_by(TILE) {
            for j0 in (0..=i0).step_by(TILE) {
                for i in i0..(i0 + TILE).min(n) {
                    for j in j0..(j0 + TILE).min(i) {
                        self[(j, i)] = self[(i, j)];
                    }
                }
            }
        }
    }
}
