//! Complete rows of a count model, in internal units.

use crate::data::{Data, Factor, FixedColumn, RandomEffect};
use crate::moments::Moments;
use crate::record::RowCounts;
use crate::{DropReason, Error};
use std::borrow::Cow;

/// A count model: log mean = offset + X b + Z u, u as in [`Data`] with sigma 1.
#[derive(Debug, Clone)]
pub struct CountData<'a> {
    /// Counts, at least 0.
    pub counts: &'a [f64],
    /// Known part of the log mean (log of an area counted).
    pub offset: Option<&'a [f64]>,
    /// Fixed columns; include an intercept.
    pub fixed: Vec<FixedColumn<'a>>,
    /// Grouping factors, at least one.
    pub factors: Vec<Factor<'a>>,
}

/// Owned columns of the complete rows.
pub(crate) struct Rows {
    pub counts: Vec<f64>,
    pub offset: Vec<f64>,
    /// Centred and scaled fixed columns.
    pub columns: Vec<Vec<f64>>,
    pub codes: Vec<Vec<u32>>,
    /// Values of each effect, by factor.
    pub effects: Vec<Vec<Vec<f64>>>,
    pub tally: RowCounts,
    /// Moments of the unweighted counts: layout, column checks, levels seen.
    pub checked: Moments,
}

impl Rows {
    pub fn new(data: &CountData<'_>) -> Result<Rows, Error> {
        let n = data.counts.len();
        let checked = Moments::accumulate(&Data {
            fixed: data.fixed.clone(),
            factors: data.factors.clone(),
            ..Data::new(data.counts)
        })?;
        if data.factors.is_empty() {
            return Err(Error::Unknown { what: "grouping factor".into() });
        }
        if let Some(offset) = data.offset.filter(|o| o.len() != n) {
            return Err(Error::LengthMismatch {
                what: "offset".into(),
                expected: n,
                found: offset.len(),
            });
        }
        if let Some(row) = data.counts.iter().position(|y| *y < 0.0) {
            return Err(Error::BadCount { row, value: data.counts[row] });
        }
        let mut tally = RowCounts { read: n as u64, ..RowCounts::default() };
        let mut keep = Vec::with_capacity(n);
        for i in 0..n {
            match drop_reason(data, i) {
                Some(reason) => tally.drop_row(reason, 1),
                None => keep.push(i),
            }
        }
        tally.used = keep.len() as u64;
        let take = |v: &[f64]| keep.iter().map(|i| v[*i]).collect::<Vec<f64>>();
        let effect = |e: &RandomEffect<'_>| match e {
            RandomEffect::Intercept => vec![1.0; keep.len()],
            RandomEffect::Slope { values, .. } => take(values),
        };
        Ok(Rows {
            counts: take(data.counts),
            offset: data.offset.map_or_else(|| vec![0.0; keep.len()], take),
            columns: data
                .fixed
                .iter()
                .map(|c| keep.iter().map(|i| (c.values[*i] - c.centre) / c.scale).collect())
                .collect(),
            codes: data
                .factors
                .iter()
                .map(|f| keep.iter().map(|i| f.codes[*i]).collect())
                .collect(),
            effects: data.factors.iter().map(|f| f.effects.iter().map(effect).collect()).collect(),
            tally,
            checked,
        })
    }

    /// A weighted linear model of `response` on these rows, with or without
    /// the fixed columns.
    pub fn linear<'r>(
        &'r self,
        response: &'r [f64],
        weights: &'r [f64],
        with_fixed: bool,
    ) -> Data<'r> {
        let layout = &self.checked.layout;
        let mut data = Data::new(response).weights(weights);
        if with_fixed {
            for (units, column) in layout.fixed.iter().zip(&self.columns) {
                let values: Cow<'_, [f64]> = Cow::Borrowed(column);
                data = data.column(FixedColumn::new(units.name.clone(), values));
            }
        }
        for (f, shape) in layout.factors.iter().enumerate() {
            let effects = shape
                .effects
                .iter()
                .zip(&self.effects[f])
                .map(|(name, values)| RandomEffect::Slope { name: name.clone(), values })
                .collect();
            data = data.factor(Factor {
                name: shape.name.clone(),
                codes: &self.codes[f],
                levels: shape.levels,
                effects,
                covariance: shape.covariance,
            });
        }
        data
    }
}

fn drop_reason(data: &CountData<'_>, i: usize) -> Option<DropReason> {
    if !data.counts[i].is_finite() {
        return Some(DropReason::Response);
    }
    let offset = data.offset.map_or(0.0, |o| o[i]);
    if !offset.is_finite() || data.fixed.iter().any(|c| !c.values[i].is_finite()) {
        return Some(DropReason::FixedColumn);
    }
    let finite = |e: &RandomEffect<'_>| crate::layout::effect_value(e, i).is_finite();
    let slopes = data.factors.iter().flat_map(|f| &f.effects).all(finite);
    (!slopes).then_some(DropReason::SlopeColumn)
}
