//! Error of whole families of comparisons, and of the residual tests, by simulation of trials in
//! which nothing is going on.
#![allow(clippy::expect_used)]

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use trials::checks::{FieldPosition, LinearFit, levene, moran, nonadditivity, outliers, trend};
use trials::compare::{Adjustment, ComparisonTable, EstimatedMeans, Pairs};
use trials::distributions::Sides;

const RUNS: usize = 2000;

/// Whether a rate of errors is compatible with `level`: within four binomial standard errors.
fn holds(errors: usize, level: f64) -> bool {
    let rate = errors as f64 / RUNS as f64;
    (rate - level).abs() < 4.0 * (level * (1.0 - level) / RUNS as f64).sqrt()
}

#[test]
fn families_err_as_often_as_they_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_261_125);
    let replicates = [4.0_f64, 4.0, 3.0, 6.0, 4.0];
    let df = 16.0;
    let control = Pairs::WithControl("t0".to_owned());
    let families = [
        (Pairs::All, Adjustment::Tukey),
        (control.clone(), Adjustment::Dunnett(Sides::Both)),
        (control.clone(), Adjustment::Dunnett(Sides::Above)),
        (control, Adjustment::Holm),
        (Pairs::All, Adjustment::Unadjusted),
    ];
    // Critical values of the statistic do not depend on the data: read off one table each.
    let names: Vec<String> = (0..5).map(|i| format!("t{i}")).collect();
    let table = |values: Vec<f64>, square: f64, (pairs, adjustment): &(Pairs, Adjustment)| {
        let means = EstimatedMeans::of_replicates(names.clone(), values, &replicates, square, df)
            .expect("five means");
        ComparisonTable::new(&means, pairs, *adjustment, 0.05).expect("compared")
    };
    let critical: Vec<f64> = families
        .iter()
        .map(|family| {
            let one = &table(vec![0.0; 5], 1.0, family).rows[0];
            -one.conf_low.expect("bounded below") / one.std_error
        })
        .collect();
    let mut errors = [0_usize; 5];
    for _ in 0..RUNS {
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let values: Vec<f64> = replicates.iter().map(|n| normal() / n.sqrt()).collect();
        let square = (0..16).map(|_| normal().powi(2)).sum::<f64>() / df;
        let t = |i: usize, j: usize| {
            let error = (square * (1.0 / replicates[i] + 1.0 / replicates[j])).sqrt();
            (values[i] - values[j]) / error
        };
        for (((pairs, adjustment), critical), count) in
            families.iter().zip(&critical).zip(&mut errors)
        {
            let mut pairs_of: Vec<(usize, usize)> = (1..5).map(|i| (i, 0)).collect();
            if *pairs == Pairs::All {
                pairs_of = (0..5).flat_map(|i| (i + 1..5).map(move |j| (i, j))).collect();
            }
            let one_sided = *adjustment == Adjustment::Dunnett(Sides::Above);
            let any = pairs_of.iter().any(|&(i, j)| {
                let t = t(i, j);
                (if one_sided { t } else { t.abs() }) > *critical
            });
            *count += usize::from(any);
        }
    }
    // Tukey-Kramer and Holm may err less often with unequal replication, never more often.
    assert!(errors[0] <= RUNS / 20 || holds(errors[0], 0.05), "{errors:?}");
    assert!(errors[0] > RUNS / 30, "{errors:?}");
    assert!(holds(errors[1], 0.05) && holds(errors[2], 0.05), "{errors:?}");
    assert!(errors[3] <= RUNS / 20 || holds(errors[3], 0.05), "{errors:?}");
    // Without adjustment some pair of five differs in more than one trial in five.
    assert!(errors[4] > RUNS / 5, "{errors:?}");
}

#[test]
fn residual_tests_err_as_often_as_they_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    // Six treatments in four blocks that are rows of the field.
    let places: Vec<FieldPosition> = (0..24)
        .map(|i| FieldPosition { row: f64::from(i / 6), column: f64::from(i % 6) })
        .collect();
    let treatment: Vec<usize> = (0..24).map(|i| (i * 5 + i / 6) % 6).collect();
    let mut columns = vec![vec![1.0; 24]];
    for t in 1..6 {
        columns.push(treatment.iter().map(|x| f64::from(u8::from(*x == t))).collect());
    }
    for b in 1..4 {
        columns.push((0..24).map(|i| f64::from(u8::from(i / 6 == b))).collect());
    }
    let mut errors = [0_usize; 5];
    for _ in 0..RUNS {
        let y: Vec<f64> = treatment
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let e: f64 = StandardNormal.sample(&mut rng);
                10.0 + *t as f64 + (i / 6) as f64 + e
            })
            .collect();
        let fit = LinearFit::new(&y, &columns).expect("complete");
        let groups: Vec<Vec<f64>> = (0..2)
            .map(|half| (0..12).map(|i| y[half * 12 + i] - fit.fitted[half * 12 + i]).collect())
            .collect();
        let p = [
            moran(&fit, &places).expect("placed").p_value,
            trend(&fit, &places).expect("placed").p_value,
            nonadditivity(&fit).expect("varies").p_value,
            levene(&groups, true).expect("varies").p_value,
        ];
        for (p, count) in p.iter().zip(&mut errors) {
            *count += usize::from(*p < 0.05);
        }
        let outlying = outliers(&fit, 0.05).expect("varies").outlying;
        errors[4] += usize::from(!outlying.is_empty());
    }
    // Exact tests; Moran's normal approximation with 24 plots is within two points of its level.
    assert!(holds(errors[1], 0.05) && holds(errors[2], 0.05), "{errors:?}");
    assert!((0.03..0.07).contains(&(errors[0] as f64 / RUNS as f64)), "{errors:?}");
    // Levene's test of residuals is approximate; Bonferroni's bound errs on the safe side.
    assert!((0.02..0.08).contains(&(errors[3] as f64 / RUNS as f64)), "{errors:?}");
    assert!(errors[4] <= RUNS / 20 || holds(errors[4], 0.05), "{errors:?}");
    assert!(errors[4] > RUNS / 40, "{errors:?}");
    println!("{errors:?}");
}
