//! Groups that share a random-effect design, stored as one set of cross-products.

use crate::matrix::Matrix;
use crate::moments::Moments;
use crate::small::dot;
use std::collections::BTreeMap;

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
    /// For each pair a <= b of effects, sum over groups of S_a S_a' (a = b) or
    /// S_a S_b' + S_b S_a' (a < b).
    Dense(Vec<Matrix>),
    /// Groups kept apart, because their columns are few.
    Sparse(Vec<usize>),
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
pub(crate) fn pools(groups: &[GroupCross], k: usize, width: usize, pooling: bool) -> Vec<Pool> {
    let mut by_design: BTreeMap<(Vec<u64>, usize), Vec<usize>> = BTreeMap::new();
    for (g, group) in groups.iter().enumerate() {
        let bits = group.zz.iter().map(|x| x.to_bits()).collect();
        let apart = if pooling { 0 } else { g };
        by_design.entry((bits, apart)).or_default().push(g);
    }
    by_design
        .into_values()
        .map(|members| {
            let work: usize = members.iter().map(|g| groups[*g].columns.len().pow(2)).sum();
            // A dense sum costs width^2 per evaluation, the groups apart `work`.
            let cross = if members.len() > 1 && work >= width * width {
                Cross::Dense(dense_sums(groups, &members, k, width))
            } else {
                Cross::Sparse(members.clone())
            };
            Pool { zz: groups[members[0]].zz.clone(), count: members.len(), cross }
        })
        .collect()
}

fn dense_sums(groups: &[GroupCross], members: &[usize], k: usize, width: usize) -> Vec<Matrix> {
    let mut sums = Vec::with_capacity(k * (k + 1) / 2);
    for a in 0..k {
        for b in a..k {
            let mut sum = Matrix::zeros(width, width);
            for g in members {
                let group = &groups[*g];
                for (i, row) in group.columns.iter().enumerate() {
                    let (ia, ib) = (group.at(i, k)[a], group.at(i, k)[b]);
                    let line = sum.row_mut(*row as usize);
                    for (j, column) in group.columns[..=i].iter().enumerate() {
                        let s = group.at(j, k);
                        line[*column as usize] +=
                            if a == b { ia * s[a] } else { ia * s[b] + ib * s[a] };
                    }
                }
            }
            sum.mirror();
            sums.push(sum);
        }
    }
    sums
}

impl Pool {
    /// Subtracts sum_g S_g' D S_g from the lower triangle of `target`.
    pub fn subtract(&self, d: &[f64], k: usize, groups: &[GroupCross], target: &mut Matrix) {
        match &self.cross {
            Cross::Dense(sums) => {
                for ((a, b), sum) in pairs(k).zip(sums) {
                    let weight = d[a * k + b];
                    if weight != 0.0 {
                        for i in 0..target.n_rows() {
                            let line = &mut target.row_mut(i)[..=i];
                            for (t, s) in line.iter_mut().zip(sum.row(i)) {
                                *t -= weight * s;
                            }
                        }
                    }
                }
            }
            Cross::Sparse(members) => {
                let mut ds = vec![0.0; k];
                for g in members {
                    let group = &groups[*g];
                    for (i, row) in group.columns.iter().enumerate() {
                        for (a, x) in ds.iter_mut().enumerate() {
                            *x = dot(&d[a * k..(a + 1) * k], group.at(i, k));
                        }
                        let line = target.row_mut(*row as usize);
                        for (j, column) in group.columns[..=i].iter().enumerate() {
                            line[*column as usize] -= dot(&ds, group.at(j, k));
                        }
                    }
                }
            }
        }
    }

    /// The symmetric k x k sums over groups of S_a' U S_b (U over the columns
    /// without the response) and of (S_a w)(S_b w).
    pub fn contract(
        &self,
        k: usize,
        groups: &[GroupCross],
        u: &Matrix,
        w: &[f64],
    ) -> (Vec<f64>, Vec<f64>) {
        let (mut trace, mut square) = (vec![0.0; k * k], vec![0.0; k * k]);
        match &self.cross {
            Cross::Dense(sums) => {
                for ((a, b), sum) in pairs(k).zip(sums) {
                    let half = if a == b { 1.0 } else { 0.5 };
                    let t: f64 = (0..u.n_rows()).map(|i| dot(u.row(i), sum.row(i))).sum();
                    let s = sum.quadratic(w, w);
                    for (i, j) in [(a, b), (b, a)] {
                        trace[i * k + j] = half * t;
                        square[i * k + j] = half * s;
                    }
                }
            }
            Cross::Sparse(members) => {
                for g in members {
                    let group = &groups[*g];
                    let sw = group.times(w, k);
                    let inner = group.columns.len() - 1;
                    for i in 0..inner {
                        let line = u.row(group.columns[i] as usize);
                        let mut us = vec![0.0; k];
                        for j in 0..inner {
                            let x = line[group.columns[j] as usize];
                            for (o, s) in us.iter_mut().zip(group.at(j, k)) {
                                *o += x * s;
                            }
                        }
                        for (a, x) in group.at(i, k).iter().enumerate() {
                            for (b, y) in us.iter().enumerate() {
                                trace[a * k + b] += x * y;
                            }
                        }
                    }
                    for a in 0..k {
                        for b in 0..k {
                            square[a * k + b] += sw[a] * sw[b];
                        }
                    }
                }
            }
        }
        (trace, square)
    }
}

fn pairs(k: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..k).flat_map(move |a| (a..k).map(move |b| (a, b)))
}
