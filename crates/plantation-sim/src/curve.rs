//! The true effect of pruning on yield: ratio to the unpruned tree.

use serde::Serialize;

/// Effect g of intensity (fraction removed) on yield, at the best timing; 0 at intensity 0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "shape")]
pub enum TrueCurve {
    /// No effect.
    Flat,
    /// Parabola through 0: gain x (2 x - x^2) with x = intensity / at; highest at `at`.
    Peaked {
        /// Relative gain at the peak.
        gain: f64,
        /// Intensity of the peak.
        at: f64,
    },
    /// Quick rise, slow fall: gain x e^(1 - x) with x = intensity / at; highest at `at`.
    Skewed {
        /// Relative gain at the peak.
        gain: f64,
        /// Intensity of the peak.
        at: f64,
    },
    /// Parabola up to `from`, level beyond.
    Plateau {
        /// Relative gain on the plateau.
        gain: f64,
        /// Intensity at which the plateau begins.
        from: f64,
    },
    /// The parabola of `Peaked` with its peak above every intensity tried.
    BeyondRange {
        /// Relative gain at the peak.
        gain: f64,
        /// Intensity of the peak, above the plan's highest tested intensity.
        at: f64,
    },
}

impl TrueCurve {
    /// Relative change g of yield at an intensity, at the best timing.
    #[must_use]
    pub fn effect(self, intensity: f64) -> f64 {
        match self {
            Self::Flat => 0.0,
            Self::Peaked { gain, at } | Self::BeyondRange { gain, at } => {
                parabola(gain, intensity / at)
            }
            Self::Skewed { gain, at } => {
                let x = intensity / at;
                gain * x * (1.0 - x).exp()
            }
            Self::Plateau { gain, from } => parabola(gain, (intensity / from).min(1.0)),
        }
    }

    /// Least intensity at which yield is highest; 0 when pruning has no effect.
    #[must_use]
    pub fn peak(self) -> f64 {
        match self {
            Self::Flat => 0.0,
            Self::Peaked { at, .. } | Self::Skewed { at, .. } | Self::BeyondRange { at, .. } => at,
            Self::Plateau { from, .. } => from,
        }
    }
}

fn parabola(gain: f64, x: f64) -> f64 {
    gain * (2.0 - x) * x
}

/// How the effect depends on the lead: h = max(0, 1 - ((lead - best) / width)^2).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Timing {
    /// Lead at which pruning works best, days before the flush start.
    pub best_lead_days: f64,
    /// Distance from the best lead at which the effect is lost, days.
    pub width_days: f64,
}

impl Timing {
    /// Share of the effect that pruning at a lead brings, 0 to 1.
    #[must_use]
    pub fn share(self, lead_days: f64) -> f64 {
        let x = (lead_days - self.best_lead_days) / self.width_days;
        (1.0 - x * x).max(0.0)
    }
}

/// The true response of a region.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Response {
    /// Effect of intensity.
    pub curve: TrueCurve,
    /// Effect of timing.
    pub timing: Timing,
}

impl Response {
    /// Yield relative to the unpruned tree, f(i, lead) = 1 + g(i) h(lead); 1 for an unpruned tree.
    #[must_use]
    pub fn ratio(self, intensity: f64, lead_days: Option<f64>) -> f64 {
        lead_days.map_or(1.0, |lead| 1.0 + self.curve.effect(intensity) * self.timing.share(lead))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIMING: Timing = Timing { best_lead_days: 45.0, width_days: 90.0 };

    /// Witness: calculus. The slope of every curve vanishes at its stated peak, where it equals
    /// the stated gain.
    #[test]
    fn every_shape_peaks_where_it_says() {
        for curve in [
            TrueCurve::Peaked { gain: 0.2, at: 0.3 },
            TrueCurve::Skewed { gain: 0.2, at: 0.25 },
            TrueCurve::Plateau { gain: 0.2, from: 0.35 },
            TrueCurve::BeyondRange { gain: 0.2, at: 0.55 },
        ] {
            let (peak, step) = (curve.peak(), 1e-4);
            assert!((curve.effect(peak) - 0.2).abs() < 1e-12, "{curve:?}");
            assert!(curve.effect(peak - step) < 0.2, "{curve:?}");
            assert!(curve.effect(peak + step) <= 0.2, "{curve:?}");
            assert!(curve.effect(0.0).abs() < 1e-15);
        }
        assert!(TrueCurve::Flat.effect(0.4).abs() < 1e-15);
        let plateau = TrueCurve::Plateau { gain: 0.2, from: 0.35 };
        assert!((plateau.effect(0.6) - 0.2).abs() < 1e-12);
    }

    #[test]
    fn timing_weakens_the_effect_and_unpruned_is_one() {
        let response = Response { curve: TrueCurve::Peaked { gain: 0.2, at: 0.3 }, timing: TIMING };
        assert!((response.ratio(0.3, Some(45.0)) - 1.2).abs() < 1e-12);
        // Half the width away: 1 - 1/4 of the effect is left.
        assert!((response.ratio(0.3, Some(0.0)) - 1.15).abs() < 1e-12);
        assert!((response.ratio(0.3, Some(200.0)) - 1.0).abs() < 1e-12);
        assert!((response.ratio(0.0, None) - 1.0).abs() < 1e-12);
    }
}
