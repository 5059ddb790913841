//! Seasons between two sets of blocks, and beside a control, against R: aov, lme4 with pbkrtest and
//! emmeans. Values and their maker: tests/reference/trials/analysis/crossed_seasons.json,
//! notebooks-free-scripts/trials-reference/analysis/crossed_seasons.R.

use crate::reference::{EXACT, REML, agrees_with, close, number, plain, run};
use crate::support::{line, means, observed, table};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use records::{TrialControl, TrialDeclaration, TrialDesign};
use serde_json::Value;
use trials::{
    Analysis, AnalysisOptions, MethodUsed, Observations, Plan, StratumKind, analyse_with,
};

fn reference(case: &str) -> Value {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/trials/analysis/");
    let text = std::fs::read_to_string(format!("{folder}crossed_seasons.json")).unwrap();
    let all: Value = serde_json::from_str(&text).unwrap();
    all[case].clone()
}

/// The column `year` as seasons, and trees told by `of`.
fn over_seasons(mut data: Observations, of: &[&str]) -> Observations {
    for i in 0..data.values.len() {
        let text = |c: &str| data.columns[c][i].clone().unwrap_or_default();
        data.tree[i] = of.iter().map(|c| text(c)).collect::<Vec<_>>().join("-");
        data.season[i] = Some(text("year").parse().unwrap());
    }
    data
}

fn latin(name: &str) -> (TrialDeclaration, Observations) {
    let columns =
        [("row", "row"), ("column", "column"), ("treatment", "treatment"), ("season", "year")];
    let data = over_seasons(table(name, &columns, "y"), &["row", "column"]);
    (plain(TrialDesign::LatinSquare, &["treatment"]), data)
}

const LATIN: [(&str, &str); 3] =
    [("treatment", "treatment"), ("season", "season"), ("treatment:season", "treatment x season")];

/// With two seasons the test and the difference are one question.
fn season_is_its_difference(a: &Analysis) {
    let pair = &means(a, "season").pairs[0];
    let season = line(a, "season");
    close((pair.difference / pair.std_error).powi(2), season.f.unwrap(), EXACT, "t squared");
    close(pair.df, season.df_denominator.unwrap(), EXACT, "df of the difference");
}

#[test]
fn season_of_a_latin_square_carries_rows_and_columns_in_a_season() {
    let (d, data) = latin("simulated_latin_seasons.csv");
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata, "{}", a.method.why);
    let r = reference("latin");
    agrees_with(&r, &a, "latin", &LATIN, REML);
    let (season, theirs) = (line(&a, "season"), &r["season"]);
    close(season.ms.unwrap(), number(&theirs["ms"]), EXACT, "ms");
    close(season.f.unwrap(), number(&theirs["f"]), EXACT, "F");
    close(season.df_denominator.unwrap(), number(&theirs["df"]), EXACT, "Satterthwaite's df");
    for (source, key) in [
        ("error (rows x season)", "rows"),
        ("error (columns x season)", "columns"),
        ("error (plots x season)", "rest"),
    ] {
        close(line(&a, source).ms.unwrap(), number(&theirs[key]), EXACT, source);
    }
    let shown = &means(&a, "season").comparisons[0];
    close(shown.sed, number(&theirs["sed"]), EXACT, "SEd");
    // A t weighted with parts of a variance knows no part that is taken off.
    assert_eq!((shown.errors.len(), shown.cd5_weighted), (3, None));
    season_is_its_difference(&a);
    let components = &season.expected.as_ref().unwrap().components;
    let wanted = [("plots x season", 1.0), ("columns x season", 4.0), ("rows x season", 4.0)];
    let wanted: Vec<(String, f64)> = wanted.iter().map(|(s, k)| ((*s).to_owned(), *k)).collect();
    assert_eq!(components, &wanted);
    let rows = line(&a, "error (rows x season)").expected.clone().unwrap();
    assert_eq!(rows.components, [wanted[0].clone(), wanted[2].clone()]);
    let note = season.note.as_deref().unwrap();
    assert!(
        note.contains("error (rows x season) + error (columns x season) - error (plots x season)"),
        "{note}"
    );
}

#[test]
fn three_seasons_of_a_latin_square() {
    let (d, data) = latin("simulated_latin_three_seasons.csv");
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata, "{}", a.method.why);
    agrees_with(&reference("latin_three"), &a, "latin_three", &LATIN, REML);
}

/// The exact way and the mixed model are one where no component is below 0.
#[test]
fn the_mixed_model_judges_season_of_a_latin_square_alike() {
    let (d, data) = latin("simulated_latin_seasons.csv");
    let options = AnalysisOptions { mixed_model: true, ..AnalysisOptions::default() };
    let a = analyse_with(&Plan::read(&d, &data).unwrap(), &options).unwrap();
    agrees_with(&reference("latin"), &a, "latin", &LATIN, 10.0 * REML);
}

/// Rows and columns that differ less in a season than plots do: their mean squares add up to less
/// than the plots' own (here 0.03 against 0.42), which would make season certain.
#[test]
fn season_is_never_judged_by_less_than_the_plots() {
    let (d, data) = latin("simulated_latin_plain_seasons.csv");
    let a = run(&d, &data);
    let r = reference("latin_plain");
    assert!(number(&r["season"]["error"]) < number(&r["season"]["rest"]));
    assert_eq!(a.method.used, MethodUsed::Strata, "{}", a.method.why);
    agrees_with(&r, &a, "latin_plain", &LATIN[1..2], 10.0 * REML);
    season_is_its_difference(&a);
    let season = line(&a, "season");
    close(season.ms.unwrap(), number(&r["season"]["ms"]), EXACT, "ms");
    let note = season.note.as_deref().unwrap();
    assert!(note.contains("judged by the mixed model"), "{note}");
    // What treatments are judged by is as it was.
    for (theirs, ours) in [("treatment", "treatment"), ("treatment:season", "treatment x season")] {
        let all = r["strata"].as_array().unwrap();
        let theirs = all.iter().find(|l| l["source"] == theirs).unwrap();
        close(line(&a, ours).f.unwrap(), number(&theirs["f"]), EXACT, ours);
    }
}

fn with_control() -> (TrialDeclaration, Observations) {
    let columns = [
        ("replicate", "replicate"),
        ("depth", "depth"),
        ("date", "date"),
        ("tree", "number"),
        ("season", "year"),
    ];
    let data = table("simulated_control_seasons.csv", &columns, "y");
    let data = over_seasons(data, &["replicate", "depth", "date", "number"]);
    let mut d = plain(TrialDesign::RandomisedBlocks, &["depth", "date"]);
    d.control = Some(TrialControl {
        factor: "depth".to_owned(),
        level: "none".to_owned(),
        beside_factorial: true,
    });
    (d, data)
}

#[test]
fn season_beside_a_control_is_that_of_all_treatments() {
    let (d, data) = with_control();
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::Strata, "{}", a.method.why);
    let r = reference("control");
    agrees_with(&r, &a, "control", &[("season", "season")], REML);
    season_is_its_difference(&a);
    for (theirs, ours) in [
        ("rest", "none against the rest"),
        ("depth", "depth"),
        ("date", "date"),
        ("depth:date", "depth x date"),
        ("season", "season"),
        ("rest:season", "none against the rest x season"),
        ("depth:season", "depth x season"),
        ("date:season", "date x season"),
        ("depth:date:season", "depth x date x season"),
    ] {
        let all = r["strata"].as_array().unwrap();
        let theirs = all.iter().find(|l| l["source"] == theirs).unwrap();
        let found = line(&a, ours);
        close(found.ss.unwrap(), number(&theirs["ss"]), EXACT, ours);
        close(found.f.unwrap(), number(&theirs["f"]), EXACT, ours);
        close(found.p.unwrap(), number(&theirs["p"]), EXACT, ours);
    }
}

/// A plot lost in one season: by the mixed model, and season is still that of all treatments.
#[test]
fn season_beside_a_control_with_a_lost_plot() {
    let (d, mut data) = with_control();
    let r = reference("control_lost");
    let lost = &r["lost"];
    let treatment = lost["treatment"].as_str().unwrap();
    let cell = |c: &str, i: usize| data.columns[c][i].clone().unwrap_or_default();
    let gone: Vec<usize> = (0..data.values.len())
        .filter(|i| {
            cell("replicate", *i) == lost["replicate"].as_str().unwrap()
                && format!("{}/{}", cell("depth", *i), cell("date", *i)) == treatment
                && cell("year", *i) == lost["season"].as_str().unwrap()
        })
        .collect();
    assert_eq!(gone.len(), 3);
    gone.iter().for_each(|i| data.values[*i] = f64::NAN);
    let a = run(&d, &data);
    assert_eq!(a.method.used, MethodUsed::KenwardRoger);
    agrees_with(&r, &a, "control_lost", &[("season", "season")], 20.0 * REML);
    season_is_its_difference(&a);
}

/// lme4 on the trees themselves, where trees differ lastingly and by season.
#[test]
fn plots_beyond_their_trees_over_seasons() {
    let (d, data) = with_control();
    let a = run(&d, &data);
    let sampling = a.sampling.as_ref().unwrap();
    let r = &reference("control")["trees"];
    close(sampling.plot_variance.unwrap(), number(&r["between_plots"]), 2e-5, "between plots");
    close(sampling.tree_variance, number(&r["of_trees"]), 2e-5, "between trees");
    // The components say the same: what plots vary by is this and a third of the trees'.
    let of = |name: &str| a.components.iter().find(|c| c.stratum == name).unwrap().variance;
    let all = of("plots") + of("plots x season");
    close(sampling.plot_variance.unwrap() + sampling.tree_variance / 3.0, all, EXACT, "sum");
}

/// Trials of two seasons laid out in a grid of `size` rows and columns in each of two replicates, with
/// every stratum's own differences, those of a season among them.
fn in_grids(design: TrialDesign, size: usize, seed: u64) -> Plan {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut noise = move || -> f64 { StandardNormal.sample(&mut rng) };
    let mut columns: [Vec<String>; 6] = Default::default();
    let mut values = Vec::new();
    let mut plots = vec![0.0; 2 * size * size];
    plots.iter_mut().for_each(|plot| *plot = noise());
    for season in 2027..2029 {
        for replicate in 0..2 {
            let whole = noise();
            let rows: Vec<f64> = (0..size).map(|_| noise()).collect();
            let across: Vec<f64> = (0..size).map(|_| noise()).collect();
            for row in 0..size {
                for column in 0..size {
                    let latin = (row + column) % size;
                    let text = [
                        format!("S{replicate}"),
                        format!("S{replicate} row {row}"),
                        format!("S{replicate} column {column}"),
                        format!("T{latin}"),
                        format!("A{row}"),
                        format!("B{column}"),
                    ];
                    columns.iter_mut().zip(text).for_each(|(c, t)| c.push(t));
                    let plot = plots[(replicate * size + row) * size + column];
                    let own = whole + rows[row] + across[column] + plot + 0.7 * noise();
                    values.push((10.0 + own, season));
                }
            }
        }
    }
    let [replicate, row, column, treatment, one, other] = columns;
    let grid = [("replicate", replicate), ("row", row), ("column", column)];
    let factors = [("treatment", treatment), ("one", one), ("other", other)];
    let text: Vec<(&str, Vec<String>)> = grid.into_iter().chain(factors).collect();
    let mut data = observed(&text, values.iter().map(|v| v.0).collect());
    let plots = values.len() / 2;
    data.tree = (0..values.len()).map(|i| format!("T{}", i % plots)).collect();
    data.season = values.iter().map(|v| Some(v.1)).collect();
    let mut d = plain(design, &["treatment"]);
    match design {
        TrialDesign::SplitPlot | TrialDesign::StripPlot => {
            d.factors.clear();
            d.main_factors = vec!["one".to_owned()];
            d.sub_factors = vec!["other".to_owned()];
        }
        _ => {}
    }
    Plan::read(&d, &data).unwrap()
}

/// Whatever strata cross: where every component is above 0 the exact way is the mixed model.
#[test]
fn other_designs_over_seasons_agree_with_the_mixed_model() {
    use TrialDesign as D;
    for design in [D::LatinSquare, D::StripPlot, D::SplitPlot] {
        let mut compared = 0;
        for seed in 0..60 {
            let plan = in_grids(design, 4, seed);
            let exact = analyse_with(&plan, &AnalysisOptions::default()).unwrap();
            assert_eq!(exact.method.used, MethodUsed::Strata, "{}", exact.method.why);
            let least = exact.components.last().unwrap().variance;
            let clear = exact.components.iter().filter(|c| {
                plan.strata.iter().any(|s| s.name == c.stratum && s.kind != StratumKind::Blocks)
            });
            if clear.clone().any(|c| c.variance < 0.05 * least) {
                continue;
            }
            compared += 1;
            let options = AnalysisOptions { mixed_model: true, ..AnalysisOptions::default() };
            let mixed = analyse_with(&plan, &options).unwrap();
            for own in &mixed.anova {
                let other = line(&exact, &own.source);
                let what = format!("{design:?} {seed} {}", own.source);
                close(other.f.unwrap(), own.f.unwrap(), 1e-5, &what);
                close(other.df_denominator.unwrap(), own.df_denominator.unwrap(), 1e-5, &what);
            }
            for (m, e) in mixed.means.iter().zip(&exact.means) {
                for (p, q) in m.pairs.iter().zip(&e.pairs) {
                    close(q.std_error, p.std_error, 1e-5, &format!("{design:?} {seed} {}", m.term));
                }
            }
        }
        assert!(compared > 2, "{design:?}: {compared}");
    }
}
