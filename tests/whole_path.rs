//! Published trials written as record books, through the whole path.

use advise::{Evidence, InversionKind, Verdict};
use model::curve;
use workspace_tests::{json, run};

/// Oats, Yates 1935 (trade.md E9): values by lme4 and lmerTest from
/// notebooks-free-scripts/record-books/whole_path.R.
#[test]
fn oats_curve_matches_and_its_optimum_beyond_the_doses_is_refused() {
    let reference = json("tests/reference/books/oats.json").unwrap();
    let value = |name: &str| reference[name].as_f64().unwrap();
    let dose = reference["coefficients"]["dose"].as_f64().unwrap();
    let dose2 = reference["coefficients"]["dose2"].as_f64().unwrap();

    let (checked, advised) = run("tests/reference/books/oats", 1).unwrap();
    assert_eq!(checked.tables.quarantine.len(), 0);
    assert_eq!(advised.model.rows.used, 72);
    let fit = &advised.model.fit;

    // The same model in other columns has the same REML criterion up to the change of basis:
    // log |X'X| shifts by twice the log determinant of the map from (dose, dose^2) to (hump, tilt).
    let r = curve::REFERENCE_INTENSITY;
    // hump = 2u - u^2, tilt = u^2 - u with u = dose / r: determinant of the map is 1 / r^3.
    let shift = -2.0 * (1.0 / r.powi(3)).ln();
    let criterion = fit.criterion() + shift;
    let relative = (criterion / value("criterion") - 1.0).abs();
    assert!(relative < 1e-8, "criterion {criterion} against {}", value("criterion"));

    let coefficient = |name: &str| {
        let position = fit.coefficient_names().iter().position(|n| n == name).unwrap();
        fit.estimates()[position]
    };
    let (hump, tilt) = (coefficient("hump"), coefficient("tilt"));
    assert!(((2.0 * hump - tilt) / r / dose - 1.0).abs() < 1e-6);
    assert!(((tilt - hump) / (r * r) / dose2 - 1.0).abs() < 1e-6);
    assert!((fit.sigma() / value("sigma") - 1.0).abs() < 1e-6);

    let region = &advised.advice.regions[0];
    assert_eq!(region.verdict, Verdict::Trial);
    assert_eq!(region.evidence, Evidence::Trial);
    assert_eq!(region.tested_intensity, Some([0.0, 0.6]));
    assert!(region.advised.is_none());
    assert!(region.reason.contains("beyond the 60 % that was tried"), "{}", region.reason);
    assert!(region.yield_optimum.as_ref().unwrap().p_upper_edge > 0.5);

    // Published: the fitted gain at the highest dose.
    let gain = region.gain_over_unpruned_kg.as_ref().unwrap();
    assert!(gain.low < value("gain_at_0.6") && value("gain_at_0.6") < gain.high);

    // Test inversion with Satterthwaite degrees of freedom at every dose: two rays around the
    // tested doses, with the bounds that uniroot finds in R.
    let set = region.inversion_set.as_ref().unwrap();
    assert_eq!(set.kind, InversionKind::TwoRays);
    assert!((set.bounds[0] / value("set_far_low") - 1.0).abs() < 1e-3, "{:?}", set.bounds);
    assert!((set.bounds[1] / value("set_low") - 1.0).abs() < 1e-3, "{:?}", set.bounds);
}

/// Kiwifruit shading (Maindonald and Braun, data kiwishade of DAAG) runs through unchanged: every
/// vine is linked, class means are the published treatment means, and two intensities give no advice.
#[test]
fn kiwishade_runs_through_unchanged() {
    let (checked, advised) = run("tests/reference/books/kiwishade", 1).unwrap();
    assert_eq!(checked.tables.quarantine.len(), 0);
    assert_eq!(advised.model.rows.used, 48);
    let region = &advised.advice.regions[0];
    assert_eq!(region.verdict, Verdict::Trial);
    assert!(region.reason.contains("2 intensities were tried"), "{}", region.reason);
    // Means of 12 unshaded and 36 shaded vines: 100.2025 and (103.2333 + 89.9208 + 92.7742) / 3.
    let classes = &advised.model.regions[0].classes;
    assert_eq!(classes.len(), 2);
    assert!((classes[0].mean_kg - 100.2025).abs() < 1e-9);
    assert!((classes[1].mean_kg - 95.309_444_444).abs() < 1e-6);
    assert_eq!((classes[0].tree_seasons, classes[1].tree_seasons), (12, 36));
}
