//! A few rows at a time: checked, centred and scaled, then added to the moments.

use super::{Sums, drop_reason};
use crate::Error;
use crate::data::{Data, RandomEffect};
use crate::layout::{Layout, Units, effect_value};
use faer::traits::pulp::{Arch, Simd, WithSimd};
use std::ops::Range;
use std::sync::Arc;

/// Rows of a tile: its [X | y] stays in the nearest cache.
pub(super) const ROWS: usize = 128;

/// The usable rows of a tile.
pub(super) struct Tile {
    /// Their indices in the data.
    rows: Vec<usize>,
    weights: Vec<f64>,
    /// [X | y] in internal units, by row, padded to the stride.
    values: Vec<f64>,
}

impl Tile {
    pub fn new(stride: usize) -> Tile {
        Tile {
            rows: Vec::with_capacity(ROWS),
            weights: Vec::with_capacity(ROWS),
            values: vec![0.0; ROWS * stride],
        }
    }

    /// Takes rows of the data; counts those set aside.
    pub fn fill(
        &mut self,
        data: &Data<'_>,
        range: Range<usize>,
        sums: &mut Sums,
        layout: &Layout,
    ) -> Result<(), Error> {
        self.rows.clear();
        self.weights.clear();
        check_codes_and_weights(data, range.clone())?;
        sums.rows.read += range.len() as u64;
        let clean = all_finite(data, range.clone());
        for row in range {
            let weight = data.weights.map_or(1.0, |w| w[row]);
            if (!clean || weight == 0.0)
                && let Some(reason) = drop_reason(data, row, weight)
            {
                sums.rows.drop_row(reason, 1);
                continue;
            }
            self.rows.push(row);
            self.weights.push(weight);
        }
        sums.rows.used += self.rows.len() as u64;
        if data.weights.is_some() {
            sums.sum_log_weight += self.weights.iter().map(|w| w.ln()).sum::<f64>();
        }
        let stride = sums.stride;
        for (j, column) in data.fixed.iter().enumerate() {
            let values: &[f64] = &column.values;
            if sums.ones[j] {
                sums.ones[j] = self.rows.iter().all(|row| values[*row] == 1.0);
            }
            self.place(j, values, &layout.fixed[j], stride);
        }
        self.place(layout.p(), data.response, &layout.response, stride);
        Ok(())
    }

    /// Centres and scales a column into the tile.
    fn place(&mut self, j: usize, values: &[f64], units: &Units, stride: usize) {
        let cells = self.values[j..].iter_mut().step_by(stride).zip(&self.rows);
        if units.centre == 0.0 && units.scale == 1.0 {
            cells.for_each(|(to, row)| *to = values[*row]);
        } else {
            cells.for_each(|(to, row)| *to = (values[*row] - units.centre) / units.scale);
        }
    }

    /// Adds the rows to the sums.
    pub fn add_to(&self, data: &Data<'_>, sums: &mut Sums, layout: &Layout) {
        Arch::new().dispatch(Addition { tile: self, data, sums, layout });
    }

    /// [X | y]'W[X | y]: four rows at a time, so that a sum is loaded once for them.
    #[inline(always)]
    fn add_fixed(&self, sums: &mut Sums, width: usize) {
        let stride = sums.stride;
        let whole = self.rows.len() / 4 * 4;
        let values = &self.values[..self.rows.len() * stride];
        let (fours, rest) = values.split_at(whole * stride);
        for (at, four) in fours.chunks_exact(4 * stride).enumerate() {
            let (ab, cd) = four.split_at(2 * stride);
            let ((a, b), (c, d)) = (ab.split_at(stride), cd.split_at(stride));
            let w = &self.weights[4 * at..4 * at + 4];
            for (i, line) in sums.fixed.chunks_exact_mut(stride).enumerate().take(width) {
                let (wa, wb, wc, wd) = (w[0] * a[i], w[1] * b[i], w[2] * c[i], w[3] * d[i]);
                // Whole vectors up to the diagonal.
                let end = (i / 4 + 1) * 4;
                let inner = line[..end].iter_mut().zip(&a[..end]).zip(&b[..end]);
                for (((to, a), b), (c, d)) in inner.zip(c[..end].iter().zip(&d[..end])) {
                    *to += (wa * a + wb * b) + (wc * c + wd * d);
                }
            }
        }
        for (row, w) in rest.chunks_exact(stride).zip(&self.weights[whole..]) {
            for (i, line) in sums.fixed.chunks_exact_mut(stride).enumerate().take(width) {
                add_scaled(line, w * row[i], row);
            }
        }
    }

    /// Everything that meets a random effect.
    #[inline(always)]
    fn add_random(&self, data: &Data<'_>, sums: &mut Sums, layout: &Layout) {
        let (stride, k) = (sums.stride, layout.k());
        let Sums { groups, seen, random, cross, entries, hints, .. } = sums;
        let groups = Arc::make_mut(groups);
        for ((row, weight), x) in
            self.rows.iter().zip(&self.weights).zip(self.values.chunks_exact(stride))
        {
            entries.clear();
            for (f, factor) in data.factors.iter().enumerate() {
                let level = factor.codes[*row] as usize;
                seen[f][level] = true;
                if let Some(start) = layout.factors[f].column_start {
                    let first = start + level * factor.effects.len();
                    for (e, effect) in factor.effects.iter().enumerate() {
                        entries.push(((first + e) as u32, effect_value(effect, *row)));
                    }
                }
            }
            for (at, (i, z)) in entries.iter().enumerate() {
                let (i, wz) = (*i as usize, weight * z);
                for (j, y) in &entries[..=at] {
                    random.add(i, *j as usize, wz * y);
                }
                add_scaled(&mut cross[i * stride..(i + 1) * stride], wz, x);
            }
            let Some(f) = layout.eliminated else { continue };
            let factor = &data.factors[f];
            let slot = groups.slot(factor.codes[*row] as usize);
            let (zz, dense) = groups.fixed_mut(slot);
            for (a, effect) in factor.effects.iter().enumerate() {
                let wz = weight * effect_value(effect, *row);
                for (b, other) in factor.effects.iter().enumerate() {
                    zz[a * k + b] += wz * effect_value(other, *row);
                }
                add_scaled(&mut dense[a * stride..(a + 1) * stride], wz, x);
            }
            for ((column, x), hint) in entries.iter().zip(hints.iter_mut()) {
                let cells = groups.sparse_mut(slot, *column, hint);
                for (cell, effect) in cells.iter_mut().zip(&factor.effects) {
                    *cell += weight * effect_value(effect, *row) * x;
                }
            }
        }
    }
}

/// The work of one tile, compiled for each instruction set.
struct Addition<'a> {
    tile: &'a Tile,
    data: &'a Data<'a>,
    sums: &'a mut Sums,
    layout: &'a Layout,
}

impl WithSimd for Addition<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.tile.add_fixed(self.sums, self.layout.p() + 1);
        self.tile.add_random(self.data, self.sums, self.layout);
    }
}

/// Slices of a length divisible by 4, so that no remainder is left.
#[inline(always)]
fn add_scaled(into: &mut [f64], factor: f64, from: &[f64]) {
    for (to, from) in into.chunks_exact_mut(4).zip(from.chunks_exact(4)) {
        for (to, from) in to.iter_mut().zip(from) {
            *to += factor * from;
        }
    }
}

fn check_codes_and_weights(data: &Data<'_>, range: Range<usize>) -> Result<(), Error> {
    let inside = |f: &crate::Factor<'_>| {
        f.codes[range.clone()].iter().all(|code| (*code as usize) < f.levels)
    };
    let usable = |w: &f64| *w >= 0.0 && w.is_finite();
    if data.factors.iter().all(inside)
        && data.weights.is_none_or(|w| w[range.clone()].iter().all(usable))
    {
        return Ok(());
    }
    for row in range {
        if let Some(value) = data.weights.map(|w| w[row]).filter(|w| !usable(w)) {
            return Err(Error::BadWeight { row, value });
        }
        for factor in &data.factors {
            let code = factor.codes[row];
            if code as usize >= factor.levels {
                return Err(Error::LevelOutOfRange {
                    factor: factor.name.clone(),
                    row,
                    code,
                    levels: factor.levels,
                });
            }
        }
    }
    Ok(())
}

fn all_finite(data: &Data<'_>, range: Range<usize>) -> bool {
    // A product with 0 is 0 for finite numbers alone.
    let clean = |v: &[f64]| v[range.clone()].iter().map(|x| x * 0.0).sum::<f64>() == 0.0;
    clean(data.response)
        && data.fixed.iter().all(|c| clean(&c.values))
        && data.factors.iter().flat_map(|f| &f.effects).all(|e| match e {
            RandomEffect::Intercept => true,
            RandomEffect::Slope { values, .. } => clean(values),
        })
}
