//! What the models find on simulated plantations whose truth is known, through the whole path.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used)]

use anacurve::pipeline::advice::Advised;
use mixed::Contrast;
use model::IntensityShape;
use plantation_sim::{
    Assignment, ErrorTails, Plantation, RegionPlan, Response, Routine, Tidiness, Timing, TrueCurve,
    demo, simulate, write_book,
};
use workspace_tests::run_at;

/// A plantation of regions with a curve in common, changed as a test wishes.
fn plantation(curve: TrueCurve, change: impl Fn(&mut RegionPlan)) -> Plantation {
    let region = |id: &str| {
        let mut plan = RegionPlan {
            first_season: 2021,
            response: Response { curve, timing: Timing { best_lead_days: 48.0, width_days: 80.0 } },
            tails: ErrorTails::Normal,
            ..RegionPlan::typical(id)
        };
        change(&mut plan);
        plan
    };
    Plantation { regions: ["north", "east", "west"].map(region).to_vec(), ..demo() }
}

fn advised(plantation: &Plantation, seed: u64) -> Advised {
    let dir = tempfile::tempdir().unwrap();
    let book = dir.path().join("book");
    write_book(&simulate(plantation, seed), plantation, &book, Tidiness::Clean).unwrap();
    run_at(&book, 1).unwrap().1
}

fn peaked() -> TrueCurve {
    TrueCurve::Peaked { gain: 0.24, at: 0.30 }
}

/// The error of log yield has lag-1 correlation -0.45 in every region, or none. Luck with laterals
/// (standard deviation 0.4 x 0.2) does not alternate, so that -0.45 becomes -0.45 x v / (v + 0.0064)
/// = -0.41 with v = log(1 + 0.26^2). Limits: three standard errors of 0.025.
#[test]
fn alternate_bearing_is_found_where_it_is_and_only_there() {
    for (alternation, range) in [(0.45, [-0.49, -0.33]), (0.0, [-0.08, 0.08])] {
        let run = advised(&plantation(peaked(), |region| region.alternation = alternation), 11);
        assert_eq!(run.model.alternation.len(), 3);
        for (region, effect) in &run.model.alternation {
            let Contrast::Estimated(effect) = effect else { panic!("not estimable") };
            assert!(
                (range[0]..=range[1]).contains(&effect.estimate),
                "{region}: {} for {alternation}",
                effect.estimate
            );
        }
    }
}

/// Truth: yield times 1 + carry-over x intensity of the season before.
#[test]
fn carry_over_is_estimated_with_its_sign_and_size() {
    for truth in [-0.25, 0.0, 0.2] {
        let run = advised(&plantation(peaked(), |region| region.carry_over = truth), 12);
        let carry = run.model.carry_over.unwrap();
        // On the log scale, at the intensities of about a quarter that crews use.
        let slope = (truth * 0.25_f64).ln_1p() / 0.25;
        let distance = (carry.estimate - slope).abs() / carry.std_error;
        assert!(distance < 3.0, "{} +- {} for {slope}", carry.estimate, carry.std_error);
        assert!(carry.std_error < 0.06, "{}", carry.std_error);
        assert_eq!(carry.p_value < 0.01, truth != 0.0, "{truth}: p = {}", carry.p_value);
        let horizon = run.advice.regions[0].horizon.as_ref().unwrap();
        assert_eq!(horizon.seasons, 3);
    }
}

/// A parabola is predicted well by the parabola and not by a plateau; a steep rise to a plateau is
/// not predicted by a parabola.
#[test]
fn the_shape_follows_the_truth() {
    let weight = |run: &Advised, shape| {
        run.model.shapes.scores.iter().find(|s| s.shape == shape).map_or(0.0, |s| s.weight)
    };
    let quadratic = advised(&plantation(peaked(), |_| {}), 13);
    let error = |shape| {
        quadratic.model.shapes.scores.iter().find(|s| s.shape == shape).unwrap().rmse.unwrap()
    };
    let ratio = error(IntensityShape::Quadratic) / error(IntensityShape::Knotted);
    assert!(ratio < 1.005, "{:?}", quadratic.model.shapes);
    assert!(error(IntensityShape::Plateau) > error(IntensityShape::Quadratic));
    let steep = TrueCurve::Plateau { gain: 0.35, from: 0.15 };
    let plateau = advised(&plantation(steep, |region| region.error_cv = 0.15), 13);
    assert!(weight(&plateau, IntensityShape::Quadratic) < 0.05, "{:?}", plateau.model.shapes);
    assert!((plateau.model.shapes.knots.knee - 0.15).abs() < 0.051);
    // The curve that ignored the plateau would fail its own check.
    let beyond = plateau.model.regions[0].support.as_ref().unwrap().intensity[1];
    assert!(beyond > 0.4);
}

/// Trees that differ much more than their seasons, and no alternate bearing: each of four seasons is
/// predicted from the others with the trees' levels, the first as well as the last, though every row
/// that is left has an earlier crop when the first is left out. Without the levels its error would be
/// half as large again as that of the others. The truth is in the model: a forest finds no more.
#[test]
fn every_season_left_out_is_predicted_with_its_trees() {
    let plan = plantation(peaked(), |region| {
        (region.first_season, region.last_season) = (2023, 2026);
        (region.tree_cv, region.error_cv, region.alternation) = (0.3, 0.12, 0.0);
    });
    let run = advised(&plan, 15);
    let score = run.challenger.as_ref().unwrap().as_ref().unwrap();
    assert_eq!(score.seasons.len(), 4);
    let errors: Vec<f64> = score.seasons.iter().map(|season| season.surface_rmse).collect();
    let least = errors.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(errors.iter().all(|error| *error < 1.25 * least), "{score:?}");
    assert!(!score.forest_is_better(), "{score:?}");
}

/// Being late costs what the timing says: at a quarter of the width, 1/16 of the effect is lost.
#[test]
fn the_cost_of_being_late_covers_the_truth() {
    let run = advised(&plantation(peaked(), |region| region.error_cv = 0.15), 14);
    let mut covered = 0;
    for region in &run.advice.regions {
        let [two, four] = region.lateness.as_slice() else { panic!("{:?}", region.lateness) };
        assert_eq!((two.days, four.days), (14, 28));
        let lead = region.advised.as_ref().unwrap().lead_days.unwrap();
        let share = |lead: f64| 1.0 - ((lead - 48.0) / 80.0_f64).powi(2);
        // What is lost, from the median gain over unpruned on time.
        let gain = region.gain_over_unpruned_kg.as_ref().unwrap().median / share(lead);
        for delay in [two, four] {
            let truth = gain * (share(lead) - share(lead - f64::from(delay.days)));
            let loss = delay.loss_kg.as_ref().unwrap();
            covered += u32::from((loss.low..=loss.high).contains(&truth));
        }
    }
    assert!(covered >= 5, "{covered} of 6 limits hold the truth");
}

/// Four seasons of a narrow practice in two blocks that differ widely: of blocks not yet seen the
/// records say next to nothing, and of these trees they say a lot. The yield expected of them is told
/// without bias, with limits that hold it, and without the tails that unknown blocks would bring.
#[test]
fn the_yield_expected_is_that_of_the_blocks_recorded() {
    let narrow = Routine {
        targets: (0.05, 0.25),
        tree_sd: 0.025,
        share_pruned: 1.0,
        share_pruned_last: 1.0,
        ..Routine::typical()
    };
    let mut plan = plantation(peaked(), |region| {
        (region.first_season, region.last_season) = (2023, 2026);
        (region.sites, region.blocks_per_site, region.trees_per_block) = (1, 2, 50);
        (region.season_cv, region.site_season_cv) = (0.03, 0.03);
        (region.block_cv, region.tree_cv) = (0.35, 0.2);
        (region.leads, region.tested_max) = ((25.0, 60.0), 0.25);
        region.planted = vec![2008, 2011];
        region.practice = Assignment::Routine(narrow);
    });
    plan.regions.truncate(2);
    let (mut bias, mut covered, mut count) = (0.0, 0, 0);
    for seed in 31..35 {
        let records = simulate(&plan, seed);
        let run = advised(&plan, seed);
        for (index, region) in plan.regions.iter().enumerate() {
            let fit = run.model.regions.iter().find(|fit| fit.region == region.id).unwrap();
            // What these trees bear on average when they are cut in the usual way, of 400 yields.
            let ratio = |intensity, lead| region.response.ratio(intensity, lead);
            let own = records.latent.iter().filter(|latent| latent.region == index);
            let cut_alike = own.map(|latent| {
                latent.yield_kg / ratio(latent.intensity, latent.lead_days)
                    * ratio(0.15, Some(45.0))
            });
            let cut_alike: Vec<f64> = cut_alike.collect();
            let expected = cut_alike.iter().sum::<f64>() / cut_alike.len() as f64;
            let mut draws: Vec<f64> = fit.curve.expected_kg(0.15, 45.0).collect();
            draws.sort_by(f64::total_cmp);
            let at = |share: f64| model::quantile(&draws, share);
            assert!(at(0.975) / at(0.025) < 1.5, "{}: {} to {}", fit.region, at(0.025), at(0.975));
            bias += (at(0.5) / expected).ln();
            covered += u32::from(at(0.025) <= expected && expected <= at(0.975));
            count += 1;
        }
    }
    bias /= f64::from(count);
    assert!(bias.abs() < 0.06, "{bias}");
    assert!(covered >= count - 1, "{covered} of {count}");
}
