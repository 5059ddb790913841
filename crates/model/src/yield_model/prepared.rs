//! What is settled before the final fits: rows, scale, the crop before, and the families of curves.

use super::scale_choice::{self, Choice};
use super::shape_choice::{Chosen, Remainder};
use super::{
    Adjustment, Correlations, Maker, RowUse, YieldError, YieldSettings, correlations, left_out,
    pooled, rough, rows, sample, shape_choice,
};
use crate::curve::{IntensityShape, Knots};
use crate::design::Design;
use crate::table::TreeSeasons;
use mixed::{Fit, JointTest, Settings};

/// Rows of a sample of the trees, on which what takes many fits is settled in a large book.
pub(crate) struct Sampled {
    /// Their places among all rows.
    pub(super) rows: Vec<usize>,
    pub(super) table: TreeSeasons,
    pub(super) response: Vec<f64>,
    pub(super) deviations: Vec<f64>,
}

impl Sampled {
    /// The sample that a table is large enough for.
    fn of(table: &TreeSeasons, response: &[f64], deviations: &[f64]) -> Option<Self> {
        let rows = sample::rows(table, sample::MOST_ROWS);
        if rows.len() == table.len() {
            return None;
        }
        let mut out =
            Self { table: table.select(&rows), rows, response: Vec::new(), deviations: Vec::new() };
        (out.response, out.deviations) = (out.pick(response), out.pick(deviations));
        Some(out)
    }

    fn pick(&self, values: &[f64]) -> Vec<f64> {
        self.rows.iter().map(|&row| values[row]).collect()
    }
}

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
    /// What the standard error of the earlier crop's effect is multiplied by, by region.
    pub(super) crop_growth: Vec<f64>,
    /// Rows for many fits, where these are not all.
    pub(super) sampled: Option<Sampled>,
    /// Families, knots and knees.
    pub(super) chosen: Chosen,
}

impl Prepared {
    /// Settles them for a linked table.
    pub(crate) fn new(table: &TreeSeasons, settings: &YieldSettings) -> Result<Self, YieldError> {
        let (table, rows) = rows::usable(table)?;
        let maker =
            |response, adjustment| Maker { table: &table, response, adjustment, sampled: None };
        // Columns do not depend on the response.
        let first = maker(&table.yield_kg, Adjustment::None)
            .design(IntensityShape::Quadratic, Knots::default())?;
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

        let girthed = maker(&response, Adjustment::Girth)
            .design(IntensityShape::Quadratic, Knots::default())?;
        let girthed_fit =
            mixed::fit(&scale_choice::data(&girthed, &response), &rough(Some(&first_fit)))?;
        let deviations = left_out::deviations(&table, &girthed, &response, &girthed_fit)?;
        let sampled = Sampled::of(&table, &response, &deviations);
        let (correlations, remainder) = match &sampled {
            None => (correlations(&table, &response, &deviations)?, remainder),
            Some(own) => (
                correlations(&own.table, &own.response, &own.deviations)?,
                Remainder { response: own.pick(&remainder.response), ..remainder },
            ),
        };
        let Correlations { values: correlations, growth: crop_growth } = correlations;
        let adjustment = Adjustment::GirthAndCrop(&deviations, &correlations);
        let many = Maker { sampled: sampled.as_ref(), ..maker(&response, adjustment) }.on_sample();
        let mut chosen = shape_choice::choose(
            many.table,
            many.response,
            remainder,
            &|family, knots, knees| many.timed((family, knots, knees)),
            settings.seed,
        )?;
        chosen.choice.compared_on = sampled.as_ref().map(|sampled| sampled.rows.len() as u64);
        let girthed = (girthed, girthed_fit);
        Ok(Self {
            rows,
            choice,
            response,
            habit_tests,
            girthed,
            deviations,
            correlations,
            crop_growth,
            sampled,
            chosen,
            table,
        })
    }

    /// Makes the designs of the final fits.
    pub(super) fn maker(&self) -> Maker<'_> {
        let adjustment = Adjustment::GirthAndCrop(&self.deviations, &self.correlations);
        Maker {
            table: &self.table,
            response: &self.response,
            adjustment,
            sampled: self.sampled.as_ref(),
        }
    }

    /// Scale of the response.
    pub(crate) fn scale(&self) -> crate::scale::Scale {
        self.choice.scale
    }

    /// The design of the leading family.
    pub(crate) fn leading(&self) -> Result<Design, YieldError> {
        let chosen = &self.chosen;
        let family = chosen.choice.leading();
        self.maker().timed((family, chosen.choice.knots, &chosen.knees.best))
    }
}
