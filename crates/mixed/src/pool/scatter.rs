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
    /// Column (pool) of each entry.
    column: Vec<u32>,
    /// Sum of each entry.
    value: Vec<f64>,
    /// The groups of each column.
    groups: Vec<Vec<Apart>>,
}

impl Scatter {
    /// Sums of the groups of each column.
    pub fn new(groups: Vec<Vec<Apart>>, shape: &Shape) -> Scatter {
        // A place counts once for a column, however many groups meet there.
        let mut starts = vec![0_u32; shape.packed_len + 1];
        let mut last = vec![u32::MAX; shape.packed_len];
        for (column, groups) in groups.iter().enumerate() {
            for group in groups {
                group.products(shape, |place, _| {
                    if last[place] != column as u32 {
                        last[place] = column as u32;
                        starts[place + 1] += 1;
                    }
                });
            }
        }
        for i in 1..starts.len() {
            starts[i] += starts[i - 1];
        }
        let total = starts.last().copied().unwrap_or(0) as usize;
        let (mut column_of, mut value) = (vec![u32::MAX; total], vec![0.0; total]);
        // Columns come in order; `last` becomes the entry being summed.
        last.fill(u32::MAX);
        for (column, groups) in groups.iter().enumerate() {
            for group in groups {
                group.products(shape, |place, x| {
                    let mut at = last[place];
                    if at == u32::MAX {
                        at = starts[place];
                    } else if column_of[at as usize] != column as u32 {
                        at += 1;
                    }
                    last[place] = at;
                    column_of[at as usize] = column as u32;
                    value[at as usize] += x;
                });
            }
        }
        let met = |place: &usize| starts[*place] < starts[place + 1];
        let index: Vec<u32> = (0..shape.packed_len).filter(met).map(|p| p as u32).collect();
        let mut first: Vec<u32> = index.iter().map(|p| starts[*p as usize]).collect();
        first.push(total as u32);
        Scatter { index, starts: first, column: column_of, value, groups }
    }

    pub fn is_empty(&self) -> bool {
        self.value.is_empty()
    }

    /// Columns.
    pub fn columns(&self) -> usize {
        self.groups.len()
    }

    fn entries(&self, at: usize) -> impl Iterator<Item = (usize, f64)> {
        let range = self.starts[at] as usize..self.starts[at + 1] as usize;
        let columns = self.column[range.clone()].iter();
        columns.zip(&self.value[range]).map(|(c, x)| (*c as usize, *x))
    }

    /// Subtracts the weighted sum of the columns from a packed matrix.
    pub fn subtract(&self, weights: &[f64], target: &mut [f64]) {
        let middle = self.index.len() / 2;
        let split = self.index.get(middle).map_or(target.len(), |i| *i as usize);
        let (low, high) = target.split_at_mut(split);
        let run = |range: std::ops::Range<usize>, part: &mut [f64], first: usize| {
            for at in range {
                let sum: f64 = self.entries(at).map(|(c, x)| weights[c] * x).sum();
                part[self.index[at] as usize - first] -= sum;
            }
        };
        let end = self.index.len();
        if self.value.len() < SHARED {
            run(0..middle, low, 0);
            run(middle..end, high, split);
        } else {
            join(|| run(0..middle, low, 0), || run(middle..end, high, split));
        }
    }

    /// Product of each column with a packed vector.
    pub fn products(&self, u: &[f64]) -> Vec<f64> {
        let run = |range: std::ops::Range<usize>, sums: &mut [f64]| {
            for at in range {
                let x = u[self.index[at] as usize];
                self.entries(at).for_each(|(column, value)| sums[column] += x * value);
            }
        };
        let middle = self.index.len() / 2;
        let mut low = vec![0.0; self.columns()];
        let mut high = low.clone();
        let end = self.index.len();
        if self.value.len() < SHARED {
            run(0..middle, &mut low);
            run(middle..end, &mut high);
        } else {
            join(|| run(0..middle, &mut low), || run(middle..end, &mut high));
        }
        low.iter().zip(&high).map(|(a, b)| a + b).collect()
    }

    /// By column, the sum over groups of (S w)^2, w by position.
    pub fn squares(&self, w: &[f64]) -> Vec<f64> {
        let square = |group: &Apart| group.times(w, 1)[0].powi(2);
        self.groups.iter().map(|groups| groups.iter().map(square).sum()).collect()
    }
}
