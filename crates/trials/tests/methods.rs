//! From an analysis to comparisons, residual checks and the methods paragraph.
#![allow(clippy::expect_used, clippy::panic)]

mod witness;

use records::{TrialDeclaration, TrialDesign};
use std::collections::BTreeMap;
use trials::checks::{Answer, residual_checks, spatial_check};
use trials::compare::{Adjustment, ComparisonTable, EstimatedMeans, Letters, Pairs};
use trials::methods::Methods;
use trials::{Analysis, Observations, Plan, Trait, TraitKind, analyse};
use witness::path;

/// An analysis of a committed file: `names` gives the column of each role or factor.
fn analysed(
    file: &str,
    design: TrialDesign,
    set: impl Fn(&mut TrialDeclaration),
    names: &[(&str, &str)],
    value: &str,
    lost: &[usize],
) -> Analysis {
    let text = std::fs::read_to_string(path(file)).expect("committed data");
    let clean = |line: &str| {
        line.split(',').map(|f| f.trim_matches('"').to_owned()).collect::<Vec<String>>()
    };
    let mut lines = text.lines().map(clean);
    let head = lines.next().expect("a head");
    let at = |name: &str| head.iter().position(|h| h == name).expect("a column");
    let rows: Vec<Vec<String>> =
        lines.enumerate().filter(|(i, _)| !lost.contains(i)).map(|(_, row)| row).collect();
    let mut declared: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    declared.design = design;
    set(&mut declared);
    let observed = Observations {
        trial: "example".to_owned(),
        observed: Trait {
            id: "yield".to_owned(),
            name: "yield".to_owned(),
            unit: "quarter lb".to_owned(),
            kind: TraitKind::Measured,
        },
        values: rows.iter().map(|r| r[at(value)].parse().expect("a number")).collect(),
        exposure: None,
        columns: names
            .iter()
            .map(|(role, column)| {
                let cells = rows.iter().map(|r| Some(r[at(column)].clone())).collect();
                ((*role).to_owned(), cells)
            })
            .collect::<BTreeMap<_, _>>(),
        numbers: BTreeMap::new(),
        tree: (0..rows.len()).map(|i| format!("T{i}")).collect(),
        season: vec![None; rows.len()],
        place: vec![String::new(); rows.len()],
    };
    analyse(&Plan::read(&declared, &observed).expect("a plan")).expect("an analysis")
}

fn oats(lost: &[usize]) -> Analysis {
    analysed(
        "analysis/oats.csv",
        TrialDesign::SplitPlot,
        |d| {
            d.main_factors = vec!["variety".to_owned()];
            d.sub_factors = vec!["nitrogen".to_owned()];
        },
        &[("replicate", "B"), ("variety", "V"), ("nitrogen", "N")],
        "Y",
        lost,
    )
}

fn latin_square() -> Analysis {
    analysed(
        "analysis/fungicide_latin_square.csv",
        TrialDesign::LatinSquare,
        |d| {
            d.factors = vec!["fungicide".to_owned()];
            d.roles.row = Some("row".to_owned());
            d.roles.column = Some("column".to_owned());
        },
        &[("row", "row"), ("column", "col"), ("fungicide", "trt")],
        "yield",
        &[],
    )
}

#[test]
fn unadjusted_comparisons_of_a_term_are_its_critical_differences() {
    for analysis in [oats(&[]), oats(&[3, 17, 40])] {
        for term in &analysis.means {
            let means = EstimatedMeans::of_term(term).expect("all means");
            let table = ComparisonTable::new(&means, &Pairs::All, Adjustment::Unadjusted, 0.05)
                .expect("pairs");
            assert_eq!(table.rows.len(), term.pairs.len());
            for (row, pair) in table.rows.iter().zip(&term.pairs) {
                assert!((row.estimate - pair.difference).abs() < 1e-8);
                assert!((row.std_error - pair.std_error).abs() < 1e-8);
                assert!((row.p_value.expect("tested") - pair.p.expect("tested")).abs() < 1e-8);
            }
        }
    }
    // Nitrogen in oats, CD 5 % as printed by Yates's successors: 8.9341.
    let analysis = oats(&[]);
    let term = analysis.means.iter().find(|m| m.term == "nitrogen").expect("a term");
    let means = EstimatedMeans::of_term(term).expect("all means");
    let table =
        ComparisonTable::new(&means, &Pairs::All, Adjustment::Unadjusted, 0.05).expect("pairs");
    assert!((table.minimum_difference.largest - 8.9341).abs() < 5e-5);
    assert!((table.minimum_difference.smallest - 8.9341).abs() < 5e-5);
}

#[test]
fn residual_checks_use_the_residuals_of_the_analysis() {
    for analysis in [oats(&[]), oats(&[3, 17, 40]), latin_square()] {
        let Answer::Made(checks) = residual_checks(&analysis) else { panic!("not made") };
        let own = analysis.residuals.as_ref().expect("residual degrees of freedom");
        for (point, unit) in checks.points.iter().zip(&own.units) {
            assert!((point.residual - unit.residual).abs() < 1e-8);
            assert!((point.fitted - unit.fitted).abs() < 1e-8);
        }
        let outliers = checks.outliers.made().expect("varies");
        for (plot, unit) in outliers.plots.iter().zip(&own.units) {
            assert!((plot.leverage - unit.leverage).abs() < 1e-10);
        }
        assert!(checks.normality.made().is_some());
    }
}

#[test]
fn a_latin_square_leaves_no_trend_and_nothing_to_rows_and_columns() {
    let analysis = latin_square();
    let Answer::Made(checks) = residual_checks(&analysis) else { panic!("not made") };
    // Rows and columns are in the model already.
    assert!(matches!(checks.trend, Answer::NotMade(_)), "{:?}", checks.trend);
    assert!(checks.moran.made().is_some());
    let Answer::NotMade(why) = spatial_check(&analysis) else { panic!("made") };
    assert!(why.contains("leave nothing to adjust for"), "{why}");
    // No places, no claim.
    assert!(matches!(spatial_check(&oats(&[])), Answer::NotMade(_)));
}

#[test]
fn the_paragraph_says_what_was_done_and_nothing_else() {
    let exact = oats(&[]);
    let text = Methods::of(&exact).paragraph();
    assert!(text.starts_with("Split plot, 72 plots"), "{text}");
    assert!(text.contains("72 plot means"), "{text}");
    assert!(text.contains("own stratum"), "{text}");
    assert!(text.contains("Satterthwaite"), "{text}");
    assert!(!text.contains("Kenward") && !text.contains("Letters"), "{text}");
    let damaged = oats(&[3, 17, 40]);
    let term = damaged.means.iter().find(|m| m.term == "nitrogen").expect("a term");
    let means = EstimatedMeans::of_term(term).expect("all means");
    let tables =
        [ComparisonTable::new(&means, &Pairs::All, Adjustment::Tukey, 0.05).expect("pairs")];
    let letters = Letters::new(&means, &tables[0]);
    let Answer::Made(checks) = residual_checks(&damaged) else { panic!("not made") };
    let methods = Methods {
        comparisons: &tables,
        letters: Some(&letters),
        checks: Some(&checks),
        ..Methods::of(&damaged)
    };
    let text = methods.paragraph();
    for words in ["69 plot means", "Kenward and Roger", "Tukey-Kramer", "Letters", "Shapiro-Wilk"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(!text.contains("NaN") && !text.contains("..") && !text.contains("  "), "{text}");
    println!("{text}");
}
