//! Fixed factors of yield: age and planting density.

/// Yield of a tree of an age in years relative to a full-grown one: 1 - exp(-(age / 5)^2).
/// Chosen to follow published yields by age (about 2 kg at 3 to 5 years, 4 kg at 6 to 10).
#[must_use]
pub fn age_factor(age_years: f64) -> f64 {
    let x = age_years.max(0.0) / 5.0;
    1.0 - (-x * x).exp()
}

/// Yield per tree at a density in trees per ha relative to 156.25 (8 x 8 m): (156.25 / density)^0.7.
/// Closer trees bear less each and more per ha, as in published density trials.
#[must_use]
pub fn density_factor(trees_per_ha: f64) -> f64 {
    (156.25 / trees_per_ha).powf(0.7)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: trade.md section 3, about 2 kg at 3 to 5 years and 4 kg at 6 to 10, so the middle
    /// of the first class bears half of the middle of the second.
    #[test]
    fn age_follows_published_yields() {
        let ratio = age_factor(4.0) / age_factor(8.0);
        assert!((ratio - 0.5).abs() < 0.05, "{ratio}");
        assert!(age_factor(-1.0).abs() < 1e-15);
    }

    /// Witness: arithmetic, 4 x 4 m has four times the trees of 8 x 8 m, and 4^-0.7 = 0.3789.
    #[test]
    fn closer_trees_bear_less_each_and_more_per_ha() {
        assert!((density_factor(156.25) - 1.0).abs() < 1e-12);
        let close = density_factor(625.0);
        assert!((close - 0.3789).abs() < 5e-5, "{close}");
        assert!(close * 625.0 > 156.25);
    }
}
