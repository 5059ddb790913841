//! The rows of a generalised model: what is given, what is checked, what is kept.

use crate::data::{Data, Factor, FixedColumn};
use crate::layout::{Layout, effect_value};
use crate::record::RowCounts;
use crate::screen::screen;
use crate::units::UserUnits;
use crate::{DropReason, Error, Family, Matrix};

/// A generalised model: log mean (logit of a binomial mean) = offset + X b +
/// Z u, u as in [`Data`] with sigma 1; the response follows a [`Family`](crate::Family).
#[derive(Debug, Clone)]
pub struct GeneralisedData<'a> {
    /// Counts or amounts, at least 0; shares, 0 to 1, of a binomial model.
    pub response: &'a [f64],
    /// Known part of the log mean (log of an area counted).
    pub offset: Option<&'a [f64]>,
    /// Prior weights: multiples of a row's log-likelihood (frequencies); the
    /// trials of a binomial model.
    pub weights: Option<&'a [f64]>,
    /// Fixed columns; include an intercept.
    pub fixed: Vec<FixedColumn<'a>>,
    /// Grouping factors; none for a generalised linear model.
    pub factors: Vec<Factor<'a>>,
}

impl<'a> GeneralisedData<'a> {
    /// A model of `response` without columns or factors.
    pub fn new(response: &'a [f64]) -> Self {
        GeneralisedData {
            response,
            offset: None,
            weights: None,
            fixed: Vec::new(),
            factors: Vec::new(),
        }
    }

    /// Sets the known part of the log mean.
    #[must_use]
    pub fn offset(mut self, offset: &'a [f64]) -> Self {
        self.offset = Some(offset);
        self
    }

    /// Sets prior weights.
    #[must_use]
    pub fn weights(mut self, weights: &'a [f64]) -> Self {
        self.weights = Some(weights);
        self
    }

    /// Adds a column of ones named `intercept`.
    #[must_use]
    pub fn intercept(mut self) -> Self {
        self.fixed.push(FixedColumn::intercept(self.response.len()));
        self
    }

    /// Adds a fixed column.
    #[must_use]
    pub fn column(mut self, column: FixedColumn<'a>) -> Self {
        self.fixed.push(column);
        self
    }

    /// Adds a grouping factor.
    #[must_use]
    pub fn factor(mut self, factor: Factor<'a>) -> Self {
        self.factors.push(factor);
        self
    }
}

/// Names and units of a checked model, and which rows it uses.
pub(crate) struct Checked {
    pub layout: Layout,
    pub units: UserUnits,
    pub tally: RowCounts,
    /// Used rows, ascending.
    pub kept: Vec<usize>,
}

/// Checks lengths, values, level codes, names and units.
pub(crate) fn check(data: &GeneralisedData<'_>, family: Family) -> Result<Checked, Error> {
    let shape = Data {
        fixed: data.fixed.clone(),
        factors: data.factors.clone(),
        ..Data::new(data.response)
    };
    let layout = Layout::of(&shape)?;
    check_lengths(data)?;
    let n = data.response.len();
    let mut tally = RowCounts { read: n as u64, ..RowCounts::default() };
    let mut kept = Vec::with_capacity(n);
    let mut seen: Vec<Vec<bool>> = layout.factors.iter().map(|f| vec![false; f.levels]).collect();
    for row in 0..n {
        check_row(data, row, family)?;
        if let Some(reason) = drop_reason(data, row) {
            tally.drop_row(reason, 1);
            continue;
        }
        for (seen, factor) in seen.iter_mut().zip(&data.factors) {
            seen[factor.codes[row] as usize] = true;
        }
        kept.push(row);
    }
    tally.used = kept.len() as u64;
    if kept.is_empty() {
        return Err(Error::NoRows { read: tally.read, dropped: tally.dropped_total() });
    }
    for (seen, shape) in seen.iter().zip(&layout.factors) {
        let observed = seen.iter().filter(|s| **s).count();
        if observed < 2 {
            return Err(Error::TooFewLevels { factor: shape.name.clone(), observed });
        }
    }
    let all = |value: f64| kept.iter().all(|i| data.response[*i] == value);
    if all(0.0) || (family == Family::Binomial && all(1.0)) {
        return Err(Error::NoResidualVariation);
    }
    if layout.p() == 0 || kept.len() <= layout.p() {
        return Err(Error::TooFewRows { rows: tally.used, columns: layout.p() });
    }
    check_columns(data, &layout, &kept)?;
    let ones: Vec<bool> =
        data.fixed.iter().map(|c| kept.iter().all(|i| c.values[*i] == 1.0)).collect();
    let units = UserUnits::new(&layout, &ones)?;
    Ok(Checked { layout, units, tally, kept })
}

fn check_lengths(data: &GeneralisedData<'_>) -> Result<(), Error> {
    let expected = data.response.len();
    let check = |what: &str, found: usize| {
        if found == expected {
            Ok(())
        } else {
            Err(Error::LengthMismatch { what: what.to_owned(), expected, found })
        }
    };
    if let Some(offset) = data.offset {
        check("offset", offset.len())?;
    }
    if let Some(weights) = data.weights {
        check("weights", weights.len())?;
    }
    for column in &data.fixed {
        check(&column.name, column.values.len())?;
    }
    for factor in &data.factors {
        check(&factor.name, factor.codes.len())?;
        for effect in &factor.effects {
            if let crate::RandomEffect::Slope { name, values } = effect {
                check(name, values.len())?;
            }
        }
    }
    Ok(())
}

/// Farthest that a share times its trials may lie from a whole number:
/// rounding of a quotient.
const WHOLE: f64 = 1e-6;

fn check_row(data: &GeneralisedData<'_>, row: usize, family: Family) -> Result<(), Error> {
    let y = data.response[row];
    if y.is_finite() && (y < 0.0 || (family.is_count() && y.fract() != 0.0)) {
        return Err(Error::BadCount { row, value: y });
    }
    let trials = data.weights.map_or(1.0, |w| w[row]);
    if family == Family::Binomial && y.is_finite() && trials.is_finite() {
        let off = |v: f64| (v - v.round()).abs() > WHOLE;
        if y > 1.0 || off(trials) || off(y * trials) {
            return Err(Error::BadShare { row, share: y, trials });
        }
    }
    if let Some(w) = data.weights.map(|w| w[row]).filter(|w| !(*w >= 0.0 && w.is_finite())) {
        return Err(Error::BadWeight { row, value: w });
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
    Ok(())
}

fn drop_reason(data: &GeneralisedData<'_>, row: usize) -> Option<DropReason> {
    if !data.response[row].is_finite() {
        return Some(DropReason::Response);
    }
    let offset = data.offset.map_or(0.0, |o| o[row]);
    if !offset.is_finite() || data.fixed.iter().any(|c| !c.values[row].is_finite()) {
        return Some(DropReason::FixedColumn);
    }
    let mut effects = data.factors.iter().flat_map(|f| &f.effects);
    if !effects.all(|e| effect_value(e, row).is_finite()) {
        return Some(DropReason::SlopeColumn);
    }
    (data.weights.is_some_and(|w| w[row] == 0.0)).then_some(DropReason::ZeroWeight)
}

/// Pivot, relative to its own sum of squares, under which a column depends on
/// earlier ones: as in the linear model.
const PIVOT: f64 = 1e-10;

fn check_columns(data: &GeneralisedData<'_>, layout: &Layout, kept: &[usize]) -> Result<(), Error> {
    let p = layout.p();
    let mut gram = Matrix::zeros(p, p);
    let mut line = vec![0.0; p];
    for i in kept {
        for ((x, column), units) in line.iter_mut().zip(&data.fixed).zip(&layout.fixed) {
            *x = (column.values[*i] - units.centre) / units.scale;
        }
        for a in 0..p {
            for b in 0..=a {
                gram[(a, b)] += line[a] * line[b];
            }
        }
    }
    let screened = screen(&gram, PIVOT);
    if screened.dropped.is_empty() {
        return Ok(());
    }
    let names = screened.dropped.iter().map(|j| layout.fixed[*j].name.clone());
    Err(Error::DependentColumns { columns: names.collect() })
}
