//! The laterals and path models on simulated plantations with a known truth.
//!
//! plantation-sim lets a stated share of the pruning effect on log yield run through flowering
//! laterals, with an elasticity of 0.4. Books come from files, so that the whole chain is tested.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use anacurve::console::Stages;
use anacurve::pipeline::check;
use model::{
    Frames, LateralsModel, LateralsSettings, PathModel, PathPoint, RegionPath, Scale, Summary,
    TreeSeasons, YieldModel, YieldSettings,
};
use plantation_sim::{Plantation, RegionPlan, Tidiness, demo, simulate, write_book};
use records::ResponseScale;

const ELASTICITY: f64 = 0.4;
const BOOKS: u64 = 12;
const LEVEL: f64 = 0.9;
const SETTINGS: LateralsSettings = LateralsSettings { draws: 1500, seed: 1, level: LEVEL };

/// Two regions with frames on half of their trees; more runs through laterals in the second.
fn plantation() -> Plantation {
    let region = |id: &str, through: f64| RegionPlan {
        framed_trees: 0.5,
        through_laterals: through,
        ..RegionPlan::typical(id)
    };
    Plantation { regions: vec![region("near", 0.4), region("far", 0.7)], ..demo() }
}

struct Fitted {
    laterals: LateralsModel,
    path: PathModel,
    effects: Vec<RegionPath>,
    share: Vec<f64>,
}

fn fit(plantation: &Plantation, seed: u64) -> Fitted {
    let folder = tempfile::tempdir().unwrap();
    let records = simulate(plantation, seed);
    write_book(&records, plantation, folder.path(), Tidiness::Clean).unwrap();
    let checked = check(folder.path(), &Stages::new()).unwrap_or_else(|_| panic!("refused"));
    let table = TreeSeasons::from_batch(&checked.linked.tree_seasons).unwrap();
    let frames = Frames::from_batch(&checked.linked.frame_counts).unwrap();
    assert_eq!(frames.len(), records.laterals.len());
    let LateralsSettings { draws, seed, level } = SETTINGS;
    let settings = YieldSettings { scale: ResponseScale::Log, draws, seed, level };
    let model = YieldModel::fit(&table, &settings).unwrap();
    let laterals = LateralsModel::fit(&frames, &table, &SETTINGS).unwrap();
    let path = PathModel::fit(&table, &laterals, Scale::Log, &SETTINGS).unwrap();
    let before = [PathPoint { intensity: 0.0, lead_days: 48.0, weight: 1.0 }];
    let after = PathPoint { intensity: 0.3, lead_days: 48.0, weight: 1.0 };
    let found: Vec<(RegionPath, f64)> = plantation
        .regions
        .iter()
        .map(|plan| {
            let fit = model.regions.iter().find(|fit| fit.region == plan.id).unwrap();
            let region = laterals.region(&plan.id).unwrap();
            let effects = path.effects(fit, region, &before, after).unwrap();
            // Share on the log scale, as the simulation defines it.
            let ratio = effects.per_cent;
            let log = |per_cent: f64| (1.0 + per_cent / 100.0).ln();
            let share = 1.0 - log(ratio.direct.median) / log(ratio.total.median);
            (effects, share)
        })
        .collect();
    let share = found.iter().map(|(_, share)| *share).collect();
    Fitted { laterals, path, effects: found.into_iter().map(|(e, _)| e).collect(), share }
}

/// True effects in per cent of the unpruned yield: indirect and direct, averaged as defined.
fn true_effects(plan: &RegionPlan) -> [f64; 3] {
    let total = plan.response.ratio(0.3, Some(48.0)).ln();
    let through = plan.through_laterals * total;
    let (y11, y10, y01) = (total.exp(), (total - through).exp(), through.exp());
    let indirect = 0.5 * ((y11 - y10) + (y01 - 1.0));
    [y11 - 1.0, indirect, y11 - 1.0 - indirect].map(|effect| 100.0 * effect)
}

fn holds(summary: Summary, value: f64) -> bool {
    summary.low <= value && value <= summary.high
}

/// Coverage of 90 % intervals over 24 regions lies within binomial error: 18 of 24 has a chance of
/// 1 % at nominal coverage (they share a slope two by two, so a little more is granted than that).
#[test]
fn effects_and_shares_are_recovered() {
    let plantation = plantation();
    let truths: Vec<[f64; 3]> = plantation.regions.iter().map(true_effects).collect();
    let books = std::env::var("PATH_BOOKS").map_or(BOOKS, |n| n.parse().unwrap());
    let (mut covered, mut sums, mut shares, mut slopes) = ([0; 3], [0.0; 3], [0.0; 2], 0.0);
    let (mut slope_covered, mut density_covered) = (0, 0);
    for book in 0..books {
        let fitted = fit(&plantation, 100 + book);
        slopes += fitted.path.slope.median;
        slope_covered += usize::from(holds(fitted.path.slope, ELASTICITY));
        for (k, (effects, truth)) in fitted.effects.iter().zip(&truths).enumerate() {
            let found =
                [effects.per_cent.total, effects.per_cent.indirect, effects.per_cent.direct];
            for (j, summary) in found.iter().enumerate() {
                covered[j] += usize::from(holds(*summary, truth[j]));
                sums[j] += summary.median - truth[j];
            }
            shares[k] += fitted.share[k];
            let plan = &plantation.regions[k];
            let ratio =
                plan.response.ratio(0.3, Some(48.0)).powf(plan.through_laterals / ELASTICITY);
            density_covered += usize::from(holds(effects.flowering_ratio, ratio));
            println!(
                "book {book} region {k}: slope {:.2} [{:.2}, {:.2}] reliability {:.2}; indirect {:.1} [{:.1}, {:.1}] true {:.1}; total {:.1} true {:.1}; undone {:?}",
                fitted.path.slope.median,
                fitted.path.slope.low,
                fitted.path.slope.high,
                fitted.path.reliability,
                found[1].median,
                found[1].low,
                found[1].high,
                truth[1],
                found[0].median,
                truth[0],
                effects.undone_at
            );
        }
        assert!(fitted.laterals.fits.iter().all(|fit| (fit.residuals.sd - 1.0).abs() < 0.15));
    }
    let n = books as f64;
    println!(
        "covered {covered:?} of {}, slopes {slope_covered} of {books}, densities {density_covered}",
        2 * books
    );
    println!(
        "mean off {:?}, mean slope {:.3}, mean shares {:?}",
        sums.map(|s| s / n / 2.0),
        slopes / n,
        shares.map(|s| s / n)
    );
    let least = (0.75 * 2.0 * n) as usize;
    assert!(covered.iter().all(|c| *c >= least), "{covered:?}");
    assert!(density_covered >= least);
    assert!((slopes / n - ELASTICITY).abs() < 0.1, "{}", slopes / n);
    for (share, plan) in shares.iter().zip(&plantation.regions) {
        assert!((share / n - plan.through_laterals).abs() < 0.15, "{}", share / n);
    }
}
