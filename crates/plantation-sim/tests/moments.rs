//! Simulated moments against the plan.

use plantation_sim::{
    Assignment, ErrorTails, Latent, Moisture, Plantation, Records, RegionPlan, Routine, TrialPlan,
    TrueCurve, demo, simulate,
};
use records::{RawIntensity, at_reference_moisture};
use std::collections::BTreeMap;

fn records_of(region: RegionPlan, seed: u64) -> Records {
    simulate(&Plantation { regions: vec![region], ..demo() }, seed)
}

/// One variety, spacing and planting year, without pruning effect: only random factors are left.
fn plain() -> RegionPlan {
    let typical = RegionPlan::typical("plain");
    RegionPlan {
        sites: 12,
        blocks_per_site: 5,
        spacings_m: vec![(8.0, 8.0)],
        varieties: Vec::new(),
        planted: vec![1990],
        response: plantation_sim::Response { curve: TrueCurve::Flat, ..typical.response },
        ..typical
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn covariance(a: &[f64], b: &[f64]) -> f64 {
    let (ma, mb) = (mean(a), mean(b));
    a.iter().zip(b).map(|(x, y)| (x - ma) * (y - mb)).sum::<f64>() / (a.len() as f64 - 1.0)
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    covariance(a, b) / (covariance(a, a) * covariance(b, b)).sqrt()
}

fn by_tree(records: &Records) -> BTreeMap<usize, Vec<&Latent>> {
    let mut trees: BTreeMap<usize, Vec<&Latent>> = BTreeMap::new();
    for latent in &records.latent {
        trees.entry(latent.tree).or_default().push(latent);
    }
    trees
}

/// Witness: the plan's mean (6 kg) and its tree CV, exp(effect) being log-normal with mean 1.
#[test]
fn mean_and_tree_cv_follow_the_plan() {
    let region = RegionPlan { season_cv: 0.0, site_season_cv: 0.0, block_cv: 0.0, ..plain() };
    let records = records_of(region, 11);
    let trees = by_tree(&records);
    let factors: Vec<f64> = trees.values().map(|own| own[0].tree_effect.exp()).collect();
    let n = factors.len() as f64;
    assert!((mean(&factors) - 1.0).abs() < 4.0 * 0.34 / n.sqrt());
    let cv = covariance(&factors, &factors).sqrt() / mean(&factors);
    // Standard error of a CV of 0.34 from 2400 log-normal trees is about 0.007.
    assert!((cv - 0.34).abs() < 0.028, "{cv}");
    let yields: Vec<f64> = trees
        .values()
        .map(|own| mean(&own.iter().map(|latent| latent.yield_kg).collect::<Vec<_>>()))
        .collect();
    let standard_error = (covariance(&yields, &yields) / n).sqrt();
    assert!((mean(&yields) - 6.0).abs() < 4.0 * standard_error, "{}", mean(&yields));
}

/// Witness: with tree variance t2, error variance s2 and alternation a the lag-k correlation of
/// log yields is (t2 + (-a)^k s2) / (t2 + s2 + l2), l2 the variance of laterals luck (0.08^2).
#[test]
fn alternate_bearing_lowers_lag_one_and_leaves_lag_two() {
    let log_variance = |cv: f64| (1.0 + cv * cv).ln();
    let lags = |alternation: f64, error_cv: f64| {
        let region = RegionPlan {
            season_cv: 0.0,
            site_season_cv: 0.0,
            block_cv: 0.0,
            alternation,
            error_cv,
            ..plain()
        };
        let records = records_of(region, 12);
        let trees = by_tree(&records);
        let lag = |k: usize| {
            let pairs: Vec<(f64, f64)> =
                trees.values().map(|own| (own[0].yield_kg.ln(), own[k].yield_kg.ln())).collect();
            let (a, b): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            correlation(&a, &b)
        };
        (lag(1), lag(2))
    };
    let (t2, s2) = (log_variance(0.34), log_variance(0.32));
    let expected = |k: i32, a: f64| (t2 + (-a).powi(k) * s2) / (t2 + s2 + 0.0064);
    for alternation in [0.0, 0.6] {
        let (one, two) = lags(alternation, 0.32);
        // Standard error of a correlation from 2400 trees is at most 0.02.
        assert!((one - expected(1, alternation)).abs() < 0.06, "{alternation} {one}");
        assert!((two - expected(2, alternation)).abs() < 0.06, "{alternation} {two}");
    }
    // trade.md section 7: 0 to 0.3 at lag 1 when alternate bearing is on.
    assert!((0.0..0.3).contains(&expected(1, 0.6)), "{}", expected(1, 0.6));
    // Net of the tree, successive crops are negatively related.
    let records = records_of(RegionPlan { alternation: 0.6, ..plain() }, 13);
    let (a, b): (Vec<f64>, Vec<f64>) =
        by_tree(&records).values().map(|own| (own[0].error, own[1].error)).unzip();
    assert!((correlation(&a, &b) + 0.6).abs() < 0.06);
}

#[test]
fn habit_ties_intensity_to_vigour_and_routine_does_not() {
    let tie = |practice: Assignment| {
        let records = records_of(RegionPlan { practice, ..plain() }, 14);
        let (a, b): (Vec<f64>, Vec<f64>) = records
            .latent
            .iter()
            .filter(|latent| latent.intensity > 0.0)
            .map(|latent| (latent.tree_effect, latent.intensity))
            .unzip();
        correlation(&a, &b)
    };
    let routine = Routine { targets: (0.1, 0.4), ..Routine::typical() };
    let habit = Assignment::Habit { routine, vigour: 0.1, earlier_crop: 0.0 };
    assert!(tie(habit) > 0.5);
    assert!(tie(Assignment::Routine(routine)).abs() < 0.05);
}

#[test]
fn earlier_crop_ties_intensity_to_the_last_error() {
    let routine = Routine { targets: (0.25, 0.3), ..Routine::typical() };
    let practice = Assignment::Habit { routine, vigour: 0.0, earlier_crop: 0.05 };
    let records = records_of(RegionPlan { practice, ..plain() }, 15);
    let (a, b): (Vec<f64>, Vec<f64>) = by_tree(&records)
        .values()
        .filter(|own| own[1].intensity > 0.0)
        .map(|own| (own[0].error, own[1].intensity))
        .unzip();
    assert!(correlation(&a, &b) > 0.4);
}

#[test]
fn randomised_levels_are_balanced_and_kept() {
    let levels = vec![0.0, 0.15, 0.3, 0.45];
    let plan = TrialPlan { id: "t".to_owned(), levels: levels.clone(), lead_days: 48.0 };
    let region = RegionPlan { practice: Assignment::Randomised(plan), ..plain() };
    let records = records_of(region, 16);
    assert_eq!(records.trials.len(), records.trees.len());
    for level in &levels {
        let own = records
            .trials
            .iter()
            .filter(|row| row.levels["intensity_level"] == level.to_string())
            .count();
        assert_eq!(own, records.trees.len() / 4);
    }
    for own in by_tree(&records).values() {
        let level = records.trials[own[0].tree].levels["intensity_level"].parse::<f64>().unwrap();
        assert!(own.iter().all(|latent| (latent.intensity - level).abs() < 1e-12));
    }
}

/// Picks brought to reference moisture give the true yield back, up to rounding to 10 g a pick.
#[test]
fn wet_picks_add_up_and_missing_ones_are_missing() {
    let region = RegionPlan {
        moisture: Moisture::Wet { low: 18.0, high: 25.0 },
        missing: 0.10,
        tails: ErrorTails::Heavy,
        ..plain()
    };
    let calendar = region.calendar;
    let records = records_of(region, 17);
    let mut sums: BTreeMap<(usize, i16), (f64, usize)> = BTreeMap::new();
    for pick in &records.harvests {
        let moisture = pick.moisture_pct.unwrap();
        assert!((18.0..=25.0).contains(&moisture));
        let season = calendar.season_of_pick(pick.date, 0).unwrap();
        let sum = sums.entry((pick.tree, season)).or_default();
        sum.0 += at_reference_moisture(pick.nut_kg, moisture, 9.0);
        sum.1 += 1;
    }
    for latent in &records.latent {
        if let Some((kg, picks)) = sums.get(&(latent.tree, latent.season)) {
            assert!((kg - latent.yield_kg).abs() < 0.005 * *picks as f64 + 1e-9);
            assert!((3..=5).contains(picks));
        }
    }
    let n = records.latent.len() as f64;
    let missing = 1.0 - sums.len() as f64 / n;
    assert!((missing - 0.10).abs() < 4.0 * (0.09 / n).sqrt(), "{missing}");
}

/// Witness: the plan's own formulas: laterals rise with intensity, the flowering share of hard
/// pruned trees falls, minutes follow 4 + 30 x intensity.
#[test]
fn laterals_and_minutes_follow_intensity() {
    let region = RegionPlan { framed_trees: 1.0, ..RegionPlan::typical("framed") };
    let calendar = region.calendar;
    let records = records_of(region, 18);
    let intensity: BTreeMap<(usize, i16), f64> =
        records.latent.iter().map(|l| ((l.tree, l.season), l.intensity)).collect();
    let class = |low: f64, high: f64| {
        let (mut all, mut flowering, mut frames) = (0.0, 0.0, 0.0);
        for row in &records.laterals {
            // Frames are counted after pruning and before the harvest they belong to.
            let season = calendar.season_of_pruning(row.date);
            if (low..high).contains(&intensity[&(row.tree, season)]) {
                all += f64::from(row.laterals);
                flowering += f64::from(row.flowering);
                frames += 1.0;
            }
        }
        (all / frames, flowering / all)
    };
    let (unpruned, hard) = (class(0.0, 0.001), class(0.4, 0.6));
    // 20 per m2 in half a square metre; log-normal luck of standard deviation 0.2 adds 2 %.
    assert!((unpruned.0 / 10.2 - 1.0).abs() < 0.03, "{unpruned:?}");
    assert!(hard.0 > 1.3 * unpruned.0, "{hard:?}");
    assert!(hard.1 < 0.85 * unpruned.1, "{hard:?}");
    let ratios: Vec<f64> = records
        .prunings
        .iter()
        .map(|visit| {
            let RawIntensity::Fraction(cut) = visit.intensity else { panic!("a fraction") };
            visit.work.as_ref().unwrap().minutes / (4.0 + 30.0 * cut)
        })
        .collect();
    let standard_error = 0.2 / (ratios.len() as f64).sqrt();
    assert!((mean(&ratios) - 1.0).abs() < 5.0 * standard_error, "{}", mean(&ratios));
}

#[test]
fn shoots_give_the_same_kind_of_intensity() {
    let region = RegionPlan { shoots_blocks: 2, second_visits: 0.5, ..plain() };
    let records = records_of(region, 19);
    let shoots = records
        .prunings
        .iter()
        .filter(|visit| matches!(visit.intensity, RawIntensity::Shoots { .. }))
        .count();
    assert!(shoots > 0 && shoots < records.prunings.len() / 10);
    for visit in &records.prunings {
        assert!((0.0..=1.0).contains(&visit.intensity.fraction().unwrap()));
    }
    // More visits than pruned tree-seasons: some trees were visited twice.
    let pruned = records.latent.iter().filter(|latent| latent.intensity > 0.0).count();
    assert!(records.prunings.len() > pruned + pruned / 4);
}
