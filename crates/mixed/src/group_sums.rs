//! Cross-products of the rows of each group, from which a group can be taken out of a fit.

use crate::Error;
use crate::data::Data;
use crate::layout::{Layout, effect_value};
use crate::moments::{check_lengths, drop_reason};

/// Per group of the eliminated factor, the cross-products that its rows add to
/// the whole: (c + p + 1)(c + p + 2)/2 numbers for c columns of other factors
/// that the group meets and p fixed columns. Chunks accumulate apart and merge.
#[derive(Debug, Clone)]
pub struct GroupSums {
    pub(crate) layout: Layout,
    /// Rows used.
    pub(crate) rows: u64,
    /// By level of the eliminated factor.
    pub(crate) groups: Vec<OwnSums>,
}

/// Lower triangle over [X | y | columns of other factors in order of discovery].
#[derive(Debug, Clone, Default)]
pub(crate) struct OwnSums {
    pub rows: u64,
    /// Columns of Z_other met, whole levels at a time.
    pub columns: Vec<u32>,
    packed: Vec<f64>,
}

impl OwnSums {
    /// Sum of products of two places of [X | y | columns].
    pub fn at(&self, i: usize, j: usize) -> f64 {
        let (i, j) = if i >= j { (i, j) } else { (j, i) };
        self.packed[i * (i + 1) / 2 + j]
    }

    /// Place of a column of Z_other, after the `dense` columns of [X | y].
    fn place(&self, column: u32, dense: usize) -> Option<usize> {
        self.columns.iter().position(|c| *c == column).map(|at| dense + at)
    }

    fn resize(&mut self, dense: usize) {
        let size = dense + self.columns.len();
        self.packed.resize(size * (size + 1) / 2, 0.0);
    }
}

impl GroupSums {
    /// Collects the sums of `data`, in the declared units. Rows that a fit
    /// sets aside are set aside here too.
    ///
    /// # Errors
    /// Column lengths, bad weights, level codes out of range, repeated names.
    pub fn accumulate(data: &Data<'_>) -> Result<GroupSums, Error> {
        let layout = Layout::of(data)?;
        check_lengths(data)?;
        let levels = layout.eliminated.map_or(0, |f| layout.factors[f].levels);
        let mut out = GroupSums { layout, rows: 0, groups: vec![OwnSums::default(); levels] };
        let Some(f) = out.layout.eliminated else {
            return Ok(out);
        };
        let mut entries: Vec<(usize, f64)> = Vec::new();
        for row in 0..data.response.len() {
            let weight = data.weights.map_or(1.0, |w| w[row]);
            if !(weight >= 0.0 && weight.is_finite()) {
                return Err(Error::BadWeight { row, value: weight });
            }
            if drop_reason(data, row, weight).is_some() {
                continue;
            }
            out.rows += 1;
            out.add_row(data, row, weight, f, &mut entries)?;
        }
        Ok(out)
    }

    fn add_row(
        &mut self,
        data: &Data<'_>,
        row: usize,
        weight: f64,
        eliminated: usize,
        entries: &mut Vec<(usize, f64)>,
    ) -> Result<(), Error> {
        let dense = self.layout.p() + 1;
        let mut levels = Vec::with_capacity(data.factors.len());
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
            levels.push(code as usize);
        }
        let own = &mut self.groups[levels[eliminated]];
        own.rows += 1;
        entries.clear();
        for (j, (column, units)) in data.fixed.iter().zip(&self.layout.fixed).enumerate() {
            entries.push((j, (column.values[row] - units.centre) / units.scale));
        }
        let units = &self.layout.response;
        entries.push((dense - 1, (data.response[row] - units.centre) / units.scale));
        for ((shape, factor), level) in self.layout.factors.iter().zip(&data.factors).zip(&levels) {
            let Some(start) = shape.column_start else { continue };
            let first = (start + level * shape.k()) as u32;
            if own.place(first, dense).is_none() {
                own.columns.extend(first..first + shape.k() as u32);
            }
            for (e, effect) in factor.effects.iter().enumerate() {
                if let Some(place) = own.place(first + e as u32, dense) {
                    entries.push((place, effect_value(effect, row)));
                }
            }
        }
        own.resize(dense);
        for (at, (i, x)) in entries.iter().enumerate() {
            for (j, y) in &entries[..=at] {
                let (i, j) = if i >= j { (*i, *j) } else { (*j, *i) };
                own.packed[i * (i + 1) / 2 + j] += weight * x * y;
            }
        }
        Ok(())
    }

    /// Adds the sums of another chunk of the same model.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when names, units, factors or levels differ.
    pub fn merge(&mut self, other: &GroupSums) -> Result<(), Error> {
        if self.layout != other.layout {
            return Err(Error::Incompatible { what: "columns, units, factors or levels".into() });
        }
        self.rows += other.rows;
        let dense = self.layout.p() + 1;
        for (mine, theirs) in self.groups.iter_mut().zip(&other.groups) {
            mine.rows += theirs.rows;
            let known = mine.columns.clone();
            mine.columns.extend(theirs.columns.iter().filter(|c| !known.contains(c)));
            mine.resize(dense);
            let places: Vec<usize> = (0..dense)
                .chain(theirs.columns.iter().filter_map(|c| mine.place(*c, dense)))
                .collect();
            if theirs.rows == 0 {
                continue;
            }
            for (i, a) in places.iter().enumerate() {
                for (j, b) in places[..=i].iter().enumerate() {
                    let (a, b) = if a >= b { (*a, *b) } else { (*b, *a) };
                    mine.packed[a * (a + 1) / 2 + b] += theirs.at(i, j);
                }
            }
        }
        Ok(())
    }
}
