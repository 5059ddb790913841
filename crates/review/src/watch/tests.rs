use super::*;
use crate::Scale;
use crate::simulated::{BLOCKS, Orchard, TREES};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

#[test]
fn the_worked_example_of_false_discoveries_is_met() {
    // Benjamini and Hochberg (1995, section 3.2): four of fifteen rejected at 0.05. Adjusted values by
    // scipy (clusters.py).
    let text = include_str!("../../../../tests/reference/review/discoveries.csv");
    let rows: Vec<(f64, f64)> = text
        .lines()
        .skip(1)
        .filter_map(|line| line.split_once(','))
        .map(|(p, q)| (p.parse().unwrap(), q.parse().unwrap()))
        .collect();
    let p: Vec<f64> = rows.iter().map(|row| row.0).collect();
    let adjusted = benjamini_hochberg(&p);
    assert!(adjusted.iter().zip(&rows).all(|(own, row)| (own - row.1).abs() < 1e-12));
    assert_eq!(adjusted.iter().filter(|q| **q <= 0.05).count(), 4);
    let with_gap = benjamini_hochberg(&[0.01, f64::NAN, 0.04]);
    assert!(with_gap[1].is_nan() && (with_gap[0] - 0.02).abs() < 1e-15);
}

#[test]
fn odds_of_the_worst_tenth_agree_with_ranks_of_draws() {
    // Slow twin: draw all levels, mark the lowest tenth, count.
    let mut rng = ChaCha12Rng::seed_from_u64(6);
    let n = 400;
    let modes: Vec<f64> = (0..n).map(|_| StandardNormal.sample(&mut rng)).collect();
    let errors: Vec<f64> = (0..n).map(|_| 0.2 + 0.5 * rng.random::<f64>()).collect();
    let odds = worst_share(&modes, &errors, 0.1);
    assert!((odds.iter().sum::<f64>() - 40.0).abs() < 1e-6);
    let draws = 4000;
    let mut counts = vec![0.0; n];
    for _ in 0..draws {
        let mut levels: Vec<(f64, usize)> = (0..n)
            .map(|i| {
                let noise: f64 = StandardNormal.sample(&mut rng);
                (modes[i] + errors[i] * noise, i)
            })
            .collect();
        levels.sort_by(|a, b| a.0.total_cmp(&b.0));
        levels[..40].iter().for_each(|(_, i)| counts[*i] += 1.0 / f64::from(draws));
    }
    for (fast, slow) in odds.iter().zip(&counts) {
        // Monte Carlo error 0.008 at most, and the threshold's own spread.
        assert!((fast - slow).abs() < 0.04, "{fast} against {slow}");
    }
}

#[test]
fn poor_failing_and_mistaken_trees_are_found_and_few_others() {
    let mut orchard = Orchard::simulate(17);
    let last = |orchard: &Orchard, tree: u32| {
        let table = orchard.table();
        (0..table.len())
            .find(|&r| table.tree.codes[r] == tree && table.season[r] == orchard.closed)
            .unwrap()
    };
    let trees = orchard.tree_levels().len() as u32;
    // Ten trees at half their yield in all seasons, ten that fail now, slips of a decimal and of
    // the unit, and a copied history.
    for tree in (0..10).map(|k| k * 37 + 5) {
        let rows: Vec<usize> = (0..orchard.yield_kg.len())
            .filter(|&r| orchard.table().tree.codes[r] == tree)
            .collect();
        rows.iter().for_each(|&r| orchard.yield_kg[r] *= 0.4);
    }
    let failing: Vec<u32> = (0..10).map(|k| k * 41 + 7).collect();
    for &tree in &failing {
        let row = last(&orchard, tree);
        orchard.yield_kg[row] *= 0.15;
    }
    let (decimal, grams) = (last(&orchard, 50), last(&orchard, trees - 9));
    orchard.yield_kg[decimal] *= 10.0;
    orchard.yield_kg[grams] *= 1000.0;
    for season in 0..6 {
        orchard.yield_kg[61 * 6 + season] = orchard.yield_kg[60 * 6 + season];
    }
    let table = orchard.table();
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    let positions: Vec<Option<u32>> = (0..trees).map(|tree| Some(tree % TREES as u32)).collect();
    let places = Places { row: &positions, column: &positions };
    let found = watch(&review, &table, Some(places), &WatchSettings::default()).unwrap();

    let id = |tree: u32| format!("t{tree}");
    let hits = failing.iter().filter(|t| found.sudden.iter().any(|s| s.place.tree == id(**t)));
    assert!(hits.count() >= 9);
    assert!(found.sudden.len() <= 14, "{}", found.sudden.len());

    // The poor list: most are truly in the worst tenth of levels within their blocks.
    let poor =
        (0..10).map(|k| id(k * 37 + 5)).filter(|t| found.poor.iter().any(|p| p.place.tree == *t));
    assert!(poor.count() >= 7);
    let mut levels = orchard.tree_levels();
    (0..10).for_each(|k| levels[k * 37 + 5] += 0.4_f64.ln());
    let block = |tree: usize| tree / TREES;
    let centre = |b: usize| levels[b * TREES..(b + 1) * TREES].iter().sum::<f64>() / TREES as f64;
    let within: Vec<f64> = (0..levels.len()).map(|t| levels[t] - centre(block(t))).collect();
    let mut sorted = within.clone();
    sorted.sort_by(f64::total_cmp);
    let tenth = sorted[levels.len() / 10];
    let index = |place: &Place| place.tree[1..].parse::<usize>().unwrap();
    let right = found.poor.iter().filter(|p| within[index(&p.place)] <= tenth).count();
    assert!(right as f64 >= 0.8 * found.poor.len() as f64, "{right} of {}", found.poor.len());
    let first = &found.poor[0];
    assert_eq!(first.place.row, Some((index(&first.place) % TREES) as u32));
    assert!(block(index(&first.place)) < BLOCKS * 6);

    let kind = |tree: u32| found.suspects.iter().find(|s| s.place.tree == id(tree)).map(|s| s.kind);
    assert_eq!(kind(50), Some(SuspectKind::Slip { factor: 10.0 }));
    assert_eq!(kind(trees - 9), Some(SuspectKind::Slip { factor: 1000.0 }));
    assert_eq!(kind(61), Some(SuspectKind::Copied));
    assert!(found.suspects.len() <= 8, "{:?}", found.suspects);
}

#[test]
fn a_sound_season_raises_hardly_any_alarm() {
    let mut alarms = 0;
    for seed in 40..50 {
        let orchard = Orchard::simulate(seed);
        let table = orchard.table();
        let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
        let found = watch(&review, &table, None, &WatchSettings::default()).unwrap();
        alarms += usize::from(!found.sudden.is_empty()) + usize::from(!found.suspects.is_empty());
        assert!(found.spread > 0.85 && found.spread < 1.15, "{}", found.spread);
        assert_eq!(found.trees_judged, 600);
    }
    // With nothing to find, a list is not empty with probability 0.05 (Benjamini and Hochberg 1995);
    // of 20 lists more than four are, one time in 400.
    assert!(alarms <= 4, "{alarms}");
}
