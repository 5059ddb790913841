//! Uniformity trials of fruit trees with dummy treatments, and a factorial without blocks, against R.
//! Values and their maker: tests/reference/trials/analysis, notebooks-free-scripts/trials-reference/analysis.

use crate::support::{declared, line, names, observed, table};
use records::{TrialDeclaration, TrialDesign};
use serde_json::Value;
use trials::{Analysis, MethodUsed, Observations, Plan, analyse};

fn reference(case: &str) -> Value {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/trials/analysis/");
    let text = std::fs::read_to_string(format!("{folder}orchards.json")).unwrap();
    serde_json::from_str::<Value>(&text).unwrap()[case].clone()
}

fn close(found: f64, expected: &Value, relative: f64, what: &str) {
    let expected = expected.as_f64().unwrap();
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: {found}, {expected}");
}

fn declaration(design: TrialDesign, factors: &[&str]) -> TrialDeclaration {
    TrialDeclaration { factors: names(factors), ..declared(design) }
}

fn orchard(name: &str) -> Analysis {
    // Lost trees are written NA, which `table` does not read as numbers.
    let rows = crate::support::csv(&format!("{name}_uniformity.csv"));
    let column = |at: usize| rows[1..].iter().map(|row| row[at].clone()).collect::<Vec<_>>();
    let values = rows[1..].iter().map(|row| row[2].parse().unwrap_or(f64::NAN)).collect();
    let data = observed(&[("replicate", column(0)), ("treatment", column(1))], values);
    let declaration = declaration(TrialDesign::RandomisedBlocks, &["treatment"]);
    analyse(&Plan::read(&declaration, &data).unwrap()).unwrap()
}

/// Six trees in every plot: plot means, exactly.
#[test]
fn peach_trees_are_no_replicates() {
    let (a, r) = (orchard("peach"), reference("peach"));
    let found = line(&a, "treatment");
    close(found.f.unwrap(), &r["f_of_plot_means"], 1e-9, "F");
    close(found.df_denominator.unwrap(), &r["df_of_plot_means"], 1e-9, "df");
    assert_eq!(a.sampling.unwrap().trees, 144);
}

/// Lost trees: the mixed model with trees below plots, whose variance is estimated at its boundary.
#[test]
fn apples_and_grapes_with_lost_trees() {
    for name in ["apple", "grape"] {
        let (a, r) = (orchard(name), reference(name));
        assert_eq!(a.method.used, MethodUsed::KenwardRoger, "{name}");
        let found = line(&a, "treatment");
        close(found.f.unwrap(), &r["f"], 1e-5, name);
        close(found.df_denominator.unwrap(), &r["df_denominator"], 1e-4, name);
        close(found.p.unwrap(), &r["p"], 1e-4, name);
        assert_eq!(a.sampling.unwrap().trees as u64, r["trees"].as_u64().unwrap());
    }
}

fn cabbages() -> Observations {
    table("cabbages.csv", &[("Cult", "cultivar"), ("Date", "date")], "HeadWt")
}

#[test]
fn cabbages_as_a_factorial_without_blocks() {
    let mut data = cabbages();
    let plots: Vec<Option<String>> = (0..data.len()).map(|k| Some(format!("P{k}"))).collect();
    data.columns.insert("plot".to_owned(), plots);
    let mut declaration = declaration(TrialDesign::CompletelyRandomised, &["cultivar", "date"]);
    declaration.roles.plot = Some("plot".to_owned());
    let a = analyse(&Plan::read(&declaration, &data).unwrap()).unwrap();
    let r = reference("cabbages");
    let terms = [("Cult", "cultivar"), ("Date", "date"), ("Cult:Date", "cultivar x date")];
    for (theirs, ours) in terms {
        let found = line(&a, ours);
        close(found.ss.unwrap(), &r[theirs]["ss"], 1e-9, ours);
        close(found.f.unwrap(), &r[theirs]["f"], 1e-9, ours);
        close(found.p.unwrap(), &r[theirs]["p"], 1e-7, ours);
        assert_eq!(found.df_denominator, Some(54.0));
    }
    // With vitamin C as the covariate.
    declaration.covariate = Some("vitamin_c".to_owned());
    let vitamin = crate::support::csv("cabbages.csv");
    let values = vitamin[1..].iter().map(|row| row[4].parse().unwrap()).collect();
    data.numbers.insert("vitamin_c".to_owned(), values);
    let a = analyse(&Plan::read(&declaration, &data).unwrap()).unwrap();
    let r = reference("cabbages_covariate");
    close(line(&a, "cultivar x date").f.unwrap(), &r["interaction_f"], 1e-9, "F");
    close(a.covariate.unwrap().slope, &r["slope"], 1e-9, "slope");
}
