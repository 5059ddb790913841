//! Estimable means, tests and limits of variances, and influence against
//! emmeans, lme4 and lmerTest; values by notebooks-free-scripts/mixed-reference/inference.R.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Case, Shape, Values, close, intercept};
use mixed::{
    Adjustment, Contrast, Covariance, Data, Deletion, DfMethod, Error, Factor, Fit, GridMean,
    GridRow, GroupSums, JointTest, MeansTable, Settings, fit,
};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

fn fitted(case: &str, shapes: Vec<Shape>, settings: &Settings) -> Fit {
    fit(&Case::new(case, shapes).data(), settings).unwrap()
}

fn slopes(name: &'static str, slopes: &'static [&'static str]) -> Vec<Shape> {
    vec![Shape { name, slopes, covariance: Covariance::Correlated }]
}

/// Grid rows of the means of a case, in order of first appearance.
fn grid(case: &str) -> Vec<GridMean> {
    let path = common::folder().join(format!("{case}-grid.csv"));
    let text = std::fs::read_to_string(path).unwrap();
    let mut means: Vec<GridMean> = Vec::new();
    for line in text.lines().skip(1) {
        let mut cells = line.split(',');
        let name = cells.next().unwrap().to_owned();
        let mut numbers = cells.map(|c| c.trim().parse::<f64>().unwrap());
        let row = GridRow { weight: numbers.next().unwrap(), columns: numbers.collect() };
        match means.iter_mut().find(|m| m.name == name) {
            Some(mean) => mean.over.push(row),
            None => means.push(GridMean { name, over: vec![row] }),
        }
    }
    means
}

/// Against emmeans; returns the number of rows that are not estimable in both.
fn check_table(case: &str, kind: &str, table: &MeansTable) -> usize {
    let values = Values::read(case);
    let mut not_estimable = 0;
    assert_eq!(table.rows.len(), values.all(&format!("{kind}_estimate")).len());
    for row in &table.rows {
        let get = |quantity: &str| values.get(&format!("{kind}_{quantity}"), &row.name);
        let Contrast::Estimated(e) = &row.value else {
            assert!(get("estimate").is_nan(), "{case} {kind} {}", row.name);
            not_estimable += 1;
            continue;
        };
        let what = |quantity: &str| format!("{case} {kind} {} {quantity}", row.name);
        // Estimates and standard errors as accurate as lme4's theta; numeric
        // curvature in the Satterthwaite df; limits follow from these.
        let size = e.std_error;
        let df_tolerance = if kind.starts_with("kr") { 1e-5 } else { 1e-3 };
        assert!((e.estimate - get("estimate")).abs() < 1e-5 * size, "{}", what("estimate"));
        close(&what("std_error"), size, get("std_error"), 1e-5);
        close(&what("df"), e.df, get("df"), df_tolerance);
        assert!((e.conf_low - get("low")).abs() < 1e-3 * size, "{}", what("low"));
        assert!((e.conf_high - get("high")).abs() < 1e-3 * size, "{}", what("high"));
        let p = get("p_value");
        assert!((e.p_value - p).abs() <= 1e-2 * p.min(0.1), "{} {}", what("p"), e.p_value);
    }
    not_estimable
}

#[test]
fn estimable_means_match_emmeans() {
    // Case, rows of the table and of the pairs that are not estimable.
    let cases = [
        ("means-oats", 0, 0),
        ("means-oats-missing-cell", 1, 2),
        ("means-oats-cells", 1, 11),
        ("means-oats-weighted-cells", 0, 0),
    ];
    for (case, in_means, in_pairs) in cases {
        let fit = fitted(case, vec![intercept("plot"), intercept("B")], &Settings::default());
        let means = grid(case);
        for (short, method) in [("sat", DfMethod::Satterthwaite), ("kr", DfMethod::KenwardRoger)] {
            let means = fit.estimable_means(&means, method).unwrap();
            let table = means.table(0.95).unwrap();
            assert_eq!(table.df_method, method);
            assert_eq!(check_table(case, &format!("{short}_mean"), &table), in_means);
            for (name, adjustment) in
                [("none", Adjustment::None), ("bonferroni", Adjustment::Bonferroni)]
            {
                let pairs = means.pairs(0.95, adjustment).unwrap();
                let kind = format!("{short}_pair_{name}");
                assert_eq!(check_table(case, &kind, &pairs), in_pairs);
            }
        }
    }
}

/// Equality of the means is the F test of the same contrasts, and a named
/// contrast is the difference that it spells out.
#[test]
fn contrasts_of_means_agree_with_pairs() {
    let fit = fitted("means-oats", vec![intercept("plot"), intercept("B")], &Settings::default());
    for method in [DfMethod::Satterthwaite, DfMethod::KenwardRoger] {
        let means = fit.estimable_means(&grid("means-oats"), method).unwrap();
        let named = vec![("first - last".to_owned(), vec![1.0, 0.0, -1.0])];
        let one = means.contrasts(&named, 0.9, Adjustment::Bonferroni).unwrap();
        let pairs = means.pairs(0.9, Adjustment::None).unwrap();
        assert_eq!(one.rows[0].value, pairs.rows[1].value);
        // Yates (1935): F for varieties is 1.485 on 2 and 10 degrees of freedom.
        let JointTest::Tested { statistic, df_numerator, df_denominator, .. } =
            means.equality().unwrap()
        else {
            panic!("not estimable")
        };
        close("F", statistic, 1.485, 1e-3);
        close("ndf", df_numerator, 2.0, 1e-12);
        close("ddf", df_denominator, 10.0, 1e-3);
    }
}

#[test]
fn unusable_grids_are_named() {
    let fit = fitted("dyestuff", vec![intercept("Batch")], &Settings::default());
    let mean = |weights: &[f64]| GridMean {
        name: "all".into(),
        over: weights.iter().map(|w| GridRow { weight: *w, columns: vec![1.0] }).collect(),
    };
    let ask = |means: &[GridMean]| fit.estimable_means(means, DfMethod::Satterthwaite).map(|_| ());
    assert_eq!(
        ask(&[mean(&[1.0]), mean(&[1.0])]),
        Err(Error::DuplicateName { name: "all".into() })
    );
    assert_eq!(ask(&[mean(&[1.0, -1.0])]), Err(Error::BadWeight { row: 1, value: -1.0 }));
    assert!(matches!(ask(&[mean(&[0.0])]), Err(Error::BadSetting { .. })));
    assert!(matches!(ask(&[mean(&[])]), Err(Error::BadSetting { .. })));
    let long =
        GridMean { name: "x".into(), over: vec![GridRow { weight: 1.0, columns: vec![1.0, 2.0] }] };
    assert!(matches!(ask(&[long]), Err(Error::LengthMismatch { .. })));
}

#[test]
fn variance_tests_match_refits_by_lme4() {
    let check = |fit: &Fit, case: &str, term: &str, name: (&str, &str), mixture: [f64; 2]| {
        let test = fit.variance_test(name.0, name.1).unwrap();
        let expected = Values::read(case).get("lrt", term);
        // A difference of two optima, each flat: 1e-6 absolute.
        assert!((test.statistic - expected).abs() < 1e-6, "{case} {term}: {test:?} {expected}");
        assert_eq!(test.mixture, mixture);
        test
    };
    let oats = fitted("oats", vec![intercept("plot"), intercept("B")], &Settings::default());
    check(&oats, "oats-tests", "plot", ("plot", "intercept"), [0.0, 1.0]);
    let block = check(&oats, "oats-tests", "B", ("B", "intercept"), [0.0, 1.0]);
    // pchisq(4.9782, 1, lower = FALSE) / 2
    close("half the chi-square tail", block.p_value, 0.5 * 0.025_668_2, 1e-3);
    let sleep = fitted("sleepstudy", slopes("Subject", &["Days"]), &Settings::default());
    let days = check(&sleep, "sleepstudy-tests", "Subject.Days", ("Subject", "Days"), [1.0, 2.0]);
    // 0.5 pchisq(42.8368, 1) + 0.5 pchisq(42.8368, 2), upper tails: 2.97e-11 and 4.99e-10.
    assert!(days.p_value > 2.4e-10 && days.p_value < 2.8e-10, "{}", days.p_value);
    let shape = Shape { name: "Subject", slopes: &["Days"], covariance: Covariance::Independent };
    let independent = fitted("sleepstudy-independent", vec![shape], &Settings::default());
    check(&independent, "sleepstudy-tests", "independent", ("Subject", "Days"), [0.0, 1.0]);
    let machines =
        fitted("machines-three-effects", slopes("Worker", &["MB", "MC"]), &Settings::default());
    check(&machines, "machines-tests", "Worker.MC", ("Worker", "MC"), [2.0, 3.0]);
    let pastes =
        fitted("pastes", vec![intercept("sample"), intercept("batch")], &Settings::default());
    check(&pastes, "pastes-tests", "batch", ("batch", "intercept"), [0.0, 1.0]);
    let dyestuff = fitted("dyestuff", vec![intercept("Batch")], &Settings::default());
    check(&dyestuff, "dyestuff-tests", "Batch", ("Batch", "intercept"), [0.0, 1.0]);
    // At the boundary there is nothing to test: the point mass at 0.
    let boundary = fitted("dyestuff2", vec![intercept("Batch")], &Settings::default());
    let test = boundary.variance_test("Batch", "intercept").unwrap();
    assert!(test.statistic < 1e-9 && test.p_value > 0.49, "{test:?}");
    assert!(boundary.variance_test("Batch", "dose").is_err());
    assert!(boundary.variance_test("batch", "intercept").is_err());
}

/// With many groups and no spread, 5 % of the tests are below 0.05 and about
/// half of the statistics are 0 (Self and Liang 1987).
#[test]
fn variance_test_keeps_its_level() {
    let (groups, per_group, runs) = (60_u32, 4_usize, 1000);
    let mut rng = ChaCha12Rng::seed_from_u64(41);
    let codes: Vec<u32> = (0..groups).flat_map(|g| std::iter::repeat_n(g, per_group)).collect();
    let (mut rejected, mut zero) = (0, 0);
    for _ in 0..runs {
        let y: Vec<f64> = codes.iter().map(|_| StandardNormal.sample(&mut rng)).collect();
        let data =
            Data::new(&y).intercept().factor(Factor::intercept("g", &codes, groups as usize));
        let test =
            fit(&data, &Settings::default()).unwrap().variance_test("g", "intercept").unwrap();
        rejected += usize::from(test.p_value < 0.05);
        zero += usize::from(test.statistic < 1e-9);
    }
    let near = |count: usize, share: f64| {
        let n = f64::from(runs);
        (count as f64 / n - share).abs() < 4.0 * (share * (1.0 - share) / n).sqrt()
    };
    assert!(near(rejected, 0.05), "{rejected} of {runs} rejected");
    assert!(near(zero, 0.53), "{zero} of {runs} at 0");
}

#[test]
fn profile_limits_match_lme4() {
    let cases = [
        ("dyestuff-ml", "dyestuff-ml", vec![intercept("Batch")]),
        ("dyestuff2-ml", "dyestuff2", vec![intercept("Batch")]),
        ("penicillin-ml", "penicillin", vec![intercept("plate"), intercept("sample")]),
        ("sleepstudy-ml", "sleepstudy-ml", slopes("Subject", &["Days"])),
        ("pastes-ml", "pastes", vec![intercept("sample"), intercept("batch")]),
    ];
    for (case, table, shapes) in cases {
        let limits = fitted(table, shapes, &Settings::ml()).profile_limits(0.95).unwrap();
        let values = Values::read(case);
        assert_eq!(limits.len(), values.all("profile_low").len());
        for found in limits {
            let (low, high) =
                (values.get("profile_low", &found.term), values.get("profile_high", &found.term));
            println!("{case} {found:?} {low} {high}");
            // lme4 reads limits off a spline through a profile.
            close(&format!("{case} {} low", found.term), found.low, low, 1e-3);
            close(&format!("{case} {} high", found.term), found.high.unwrap(), high, 1e-3);
        }
    }
}

/// Against generalised least squares in R at lme4's theta.
#[test]
fn influence_matches_least_squares_without_the_group() {
    let cases = [
        ("sleepstudy", slopes("Subject", &["Days"])),
        ("machines-unbalanced", vec![intercept("cell"), intercept("Worker")]),
        ("penicillin", vec![intercept("plate"), intercept("sample")]),
    ];
    for (name, shapes) in cases {
        let case = Case::new(name, shapes);
        let fit = fit(&case.data(), &Settings::default()).unwrap();
        let influence = fit.influence(&GroupSums::accumulate(&case.data()).unwrap()).unwrap();
        let values = Values::read(name);
        assert_eq!(influence.groups.len(), values.all("influence_cook").len());
        let errors: Vec<f64> =
            influence.coefficients.iter().map(|c| values.get("std_error", c)).collect();
        for group in influence.groups {
            let Deletion::Changed { change, cooks_distance } = group.deletion else {
                panic!("{name} {}", group.level)
            };
            // As accurate as lme4's theta: 1e-5 standard errors.
            let cook = values.get("influence_cook", &group.level.to_string());
            assert!((cooks_distance - cook).abs() < 1e-4 * cook + 1e-8, "{cooks_distance} {cook}");
            for ((found, error), c) in change.iter().zip(&errors).zip(&influence.coefficients) {
                let expected = values.get("influence_change", &format!("{}/{c}", group.level));
                assert!((found - expected).abs() < 1e-5 * error, "{name} {c} {found} {expected}");
            }
        }
    }
}

/// REML limits of a balanced one-way layout, whose deviance is known in closed
/// form (Searle, Casella, McCulloch 1992), by a search over one number.
#[test]
fn reml_profile_limits_match_the_closed_form() {
    for case in ["dyestuff", "dyestuff2"] {
        let table = common::Table::read(case);
        let (y, batch) = (table.get("y"), table.codes("Batch"));
        let (a, n) = (6.0, 5.0);
        let grand = y.iter().sum::<f64>() / 30.0;
        let (mut between, mut within) = (0.0, 0.0);
        for g in 0..6 {
            let mine = || (0..30).filter(|i| batch[*i] == g).map(|i| y[i]);
            let mean = mine().sum::<f64>() / n;
            between += n * (mean - grand).powi(2);
            within += mine().map(|v| (v - mean).powi(2)).sum::<f64>();
        }
        let deviance = |sd: f64, sigma: f64| {
            let (s2, c) = (sigma * sigma, 1.0 + n * sd * sd / (sigma * sigma));
            (a - 1.0) * c.ln() + (a * n - 1.0) * s2.ln() + (within + between / c) / s2
        };
        // Golden section; each profile has one minimum on the range.
        let least = |f: &dyn Fn(f64) -> f64, high: f64| {
            let (mut low, mut high) = (1e-9, high);
            for _ in 0..200 {
                let (p, q) = (low + 0.381_966 * (high - low), low + 0.618_034 * (high - low));
                if f(p) < f(q) {
                    high = q;
                } else {
                    low = p;
                }
            }
            0.5 * (low + high)
        };
        let top = 10.0 * (between + within).sqrt();
        let of_spread = |sd: f64| deviance(sd, least(&|s| deviance(sd, s), top));
        let of_residual = |s: f64| deviance(least(&|sd| deviance(sd, s), top), s);
        let fit = fitted(case, vec![intercept("Batch")], &Settings::default());
        let limits = fit.profile_limits(0.95).unwrap();
        let spread = limits[0].estimate;
        let bottom = of_spread(spread.max(1e-9));
        // 95 % point of chi-square(1).
        let rise = 3.841_458_820_694_124;
        for (found, profile) in
            [(&limits[0], &of_spread as &dyn Fn(f64) -> f64), (&limits[1], &of_residual)]
        {
            let high = found.high.unwrap();
            close(&format!("{case} {} high", found.term), profile(high) - bottom, rise, 1e-6);
            if found.low > 0.0 {
                close(
                    &format!("{case} {} low", found.term),
                    profile(found.low) - bottom,
                    rise,
                    1e-6,
                );
            } else {
                assert!(profile(1e-6 * high) - bottom < rise);
            }
        }
        assert_eq!(limits[0].low == 0.0, case == "dyestuff2");
    }
}
