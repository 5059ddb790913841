//! Studentised range and Dunnett's distribution against R, scipy and mvtnorm over grids.
#![allow(clippy::expect_used)]

mod witness;

use trials::distributions::{Dunnett, Sides, StudentisedRange};
use witness::{number, numbers, read};

/// Studentised range of 100 means with 20 degrees of freedom: q and upper tail.
const SCIPY_100: [(f64, f64); 2] = [(5.0, 0.5298568000141091), (7.0, 0.06343348594369946)];

fn df(coded: f64) -> f64 {
    if coded <= 0.0 { f64::INFINITY } else { coded }
}

fn range(count: f64, coded: f64) -> StudentisedRange {
    StudentisedRange::new(count as usize, df(coded)).expect("parameters of the grid are in range")
}

#[test]
fn range_tails_agree_with_scipy_and_r() {
    let r = read("distributions/ranges.json");
    let g = &r["range"];
    let (count, dfs, q) = (numbers(&g["count"]), numbers(&g["df"]), numbers(&g["q"]));
    let by_r = numbers(&g["upper"]);
    let by_scipy = numbers(&read("distributions/ranges-scipy.json")["upper"]);
    for i in 0..q.len() {
        let range = range(count[i], dfs[i]);
        let upper = range.upper_tail(q[i]);
        assert!((upper + range.cdf(q[i]) - 1.0).abs() < 1e-13);
        assert!((upper - by_scipy[i]).abs() < 5e-12, "{} {} {}", count[i], dfs[i], q[i]);
        // R's fixed quadrature loses digits with few degrees of freedom: 1e-4 at 2.
        if df(dfs[i]) > 5.0 {
            assert!((upper - by_r[i]).abs() < 5e-7, "{} {} {}", count[i], dfs[i], q[i]);
        }
    }
}

#[test]
fn ranges_of_many_means_agree_with_scipy() {
    // scipy 1.17.1, studentized_range.sf(q, 100, 20).
    for (q, upper) in SCIPY_100 {
        let found = range(100.0, 20.0).upper_tail(q);
        assert!((found - upper).abs() < 5e-12, "{q} {found}");
    }
}

#[test]
fn range_of_two_is_a_t_statistic() {
    use statrs::distribution::{ContinuousCDF, StudentsT};
    for df in [2.0, 7.5, 40.0] {
        let t = StudentsT::new(0.0, 1.0, df).expect("positive");
        let range = StudentisedRange::new(2, df).expect("positive");
        for q in [0.3, 2.0, 6.0, 25.0] {
            let exact = 2.0 * t.sf(q / 2.0_f64.sqrt());
            assert!((range.upper_tail(q) - exact).abs() < 1e-12, "{df} {q} {exact:e}");
        }
    }
}

#[test]
fn range_quantiles_agree_with_r() {
    let g = &read("distributions/ranges.json")["quantiles"];
    let (count, dfs, p) = (numbers(&g["count"]), numbers(&g["df"]), numbers(&g["p"]));
    let q = numbers(&g["q"]);
    for i in 0..q.len() {
        let range = range(count[i], dfs[i]);
        let found = range.upper_quantile(p[i]).expect("inside (0, 1)");
        assert!((range.upper_tail(found) / p[i] - 1.0).abs() < 1e-11);
        // R stops its search at 1e-4.
        if df(dfs[i]) > 5.0 {
            assert!((found - q[i]).abs() < 2e-4, "{} {} {}", count[i], dfs[i], p[i]);
        }
    }
    // Harter's table (1960) of the 5 % points, printed to three decimals.
    for (count, df, printed) in [(3.0, 10.0, 3.877), (5.0, 20.0, 4.232), (10.0, 60.0, 4.646)] {
        let found = range(count, df).upper_quantile(0.05).expect("inside (0, 1)");
        assert!((found - printed).abs() < 5.1e-4, "{found} {printed}");
    }
}

#[test]
fn dunnett_tails_agree_with_quadrature_and_mvtnorm() {
    let r = read("distributions/ranges.json");
    let scipy = read("distributions/ranges-scipy.json");
    let (both, above) = (numbers(&scipy["both"]), numbers(&scipy["above"]));
    let cases = r["dunnett"].as_array().expect("an array");
    let mut worst = (0.0_f64, 0.0_f64);
    for (i, case) in cases.iter().enumerate() {
        let sizes = numbers(&case["replicates"]);
        let (control, treated) = sizes.split_last().expect("a control");
        for (sides, exact, name) in
            [(Sides::Both, both[i], "both"), (Sides::Above, above[i], "above")]
        {
            let dunnett =
                Dunnett::for_replicates(treated, *control, df(number(&case["df"])), sides)
                    .expect("parameters of the grid are in range");
            let upper = dunnett.upper_tail(number(&case["t"]));
            worst = (
                worst.0.max((upper - exact).abs()),
                worst.1.max((upper - number(&case[name])).abs()),
            );
        }
    }
    // mvtnorm was asked for an absolute error of 1e-6.
    assert!(worst.0 < 1e-11 && worst.1 < 5e-6, "{worst:?}");
}

#[test]
fn dunnett_quantiles_agree_with_the_published_table() {
    // Dunnett (1964, Biometrics 20:482-491), two-sided 5 % points for equal replication.
    for (treatments, df, printed) in [(2, 10.0, 2.57), (4, 20.0, 2.65), (9, 30.0, 2.86)] {
        let dunnett = Dunnett::for_replicates(&vec![4.0; treatments], 4.0, df, Sides::Both)
            .expect("in range");
        let found = dunnett.upper_quantile(0.05).expect("inside (0, 1)");
        assert!((found - printed).abs() < 6e-3, "{found} {printed}");
    }
    for sides in [Sides::Both, Sides::Above] {
        let dunnett = Dunnett::new(&[0.9, 0.3, 0.0], 7.0, sides).expect("in range");
        for p in [0.2, 0.05, 1e-6] {
            let found = dunnett.upper_quantile(p).expect("inside (0, 1)");
            assert!((dunnett.upper_tail(found) / p - 1.0).abs() < 1e-11);
        }
    }
}

#[test]
fn parameters_out_of_range_are_refused() {
    assert!(StudentisedRange::new(1, 5.0).is_err());
    assert!(StudentisedRange::new(3, 0.0).is_err());
    assert!(Dunnett::new(&[], 5.0, Sides::Both).is_err());
    assert!(Dunnett::new(&[1.0], 5.0, Sides::Both).is_err());
    assert!(Dunnett::new(&[0.5], f64::NAN, Sides::Both).is_err());
}
