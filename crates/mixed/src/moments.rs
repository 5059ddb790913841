//! One pass over the rows: additive, mergeable cross-products per group and overall.

mod groups;
mod tile;

use crate::Error;
use crate::data::{Data, RandomEffect};
use crate::gram::{Gram, Triangle};
use crate::layout::{Layout, effect_value};
use crate::matrix::Matrix;
use crate::record::{DropReason, RowCounts};
use crate::threads;
pub(crate) use groups::{Group, Groups};
use std::sync::Arc;
use tile::Tile;

/// Rows from which the pass is split.
const SPLIT_FROM: usize = 1 << 16;
/// Parts of a split pass: fixed, so that the sums do not depend on the machine.
const PARTS: usize = 2;

/// Everything that a fit needs from the rows. Chunks accumulate apart and
/// merge in any order to the same moments, up to rounding.
#[derive(Debug, Clone)]
pub struct Moments {
    pub(crate) layout: Layout,
    sums: Sums,
}

/// The additive parts.
#[derive(Debug, Clone)]
struct Sums {
    rows: RowCounts,
    sum_log_weight: f64,
    /// Whether a fixed column is 1 in every used row.
    ones: Vec<bool>,
    /// Whether a level of a factor was met, by factor.
    seen: Vec<Vec<bool>>,
    /// Number of [X | y] columns, padded to a multiple of 4.
    stride: usize,
    /// [X | y]'W[X | y], by row; the lower triangle counts.
    fixed: Vec<f64>,
    /// Z_other'W[X | y], `stride` values per column of Z_other.
    cross: Vec<f64>,
    /// Z_other'WZ_other.
    random: Triangle,
    /// Cross-products of each group of the eliminated factor.
    groups: Arc<Groups>,
    /// Non-zero entries of the current row of Z_other.
    entries: Vec<(u32, f64)>,
    /// Where each was found last in its group.
    hints: Vec<usize>,
}

impl Moments {
    /// Collapses the rows of `data`, centred and scaled by their declared constants.
    ///
    /// # Errors
    /// Column lengths, negative or non-finite weights, level codes out of
    /// range, unusable centres and scales, repeated names. A chunk without a
    /// complete row is no error here; fitting it is.
    pub fn accumulate(data: &Data<'_>) -> Result<Moments, Error> {
        let layout = Layout::of(data)?;
        check_lengths(data)?;
        let mut moments = Moments { sums: Sums::new(&layout), layout };
        moments.add_rows(data)?;
        Ok(moments)
    }

    /// Adds the rows of another chunk of the same model: the streaming form of
    /// [`Moments::accumulate`], whose memory does not grow with the rows.
    ///
    /// # Errors
    /// Those of [`Moments::accumulate`], and [`Error::Incompatible`] when
    /// names, units, factors or levels differ. After an error the moments hold
    /// part of the chunk and must not be used.
    pub fn add(&mut self, data: &Data<'_>) -> Result<(), Error> {
        self.check_same(&Layout::of(data)?)?;
        check_lengths(data)?;
        self.add_rows(data)
    }

    /// Adds the moments of another chunk of the same model.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when names, units, factors or levels differ.
    pub fn merge(&mut self, other: &Moments) -> Result<(), Error> {
        self.check_same(&other.layout)?;
        self.sums.merge(&other.sums);
        Ok(())
    }

    fn check_same(&self, layout: &Layout) -> Result<(), Error> {
        if self.layout == *layout {
            Ok(())
        } else {
            Err(Error::Incompatible { what: "columns, units, factors or levels".into() })
        }
    }

    fn add_rows(&mut self, data: &Data<'_>) -> Result<(), Error> {
        let rows = data.response.len();
        if rows < SPLIT_FROM {
            return self.sums.add_rows(data, &self.layout, 0..rows);
        }
        let layout = &self.layout;
        let parts = threads::map(PARTS, |part| {
            let mut sums = Sums::new(layout);
            let range = rows * part / PARTS..rows * (part + 1) / PARTS;
            sums.add_rows(data, layout, range).map(|()| sums)
        });
        for part in parts {
            let part = part?;
            if self.sums.rows.read == 0 {
                self.sums = part;
            } else {
                self.sums.merge(&part);
            }
        }
        Ok(())
    }

    /// Rows read, used and dropped so far.
    pub fn rows(&self) -> &RowCounts {
        &self.sums.rows
    }

    pub(crate) fn sum_log_weight(&self) -> f64 {
        self.sums.sum_log_weight
    }

    pub(crate) fn ones(&self) -> &[bool] {
        &self.sums.ones
    }

    pub(crate) fn seen(&self) -> &[Vec<bool>] {
        &self.sums.seen
    }

    pub(crate) fn groups(&self) -> &Arc<Groups> {
        &self.sums.groups
    }

    /// [Z_other | X | y]'W[Z_other | X | y] for the columns kept of X.
    pub(crate) fn gram(&self, kept: &[usize]) -> Gram {
        let (q, p, sums) = (self.layout.q, self.layout.p(), &self.sums);
        let columns: Vec<usize> = kept.iter().copied().chain([p]).collect();
        let mut dense = Matrix::zeros(columns.len(), q + columns.len());
        for (a, i) in columns.iter().enumerate() {
            let line = dense.row_mut(a);
            for (x, cross) in line.iter_mut().zip(sums.cross.chunks_exact(sums.stride)) {
                *x = cross[*i];
            }
            for (b, j) in columns.iter().enumerate() {
                line[q + b] = sums.fixed[i.max(j) * sums.stride + i.min(j)];
            }
        }
        Gram { random: sums.random.clone(), dense }
    }

    /// Entry (i, j), j <= i, of [X | y]'W[X | y].
    pub(crate) fn fixed_product(&self, i: usize, j: usize) -> f64 {
        self.sums.fixed[i * self.sums.stride + j]
    }

    /// Replaces an entry of [X | y]'W[X | y].
    pub(crate) fn set_fixed_product(&mut self, i: usize, j: usize, value: f64) {
        self.sums.fixed[i * self.sums.stride + j] = value;
    }

    /// Replaces Z_other'W[X | y] for one column of Z_other.
    pub(crate) fn set_cross(&mut self, column: usize, values: &[f64]) {
        let first = column * self.sums.stride;
        self.sums.cross[first..first + values.len()].copy_from_slice(values);
    }

    /// Replaces row `effect` of Z_g'W[X | y] of the group of a level that was met.
    pub(crate) fn set_group(&mut self, level: usize, effect: usize, values: &[f64]) {
        let groups = Arc::make_mut(&mut self.sums.groups);
        let slot = groups.slot(level);
        let first = effect * groups.stride();
        groups.fixed_mut(slot).1[first..first + values.len()].copy_from_slice(values);
    }

    /// X'WX, lower triangle.
    pub(crate) fn fixed_gram(&self) -> Matrix {
        let (p, sums) = (self.layout.p(), &self.sums);
        let mut out = Matrix::zeros(p, p);
        for i in 0..p {
            out.row_mut(i)[..=i].copy_from_slice(&sums.fixed[i * sums.stride..][..i + 1]);
        }
        out
    }

    /// Whether all sums stayed finite.
    pub(crate) fn is_finite(&self) -> bool {
        let sums = &self.sums;
        let dense = sums.fixed.iter().chain(&sums.cross).all(|x| x.is_finite());
        dense && sums.random.is_finite()
    }
}

impl Sums {
    fn new(layout: &Layout) -> Sums {
        let stride = (layout.p() + 1).next_multiple_of(4);
        let levels = layout.eliminated.map_or(0, |f| layout.factors[f].levels);
        let per_row = layout.factors.iter().filter(|f| f.column_start.is_some());
        Sums {
            rows: RowCounts::default(),
            sum_log_weight: 0.0,
            ones: vec![true; layout.p()],
            seen: layout.factors.iter().map(|f| vec![false; f.levels]).collect(),
            stride,
            fixed: vec![0.0; (layout.p() + 1) * stride],
            cross: vec![0.0; layout.q * stride],
            random: Triangle::zeros(layout.q),
            groups: Arc::new(Groups::new(levels, layout.k(), stride)),
            entries: Vec::new(),
            hints: vec![0; per_row.map(|f| f.k()).sum()],
        }
    }

    fn add_rows(
        &mut self,
        data: &Data<'_>,
        layout: &Layout,
        range: std::ops::Range<usize>,
    ) -> Result<(), Error> {
        let mut tile = Tile::new(self.stride);
        let mut start = range.start;
        while start < range.end {
            let end = (start + tile::ROWS).min(range.end);
            tile.fill(data, start..end, self, layout)?;
            tile.add_to(data, self, layout);
            start = end;
        }
        Ok(())
    }

    fn merge(&mut self, other: &Sums) {
        self.rows.read += other.rows.read;
        self.rows.used += other.rows.used;
        for (reason, count) in &other.rows.dropped {
            self.rows.drop_row(*reason, *count);
        }
        self.sum_log_weight += other.sum_log_weight;
        for (a, b) in self.ones.iter_mut().zip(&other.ones) {
            *a &= b;
        }
        for (a, b) in self.seen.iter_mut().zip(&other.seen) {
            for (x, y) in a.iter_mut().zip(b) {
                *x |= y;
            }
        }
        add(&mut self.fixed, &other.fixed);
        add(&mut self.cross, &other.cross);
        self.random.merge(&other.random);
        Arc::make_mut(&mut self.groups).merge(&other.groups);
    }
}

fn add(into: &mut [f64], from: &[f64]) {
    for (a, b) in into.iter_mut().zip(from) {
        *a += b;
    }
}

/// Every column has one value per row.
pub(crate) fn check_lengths(data: &Data<'_>) -> Result<(), Error> {
    let expected = data.response.len();
    let check = |what: &str, found: usize| {
        if found == expected {
            Ok(())
        } else {
            Err(Error::LengthMismatch { what: what.to_owned(), expected, found })
        }
    };
    if let Some(weights) = data.weights {
        check("weights", weights.len())?;
    }
    for column in &data.fixed {
        check(&column.name, column.values.len())?;
    }
    for factor in &data.factors {
        check(&factor.name, factor.codes.len())?;
        for effect in &factor.effects {
            if let RandomEffect::Slope { name, values } = effect {
                check(name, values.len())?;
            }
        }
    }
    Ok(())
}

/// The first reason that applies for setting a row aside.
pub(crate) fn drop_reason(data: &Data<'_>, row: usize, weight: f64) -> Option<DropReason> {
    if !data.response[row].is_finite() {
        return Some(DropReason::Response);
    }
    if data.fixed.iter().any(|c| !c.values[row].is_finite()) {
        return Some(DropReason::FixedColumn);
    }
    let slopes = data.factors.iter().flat_map(|f| &f.effects);
    for effect in slopes {
        if !effect_value(effect, row).is_finite() {
            return Some(DropReason::SlopeColumn);
        }
    }
    (weight == 0.0).then_some(DropReason::ZeroWeight)
}
