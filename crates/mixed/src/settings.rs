//! Settings of a fit, unchecked and checked.

use crate::{Error, Theta};
use serde::Serialize;

/// Criterion that is minimised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Criterion {
    /// Restricted maximum likelihood.
    Reml,
    /// Maximum likelihood.
    Ml,
}

/// How to fit. Checked by [`Settings::check`], also through linfa's `ParamGuard`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Settings {
    /// REML (default) or ML.
    pub criterion: Criterion,
    /// Most quasi-Newton iterations of one search.
    pub max_iterations: usize,
    /// Largest gradient component (per unit of standardised theta, relative to
    /// 1 + |criterion| / 1000) that counts as converged.
    pub tolerance: f64,
    /// Whether the first minimum will do: no search from other starts, no trial of 0 and no look at
    /// the curvature. For fits on the way to another one; their status says nothing about a boundary,
    /// a saddle or a second minimum.
    pub first_minimum: bool,
    /// Theta to search from, as [`crate::Fit::theta`] of a similar model gives it, in place of several
    /// starts. Entries of other names are passed over, and those not named start as they do without.
    pub start: Vec<Theta>,
    /// Relative pivot of the fixed cross-product below which a column is not identified.
    pub pivot_tolerance: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            criterion: Criterion::Reml,
            max_iterations: 500,
            tolerance: 1e-6,
            first_minimum: false,
            start: Vec::new(),
            pivot_tolerance: 1e-10,
        }
    }
}

impl Settings {
    /// Default settings with ML in place of REML.
    pub fn ml() -> Self {
        Settings { criterion: Criterion::Ml, ..Settings::default() }
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`Error::BadSetting`] names the first one out of range (NaN is out of range).
    pub fn check(&self) -> Result<(), Error> {
        if self.max_iterations < 1 {
            return Err(Error::BadSetting {
                name: "max_iterations",
                value: 0.0,
                need: "at least 1",
            });
        }
        if let Some(theta) = self.start.iter().find(|theta| !theta.value.is_finite()) {
            return Err(Error::BadSetting {
                name: "start",
                value: theta.value,
                need: "finite entries",
            });
        }
        within("tolerance", self.tolerance, 1e-1)?;
        within("pivot_tolerance", self.pivot_tolerance, 1e-2)
    }
}

fn within(name: &'static str, value: f64, upper: f64) -> Result<(), Error> {
    // Written so that NaN fails.
    if value > 0.0 && value <= upper {
        Ok(())
    } else {
        Err(Error::BadSetting {
            name,
            value,
            need: "above 0 and at most 0.1 (pivot_tolerance: at most 0.01)",
        })
    }
}

/// Checks a two-sided confidence level.
pub(crate) fn check_level(level: f64) -> Result<(), Error> {
    if level > 0.0 && level < 1.0 {
        Ok(())
    } else {
        Err(Error::BadSetting { name: "level", value: level, need: "strictly between 0 and 1" })
    }
}
