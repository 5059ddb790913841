//! Traits on their natural scale against R (glm, MASS, lme4, emmeans) on published data.
#![allow(clippy::expect_used, clippy::panic)]

mod witness;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution, Poisson, StandardNormal};
use records::{TrialDeclaration, TrialDesign};
use std::collections::BTreeMap;
use trials::compare::{Adjustment, Comparison, Pairs};
use trials::distributions::Sides;
use trials::traits::{TraitAnalysis, TraitError, TraitModel, analyse_trait};
use trials::{Observations, Plan, Trait, TraitKind};
use witness::{number, numbers, path, read, texts};

/// One row: treatment, block, value, total.
type Row = (String, String, f64, f64);

fn observed(kind: TraitKind, rows: &[Row]) -> Observations {
    let n = rows.len();
    let column = |f: fn(&Row) -> &String| rows.iter().map(|r| Some(f(r).clone())).collect();
    Observations {
        trial: "example".to_owned(),
        observed: Trait {
            id: "trait".to_owned(),
            name: "trait".to_owned(),
            unit: String::new(),
            kind,
        },
        values: rows.iter().map(|r| r.2).collect(),
        exposure: Some(rows.iter().map(|r| r.3).collect()),
        columns: BTreeMap::from([
            ("treatment".to_owned(), column(|r| &r.0)),
            ("replicate".to_owned(), column(|r| &r.1)),
        ]),
        numbers: BTreeMap::new(),
        tree: (0..n).map(|i| format!("T{i}")).collect(),
        season: vec![None; n],
        place: (0..n).map(|i| format!("counts.csv:{}", i + 2)).collect(),
    }
}

fn analysed(
    design: TrialDesign,
    kind: TraitKind,
    rows: &[Row],
) -> Result<TraitAnalysis, TraitError> {
    let mut declared: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["treatment"],
            "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    declared.design = design;
    let observed = observed(kind, rows);
    let plan = Plan::read(&declared, &observed).expect("a plan");
    analyse_trait(&plan, &observed)
}

/// Rows of a committed file by the names of its columns; totals of 1 where there are none.
fn table(name: &str, [treatment, block, value, total]: [&str; 4]) -> Vec<Vec<String>> {
    let file = std::fs::read_to_string(path(name)).expect("committed data");
    let mut lines = file.lines().map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
    let head = lines.next().expect("a head");
    let at = |n: &str| head.iter().position(|h| h == n);
    lines
        .map(|row| {
            [treatment, block, value, total]
                .map(|n| at(n).map_or_else(|| "1".to_owned(), |i| row[i].clone()))
                .to_vec()
        })
        .collect()
}

fn rows(table: Vec<Vec<String>>) -> Vec<Row> {
    let number = |text: &String| text.parse().expect("a number");
    table.iter().map(|r| (r[0].clone(), r[1].clone(), number(&r[2]), number(&r[3]))).collect()
}

fn near(found: f64, expected: f64, relative: f64, what: &str) {
    let tolerance = relative * expected.abs().max(1.0);
    assert!((found - expected).abs() <= tolerance, "{what}: {found} {expected}");
}

fn agrees(found: &TraitAnalysis, witness: &serde_json::Value, digits: f64) {
    let names = texts(&witness["names"]);
    assert_eq!(found.means.len(), names.len());
    for mean in &found.means {
        let i = names.iter().position(|n| *n == mean.treatment).expect("same treatments");
        near(mean.estimate, numbers(&witness["estimate"])[i], digits, &mean.treatment);
        near(mean.std_error, numbers(&witness["se"])[i], digits, &mean.treatment);
        assert!(mean.low < mean.mean && mean.mean < mean.high);
    }
    let text = serde_json::to_string(found).expect("serialises");
    assert!(!text.contains("NaN"));
}

fn given(witness: &serde_json::Value) -> Vec<Row> {
    texts(&witness["treatment"])
        .into_iter()
        .zip(numbers(&witness["values"]))
        .map(|(t, v)| (t, "1".to_owned(), v, 1.0))
        .collect()
}

#[test]
fn counts_that_clump_are_negative_binomial() {
    let w = &read("traits/traits.json")["count"];
    let rows = given(w);
    let found =
        analysed(TrialDesign::CompletelyRandomised, TraitKind::Count, &rows).expect("analysed");
    assert_eq!(found.model, TraitModel::NegativeBinomial);
    near(found.evidence.dispersion.expect("df"), number(&w["dispersion"]), 1e-6, "dispersion");
    near(found.evidence.dispersion_p.expect("df"), number(&w["p"]), 1e-6, "its p");
    agrees(&found, w, 1e-6);
    near(found.test.expect("tested").f, number(&w["f"]), 1e-6, "F");
    // Means of a saturated model are the plain means.
    let own: Vec<f64> = rows.iter().filter(|r| r.0 == "A").map(|r| r.2).collect();
    near(found.means[0].mean, own.iter().sum::<f64>() / own.len() as f64, 1e-5, "plain mean");
    assert!(found.test.expect("tested").p_value < 1e-6);
    assert!(found.why.contains("negative binomial"));
    assert!(found.why.contains("1.51 (p = 0.005)"), "{}", found.why);
    // Counts of twenty a head clump twenty times as much; a p is never 0.
    let clumps: Vec<Row> = rows.into_iter().map(|(t, b, n, of)| (t, b, 20.0 * n, of)).collect();
    let found = analysed(TrialDesign::CompletelyRandomised, TraitKind::Count, &clumps);
    let why = found.expect("analysed").why;
    assert!(why.contains("(p < 0.001)"), "{why}");
}

#[test]
fn shares_that_vary_between_plots_clump() {
    let w = &read("traits/traits.json")["share"];
    let file = table("traits/carrot_insecticide.csv", ["treatment", "rep", "damaged", "total"]);
    let rows = rows(file.into_iter().filter(|r| r[0] != "T11").collect());
    let found =
        analysed(TrialDesign::RandomisedBlocks, TraitKind::Proportion, &rows).expect("analysed");
    assert_eq!(found.model, TraitModel::BinomialClumped);
    near(found.evidence.dispersion.expect("df"), number(&w["dispersion"]), 1e-6, "dispersion");
    agrees(&found, w, 1e-6);
    near(found.test.expect("tested").f, number(&w["f"]), 1e-6, "F");
    let ratio = found.differences[0].ratio.expect("odds");
    near(ratio.0, found.differences[0].estimate.exp(), 1e-12, "odds ratio");
    assert!(ratio.1 < ratio.0 && ratio.0 < ratio.2);
}

#[test]
fn shares_as_steady_as_chance_are_binomial() {
    let w = &read("traits/traits.json")["plain"];
    let file = table("traits/apple_canker.csv", ["gen", "block", "y", "n"]);
    let inoculum = table("traits/apple_canker.csv", ["inoculum", "block", "y", "n"]);
    let kept = file.into_iter().zip(inoculum).filter(|(_, i)| i[0] == "200").map(|(r, _)| r);
    let rows = rows(kept.collect());
    let found =
        analysed(TrialDesign::RandomisedBlocks, TraitKind::Proportion, &rows).expect("analysed");
    assert!(number(&w["p"]) > 0.05);
    assert_eq!(found.model, TraitModel::Binomial);
    agrees(&found, w, 1e-4);
    near(found.evidence.dispersion.expect("df"), number(&w["dispersion"]), 1e-6, "dispersion");
}

#[test]
fn percentages_near_an_end_are_analysed_as_logits() {
    let w = &read("traits/traits.json")["percent"];
    let rows = rows(table("traits/potato_scab_sulfur.csv", ["trt", "", "inf", ""]));
    let found = analysed(TrialDesign::CompletelyRandomised, TraitKind::Percentage, &rows)
        .expect("analysed");
    assert_eq!(found.model, TraitModel::Logit);
    agrees(&found, w, 1e-9);
    let back = 100.0 / (1.0 + (-found.means[0].estimate).exp());
    near(found.means[0].mean, back, 1e-12, "per cent");
    assert!(found.notes.iter().any(|n| n.contains("binomial")));
    // A zero rules logits out.
    let mut zero = rows.clone();
    zero[0].2 = 0.0;
    let found = analysed(TrialDesign::CompletelyRandomised, TraitKind::Percentage, &zero)
        .expect("analysed");
    assert_eq!(found.model, TraitModel::Arcsine);
    let middle: Vec<Row> = rows.iter().cloned().map(|r| (r.0, r.1, 30.0 + r.2, r.3)).collect();
    let found = analysed(TrialDesign::CompletelyRandomised, TraitKind::Percentage, &middle)
        .expect("analysed");
    assert_eq!(found.model, TraitModel::AsMeasured);
}

#[test]
fn measurements_take_the_power_their_residuals_support() {
    let w = &read("traits/traits.json")["measured"];
    let rows = given(w);
    let found =
        analysed(TrialDesign::CompletelyRandomised, TraitKind::Measured, &rows).expect("analysed");
    let (best, low, high) = found.evidence.power.expect("positive");
    near(best, number(&w["best"]), 1e-9, "power");
    near(low, number(&w["low"]), 1e-9, "lower limit");
    near(high, number(&w["high"]), 1e-9, "upper limit");
    assert_eq!(found.model, TraitModel::Logarithm);
    agrees(&found, w, 1e-9);
}

/// A trial of two seasons on the same plots, as columns of a witness hold it.
fn measured_over_seasons(rows: &[Row], seasons: &[i32]) -> TraitAnalysis {
    let mut observed = observed(TraitKind::Measured, rows);
    observed.exposure = None;
    over_seasons(observed, rows, seasons.iter().copied())
}

/// The observations as those of trees, one to a plot, in seasons.
fn over_seasons(
    mut observed: Observations,
    rows: &[Row],
    seasons: impl Iterator<Item = i32>,
) -> TraitAnalysis {
    observed.season = seasons.map(Some).collect();
    observed.tree = rows.iter().map(|row| format!("{} in {}", row.0, row.1)).collect();
    let declared: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["treatment"],
            "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    let plan = Plan::read(&declared, &observed).expect("a plan");
    analyse_trait(&plan, &observed).expect("analysed")
}

/// Against MASS::boxcox with the residual degrees of freedom, 18 of 56 units, in place of their number.
#[test]
fn over_seasons_the_power_is_judged_by_the_degrees_of_freedom_that_plots_leave() {
    let w = &read("traits/traits.json")["seasons"];
    let rows: Vec<Row> = texts(&w["treatment"])
        .into_iter()
        .zip(texts(&w["replicate"]))
        .zip(numbers(&w["values"]))
        .map(|((treatment, replicate), value)| (treatment, replicate, value, 1.0))
        .collect();
    let seasons: Vec<i32> = numbers(&w["season"]).into_iter().map(|s| s as i32).collect();
    let found = measured_over_seasons(&rows, &seasons);
    let (best, low, high) = found.evidence.power.expect("positive");
    near(best, number(&w["best"]), 1e-9, "power");
    near(low, number(&w["low"]), 1e-9, "lower limit");
    near(high, number(&w["high"]), 1e-9, "upper limit");
}

/// Seven treatments in four replicates over two seasons, errors additive and normal; the lasting difference of
/// plots is twice that of a season.
#[test]
fn additive_normal_errors_are_left_as_measured_in_all_but_one_of_twenty() {
    const TRIALS: usize = 200;
    let mut rng = ChaCha8Rng::seed_from_u64(20_261_130);
    let mut draw = |deviation: f64| -> f64 {
        let z: f64 = StandardNormal.sample(&mut rng);
        deviation * z
    };
    let departed = (0..TRIALS)
        .filter(|_| {
            let (mut rows, mut seasons) = (Vec::new(), Vec::new());
            for replicate in 1..=4 {
                let block = draw(0.5);
                for (at, mean) in [8.0, 9.6, 8.6, 10.1, 9.1, 10.1, 9.1].into_iter().enumerate() {
                    let plot = mean + block + draw(0.8);
                    for season in [2025, 2026] {
                        let value: f64 = plot + draw(0.4);
                        rows.push((format!("T{at}"), format!("{replicate}"), value, 1.0));
                        seasons.push(season);
                    }
                }
            }
            let found = measured_over_seasons(&rows, &seasons);
            found.evidence.power.is_none_or(|(_, low, high)| !(low..=high).contains(&1.0))
        })
        .count();
    // 10 are expected, with a binomial error of 3.1; with the number of units in place of their degrees of freedom it
    // was 50 of 200.
    assert!((3..=17).contains(&departed), "{departed} of {TRIALS}");
}

/// Skewed residuals whose spread falls as the mean rises: logarithms would mend the one and worsen the other.
#[test]
fn logarithms_against_the_spread_of_the_treatments_are_not_taken() {
    let crd = TrialDesign::CompletelyRandomised;
    let told = |spreads: [f64; 4]| {
        let mut rows = Vec::new();
        for (at, spread) in spreads.into_iter().enumerate() {
            for quantile in [0.0, 0.4, 0.9, 1.5, 2.3, 3.5, 5.5] {
                let value = 2.0 + 0.3 * at as f64 + spread * quantile;
                rows.push((format!("T{at}"), "1".to_owned(), value, 1.0));
            }
        }
        let found = analysed(crd, TraitKind::Measured, &rows).expect("analysed");
        let (_, low, high) = found.evidence.power.expect("positive");
        assert!(low < 0.0 && (0.0..1.0).contains(&high), "{low} {high}");
        found
    };
    let falling = told([1.0, 0.95, 0.9, 0.85]);
    assert_eq!(falling.model, TraitModel::AsMeasured);
    assert!(falling.why.contains("the two disagree"), "{}", falling.why);
    assert!(falling.evidence.variance_slope.expect("four treatments") < 0.0);
    assert_eq!(told([1.0, 1.1, 1.2, 1.3]).model, TraitModel::Logarithm);
}

#[test]
fn what_is_no_count_or_share_is_refused_and_ends_of_the_scale_are_told() {
    let row = |t: &str, v: f64, n: f64| (t.to_owned(), "1".to_owned(), v, n);
    let crd = TrialDesign::CompletelyRandomised;
    let half = [row("a", 1.5, 1.0), row("a", 2.0, 1.0), row("b", 2.0, 1.0), row("b", 3.0, 1.0)];
    let refused = analysed(crd, TraitKind::Count, &half).expect_err("1.5 is no count");
    assert!(refused.to_string().contains("1.5 in counts.csv:2"), "{refused}");
    let over = [row("a", 5.0, 4.0), row("a", 2.0, 4.0), row("b", 2.0, 4.0), row("b", 3.0, 4.0)];
    assert!(matches!(analysed(crd, TraitKind::Proportion, &over), Err(TraitError::Value { .. })));
    let all = [row("a", 5.0, 5.0), row("a", 4.0, 4.0), row("b", 4.0, 4.0), row("b", 3.0, 3.0)];
    let refused = analysed(crd, TraitKind::Proportion, &all).expect_err("every share is 1");
    assert!(matches!(refused, TraitError::NoVariation(_)));
    let mut zero = Vec::new();
    for v in [4.0, 7.0, 5.0, 6.0] {
        zero.push(row("a", v, 10.0));
        zero.push(row("b", v + 1.0, 10.0));
        zero.push(row("c", 0.0, 10.0));
    }
    for kind in [TraitKind::Count, TraitKind::Proportion] {
        let found = analysed(crd, kind, &zero).expect("a and b can be compared");
        assert_eq!(found.means.len(), 2);
        assert!(found.notes.iter().any(|n| n.starts_with("c has 0 in every plot")));
        assert!(!serde_json::to_string(&found).expect("serialises").contains("NaN"));
    }
}

/// Counts of a file of two seasons, in randomised blocks.
fn of_seasons(w: &serde_json::Value) -> TraitAnalysis {
    let column = |name: &str| texts(&w[name]);
    let rows: Vec<Row> = column("treatment")
        .into_iter()
        .zip(column("block"))
        .zip(numbers(&w["count"]).into_iter().zip(numbers(&w["exposure"])))
        .map(|((treatment, block), (count, exposure))| (treatment, block, count, exposure))
        .collect();
    let seasons = numbers(&w["season"]).into_iter().map(|season| season as i32);
    over_seasons(observed(TraitKind::Count, &rows), &rows, seasons)
}

/// Differences over the seasons against emmeans on 12 degrees of freedom. Estimates and errors are
/// as near as those of the means; `drawn` is what p and limits may be off beside that, the latter in errors.
fn compared(
    found: &TraitAnalysis,
    w: &serde_json::Value,
    pairs: &Pairs,
    adjustment: Adjustment,
    drawn: f64,
) {
    let table = found.compared_over_seasons(pairs, adjustment).expect("compared");
    let names = texts(&w["pair"]);
    assert_eq!(table.rows.len(), names.len());
    for (i, name) in names.iter().enumerate() {
        let (first, second) = name.split_once(" - ").expect("a pair");
        let bare = |name: &str| name.trim_start_matches("treatment").to_owned();
        let is =
            |r: &&Comparison| (r.first.clone(), r.second.clone()) == (bare(first), bare(second));
        let row = table.rows.iter().find(is).expect("the pair");
        let se = numbers(&w["se"])[i];
        near(row.std_error, se, 1e-5, name);
        // Of the size of their errors: a difference near 0 has no digits of its own.
        for (own, key) in [
            (row.estimate, "estimate"),
            (row.conf_low.expect("low"), "low"),
            (row.conf_high.expect("high"), "high"),
        ] {
            let theirs = numbers(&w[key])[i];
            assert!(
                (own - theirs).abs() < (1e-4 + 4.0 * drawn) * se,
                "{name} {key}: {own} {theirs}"
            );
        }
        let (own, theirs) = (row.p_value.expect("p"), numbers(&w["p"])[i]);
        assert!((own - theirs).abs() < drawn + 1e-4 * theirs, "{name} p: {own} {theirs}");
    }
}

#[test]
fn counts_of_several_seasons_are_tested_by_treatment_season_and_both() {
    let witness = read("traits/seasons.json");
    for (name, moves) in [("season_alone", false), ("moving", true)] {
        let w = &witness[name];
        let found = of_seasons(w);
        let clumped = number(&w["clumping"]) > 0.0;
        let expected = if clumped { TraitModel::NegativeBinomial } else { TraitModel::Poisson };
        assert_eq!(found.model, expected);
        let terms: Vec<(&str, bool)> =
            found.terms.iter().map(|t| (t.term.as_str(), t.seasonal)).collect();
        assert_eq!(terms, [("treatment", false), ("season", true), ("treatment x season", true)]);
        for (own, f) in found.terms.iter().zip(numbers(&w["f"])) {
            near(own.test.f, f, 1e-5, &own.term);
        }
        // 20 plots less 4 treatments and 5 blocks; 10 blocks x season less 2 and 5.
        let df: Vec<f64> = found.terms.iter().map(|t| t.test.df_denominator).collect();
        assert_eq!(df, [12.0, 4.0, 12.0]);
        assert_eq!(found.df, 12.0);
        for (mean, (estimate, se)) in found
            .over_seasons
            .iter()
            .zip(numbers(&w["over_seasons"]).into_iter().zip(numbers(&w["se"])))
        {
            near(mean.estimate, estimate, 1e-6, &mean.treatment);
            near(mean.std_error, se, 1e-6, &mean.treatment);
        }
        let names: Vec<&str> = found.over_seasons.iter().map(|m| m.treatment.as_str()).collect();
        assert_eq!(names, ["0", "15", "30", "45"]);
        compared(&found, &w["tukey"], &Pairs::All, Adjustment::Tukey, 2e-4);
        let control = Pairs::WithControl("0".to_owned());
        // Its probabilities and quantiles are drawn, by mvtnorm to about 1e-3.
        compared(&found, &w["dunnett"], &control, Adjustment::Dunnett(Sides::Both), 5e-3);
        // The truth: counts rise by half from one season to the next, and the cut alone does
        // nothing to them or all of it in the second season.
        let p: Vec<f64> = found.terms.iter().map(|t| t.test.p_value).collect();
        assert_eq!(found.test, Some(found.terms[0].test));
        assert!(p[1] < 0.01 && (p[0] < 0.05) == moves && (p[2] < 0.05) == moves, "{p:?}");
    }
}

/// Twenty to thirty plots on which treatments do nothing, drawn with clumping between plots: the share of trials in
/// which a difference is found, and the most and least by four binomial errors about 5 %.
#[test]
fn counts_and_shares_find_no_more_differences_than_they_say() {
    const RUNS: usize = 300;
    let mut rng = ChaCha8Rng::seed_from_u64(20_261_129);
    let mut found = |design: TrialDesign, kind: TraitKind, blocks: usize| -> f64 {
        let mut errors = 0;
        for _ in 0..RUNS {
            let mut rows: Vec<Row> = Vec::new();
            for block in 0..blocks {
                let drawn: f64 = StandardNormal.sample(&mut rng);
                let own = if design == TrialDesign::RandomisedBlocks { drawn } else { 0.0 };
                for treatment in ["a", "b", "c", "d", "e"] {
                    let plot: f64 = StandardNormal.sample(&mut rng);
                    let eta = 0.1 * own + 0.15 * plot;
                    let (value, of) = if kind == TraitKind::Count {
                        (Poisson::new(400.0 * eta.exp()).expect("a mean").sample(&mut rng), 1.0)
                    } else {
                        let share = 1.0 / (1.0 + (-0.3 - 2.0 * eta).exp());
                        (Binomial::new(60, share).expect("a share").sample(&mut rng) as f64, 60.0)
                    };
                    rows.push((treatment.to_owned(), block.to_string(), value, of));
                }
            }
            let test = analysed(design, kind, &rows).expect("analysed").test.expect("tested");
            errors += usize::from(test.p_value < 0.05);
        }
        errors as f64 / RUNS as f64
    };
    for kind in [TraitKind::Count, TraitKind::Proportion] {
        for (design, blocks) in
            [(TrialDesign::RandomisedBlocks, 4), (TrialDesign::CompletelyRandomised, 6)]
        {
            let rate = found(design, kind, blocks);
            let reach = 4.0 * (0.05_f64 * 0.95 / RUNS as f64).sqrt();
            assert!((rate - 0.05).abs() < reach, "{kind:?} {design:?}: {rate}");
        }
    }
}
