//! Contradictions are refused with their evidence, and what is left is still answered.

use crate::support::{blocks, declared, line, means, names, oats, observed, printed, table};
use records::{TrialControl, TrialDeclaration, TrialDesign};
use trials::{Observations, Plan, Refusal, analyse};

fn plain(design: TrialDesign, factors: &[&str]) -> TrialDeclaration {
    let mut d = declared(design);
    d.factors = names(factors);
    d
}

fn refused(d: &TrialDeclaration, data: &Observations) -> Refusal {
    let refusal = match Plan::read(d, data) {
        Err(r) => r,
        Ok(plan) => analyse(&plan).expect_err("a refusal"),
    };
    // Every refusal says what to do.
    assert!(refusal.remedy().len() > 20 && refusal.to_string().len() > 20);
    refusal
}

fn three_by_three() -> Observations {
    blocks(&[("A", &[5.0, 6.0, 4.0]), ("B", &[7.0, 8.0, 6.5]), ("C", &[6.0, 6.1, 5.9])])
}

const RCB: TrialDesign = TrialDesign::RandomisedBlocks;

#[test]
fn treatment_twice_in_a_block() {
    let mut data = three_by_three();
    // C of block 1 was written A.
    data.columns.get_mut("treatment").unwrap()[6] = Some("A".to_owned());
    match refused(&plain(RCB, &["treatment"]), &data) {
        Refusal::TreatmentTwice { treatment, block, times, evidence, replicates: None } => {
            assert_eq!((treatment.as_str(), block.as_str()), ("treatment A", "replicate 1"));
            assert_eq!((times, evidence.places), (2, names(&["trials.csv:2", "trials.csv:8"])));
        }
        r => panic!("{r}"),
    }
    // With a plot column the same.
    let plots = (0..9).map(|i| Some(format!("P{i}"))).collect();
    data.columns.insert("plot".to_owned(), plots);
    let mut d = plain(RCB, &["treatment"]);
    d.roles.plot = Some("plot".to_owned());
    assert!(matches!(refused(&d, &data), Refusal::TreatmentTwice { times: 2, .. }));
}

#[test]
fn plot_in_two_blocks_or_with_two_treatments() {
    let mut data = three_by_three();
    let mut plots: Vec<Option<String>> = (0..9).map(|i| Some(format!("P{i}"))).collect();
    plots[1] = plots[0].clone();
    data.columns.insert("plot".to_owned(), plots.clone());
    let mut d = plain(RCB, &["treatment"]);
    d.roles.plot = Some("plot".to_owned());
    match refused(&d, &data) {
        Refusal::InTwo { unit, id, found, evidence, .. } => {
            assert_eq!((unit.as_str(), id.as_str(), found.len()), ("plot", "P0", 2));
            assert_eq!(evidence.places, names(&["trials.csv:2", "trials.csv:3"]));
        }
        r => panic!("{r}"),
    }
    plots[1] = Some("P1".to_owned());
    plots[3] = plots[0].clone();
    data.columns.insert("plot".to_owned(), plots);
    match refused(&d, &data) {
        Refusal::TwoTreatments { treatments, .. } => {
            assert_eq!(treatments, names(&["treatment A", "treatment B"]));
        }
        r => panic!("{r}"),
    }
}

#[test]
fn nothing_to_compare() {
    let data = three_by_three();
    let mut one = data.clone();
    one.columns.insert("treatment".to_owned(), vec![Some("A".to_owned()); 9]);
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &one), Refusal::OneLevel { .. }));
    let single = blocks(&[("A", &[1.0]), ("B", &[2.0]), ("C", &[2.5])]);
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &single), Refusal::OneReplicate { .. }));
    let crd = plain(TrialDesign::CompletelyRandomised, &["treatment"]);
    assert!(matches!(refused(&crd, &single), Refusal::OneReplicate { .. }));
    let equal = blocks(&[("A", &[3.0, 3.0]), ("B", &[3.0, 3.0])]);
    match refused(&plain(RCB, &["treatment"]), &equal) {
        Refusal::AllEqual { value, .. } => assert_eq!(value, 3.0),
        r => panic!("{r}"),
    }
    // Two blocks of two treatments with two plots lost: nothing is left for error.
    let thin = blocks(&[("A", &[3.0, 4.0, f64::NAN]), ("B", &[5.0, f64::NAN, 7.0])]);
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &thin), Refusal::NoErrorDf { .. }));
    // Exactly additive.
    let additive = blocks(&[("A", &[1.0, 2.0, 4.0]), ("B", &[3.0, 4.0, 6.0])]);
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &additive), Refusal::NoError));
    let mut lost = data;
    lost.values.fill(f64::NAN);
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &lost), Refusal::NoRows { read: 9, .. }));
}

#[test]
fn columns_and_levels() {
    let data = three_by_three();
    let r = refused(&plain(RCB, &["variety"]), &data);
    assert!(matches!(r, Refusal::NoColumn { column, .. } if column == "variety"));
    let mut d = plain(RCB, &["treatment"]);
    d.roles.plot = Some("plot".to_owned());
    assert!(matches!(refused(&d, &data), Refusal::NoColumn { column, .. } if column == "plot"));
    let mut d = plain(RCB, &["treatment"]);
    d.amounts.insert("treatment".to_owned(), "fraction".to_owned());
    match refused(&d, &data) {
        Refusal::LevelNotNumber { level, evidence, .. } => {
            assert_eq!((level.as_str(), evidence.places.len()), ("A", 3));
        }
        r => panic!("{r}"),
    }
    // Fractions lie in 0 to 1; 3 among them is neither 300 % nor a slip to pass over.
    let tenths = [("A", "0"), ("B", "0.3"), ("C", "3")];
    let mut outside = data.clone();
    for cell in outside.columns.get_mut("treatment").unwrap() {
        let (_, tenth) = tenths.iter().find(|(name, _)| cell.as_deref() == Some(name)).unwrap();
        *cell = Some((*tenth).to_owned());
    }
    match refused(&d, &outside) {
        Refusal::NoFraction { factor, level, evidence } => {
            assert_eq!((factor.as_str(), level.as_str()), ("treatment", "3"));
            let rows = names(&["trials.csv:8", "trials.csv:9", "trials.csv:10"]);
            assert_eq!(evidence.places, rows);
        }
        r => panic!("{r}"),
    }
    d.amounts.insert("treatment".to_owned(), "kg".to_owned());
    assert!(Plan::read(&d, &outside).is_ok(), "3 kg is an amount");
    let mut empty = data.clone();
    empty.columns.get_mut("replicate").unwrap()[4] = None;
    let r = refused(&plain(RCB, &["treatment"]), &empty);
    assert!(
        matches!(r, Refusal::EmptyCells { evidence, .. } if evidence.places == names(&["trials.csv:6"]))
    );
    let mut twice = data.clone();
    twice.tree[2] = "T1".to_owned();
    assert!(matches!(refused(&plain(RCB, &["treatment"]), &twice), Refusal::TreeTwice { .. }));
    let mut d = plain(RCB, &["treatment"]);
    d.control = Some(TrialControl {
        factor: "treatment".to_owned(),
        level: "untreated".to_owned(),
        beside_factorial: false,
    });
    assert!(
        matches!(refused(&d, &data), Refusal::NoControl { levels, .. } if levels == names(&["A", "B", "C"]))
    );
    let mut d = plain(RCB, &["treatment"]);
    d.covariate = Some("girth_cm".to_owned());
    assert!(matches!(refused(&d, &data), Refusal::Covariate { .. }));
    let mut d = plain(TrialDesign::AugmentedBlocks, &["treatment"]);
    d.checks = names(&["Z"]);
    assert!(matches!(refused(&d, &data), Refusal::NoChecks { .. }));
    let mut d = plain(RCB, &["treatment"]);
    d.factors.push("treatment".to_owned());
    assert!(matches!(refused(&d, &data), Refusal::FactorTwice { .. }));
}

#[test]
fn confounded_factors() {
    let mut data = three_by_three();
    let other = data.columns["treatment"].iter().map(|t| t.as_ref().map(|t| t.to_lowercase()));
    let other: Vec<Option<String>> = other.collect();
    data.columns.insert("dressing".to_owned(), other);
    match refused(&plain(RCB, &["treatment", "dressing"]), &data) {
        Refusal::Confounded { factor, with, detail } => {
            assert_eq!((factor.as_str(), with.as_str()), ("treatment", "dressing"));
            assert!(detail.contains("dressing a always has treatment A"), "{detail}");
        }
        r => panic!("{r}"),
    }
    let by_block = data.columns["replicate"].clone();
    data.columns.insert("date".to_owned(), by_block);
    let r = refused(&plain(RCB, &["treatment", "date"]), &data);
    assert!(matches!(r, Refusal::Confounded { with, .. } if with == "replicates"));
}

#[test]
fn tree_in_two_plots_and_too_many_treatments() {
    // The same tree in two seasons, under two treatments.
    let mut data = three_by_three();
    data.season = (0..9).map(|i| Some(2020 + i / 8)).collect();
    data.tree[8] = "T0".to_owned();
    match refused(&plain(RCB, &["treatment"]), &data) {
        Refusal::InTwo { unit, id, evidence, .. } => {
            assert_eq!((unit.as_str(), id.as_str()), ("tree", "T0"));
            assert_eq!(evidence.places, names(&["trials.csv:2", "trials.csv:10"]));
        }
        r => panic!("{r}"),
    }
    // Measurements declared as factors.
    let ids: Vec<String> = (0..80).map(|i| i.to_string()).collect();
    let text = [("a", ids.clone()), ("b", ids.clone()), ("replicate", ids.clone())];
    let wide = observed(&text, (0..80).map(f64::from).collect());
    let r = refused(&plain(RCB, &["a", "b"]), &wide);
    assert!(matches!(r, Refusal::TooManyTreatments { cells: 6400, .. }));
}

#[test]
fn main_factor_within_a_main_plot() {
    let columns = [("B", "replicate"), ("V", "variety"), ("N", "nitrogen")];
    let mut data = table("oats.csv", &columns, "Y");
    let main: Vec<Option<String>> = (0..72).map(|i| Some(format!("M{}", i / 4))).collect();
    data.columns.insert("main".to_owned(), main);
    data.columns.get_mut("variety").unwrap()[2] = Some("Marvellous".to_owned());
    let mut d = declared(TrialDesign::SplitPlot);
    d.main_factors = names(&["variety"]);
    d.sub_factors = names(&["nitrogen"]);
    d.roles.main_plot = Some("main".to_owned());
    match refused(&d, &data) {
        Refusal::VariesWithin { factor, levels, evidence, .. } => {
            assert_eq!((factor.as_str(), levels.len()), ("variety", 2));
            // The row against the rest of its main plot, and no other.
            assert_eq!(evidence.places, ["trials.csv:4"]);
        }
        r => panic!("{r}"),
    }
}

/// A split plot with dates on main plots of three trees each: replicates 1 to 3, dates 20 and 45.
fn dated(main_plots: bool) -> (TrialDeclaration, Observations) {
    let mut rows = Vec::new();
    for replicate in 1..=3 {
        for (main, date) in ["20", "45"].into_iter().enumerate() {
            for (sub, depth) in ["0", "0.2", "0.4"].into_iter().enumerate() {
                let value = f64::from(replicate) + [0.0, 1.3][main] + [0.2, 0.9, 0.4][sub];
                // Some scatter, so that there is an error to compare with.
                let value = value + 0.07 * ((rows.len() * 5 + main) % 7) as f64;
                rows.push(([replicate.to_string(), date.to_owned(), depth.to_owned()], value));
            }
        }
    }
    let column = |at: usize| rows.iter().map(|(cells, _)| cells[at].clone()).collect();
    let columns = [("replicate", column(0)), ("date", column(1)), ("depth", column(2))];
    let mut data = observed(&columns, rows.iter().map(|(_, value)| *value).collect());
    let mut d = declared(TrialDesign::SplitPlot);
    d.main_factors = names(&["date"]);
    d.sub_factors = names(&["depth"]);
    if main_plots {
        let main = (0..18).map(|row| Some(format!("M{}", row / 3 + 1))).collect();
        data.columns.insert("main".to_owned(), main);
        d.roles.main_plot = Some("main".to_owned());
    }
    (d, data)
}

#[test]
fn a_date_changed_in_one_row_of_a_main_plot_is_refused_by_that_row() {
    for main_plots in [true, false] {
        let (d, data) = dated(main_plots);
        assert!(Plan::read(&d, &data).is_ok(), "the trial as it was laid out");
        // Every row but those of the subplots' own treatment, one at a time.
        for row in 0..18 {
            let (d, mut data) = dated(main_plots);
            let date = &mut data.columns.get_mut("date").unwrap()[row];
            *date = Some(if date.as_deref() == Some("20") { "45" } else { "20" }.to_owned());
            let refusal = refused(&d, &data);
            let said = refusal.to_string();
            let place = format!("trials.csv:{}", row + 2);
            assert!(said.contains(&place), "row {row}: {said}");
            let evidence = &refusal.evidence().unwrap().places;
            if main_plots {
                assert!(matches!(refusal, Refusal::VariesWithin { .. }), "{said}");
                assert_eq!(*evidence, [place]);
                assert!(said.contains(&format!("date varies within main plot M{}", row / 3 + 1)));
            } else {
                // Main plots are told by date: the row repeats a depth in the other one.
                assert!(evidence.len() <= 2 && evidence.contains(&place), "{said}");
            }
        }
    }
}

#[test]
fn refusals_have_no_english_in_portuguese() {
    const ENGLISH: [&str; 14] = [
        "plot",
        "plots",
        "replicate",
        "replicates",
        "block",
        "blocks",
        "tree",
        "row",
        "season",
        "and",
        "twice",
        "always",
        "only",
        "the",
    ];
    let spoken = |refusal: &Refusal| {
        words::speaking(words::Language::Portuguese, || format!("{refusal}. {}", refusal.remedy()))
    };
    let read = |d: &TrialDeclaration, data: &Observations| {
        words::speaking(words::Language::Portuguese, || Plan::read(d, data).unwrap_err())
    };
    let evidence = trials::Evidence { places: names(&["a.csv:2", "a.csv:3"]) };
    let text = str::to_owned;
    let mut found = vec![
        Refusal::TreeTwice { tree: text("A1"), season: Some(2024), evidence: evidence.clone() },
        Refusal::NoColumn { column: text("dosis"), role: text("factor of the control") },
        Refusal::InTwo {
            unit: text("tree"),
            id: text("A1"),
            groups: text("plots"),
            found: names(&["replicate 1, plot 2", "replicate 1, plot 3"]),
            evidence: evidence.clone(),
        },
        Refusal::TwoTreatments {
            plot: text("2 (replicate 1)"),
            treatments: names(&["dose 1", "dose 2"]),
            evidence: evidence.clone(),
        },
        Refusal::TreatmentTwice {
            treatment: text("dose 1"),
            block: text("replicate 1, block 4"),
            times: 2,
            replicates: Some(3),
            evidence: evidence.clone(),
        },
        Refusal::PlotsMelted {
            treatment: text("dose 1"),
            block: "replicate 1".into(),
            robbed: "replicate 2".into(),
            trees: 8,
            usual: 4,
            lacking: names(&["dose 2", "dose 3"]),
            evidence: evidence.clone(),
        },
        Refusal::NoFraction { factor: text("dose"), level: text("3"), evidence: evidence.clone() },
        Refusal::VariesWithin {
            factor: text("data"),
            plot: text("main plot 3"),
            levels: names(&["20", "45"]),
            replicates: None,
            evidence,
        },
        Refusal::Confounded { factor: text("dose"), with: text("replicates"), detail: text("x") },
    ];
    // One block, no repetition, a factor that another determines, a square that is none.
    let one_block = blocks(&[("A", &[5.0]), ("B", &[7.0]), ("C", &[6.0])]);
    found.push(read(&plain(RCB, &["treatment"]), &one_block));
    found.push(read(&plain(TrialDesign::CompletelyRandomised, &["treatment"]), &one_block));
    let mut data = three_by_three();
    let twin = data.columns["treatment"].clone();
    data.columns.insert("outro".to_owned(), twin);
    found.push(read(&plain(RCB, &["treatment", "outro"]), &data));
    let mut data = three_by_three();
    data.columns.get_mut("treatment").unwrap()[6] = Some("A".to_owned());
    found.push(read(&plain(RCB, &["treatment"]), &data));
    for refusal in &found {
        let said = spoken(refusal).replace("[trials.ID]", "").replace("treatment", "");
        let said = said.replace("roles = { plot =", "");
        let words: Vec<&str> = said.split(|c: char| !c.is_alphanumeric()).collect();
        let english: Vec<&&str> = words.iter().filter(|word| ENGLISH.contains(word)).collect();
        assert!(english.is_empty(), "{english:?} in {said}");
    }
}

#[test]
fn latin_square_that_is_none() {
    let columns = [("row", "row"), ("col", "column"), ("trt", "trt")];
    let mut data = table("fungicide_latin_square.csv", &columns, "yield");
    let first = data.columns["trt"][0].clone();
    data.columns.get_mut("trt").unwrap()[1] = first;
    let d = plain(TrialDesign::LatinSquare, &["trt"]);
    match refused(&d, &data) {
        Refusal::NotLatin { detail, evidence } => {
            assert!(detail.contains("occurs twice in"), "{detail}");
            assert_eq!(evidence.places.len(), 2);
        }
        r => panic!("{r}"),
    }
    let mut short = table("fungicide_latin_square.csv", &columns, "yield");
    for i in 0..25 {
        if short.columns["row"][i].as_deref() == Some("5") {
            short.values[i] = f64::NAN;
        }
    }
    assert!(
        matches!(refused(&d, &short), Refusal::NotLatin { detail, .. } if detail.contains("4 rows"))
    );
}

/// A missing cell takes away what needs it and nothing else.
#[test]
fn missing_cell_answers_the_rest() {
    let columns = [("B", "replicate"), ("V", "variety"), ("N", "nitrogen")];
    let mut data = table("oats.csv", &columns, "Y");
    for i in 0..72 {
        let is = |c: &str, l: &str| data.columns[c][i].as_deref() == Some(l);
        if is("variety", "Victory") && is("nitrogen", "0.6") {
            data.values[i] = f64::NAN;
        }
    }
    let mut d = declared(TrialDesign::RandomisedBlocks);
    d.factors = names(&["variety", "nitrogen"]);
    let plan = Plan::read(&d, &data).unwrap();
    assert!(plan.notes.iter().any(|n| n.contains("no plot has Victory / 0.6")));
    let a = analyse(&plan).unwrap();
    let both = means(&a, "variety x nitrogen");
    let missing: Vec<&str> =
        both.means.iter().filter(|m| m.mean.is_none()).map(|m| m.levels[1].as_str()).collect();
    assert_eq!(missing, ["0.6"]);
    // 5 of 6 interaction contrasts remain; R: anova(lm(Y ~ B + V + N), lm(Y ~ B + V * N)) on the 66
    // plots, F 0.24777 on 5 and 50.
    let l = line(&a, "variety x nitrogen");
    assert_eq!((l.df, l.df_denominator), (5.0, Some(50.0)));
    printed(l.f, "0.24777");
    assert!(l.note.as_deref().unwrap().contains("only 5 of 6"));
    let v = means(&a, "variety");
    assert!(v.means.iter().filter(|m| m.mean.is_some()).count() == 2);
    assert!(v.note.as_deref().unwrap().contains("Victory"));
    assert_eq!(v.pairs.len(), 1);
}

/// No number of a result is NaN or infinite: JSON would hold null where a number must stand.
#[test]
fn every_number_is_finite() {
    for lost in [vec![], vec![1], vec![0, 1, 2, 3], (0..12).collect::<Vec<usize>>()] {
        let a = analyse(&oats(&lost)).unwrap();
        let text = serde_json::to_string(&a).unwrap();
        // A NaN is written as null, which no plain number reads back.
        let back: Result<trials::Analysis, _> = serde_json::from_str(&text);
        back.expect("numbers where they must be");
    }
}
