//! One pass over the rows: additive, mergeable cross-products per group and overall.

use crate::Error;
use crate::data::{Data, RandomEffect};
use crate::layout::{Layout, effect_value};
use crate::record::{DropReason, RowCounts};

/// Weighted cross-products of one group g of the eliminated factor.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Group {
    /// Z_g' W Z_g, k x k by row.
    pub zz: Vec<f64>,
    /// Columns of Z_other that meet the group, ascending.
    pub columns: Vec<u32>,
    /// Z_g' W Z_other for those columns, k values per column.
    pub sparse: Vec<f64>,
    /// Z_g' W [X | y], k values per column.
    pub dense: Vec<f64>,
}

impl Group {
    fn new(k: usize, dense: usize) -> Self {
        Group {
            zz: vec![0.0; k * k],
            columns: Vec::new(),
            sparse: Vec::new(),
            dense: vec![0.0; k * dense],
        }
    }

    fn slot(&mut self, column: u32, k: usize) -> &mut [f64] {
        let at = match self.columns.binary_search(&column) {
            Ok(at) => at,
            Err(at) => {
                self.columns.insert(at, column);
                self.sparse.splice(at * k..at * k, std::iter::repeat_n(0.0, k));
                at
            }
        };
        &mut self.sparse[at * k..(at + 1) * k]
    }

    fn merge(&mut self, other: &Group, k: usize) {
        add(&mut self.zz, &other.zz);
        add(&mut self.dense, &other.dense);
        for (at, column) in other.columns.iter().enumerate() {
            add(self.slot(*column, k), &other.sparse[at * k..(at + 1) * k]);
        }
    }
}

fn add(into: &mut [f64], from: &[f64]) {
    for (a, b) in into.iter_mut().zip(from) {
        *a += b;
    }
}

/// Everything that a fit needs from the rows. Chunks accumulate apart and
/// merge in any order to the same moments, up to rounding.
#[derive(Debug, Clone)]
pub struct Moments {
    pub(crate) layout: Layout,
    pub(crate) rows: RowCounts,
    pub(crate) sum_log_weight: f64,
    /// Whether a fixed column is 1 in every used row.
    pub(crate) ones: Vec<bool>,
    /// [Z_other | X | y]' W [Z_other | X | y], lower triangle, by row.
    pub(crate) gram: Vec<f64>,
    /// By level of the eliminated factor; `None` for a level without rows.
    pub(crate) groups: Vec<Option<Box<Group>>>,
    /// Whether a level of a factor was met, by factor.
    pub(crate) seen: Vec<Vec<bool>>,
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
        let width = layout.width();
        let mut moments = Moments {
            rows: RowCounts::default(),
            sum_log_weight: 0.0,
            ones: vec![true; layout.p()],
            gram: vec![0.0; width * width],
            groups: vec![None; layout.eliminated.map_or(0, |f| layout.factors[f].levels)],
            seen: layout.factors.iter().map(|f| vec![false; f.levels]).collect(),
            layout,
        };
        let mut entries: Vec<(u32, f64)> = Vec::new();
        for row in 0..data.response.len() {
            moments.add_row(data, row, &mut entries)?;
        }
        Ok(moments)
    }

    /// Adds the moments of another chunk of the same model.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when names, units, factors or levels differ.
    pub fn merge(&mut self, other: &Moments) -> Result<(), Error> {
        if self.layout != other.layout {
            return Err(Error::Incompatible { what: "columns, units, factors or levels".into() });
        }
        self.rows.read += other.rows.read;
        self.rows.used += other.rows.used;
        for (reason, count) in &other.rows.dropped {
            self.rows.drop_row(*reason, *count);
        }
        self.sum_log_weight += other.sum_log_weight;
        for (a, b) in self.ones.iter_mut().zip(&other.ones) {
            *a &= b;
        }
        add(&mut self.gram, &other.gram);
        for (a, b) in self.seen.iter_mut().zip(&other.seen) {
            for (x, y) in a.iter_mut().zip(b) {
                *x |= y;
            }
        }
        let k = self.layout.k();
        for (mine, theirs) in self.groups.iter_mut().zip(&other.groups) {
            match (mine, theirs) {
                (Some(a), Some(b)) => a.merge(b, k),
                (slot @ None, Some(b)) => *slot = Some(b.clone()),
                (_, None) => {}
            }
        }
        Ok(())
    }

    /// Rows read, used and dropped so far.
    pub fn rows(&self) -> &RowCounts {
        &self.rows
    }

    fn add_row(
        &mut self,
        data: &Data<'_>,
        row: usize,
        entries: &mut Vec<(u32, f64)>,
    ) -> Result<(), Error> {
        self.rows.read += 1;
        let weight = data.weights.map_or(1.0, |w| w[row]);
        if !(weight >= 0.0 && weight.is_finite()) {
            return Err(Error::BadWeight { row, value: weight });
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
        if let Some(reason) = drop_reason(data, row, weight) {
            self.rows.drop_row(reason, 1);
            return Ok(());
        }
        self.rows.used += 1;
        self.sum_log_weight += weight.ln();
        self.row_entries(data, row, entries);
        self.add_cross_products(data, row, weight, entries);
        Ok(())
    }

    /// The non-zero entries of one row of [Z_other | X | y].
    fn row_entries(&mut self, data: &Data<'_>, row: usize, entries: &mut Vec<(u32, f64)>) {
        entries.clear();
        for (f, factor) in data.factors.iter().enumerate() {
            let level = factor.codes[row] as usize;
            self.seen[f][level] = true;
            let shape = &self.layout.factors[f];
            if let Some(start) = shape.column_start {
                let first = start + level * shape.k();
                for (e, effect) in factor.effects.iter().enumerate() {
                    entries.push(((first + e) as u32, effect_value(effect, row)));
                }
            }
        }
        let q = self.layout.q;
        for (j, column) in data.fixed.iter().enumerate() {
            let value = column.values[row];
            self.ones[j] &= value == 1.0;
            let units = &self.layout.fixed[j];
            entries.push(((q + j) as u32, (value - units.centre) / units.scale));
        }
        let units = &self.layout.response;
        let y = (data.response[row] - units.centre) / units.scale;
        entries.push(((q + self.layout.p()) as u32, y));
    }

    fn add_cross_products(
        &mut self,
        data: &Data<'_>,
        row: usize,
        weight: f64,
        entries: &[(u32, f64)],
    ) {
        let width = self.layout.width();
        for (at, (i, x)) in entries.iter().enumerate() {
            let wx = weight * x;
            let line = &mut self.gram[*i as usize * width..(*i as usize + 1) * width];
            for (j, y) in &entries[..=at] {
                line[*j as usize] += wx * y;
            }
        }
        let Some(f) = self.layout.eliminated else {
            return;
        };
        let (k, q) = (self.layout.k(), self.layout.q);
        let dense = self.layout.p() + 1;
        let factor = &data.factors[f];
        let group = self.groups[factor.codes[row] as usize]
            .get_or_insert_with(|| Box::new(Group::new(k, dense)));
        for (a, effect) in factor.effects.iter().enumerate() {
            let wz = weight * effect_value(effect, row);
            for (b, other) in factor.effects.iter().enumerate() {
                group.zz[a * k + b] += wz * effect_value(other, row);
            }
            for (column, x) in entries {
                let column = *column as usize;
                if column < q {
                    group.slot(column as u32, k)[a] += wz * x;
                } else {
                    group.dense[(column - q) * k + a] += wz * x;
                }
            }
        }
    }
}

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
