//! Estimable means: averages over a reference grid, their differences, and what the rows cannot estimate.

use crate::contrast::{Contrast, DfMethod, Estimate, JointTest};
use crate::fit::Fit;
use crate::kenward_roger::KenwardRoger;
use crate::record::RowCounts;
use crate::settings::check_level;
use crate::status::Status;
use crate::{Error, contrast::tabulate};
use serde::Serialize;

/// One point of a reference grid.
#[derive(Debug, Clone, PartialEq)]
pub struct GridRow {
    /// Weight within its mean, at least 0; only ratios matter.
    pub weight: f64,
    /// Values of the fixed columns in user units, intercept included.
    pub columns: Vec<f64>,
}

/// A mean over grid rows (Searle, Speed, Milliken 1980).
#[derive(Debug, Clone, PartialEq)]
pub struct GridMean {
    /// Unique name, for example the level of a treatment.
    pub name: String,
    /// Points that are averaged.
    pub over: Vec<GridRow>,
}

/// Allowance for the number of comparisons in a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Adjustment {
    /// Each row stands alone.
    None,
    /// P-values times the number of rows (at most 1), limits at level
    /// 1 - (1 - level) / rows. Rows that are not estimable count too.
    Bonferroni,
}

/// One line of a [`MeansTable`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeansRow {
    /// Name of the mean, or `first - second` for a difference.
    pub name: String,
    /// Estimate with its limits, or `NotEstimable`.
    pub value: Contrast,
}

/// Means or differences with everything needed to read them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeansTable {
    /// What the rows are: `mean`, `difference of means` or `contrast of means`.
    pub estimand: String,
    /// Grid rows averaged, by mean.
    pub averaged_over: Vec<usize>,
    /// Source of the degrees of freedom.
    pub df_method: DfMethod,
    /// Level of the limits, before the adjustment.
    pub level: f64,
    /// Allowance for the number of rows.
    pub adjustment: Adjustment,
    /// Rows of data used and dropped.
    pub rows_of_data: RowCounts,
    /// How the fit ended.
    pub status: Status,
    /// Lines of the table.
    pub rows: Vec<MeansRow>,
}

/// Means of a fit, ready for tables.
#[derive(Debug, Clone)]
pub struct EstimableMeans {
    fit: Fit,
    adjusted: Option<KenwardRoger>,
    names: Vec<String>,
    vectors: Vec<Vec<f64>>,
    sizes: Vec<usize>,
}

impl Fit {
    /// Prepares means over reference grids.
    ///
    /// # Errors
    /// A repeated name, a mean without a row of positive weight, bad weights
    /// or columns; those of [`Fit::kenward_roger`] when `method` asks for it.
    pub fn estimable_means(
        &self,
        means: &[GridMean],
        method: DfMethod,
    ) -> Result<EstimableMeans, Error> {
        let mut names: Vec<String> = Vec::with_capacity(means.len());
        let mut vectors = Vec::with_capacity(means.len());
        for mean in means {
            if names.contains(&mean.name) {
                return Err(Error::DuplicateName { name: mean.name.clone() });
            }
            vectors.push(self.average(mean)?);
            names.push(mean.name.clone());
        }
        let adjusted = match method {
            DfMethod::Satterthwaite => None,
            DfMethod::KenwardRoger => Some(self.kenward_roger()?),
        };
        let sizes = means.iter().map(|m| m.over.len()).collect();
        Ok(EstimableMeans { fit: self.clone(), adjusted, names, vectors, sizes })
    }

    fn average(&self, mean: &GridMean) -> Result<Vec<f64>, Error> {
        let mut vector = vec![0.0; self.system.layout.p()];
        let mut total = 0.0;
        for (row, point) in mean.over.iter().enumerate() {
            self.check_contrast(&point.columns)?;
            if !(point.weight >= 0.0 && point.weight.is_finite()) {
                return Err(Error::BadWeight { row, value: point.weight });
            }
            total += point.weight;
            for (v, x) in vector.iter_mut().zip(&point.columns) {
                *v += point.weight * x;
            }
        }
        if total <= 0.0 {
            return Err(Error::BadSetting {
                name: "weights of a mean",
                value: total,
                need: "a sum above 0",
            });
        }
        vector.iter_mut().for_each(|v| *v /= total);
        Ok(vector)
    }
}

impl EstimableMeans {
    /// The means themselves.
    ///
    /// # Errors
    /// A level outside (0, 1); no usable curvature.
    pub fn table(&self, level: f64) -> Result<MeansTable, Error> {
        let rows = self.names.iter().cloned().zip(self.vectors.iter().cloned());
        self.tabulate("mean", rows.collect(), level, Adjustment::None)
    }

    /// All pairs `first - second`, in the order given.
    ///
    /// # Errors
    /// As for [`EstimableMeans::table`].
    pub fn pairs(&self, level: f64, adjustment: Adjustment) -> Result<MeansTable, Error> {
        let mut rows = Vec::new();
        for (i, a) in self.vectors.iter().enumerate() {
            for (j, b) in self.vectors.iter().enumerate().skip(i + 1) {
                let difference = a.iter().zip(b).map(|(x, y)| x - y).collect();
                rows.push((format!("{} - {}", self.names[i], self.names[j]), difference));
            }
        }
        self.tabulate("difference of means", rows, level, adjustment)
    }

    /// Named combinations of the means, one coefficient per mean.
    ///
    /// # Errors
    /// Wrong number of coefficients, or one that is not finite; as for
    /// [`EstimableMeans::table`].
    pub fn contrasts(
        &self,
        named: &[(String, Vec<f64>)],
        level: f64,
        adjustment: Adjustment,
    ) -> Result<MeansTable, Error> {
        let mut rows = Vec::with_capacity(named.len());
        for (name, coefficients) in named {
            if coefficients.len() != self.vectors.len() {
                return Err(Error::LengthMismatch {
                    what: name.clone(),
                    expected: self.vectors.len(),
                    found: coefficients.len(),
                });
            }
            let mut vector = vec![0.0; self.fit.system.layout.p()];
            for (c, mean) in coefficients.iter().zip(&self.vectors) {
                for (v, x) in vector.iter_mut().zip(mean) {
                    *v += c * x;
                }
            }
            rows.push((name.clone(), vector));
        }
        self.tabulate("contrast of means", rows, level, adjustment)
    }

    /// F test that all means are equal.
    ///
    /// # Errors
    /// No usable curvature; Kenward-Roger with means that depend on each other.
    pub fn equality(&self) -> Result<JointTest, Error> {
        let Some((first, others)) = self.vectors.split_first() else {
            return Ok(JointTest::NotEstimable);
        };
        let rows: Vec<Vec<f64>> =
            others.iter().map(|v| v.iter().zip(first).map(|(a, b)| a - b).collect()).collect();
        match &self.adjusted {
            Some(kr) => kr.joint_test(&rows),
            None => self.fit.joint_test(&rows),
        }
    }

    fn method(&self) -> DfMethod {
        match self.adjusted {
            Some(_) => DfMethod::KenwardRoger,
            None => DfMethod::Satterthwaite,
        }
    }

    fn tabulate(
        &self,
        estimand: &str,
        rows: Vec<(String, Vec<f64>)>,
        level: f64,
        adjustment: Adjustment,
    ) -> Result<MeansTable, Error> {
        check_level(level)?;
        let count = rows.len() as f64;
        let mut out = Vec::with_capacity(rows.len());
        for (name, vector) in rows {
            let value = match &self.adjusted {
                Some(kr) => kr.contrast(&vector, level)?,
                None => self.fit.contrast(&vector, level)?,
            };
            let value = match (value, adjustment) {
                (Contrast::Estimated(e), Adjustment::Bonferroni) => {
                    Contrast::Estimated(bonferroni(&e, count))
                }
                (value, _) => value,
            };
            out.push(MeansRow { name, value });
        }
        Ok(MeansTable {
            estimand: estimand.to_owned(),
            averaged_over: self.sizes.clone(),
            df_method: self.method(),
            level,
            adjustment,
            rows_of_data: self.fit.record().rows.clone(),
            status: self.fit.status().clone(),
            rows: out,
        })
    }
}

/// Limits and p-value for one of `count` statements that shall hold together.
fn bonferroni(e: &Estimate, count: f64) -> Estimate {
    let level = 1.0 - (1.0 - e.level) / count;
    let wide = tabulate(e.estimate, e.std_error, e.df, e.df_method, level);
    Estimate { p_value: (count * e.p_value).min(1.0), level: e.level, ..wide }
}
