//! The estimator as linfa sees it: parameters, `Fit` and `Predict` on ndarray data sets.

use crate::Error;
use crate::data::{Data, Factor, FixedColumn};
use crate::fit::{Fit, fit_moments};
use crate::moments::Moments;
use crate::settings::Settings;
use linfa::ParamGuard;
use linfa::dataset::{AsSingleTargets, DatasetBase};
use linfa::traits::PredictInplace;
use ndarray::{Array1, ArrayBase, Data as Storage, Ix2};

impl From<linfa::Error> for Error {
    fn from(error: linfa::Error) -> Self {
        Error::Interface(error.to_string())
    }
}

/// Unchecked parameters of a random-intercept model on a record matrix.
///
/// Columns named as groups hold level codes (whole numbers from 0); all other
/// columns, but for a weight column, are fixed columns beside an intercept.
/// linfa's own data set weights are single precision and are not read.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedParams(MixedValidParams);

/// Checked parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedValidParams {
    settings: Settings,
    group_columns: Vec<usize>,
    weight_column: Option<usize>,
    levels: Option<Vec<usize>>,
}

impl MixedParams {
    /// A random intercept for each of these columns.
    pub fn new(group_columns: Vec<usize>) -> Self {
        MixedParams(MixedValidParams {
            settings: Settings::default(),
            group_columns,
            weight_column: None,
            levels: None,
        })
    }

    /// Sets how to fit.
    #[must_use]
    pub fn settings(mut self, settings: Settings) -> Self {
        self.0.settings = settings;
        self
    }

    /// Declares the number of levels of each group column. Without this it is
    /// the largest code met plus one, which later chunks may exceed.
    #[must_use]
    pub fn levels(mut self, levels: Vec<usize>) -> Self {
        self.0.levels = Some(levels);
        self
    }

    /// Takes prior weights from a column.
    #[must_use]
    pub fn weight_column(mut self, column: usize) -> Self {
        self.0.weight_column = Some(column);
        self
    }
}

impl ParamGuard for MixedParams {
    type Checked = MixedValidParams;
    type Error = Error;

    fn check_ref(&self) -> Result<&MixedValidParams, Error> {
        self.0.settings.check()?;
        let mut seen = self.0.group_columns.clone();
        seen.extend(self.0.weight_column);
        seen.sort_unstable();
        if let Some(levels) =
            self.0.levels.as_ref().filter(|l| l.len() != self.0.group_columns.len())
        {
            return Err(Error::LengthMismatch {
                what: "levels".into(),
                expected: self.0.group_columns.len(),
                found: levels.len(),
            });
        }
        match seen.windows(2).find(|w| w[0] == w[1]) {
            Some(twice) => Err(Error::DuplicateName { name: format!("column {}", twice[0]) }),
            None => Ok(&self.0),
        }
    }

    fn check(self) -> Result<MixedValidParams, Error> {
        self.check_ref()?;
        Ok(self.0)
    }
}

/// A fitted model with the roles of the record columns.
#[derive(Debug, Clone)]
pub struct MixedModel {
    fit: Fit,
    moments: Moments,
    fixed_columns: Vec<usize>,
}

impl MixedModel {
    /// The fit, with all of its inference.
    pub fn fit(&self) -> &Fit {
        &self.fit
    }
}

impl<D, T> linfa::traits::Fit<ArrayBase<D, Ix2>, T, Error> for MixedValidParams
where
    D: Storage<Elem = f64>,
    T: AsSingleTargets<Elem = f64>,
{
    type Object = MixedModel;

    fn fit(&self, dataset: &DatasetBase<ArrayBase<D, Ix2>, T>) -> Result<MixedModel, Error> {
        let (moments, fixed_columns) = self.moments(dataset)?;
        Ok(MixedModel { fit: fit_moments(&moments, &self.settings)?, moments, fixed_columns })
    }
}

/// Adds the rows of another data set to a model and fits again: the result is
/// that of one fit to all rows, because moments add up.
impl<'a, D, T> linfa::traits::FitWith<'a, ArrayBase<D, Ix2>, T, Error> for MixedValidParams
where
    D: Storage<Elem = f64>,
    T: AsSingleTargets<Elem = f64>,
{
    type ObjectIn = Option<MixedModel>;
    type ObjectOut = MixedModel;

    fn fit_with(
        &self,
        model: Option<MixedModel>,
        dataset: &'a DatasetBase<ArrayBase<D, Ix2>, T>,
    ) -> Result<MixedModel, Error> {
        let (mut moments, fixed_columns) = self.moments(dataset)?;
        if let Some(model) = &model {
            moments.merge(&model.moments)?;
        }
        Ok(MixedModel { fit: fit_moments(&moments, &self.settings)?, moments, fixed_columns })
    }
}

impl MixedValidParams {
    fn moments<D, T>(
        &self,
        dataset: &DatasetBase<ArrayBase<D, Ix2>, T>,
    ) -> Result<(Moments, Vec<usize>), Error>
    where
        D: Storage<Elem = f64>,
        T: AsSingleTargets<Elem = f64>,
    {
        let records = &dataset.records;
        let response = dataset.as_single_targets().to_vec();
        let column = |j: usize| records.column(j).to_vec();
        let special = self.group_columns.iter().chain(&self.weight_column);
        let fixed_columns = other_columns(records.ncols(), special)?;
        let codes = self
            .group_columns
            .iter()
            .map(|j| level_codes(&column(*j)))
            .collect::<Result<Vec<Vec<u32>>, Error>>()?;
        let weights = self.weight_column.map(column);
        let mut data = Data::new(&response).intercept();
        if let Some(weights) = &weights {
            data = data.weights(weights);
        }
        for j in &fixed_columns {
            data = data.column(FixedColumn::new(format!("column {j}"), column(*j)));
        }
        for (at, (j, codes)) in self.group_columns.iter().zip(&codes).enumerate() {
            let declared = self.levels.as_ref().and_then(|l| l.get(at).copied());
            let levels = declared.unwrap_or_else(|| level_count(codes));
            data = data.factor(Factor::intercept(format!("column {j}"), codes, levels));
        }
        Ok((Moments::accumulate(&data)?, fixed_columns))
    }
}

/// Columns without a special role, ascending.
pub(crate) fn other_columns<'a>(
    columns: usize,
    special: impl Iterator<Item = &'a usize> + Clone,
) -> Result<Vec<usize>, Error> {
    match special.clone().find(|j| **j >= columns) {
        Some(j) => Err(Error::Unknown { what: format!("column {j}") }),
        None => Ok((0..columns).filter(|j| !special.clone().any(|s| s == j)).collect()),
    }
}

/// Levels that codes from 0 need.
pub(crate) fn level_count(codes: &[u32]) -> usize {
    codes.iter().max().map_or(0, |m| *m as usize + 1)
}

/// Level codes from a column of whole numbers.
pub(crate) fn level_codes(values: &[f64]) -> Result<Vec<u32>, Error> {
    values
        .iter()
        .map(|v| {
            let whole = *v >= 0.0 && *v < f64::from(u32::MAX) && v.fract() == 0.0;
            whole.then_some(*v as u32).ok_or(Error::BadSetting {
                name: "level code",
                value: *v,
                need: "a whole number from 0",
            })
        })
        .collect()
}

/// Population means. Rows that cannot be predicted (a column is missing, a
/// mean is not estimable) are NaN, because the trait knows no errors.
impl<D: Storage<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for MixedModel {
    fn predict_inplace<'a>(&'a self, x: &'a ArrayBase<D, Ix2>, y: &mut Array1<f64>) {
        for (row, out) in x.rows().into_iter().zip(y.iter_mut()) {
            let mut point = vec![1.0];
            let values = self.fixed_columns.iter();
            point.extend(values.map(|j| row.get(*j).copied().unwrap_or(f64::NAN)));
            let target = point
                .iter()
                .all(|v| v.is_finite())
                .then(|| self.fit.fixed_target(&point))
                .flatten();
            *out = target.map_or(f64::NAN, |(t, offset)| self.fit.read(&t).0 + offset);
        }
    }

    fn default_target(&self, x: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::zeros(x.nrows())
    }
}
