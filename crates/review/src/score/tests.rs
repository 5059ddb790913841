use super::*;
use crate::Scale;
use crate::decomposition::{Part, SeasonReview};
use crate::simulated::Orchard;

fn predicted(region: &str, season: i32, [low, median, high]: [f64; 3]) -> Predicted {
    let quantity = Quantity::GainOverPresent;
    Predicted { region: region.into(), season, quantity, median, low, high, level: 0.95 }
}

fn realised(gain_kg: f64, std_error_kg: f64) -> Realised {
    Realised {
        region: "r".into(),
        season: 2025,
        gain_kg,
        std_error_kg,
        df: 50.0,
        followed: 30,
        not_followed: 40,
        blocks_with_both: 3,
    }
}

#[test]
fn the_interval_score_is_that_of_its_formula() {
    // Gneiting and Raftery (2007), eq. 43, by hand: alpha 0.1, 1 to 3, value 4: 2 + 20.
    assert!((interval_score(1.0, 3.0, 0.9, 4.0) - 22.0).abs() < 1e-9);
    assert!((interval_score(1.0, 3.0, 0.9, 0.5) - 12.0).abs() < 1e-9);
    assert_eq!(interval_score(1.0, 3.0, 0.9, 2.0), 2.0);
}

#[test]
fn the_true_quantiles_have_the_best_score() {
    // The score is proper: for a standard normal the expectation is least at the true quantiles.
    let normal = Normal::standard();
    let expected = |half: f64| -> f64 {
        let n = 20_000;
        let values = (0..n).map(|i| normal.inverse_cdf((f64::from(i) + 0.5) / f64::from(n)));
        values.map(|x| interval_score(-half, half, 0.9, x)).sum::<f64>() / f64::from(n)
    };
    let best = expected(1.644_854);
    assert!(best < expected(1.5) && best < expected(1.8));
}

#[test]
fn a_hit_allows_for_the_error_of_the_realised_value() {
    let advice = predicted("r", 2025, [0.1, 0.5, 1.1]);
    let known = score(&advice, &realised(1.3, 0.0)).unwrap();
    assert!(!known.hit && !known.within_predicted && known.telling);
    assert_eq!(known.limits, [0.5 - (0.5 - 0.1), 0.5 + (1.1 - 0.5)]);
    let vague = score(&advice, &realised(1.3, 0.4)).unwrap();
    assert!(vague.hit && !vague.within_predicted && !vague.telling);
    // By hand: 0.5 + sqrt(0.6^2 + (1.959964 x 0.4)^2).
    assert!((vague.limits[1] - (0.5 + 0.987_235)).abs() < 1e-5);
    assert!(score(&predicted("r", 2025, [0.6, 0.5, 1.1]), &realised(0.5, 0.1)).is_err());
    assert!(score(&advice, &realised(f64::NAN, 0.1)).is_err());
}

#[test]
fn binomial_limits_are_those_of_scipy() {
    let text = include_str!("../../../../tests/reference/review/binomial.csv");
    for line in text.lines().skip(1) {
        let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
        let limits = binomial_interval(row[0] as u64, row[1] as u64, row[2]).unwrap();
        assert!((limits[0] - row[3]).abs() < 1e-8 && (limits[1] - row[4]).abs() < 1e-8, "{line}");
    }
    assert!(binomial_interval(1, 0, 0.95).is_err());
}

#[test]
fn the_record_grows_in_order_and_without_doubles() {
    let row = |region: &str, season, value| {
        score(&predicted(region, season, [0.1, 0.5, 1.1]), &realised(value, 0.1)).unwrap()
    };
    let mut record = ScoreRecord::default();
    let first = record.append([row("b", 2025, 0.4), row("a", 2025, 1.5), row("b", 2024, 0.3)]);
    assert_eq!((first.added, first.repeated), (3, 0));
    let keys: Vec<_> =
        record.rows.iter().map(|r| (r.predicted.season, r.predicted.region.clone())).collect();
    assert_eq!(keys, [(2024, "b".into()), (2025, "a".into()), (2025, "b".into())]);
    // Through a text file and back, then the same and a changed score again.
    let text = serde_json::to_string(&record).unwrap();
    let mut record: ScoreRecord = serde_json::from_str(&text).unwrap();
    let again = record.append([row("b", 2025, 0.4), row("a", 2025, 0.5)]);
    assert_eq!((again.added, again.repeated, again.conflicting.len()), (0, 1, 1));
    assert_eq!(record.rows.len(), 3);
    let all = record.hit_rate(|_| true, 0.95).unwrap().unwrap();
    assert_eq!((all.scored, all.hits), (3, 2));
    assert!((all.bias - (0.4 + 1.5 + 0.3 - 1.5) / 3.0).abs() < 1e-9);
    assert!((all.expected - 0.95).abs() < 1e-12);
    let of_b = record.hit_rate(|row| row.predicted.region == "b", 0.95).unwrap().unwrap();
    assert_eq!((of_b.scored, of_b.hits), (2, 2));
    assert!(record.hit_rate(|row| row.predicted.region == "c", 0.95).unwrap().is_none());
}

#[test]
fn a_realised_gain_finds_the_truth_where_better_trees_follow() {
    // Trees with a level above the median follow the advice (gain 15 %) far more often: the plain
    // difference is badly biased, the adjusted one is not.
    let mut z = Vec::new();
    let mut plain_error = 0.0;
    for seed in 100..112 {
        let mut orchard = Orchard::simulate(seed);
        let unpruned = orchard.unpruned_yields();
        let none = vec![0.0; unpruned.len()];
        orchard.yield_kg.clone_from(&unpruned);
        let followed: Vec<Option<bool>> = {
            let table = orchard.table();
            (0..table.len())
                .map(|row| {
                    let better = orchard.parts[row][Part::Level as usize] > 0.0;
                    let drawn = row / 6 % 5;
                    (table.season[row] == orchard.closed).then_some(if better {
                        drawn < 4
                    } else {
                        drawn < 1
                    })
                })
                .collect()
        };
        let mut gains = Vec::new();
        for (row, kg) in orchard.yield_kg.iter_mut().enumerate() {
            if followed[row] == Some(true) {
                gains.push((row, 0.15 * *kg));
                *kg *= 1.15;
            }
        }
        let intensity: Vec<f64> =
            followed.iter().map(|f| if *f == Some(true) { 0.25 } else { 0.0 }).collect();
        let table = crate::TreeSeasons { pruning_effect: Some(&none), ..orchard.table() };
        let table = crate::TreeSeasons { intensity: &intensity, ..table };
        let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
        let realised = realised_gain(&review, &table, "r1", &followed).unwrap();
        let of: Vec<f64> =
            gains.iter().filter(|(r, _)| table.region.code(*r) == 1).map(|(_, g)| *g).collect();
        let truth = of.iter().sum::<f64>() / of.len() as f64;
        z.push((realised.gain_kg - truth) / realised.std_error_kg);
        let mean = |wanted: bool| {
            let rows: Vec<f64> = (0..table.len())
                .filter(|&r| table.region.code(r) == 1 && followed[r] == Some(wanted))
                .map(|r| table.yield_kg[r])
                .collect();
            rows.iter().sum::<f64>() / rows.len() as f64
        };
        plain_error += (mean(true) - mean(false) - truth) / 12.0;
        assert!(realised.blocks_with_both >= 8);
    }
    let n = z.len() as f64;
    let mean = z.iter().sum::<f64>() / n;
    let spread = (z.iter().map(|z| z * z).sum::<f64>() / n).sqrt();
    assert!(plain_error > 1.0, "{plain_error}");
    assert!(mean.abs() < 3.5 / n.sqrt(), "{z:?}");
    assert!(spread < 1.8, "{z:?}");
}

#[test]
fn too_few_followers_are_refused() {
    let orchard = Orchard::simulate(1);
    let table = orchard.table();
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    let followed = vec![Some(false); table.len()];
    assert!(matches!(
        realised_gain(&review, &table, "r0", &followed),
        Err(ReviewError::TooFew { least: 5, found: 0, .. })
    ));
    let mean = Realised::mean_yield(&review, &table, "r0").unwrap();
    assert!(mean.std_error_kg > 0.0 && mean.df == 9.0);
}
