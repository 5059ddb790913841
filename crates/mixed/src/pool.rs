//! Groups that share a random-effect design, stored as one set of cross-products.

use crate::moments::Moments;
use crate::shape::Shape;
use crate::small::dot;
use faer::linalg::matmul::matmul;
use faer::{Accum, MatMut, MatRef, Par};
use std::ops::Range;

/// One group's cross-products with the columns of the reduced system that it meets.
#[derive(Debug, Clone)]
pub(crate) struct GroupCross {
    /// Z_g' W Z_g, k x k.
    pub zz: Vec<f64>,
    /// Columns met, ascending, the response last.
    pub columns: Vec<u32>,
    /// S_g = Z_g' W R, k values per column.
    pub cross: Vec<f64>,
}

impl GroupCross {
    fn at(&self, place: usize, k: usize) -> &[f64] {
        &self.cross[place * k..(place + 1) * k]
    }

    /// S_g w for a vector over all columns of the reduced system.
    pub fn times(&self, w: &[f64], k: usize) -> Vec<f64> {
        let mut out = vec![0.0; k];
        for (place, column) in self.columns.iter().enumerate() {
            let x = w[*column as usize];
            for (o, s) in out.iter_mut().zip(self.at(place, k)) {
                *o += s * x;
            }
        }
        out
    }
}

/// Groups of bit-equal Z_g' W Z_g.
#[derive(Debug, Clone)]
pub(crate) struct Pool {
    pub zz: Vec<f64>,
    pub count: usize,
    cross: Cross,
}

#[derive(Debug, Clone)]
enum Cross {
    /// First of the columns of sums, one for each pair a <= b of effects: the
    /// sum over groups of S_a S_a' (a = b) or S_a S_b' + S_b S_a' (a < b).
    Summed(usize),
    /// Groups kept apart, because their columns are few.
    Apart(Vec<Apart>),
}

/// A group on its own: columns by ascending position, k values each.
#[derive(Debug, Clone)]
struct Apart {
    positions: Vec<u32>,
    cross: Vec<f64>,
}

/// All pools, with their summed cross-products side by side.
#[derive(Debug, Clone)]
pub(crate) struct Pools {
    list: Vec<Pool>,
    /// Packed matrices, one after the other.
    sums: Vec<f64>,
    /// Number of them.
    columns: usize,
}

/// All groups with rows, in order of level, without the columns left out of the fit.
pub(crate) fn groups(moments: &Moments, kept: &[usize]) -> (Vec<GroupCross>, Vec<Option<usize>>) {
    let k = moments.layout.k();
    let q = moments.layout.q;
    let p = moments.layout.p();
    let mut groups = Vec::new();
    let mut of_level = vec![None; moments.groups.len()];
    for (level, slot) in moments.groups.iter().enumerate() {
        let Some(group) = slot else { continue };
        let mut columns = group.columns.clone();
        let mut cross = group.sparse.clone();
        for (at, j) in kept.iter().chain(std::iter::once(&p)).enumerate() {
            columns.push((q + at) as u32);
            cross.extend_from_slice(&group.dense[j * k..(j + 1) * k]);
        }
        of_level[level] = Some(groups.len());
        groups.push(GroupCross { zz: group.zz.clone(), columns, cross });
    }
    (groups, of_level)
}

/// Pools groups by design; `pooling` off keeps each group apart.
pub(crate) fn pools(groups: &[GroupCross], k: usize, shape: &Shape, pooling: bool) -> Pools {
    let mut order: Vec<usize> = (0..groups.len()).collect();
    let bits = |g: usize| groups[g].zz.iter().map(|x| x.to_bits());
    if pooling {
        order.sort_by(|a, b| bits(*a).cmp(bits(*b)));
    }
    let same = |a: &usize, b: &usize| pooling && bits(*a).eq(bits(*b));
    let pairs = k * (k + 1) / 2;
    let mut out = Pools { list: Vec::new(), sums: Vec::new(), columns: 0 };
    for members in order.chunk_by(same) {
        let work: usize = members.iter().map(|g| groups[*g].columns.len().pow(2) / 2).sum();
        // A summed pool costs its packed length per evaluation, the groups apart `work`.
        let cross = if members.len() > 1 && work >= shape.packed_len {
            let first = out.columns;
            out.columns += pairs;
            out.sums.resize(out.columns * shape.packed_len, 0.0);
            let sums = &mut out.sums[first * shape.packed_len..];
            for g in members {
                Apart::new(&groups[*g], k, shape).add_to(sums, k, shape);
            }
            Cross::Summed(first)
        } else {
            Cross::Apart(members.iter().map(|g| Apart::new(&groups[*g], k, shape)).collect())
        };
        out.list.push(Pool { zz: groups[members[0]].zz.clone(), count: members.len(), cross });
    }
    out
}

impl Apart {
    fn new(group: &GroupCross, k: usize, shape: &Shape) -> Apart {
        let mut order: Vec<usize> = (0..group.columns.len()).collect();
        let place = |at: &usize| shape.place[group.columns[*at] as usize];
        if !shape.blocks().is_empty() {
            order.sort_unstable_by_key(place);
        }
        Apart {
            positions: order.iter().map(|at| place(at) as u32).collect(),
            cross: order.iter().flat_map(|at| group.at(*at, k)).copied().collect(),
        }
    }

    fn at(&self, place: usize, k: usize) -> &[f64] {
        &self.cross[place * k..(place + 1) * k]
    }

    /// Calls `f` for each column met: its place in the group and, in a packed
    /// matrix, where row `position` of the column lies: at `position` plus the
    /// first shift for rows of the column's own part (the places of the first
    /// range), plus the second for rows of the border (those of the second).
    fn columns(&self, shape: &Shape, mut f: impl FnMut(usize, [(Range<usize>, usize); 2])) {
        let border = shape.border().start;
        let outside = self.positions.partition_point(|p| (*p as usize) < border);
        for (j, position) in self.positions.iter().enumerate() {
            let position = *position as usize;
            let part = &shape.parts[shape.part_of[position] as usize];
            let diagonal = part.diagonal(position - part.start);
            // Shifts may be negative; they wrap, and so does adding them.
            let own = diagonal.wrapping_sub(position);
            let edge = (diagonal + part.start + part.size - position).wrapping_sub(border);
            if position >= border {
                f(j, [(j..self.positions.len(), own), (0..0, 0)]);
            } else {
                f(j, [(j..outside, own), (outside..self.positions.len(), edge)]);
            }
        }
    }

    fn add_to(&self, sums: &mut [f64], k: usize, shape: &Shape) {
        let length = shape.packed_len;
        self.columns(shape, |j, ranges| {
            let s = self.at(j, k);
            for (places, shift) in ranges {
                for i in places {
                    let at = shift.wrapping_add(self.positions[i] as usize);
                    let r = self.at(i, k);
                    for (n, (a, b)) in pairs(k).enumerate() {
                        sums[n * length + at] +=
                            if a == b { r[a] * s[a] } else { r[a] * s[b] + r[b] * s[a] };
                    }
                }
            }
        });
    }

    /// Subtracts S' D S.
    fn subtract(&self, d: &[f64], k: usize, shape: &Shape, target: &mut [f64]) {
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
    fn trace(&self, u: &[f64], k: usize, shape: &Shape, out: &mut [f64]) {
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
    fn times(&self, w: &[f64], k: usize) -> Vec<f64> {
        let mut out = vec![0.0; k];
        for (position, s) in self.positions.iter().zip(self.cross.chunks_exact(k)) {
            for (o, s) in out.iter_mut().zip(s) {
                *o += s * w[*position as usize];
            }
        }
        out
    }
}

impl Pools {
    pub fn len(&self) -> usize {
        self.list.len()
    }

    pub fn iter(&self) -> impl Iterator<Item = &Pool> {
        self.list.iter()
    }

    fn summed(&self) -> MatRef<'_, f64> {
        let length = self.sums.len().checked_div(self.columns).unwrap_or(0);
        MatRef::from_column_major_slice(&self.sums, length, self.columns)
    }

    /// Subtracts sum_g S_g' D S_g, D by pool, from a packed matrix.
    pub fn subtract(&self, d: &[Vec<f64>], k: usize, shape: &Shape, target: &mut [f64]) {
        let mut weights = Vec::with_capacity(self.columns);
        for (pool, d) in self.list.iter().zip(d) {
            match &pool.cross {
                Cross::Summed(_) => weights.extend(pairs(k).map(|(a, b)| d[a * k + b])),
                Cross::Apart(groups) => {
                    groups.iter().for_each(|g| g.subtract(d, k, shape, target));
                }
            }
        }
        if self.columns > 0 {
            let rows = target.len();
            matmul(
                MatMut::from_column_major_slice_mut(target, rows, 1),
                Accum::Add,
                self.summed(),
                MatRef::from_column_major_slice(&weights, self.columns, 1),
                -1.0,
                Par::Seq,
            );
        }
    }

    /// By pool, the symmetric k x k sums over groups of S_a' U S_b and of
    /// (S_a w)(S_b w). U is packed with doubled off-diagonal entries and 0 in
    /// the response's row; `ww` is w w' likewise, w by position.
    pub fn contract(
        &self,
        k: usize,
        shape: &Shape,
        u: &[f64],
        ww: &[f64],
        w: &[f64],
    ) -> Vec<(Vec<f64>, Vec<f64>)> {
        let mut sums = vec![0.0; 2 * self.columns];
        if self.columns > 0 {
            let right: Vec<f64> = [u, ww].concat();
            matmul(
                MatMut::from_column_major_slice_mut(&mut sums, self.columns, 2),
                Accum::Replace,
                self.summed().transpose(),
                MatRef::from_column_major_slice(&right, u.len(), 2),
                1.0,
                Par::Seq,
            );
        }
        let (traces, squares) = sums.split_at(self.columns);
        self.list
            .iter()
            .map(|pool| {
                let (mut trace, mut square) = (vec![0.0; k * k], vec![0.0; k * k]);
                match &pool.cross {
                    Cross::Summed(first) => {
                        for (n, (a, b)) in pairs(k).enumerate() {
                            let half = if a == b { 1.0 } else { 0.5 };
                            for (i, j) in [(a, b), (b, a)] {
                                trace[i * k + j] = half * traces[first + n];
                                square[i * k + j] = half * squares[first + n];
                            }
                        }
                    }
                    Cross::Apart(groups) => {
                        for group in groups {
                            group.trace(u, k, shape, &mut trace);
                            let sw = group.times(w, k);
                            for a in 0..k {
                                for b in 0..k {
                                    square[a * k + b] += sw[a] * sw[b];
                                }
                            }
                        }
                    }
                }
                (trace, square)
            })
            .collect()
    }
}

fn pairs(k: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..k).flat_map(move |a| (a..k).map(move |b| (a, b)))
}
