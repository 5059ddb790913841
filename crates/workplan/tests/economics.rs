//! Economics against another package's fit and against the page's own script.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use serde::Deserialize;
use std::collections::BTreeMap;
use workplan::economics::{
    Change, NoTimeFit, PracticeCost, Prices, Scenario, SeasonSums, TimeFit, TimedTree, WhatIf,
    WorkRate, shown, work_rate,
};

fn reference(name: &str) -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/work/");
    std::fs::read_to_string(format!("{path}{name}")).unwrap()
}

fn timed() -> Vec<TimedTree> {
    reference("minutes.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.trim().split(',').collect();
            TimedTree {
                intensity: cells[0].parse().unwrap(),
                size: cells[1].parse().ok(),
                tool: cells[2].to_owned(),
                minutes: cells[3].parse().unwrap(),
            }
        })
        .collect()
}

/// Gamma family with identity link in statsmodels: notebooks-free-scripts/work-reference/minutes.py.
#[test]
fn minutes_equal_a_gamma_fit_of_another_package() {
    let expected: BTreeMap<String, f64> = reference("minutes_fit.csv")
        .lines()
        .skip(1)
        .map(|line| line.trim().split_once(',').unwrap())
        .map(|(name, value)| (name.to_owned(), value.parse().unwrap()))
        .collect();
    let fit = TimeFit::new(&timed(), 0.95).unwrap();
    assert_eq!(
        (fit.tools.as_slice(), fit.used, fit.dropped),
        (&["saw".to_owned(), "shears".to_owned()][..], 240, 0)
    );
    let at = fit.minutes("saw", Some(50.0), 0.3);
    for (name, value) in [
        ("per_tree_saw", fit.per_tree[0]),
        ("per_tree_shears", fit.per_tree[1]),
        ("full_canopy_saw", fit.full_canopy[0]),
        ("full_canopy_shears", fit.full_canopy[1]),
        ("by_size", fit.full_canopy_by_size.unwrap()),
        ("cv", fit.cv),
        ("saw_30_50_mean", at.mean),
        ("saw_30_50_mean_high", at.mean_limits[1]),
        ("saw_30_50_new_low", at.new_tree_limits[0]),
    ] {
        // Both stop when the means move less than 1e-11.
        assert!((value / expected[name] - 1.0).abs() < 1e-8, "{name}: {value} {}", expected[name]);
    }
    let rate = fit.rate("saw", Some(50.0));
    assert!((rate.minutes(0.3) - at.mean).abs() < 1e-9);
    assert_eq!(rate.minutes(0.0), 0.0);
}

#[test]
fn too_little_to_fit_falls_back_on_stated_rates() {
    let rows = timed();
    assert_eq!(TimeFit::new(&rows[..20], 0.95), Err(NoTimeFit::TooFew { used: 20 }));
    let same: Vec<TimedTree> =
        rows.iter().map(|row| TimedTree { intensity: 0.3, size: None, ..row.clone() }).collect();
    assert_eq!(TimeFit::new(&same, 0.95), Err(NoTimeFit::NotVaried));
    let stated = WorkRate { minutes_per_tree: 4.0, minutes_full_canopy: 30.0 };
    assert_eq!(work_rate(None, "saw", None, Some(stated)), Ok(stated));
    let error = work_rate(None, "saw", None, None).unwrap_err();
    assert_eq!(error.key, "[economics.pruning_time] minutes_per_tree");
}

#[test]
fn what_cannot_be_identified_is_left_out() {
    // Trees that took less time the more was cut: the slope stops at zero.
    let falling: Vec<TimedTree> = timed()
        .into_iter()
        .map(|row| TimedTree {
            minutes: 10.0 - 5.0 * row.intensity,
            tool: String::new(),
            size: None,
            ..row
        })
        .collect();
    let fit = TimeFit::new(&falling, 0.95).unwrap();
    assert_eq!((fit.full_canopy[0], fit.full_canopy_by_size, fit.tools.len()), (0.0, None, 1));
    // A rare tool is left out of the fit and gets the mean of the others, as often as they were used.
    let mut rare = timed();
    rare[..5].iter_mut().for_each(|row| row.tool = "axe".to_owned());
    let fit = TimeFit::new(&rare, 0.95).unwrap();
    assert_eq!((fit.dropped, fit.used), (5, 235));
    let weighted =
        |tool: usize, name| fit.tool_rows[tool] as f64 / 235.0 * fit.rate(name, None).minutes(0.2);
    let mean = weighted(0, "saw") + weighted(1, "shears");
    assert!((fit.rate("axe", None).minutes(0.2) - mean).abs() < 1e-9);
}

#[derive(Deserialize)]
struct Cases {
    cases: Vec<Case>,
    numbers: Vec<(f64, String, String)>,
}

#[derive(Deserialize)]
struct Case {
    region: WhatIf,
    scenario: Scenario,
    shown: BTreeMap<String, String>,
}

/// The page's script run by node: notebooks-free-scripts/work-reference/what_if.mjs.
#[test]
fn page_and_command_show_the_same_digits() {
    let reference: Cases = serde_json::from_str(&reference("what_if.json")).unwrap();
    assert_eq!(reference.cases.len(), 45);
    for case in &reference.cases {
        let found = case.region.at(&case.scenario).unwrap();
        let mine = [
            ("advised_per_tree", shown(found.advised_per_tree, 2)),
            ("present_per_tree", shown(found.present_per_tree, 2)),
            ("gain_per_tree", shown(found.gain_per_tree, 2)),
            ("gain_per_ha", found.gain_per_ha.map_or(String::new(), |v| shown(v, 0))),
            ("odds_of_loss_pct", shown(100.0 * found.odds_of_loss, 1)),
        ];
        for (name, text) in mine {
            assert_eq!(text, case.shown[name], "{name} of {}", case.region.region);
        }
    }
    for (value, whole, two) in &reference.numbers {
        assert_eq!((&shown(*value, 0), &shown(*value, 2)), (whole, two), "{value}");
    }
}

#[test]
fn odds_from_the_table_are_those_of_the_draws() {
    let advised: Vec<f64> = (0..2000).map(|k| f64::from(k * 7919 % 2000) / 400.0).collect();
    let present = vec![2.0; 2000];
    let sums = SeasonSums::of(&advised, &present, f64::NAN).unwrap();
    let cost = PracticeCost { hours: 0.5, other: 0.1 };
    let none = PracticeCost { hours: 0.0, other: 0.0 };
    let what_if = WhatIf {
        region: "north".to_owned(),
        price_factor: 1.0,
        trees_per_ha: None,
        advised: cost,
        present: none,
        seasons: vec![sums],
    };
    let scenario = Scenario { price_per_kg: 1.3, wage_per_hour: 0.9, yield_level: 1.1, seasons: 1 };
    let found = what_if.at(&scenario).unwrap();
    let counted =
        advised.iter().filter(|kg| 1.3 * 1.1 * (**kg - 2.0) < 0.55).count() as f64 / 2000.0;
    // The table has a point every per cent.
    assert!((found.odds_of_loss - counted).abs() < 0.001, "{} {counted}", found.odds_of_loss);
    let error = what_if.at(&Scenario { seasons: 2, ..scenario }).unwrap_err();
    assert_eq!(error.key, "seasons");
    assert!(what_if.at(&Scenario { price_per_kg: f64::NAN, ..scenario }).is_err());
    assert_eq!(SeasonSums::of(&advised, &present[1..], 0.0), None);
}

/// The advice and the what-if at the book's own price and wage say one thing of the same draws: the
/// same median, and the same share of losses even in the tail between two quantiles.
#[test]
fn at_the_books_own_numbers_the_what_if_is_the_advice() {
    let (advised, present): (Vec<f64>, Vec<f64>) = (0..400)
        .map(|k| {
            let u = f64::from(k * 7919 % 400) / 400.0;
            (2.0 + 3.0 * u + 4.0 * u.powi(8), 1.95 + f64::from(k % 7) / 100.0)
        })
        .unzip();
    let scenario =
        Scenario { price_per_kg: 45.0, wage_per_hour: 40.0, yield_level: 1.0, seasons: 1 };
    let mut what_if = WhatIf {
        region: "coast".to_owned(),
        price_factor: 0.97,
        trees_per_ha: Some(107.5),
        advised: PracticeCost { hours: 0.2, other: 2.0 },
        present: PracticeCost { hours: 0.18, other: 1.9 },
        seasons: Vec::new(),
    };
    let even = what_if.break_even_kg(&scenario);
    what_if.seasons.extend(SeasonSums::of(&advised, &present, even));
    let change = Change {
        gain_kg: advised.iter().zip(&present).map(|(a, p)| a - p).collect(),
        hours: 0.2 - 0.18,
        other: 2.0 - 1.9,
        trees_per_ha: Some(107.5),
    };
    let prices = Prices { per_kg: 45.0 * 0.97, per_hour: 40.0 };
    let stated = change.returns(prices, 0.95).unwrap();
    let found = what_if.at(&scenario).unwrap();
    assert!(stated.odds_of_loss > 0.0 && stated.odds_of_loss < 0.02, "{}", stated.odds_of_loss);
    assert_eq!(found.odds_of_loss, stated.odds_of_loss);
    assert!((found.gain_per_tree - stated.per_tree.median).abs() < 1e-9);
    assert!((found.gain_per_ha.unwrap() - stated.per_ha.unwrap().median).abs() < 1e-7);
    assert!((found.advised_per_tree - found.present_per_tree - found.gain_per_tree).abs() < 1e-9);
    // Odds rise steadily as the price falls, through those that were counted.
    let odds: Vec<f64> = (0..200)
        .map(|k| Scenario { price_per_kg: 90.0 - 0.45 * f64::from(k), ..scenario })
        .map(|asked| what_if.at(&asked).unwrap().odds_of_loss)
        .collect();
    assert!(odds.is_sorted(), "{odds:?}");
}
