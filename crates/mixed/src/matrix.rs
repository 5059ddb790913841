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
        Matrix {
            rows,
            columns,
            values: vec![0.0; rows * columns],
        }
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
