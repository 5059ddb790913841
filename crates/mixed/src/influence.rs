//! What the coefficients would be without one group, at the same theta and without a refit.

use crate::Error;
use crate::criterion::shrinkage;
use crate::fit::Fit;
use crate::group_sums::{GroupSums, OwnSums};
use crate::layout::check_cells;
use crate::matrix::Matrix;
use crate::small::{cholesky, dot};
use serde::Serialize;

/// Smallest pivot, relative to the information of the whole, below which the
/// rest of the rows is said not to identify the coefficients.
const LEAST_PIVOT: f64 = 1e-9;

/// Influence of each group of the eliminated factor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Influence {
    /// Factor whose groups are left out one by one.
    pub factor: String,
    /// Names of the coefficients, in the order of each change.
    pub coefficients: Vec<String>,
    /// By level; levels without rows are left out.
    pub groups: Vec<GroupInfluence>,
}

/// Influence of one group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupInfluence {
    /// Level of the factor.
    pub level: u32,
    /// Rows of the group.
    pub rows: u64,
    /// What leaving it out does.
    pub deletion: Deletion,
}

/// Effect of leaving a group out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Deletion {
    /// The rest identifies the coefficients.
    Changed {
        /// Coefficients without the group minus coefficients with it, user
        /// units; NaN for a coefficient that the fit cannot estimate.
        change: Vec<f64>,
        /// d'C^-1 d / p with d the change, C the covariance of the coefficients
        /// in the fit, p their number (Cook 1977, with theta and sigma held).
        cooks_distance: f64,
    },
    /// Without the group some coefficient of the fit is not identified.
    NotEstimable,
}

impl Fit {
    /// Leaves each group of the eliminated factor out in turn. Exact at the
    /// estimated theta, by a low-rank change of the solved system
    /// (Woodbury's identity); theta and sigma are not estimated again.
    /// Cost per group: the cube of the columns that it meets.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when the sums are of other rows or columns;
    /// [`Error::Unknown`] for a model without a factor; [`Error::TooManyCells`].
    pub fn influence(&self, sums: &GroupSums) -> Result<Influence, Error> {
        let system = &self.system;
        if sums.layout != system.layout || sums.rows != system.rows.used {
            return Err(Error::Incompatible { what: "rows, columns, units or factors".into() });
        }
        let Some(f) = system.layout.eliminated else {
            return Err(Error::Unknown { what: "grouping factor".into() });
        };
        system.each_group()?;
        let (q, rank, p) = (system.layout.q, system.rank(), system.layout.p());
        check_cells(system.m() * system.m())?;
        let inverse = self.solved.inverse();
        let mut fixed = vec![0.0; rank * rank];
        for i in 0..rank {
            for j in 0..rank {
                fixed[i * rank + j] = inverse[(q + i, q + j)];
            }
        }
        let root = cholesky(&fixed, rank, 0.0);
        let estimable: Vec<Option<Vec<f64>>> = (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                self.fixed_target(&unit).map(|(t, _)| t.direct[q..].to_vec())
            })
            .collect();
        let mut groups = Vec::new();
        for (level, own) in sums.groups.iter().enumerate() {
            if own.rows == 0 {
                continue;
            }
            let deletion = match self.step_without(level, own, &inverse) {
                None => Deletion::NotEstimable,
                Some(step) => {
                    let z = forward(&root, &step);
                    let size = rank as f64 * self.sigma * self.sigma;
                    let change = estimable
                        .iter()
                        .map(|row| row.as_ref().map_or(f64::NAN, |row| dot(row, &step)));
                    Deletion::Changed {
                        change: change.collect(),
                        cooks_distance: dot(&z, &z) / size,
                    }
                }
            };
            groups.push(GroupInfluence { level: level as u32, rows: own.rows, deletion });
        }
        Ok(Influence {
            factor: system.layout.factors[f].name.clone(),
            coefficients: self.coefficient_names(),
            groups,
        })
    }

    /// Change of the kept coefficients, internal units. The group adds
    /// C = R_g'(W^-1 + Z_g D Z_g')^-1 R_g to the reduced system; with A = T'CT
    /// over the columns J that it meets, P the same part of M^-1 and x the
    /// solution, the step is M^-1_J (I - AP)^-1 (A x - a_y).
    fn step_without(&self, level: usize, own: &OwnSums, inverse: &Matrix) -> Option<Vec<f64>> {
        let system = &self.system;
        let q = system.layout.q;
        let met: Vec<usize> =
            own.columns.iter().map(|c| *c as usize).chain(q..q + system.rank()).collect();
        let d = met.len();
        let c = self.own_part(level, own)?;
        let a: Vec<f64> = (0..d).flat_map(|i| c[i * (d + 1)..i * (d + 1) + d].to_vec()).collect();
        let x: Vec<f64> = met.iter().map(|j| self.solved.spherical[*j]).collect();
        let score: Vec<f64> =
            (0..d).map(|i| dot(&a[i * d..(i + 1) * d], &x) - c[i * (d + 1) + d]).collect();
        let mut p = vec![0.0; d * d];
        for (i, r) in met.iter().enumerate() {
            for (j, s) in met.iter().enumerate() {
                p[i * d + j] = inverse[(*r, *s)];
            }
        }
        // (I - AP)^-1 h = L'^-1 (I - L'AL)^-1 L'h for P = LL', which is symmetric.
        let l = cholesky(&p, d, 0.0);
        let al: Vec<f64> = (0..d * d)
            .map(|at| {
                let (i, j) = (at / d, at % d);
                (j..d).map(|m| a[i * d + m] * l[m * d + j]).sum()
            })
            .collect();
        let mut kept = vec![0.0; d * d];
        for i in 0..d {
            for j in 0..d {
                let own: f64 = (i..d).map(|m| l[m * d + i] * al[m * d + j]).sum();
                kept[i * d + j] = f64::from(u8::from(i == j)) - own;
            }
        }
        let k = cholesky(&kept, d, 0.0);
        if (0..d).any(|i| k[i * d + i].powi(2) < LEAST_PIVOT) {
            return None;
        }
        let lh: Vec<f64> = (0..d).map(|j| (j..d).map(|m| l[m * d + j] * score[m]).sum()).collect();
        let step = back(&l, &back(&k, &forward(&k, &lh)));
        Some(
            (q..q + system.rank())
                .map(|r| met.iter().zip(&step).map(|(j, v)| inverse[(r, *j)] * v).sum())
                .collect(),
        )
    }

    /// T'CT over [columns met | kept X | y], by row; `None` for a level that
    /// the fit does not hold.
    fn own_part(&self, level: usize, own: &OwnSums) -> Option<Vec<f64>> {
        let system = &self.system;
        let (q, k) = (system.layout.q, system.layout.k());
        let f = system.layout.eliminated?;
        let group = &system.groups[system.group_of_level[level]?];
        let dense = system.layout.p() + 1;
        let others = own.columns.len();
        // Places in the sums, and columns of the reduced system.
        let places: Vec<usize> = (dense..dense + others)
            .chain(system.screen.kept.iter().copied())
            .chain([dense - 1])
            .collect();
        let own_sums = self.internal_sums(own, dense);
        let met: Vec<usize> =
            own.columns.iter().map(|c| *c as usize).chain(q..=q + system.rank()).collect();
        let size = met.len();
        let mut c = vec![0.0; size * size];
        for (i, a) in places.iter().enumerate() {
            for (j, b) in places.iter().enumerate() {
                c[i * size + j] = own_sums[(*a, *b)];
            }
        }
        // S_g over the same columns; the group's own list is ascending.
        let cross: Vec<Option<&[f64]>> = met
            .iter()
            .map(|column| {
                let place = group.columns.binary_search(&(*column as u32)).ok()?;
                Some(&group.cross[place * k..(place + 1) * k])
            })
            .collect();
        let (shrink, _, _) = shrinkage(&self.solved.lambdas[f], &group.zz, k);
        for (i, a) in cross.iter().enumerate() {
            let Some(a) = a else { continue };
            let da: Vec<f64> = (0..k).map(|r| dot(&shrink[r * k..(r + 1) * k], a)).collect();
            for (j, b) in cross.iter().enumerate() {
                if let Some(b) = b {
                    c[i * size + j] -= dot(&da, b);
                }
            }
        }
        self.spread_blocks(own, size, &mut c);
        Some(c)
    }

    /// Sums over [X | y | columns met] in the internal columns of the fit.
    fn internal_sums(&self, own: &OwnSums, dense: usize) -> Matrix {
        let size = dense + own.columns.len();
        let mut out = Matrix::zeros(size, size);
        for i in 0..size {
            for j in 0..size {
                out[(i, j)] = own.at(i, j);
            }
        }
        let Some(basis) = &self.system.units.basis else { return out };
        let turn = |line: &[f64]| -> Vec<f64> {
            (0..dense).map(|j| dot(line, &basis.from_declared.column(j))).collect()
        };
        for i in 0..size {
            let line = turn(&out.row(i)[..dense]);
            out.row_mut(i)[..dense].copy_from_slice(&line);
        }
        for j in 0..size {
            let column: Vec<f64> = out.column(j);
            for (i, x) in turn(&column[..dense]).into_iter().enumerate() {
                out[(i, j)] = x;
            }
        }
        out
    }

    /// C -> T'CT on the columns of other factors, level by level.
    fn spread_blocks(&self, own: &OwnSums, size: usize, c: &mut [f64]) {
        let mut at = 0;
        while let Some(column) = own.columns.get(at) {
            let factors = self.system.layout.factors.iter().zip(&self.solved.lambdas);
            let mut mine = factors.filter_map(|(f, lambda)| {
                let start = f.column_start?;
                let range = start..start + f.k() * f.levels;
                range.contains(&(*column as usize)).then_some((f.k(), lambda))
            });
            let Some((k, lambda)) = mine.next() else { return };
            // T is lower triangular: ascending order reads only entries that
            // are not yet overwritten.
            for i in 0..k {
                for j in 0..size {
                    c[(at + i) * size + j] =
                        (i..k).map(|r| lambda[r * k + i] * c[(at + r) * size + j]).sum();
                }
            }
            for j in 0..size {
                for i in 0..k {
                    c[j * size + at + i] =
                        (i..k).map(|r| lambda[r * k + i] * c[j * size + at + r]).sum();
                }
            }
            at += k;
        }
    }
}

/// L^-1 v.
fn forward(l: &[f64], v: &[f64]) -> Vec<f64> {
    let n = v.len();
    let mut out: Vec<f64> = Vec::with_capacity(n);
    for i in 0..n {
        let rest = v[i] - dot(&l[i * n..i * n + i], &out);
        out.push(rest / l[i * n + i]);
    }
    out
}

/// L'^-1 v.
fn back(l: &[f64], v: &[f64]) -> Vec<f64> {
    let n = v.len();
    let mut out = v.to_vec();
    for i in (0..n).rev() {
        let rest: f64 = (i + 1..n).map(|j| l[j * n + i] * out[j]).sum();
        out[i] = (out[i] - rest) / l[i * n + i];
    }
    out
}
