//! Combined analyses of a published trial at eight sites against R (aov, lme4 with pbkrtest).
#![allow(clippy::expect_used, clippy::panic)]

mod witness;

use records::{TrialDeclaration, TrialDesign};
use std::collections::BTreeMap;
use trials::pooled::{
    Environment, EnvironmentsAre, Pooled, PooledError, PooledKind, PooledMethod, Weighting, combine,
};
use trials::{
    Analysis, AnalysisOptions, Observations, OptimumSet, Peak, Plan, Trait, TraitKind, analyse,
    analyse_with,
};
use witness::{number, numbers, path, read, texts};

fn declared() -> TrialDeclaration {
    serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["treatment"],
            "control": null, "covariate": null}"#,
    )
    .expect("a declaration")
}

/// Analyses by site, without the rows of `lost`.
fn sites(lost: &[usize]) -> Vec<(String, Analysis)> {
    let file = std::fs::read_to_string(path("pooled/antigua.csv")).expect("committed data");
    let mut rows: BTreeMap<String, Vec<(String, String, f64)>> = BTreeMap::new();
    for (at, line) in file.lines().skip(1).enumerate() {
        let fields: Vec<&str> = line.split(',').collect();
        let [site, block, treatment, value] = fields[..] else { panic!("{line}") };
        if !lost.contains(&at) {
            let value = value.parse().expect("a number");
            rows.entry(site.into()).or_default().push((block.into(), treatment.into(), value));
        }
    }
    assert_eq!(declared().design, TrialDesign::RandomisedBlocks);
    rows.into_iter()
        .map(|(site, rows)| {
            let n = rows.len();
            let column = |f: fn(&(String, String, f64)) -> String| {
                rows.iter().map(|r| Some(f(r))).collect::<Vec<_>>()
            };
            let observed = Observations {
                trial: site.clone(),
                observed: Trait {
                    id: "harvest".to_owned(),
                    name: "harvest".to_owned(),
                    unit: "lb".to_owned(),
                    kind: TraitKind::Measured,
                },
                values: rows.iter().map(|r| r.2).collect(),
                exposure: None,
                columns: BTreeMap::from([
                    ("replicate".to_owned(), column(|r| r.0.clone())),
                    ("treatment".to_owned(), column(|r| r.1.clone())),
                ]),
                numbers: BTreeMap::new(),
                tree: (0..n).map(|i| format!("{site}-{i}")).collect(),
                season: vec![None; n],
                place: vec![String::new(); n],
            };
            let plan = Plan::read(&declared(), &observed).expect("a plan");
            (site, analyse(&plan).expect("an analysis"))
        })
        .collect()
}

fn combined(
    sites: &[(String, Analysis)],
    are: EnvironmentsAre,
    weighting: Weighting,
) -> Result<Pooled, PooledError> {
    let environments: Vec<Environment<'_>> = sites
        .iter()
        .map(|(name, analysis)| Environment { name, site: None, season: None, analysis })
        .collect();
    combine(&environments, are, weighting)
}

fn near(found: f64, expected: f64, relative: f64, what: &str) {
    let tolerance = relative * expected.abs().max(1e-3);
    assert!((found - expected).abs() <= tolerance, "{what}: {found} {expected}");
}

#[test]
fn the_balanced_trial_gives_the_combined_analysis_of_variance() {
    let r = read("pooled/pooled.json");
    let sites = sites(&[]);
    let found = combined(&sites, EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    assert_eq!(found.method, PooledMethod::Exact);
    let (df, ss) = (numbers(&r["exact"]["df"]), numbers(&r["exact"]["ss"]));
    let order = texts(&r["exact"]["source"]);
    let at = |name: &str| order.iter().position(|o| o == name).expect("a line");
    let ours = |name: &str| {
        found
            .table
            .iter()
            .find(|row| row.source.contains(name))
            .unwrap_or_else(|| panic!("no {name} in {:?}", found.table))
    };
    for (name, theirs) in [
        ("environments", "site"),
        ("within environments", "site:block"),
        ("treatment", "trt"),
        ("treatment x environments", "site:trt"),
        ("pooled error", "Residuals"),
    ] {
        near(ours(name).df, df[at(theirs)], 1e-12, name);
        near(ours(name).ss.expect("balanced"), ss[at(theirs)], 1e-9, name);
    }
    let ms = |name: &str| ss[at(name)] / df[at(name)];
    let line = found.table.iter().find(|row| row.source == "treatment").expect("treatments");
    near(line.f.expect("tested"), ms("trt") / ms("site:trt"), 1e-9, "F against the interaction");
    assert_eq!(line.df_denominator, Some(14.0));
    let sed = (2.0 * ms("site:trt") / 32.0).sqrt();
    for row in &found.differences.rows {
        near(row.std_error, sed, 1e-9, "SED");
        assert_eq!(row.df, Some(14.0));
    }
    let variance = (ms("site:trt") - ms("Residuals")) / 4.0;
    near(found.interaction_variance.expect("balanced"), variance, 1e-8, "interaction");
    let fixed = combined(&sites, EnvironmentsAre::Fixed, Weighting::Equal).expect("combined");
    let line = fixed.table.iter().find(|row| row.source == "treatment").expect("treatments");
    near(line.f.expect("tested"), ms("trt") / ms("Residuals"), 1e-9, "F against plots");
    assert_eq!(line.df_denominator, Some(48.0));
}

#[test]
fn crossed_sites_and_seasons_are_told_apart() {
    // The eight sites taken as four sites in two seasons, for the arithmetic alone.
    let r = &read("pooled/pooled.json")["crossed"];
    let sites = sites(&[]);
    let labels = ["a", "b", "c", "d"];
    let environments: Vec<Environment<'_>> = sites
        .iter()
        .enumerate()
        .map(|(i, (name, analysis))| Environment {
            name,
            site: Some(labels[i % 4]),
            season: Some(if i < 4 { 2001 } else { 2002 }),
            analysis,
        })
        .collect();
    let found =
        combine(&environments, EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    let ours = |name: &str| {
        found
            .table
            .iter()
            .find(|row| row.source == name)
            .unwrap_or_else(|| panic!("no {name} in {:?}", found.table))
    };
    let order = texts(&r["source"]);
    let at = |name: &str| order.iter().position(|o| o == name).expect("a line");
    let (df, ss) = (numbers(&r["df"]), numbers(&r["ss"]));
    for (name, theirs) in [
        ("sites", "place"),
        ("seasons", "year"),
        ("sites x seasons", "place:year"),
        ("treatment", "trt"),
        ("treatment x sites", "place:trt"),
        ("treatment x seasons", "year:trt"),
        ("treatment x sites x seasons", "place:year:trt"),
        ("pooled error", "Residuals"),
    ] {
        near(ours(name).df, df[at(theirs)], 1e-12, name);
        near(ours(name).ss.expect("balanced"), ss[at(theirs)], 1e-9, name);
    }
    let ms = |name: &str| ss[at(name)] / df[at(name)];
    let f = ms("place:trt") / ms("place:year:trt");
    near(ours("treatment x sites").f.expect("tested"), f, 1e-9, "sites against both");
    near(ours("treatment x sites").df_denominator.expect("tested"), 6.0, 1e-12, "its df");
    let sum = ms("place:trt") + ms("year:trt") - ms("place:year:trt");
    let line = ours("treatment");
    let variance = if sum > ms("place:year:trt") { sum } else { ms("place:year:trt") };
    for row in &found.differences.rows {
        near(row.std_error, (2.0 * variance / 32.0).sqrt(), 1e-9, "SED");
    }
    let f = if sum > ms("place:year:trt") {
        (ms("trt") + ms("place:year:trt")) / (ms("place:trt") + ms("year:trt"))
    } else {
        ms("trt") / ms("place:year:trt")
    };
    near(line.f.expect("tested"), f, 1e-9, "F");
    if sum > ms("place:year:trt") {
        let part = |name: &str| ms(name).powi(2) / df[at(name)];
        let below =
            (ms("place:trt") + ms("year:trt")).powi(2) / (part("place:trt") + part("year:trt"));
        near(line.df_denominator.expect("tested"), below, 1e-9, "Satterthwaite");
    }
}

#[test]
fn errors_and_stability_agree_with_r() {
    let r = read("pooled/pooled.json");
    let found = combined(&sites(&[]), EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    let squares: Vec<f64> = found.homogeneity.errors.iter().map(|e| e.mean_square).collect();
    for (found, expected) in squares.iter().zip(numbers(&r["error_ms"])) {
        near(*found, expected, 1e-9, "error mean square");
    }
    let bartlett = found.homogeneity.bartlett.made().expect("tested");
    near(bartlett.statistic, number(&r["bartlett"]), 1e-9, "Bartlett");
    near(bartlett.p_value, number(&r["bartlett_p"]), 1e-9, "its p-value");
    for (i, one) in found.stability.iter().enumerate() {
        // Treatments stand in the order of the plan's levels: 113, 131, 311, as R's.
        near(one.mean, numbers(&r["means"])[i], 1e-10, "mean");
        near(one.slope.expect("differ"), numbers(&r["slope"])[i], 1e-9, "slope");
        near(one.slope_std_error.expect("differ"), numbers(&r["slope_se"])[i], 1e-9, "its error");
        near(one.deviation_mean_square.expect("8"), numbers(&r["deviation"])[i], 1e-9, "deviation");
        near(one.ecovalence, numbers(&r["ecovalence"])[i], 1e-9, "ecovalence");
        near(one.shukla_variance.expect("3"), numbers(&r["shukla"])[i], 1e-8, "Shukla");
    }
    assert_eq!(found.stability.len(), 3);
}

#[test]
fn lost_plots_agree_with_lme4_and_pbkrtest() {
    let r = read("pooled/pooled.json");
    let lost: Vec<usize> = numbers(&r["lost_rows"]).into_iter().map(|x| x as usize).collect();
    let sites = sites(&lost);
    let found = combined(&sites, EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    assert_eq!(found.method, PooledMethod::Mixed);
    let w = &r["lost"];
    near(found.table[0].f.expect("tested"), number(&w["f"]), 1e-4, "F");
    near(found.table[0].df_denominator.expect("tested"), number(&w["df"]), 1e-3, "df");
    near(found.interaction_variance.expect("random"), number(&w["interaction"]), 1e-3, "variance");
    for (i, row) in found.differences.rows.iter().enumerate() {
        near(row.estimate, numbers(&w["estimate"])[i], 1e-4, "difference");
        near(row.std_error, numbers(&w["se"])[i], 1e-4, "its error");
        near(row.df.expect("finite"), numbers(&w["pair_df"])[i], 1e-3, "its df");
    }
    let found = combined(&sites, EnvironmentsAre::Fixed, Weighting::Equal).expect("combined");
    let w = &r["fixed"];
    for (i, row) in found.differences.rows.iter().enumerate() {
        near(row.estimate, numbers(&w["estimate"])[i], 1e-4, "difference");
        near(row.std_error, numbers(&w["se"])[i], 1e-4, "its error");
        near(row.df.expect("finite"), numbers(&w["df"])[i], 1e-3, "its df");
    }
    near(found.table[1].f.expect("tested"), number(&w["interaction_f"]), 1e-4, "interaction F");
    near(found.table[1].df_denominator.expect("tested"), number(&w["interaction_df"]), 1e-3, "df");
}

#[test]
fn unequal_errors_weight_the_environments() {
    let r = read("pooled/pooled.json");
    let sites = sites(&[]);
    let are = EnvironmentsAre::Random;
    let found = combined(&sites, are, Weighting::InverseErrorVariance).expect("combined");
    assert_eq!(found.method, PooledMethod::MixedWeighted);
    // R's coefficients are differences from the first treatment.
    for (i, expected) in numbers(&r["weighted"]["differences"]).into_iter().enumerate() {
        near(-found.differences.rows[i].estimate, expected, 1e-4, "weighted difference");
    }
    assert!(found.notes.iter().any(|n| n.contains("Weights")));
    let by_test = combined(&sites, are, Weighting::ByTest).expect("combined");
    let unequal = number(&r["bartlett_p"]) < 0.05;
    assert_eq!(by_test.method == PooledMethod::MixedWeighted, unequal);
    let text = serde_json::to_string(&found).expect("serialises");
    assert!(!text.contains("NaN"));
}

#[test]
fn one_environment_and_nothing_in_common_are_refused() {
    let sites = sites(&[]);
    let are = EnvironmentsAre::Random;
    assert_eq!(combined(&sites[..1], are, Weighting::Equal), Err(PooledError::TooFew(1)));
    let mut other = sites[..2].to_vec();
    for cell in &mut other[1].1.plan.cells {
        cell.name.push('*');
    }
    let refused = combined(&other, are, Weighting::Equal);
    assert!(matches!(refused, Err(PooledError::NothingInCommon { found: 0, .. })), "{refused:?}");
}

/// Oats (Yates 1935), its three varieties taken as three places for the arithmetic alone, without the
/// rows of `lost`.
fn varieties(lost: &[usize]) -> Vec<(String, Analysis)> {
    let file = std::fs::read_to_string(path("analysis/oats.csv")).expect("committed data");
    let mut rows: BTreeMap<String, [Vec<String>; 3]> = BTreeMap::new();
    for (at, line) in file.lines().skip(1).enumerate() {
        let fields: Vec<&str> = line.split(',').collect();
        let [_, block, variety, nitrogen, value] = fields[..] else { panic!("{line}") };
        let own = rows.entry(variety.into()).or_default();
        if !lost.contains(&at) {
            for (own, field) in own.iter_mut().zip([block, nitrogen, value]) {
                own.push(field.to_owned());
            }
        }
    }
    let declaration: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["nitrogen"],
            "amounts": {"nitrogen": "cwt per acre"}, "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    rows.into_iter()
        .map(|(variety, [blocks, nitrogen, values])| {
            let n = values.len();
            let column = |own: Vec<String>| own.into_iter().map(Some).collect::<Vec<_>>();
            let observed = Observations {
                trial: variety.clone(),
                observed: Trait {
                    id: "yield".to_owned(),
                    name: "yield".to_owned(),
                    unit: "quarter pounds".to_owned(),
                    kind: TraitKind::Measured,
                },
                values: values.iter().map(|v| v.parse().expect("a number")).collect(),
                exposure: None,
                columns: BTreeMap::from([
                    ("replicate".to_owned(), column(blocks)),
                    ("nitrogen".to_owned(), column(nitrogen)),
                ]),
                numbers: BTreeMap::new(),
                tree: (0..n).map(|i| format!("{variety}-{i}")).collect(),
                season: vec![None; n],
                place: vec![String::new(); n],
            };
            let plan = Plan::read(&declaration, &observed).expect("a plan");
            let mut options = AnalysisOptions::default();
            options.price_ratios.insert("nitrogen".to_owned(), 50.0);
            (variety, analyse_with(&plan, &options).expect("an analysis"))
        })
        .collect()
}

#[test]
fn amounts_over_places_have_components_and_a_curve() {
    let r = &read("pooled/pooled.json")["amounts"];
    let sites = varieties(&[]);
    for (are, witness) in [(EnvironmentsAre::Fixed, "fixed"), (EnvironmentsAre::Random, "random")] {
        let found = combined(&sites, are, Weighting::Equal).expect("combined");
        assert_eq!(found.method, PooledMethod::Exact);
        let w = &r[witness];
        let components = &found.polynomials[0].components;
        assert_eq!(components.len(), 3);
        for (i, one) in components.iter().enumerate() {
            near(one.estimate.expect("main"), numbers(&w["estimate"])[i], 1e-9, &one.name);
            near(one.std_error.expect("main"), numbers(&w["se"])[i], 1e-9, &one.name);
            near(one.f, numbers(&w["f"])[i], 1e-9, &one.name);
            near(one.df_denominator, number(&w["df"]), 1e-12, &one.name);
        }
        // Three components span the term: its line of the combined table.
        let line = found.table.iter().find(|row| row.source == "nitrogen").expect("a term");
        let sum: f64 = components.iter().filter_map(|one| one.ss).sum();
        near(sum, line.ss.expect("balanced"), 1e-9, "sum of squares");
        let curve = &found.curves[0];
        for (i, own) in curve.coefficients.iter().enumerate() {
            near(*own, numbers(&r["quadratic"])[i], 1e-9, "coefficient");
        }
        let (f, ..) = curve.lack_of_fit.expect("four amounts");
        near(f, numbers(&w["f"])[2], 1e-9, "lack of fit");
        // Judged by the plots the set begins inside the range; by the places it lies above it.
        assert_eq!(w["outside_first"].as_bool(), Some(true));
        match (numbers(&w["ends"]).as_slice(), curve.maximum.set) {
            ([low], Some(OptimumSet::Interval { low: own, open_above: true, .. })) => {
                near(own, *low, 1e-8, "set");
            }
            ([], Some(OptimumSet::Above)) => {}
            (ends, own) => panic!("{ends:?} {own:?}"),
        }
        // The ratio of the places' own analyses: slope b1 + 2 b2 x = 50.
        let [_, b1, b2] = curve.coefficients;
        let economic = curve.economic.as_ref().expect("a price ratio was given");
        let Peak::Inside { amount, .. } = economic.peak else { panic!("{economic:?}") };
        near(amount, (50.0 - b1) / (2.0 * b2), 1e-9, "economic optimum");
    }
    let lost: Vec<usize> = numbers(&r["lost_rows"]).into_iter().map(|x| x as usize).collect();
    let found =
        combined(&varieties(&lost), EnvironmentsAre::Fixed, Weighting::Equal).expect("combined");
    assert_eq!(found.method, PooledMethod::Mixed);
    for (i, one) in found.polynomials[0].components.iter().enumerate() {
        near(one.estimate.expect("main"), numbers(&r["lost"]["estimate"])[i], 1e-4, &one.name);
        near(one.std_error.expect("main"), numbers(&r["lost"]["se"])[i], 1e-4, &one.name);
        near(one.df_denominator, numbers(&r["lost"]["df"])[i], 1e-3, &one.name);
    }
    // Sites without amounts have neither.
    let plain =
        combined(&self::sites(&[]), EnvironmentsAre::Fixed, Weighting::Equal).expect("combined");
    assert!(plain.curves.is_empty() && plain.polynomials.is_empty());
}

/// The simulated factorial at five sites, of which two plots are lost.
fn factorial_sites() -> Vec<(String, Analysis)> {
    let file = std::fs::read_to_string(path("pooled/factorial.csv")).expect("committed data");
    let mut rows: BTreeMap<String, Vec<[String; 4]>> = BTreeMap::new();
    for line in file.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        let [amount, dressing, block, site, value] = fields[..] else { panic!("{line}") };
        let own = [amount, dressing, block, value].map(str::to_owned);
        rows.entry(site.into()).or_default().push(own);
    }
    let declaration: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["amount", "dressing"],
            "amounts": {"amount": "g"}, "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    rows.into_iter()
        .map(|(site, rows)| {
            let n = rows.len();
            let column = |at: usize| rows.iter().map(|r| Some(r[at].clone())).collect::<Vec<_>>();
            let observed = Observations {
                trial: site.clone(),
                observed: Trait {
                    id: "yield".to_owned(),
                    name: "yield".to_owned(),
                    unit: "kg".to_owned(),
                    kind: TraitKind::Measured,
                },
                values: rows.iter().map(|r| r[3].parse().expect("a number")).collect(),
                exposure: None,
                columns: BTreeMap::from([
                    ("amount".to_owned(), column(0)),
                    ("dressing".to_owned(), column(1)),
                    ("replicate".to_owned(), column(2)),
                ]),
                numbers: BTreeMap::new(),
                tree: (0..n).map(|i| format!("{site}-{i}")).collect(),
                season: vec![None; n],
                place: vec![String::new(); n],
            };
            let plan = Plan::read(&declaration, &observed).expect("a plan");
            (site, analyse(&plan).expect("an analysis"))
        })
        .collect()
}

/// One variance for the interaction of all terms with the sites rejected in 14 % of null factorials.
#[test]
fn each_term_of_a_factorial_is_judged_by_its_own_interaction_with_the_sites() {
    let r = &read("pooled/pooled.json")["factorial"];
    let sites = factorial_sites();
    let found = combined(&sites, EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    assert_eq!(found.method, PooledMethod::Mixed);
    for (name, theirs) in [("amount", "a"), ("dressing", "d"), ("amount x dressing", "ad")] {
        let row = found.table.iter().find(|row| row.source == name).expect("a term");
        assert_eq!(row.kind, PooledKind::Term);
        let [f, df, df_denominator] = numbers(&r[theirs])[..] else { panic!("{r}") };
        near(row.f.expect("tested"), f, 1e-4, name);
        near(row.df, df, 1e-12, name);
        near(row.df_denominator.expect("tested"), df_denominator, 1e-3, name);
    }
    // The components of the amounts are judged as the term is.
    let components = &found.polynomials[0].components;
    for one in components {
        near(one.df_denominator, numbers(&r["a"])[2], 0.02, &one.name);
    }
    let variance: f64 = numbers(&r["variance"]).iter().sum();
    near(found.interaction_variance.expect("random"), variance, 1e-3, "interaction");
    // Over all dressings, then at each of them.
    let levels = &sites[0].1.plan.factors[1].levels;
    assert_eq!(found.curves.len(), 1 + levels.len());
    for (curve, level) in found.curves[1..].iter().zip(levels) {
        assert_eq!(curve.within, Some(("dressing".to_owned(), level.clone())));
        assert!(curve.curvature_error > found.curves[0].curvature_error, "{curve:?}");
    }
}

/// Three amounts by two dressings in three blocks at four sites, any numbers without a pattern.
fn crossed(site: usize, amount: usize, dressing: usize, block: usize) -> f64 {
    let noise = ((site + 2) * (amount + 3) * (dressing + 5) * (block + 7) * 31) % 19;
    let shift = (site * (3 * amount + 5 * dressing) + 2 * amount * dressing * site) % 7;
    10.0 + (2 * amount + dressing + site) as f64 + 0.4 * shift as f64 + 0.1 * noise as f64
}

/// Over sites that are a sample, a curve at one level of another factor is judged by both interactions with the
/// sites, of which it is made (Cochran and Cox 1957, Experimental Designs, section 14.3, by their definitions).
#[test]
fn a_curve_at_one_level_is_judged_by_both_interactions() {
    let (amounts, dressings, blocks, places) = (3, 2, 3, 4);
    let declaration: TrialDeclaration = serde_json::from_str(
        r#"{"title": null, "design": "randomised_blocks", "factors": ["amount", "dressing"],
            "amounts": {"amount": "g"}, "control": null, "covariate": null}"#,
    )
    .expect("a declaration");
    let sites: Vec<(String, Analysis)> = (0..places)
        .map(|site| {
            let plots: Vec<[usize; 3]> = (0..amounts * dressings * blocks)
                .map(|plot| {
                    [plot % amounts, plot / amounts % dressings, plot / amounts / dressings]
                })
                .collect();
            let column =
                |at: usize| plots.iter().map(|own| Some(own[at].to_string())).collect::<Vec<_>>();
            let observed = Observations {
                trial: site.to_string(),
                observed: Trait {
                    id: "yield".to_owned(),
                    name: "yield".to_owned(),
                    unit: "kg".to_owned(),
                    kind: TraitKind::Measured,
                },
                values: plots.iter().map(|&[a, d, b]| crossed(site, a, d, b)).collect(),
                exposure: None,
                columns: BTreeMap::from([
                    ("amount".to_owned(), column(0)),
                    ("dressing".to_owned(), column(1)),
                    ("replicate".to_owned(), column(2)),
                ]),
                numbers: BTreeMap::new(),
                tree: (0..plots.len()).map(|plot| format!("{site}-{plot}")).collect(),
                season: vec![None; plots.len()],
                place: vec![String::new(); plots.len()],
            };
            let plan = Plan::read(&declaration, &observed).expect("a plan");
            (site.to_string(), analyse(&plan).expect("an analysis"))
        })
        .collect();
    // Mean of the plots with these places; `None` stands for all.
    let mean = |site: Option<usize>, amount: Option<usize>, dressing: Option<usize>| {
        let of = |own: Option<usize>, all: usize| own.map_or(0..all, |own| own..own + 1);
        let (mut sum, mut plots) = (0.0, 0.0);
        for s in of(site, places) {
            for a in of(amount, amounts) {
                for d in of(dressing, dressings) {
                    for b in 0..blocks {
                        sum += crossed(s, a, d, b);
                        plots += 1.0;
                    }
                }
            }
        }
        sum / plots
    };
    let (mut by_site, mut both) = (0.0, 0.0);
    for s in 0..places {
        for a in 0..amounts {
            let (s, a) = (Some(s), Some(a));
            let own = mean(s, a, None) - mean(s, None, None) - mean(None, a, None)
                + mean(None, None, None);
            by_site += (blocks * dressings) as f64 * own * own;
            for d in (0..dressings).map(Some) {
                let own = mean(s, a, d) - mean(s, a, None) - mean(s, None, d) - mean(None, a, d)
                    + mean(s, None, None)
                    + mean(None, a, None)
                    + mean(None, None, d)
                    - mean(None, None, None);
                both += blocks as f64 * own * own;
            }
        }
    }
    let (by_site, both) = (by_site / 6.0, both / 6.0);
    let found = combined(&sites, EnvironmentsAre::Random, Weighting::Equal).expect("combined");
    assert_eq!(found.method, PooledMethod::Exact);
    assert_eq!(found.curves.len(), 3);
    // The square of amounts 0, 1, 2 is (y0 - 2 y1 + y2) / 2: one and a half variances of a mean.
    let error = |ms: f64, plots: usize| (1.5 * ms / plots as f64).sqrt();
    let own = |at: usize| found.curves[at].curvature_error.expect("three amounts");
    near(own(0), error(by_site, blocks * places * dressings), 1e-9, "averaged");
    for at in [1, 2] {
        near(own(at), error(0.5 * by_site + 0.5 * both, blocks * places), 1e-9, "at one level");
        let [y0, y1, y2] = [0, 1, 2].map(|a| mean(None, Some(a), Some(at - 1)));
        near(found.curves[at].coefficients[2], (y0 - 2.0 * y1 + y2) / 2.0, 1e-9, "square");
    }
}

/// Amounts that some places lack leave the curve to those that all have, whichever comes first.
#[test]
fn amounts_in_common_have_a_curve() {
    let file = std::fs::read_to_string(path("analysis/oats.csv")).expect("committed data");
    let highest = |variety: &str| -> Vec<usize> {
        let rows = file.lines().skip(1).enumerate();
        rows.filter(|(_, row)| row.contains(variety) && row.contains(",0.6,"))
            .map(|(at, _)| at)
            .collect()
    };
    let curves: Vec<_> = ["Golden.rain", "Victory"]
        .into_iter()
        .map(|variety| {
            let lost = highest(variety);
            assert_eq!(lost.len(), 6);
            let sites = varieties(&lost);
            let found =
                combined(&sites, EnvironmentsAre::Fixed, Weighting::Equal).expect("combined");
            assert!(found.notes.iter().any(|note| note.contains("0.6")), "{:?}", found.notes);
            found.curves[0].clone()
        })
        .collect();
    for curve in &curves {
        assert_eq!(curve.range, (0.0, 0.4));
        assert!(curve.lack_of_fit.is_none() && curve.economic.is_some());
    }
    // The means in common are those of all three varieties.
    assert_eq!(curves[0].points, curves[1].points);
}
