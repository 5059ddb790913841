//! Comparisons against emmeans and multcomp on published data.
#![allow(clippy::expect_used)]

mod witness;

use serde_json::Value;
use std::collections::BTreeSet;
use trials::compare::{
    Adjustment, CompareError, ComparisonTable, EstimatedMeans, LETTERS_WARNING, Letters, PairDf,
    Pairs,
};
use trials::distributions::Sides;
use witness::{number, numbers, read, texts};

fn cases() -> Vec<Value> {
    read("compare/compare.json")["cases"].as_array().expect("an array").clone()
}

fn means(case: &Value) -> EstimatedMeans {
    EstimatedMeans::new(
        texts(&case["names"]),
        numbers(&case["means"]),
        numbers(&case["covariance"]),
        PairDf::Common(number(&case["df"])),
    )
    .expect("committed means are complete")
}

fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() < tolerance, "{what}: {found} {expected}");
}

#[test]
fn all_pairs_agree_with_emmeans() {
    let cases = cases();
    assert_eq!(cases.len(), 5);
    for case in &cases {
        let means = means(case);
        // R's ptukey and qtukey are good to about 1e-7 and 1e-4 at these degrees of freedom.
        for (name, adjustment, p_digits, end_digits) in [
            ("none", Adjustment::Unadjusted, 1e-10, 1e-8),
            ("tukey", Adjustment::Tukey, 1e-7, 1e-4),
            ("bonferroni", Adjustment::Bonferroni, 1e-10, 1e-8),
            ("holm", Adjustment::Holm, 1e-10, 1e-8),
        ] {
            let table = ComparisonTable::new(&means, &Pairs::All, adjustment, 0.05).expect("pairs");
            let witness = &case[name];
            let what = format!("{} {name}", case["case"]);
            let estimate = numbers(&witness["estimate"]);
            assert_eq!(table.rows.len(), estimate.len());
            for (i, row) in table.rows.iter().enumerate() {
                near(row.estimate, estimate[i], 1e-10, &what);
                near(row.std_error, numbers(&witness["se"])[i], 1e-10, &what);
                near(row.p_value.expect("tested"), numbers(&witness["p"])[i], p_digits, &what);
                let scale = row.std_error;
                let (low, high) = (numbers(&witness["low"])[i], numbers(&witness["high"])[i]);
                near(row.conf_low.expect("bounded") / scale, low / scale, end_digits, &what);
                near(row.conf_high.expect("bounded") / scale, high / scale, end_digits, &what);
            }
        }
    }
}

#[test]
fn differences_from_the_control_agree_with_multcomp() {
    for case in &cases() {
        let means = means(case);
        let control = case["control"].as_str().expect("a name").to_owned();
        let approximate = case["case"].as_str().expect("a name").contains("oats");
        for (name, sides) in
            [("two.sided", Sides::Both), ("greater", Sides::Above), ("less", Sides::Below)]
        {
            let table = ComparisonTable::new(
                &means,
                &Pairs::WithControl(control.clone()),
                Adjustment::Dunnett(sides),
                0.05,
            )
            .expect("control is a mean");
            let witness = &case[name];
            let names = texts(&witness["names"]);
            for row in &table.rows {
                let i = names.iter().position(|n| *n == row.first).expect("same comparisons");
                let what = format!("{} {name} {}", case["case"], row.first);
                near(row.estimate, numbers(&witness["estimate"])[i], 1e-9, &what);
                near(row.std_error, numbers(&witness["se"])[i], 1e-9, &what);
                // mvtnorm integrates at random to 1e-6 (and searches its quantile to about 1e-3);
                // the incomplete blocks differ by the product form of their correlations.
                let digits = if approximate { 5e-4 } else { 5e-6 };
                near(row.p_value.expect("tested"), numbers(&witness["p"])[i], digits, &what);
                for (end, side, unbounded) in
                    [(row.conf_low, "low", Sides::Below), (row.conf_high, "high", Sides::Above)]
                {
                    let expected = numbers_or_none(&witness[side])[i];
                    assert_eq!(end.is_none(), sides == unbounded);
                    if let (Some(end), Some(expected)) = (end, expected) {
                        near(end / row.std_error, expected / row.std_error, 5e-3, &what);
                    }
                }
            }
        }
    }
}

fn numbers_or_none(value: &Value) -> Vec<Option<f64>> {
    value.as_array().expect("an array").iter().map(Value::as_f64).collect()
}

/// Sets of rows that share a letter.
fn shared(letters: &[String]) -> BTreeSet<Vec<usize>> {
    let all: BTreeSet<char> = letters.iter().flat_map(|l| l.chars()).collect();
    all.iter().map(|c| (0..letters.len()).filter(|i| letters[*i].contains(*c)).collect()).collect()
}

#[test]
fn letters_agree_with_multcomp() {
    for case in &cases() {
        let means = means(case);
        let table = ComparisonTable::new(&means, &Pairs::All, Adjustment::Tukey, 0.05)
            .expect("pairs of complete means");
        let letters = Letters::new(&means, &table);
        assert_eq!(letters.warning, LETTERS_WARNING.get());
        // The same sets of means share a letter; which letter a set gets is a convention (here the
        // largest mean has a).
        let found: Vec<String> = letters.rows.iter().map(|(_, l)| l.clone()).collect();
        assert_eq!(shared(&found), shared(&texts(&case["letters"])), "{}", case["case"]);
        let means = numbers(&case["means"]);
        let largest = (0..means.len()).max_by(|a, b| means[*a].total_cmp(&means[*b]));
        assert!(found[largest.expect("means")].contains('a'));
    }
}

#[test]
fn the_least_significant_difference_is_the_printed_critical_difference() {
    // Nitrogen on rice in randomised blocks: error mean square 0.1626667 on 12 df, 4 replicates.
    let means = EstimatedMeans::of_replicates(
        ["0", "50", "60", "90", "120"].map(str::to_owned).to_vec(),
        vec![2.625, 3.725, 4.775, 5.425, 4.1],
        &[4.0; 5],
        1.952 / 12.0,
        12.0,
    )
    .expect("five means");
    for (level, printed) in [(0.05, 0.621376), (0.01, 0.871124)] {
        let table = ComparisonTable::new(&means, &Pairs::All, Adjustment::Unadjusted, level)
            .expect("pairs");
        near(table.minimum_difference.smallest, printed, 5e-7, "smallest");
        near(table.minimum_difference.largest, printed, 5e-7, "largest");
    }
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let named = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
    let one = EstimatedMeans::of_replicates(named(&["a"]), vec![1.0], &[3.0], 1.0, 4.0);
    assert_eq!(one, Err(CompareError::TooFew(1)));
    let short = EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0], &[3.0; 2], 1.0, 4.0);
    assert!(matches!(short, Err(CompareError::Length { .. })));
    let nan =
        EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0, f64::NAN], &[3.0; 2], 1.0, 4.0);
    assert!(matches!(nan, Err(CompareError::NotFinite { .. })));
    let empty =
        EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0, 2.0], &[3.0, 0.0], 1.0, 4.0);
    assert!(matches!(empty, Err(CompareError::NotFinite { .. })));
    let no_df =
        EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0, 2.0], &[3.0; 2], 1.0, 0.0)
            .expect("df are read when compared");
    let all =
        |means, adjustment, level| ComparisonTable::new(means, &Pairs::All, adjustment, level);
    assert!(matches!(all(&no_df, Adjustment::Tukey, 0.05), Err(CompareError::Distribution(_))));
    let good =
        EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0, 2.0], &[3.0; 2], 1.0, 4.0)
            .expect("two means");
    assert_eq!(all(&good, Adjustment::Tukey, 1.0), Err(CompareError::Level(1.0)));
    assert!(matches!(
        all(&good, Adjustment::Dunnett(Sides::Both), 0.05),
        Err(CompareError::WrongPairs { .. })
    ));
    let missing = Pairs::WithControl("c".to_owned());
    assert_eq!(
        ComparisonTable::new(&good, &missing, Adjustment::Unadjusted, 0.05),
        Err(CompareError::NoControl("c".to_owned()))
    );
    // All equal: no error, no test, no NaN.
    let exact =
        EstimatedMeans::of_replicates(named(&["a", "b"]), vec![1.0, 1.0], &[3.0; 2], 0.0, 4.0)
            .expect("two means");
    let table = all(&exact, Adjustment::Holm, 0.05).expect("a table without tests");
    assert_eq!((table.rows[0].statistic, table.rows[0].p_value), (None, None));
    assert!(!table.notes.is_empty());
    assert_eq!(Letters::new(&exact, &table).rows[0].1, "a");
}
