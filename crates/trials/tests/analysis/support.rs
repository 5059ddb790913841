//! Small trials as observations.

use records::{TrialDeclaration, TrialDesign};
use std::collections::BTreeMap;
use trials::{Analysis, AnovaRow, Comparison, MeansOfTerm, Observations, Trait, TraitKind};

/// A declaration with nothing but its design.
pub fn declared(design: TrialDesign) -> TrialDeclaration {
    TrialDeclaration {
        title: None,
        design,
        factors: Vec::new(),
        main_factors: Vec::new(),
        sub_factors: Vec::new(),
        sub_sub_factors: Vec::new(),
        amounts: BTreeMap::new(),
        roles: Default::default(),
        control: None,
        checks: Vec::new(),
        covariate: None,
        traits: Vec::new(),
        seasons: Vec::new(),
        letters: false,
    }
}

pub fn names(names: &[&str]) -> Vec<String> {
    names.iter().map(|n| (*n).to_owned()).collect()
}

/// One tree per row; `text` by column. A value of NaN is a lost plot.
pub fn observed(text: &[(&str, Vec<String>)], values: Vec<f64>) -> Observations {
    let n = values.len();
    Observations {
        trial: "example".to_owned(),
        observed: Trait {
            id: "nut-yield".to_owned(),
            name: "nut yield".to_owned(),
            unit: "kg".to_owned(),
            kind: TraitKind::Measured,
        },
        exposure: None,
        columns: text
            .iter()
            .map(|(name, cells)| {
                let cells = cells.iter().map(|c| (!c.is_empty()).then(|| c.clone())).collect();
                ((*name).to_owned(), cells)
            })
            .collect(),
        numbers: BTreeMap::new(),
        tree: (0..n).map(|i| format!("T{i}")).collect(),
        season: vec![None; n],
        place: (0..n).map(|i| format!("trials.csv:{}", i + 2)).collect(),
        values,
    }
}

/// Treatments by rows, blocks by columns.
pub fn blocks(treatments: &[(&str, &[f64])]) -> Observations {
    let (mut replicate, mut treatment, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for (name, row) in treatments {
        for (block, value) in row.iter().enumerate() {
            replicate.push(format!("{}", block + 1));
            treatment.push((*name).to_owned());
            values.push(*value);
        }
    }
    observed(&[("replicate", replicate), ("treatment", treatment)], values)
}

pub fn line<'a>(analysis: &'a Analysis, source: &str) -> &'a AnovaRow {
    analysis.anova.iter().find(|r| r.source == source).unwrap_or_else(|| {
        let sources: Vec<&str> = analysis.anova.iter().map(|r| r.source.as_str()).collect();
        panic!("no line {source} among {sources:?}")
    })
}

pub fn means<'a>(analysis: &'a Analysis, term: &str) -> &'a MeansOfTerm {
    analysis.means.iter().find(|m| m.term == term).expect("means of the term")
}

pub fn comparison<'a>(means: &'a MeansOfTerm, words: &str) -> &'a Comparison {
    means.comparisons.iter().find(|c| c.words == words).unwrap_or_else(|| {
        let all: Vec<&str> = means.comparisons.iter().map(|c| c.words.as_str()).collect();
        panic!("no comparison {words} among {all:?}")
    })
}

/// Equal to the digits printed: half a unit of the last one.
pub fn printed(found: impl Into<Option<f64>>, text: &str) {
    let expected: f64 = text.parse().unwrap();
    let digits = text.split_once('.').map_or(0, |(_, d)| d.len() as i32);
    let half = 0.5 * 10f64.powi(-digits) * (1.0 + 1e-9);
    let found = found.into().unwrap_or_else(|| panic!("nothing where {text} is printed"));
    assert!((found - expected).abs() <= half, "{found} where {text} is printed");
}

/// Rows of a committed data set, header first.
pub fn csv(name: &str) -> Vec<Vec<String>> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/trials/analysis/");
    let text = std::fs::read_to_string(format!("{folder}{name}")).unwrap();
    let lines = text.lines().filter(|l| !l.starts_with('#'));
    lines.map(|l| l.split(',').map(|c| c.trim_matches('"').to_owned()).collect()).collect()
}

/// A committed data set: columns renamed, the response by name.
pub fn table(name: &str, columns: &[(&str, &str)], response: &str) -> Observations {
    let rows = csv(name);
    let at = |column: &str| rows[0].iter().position(|c| c == column).expect("column");
    let text: Vec<(&str, Vec<String>)> = columns
        .iter()
        .map(|(from, to)| (*to, rows[1..].iter().map(|r| r[at(from)].clone()).collect()))
        .collect();
    let y = at(response);
    observed(&text, rows[1..].iter().map(|r| r[y].parse().unwrap()).collect())
}

/// The oats split plot with the plots at these positions lost.
pub fn oats(lost: &[usize]) -> trials::Plan {
    let columns = [("B", "replicate"), ("V", "variety"), ("N", "nitrogen")];
    let mut data = table("oats.csv", &columns, "Y");
    lost.iter().for_each(|i| data.values[*i] = f64::NAN);
    let mut d = declared(TrialDesign::SplitPlot);
    d.main_factors = names(&["variety"]);
    d.sub_factors = names(&["nitrogen"]);
    d.amounts.insert("nitrogen".to_owned(), "cwt per acre".to_owned());
    trials::Plan::read(&d, &data).unwrap()
}
