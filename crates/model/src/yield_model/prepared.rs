//! What is settled before the final fits: rows, scale, the crop before, and the families of curves.

use super::scale_choice::{self, Choice};
use super::shape_choice::{Chosen, Remainder};
use super::{
    Adjustment, Maker, RowUse, YieldError, YieldSettings, correlations, left_out, pooled, rough,
    rows, sample, shape_choice,
};
use crate::curve::{IntensityShape, Knots};
use crate::design::Design;
use crate::table::TreeSeasons;
use mixed::{Fit, JointTest, Settings};

/// Rows of a yield model with everything that its final designs are made from.
pub(crate) struct Prepared {
    /// Rows of the model.
    pub(crate) table: TreeSeasons,
    /// Rows used and left out.
    pub(crate) rows: RowUse,
    /// Scale of the response.
    pub(super) choice: Choice,
    /// Yields on that scale.
    pub(crate) response: Vec<f64>,
    /// Test of habit by region.
    pub(super) habit_tests: Vec<(String, JointTest)>,
    /// Design and fit from which the crop before deviates.
    pub(crate) girthed: (Design, Fit),
    /// These deviations by row.
    pub(super) deviations: Vec<f64>,
    /// Their lag-1 correlation by region.
    pub(crate) correlations: Vec<f64>,
    /// Rows on which families were compared.
    pub(super) compared: Vec<usize>,
    /// Families, knots and knees.
    pub(super) chosen: Chosen,
}

impl Prepared {
    /// Settles them for a linked table.
    pub(crate) fn new(table: &TreeSeasons, settings: &YieldSettings) -> Result<Self, YieldError> {
        let (table, rows) = rows::usable(table)?;
        let plain = Maker { table: &table, adjustment: Adjustment::None };
        let first = plain.design(IntensityShape::Quadratic, Knots::default())?;
        let choice = scale_choice::choose(&table, &first, settings.scale)?;
        let scale = choice.scale;
        let response: Vec<f64> = table.yield_kg.iter().map(|&kg| scale.forward(kg)).collect();
        let first_fit = mixed::fit(&scale_choice::data(&first, &response), &Settings::default())?;
        let habit_tests = pooled::habit_tests(&table, &first, &first_fit)?;
        let nuisance = pooled::Nuisance::of(&table, &first, &first_fit)?;
        let remainder = Remainder {
            response: (0..table.len())
                .map(|row| response[row] - nuisance.fixed[row] - nuisance.random_but_trees[row])
                .collect(),
            spread: left_out::TreeSpread::of(&first_fit)?,
        };

        let girthed = Maker { table: &table, adjustment: Adjustment::Girth }
            .design(IntensityShape::Quadratic, Knots::default())?;
        let girthed_fit = mixed::fit(&scale_choice::data(&girthed, &response), &rough())?;
        let deviations = left_out::deviations(&table, &girthed, &response, &girthed_fit)?;
        let correlations = correlations(&table, &response, &deviations)?;
        let maker = Maker {
            table: &table,
            adjustment: Adjustment::GirthAndCrop(&deviations, &correlations),
        };
        let compared = sample::rows(&table, sample::MOST_ROWS);
        let chosen = if compared.len() == table.len() {
            shape_choice::choose(
                &table,
                &response,
                remainder,
                &|family, knots, knees| maker.timed((family, knots, knees), &response),
                settings.seed,
            )?
        } else {
            maker.choose_on(&compared, &response, remainder, settings.seed)?
        };
        let girthed = (girthed, girthed_fit);
        Ok(Self {
            rows,
            choice,
            response,
            habit_tests,
            girthed,
            deviations,
            correlations,
            compared,
            chosen,
            table,
        })
    }

    /// Makes the designs of the final fits.
    pub(super) fn maker(&self) -> Maker<'_> {
        let adjustment = Adjustment::GirthAndCrop(&self.deviations, &self.correlations);
        Maker { table: &self.table, adjustment }
    }

    /// Scale of the response.
    pub(crate) fn scale(&self) -> crate::scale::Scale {
        self.choice.scale
    }

    /// The design of the leading family.
    pub(crate) fn leading(&self) -> Result<Design, YieldError> {
        let chosen = &self.chosen;
        let family = chosen.choice.leading();
        self.maker().timed((family, chosen.choice.knots, &chosen.knees.best), &self.response)
    }
}
