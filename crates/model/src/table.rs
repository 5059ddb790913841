//! Arrow adapter: the linked tree-season table as the columns the models read.

use arrow::array::{Array, BooleanArray, Float64Array, Int32Array, RecordBatch, StringArray};
use records::tree_season as ts;
use std::collections::BTreeMap;
use thiserror::Error;

/// A table does not follow its contract in `records`.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TableError {
    /// A column is absent.
    #[error("the linked table has no column '{0}'")]
    Missing(String),
    /// A column has another type than the contract says.
    #[error("column '{name}' of the linked table is not stored as {expected}")]
    WrongType {
        /// Column.
        name: String,
        /// Storage expected.
        expected: &'static str,
    },
}

/// A text column as codes into its sorted labels.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Labelled {
    /// Code of each row.
    pub codes: Vec<u32>,
    /// Label of each code, ascending.
    pub labels: Vec<String>,
}

impl Labelled {
    /// Codes the values of an iterator; labels come out sorted, so codes do not depend on row order.
    pub fn from_values<'a>(values: impl Iterator<Item = &'a str> + Clone) -> Self {
        let mut positions: BTreeMap<&str, u32> = values.clone().map(|value| (value, 0)).collect();
        for (position, code) in positions.values_mut().zip(0_u32..) {
            *position = code;
        }
        Self {
            codes: values.map(|value| positions.get(value).copied().unwrap_or(0)).collect(),
            labels: positions.into_keys().map(str::to_owned).collect(),
        }
    }

    /// Label of a row.
    #[must_use]
    pub fn label(&self, row: usize) -> &str {
        self.codes
            .get(row)
            .and_then(|&code| self.labels.get(code as usize))
            .map_or("", String::as_str)
    }

    /// Number of labels.
    #[must_use]
    pub fn len(&self) -> usize {
        self.labels.len()
    }

    /// Whether there is no label.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.labels.is_empty()
    }
}

/// Columns of the linked table, one value per tree-season; NaN stands for a missing number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TreeSeasons {
    /// Region.
    pub region: Labelled,
    /// Site.
    pub site: Labelled,
    /// Block.
    pub block: Labelled,
    /// Tree.
    pub tree: Labelled,
    /// Year in which the harvest opened.
    pub season: Vec<i32>,
    /// Yield, kg per tree.
    pub yield_kg: Vec<f64>,
    /// Fraction of the canopy removed, 0 when unpruned.
    pub intensity: Vec<f64>,
    /// Days before the flush start; NaN when unpruned.
    pub lead_days: Vec<f64>,
    /// Basis of the intensity; `none` when unpruned.
    pub basis: Labelled,
    /// Working minutes; NaN when not recorded.
    pub minutes: Vec<f64>,
    /// Age at harvest, years; NaN when unknown.
    pub age_years: Vec<f64>,
    /// Trees per hectare; NaN when unknown.
    pub trees_per_ha: Vec<f64>,
    /// Variety; empty when unknown.
    pub variety: Labelled,
    /// Trunk girth, cm; NaN when unknown.
    pub girth_cm: Vec<f64>,
    /// Intensity of the same tree in the season before; NaN when that season is not recorded.
    pub previous_intensity: Vec<f64>,
    /// Whether the tree is in a randomised trial of pruning.
    pub in_trial: Vec<bool>,
    /// Whether it is in one of other treatments, whose effect no cut has.
    pub treated_otherwise: Vec<bool>,
    /// Whether the tree is under the training age.
    pub young: Vec<bool>,
}

impl TreeSeasons {
    /// Reads a record batch that follows `records::tree_season::COLUMNS`.
    ///
    /// # Errors
    /// [`TableError`] when a column is absent or of another type.
    pub fn from_batch(batch: &RecordBatch) -> Result<Self, TableError> {
        Ok(Self {
            region: labelled(batch, ts::REGION)?,
            site: labelled(batch, ts::SITE)?,
            block: labelled(batch, ts::BLOCK)?,
            tree: labelled(batch, ts::TREE)?,
            season: column::<Int32Array>(batch, ts::SEASON, "32-bit whole numbers")?
                .values()
                .to_vec(),
            yield_kg: floats(batch, ts::YIELD_KG)?,
            intensity: floats(batch, ts::INTENSITY)?,
            lead_days: floats(batch, ts::LEAD_DAYS)?,
            basis: labelled(batch, ts::BASIS)?,
            minutes: floats(batch, ts::MINUTES)?,
            age_years: floats(batch, ts::AGE_YEARS)?,
            trees_per_ha: floats(batch, ts::TREES_PER_HA)?,
            variety: labelled(batch, ts::VARIETY)?,
            girth_cm: floats(batch, ts::GIRTH_CM)?,
            previous_intensity: floats(batch, ts::PREVIOUS_INTENSITY)?,
            in_trial: labelled(batch, ts::EVIDENCE)?.is_label("trial"),
            treated_otherwise: labelled(batch, ts::EVIDENCE)?.is_label("other"),
            young: column::<BooleanArray>(batch, ts::YOUNG, "true or false")?
                .iter()
                .map(|young| young.unwrap_or(false))
                .collect(),
        })
    }

    /// Number of tree-seasons.
    #[must_use]
    pub fn len(&self) -> usize {
        self.season.len()
    }

    /// Whether there is no tree-season.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.season.is_empty()
    }

    /// The rows of the given positions, with labels coded anew.
    #[must_use]
    pub fn select(&self, rows: &[usize]) -> Self {
        let pick = |values: &[f64]| rows.iter().filter_map(|&r| values.get(r).copied()).collect();
        let flags = |values: &[bool]| rows.iter().filter_map(|&r| values.get(r).copied()).collect();
        let relabel =
            |column: &Labelled| Labelled::from_values(rows.iter().map(|&row| column.label(row)));
        Self {
            region: relabel(&self.region),
            site: relabel(&self.site),
            block: relabel(&self.block),
            tree: relabel(&self.tree),
            season: rows.iter().filter_map(|&r| self.season.get(r).copied()).collect(),
            yield_kg: pick(&self.yield_kg),
            intensity: pick(&self.intensity),
            lead_days: pick(&self.lead_days),
            basis: relabel(&self.basis),
            minutes: pick(&self.minutes),
            age_years: pick(&self.age_years),
            trees_per_ha: pick(&self.trees_per_ha),
            variety: relabel(&self.variety),
            girth_cm: pick(&self.girth_cm),
            previous_intensity: pick(&self.previous_intensity),
            in_trial: flags(&self.in_trial),
            treated_otherwise: flags(&self.treated_otherwise),
            young: flags(&self.young),
        }
    }
}

impl Labelled {
    fn is_label(&self, label: &str) -> Vec<bool> {
        let code = self.labels.iter().position(|candidate| candidate == label);
        self.codes.iter().map(|&c| Some(c as usize) == code).collect()
    }
}

pub(crate) fn column<'a, T: Array + 'static>(
    batch: &'a RecordBatch,
    name: &str,
    expected: &'static str,
) -> Result<&'a T, TableError> {
    batch
        .column_by_name(name)
        .ok_or_else(|| TableError::Missing(name.to_owned()))?
        .as_any()
        .downcast_ref()
        .ok_or_else(|| TableError::WrongType { name: name.to_owned(), expected })
}

pub(crate) fn labelled(batch: &RecordBatch, name: &str) -> Result<Labelled, TableError> {
    let array = column::<StringArray>(batch, name, "text")?;
    Ok(Labelled::from_values(array.iter().map(|value| value.unwrap_or(""))))
}

pub(crate) fn floats(batch: &RecordBatch, name: &str) -> Result<Vec<f64>, TableError> {
    let array = column::<Float64Array>(batch, name, "64-bit floats")?;
    Ok(array.iter().map(|value| value.unwrap_or(f64::NAN)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_do_not_depend_on_row_order() {
        let forward = Labelled::from_values(["b", "a", "c", "a"].into_iter());
        assert_eq!(forward.labels, ["a", "b", "c"]);
        assert_eq!(forward.codes, [1, 0, 2, 0]);
        assert_eq!(forward.label(2), "c");
        assert_eq!(forward.is_label("a"), [false, true, false, true]);
    }

    #[test]
    fn a_table_without_its_columns_is_refused() {
        let empty = RecordBatch::new_empty(std::sync::Arc::new(arrow::datatypes::Schema::empty()));
        assert_eq!(TreeSeasons::from_batch(&empty), Err(TableError::Missing("region".to_owned())));
    }
}
