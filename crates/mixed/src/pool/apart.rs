//! A group of the eliminated factor kept on its own.

use crate::group_list::GroupList;
use crate::moments::Group;
use crate::shape::Shape;
use crate::small::dot;
use std::ops::Range;

/// A group on its own: columns by ascending position, k values each.
#[derive(Debug, Clone)]
pub(super) struct Apart {
    pub positions: Vec<u32>,
    cross: Vec<f64>,
    /// First place in the border.
    outside: usize,
    /// Where each column came from.
    pub source: Vec<Source>,
}

/// Where a group keeps the values of a column.
#[derive(Debug, Clone, Copy)]
pub(super) enum Source {
    /// Place among its sparse columns.
    Sparse(usize),
    /// Column of [X | y].
    Dense(usize),
}

impl Apart {
    pub fn new(groups: &GroupList, group: &Group<'_>, shape: &Shape) -> Apart {
        let (k, stride) = (groups.source.k(), groups.source.stride());
        let sparse = group.columns.iter().enumerate();
        let sparse = sparse.map(|(at, column)| (*column as usize, Source::Sparse(at)));
        let dense = groups.dense().enumerate();
        let dense = dense.map(|(at, j)| (groups.q + at, Source::Dense(j)));
        let mut cells: Vec<(u32, Source)> =
            sparse.chain(dense).map(|(column, s)| (shape.place[column] as u32, s)).collect();
        cells.sort_unstable_by_key(|(position, _)| *position);
        let mut cross = Vec::with_capacity(cells.len() * k);
        for (_, source) in &cells {
            match source {
                Source::Sparse(at) => cross.extend_from_slice(&group.sparse[at * k..(at + 1) * k]),
                Source::Dense(j) => cross.extend((0..k).map(|a| group.dense[a * stride + j])),
            }
        }
        let (positions, source): (Vec<u32>, _) = cells.into_iter().unzip();
        let border = shape.border().start;
        let outside = positions.partition_point(|p| (*p as usize) < border);
        Apart { positions, cross, outside, source }
    }

    fn at(&self, place: usize, k: usize) -> &[f64] {
        &self.cross[place * k..(place + 1) * k]
    }

    /// Where the rows from a place of the group on lie in the column of that
    /// place in a packed matrix: row `position` at `position` plus the first
    /// shift for rows of the column's own part (the places of the first range),
    /// plus the second for rows of the border (those of the second).
    pub fn column(&self, shape: &Shape, j: usize) -> [(Range<usize>, usize); 2] {
        let border = shape.border().start;
        let position = self.positions[j] as usize;
        let part = &shape.parts[shape.part_of[position] as usize];
        let diagonal = part.diagonal(position - part.start);
        // Shifts may be negative; they wrap, and so does adding them.
        let own = diagonal.wrapping_sub(position);
        let edge = (diagonal + part.start + part.size - position).wrapping_sub(border);
        if position >= border {
            [(j..self.positions.len(), own), (0..0, 0)]
        } else {
            [(j..self.outside, own), (self.outside..self.positions.len(), edge)]
        }
    }

    /// Calls `f` for each column met, with its place in the group.
    pub fn columns(&self, shape: &Shape, mut f: impl FnMut(usize, [(Range<usize>, usize); 2])) {
        (0..self.positions.len()).for_each(|j| f(j, self.column(shape, j)));
    }

    /// Calls `f` with the packed place and the product of a column and each
    /// later one, for a group with one effect.
    pub fn products(&self, shape: &Shape, j: usize, mut f: impl FnMut(usize, f64)) {
        for (places, shift) in self.column(shape, j) {
            for i in places {
                let at = shift.wrapping_add(self.positions[i] as usize);
                f(at, self.cross[i] * self.cross[j]);
            }
        }
    }

    /// Subtracts S' D S.
    pub fn subtract(&self, d: &[f64], k: usize, shape: &Shape, target: &mut [f64]) {
        let mut ds = vec![0.0; k];
        self.columns(shape, |j, ranges| {
            for (a, x) in ds.iter_mut().enumerate() {
                *x = dot(&d[a * k..(a + 1) * k], self.at(j, k));
            }
            for (places, shift) in ranges {
                if k == 1 {
                    let cells = self.positions[places.clone()].iter().zip(&self.cross[places]);
                    for (position, s) in cells {
                        target[shift.wrapping_add(*position as usize)] -= ds[0] * s;
                    }
                } else {
                    for i in places {
                        let at = shift.wrapping_add(self.positions[i] as usize);
                        target[at] -= dot(&ds, self.at(i, k));
                    }
                }
            }
        });
    }

    /// Adds the k x k sum of S_a' U S_b, for a packed U with doubled
    /// off-diagonal entries.
    pub fn trace(&self, u: &[f64], k: usize, shape: &Shape, out: &mut [f64]) {
        let mut us = vec![0.0; k];
        self.columns(shape, |j, ranges| {
            us.fill(0.0);
            for (places, shift) in ranges {
                if k == 1 {
                    let cells = self.positions[places.clone()].iter().zip(&self.cross[places]);
                    us[0] +=
                        cells.map(|(p, s)| u[shift.wrapping_add(*p as usize)] * s).sum::<f64>();
                } else {
                    for i in places {
                        let x = u[shift.wrapping_add(self.positions[i] as usize)];
                        for (o, s) in us.iter_mut().zip(self.at(i, k)) {
                            *o += x * s;
                        }
                    }
                }
            }
            // Doubled entries stand for (i, j) and (j, i): half to each order.
            let s = self.at(j, k);
            for a in 0..k {
                for b in 0..k {
                    out[a * k + b] += 0.5 * (us[a] * s[b] + us[b] * s[a]);
                }
            }
        });
    }

    /// S w for a vector by position.
    pub fn times(&self, w: &[f64], k: usize) -> Vec<f64> {
        let mut out = vec![0.0; k];
        for (position, s) in self.positions.iter().zip(self.cross.chunks_exact(k)) {
            for (o, s) in out.iter_mut().zip(s) {
                *o += s * w[*position as usize];
            }
        }
        out
    }
}
