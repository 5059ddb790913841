//! Published and simulated trials against R: lm and aov, lme4 with pbkrtest and emmeans. Values and
//! their maker: tests/reference/trials/analysis, notebooks-free-scripts/trials-reference/analysis.

use crate::support::{declared, line, means, names, oats, observed, table};
use records::{TrialControl, TrialDeclaration, TrialDesign};
use serde_json::Value;
use trials::{Analysis, AnalysisOptions, MethodUsed, Observations, Plan, analyse, analyse_with};

/// Least squares agrees with R to rounding.
pub const EXACT: f64 = 1e-9;
/// REML: lme4 stops its search when theta moves by less than about 1e-8, which shows in degrees of
/// freedom first.
pub const REML: f64 = 2e-6;

pub fn reference(case: &str) -> Value {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/trials/analysis/");
    let text = std::fs::read_to_string(format!("{folder}reference.json")).unwrap();
    let all: Value = serde_json::from_str(&text).unwrap();
    all[case].clone()
}

pub fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    // Relative to the value, or to 1 where it is smaller: differences near 0 have no digits.
    let allowed = tolerance * expected.abs().max(1e-2);
    assert!((found - expected).abs() <= allowed, "{what}: {found}, R has {expected}");
}

pub fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

fn agrees(a: &Analysis, case: &str, terms: &[(&str, &str)], tolerance: f64) {
    agrees_with(&reference(case), a, case, terms, tolerance);
}

/// Tests of terms and every pair of means.
pub fn agrees_with(r: &Value, a: &Analysis, case: &str, terms: &[(&str, &str)], tolerance: f64) {
    for (theirs, ours) in terms {
        let test = r["tests"].as_array().unwrap().iter().find(|t| t["term"] == *theirs).unwrap();
        let found = line(a, ours);
        close(found.f.unwrap(), number(&test["f"]), tolerance, &format!("{case} F of {ours}"));
        close(found.df, number(&test["df"]), tolerance, "df");
        let df = found.df_denominator.unwrap();
        close(df, number(&test["df_denominator"]), tolerance, &format!("{case} df of {ours}"));
        close(found.p.unwrap(), number(&test["p"]), 10.0 * tolerance, "p");
    }
    for c in r["comparisons"].as_array().unwrap() {
        let theirs = c["means"]["term"].as_str().unwrap();
        let Some((_, ours)) = terms.iter().find(|(t, _)| *t == theirs) else { continue };
        pairs(a, ours, c, tolerance);
    }
}

fn pairs(a: &Analysis, ours: &str, c: &Value, tolerance: f64) {
    let table = means(a, ours);
    let name = |i: usize| table.means[i].levels.join(" / ");
    // A single pair is written without its brackets.
    let list = |key: &str| c[key].as_array().cloned().unwrap_or_else(|| vec![c[key].clone()]);
    let m = &c["means"];
    for (i, label) in m["name"].as_array().unwrap().iter().enumerate() {
        let found = table.means.iter().find(|f| f.levels.join(" / ") == label.as_str().unwrap());
        let found = found.unwrap_or_else(|| panic!("{ours}: no mean {label}"));
        close(found.mean.unwrap(), number(&m["mean"][i]), tolerance, &format!("mean {label}"));
        close(found.std_error.unwrap(), number(&m["se"][i]), tolerance, &format!("SE of {label}"));
    }
    let (first, second) = (list("first"), list("second"));
    let (difference, se, df) = (list("difference"), list("se"), list("df"));
    assert_eq!(table.pairs.len(), first.len());
    for pair in &table.pairs {
        let (x, y) = (name(pair.first), name(pair.second));
        let at = (0..first.len()).find(|i| {
            let (f, s) = (first[*i].as_str().unwrap(), second[*i].as_str().unwrap());
            (f, s) == (&x, &y) || (f, s) == (&y, &x)
        });
        let at = at.unwrap_or_else(|| panic!("no pair {x}, {y}"));
        let sign = if first[at] == x.as_str() { 1.0 } else { -1.0 };
        let what = format!("{ours}: {x} - {y}");
        close(sign * pair.difference, number(&difference[at]), tolerance, &what);
        close(pair.std_error, number(&se[at]), tolerance, &format!("SE of {what}"));
        close(pair.df, number(&df[at]), tolerance, &format!("df of {what}"));
    }
}

fn components(a: &Analysis, case: &str, ours: &[(&str, &str)]) {
    let r = reference(case);
    for (theirs, ours) in ours {
        let found = a.components.iter().find(|c| c.stratum == *ours).unwrap();
        close(found.variance, number(&r["components"][*theirs]), 2e-5, &format!("{case} {ours}"));
    }
}

fn mixed() -> AnalysisOptions {
    AnalysisOptions { mixed_model: true, ..AnalysisOptions::default() }
}

const OATS: [(&str, &str); 3] =
    [("V", "variety"), ("N", "nitrogen"), ("V:N", "variety x nitrogen")];

#[test]
fn oats_complete_both_ways() {
    let plan = oats(&[]);
    agrees(&analyse(&plan).unwrap(), "oats", &OATS, REML);
    let a = analyse_with(&plan, &mixed()).unwrap();
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    agrees(&a, "oats", &OATS, REML);
    components(&a, "oats", &[("B:V", "main plots"), ("Residual", "sub plots")]);
}

#[test]
fn oats_with_lost_plots() {
    let a = analyse(&oats(&[5, 38, 61])).unwrap();
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    agrees(&a, "oats_lost", &OATS, 10.0 * REML);
    components(&a, "oats_lost", &[("B:V", "main plots"), ("Residual", "sub plots")]);
}

/// Plots left out of the plan are plots lost from the rows.
#[test]
fn oats_tried_without_some_plots() {
    let whole = oats(&[]);
    let plots: Vec<&str> = [5, 38, 61].iter().map(|at| whole.units[*at].plot.as_str()).collect();
    let tried = whole.without_plots(&plots);
    assert_eq!((tried.units.len(), tried.plots), (69, 69));
    let a = analyse(&tried).unwrap();
    agrees(&a, "oats_lost", &OATS, 10.0 * REML);
    components(&a, "oats_lost", &[("B:V", "main plots"), ("Residual", "sub plots")]);
}

/// A lost main plot leaves equal main plots that are not orthogonal to blocks.
#[test]
fn oats_with_a_lost_main_plot() {
    let a = analyse(&oats(&[4, 5, 6, 7])).unwrap();
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    agrees(&a, "oats_lost_main_plot", &OATS, 10.0 * REML);
}

fn split(design: TrialDesign, main: &[&str], sub: &[&str], sub_sub: &[&str]) -> TrialDeclaration {
    let mut d = declared(design);
    d.main_factors = names(main);
    d.sub_factors = names(sub);
    d.sub_sub_factors = names(sub_sub);
    d
}

pub fn plain(design: TrialDesign, factors: &[&str]) -> TrialDeclaration {
    let mut d = declared(design);
    d.factors = names(factors);
    d
}

pub fn run(d: &TrialDeclaration, data: &Observations) -> Analysis {
    analyse(&Plan::read(d, data).unwrap()).unwrap()
}

/// Lines of R's aov with Error(): (stratum, source, our source).
fn strata(a: &Analysis, case: &str, lines: &[(&str, &str, &str)]) {
    let r = reference(case);
    for (stratum, source, ours) in lines {
        let theirs = r["strata"]
            .as_array()
            .unwrap()
            .iter()
            .find(|l| {
                l["stratum"] == format!("Error: {stratum}").as_str() && l["source"] == *source
            })
            .unwrap_or_else(|| panic!("no {source} in {stratum}"));
        let found = line(a, ours);
        close(found.ss.unwrap(), number(&theirs["ss"]), EXACT, &format!("{case} SS of {ours}"));
        close(found.df, number(&theirs["df"]), EXACT, "df");
        if let Some(f) = theirs["f"].as_f64() {
            close(found.f.unwrap(), f, EXACT, "F");
            close(found.p.unwrap(), number(&theirs["p"]), 1e-7, "p");
        }
    }
}

/// N x P x K is confounded with blocks: it is judged by them and named.
#[test]
fn npk_confounded_interaction() {
    let columns = [("block", "replicate"), ("N", "N"), ("P", "P"), ("K", "K")];
    let data = table("npk.csv", &columns, "yield");
    let a = run(&plain(TrialDesign::RandomisedBlocks, &["N", "P", "K"]), &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    strata(
        &a,
        "npk",
        &[
            ("block", "N:P:K", "N x P x K"),
            ("block", "Residuals", "replicates"),
            ("Within", "N", "N"),
            ("Within", "P", "P"),
            ("Within", "K", "K"),
            ("Within", "N:P", "N x P"),
            ("Within", "N:K", "N x K"),
            ("Within", "P:K", "P x K"),
            ("Within", "Residuals", "error (plots)"),
        ],
    );
    let l = line(&a, "N x P x K");
    assert_eq!(l.note.as_deref(), Some("confounded with replicates"));
    assert_eq!(l.df_denominator, Some(4.0));
    // With a plot lost, the interaction cannot be told from blocks at all.
    let mut lost = data.clone();
    lost.values[3] = f64::NAN;
    let a = run(&plain(TrialDesign::RandomisedBlocks, &["N", "P", "K"]), &lost);
    let l = line(&a, "N x P x K");
    assert_eq!((l.f, l.df), (None, 0.0));
    assert!(l.note.as_deref().unwrap().contains("cannot be told from blocks"));
    assert!(line(&a, "N").f.is_some());
}

#[test]
fn cake_split_plot() {
    let columns = [("replicate", "replicate"), ("recipe", "recipe"), ("temp", "temp")];
    let data = table("cake.csv", &columns, "angle");
    let a = run(&split(TrialDesign::SplitPlot, &["recipe"], &["temp"], &[]), &data);
    strata(
        &a,
        "cake",
        &[
            ("replicate", "Residuals", "replicates"),
            ("replicate:recipe", "recipe", "recipe"),
            ("replicate:recipe", "Residuals", "error (main plots)"),
            ("Within", "temp", "temp"),
            ("Within", "recipe:temp", "recipe x temp"),
            ("Within", "Residuals", "error (sub plots)"),
        ],
    );
    let terms = [("recipe", "recipe"), ("temp", "temp"), ("recipe:temp", "recipe x temp")];
    agrees(&a, "cake", &terms, REML);
}

/// Four vines to a plot: plot means carry the analysis, vines their own variance.
#[test]
fn kiwishade_vines_are_no_replicates() {
    let columns = [("block", "replicate"), ("shade", "shade"), ("plot", "plot")];
    let data = table("kiwishade.csv", &columns, "yield");
    let mut d = plain(TrialDesign::RandomisedBlocks, &["shade"]);
    d.roles.plot = Some("plot".to_owned());
    let a = run(&d, &data);
    assert_eq!((a.plan.units.len(), a.method.used), (12, MethodUsed::Strata));
    agrees(&a, "kiwishade_means", &[("shade", "shade")], EXACT);
    let s = a.sampling.unwrap();
    let r = reference("kiwishade");
    let within = r["strata"].as_array().unwrap().iter().find(|l| l["stratum"] == "Error: Within");
    let within = within.unwrap();
    let expected = number(&within["ss"]) / number(&within["df"]);
    close(s.tree_variance, expected, EXACT, "variance between vines");
    assert_eq!((s.df, s.trees, s.per_plot), (36, 48, 4.0));
    // Vines lost: they enter one by one below their plot.
    let mut lost = data;
    [2, 16, 17, 39].iter().for_each(|i| lost.values[*i] = f64::NAN);
    let a = run(&d, &lost);
    assert_eq!((a.plan.units.len(), a.method.used), (44, MethodUsed::KenwardRoger));
    agrees(&a, "kiwishade_lost", &[("shade", "shade")], 10.0 * REML);
    components(&a, "kiwishade_lost", &[("plot", "plots"), ("Residual", "trees within plots")]);
}

#[test]
fn latin_square_whole_and_damaged() {
    let columns = [("row", "row"), ("col", "column"), ("trt", "trt")];
    let mut data = table("fungicide_latin_square.csv", &columns, "yield");
    let d = plain(TrialDesign::LatinSquare, &["trt"]);
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    agrees(&a, "latin", &[("trt", "trt")], EXACT);
    let anova = &reference("latin")["anova"];
    close(line(&a, "rows").ss.unwrap(), number(&anova["ss"][0]), EXACT, "rows");
    close(line(&a, "columns").ss.unwrap(), number(&anova["ss"][1]), EXACT, "columns");
    // Efficiency by hand from the mean squares: (Er + Ec + 4 E) / (6 E); rows beside columns
    // (Er + 4 E) / (5 E).
    let (er, ec, e) = (
        line(&a, "rows").ms.unwrap(),
        line(&a, "columns").ms.unwrap(),
        line(&a, "error (plots)").ms.unwrap(),
    );
    close(a.efficiency[0].relative, (er + ec + 4.0 * e) / (6.0 * e), EXACT, "efficiency");
    close(a.efficiency[1].relative, (er + 4.0 * e) / (5.0 * e), EXACT, "efficiency of rows");
    [3, 18].iter().for_each(|i| data.values[*i] = f64::NAN);
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::LeastSquares);
    agrees(&a, "latin_lost", &[("trt", "trt")], EXACT);
}

#[test]
fn wheat_split_split_plot() {
    let columns = [("block", "replicate"), ("gen", "gen"), ("trt", "trt"), ("inoc", "inoc")];
    let data = table("wheat_splitsplit.csv", &columns, "yield");
    let d = split(TrialDesign::SplitSplitPlot, &["gen"], &["trt"], &["inoc"]);
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    strata(
        &a,
        "splitsplit",
        &[
            ("block", "Residuals", "replicates"),
            ("block:gen", "gen", "gen"),
            ("block:gen", "Residuals", "error (main plots)"),
            ("block:gen:trt", "trt", "trt"),
            ("block:gen:trt", "gen:trt", "gen x trt"),
            ("block:gen:trt", "Residuals", "error (sub plots)"),
            ("Within", "inoc", "inoc"),
            ("Within", "gen:inoc", "gen x inoc"),
            ("Within", "trt:inoc", "trt x inoc"),
            ("Within", "gen:trt:inoc", "gen x trt x inoc"),
            ("Within", "Residuals", "error (sub-sub plots)"),
        ],
    );
    // Three of the ten sub treatments, two plots lost.
    let mut small = data;
    let trt = small.columns["trt"].clone();
    let keep: Vec<usize> =
        (0..trt.len()).filter(|i| matches!(trt[*i].as_deref(), Some("1" | "4" | "7"))).collect();
    let drop: Vec<usize> = (0..trt.len()).filter(|i| !keep.contains(i)).collect();
    drop.iter().for_each(|i| small.values[*i] = f64::NAN);
    small.values[keep[1]] = f64::NAN;
    small.values[keep[29]] = f64::NAN;
    let a = run(&d, &small);
    let terms = [
        ("gen", "gen"),
        ("trt", "trt"),
        ("inoc", "inoc"),
        ("gen:trt", "gen x trt"),
        ("gen:inoc", "gen x inoc"),
        ("trt:inoc", "trt x inoc"),
        ("gen:trt:inoc", "gen x trt x inoc"),
    ];
    agrees(&a, "splitsplit_lost", &terms, 10.0 * REML);
}

#[test]
fn simulated_strip_plot() {
    let columns = [("replicate", "replicate"), ("intensity", "intensity"), ("date", "date")];
    let mut data = table("simulated_strip.csv", &columns, "y");
    let d = split(TrialDesign::StripPlot, &["intensity"], &["date"], &[]);
    let terms =
        [("intensity", "intensity"), ("date", "date"), ("intensity:date", "intensity x date")];
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    agrees(&a, "strip", &terms, REML);
    [6, 32].iter().for_each(|i| data.values[*i] = f64::NAN);
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    agrees(&a, "strip_lost", &terms, 10.0 * REML);
}

#[test]
fn simulated_alpha_lattice() {
    let columns = [("replicate", "replicate"), ("block", "block"), ("treatment", "treatment")];
    let data = table("simulated_alpha.csv", &columns, "y");
    let mut d = plain(TrialDesign::IncompleteBlocks, &["treatment"]);
    d.roles.block = Some("block".to_owned());
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    assert!(a.method.why.contains("partly within and partly between"), "{}", a.method.why);
    agrees(&a, "alpha", &[("treatment", "treatment")], 10.0 * REML);
    assert!(a.efficiency[0].relative > 1.0);
}

#[test]
fn simulated_seasons_on_the_same_plots() {
    let columns = [("replicate", "replicate"), ("treatment", "treatment"), ("season", "year")];
    let mut data = table("simulated_seasons.csv", &columns, "y");
    for i in 0..data.values.len() {
        let text = |c: &str| data.columns[c][i].clone().unwrap();
        data.tree[i] = format!("{}{}", text("replicate"), text("treatment"));
        data.season[i] = Some(text("year").parse().unwrap());
    }
    let d = plain(TrialDesign::RandomisedBlocks, &["treatment"]);
    let terms = [
        ("treatment", "treatment"),
        ("season", "season"),
        ("treatment:season", "treatment x season"),
    ];
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    agrees(&a, "seasons", &terms, REML);
    [10, 46, 51].iter().for_each(|i| data.values[*i] = f64::NAN);
    let a = run(&d, &data);
    agrees(&a, "seasons_lost", &terms, 20.0 * REML);
}

#[test]
fn pigs_with_initial_weight() {
    let columns = [("pen", "replicate"), ("treatment", "treatment"), ("sex", "sex")];
    let mut data = table("pig_weight_gain.csv", &columns, "g");
    let weights = table("pig_weight_gain.csv", &columns, "w0");
    data.numbers.insert("w0".to_owned(), weights.values);
    let mut d = plain(TrialDesign::RandomisedBlocks, &["treatment", "sex"]);
    d.covariate = Some("w0".to_owned());
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::LeastSquares);
    let terms = [("treatment", "treatment"), ("sex", "sex"), ("treatment:sex", "treatment x sex")];
    agrees(&a, "pigs", &terms, EXACT);
    let (c, r) = (a.covariate.unwrap(), reference("pigs"));
    close(c.slope, number(&r["slope"]["estimate"]), EXACT, "slope");
    close(c.std_error, number(&r["slope"]["se"]), EXACT, "slope's SE");
    close(c.p.unwrap(), number(&r["slope"]["p"]), 1e-7, "slope's p");
    let (f, df, denominator, p) = c.equal_slopes.unwrap();
    let e = &r["equal_slopes"];
    close(f, number(&e["f"]), 1e-7, "F of equal slopes");
    assert_eq!((df, denominator), (number(&e["df"]), number(&e["df_denominator"])));
    close(p, number(&e["p"]), 1e-6, "p of equal slopes");
}

#[test]
fn orange_rootstocks_in_blocks() {
    let data = table("orange_rootstocks.csv", &[("bloco", "replicate"), ("trat", "trat")], "resp");
    let a = run(&plain(TrialDesign::RandomisedBlocks, &["trat"]), &data);
    agrees(&a, "orange", &[("trat", "trat")], EXACT);
    close(a.components[1].variance, number(&reference("orange")["residual_ms"]), EXACT, "error");
}

#[test]
fn simulated_augmented_blocks() {
    let data = table("simulated_augmented.csv", &[("block", "block"), ("entry", "entry")], "y");
    let mut d = plain(TrialDesign::AugmentedBlocks, &["entry"]);
    d.roles.block = Some("block".to_owned());
    d.checks = names(&["C1", "C2", "C3"]);
    let a = run(&d, &data);
    let r = reference("augmented");
    let entry = r["comparisons"].as_array().unwrap()[0].clone();
    pairs(&a, "treatments", &entry, EXACT);
    // Parts of the entries' 22 degrees of freedom.
    let df: f64 = ["checks against new entries", "among checks", "among new entries"]
        .iter()
        .map(|s| line(&a, s).df)
        .sum();
    assert_eq!(df, 22.0);
}

#[test]
fn simulated_factorial_with_control() {
    let columns =
        [("replicate", "replicate"), ("intensity", "intensity"), ("dressing", "dressing")];
    let data = table("simulated_control.csv", &columns, "y");
    let mut d = plain(TrialDesign::RandomisedBlocks, &["intensity", "dressing"]);
    d.control = Some(TrialControl {
        factor: "intensity".to_owned(),
        level: "none".to_owned(),
        beside_factorial: true,
    });
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata);
    let r = reference("control");
    for (key, ours) in [
        ("control", "none against the rest"),
        ("intensity", "intensity"),
        ("dressing", "dressing"),
        ("both", "intensity x dressing"),
        ("error", "error (plots)"),
    ] {
        close(line(&a, ours).ss.unwrap(), number(&r["ss"][key]), EXACT, ours);
    }
    let all = r["comparisons"].as_array().unwrap()[0].clone();
    pairs(&a, "treatments", &all, EXACT);
}

/// A large common level costs no digits that matter: centring is part of the method.
#[test]
fn level_of_the_response_does_not_matter() {
    for lost in [vec![], vec![5, 38, 61]] {
        let plain = oats(&lost);
        let mut high = plain.clone();
        high.units.iter_mut().for_each(|u| u.value += 1e6);
        let (a, b) = (analyse(&plain).unwrap(), analyse(&high).unwrap());
        for source in ["variety", "nitrogen", "variety x nitrogen"] {
            close(line(&b, source).f.unwrap(), line(&a, source).f.unwrap(), 1e-6, source);
        }
    }
}

/// Seasons on the same plots with two trees each, some lost: trees enter below plots and seasons,
/// and give finite answers near those of the plot means.
#[test]
fn seasons_with_unequal_trees() {
    let columns = [("replicate", "replicate"), ("treatment", "treatment"), ("season", "year")];
    let data = table("simulated_seasons.csv", &columns, "y");
    let n = data.values.len();
    let mut text: Vec<(&str, Vec<String>)> = Vec::new();
    for (_, name) in &columns[..2] {
        let cells =
            data.columns[*name].iter().flat_map(|c| [c.clone().unwrap(), c.clone().unwrap()]);
        text.push((name, cells.collect()));
    }
    let values = data.values.iter().enumerate().flat_map(|(i, v)| {
        let half = 0.2 + 0.3 * ((i * 7) % 11) as f64 / 11.0;
        [v - half, v + half]
    });
    let mut trees = observed(&text, values.collect());
    for i in 0..2 * n {
        let cell = |c: &str| data.columns[c][i / 2].clone().unwrap();
        trees.tree[i] = format!("{}{}-{}", cell("replicate"), cell("treatment"), i % 2);
        trees.season[i] = Some(cell("year").parse().unwrap());
    }
    let d = plain(TrialDesign::RandomisedBlocks, &["treatment"]);
    let whole = run(&d, &trees);
    assert_eq!((whole.method.used, whole.plan.units.len()), (MethodUsed::Strata, n));
    [4, 31, 90].iter().for_each(|i| trees.values[*i] = f64::NAN);
    let a = run(&d, &trees);
    assert_eq!((a.method.used, a.plan.units.len()), (MethodUsed::KenwardRoger, 2 * n - 3));
    assert!(a.plan.strata.iter().any(|s| s.name == "plots x season"));
    for (x, y) in means(&whole, "treatment").pairs.iter().zip(&means(&a, "treatment").pairs) {
        assert!((x.difference - y.difference).abs() < 0.1, "{x:?} {y:?}");
        assert!((x.std_error / y.std_error - 1.0).abs() < 0.15, "{x:?} {y:?}");
        assert!(y.df < 20.0, "trees were counted as replicates: {y:?}");
    }
}
