//! Sums over pools of few groups as a sparse matrix: packed places by pools.

use super::apart::Apart;
use crate::shape::Shape;
use crate::threads::join;

/// Entries from which a second thread takes half of them; the halves are the
/// same without it.
const SHARED: usize = 100_000;

/// Cross-products S S' of groups with one effect, by packed place and pool.
#[derive(Debug, Clone, Default)]
pub(super) struct Scatter {
    /// Packed places met, ascending.
    index: Vec<u32>,
    /// First entry of each place, and the end.
    starts: Vec<u32>,
    /// Column (pool) and sum of each entry.
    entries: Vec<(u32, f64)>,
    columns: usize,
}

impl Scatter {
    /// Sums of the groups of each column.
    pub fn new(columns: &[Vec<Apart>], shape: &Shape) -> Scatter {
        let mut counts = vec![0_u32; shape.packed_len + 1];
        let each = |f: &mut dyn FnMut(u32, usize, f64)| {
            for (column, groups) in columns.iter().enumerate() {
                for group in groups {
                    group.products(shape, |place, x| f(column as u32, place, x));
                }
            }
        };
        each(&mut |_, place, _| counts[place + 1] += 1);
        for i in 1..counts.len() {
            counts[i] += counts[i - 1];
        }
        let total = counts.last().copied().unwrap_or(0) as usize;
        let mut raw = vec![(0_u32, 0.0); total];
        let mut next = counts.clone();
        each(&mut |column, place, x| {
            raw[next[place] as usize] = (column, x);
            next[place] += 1;
        });
        let mut out = Scatter { columns: columns.len(), ..Scatter::default() };
        for place in 0..shape.packed_len {
            let mine = &raw[counts[place] as usize..counts[place + 1] as usize];
            if mine.is_empty() {
                continue;
            }
            out.index.push(place as u32);
            out.starts.push(out.entries.len() as u32);
            // Columns come in order; those that repeat are joined.
            for same in mine.chunk_by(|a, b| a.0 == b.0) {
                out.entries.push((same[0].0, same.iter().map(|(_, x)| x).sum()));
            }
        }
        out.starts.push(out.entries.len() as u32);
        out
    }

    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// Columns.
    pub fn columns(&self) -> usize {
        self.columns
    }

    fn entries(&self, at: usize) -> &[(u32, f64)] {
        &self.entries[self.starts[at] as usize..self.starts[at + 1] as usize]
    }

    /// Subtracts the weighted sum of the columns from a packed matrix.
    pub fn subtract(&self, weights: &[f64], target: &mut [f64]) {
        let middle = self.index.len() / 2;
        let split = self.index.get(middle).map_or(target.len(), |i| *i as usize);
        let (low, high) = target.split_at_mut(split);
        let run = |range: std::ops::Range<usize>, part: &mut [f64], first: usize| {
            for at in range {
                let sum: f64 = self.entries(at).iter().map(|(c, x)| weights[*c as usize] * x).sum();
                part[self.index[at] as usize - first] -= sum;
            }
        };
        let end = self.index.len();
        if self.entries.len() < SHARED {
            run(0..middle, low, 0);
            run(middle..end, high, split);
        } else {
            join(|| run(0..middle, low, 0), || run(middle..end, high, split));
        }
    }

    /// Products of each column with two packed vectors.
    pub fn products(&self, u: &[f64], v: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let run = |range: std::ops::Range<usize>, sums: &mut [(f64, f64)]| {
            for at in range {
                let place = self.index[at] as usize;
                let (a, b) = (u[place], v[place]);
                for (column, x) in self.entries(at) {
                    let sum = &mut sums[*column as usize];
                    sum.0 += a * x;
                    sum.1 += b * x;
                }
            }
        };
        let middle = self.index.len() / 2;
        let mut low = vec![(0.0, 0.0); self.columns];
        let mut high = low.clone();
        let end = self.index.len();
        if self.entries.len() < SHARED {
            run(0..middle, &mut low);
            run(middle..end, &mut high);
        } else {
            join(|| run(0..middle, &mut low), || run(middle..end, &mut high));
        }
        low.iter().zip(&high).map(|(a, b)| (a.0 + b.0, a.1 + b.1)).unzip()
    }
}
