//! What the review reads: the linked tree-season table by column.

use crate::error::{ReviewError, same_length};
use std::collections::BTreeMap;

/// A text column as codes into its labels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Labels<'a> {
    /// Code of each row.
    pub codes: &'a [u32],
    /// Label of each code.
    pub labels: &'a [String],
}

impl<'a> Labels<'a> {
    /// Label of a row; empty when there is none.
    #[must_use]
    pub fn label(&self, row: usize) -> &'a str {
        self.codes
            .get(row)
            .and_then(|&code| self.labels.get(code as usize))
            .map_or("", String::as_str)
    }

    /// Code of a row as a position; 0 beyond the last row.
    #[must_use]
    pub fn code(&self, row: usize) -> usize {
        self.codes.get(row).map_or(0, |&code| code as usize)
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

    pub(crate) fn check(&self, column: &'static str, rows: usize) -> Result<(), ReviewError> {
        same_length(column, rows, self.codes.len())?;
        match self.codes.iter().find(|&&code| code as usize >= self.labels.len()) {
            Some(&code) => Err(ReviewError::Code { column, code }),
            None => Ok(()),
        }
    }
}

/// One value per tree-season of bearing trees, all seasons; NaN stands for a missing number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TreeSeasons<'a> {
    /// Region.
    pub region: Labels<'a>,
    /// Site.
    pub site: Labels<'a>,
    /// Block.
    pub block: Labels<'a>,
    /// Tree.
    pub tree: Labels<'a>,
    /// Variety; an empty label when unknown.
    pub variety: Labels<'a>,
    /// Year in which the harvest opened.
    pub season: &'a [i32],
    /// Yield, kg per tree.
    pub yield_kg: &'a [f64],
    /// Fraction of the canopy removed, 0 when unpruned.
    pub intensity: &'a [f64],
    /// Age at harvest, years.
    pub age_years: &'a [f64],
    /// Trees per hectare.
    pub trees_per_ha: &'a [f64],
    /// Effect of each row's pruning against none, on the model's scale, where a yield model gave it
    /// (the region's curve at the row's intensity and lead); `None` to fit one curve for all regions.
    pub pruning_effect: Option<&'a [f64]>,
    /// Rows of trees too young to be compared with the others of their region; `None` where there are none.
    pub too_young: Option<&'a [bool]>,
}

impl TreeSeasons<'_> {
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

    /// Last season of each region with a row, by region id: regions close their seasons on different
    /// days.
    #[must_use]
    pub fn last_seasons(&self) -> BTreeMap<String, i32> {
        let mut last = BTreeMap::new();
        for (row, &season) in self.season.iter().enumerate() {
            let own = last.entry(self.region.label(row).to_owned()).or_insert(season);
            *own = season.max(*own);
        }
        last
    }

    /// Checks lengths and codes.
    ///
    /// # Errors
    /// [`ReviewError::Length`] or [`ReviewError::Code`] names the first column at fault.
    pub fn check(&self) -> Result<(), ReviewError> {
        let rows = self.len();
        self.region.check("region", rows)?;
        self.site.check("site", rows)?;
        self.block.check("block", rows)?;
        self.tree.check("tree", rows)?;
        self.variety.check("variety", rows)?;
        same_length("yield_kg", rows, self.yield_kg.len())?;
        same_length("intensity", rows, self.intensity.len())?;
        same_length("age_years", rows, self.age_years.len())?;
        same_length("trees_per_ha", rows, self.trees_per_ha.len())?;
        if let Some(effect) = self.pruning_effect {
            same_length("pruning_effect", rows, effect.len())?;
        }
        self.too_young.map_or(Ok(()), |young| same_length("too_young", rows, young.len()))
    }
}
