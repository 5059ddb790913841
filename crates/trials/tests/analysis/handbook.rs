//! Worked examples of handbooks and course notes, to the digits printed or recomputed from the
//! printed plots; each names its source.

use crate::support::{blocks, comparison, declared, line, means, names, observed, printed};
use records::TrialDesign;
use trials::{Analysis, MethodUsed, Plan, analyse};

fn randomised(observations: &trials::Observations, factors: &[&str]) -> Analysis {
    let mut d = declared(TrialDesign::RandomisedBlocks);
    d.factors = names(factors);
    analyse(&Plan::read(&d, observations).unwrap()).unwrap()
}

/// On-farm trials handbook, University of Florida digital collection UF00080557: one lost plot.
#[test]
fn lost_plot_in_blocks() {
    let data = blocks(&[
        ("D", &[30.0, 26.0, f64::NAN]),
        ("E", &[35.0, 27.0, 33.0]),
        ("F", &[43.0, 35.0, 45.0]),
    ]);
    let a = randomised(&data, &["treatment"]);
    assert_eq!(a.method.used, MethodUsed::LeastSquares);
    let t = line(&a, "treatment");
    printed(t.ss, "196.0000");
    printed(t.f, "27.5625");
    printed(t.p, "0.011726");
    assert_eq!((t.df, t.df_denominator), (2.0, Some(3.0)));
    // The lost plot's least-squares value, 32, makes the mean of D what the handbook gives.
    printed(means(&a, "treatment").means[0].mean, "29.3333");
    printed(a.variation[0].percent, "5.55");
}

/// Same handbook: 2^3 factorial in two blocks.
#[test]
fn two_to_the_third() {
    let plots = [
        ("0", "0", "0", [4.3, 3.9]),
        ("1", "0", "0", [4.5, 5.9]),
        ("0", "1", "0", [4.5, 5.4]),
        ("0", "0", "1", [5.7, 6.6]),
        ("1", "1", "0", [6.4, 6.7]),
        ("1", "0", "1", [6.9, 7.1]),
        ("0", "1", "1", [6.4, 7.0]),
        ("1", "1", "1", [8.6, 8.8]),
    ];
    let mut columns: [Vec<String>; 4] = Default::default();
    let mut values = Vec::new();
    for (p, n, v, y) in plots {
        for (b, y) in y.iter().enumerate() {
            for (c, t) in columns.iter_mut().zip([p, n, v, ["I", "II"][b]]) {
                c.push(t.to_owned());
            }
            values.push(*y);
        }
    }
    let [p, n, v, r] = columns;
    let data = observed(&[("P", p), ("N", n), ("V", v), ("replicate", r)], values);
    let a = randomised(&data, &["P", "N", "V"]);
    assert_eq!(a.method.used, MethodUsed::Strata);
    for (source, ss) in [
        ("replicates", "1.050625"),
        ("P", "7.700625"),
        ("N", "4.950625"),
        ("V", "15.015625"),
        ("P x N", "0.680625"),
        ("P x V", "0.005625"),
        ("N x V", "0.000625"),
        ("P x N x V", "0.105625"),
        ("error (plots)", "1.084375"),
    ] {
        printed(line(&a, source).ss, ss);
    }
    printed(a.variation[0].percent, "6.380");
    printed(line(&a, "P").f, "49.71");
    printed(line(&a, "N").f, "31.96");
    printed(line(&a, "V").f, "96.93");
}

/// Agricultural statistics training manual: nitrogen on rice, recomputed from its plots.
#[test]
fn nitrogen_on_rice() {
    let data = blocks(&[
        ("0", &[2.1, 2.8, 2.7, 2.9]),
        ("50", &[3.2, 3.4, 4.1, 4.2]),
        ("60", &[4.9, 4.6, 4.6, 5.0]),
        ("90", &[5.3, 5.2, 5.1, 6.1]),
        ("120", &[3.4, 4.6, 4.6, 3.8]),
    ]);
    let a = randomised(&data, &["treatment"]);
    printed(line(&a, "replicates").ss, "1.018");
    printed(line(&a, "treatment").ss, "18.092");
    printed(line(&a, "error (plots)").ss, "1.952");
    printed(line(&a, "error (plots)").ms, "0.1626667");
    printed(line(&a, "treatment").f, "27.8053");
    let c = comparison(means(&a, "treatment"), "any two means of treatment");
    printed(c.sed, "0.285190");
    printed(c.cd5, "0.621376");
    printed(c.cd1, "0.871124");
    assert_eq!(c.df, 12.0);
    assert_eq!(a.plan.factors[0].levels, names(&["0", "50", "60", "90", "120"]));
}

/// A published summary of six treatments in four replicates: error mean square 2.97 on 15 df. The
/// plots are made to have exactly that error and a mean that gives the printed coefficient.
#[test]
fn summary_of_six_treatments() {
    let names = ["A", "B", "C", "D", "E", "F"];
    let size = (2.97_f64 * 15.0 / 24.0).sqrt();
    let sign = |i: usize| if i.is_multiple_of(2) { 1.0 } else { -1.0 };
    let rows: Vec<Vec<f64>> = (0..6)
        .map(|i| {
            (0..4).map(|j| 27.8 + i as f64 + j as f64 / 3.0 + size * sign(i) * sign(j)).collect()
        })
        .collect();
    let rows: Vec<(&str, &[f64])> =
        names.iter().zip(&rows).map(|(n, r)| (*n, r.as_slice())).collect();
    let a = randomised(&blocks(&rows), &["treatment"]);
    printed(line(&a, "error (plots)").ms, "2.97");
    assert_eq!(line(&a, "error (plots)").df, 15.0);
    let c = &means(&a, "treatment").comparisons[0];
    printed(c.sem, "0.86");
    printed(c.sed, "1.22");
    printed(a.variation[0].percent, "5.6");
    // Printed as 2.5965, from SEm 0.8617, 1.414 and t 2.131; in full digits 2.5974.
    printed(
        c.cd5.map(|cd| cd * (0.8617 * 1.414 * 2.131) / (2.97_f64 / 2.0).sqrt() / 2.131_449_546),
        "2.5965",
    );
    // Efficiency of blocks by hand: (3 Eb + 20 E) / (23 E), corrected by (16 x 21) / (18 x 19).
    let (eb, e) = (line(&a, "replicates").ms.unwrap(), 2.97);
    let relative = (3.0 * eb + 20.0 * e) / (23.0 * e);
    assert!((a.efficiency[0].relative - relative).abs() < 1e-9);
    let corrected = relative * (16.0 * 21.0) / (18.0 * 19.0);
    assert!((a.efficiency[0].corrected.unwrap() - corrected).abs() < 1e-9);
}

/// Published course notes: 2^2 factorial in four blocks.
#[test]
fn two_by_two() {
    let mut columns: [Vec<String>; 3] = Default::default();
    let mut values = Vec::new();
    for (k, p, y) in [
        ("0", "0", [23.0, 26.0, 29.0, 28.0]),
        ("1", "0", [25.0, 36.0, 20.0, 31.0]),
        ("0", "1", [22.0, 40.0, 20.0, 24.0]),
        ("1", "1", [38.0, 38.0, 30.0, 34.0]),
    ] {
        for (b, y) in y.iter().enumerate() {
            for (c, t) in columns.iter_mut().zip([k, p, ["1", "2", "3", "4"][b]]) {
                c.push(t.to_owned());
            }
            values.push(*y);
        }
    }
    let [k, p, r] = columns;
    let a = randomised(&observed(&[("K", k), ("P", p), ("replicate", r)], values), &["K", "P"]);
    printed(line(&a, "replicates").ss, "232.5");
    printed(line(&a, "K").ss, "100");
    printed(line(&a, "P").ss, "49");
    printed(line(&a, "K x P").ss, "49");
    printed(line(&a, "error (plots)").ss, "229.5");
    printed(line(&a, "K").f, "3.9216");
    printed(line(&a, "P").f, "1.9216");
    printed(line(&a, "replicates").f, "3.0392");
}

/// Yates 1935, data `oats` of R package MASS: split plot.
#[test]
fn oats_split_plot() {
    let a = analyse(&crate::support::oats(&[])).unwrap();
    assert_eq!(a.method.used, MethodUsed::Strata);
    printed(line(&a, "replicates").ss, "15875");
    printed(line(&a, "variety").ss, "1786");
    printed(line(&a, "variety").f, "1.485");
    printed(line(&a, "error (main plots)").ss, "6013");
    printed(line(&a, "nitrogen").ss, "20020");
    printed(line(&a, "nitrogen").f, "37.686");
    printed(line(&a, "variety x nitrogen").ss, "322");
    printed(line(&a, "variety x nitrogen").f, "0.303");
    printed(line(&a, "error (sub plots)").ss, "7969");
    let v = comparison(means(&a, "variety"), "any two means of variety");
    printed(v.sed, "7.078904");
    printed(v.cd5, "15.7728");
    let n = comparison(means(&a, "nitrogen"), "any two means of nitrogen");
    printed(n.sed, "4.435755");
    printed(n.cd5, "8.9341");
    let both = means(&a, "variety x nitrogen");
    let n = comparison(both, "nitrogen at the same variety");
    printed(n.sed, "7.682954");
    printed(n.cd5, "15.4743");
    assert_eq!(n.errors, vec![("sub plots".to_owned(), 45.0)]);
    let v = comparison(both, "variety at the same or different nitrogen");
    printed(v.sed, "9.715025");
    printed(v.df, "30.23");
    printed(v.cd5_weighted, "20.6711");
    printed(v.cd5, "19.8344");
    printed(a.variation[0].percent, "23.585");
    printed(a.variation[0].percent_of_group_means, "11.793");
    printed(a.variation[1].percent, "12.799");
    let components: Vec<f64> = a.components.iter().map(|c| c.variance).collect();
    printed(components[0], "214.48");
    printed(components[1], "106.06");
    printed(components[2], "177.08");
    let expected = line(&a, "error (main plots)").expected.clone().unwrap();
    assert_eq!(
        expected.components,
        vec![("sub plots".to_owned(), 1.0), ("main plots".to_owned(), 4.0)]
    );
}
