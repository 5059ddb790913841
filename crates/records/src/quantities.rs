//! Arithmetic of the trade: moisture, canopy, trunk, density and alternate bearing.

use std::f64::consts::PI;

/// Weight at the reference moisture: kg x (100 - moisture) / (100 - reference), both in per cent
/// of the wet weight (dry matter is conserved).
#[must_use]
pub fn at_reference_moisture(kg: f64, moisture_pct: f64, reference_pct: f64) -> f64 {
    kg * (100.0 - moisture_pct) / (100.0 - reference_pct)
}

/// Canopy ground projection, m2, as the ellipse pi/4 x NS x EW of the two spreads in metres.
/// This is the projection, not the lateral surface of a cone; sources print both under one name.
#[must_use]
pub fn canopy_ground_projection_m2(spread_ns_m: f64, spread_ew_m: f64) -> f64 {
    PI / 4.0 * spread_ns_m * spread_ew_m
}

/// Canopy volume, m3, as a half ellipsoid 2/3 pi H (A/2)(B/2) of height and two spreads in metres.
#[must_use]
pub fn half_ellipsoid_volume_m3(height_m: f64, spread_ns_m: f64, spread_ew_m: f64) -> f64 {
    2.0 / 3.0 * PI * height_m * (spread_ns_m / 2.0) * (spread_ew_m / 2.0)
}

/// Trunk cross-section, cm2, from the girth in cm: girth^2 / (4 pi).
#[must_use]
pub fn trunk_section_cm2(girth_cm: f64) -> f64 {
    girth_cm * girth_cm / (4.0 * PI)
}

/// Planting density, trees per hectare: 10000 / (row spacing x tree spacing), spacings in metres.
#[must_use]
pub fn trees_per_ha(row_spacing_m: f64, tree_spacing_m: f64) -> f64 {
    10_000.0 / (row_spacing_m * tree_spacing_m)
}

/// Index of alternate bearing of one tree: the mean over successive seasons of
/// |a_t - a_(t-1)| / (a_t + a_(t-1)), skipping pairs whose sum is 0; `None` without a usable pair.
/// Source: Hoblyn, Grubb, Painter and Wates (1936), J. Pomol. Hortic. Sci. 14:39-76.
#[must_use]
pub fn alternate_bearing_index(crops: &[f64]) -> Option<f64> {
    let (mut sum, mut pairs) = (0.0, 0_u32);
    for pair in crops.windows(2) {
        if let [before, after] = pair
            && before + after > 0.0
        {
            sum += (after - before).abs() / (before + after);
            pairs += 1;
        }
    }
    (pairs > 0).then(|| sum / f64::from(pairs))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(value: f64, printed: f64, half_last_digit: f64) {
        assert!((value - printed).abs() <= half_last_digit, "{value} against {printed}");
    }

    /// Printed values of trade.md sections 1 and 3.
    #[test]
    fn trade_arithmetic() {
        close(at_reference_moisture(1.0, 25.0, 9.0), 0.8242, 5e-5);
        close(half_ellipsoid_volume_m3(4.0, 5.0, 6.0), 62.83, 5e-3);
        close(trunk_section_cm2(98.53), 772.6, 5e-2);
        close(canopy_ground_projection_m2(9.03, 9.03), 64.0, 5e-2);
        close(trees_per_ha(7.5, 7.5), 177.8, 5e-2);
        close(trees_per_ha(8.0, 8.0), 156.25, 1e-9);
        close(trees_per_ha(4.0, 4.0), 625.0, 1e-9);
        close(alternate_bearing_index(&[10.0, 2.0, 10.0, 2.0]).unwrap(), 0.6667, 5e-5);
    }

    #[test]
    fn bearing_index_skips_empty_pairs() {
        assert_eq!(alternate_bearing_index(&[0.0, 0.0, 4.0]), Some(1.0));
        assert_eq!(alternate_bearing_index(&[0.0, 0.0]), None);
        assert_eq!(alternate_bearing_index(&[3.0]), None);
    }
}
