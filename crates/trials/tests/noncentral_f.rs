//! Noncentral F against R and scipy over a grid.
#![allow(clippy::expect_used)]

mod witness;

use trials::distributions::NoncentralF;
use witness::{numbers, read};

fn distribution(df1: f64, df2: f64, ncp: f64) -> NoncentralF {
    NoncentralF::new(df1, df2, ncp).expect("parameters of the grid are in range")
}

fn grid() -> Vec<(NoncentralF, f64)> {
    let grid = read("distributions/noncentral-f.json");
    let (df1, df2) = (numbers(&grid["df1"]), numbers(&grid["df2"]));
    let (ncp, x) = (numbers(&grid["ncp"]), numbers(&grid["x"]));
    (0..x.len())
        .map(|i| {
            let df2 = if df2[i] < 0.0 { f64::INFINITY } else { df2[i] };
            (distribution(df1[i], df2, ncp[i]), x[i])
        })
        .collect()
}

#[test]
fn both_tails_agree_with_r_and_scipy() {
    let cases = grid();
    assert_eq!(cases.len(), 1512);
    // R stops its sums at 1e-9 (errmax of its pnbeta).
    for (name, tolerance) in [
        ("distributions/noncentral-f.json", 2e-9),
        ("distributions/noncentral-f-scipy.json", 1e-12),
    ] {
        let witness = read(name);
        let (cdf, upper) = (numbers(&witness["cdf"]), numbers(&witness["upper"]));
        let mut worst = 0.0_f64;
        for (i, (f, x)) in cases.iter().enumerate() {
            worst = worst.max((f.cdf(*x) - cdf[i]).abs()).max((f.upper_tail(*x) - upper[i]).abs());
        }
        assert!(worst < tolerance, "{name}: {worst:e}");
    }
}

#[test]
fn power_agrees_with_r_and_scipy() {
    let grid = read("distributions/noncentral-f.json");
    let scipy = read("distributions/noncentral-f-scipy.json");
    let p = &grid["power"];
    let (df1, df2, ncp) = (numbers(&p["df1"]), numbers(&p["df2"]), numbers(&p["ncp"]));
    for (witness, tolerance) in [(p, 2e-9), (&scipy, 1e-12)] {
        let (critical, power) = (numbers(&witness["critical"]), numbers(&witness["power"]));
        assert_eq!(power.len(), 27);
        for i in 0..power.len() {
            let central = NoncentralF::new(df1[i], df2[i], 0.0).unwrap();
            let found = central.upper_quantile(0.05).unwrap();
            assert!((found / critical[i] - 1.0).abs() < 1e-12, "{found} {}", critical[i]);
            let found = NoncentralF::new(df1[i], df2[i], ncp[i]).unwrap().upper_tail(found);
            assert!((found - power[i]).abs() < tolerance, "{found} {}", power[i]);
        }
    }
}

#[test]
fn quantiles_invert_both_tails() {
    for (f, _) in grid().into_iter().step_by(19) {
        for p in [0.01, 0.3, 0.95] {
            assert!((f.cdf(f.quantile(p).unwrap()) - p).abs() < 1e-12);
            assert!((f.upper_tail(f.upper_quantile(p).unwrap()) - p).abs() < 1e-12);
        }
    }
}

#[test]
fn parameters_out_of_range_are_refused() {
    assert!(NoncentralF::new(0.0, 5.0, 0.0).is_err());
    assert!(NoncentralF::new(f64::INFINITY, 5.0, 0.0).is_err());
    assert!(NoncentralF::new(2.0, f64::NAN, 0.0).is_err());
    assert!(NoncentralF::new(2.0, 5.0, -1.0).is_err());
    let f = NoncentralF::new(2.0, 5.0, 1.0).unwrap();
    assert!(f.quantile(0.0).is_err() && f.upper_quantile(f64::NAN).is_err());
    assert_eq!((f.cdf(0.0), f.upper_tail(0.0)), (0.0, 1.0));
    assert_eq!((f.cdf(f64::INFINITY), f.upper_tail(f64::INFINITY)), (1.0, 0.0));
}
