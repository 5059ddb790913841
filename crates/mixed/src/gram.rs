//! Cross-products over [Z_other | X | y]: few of the random columns meet one another.

use crate::layout::CELL_LIMIT;
use crate::matrix::Matrix;
use std::ops::Range;

/// Cells up to which a line lists those it met; a longer one is kept in full.
const LISTED: usize = 64;

/// Lower triangle of a symmetric matrix, line by line, the cells met alone.
#[derive(Debug, Clone, Default)]
pub(crate) struct Triangle {
    lines: Vec<Line>,
    /// Cells of the lines kept in full.
    full: usize,
}

/// The cells of a line up to the diagonal.
#[derive(Debug, Clone, Default)]
struct Line {
    /// Columns met, ascending; empty where all are kept.
    columns: Vec<u32>,
    values: Vec<f64>,
}

impl Triangle {
    /// Zeros of `size` lines.
    pub fn zeros(size: usize) -> Triangle {
        Triangle { lines: vec![Line::default(); size], full: 0 }
    }

    /// Lines.
    pub fn size(&self) -> usize {
        self.lines.len()
    }

    /// Adds to the cell of line `i` and column `j`, which is not the larger.
    #[inline]
    pub fn add(&mut self, i: usize, j: usize, x: f64) {
        let line = &mut self.lines[i];
        if line.is_full() {
            line.values[j] += x;
            return;
        }
        match line.columns.binary_search(&(j as u32)) {
            Ok(at) => line.values[at] += x,
            // Beyond the limit there is no factorisation, and no use for a full line.
            Err(at) if line.columns.len() < LISTED || self.full + i >= CELL_LIMIT => {
                line.columns.insert(at, j as u32);
                line.values.insert(at, x);
            }
            Err(_) => {
                line.fill(i + 1);
                self.full += i + 1;
                line.values[j] += x;
            }
        }
    }

    /// The cell of line `i` and column `j`, which is not the larger.
    pub fn at(&self, i: usize, j: usize) -> f64 {
        let line = &self.lines[i];
        if line.is_full() {
            return line.values[j];
        }
        line.columns.binary_search(&(j as u32)).map_or(0.0, |at| line.values[at])
    }

    /// The cells met of a line: column and value.
    pub fn line(&self, i: usize) -> impl Iterator<Item = (usize, f64)> {
        let line = &self.lines[i];
        let column = move |at: usize| line.columns.get(at).map_or(at, |j| *j as usize);
        line.values.iter().enumerate().map(move |(at, x)| (column(at), *x))
    }

    /// Adds another triangle of as many lines.
    pub fn merge(&mut self, other: &Triangle) {
        for i in 0..other.size() {
            for (j, x) in other.line(i) {
                self.add(i, j, x);
            }
        }
    }

    /// Whether no cell overflowed.
    pub fn is_finite(&self) -> bool {
        self.lines.iter().all(|line| line.values.iter().all(|x| x.is_finite()))
    }
}

impl Line {
    fn is_full(&self) -> bool {
        self.columns.len() < self.values.len()
    }

    fn fill(&mut self, length: usize) {
        let mut values = vec![0.0; length];
        for (j, x) in self.columns.iter().zip(&self.values) {
            values[*j as usize] = *x;
        }
        *self = Line { columns: Vec::new(), values };
    }
}

/// [Z_other | X | y]'W[Z_other | X | y] for the kept columns of X.
#[derive(Debug, Clone)]
pub(crate) struct Gram {
    /// Among the columns of Z_other.
    pub random: Triangle,
    /// Of [X | y] with [Z_other | X | y], a line each; symmetric in its last columns.
    pub dense: Matrix,
}

impl Gram {
    /// The matrix of `width` columns, `q` of them random, from cells whose first
    /// column is not the smaller.
    pub fn of_cells(
        cells: impl Iterator<Item = ((usize, usize), f64)>,
        q: usize,
        width: usize,
    ) -> Gram {
        let mut out = Gram { random: Triangle::zeros(q), dense: Matrix::zeros(width - q, width) };
        for ((i, j), x) in cells {
            if i < q {
                out.random.add(i, j, x);
                continue;
            }
            out.dense[(i - q, j)] = x;
            if j >= q {
                out.dense[(j - q, i)] = x;
            }
        }
        out
    }

    /// Columns of Z_other.
    pub fn q(&self) -> usize {
        self.random.size()
    }

    /// All columns, the response among them.
    pub fn width(&self) -> usize {
        self.dense.n_columns()
    }

    /// The entry of two columns.
    pub fn at(&self, i: usize, j: usize) -> f64 {
        let (low, high) = (i.min(j), i.max(j));
        if high < self.q() { self.random.at(high, low) } else { self.dense[(high - self.q(), low)] }
    }

    /// Columns of [X | y].
    pub fn fixed(&self) -> Range<usize> {
        self.q()..self.width()
    }

    /// Everything, in full.
    pub fn full(&self) -> Matrix {
        let (q, width) = (self.q(), self.width());
        let mut out = Matrix::zeros(width, width);
        for i in 0..q {
            for (j, x) in self.random.line(i) {
                out[(i, j)] = x;
            }
        }
        for i in q..width {
            out.row_mut(i).copy_from_slice(self.dense.row(i - q));
        }
        out.mirror();
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Listed and full lines hold what a dense twin holds, also after merging.
    #[test]
    fn lines_hold_what_was_added() {
        let mut rng = rand_chacha::ChaCha12Rng::seed_from_u64(3);
        let size = 3 * LISTED;
        let mut twin = Matrix::zeros(size, size);
        let mut parts = [Triangle::zeros(size), Triangle::zeros(size)];
        for step in 0..200 * size {
            let i = rng.random_range(0..size);
            // Every third line meets few columns.
            let most = if i % 3 == 0 { i.min(LISTED / 2) } else { i };
            let (j, x) = (rng.random_range(0..=most), f64::from(rng.random_range(-9..9)));
            twin[(i, j)] += x;
            parts[step % 2].add(i, j, x);
        }
        let [mut merged, second] = parts;
        merged.merge(&second);
        let full = merged.lines.iter().filter(|line| line.is_full()).count();
        assert!(full > size / 4 && full < size, "{full} full lines");
        for i in 0..size {
            for j in 0..=i {
                assert_eq!(merged.at(i, j), twin[(i, j)]);
            }
            let sum: f64 = merged.line(i).map(|(j, x)| (j + 1) as f64 * x).sum();
            let expected: f64 = (0..=i).map(|j| (j + 1) as f64 * twin[(i, j)]).sum();
            assert_eq!(sum, expected);
        }
    }
}
