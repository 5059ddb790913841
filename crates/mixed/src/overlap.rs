//! How much the groupings of two factors resemble each other.

use crate::system::System;

/// Cosine between two kernels from which their factors may be taken for each other.
const OVERLAP: f64 = 0.1;

/// Whether some pair of factors overlaps: the cosine between the matrices
/// W^1/2 Z Z' W^1/2 of the two, columns at root mean square 1, is not small.
///
/// These matrices are the derivatives of V by the factors' variances. Where
/// they are nearly orthogonal each spread meets its own part of the data, as
/// if its factor were alone; where they are alike, the spread may sit in
/// either factor, and the criterion may have a minimum for each. (Crossed
/// factors of a and b levels in balance have 1 / sqrt(ab), a factor nested in
/// another with m of its levels in each 1 / sqrt(m).)
pub(crate) fn overlapping(system: &System) -> bool {
    let count = system.layout.factors.len();
    let products = Products::of(system);
    (0..count).any(|f| {
        (0..f).any(|g| {
            let own = (products.at(f, f) * products.at(g, g)).sqrt();
            let cosine = products.at(f, g) / own;
            // NaN where a column has no size: nothing is known, so it overlaps.
            cosine.is_nan() || cosine >= OVERLAP
        })
    })
}

/// Squared Frobenius norms of Z_f'WZ_g by pair of factors.
struct Products {
    count: usize,
    values: Vec<f64>,
}

impl Products {
    fn of(system: &System) -> Products {
        let layout = &system.layout;
        let count = layout.factors.len();
        let mut out = Products { count, values: vec![0.0; count * count] };
        // Factor and 1 / mean square of each column of Z_other.
        let mut columns: Vec<(usize, f64)> = vec![(0, 0.0); layout.q];
        let scale = |f: usize, effect: usize| {
            let own =
                |e: &crate::layout::ThetaEntry| e.factor == f && e.row == effect && e.is_diagonal();
            system.entries.iter().position(own).map_or(1.0, |i| system.column_rms[i].powi(-2))
        };
        for (f, factor) in layout.factors.iter().enumerate() {
            let Some(start) = factor.column_start else { continue };
            let scales: Vec<f64> = (0..factor.k()).map(|e| scale(f, e)).collect();
            let mine = &mut columns[start..start + factor.levels * factor.k()];
            for (at, column) in mine.iter_mut().enumerate() {
                *column = (f, scales[at % factor.k()]);
            }
        }
        for (i, (f, a)) in columns.iter().enumerate() {
            for (j, x) in system.gram.random.line(i) {
                let (g, b) = columns[j];
                out.values[f * count + g] += a * b * x * x;
                if i != j {
                    out.values[g * count + f] += a * b * x * x;
                }
            }
        }
        if let Some(f) = layout.eliminated {
            let k = layout.k();
            let scales: Vec<f64> = (0..k).map(|e| scale(f, e)).collect();
            for pool in system.groups.pooled.iter().flat_map(|groups| &groups.pools) {
                out.values[f * count + f] += (scales[0] * pool.zz).powi(2) * pool.count as f64;
                let squares = pool.cross.iter().filter(|((a, b), _)| a == b);
                for ((column, _), square) in squares {
                    let Some((g, b)) = columns.get(*column as usize) else { continue };
                    out.values[f * count + g] += scales[0] * b * square;
                    out.values[g * count + f] += scales[0] * b * square;
                }
            }
            for (_, group) in system.groups.source.iter() {
                for (at, x) in group.zz.iter().enumerate() {
                    out.values[f * count + f] += scales[at / k] * scales[at % k] * x * x;
                }
                for (column, cross) in group.columns.iter().zip(group.sparse.chunks_exact(k)) {
                    let (g, b) = columns[*column as usize];
                    let square: f64 = cross.iter().zip(&scales).map(|(x, a)| a * b * x * x).sum();
                    out.values[f * count + g] += square;
                    out.values[g * count + f] += square;
                }
            }
        }
        out
    }

    fn at(&self, f: usize, g: usize) -> f64 {
        self.values[f * self.count + g]
    }
}
