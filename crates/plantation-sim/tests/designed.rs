//! Designed trials beside the other records: their truth, and that they change nothing else.

use plantation_sim::{
    DEMO_SEED, DesignedTrial, Plantation, Records, RegionPlan, TrialFactor, demo, simulate, truth,
};
use records::TrialDesign;
use std::collections::BTreeMap;

fn factorial(replicates: usize) -> DesignedTrial {
    DesignedTrial {
        id: "F".to_owned(),
        title: "Factorial with a control".to_owned(),
        design: TrialDesign::RandomisedBlocks,
        factors: vec![TrialFactor::intensities(&[0.15, 0.30]), TrialFactor::dressing(1.10)],
        control: true,
        lead_days: 48.0,
        replicates,
        sites: 2,
        trees_per_plot: 2,
        first_season: 2025,
        lost_plots: 3,
        framed: true,
        covariate: None,
        tree_cv: 0.3,
        replicate_cv: 0.1,
        main_plot_cv: 0.05,
        plot_cv: 0.05,
    }
}

fn with(trial: Option<DesignedTrial>) -> (Plantation, Records) {
    let region =
        RegionPlan { designed: trial.into_iter().collect(), ..RegionPlan::typical("only") };
    let plantation = Plantation { regions: vec![region], ..demo() };
    let records = simulate(&plantation, 9);
    (plantation, records)
}

#[test]
fn a_designed_trial_changes_no_other_record() {
    let (_, plain) = with(None);
    let (_, more) = with(Some(factorial(4)));
    assert!(more.trees.starts_with(&plain.trees) && more.trees.len() == plain.trees.len() + 80);
    assert!(more.prunings.starts_with(&plain.prunings));
    assert!(more.harvests.starts_with(&plain.harvests));
    assert!(more.latent.starts_with(&plain.latent));
}

#[test]
fn lost_plots_and_seasons_before_the_trial() {
    let (_, records) = with(Some(factorial(4)));
    let first = records.trials[0].tree;
    assert!(
        records.prunings.iter().filter(|visit| visit.tree >= first).all(|visit| {
            visit.date.year() >= 2024 && visit.intensity.fraction().unwrap() > 0.1
        })
    );
    let picked = |year: std::ops::RangeInclusive<i16>| {
        let own = records.harvests.iter().filter(|pick| pick.tree >= first);
        let own = own.filter(|pick| year.contains(&pick.date.year())).map(|pick| pick.tree);
        own.collect::<std::collections::BTreeSet<_>>().len()
    };
    // Three plots of two trees at each of two sites.
    assert_eq!((picked(2022..=2024), picked(2025..=2026)), (80, 80 - 12));
    assert!(records.laterals.iter().all(|frame| frame.date.year() >= 2024));
    assert!(records.trials.iter().all(|row| row.plot.is_some() && row.main_plot.is_none()));
}

/// Witness: the product of the stated curve and the stated dressing, 1 + 0.22 = 1.22 at the peak and
/// 1 + 0.22 x (2 x 0.5 - 0.25) = 1.165 at half of it, each x 1.10 when dressed; and the means of
/// many plots within 3 % of it.
#[test]
fn mean_yields_follow_the_written_truth() {
    let (plantation, records) = with(Some(DesignedTrial { lost_plots: 0, ..factorial(150) }));
    let told = &truth(&plantation, &records).trials[0];
    let ratios: Vec<f64> = told.treatments.iter().map(|treatment| treatment.ratio).collect();
    for (ratio, expected) in ratios.iter().zip([1.0, 1.165, 1.2815, 1.22, 1.342]) {
        assert!((ratio - expected).abs() < 1e-9, "{ratios:?}");
    }
    assert_eq!((told.seasons.as_slice(), told.lost_trees), ([2025, 2026].as_slice(), 0));
    let levels: BTreeMap<usize, _> =
        records.trials.iter().map(|row| (row.tree, &row.levels)).collect();
    let mut sums: BTreeMap<_, (f64, f64)> = BTreeMap::new();
    for latent in records.latent.iter().filter(|latent| latent.season >= 2025) {
        if let Some(levels) = levels.get(&latent.tree) {
            let (sum, n) = sums.entry(*levels).or_default();
            *sum += latent.yield_kg;
            *n += 1.0;
        }
    }
    let means: Vec<f64> =
        told.treatments.iter().map(|t| sums[&t.levels].0 / sums[&t.levels].1).collect();
    for (mean, ratio) in means.iter().zip(&ratios) {
        // Standard error of a ratio of two means of 1200 tree-seasons with a CV of 50 %: 2 %.
        assert!((mean / means[0] - ratio).abs() < 0.06, "{means:?} {ratios:?}");
    }
}

#[test]
fn the_demo_has_three_and_says_how_they_were_laid_out() {
    let plantation = demo();
    let told = truth(&plantation, &simulate(&plantation, DEMO_SEED)).trials;
    let ids: Vec<&str> = told.iter().map(|trial| trial.trial.as_str()).collect();
    assert_eq!(ids, ["OC-depth", "TD-date", "MV-dressing"]);
    assert_eq!(told.iter().map(|trial| trial.treatments.len()).collect::<Vec<_>>(), [5, 9, 5]);
    assert_eq!(told[1].lost_trees, 4);
}
