//! Groups that share a random-effect design, stored as one set of cross-products.

mod apart;
mod scatter;
mod stripes;

use crate::gram::Gram;
use crate::group_list::GroupList;
use crate::moments::Group;
use crate::pooled::PooledGroups;
use crate::scratch::Scratch;
use crate::shape::Shape;
use crate::threads;
use apart::{Apart, Source};
use faer::linalg::matmul::matmul;
use faer::{Accum, MatMut, MatRef, Par};
use scatter::Scatter;
use stripes::Stripes;

/// Most products that are worth laying out as a sparse matrix, and the longest
/// packed matrix for it.
const SCATTER: usize = 1 << 23;

/// Entries of all sums from which their products are spread over threads.
const SHARED: usize = 100_000;

/// Groups of bit-equal Z_g' W Z_g.
#[derive(Debug, Clone)]
pub(crate) struct Pool {
    pub zz: Vec<f64>,
    pub count: usize,
    cross: Cross,
}

#[derive(Debug, Clone)]
enum Cross {
    /// First of the sums, one for each pair a <= b of effects: the sum over
    /// groups of S_a S_a' (a = b) or S_a S_b' + S_b S_a' (a < b).
    Summed(usize),
    /// Column of the sparse sums: groups with one effect whose columns are few.
    Scattered(usize),
    /// Groups kept apart.
    Apart(Vec<Apart>),
}

/// All pools, with their summed cross-products side by side.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pools {
    list: Vec<Pool>,
    /// Packed matrices of pools of many groups.
    sums: Vec<Stripes>,
    /// Sums of other pools.
    scatter: Scatter,
}

/// Pools groups by design; `pooling` off keeps each group apart.
pub(crate) fn pools(groups: &GroupList, shape: &Shape, pooling: bool) -> Pools {
    if let Some(pooled) = &groups.pooled {
        return of_pooled(pooled, groups, shape);
    }
    let k = groups.source.k();
    let mut order: Vec<Group<'_>> = groups.source.iter().map(|(_, g)| g).collect();
    let bits = |g: &Group<'_>| -> Option<u64> { (k == 1).then(|| g.zz[0].to_bits()) };
    let all_bits = |a: &Group<'_>, b: &Group<'_>| {
        bits(a).cmp(&bits(b)).then_with(|| {
            let (a, b) = (a.zz.iter(), b.zz.iter());
            a.map(|x| x.to_bits()).cmp(b.map(|x| x.to_bits()))
        })
    };
    if pooling {
        // Groups that meet the same columns stand together within a pool.
        order.sort_by(|a, b| all_bits(a, b).then_with(|| a.columns.cmp(b.columns)));
    }
    let same = |a: &Group<'_>, b: &Group<'_>| pooling && all_bits(a, b).is_eq();
    let dense = groups.dense().count();
    let mut out = Pools::default();
    let work = |members: &[Group<'_>]| -> usize {
        members.iter().map(|g| (g.columns.len() + dense).pow(2) / 2).sum()
    };
    // A summed pool costs its packed length per evaluation, the groups apart `work`.
    let summed = |m: &[Group<'_>]| m.len() > 1 && work(m) >= shape.packed_len;
    let few: usize = order.chunk_by(same).filter(|m| !summed(m)).map(work).sum();
    let scattering = k == 1 && few <= SCATTER && shape.packed_len <= 2 * SCATTER;
    let mut scattered = Vec::new();
    for members in order.chunk_by(same) {
        let apart = || members.iter().map(|g| Apart::new(groups, g, shape)).collect();
        let cross = if summed(members) {
            let mut sums = vec![0.0; k * (k + 1) / 2 * shape.packed_len];
            for run in members.chunk_by(|a, b| a.columns == b.columns) {
                for part in run.chunks(RUN) {
                    add_run(groups, part, shape, &mut sums);
                }
            }
            let first = out.sums.len();
            out.sums.extend(sums.chunks_exact(shape.packed_len).map(Stripes::of));
            Cross::Summed(first)
        } else if scattering {
            scattered.push(apart());
            Cross::Scattered(scattered.len() - 1)
        } else {
            Cross::Apart(apart())
        };
        out.list.push(Pool { zz: members[0].zz.to_vec(), count: members.len(), cross });
    }
    if scattering {
        out.scatter = Scatter::new(scattered, shape);
    }
    out
}

/// Pools whose cross-products came summed.
fn of_pooled(pooled: &PooledGroups, groups: &GroupList, shape: &Shape) -> Pools {
    let mut out = Pools::default();
    for (place, pool) in pooled.pools.iter().enumerate() {
        let cells = pool
            .cross
            .iter()
            .filter_map(|((a, b), x)| Some(((groups.place(*a)?, groups.place(*b)?), *x)));
        let packed = shape.pack(&Gram::of_cells(cells, groups.q, shape.width()));
        out.sums.push(Stripes::of(&packed));
        out.list.push(Pool {
            zz: vec![pool.zz],
            count: pool.count as usize,
            cross: Cross::Summed(place),
        });
    }
    out
}

/// Most groups in one matrix product.
const RUN: usize = 256;

/// Adds the products of groups that meet the same columns to a pool's sums.
fn add_run(groups: &GroupList, run: &[Group<'_>], shape: &Shape, sums: &mut [f64]) {
    let k = groups.source.k();
    let first = Apart::new(groups, &run[0], shape);
    let width = first.positions.len();
    // By effect, a width x groups matrix.
    let mut values = vec![vec![0.0; width * run.len()]; k];
    for (at, group) in run.iter().enumerate() {
        let lines = values.iter_mut().map(|v| &mut v[at * width..(at + 1) * width]);
        for (a, line) in lines.enumerate() {
            for (to, from) in line.iter_mut().zip(&first.source) {
                *to = match from {
                    Source::Sparse(place) => group.sparse[place * k + a],
                    Source::Dense(column) => group.dense[a * groups.source.stride() + column],
                };
            }
        }
    }
    let view = |a: usize| MatRef::from_column_major_slice(&values[a], width, run.len());
    let mut product = vec![0.0; width * width];
    for (n, (a, b)) in pairs(k).enumerate() {
        matmul(
            MatMut::from_column_major_slice_mut(&mut product, width, width),
            Accum::Replace,
            view(a),
            view(b).transpose(),
            1.0,
            Par::Seq,
        );
        let target = &mut sums[n * shape.packed_len..];
        first.columns(shape, |j, ranges| {
            for (places, shift) in ranges {
                for i in places {
                    let x = product[j * width + i];
                    let both = if a == b { x } else { x + product[i * width + j] };
                    target[shift.wrapping_add(first.positions[i] as usize)] += both;
                }
            }
        });
    }
}

impl Pools {
    pub fn len(&self) -> usize {
        self.list.len()
    }

    pub fn iter(&self) -> impl Iterator<Item = &Pool> {
        self.list.iter()
    }

    /// Whether there are pools that are summed, sparse, and apart.
    #[cfg(test)]
    pub fn kinds(&self) -> (bool, bool, bool) {
        let any = |f: fn(&Cross) -> bool| self.list.iter().any(|p| f(&p.cross));
        (
            any(|c| matches!(c, Cross::Summed(_))),
            any(|c| matches!(c, Cross::Scattered(_))),
            any(|c| matches!(c, Cross::Apart(_))),
        )
    }

    /// Whether two threads share the sparse sums.
    #[cfg(test)]
    pub fn shared(&self) -> bool {
        self.scatter.is_shared()
    }

    /// Subtracts sum_g S_g' D S_g, D by pool, from a packed matrix.
    pub fn subtract(&self, d: &[Vec<f64>], k: usize, shape: &Shape, target: &mut [f64]) {
        let mut scattered = Vec::with_capacity(self.scatter.columns());
        for (pool, d) in self.list.iter().zip(d) {
            match &pool.cross {
                Cross::Summed(first) => {
                    for (sum, (a, b)) in self.sums[*first..].iter().zip(pairs(k)) {
                        sum.add_to(target, -d[a * k + b]);
                    }
                }
                Cross::Scattered(_) => scattered.push(d[0]),
                Cross::Apart(groups) => {
                    groups.iter().for_each(|g| g.subtract(d, k, shape, target));
                }
            }
        }
        if !self.scatter.is_empty() {
            self.scatter.subtract(&scattered, target);
        }
    }

    /// By pool, the symmetric k x k sums over groups of S_a' U S_b and of
    /// (S_a w)(S_b w). U is packed with doubled off-diagonal entries and 0 in
    /// the response's row; w is by position.
    pub fn contract(
        &self,
        k: usize,
        shape: &Shape,
        u: &[f64],
        w: &[f64],
        scratch: &Scratch,
    ) -> Vec<(Vec<f64>, Vec<f64>)> {
        let scattered = if self.scatter.is_empty() {
            Default::default()
        } else {
            (self.scatter.products(u), self.scatter.squares(w))
        };
        let mut sums = Vec::new();
        if !self.sums.is_empty() {
            let mut square = scratch.take(u.len());
            shape.doubled_square(w, &mut square);
            let square: &[f64] = &square;
            let products = |sum: &Stripes| (sum.product(u), sum.product(square));
            let length: usize = self.sums.iter().map(Stripes::len).sum();
            sums = if length < SHARED {
                self.sums.iter().map(products).collect()
            } else {
                threads::map(self.sums.len(), |at| products(&self.sums[at]))
            };
        }
        self.list
            .iter()
            .map(|pool| {
                let (mut trace, mut square) = (vec![0.0; k * k], vec![0.0; k * k]);
                match &pool.cross {
                    Cross::Summed(first) => {
                        for (n, (a, b)) in pairs(k).enumerate() {
                            let half = if a == b { 1.0 } else { 0.5 };
                            for (i, j) in [(a, b), (b, a)] {
                                trace[i * k + j] = half * sums[first + n].0;
                                square[i * k + j] = half * sums[first + n].1;
                            }
                        }
                    }
                    Cross::Scattered(column) => {
                        trace[0] = scattered.0[*column];
                        square[0] = scattered.1[*column];
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
