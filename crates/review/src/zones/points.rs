//! Features of blocks, standardised into points.

use crate::error::{ReviewError, same_length};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Days of a year, for days that wrap around.
const YEAR: f64 = 365.25;

/// What kind of number a feature is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FeatureKind {
    /// A plain number: mm of rain, degrees, m of altitude.
    Plain,
    /// A day of the year, 1 to 366: 31 December is next to 1 January.
    DayOfYear,
}

/// Features of blocks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Features {
    /// Block ids, one per row.
    pub blocks: Vec<String>,
    /// Names of the features with their unit, such as `rain_01_mm`; days named `harvest_from` and
    /// `harvest_to` (likewise `rest_`, `flush_`) become windows of the proposed regions.
    pub names: Vec<String>,
    /// Family of each feature (`rain`, `temperature`, `altitude`, `calendar`): every family has the
    /// same weight, however many columns it has.
    pub families: Vec<String>,
    /// Kind of each feature.
    pub kinds: Vec<FeatureKind>,
    /// Values, one row per block and one column per feature; NaN where missing.
    pub values: Vec<Vec<f64>>,
}

impl Features {
    pub(super) fn check(&self) -> Result<(), ReviewError> {
        same_length("families", self.names.len(), self.families.len())?;
        same_length("kinds", self.names.len(), self.kinds.len())?;
        same_length("values", self.blocks.len(), self.values.len())?;
        self.values.iter().try_for_each(|row| same_length("values", self.names.len(), row.len()))
    }
}

/// Distinct places in standardised units.
pub(super) struct Points {
    /// Coordinates by place.
    pub(super) values: Vec<Vec<f64>>,
    /// Blocks that have a place, by position.
    pub(super) blocks: Vec<usize>,
    /// Place of each of them.
    pub(super) place: Vec<usize>,
    /// Blocks with a missing feature.
    pub(super) missing: Vec<usize>,
    /// Names of features without variation.
    pub(super) constant: Vec<String>,
}

impl Points {
    /// Each feature over its standard deviation between places (a day of the year as its cosine and
    /// sine over their common one) and over the root of the number of features of its family.
    pub(super) fn of(features: &Features) -> Self {
        let complete = |block: &usize| features.values[*block].iter().all(|v| v.is_finite());
        let (blocks, missing): (Vec<usize>, Vec<usize>) =
            (0..features.blocks.len()).partition(complete);
        let mut distinct: BTreeMap<Vec<u64>, usize> = BTreeMap::new();
        let mut first = Vec::new();
        let place = blocks
            .iter()
            .map(|&block| {
                // Adding 0 makes -0 and 0 the same bits.
                let key = features.values[block].iter().map(|v| (v + 0.0).to_bits()).collect();
                *distinct.entry(key).or_insert_with(|| {
                    first.push(block);
                    first.len() - 1
                })
            })
            .collect();
        let mut values = vec![Vec::new(); first.len()];
        let mut constant = Vec::new();
        let coordinates: Vec<Option<Vec<Vec<f64>>>> = (0..features.names.len())
            .map(|j| {
                let column: Vec<f64> = first.iter().map(|&b| features.values[b][j]).collect();
                standardised(&column, features.kinds[j])
            })
            .collect();
        let varying = |family: &str| {
            let of = features.families.iter().zip(&coordinates);
            of.filter(|(own, column)| *own == family && column.is_some()).count() as f64
        };
        for (j, columns) in coordinates.iter().enumerate() {
            let Some(columns) = columns else {
                constant.push(features.names[j].clone());
                continue;
            };
            let weight = varying(&features.families[j]).sqrt();
            for column in columns {
                for (point, value) in values.iter_mut().zip(column) {
                    point.push(value / weight);
                }
            }
        }
        Self { values, blocks, place, missing, constant }
    }
}

/// Columns with mean 0 and total variance 1; `None` without variation.
fn standardised(column: &[f64], kind: FeatureKind) -> Option<Vec<Vec<f64>>> {
    let mut columns = match kind {
        FeatureKind::Plain => vec![column.to_vec()],
        FeatureKind::DayOfYear => vec![
            column.iter().map(|day| (TAU * day / YEAR).cos()).collect(),
            column.iter().map(|day| (TAU * day / YEAR).sin()).collect(),
        ],
    };
    let n = column.len() as f64;
    let mut variance = 0.0;
    let mut size: f64 = 0.0;
    for own in &mut columns {
        size = own.iter().fold(size, |size, value| size.max(value.abs()));
        let mean = own.iter().sum::<f64>() / n;
        own.iter_mut().for_each(|value| *value -= mean);
        variance += own.iter().map(|value| value * value).sum::<f64>() / n;
    }
    let spread = variance.sqrt();
    if spread <= 1e-12 * size {
        return None;
    }
    columns.iter_mut().flatten().for_each(|value| *value /= spread);
    Some(columns)
}
