//! Components of amounts, fitted optima and their sets.

use crate::support::{declared, line, means, names, oats, observed, printed, table};
use records::TrialDesign;
use trials::{AnalysisOptions, MethodUsed, OptimumSet, Peak, Plan, analyse, analyse_with};

/// Two plots at each of three amounts with the means of the on-farm trials handbook (UF00080557)
/// and its total sum of squares, 3.2483.
fn rice() -> Plan {
    let means = [5.35, 6.675, 6.975];
    let error = 3.2483 - 2.990_833_333_333;
    let half = (error / 6.0_f64).sqrt();
    let values = means.iter().flat_map(|m| [m - half, m + half]).collect();
    let levels = ["0", "0", "1.5", "1.5", "3", "3"].map(str::to_owned).to_vec();
    let mut d = declared(TrialDesign::CompletelyRandomised);
    d.factors = names(&["nitrogen"]);
    d.amounts.insert("nitrogen".to_owned(), "100 kg".to_owned());
    Plan::read(&d, &observed(&[("nitrogen", levels)], values)).unwrap()
}

#[test]
fn rice_optimum_and_economic_dose() {
    let mut options = AnalysisOptions::default();
    options.price_ratios.insert("nitrogen".to_owned(), 440.0 / 2800.0);
    let a = analyse_with(&rice(), &options).unwrap();
    let curve = &a.curves[0];
    printed(curve.coefficients[2], "-0.2277778");
    let Peak::Inside { amount, value } = curve.maximum.peak else { panic!("{:?}", curve.maximum) };
    printed(amount, "2.68902");
    printed(value, "6.99703");
    let Peak::Inside { amount, .. } = curve.economic.as_ref().unwrap().peak else { panic!() };
    printed(amount, "2.34408");
    // Three degrees of freedom for error leave the upper end open.
    let Some(OptimumSet::Interval { low, open_above: true, open_below: false, .. }) =
        curve.maximum.set
    else {
        panic!("{:?}", curve.maximum.set)
    };
    // Fieller by hand: (b1 + 2 b2 x)^2 = t^2 var, as a quadratic in x.
    let (b1, b2) = (curve.coefficients[1], curve.coefficients[2]);
    let ms = line(&a, "error (plots)").ms.unwrap();
    let t = 3.182_446_305_284_263_f64; // qt(0.975, 3)
    // Slope at x = weights of the means: linear (-1, 0, 1) / 3 at the middle, curvature
    // (1, -2, 1) / (2 x 1.5^2) times 2 (x - 1.5); two plots behind each mean.
    let variance = |x: f64| {
        let c = 2.0 * (x - 1.5) / 4.5;
        ms / 2.0 * ((c - 1.0 / 3.0).powi(2) + 4.0 * c * c + (c + 1.0 / 3.0).powi(2))
    };
    let gap = (b1 + 2.0 * b2 * low).abs() - t * variance(low).sqrt();
    assert!(gap.abs() < 1e-9, "{gap}");
}

/// trade.md and Yates 1935: linear SS 19536; the quadratic optimum 0.870 lies outside 0 to 0.6.
#[test]
fn oats_optimum_outside() {
    let a = analyse(&oats(&[])).unwrap();
    let p = a.polynomials.iter().find(|p| p.term == "nitrogen").unwrap();
    printed(p.components[0].ss, "19536");
    let total: f64 = p.components.iter().map(|c| c.ss.unwrap()).sum();
    let ss = line(&a, "nitrogen").ss.unwrap();
    assert!((total - ss).abs() < 1e-9 * ss);
    assert_eq!(p.components.len(), 3);
    let both = a.polynomials.iter().find(|p| p.term == "variety x nitrogen").unwrap();
    let total: f64 = both.components.iter().map(|c| c.ss.unwrap()).sum();
    let ss = line(&a, "variety x nitrogen").ss.unwrap();
    assert!((total - ss).abs() < 1e-9 * ss);
    let curve = a.curves.iter().find(|c| c.within.is_none()).unwrap();
    assert_eq!(curve.maximum.peak, Peak::Above);
    let [_, b1, b2] = curve.coefficients;
    printed(-b1 / (2.0 * b2), "0.870");
    assert!(curve.maximum.words.contains("nothing beyond 0.6 cwt per acre is advised"));
    match curve.maximum.set.unwrap() {
        OptimumSet::Above => {}
        OptimumSet::Interval { open_above, .. } => assert!(open_above),
        s => panic!("{s:?}"),
    }
    assert_eq!(a.curves.iter().filter(|c| c.within.is_some()).count(), 3);
}

/// Unequal spacing: coefficients of 0, 1, 2, 4 are those of the standard tables (Gomez and Gomez
/// 1984 work this spacing): linear -7, -3, 1, 9; quadratic 7, -4, -8, 5.
#[test]
fn unequal_spacing() {
    let levels: Vec<String> =
        ["0", "1", "2", "4"].iter().flat_map(|l| [(*l).to_owned(), (*l).to_owned()]).collect();
    let values = vec![1.0, 1.2, 2.1, 1.9, 2.6, 2.9, 3.0, 3.3];
    let mut d = declared(TrialDesign::CompletelyRandomised);
    d.factors = names(&["dose"]);
    d.amounts.insert("dose".to_owned(), "kg".to_owned());
    let a = analyse(&Plan::read(&d, &observed(&[("dose", levels)], values)).unwrap()).unwrap();
    let ratio = |c: &[f64], t: [f64; 4]| {
        for (x, y) in c.iter().zip(t) {
            assert!((x / c[0] - y / t[0]).abs() < 1e-12, "{c:?}");
        }
    };
    ratio(&a.polynomials[0].components[0].coefficients, [-7.0, -3.0, 1.0, 9.0]);
    ratio(&a.polynomials[0].components[1].coefficients, [7.0, -4.0, -8.0, 5.0]);
}

/// Where trees are lost, components and curve are contrasts of the adjusted means that count alike;
/// against `lost_trees.py`, which finds other numbers when means weigh by their trees.
#[test]
fn lost_trees_give_no_weight_to_the_others() {
    let columns = [("replicate", "replicate"), ("cut", "cut")];
    let data = table("lost_trees.csv", &columns, "y");
    let mut d = declared(TrialDesign::RandomisedBlocks);
    d.factors = names(&["cut"]);
    d.amounts.insert("cut".to_owned(), "fraction".to_owned());
    let a = analyse(&Plan::read(&d, &data).unwrap()).unwrap();
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/trials/analysis/");
    let text = std::fs::read_to_string(format!("{folder}lost_trees.json")).unwrap();
    let found: serde_json::Value = serde_json::from_str(&text).unwrap();
    let number = |path: &str| found.pointer(path).and_then(|v| v.as_f64()).unwrap();
    // Two optimisers of one criterion: their ratios agree to half the digits.
    let near = |found: f64, path: &str, share: f64| {
        let expected = number(path);
        assert!((found / expected - 1.0).abs() < share, "{found} against {expected} of {path}");
    };
    for (k, mean) in means(&a, "cut").means.iter().enumerate() {
        near(mean.mean.unwrap(), &format!("/means/{k}"), 1e-6);
    }
    let [linear, quadratic, ..] = a.polynomials[0].components.as_slice() else { panic!() };
    near(linear.estimate.unwrap(), "/equal/linear", 1e-5);
    near(quadratic.estimate.unwrap(), "/equal/quadratic", 1e-5);
    let curve = &a.curves[0];
    for (k, coefficient) in curve.coefficients.iter().enumerate() {
        near(*coefficient, &format!("/equal/coefficients/{k}"), 1e-5);
    }
    let Peak::Inside { amount, .. } = curve.maximum.peak else { panic!("{:?}", curve.maximum) };
    near(amount, "/equal/maximum", 1e-5);
    // The other weights are another answer, which these checks would not take.
    assert!((number("/by_trees/linear") / number("/equal/linear") - 1.0).abs() > 0.01);
    assert!((number("/by_trees/quadratic") / number("/equal/quadratic") - 1.0).abs() > 0.001);
}

/// In a damaged split plot too, the straight line is that through the printed means.
#[test]
fn a_damaged_split_plot_has_components_of_its_printed_means() {
    let a = analyse(&oats(&[0, 1, 2, 17, 33, 70])).unwrap();
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    let y: Vec<f64> = means(&a, "nitrogen").means.iter().map(|m| m.mean.unwrap()).collect();
    // 0, 0.2, 0.4 and 0.6 cwt: least squares by hand.
    let slope = (-3.0 * y[0] - y[1] + y[2] + 3.0 * y[3]) / 20.0 / 0.1;
    let bend = (y[0] - y[1] - y[2] + y[3]) / 4.0 / 0.04;
    let p = a.polynomials.iter().find(|p| p.term == "nitrogen").unwrap();
    for (component, expected) in p.components.iter().zip([slope, bend]) {
        let found = component.estimate.unwrap();
        assert!((found - expected).abs() < 1e-9 * (1.0 + expected.abs()), "{found} {expected}");
    }
}
