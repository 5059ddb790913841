//! Names, sizes and positions: which entry of theta and which column of the system is what.

use crate::Error;
use crate::data::{Covariance, Data, RandomEffect};
use std::collections::BTreeSet;

/// Most cells that a factorisation may hold (8 bytes each: 1.15 GB): as many as
/// 12000 columns that all meet one another.
pub(crate) const CELL_LIMIT: usize = 12_000 * 12_000;

/// Declared centre and scale of a column.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Units {
    pub name: String,
    pub centre: f64,
    pub scale: f64,
}

/// One factor: where its theta entries and its columns start.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FactorLayout {
    pub name: String,
    pub levels: usize,
    pub effects: Vec<String>,
    pub covariance: Covariance,
    pub theta_start: usize,
    /// First column in the reduced system; `None` for the eliminated factor.
    pub column_start: Option<usize>,
}

impl FactorLayout {
    pub fn k(&self) -> usize {
        self.effects.len()
    }

    pub fn theta_count(&self) -> usize {
        let k = self.k();
        match self.covariance {
            Covariance::Correlated => k * (k + 1) / 2,
            Covariance::Independent => k,
        }
    }

    /// (row, column) of each theta entry in Lambda, column-major lower triangle.
    pub fn positions(&self) -> Vec<(usize, usize)> {
        let k = self.k();
        match self.covariance {
            Covariance::Independent => (0..k).map(|j| (j, j)).collect(),
            Covariance::Correlated => (0..k).flat_map(|j| (j..k).map(move |i| (i, j))).collect(),
        }
    }

    /// Lower-triangular relative covariance factor of one level, k x k by row.
    pub fn lambda(&self, theta: &[f64]) -> Vec<f64> {
        let k = self.k();
        let mut lambda = vec![0.0; k * k];
        for (value, (i, j)) in theta[self.theta_start..].iter().zip(self.positions()) {
            lambda[i * k + j] = *value;
        }
        lambda
    }
}

/// One entry of theta.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ThetaEntry {
    pub name: String,
    pub factor: usize,
    pub row: usize,
    pub column: usize,
}

impl ThetaEntry {
    pub fn is_diagonal(&self) -> bool {
        self.row == self.column
    }
}

/// Shape of one model; equal layouts make moments mergeable.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub fixed: Vec<Units>,
    pub response: Units,
    pub factors: Vec<FactorLayout>,
    /// Index of the factor that is eliminated group by group: the one with most levels.
    pub eliminated: Option<usize>,
    /// Random-effect columns of the other factors.
    pub q: usize,
}

impl Layout {
    pub fn of(data: &Data<'_>) -> Result<Layout, Error> {
        Layout::eliminating(data, None)
    }

    /// The layout with a named factor eliminated in place of the largest one.
    pub fn eliminating(data: &Data<'_>, named: Option<&str>) -> Result<Layout, Error> {
        let mut names = BTreeSet::new();
        let mut unique = |name: &str| {
            if names.insert(name.to_owned()) {
                Ok(())
            } else {
                Err(Error::DuplicateName { name: name.to_owned() })
            }
        };
        let response = units("response", data.response_centre, data.response_scale)?;
        let mut fixed = Vec::with_capacity(data.fixed.len());
        for column in &data.fixed {
            unique(&column.name)?;
            fixed.push(units(&column.name, column.centre, column.scale)?);
        }
        // The first of the factors with most levels, so that ties are settled.
        let mut eliminated: Option<usize> = None;
        for (f, factor) in data.factors.iter().enumerate() {
            if eliminated.is_none_or(|best| factor.levels > data.factors[best].levels) {
                eliminated = Some(f);
            }
        }
        if let Some(name) = named {
            eliminated = data.factors.iter().position(|factor| factor.name == name);
            if eliminated.is_none() {
                return Err(Error::Unknown { what: format!("factor {name}") });
            }
        }
        let mut factors = Vec::with_capacity(data.factors.len());
        let (mut theta_start, mut q) = (0, 0);
        let mut factor_names = BTreeSet::new();
        for (f, factor) in data.factors.iter().enumerate() {
            if factor.effects.is_empty() {
                return Err(Error::NoEffects { factor: factor.name.clone() });
            }
            let effects: Vec<String> = factor.effects.iter().map(|e| e.name().to_owned()).collect();
            let distinct: BTreeSet<&String> = effects.iter().collect();
            if !factor_names.insert(&factor.name) || distinct.len() < effects.len() {
                return Err(Error::DuplicateName { name: factor.name.clone() });
            }
            let mut layout = FactorLayout {
                name: factor.name.clone(),
                levels: factor.levels,
                effects,
                covariance: factor.covariance,
                theta_start,
                column_start: None,
            };
            theta_start += layout.theta_count();
            if eliminated != Some(f) {
                layout.column_start = Some(q);
                q += layout.k() * layout.levels;
            }
            factors.push(layout);
        }
        Ok(Layout { fixed, response, factors, eliminated, q })
    }

    /// Fixed columns.
    pub fn p(&self) -> usize {
        self.fixed.len()
    }

    /// Effects per group of the eliminated factor.
    pub fn k(&self) -> usize {
        self.eliminated.map_or(0, |f| self.factors[f].k())
    }

    /// Entries of theta in order, named `factor.effect` on the diagonal and
    /// `factor.row_effect.column_effect` below it.
    pub fn theta_entries(&self) -> Vec<ThetaEntry> {
        let mut entries = Vec::new();
        for (f, factor) in self.factors.iter().enumerate() {
            for (row, column) in factor.positions() {
                let (a, b) = (&factor.effects[row], &factor.effects[column]);
                let name = if row == column {
                    format!("{}.{a}", factor.name)
                } else {
                    format!("{}.{a}.{b}", factor.name)
                };
                entries.push(ThetaEntry { name, factor: f, row, column });
            }
        }
        entries
    }

    pub fn factor_index(&self, name: &str) -> Result<usize, Error> {
        self.factors
            .iter()
            .position(|f| f.name == name)
            .ok_or_else(|| Error::Unknown { what: format!("factor {name}") })
    }
}

/// An error for a factorisation of more cells than memory is meant for.
pub(crate) fn check_cells(cells: usize) -> Result<(), Error> {
    if cells > CELL_LIMIT {
        return Err(Error::TooManyCells { cells, limit: CELL_LIMIT });
    }
    Ok(())
}

fn units(name: &str, centre: f64, scale: f64) -> Result<Units, Error> {
    // Written so that NaN fails.
    if centre.is_finite() && scale.is_finite() && scale > 0.0 {
        Ok(Units { name: name.to_owned(), centre, scale })
    } else {
        Err(Error::BadScale { column: name.to_owned(), centre, scale })
    }
}

/// Values of the random effects of one factor, borrowed from the data.
pub(crate) fn effect_value(effect: &RandomEffect<'_>, row: usize) -> f64 {
    match effect {
        RandomEffect::Intercept => 1.0,
        RandomEffect::Slope { values, .. } => values[row],
    }
}
