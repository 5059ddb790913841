//! The generalised estimator as linfa sees it: parameters, `Fit` and `Predict` on ndarray data sets.

use crate::linfa_edge::{level_codes, level_count, other_columns};
use crate::{
    Error, Factor, Family, FixedColumn, GeneralisedData, GeneralisedFit, Point, ResponseKind,
    fit_generalised,
};
use linfa::ParamGuard;
use linfa::dataset::{AsSingleTargets, DatasetBase};
use linfa::traits::PredictInplace;
use ndarray::{Array1, ArrayBase, Data as Storage, Ix2};

/// Unchecked parameters of a generalised random-intercept model on a record matrix.
///
/// Columns named as groups hold level codes (whole numbers from 0); all other
/// columns, but for an offset and a weight column, are fixed columns beside an
/// intercept. linfa's own data set weights are single precision and are not read.
#[derive(Debug, Clone, PartialEq)]
pub struct GeneralisedParams(GeneralisedValidParams);

/// Checked parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct GeneralisedValidParams {
    family: Family,
    group_columns: Vec<usize>,
    offset_column: Option<usize>,
    weight_column: Option<usize>,
}

impl GeneralisedParams {
    /// A random intercept for each of these columns; none for a generalised
    /// linear model.
    pub fn new(family: Family, group_columns: Vec<usize>) -> Self {
        GeneralisedParams(GeneralisedValidParams {
            family,
            group_columns,
            offset_column: None,
            weight_column: None,
        })
    }

    /// Takes the known part of the log mean from a column.
    #[must_use]
    pub fn offset_column(mut self, column: usize) -> Self {
        self.0.offset_column = Some(column);
        self
    }

    /// Takes prior weights from a column.
    #[must_use]
    pub fn weight_column(mut self, column: usize) -> Self {
        self.0.weight_column = Some(column);
        self
    }
}

impl ParamGuard for GeneralisedParams {
    type Checked = GeneralisedValidParams;
    type Error = Error;

    fn check_ref(&self) -> Result<&GeneralisedValidParams, Error> {
        let mut seen: Vec<usize> = self.0.special().copied().collect();
        seen.sort_unstable();
        match seen.windows(2).find(|w| w[0] == w[1]) {
            Some(twice) => Err(Error::DuplicateName { name: format!("column {}", twice[0]) }),
            None => Ok(&self.0),
        }
    }

    fn check(self) -> Result<GeneralisedValidParams, Error> {
        self.check_ref()?;
        Ok(self.0)
    }
}

impl GeneralisedValidParams {
    fn special(&self) -> impl Iterator<Item = &usize> + Clone {
        self.group_columns.iter().chain(&self.offset_column).chain(&self.weight_column)
    }
}

/// A fitted model with the roles of the record columns.
#[derive(Debug, Clone)]
pub struct GeneralisedModel {
    fit: GeneralisedFit,
    fixed_columns: Vec<usize>,
    offset_column: Option<usize>,
}

impl GeneralisedModel {
    /// The fit, with all of its inference.
    pub fn fit(&self) -> &GeneralisedFit {
        &self.fit
    }
}

impl<D, T> linfa::traits::Fit<ArrayBase<D, Ix2>, T, Error> for GeneralisedValidParams
where
    D: Storage<Elem = f64>,
    T: AsSingleTargets<Elem = f64>,
{
    type Object = GeneralisedModel;

    fn fit(&self, dataset: &DatasetBase<ArrayBase<D, Ix2>, T>) -> Result<GeneralisedModel, Error> {
        let records = &dataset.records;
        let response = dataset.as_single_targets().to_vec();
        let column = |j: usize| records.column(j).to_vec();
        let fixed_columns = other_columns(records.ncols(), self.special())?;
        let codes = self
            .group_columns
            .iter()
            .map(|j| level_codes(&column(*j)))
            .collect::<Result<Vec<Vec<u32>>, Error>>()?;
        let (offset, weights) = (self.offset_column.map(column), self.weight_column.map(column));
        let mut data = GeneralisedData::new(&response).intercept();
        data.offset = offset.as_deref();
        data.weights = weights.as_deref();
        for j in &fixed_columns {
            data = data.column(FixedColumn::new(format!("column {j}"), column(*j)));
        }
        for (j, codes) in self.group_columns.iter().zip(&codes) {
            let name = format!("column {j}");
            data = data.factor(Factor::intercept(name, codes, level_count(codes)));
        }
        let fit = fit_generalised(&data, self.family)?;
        Ok(GeneralisedModel { fit, fixed_columns, offset_column: self.offset_column })
    }
}

/// Population means on the response scale. Rows that cannot be predicted (a
/// column is missing or not finite) are NaN, because the trait knows no errors.
impl<D: Storage<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for GeneralisedModel {
    fn predict_inplace<'a>(&'a self, x: &'a ArrayBase<D, Ix2>, y: &mut Array1<f64>) {
        for (row, out) in x.rows().into_iter().zip(y.iter_mut()) {
            let value = |j: usize| row.get(j).copied().unwrap_or(f64::NAN);
            let mut fixed = vec![1.0];
            fixed.extend(self.fixed_columns.iter().map(|j| value(*j)));
            let offset = self.offset_column.map_or(0.0, value);
            let point = Point { fixed, ..Point::default() };
            *out = self
                .fit
                .predict(&point, offset, ResponseKind::PopulationMean, 0.95)
                .map_or(f64::NAN, |p| p.estimate);
        }
    }

    fn default_target(&self, x: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::zeros(x.nrows())
    }
}
