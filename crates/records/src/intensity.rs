//! Pruning intensity: the fraction of the canopy removed, and the ways it is recorded.

use crate::half_ellipsoid_volume_m3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use words::say;

/// How an intensity was measured. Two bases are never pooled silently.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum MeasuredAs {
    /// Fraction of the canopy judged or measured directly.
    CanopyFraction,
    /// Shoots cut of shoots present.
    Shoots,
    /// Canopy before and after, as half-ellipsoid volumes.
    Spread,
    /// Centimetres removed of centimetres of shoot.
    HeadedLength,
}

impl MeasuredAs {
    /// Every basis.
    pub const ALL: [MeasuredAs; 4] =
        [Self::CanopyFraction, Self::Shoots, Self::Spread, Self::HeadedLength];

    /// The word used in tables.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::CanopyFraction => "canopy_fraction",
            Self::Shoots => "shoots",
            Self::Spread => "spread",
            Self::HeadedLength => "headed_length",
        }
    }

    /// The basis that a word names, if any.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|basis| basis.as_str() == word)
    }
}

/// The raw quantities an intensity is computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RawIntensity {
    /// The fraction itself, 0 to 1.
    Fraction(f64),
    /// Shoots cut and shoots present before cutting.
    Shoots {
        /// Shoots cut.
        cut: f64,
        /// Shoots before the cut.
        total: f64,
    },
    /// Height and two spreads in metres, before and after.
    Spread {
        /// Height, north-south and east-west spread before, m.
        before: [f64; 3],
        /// Height, north-south and east-west spread after, m.
        after: [f64; 3],
    },
    /// Length removed and length before heading, same unit.
    Headed {
        /// Length removed.
        removed: f64,
        /// Length before the cut.
        length: f64,
    },
}

/// Why an intensity could not be computed.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum IntensityError {
    /// The part removed exceeds the whole.
    #[error("{}", say!("more was removed ({removed}) than was there ({whole})"))]
    MoreThanWhole {
        /// Quantity removed.
        removed: f64,
        /// Quantity before the cut.
        whole: f64,
    },
    /// A quantity is negative, zero where a whole is needed, or not a number.
    #[error("{}", say!("{} is not a usable quantity", _0))]
    Unusable(f64),
    /// The fraction lies outside 0 to 1.
    #[error("{}", say!("{} is not a fraction between 0 and 1", _0))]
    NotAFraction(f64),
}

impl RawIntensity {
    /// The fraction removed, 0 to 1.
    ///
    /// # Errors
    /// When a quantity is unusable or more was removed than was there.
    pub fn fraction(self) -> Result<f64, IntensityError> {
        match self {
            Self::Fraction(f) if (0.0..=1.0).contains(&f) => Ok(f),
            Self::Fraction(f) => Err(IntensityError::NotAFraction(f)),
            Self::Shoots { cut, total } => part_of(cut, total),
            Self::Headed { removed, length } => part_of(removed, length),
            Self::Spread { before: [h0, a0, b0], after: [h1, a1, b1] } => {
                let before = half_ellipsoid_volume_m3(h0, a0, b0);
                let after = half_ellipsoid_volume_m3(h1, a1, b1);
                if !(after.is_finite() && after >= 0.0) {
                    return Err(IntensityError::Unusable(after));
                }
                if after > before {
                    return Err(IntensityError::MoreThanWhole { removed: after, whole: before });
                }
                part_of(before - after, before)
            }
        }
    }
}

fn part_of(part: f64, whole: f64) -> Result<f64, IntensityError> {
    if !(part.is_finite() && part >= 0.0) {
        return Err(IntensityError::Unusable(part));
    }
    if !(whole.is_finite() && whole > 0.0) {
        return Err(IntensityError::Unusable(whole));
    }
    if part > whole {
        return Err(IntensityError::MoreThanWhole { removed: part, whole });
    }
    Ok(part / whole)
}

/// Several prunings of one tree before one harvest: total intensity 1 - prod(1 - x), and the
/// intensity-weighted mean of their times (any day number). `None` for no pruning; when every
/// intensity is zero the plain mean of the times.
#[must_use]
pub fn combine_prunings(prunings: &[(f64, f64)]) -> Option<(f64, f64)> {
    if prunings.is_empty() {
        return None;
    }
    let kept: f64 = prunings.iter().map(|(intensity, _)| 1.0 - intensity).product();
    let weight: f64 = prunings.iter().map(|(intensity, _)| intensity).sum();
    let day = if weight > 0.0 {
        prunings.iter().map(|(intensity, day)| intensity * day).sum::<f64>() / weight
    } else {
        prunings.iter().map(|(_, day)| day).sum::<f64>() / prunings.len() as f64
    };
    Some((1.0 - kept, day))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_uses_half_ellipsoids() {
        // trade.md section 3: H 4, A 5, B 6 gives 62.83 m3; halving the height halves the volume.
        let raw = RawIntensity::Spread { before: [4.0, 5.0, 6.0], after: [2.0, 5.0, 6.0] };
        assert!((raw.fraction().unwrap() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn more_cut_than_present_is_refused() {
        let raw = RawIntensity::Shoots { cut: 50.0, total: 40.0 };
        assert_eq!(
            raw.fraction(),
            Err(IntensityError::MoreThanWhole { removed: 50.0, whole: 40.0 })
        );
        assert!(RawIntensity::Fraction(f64::NAN).fraction().is_err());
        assert!(RawIntensity::Fraction(1.2).fraction().is_err());
    }

    #[test]
    fn two_prunings_combine_as_survival() {
        // design.md section 2: 1 - (1 - 0.2)(1 - 0.1) = 0.28, date weighted 2:1.
        let (intensity, day) = combine_prunings(&[(0.2, 10.0), (0.1, 40.0)]).unwrap();
        assert!((intensity - 0.28).abs() < 1e-12);
        assert!((day - 20.0).abs() < 1e-12);
        assert_eq!(combine_prunings(&[]), None);
    }
}
