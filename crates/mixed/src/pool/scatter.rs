//! Sums over pools of few groups as a sparse matrix: packed places by pools.

use super::apart::Apart;
use crate::shape::Shape;
use crate::threads::{join, map};

/// Entries from which a second thread takes half of them; the halves are the
/// same without it.
const SHARED: usize = 100_000;

/// Cross-products S S' of groups with one effect, by packed place and pool.
#[derive(Debug, Clone, Default)]
pub(super) struct Scatter {
    low: Half,
    high: Half,
    /// The groups of each column (pool).
    groups: Vec<Vec<Apart>>,
}

/// The entries of some columns of the packed matrix.
#[derive(Debug, Clone, Default)]
struct Half {
    /// First packed place.
    first: usize,
    /// Packed places met, ascending.
    index: Vec<u32>,
    /// End of the entries of each place.
    ends: Vec<u32>,
    /// Column (pool) of each entry.
    column: Vec<u32>,
    /// Sum of each entry.
    value: Vec<f64>,
}

/// A place of a group: column (pool), number within it, place.
type Meeting = (u32, u32, u32);

impl Scatter {
    /// Sums of the groups of each column.
    pub fn new(groups: Vec<Vec<Apart>>, shape: &Shape) -> Scatter {
        // Where groups meet each position, in order of column.
        let mut met: Vec<Vec<Meeting>> = vec![Vec::new(); shape.width()];
        let mut work = vec![0; shape.width()];
        for (c, groups) in groups.iter().enumerate() {
            for (g, group) in groups.iter().enumerate() {
                for (at, position) in group.positions.iter().enumerate() {
                    met[*position as usize].push((c as u32, g as u32, at as u32));
                    work[*position as usize] += group.positions.len() - at;
                }
            }
        }
        let total: usize = work.iter().sum();
        let mut sum = 0;
        let middle = work.iter().take_while(|w| {
            sum += **w;
            2 * sum <= total
        });
        let middle = middle.count();
        let build = |half: usize| {
            let positions = if half == 0 { 0..middle } else { middle..met.len() };
            let most = work[positions.clone()].iter().sum();
            Half::new(&groups, positions, (&met, most), shape)
        };
        let mut halves = map(2, build).into_iter();
        let (low, high) = (halves.next().unwrap_or_default(), halves.next().unwrap_or_default());
        Scatter { low, high, groups }
    }

    pub fn is_empty(&self) -> bool {
        self.groups.is_empty()
    }

    /// Columns.
    pub fn columns(&self) -> usize {
        self.groups.len()
    }

    /// Runs both halves, on two threads if there is enough to do.
    fn share(&self, a: impl FnOnce() + Send, b: impl FnOnce() + Send) {
        if self.is_shared() {
            join(a, b);
        } else {
            a();
            b();
        }
    }

    /// Whether there is enough to do for two threads.
    pub fn is_shared(&self) -> bool {
        self.low.value.len() + self.high.value.len() >= SHARED
    }

    /// Subtracts the weighted sum of the columns from a packed matrix.
    pub fn subtract(&self, weights: &[f64], target: &mut [f64]) {
        let (low, high) = target.split_at_mut(self.high.first);
        self.share(|| self.low.subtract(weights, low), || self.high.subtract(weights, high));
    }

    /// Product of each column with a packed vector.
    pub fn products(&self, u: &[f64]) -> Vec<f64> {
        let mut low = vec![0.0; self.columns()];
        let mut high = low.clone();
        self.share(|| self.low.products(u, &mut low), || self.high.products(u, &mut high));
        low.iter().zip(&high).map(|(a, b)| a + b).collect()
    }

    /// By column, the sum over groups of (S w)^2, w by position.
    pub fn squares(&self, w: &[f64]) -> Vec<f64> {
        let square = |group: &Apart| group.times(w, 1)[0].powi(2);
        self.groups.iter().map(|groups| groups.iter().map(square).sum()).collect()
    }
}

impl Half {
    /// Position by position, so that what is being sorted stays in the cache;
    /// there are at `most` so many entries.
    fn new(
        groups: &[Vec<Apart>],
        positions: std::ops::Range<usize>,
        (met, most): (&[Vec<Meeting>], usize),
        shape: &Shape,
    ) -> Half {
        let mut out = Half::default();
        out.column.reserve(most);
        out.value.reserve(most);
        let mut starts: Vec<u32> = Vec::new();
        let mut sorted: Vec<(u32, f64)> = Vec::new();
        for position in positions.clone() {
            let part = &shape.parts[shape.part_of[position] as usize];
            let column = position - part.start;
            let (first, length) = (part.diagonal(column), part.height - column);
            if position == positions.start {
                out.first = first;
            }
            let each = |f: &mut dyn FnMut(usize, u32, f64)| {
                for (c, g, at) in &met[position] {
                    let group = &groups[*c as usize][*g as usize];
                    group.products(shape, *at as usize, |place, x| f(place - first, *c, x));
                }
            };
            starts.clear();
            starts.resize(length + 1, 0);
            each(&mut |place, _, _| starts[place + 1] += 1);
            for i in 0..length {
                starts[i + 1] += starts[i];
            }
            sorted.clear();
            sorted.resize(starts[length] as usize, (0, 0.0));
            each(&mut |place, c, x| {
                sorted[starts[place] as usize] = (c, x);
                starts[place] += 1;
            });
            // `starts` now holds ends.
            let mut begin = 0;
            for (place, end) in starts[..length].iter().enumerate() {
                let mine = &sorted[begin..*end as usize];
                begin = *end as usize;
                if mine.is_empty() {
                    continue;
                }
                // Columns come in order; those that repeat are joined.
                for same in mine.chunk_by(|a, b| a.0 == b.0) {
                    out.column.push(same[0].0);
                    out.value.push(same.iter().map(|(_, x)| x).sum());
                }
                out.index.push((first + place) as u32);
                out.ends.push(out.value.len() as u32);
            }
        }
        out
    }

    /// Calls `f` with each place and its columns and sums.
    fn each(&self, mut f: impl FnMut(usize, &[u32], &[f64])) {
        let mut begin = 0;
        for (place, end) in self.index.iter().zip(&self.ends) {
            let range = begin..*end as usize;
            begin = range.end;
            f(*place as usize, &self.column[range.clone()], &self.value[range]);
        }
    }

    fn subtract(&self, weights: &[f64], target: &mut [f64]) {
        self.each(|place, columns, values| {
            let terms = columns.iter().zip(values).map(|(c, x)| weights[*c as usize] * x);
            target[place - self.first] -= terms.sum::<f64>();
        });
    }

    fn products(&self, u: &[f64], sums: &mut [f64]) {
        self.each(|place, columns, values| {
            for (c, x) in columns.iter().zip(values) {
                sums[*c as usize] += u[place] * x;
            }
        });
    }
}
