//! The plan of a plantation: regions that share the kind of truth and differ in its parameters.

use crate::args::Plantation as Wanted;
use crate::cell::{AssignmentKind, Cell, TruthKind};
use plantation_sim::{
    Assignment, ErrorTails, Plantation, RegionPlan, Response, Routine, Timing, TrialPlan, TrueCurve,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use records::{Economics, PruningTime};

/// Last recorded season, and the one advised for.
const LAST_SEASON: i16 = 2026;
/// Lag-1 correlation of errors where trees alternate, sign turned.
const ALTERNATION: f64 = 0.5;
/// Share of harvests not recorded where some are missing.
const MISSING: f64 = 0.10;
/// Lead of randomised trials, days.
const TRIAL_LEAD_DAYS: f64 = 45.0;
/// Highest intensity tried where the optimum lies inside the tested range.
const TESTED_MAX: f64 = 0.60;

/// Parameters of regions, drawn from the plantation's seed.
struct Draws(ChaCha8Rng);

impl Draws {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }
}

/// The plan of a plantation of the study.
pub fn plantation(wanted: Wanted) -> Plantation {
    let Wanted { cell, replicate } = wanted;
    let mut draws = Draws(ChaCha8Rng::seed_from_u64(cell.seed(replicate)));
    Plantation {
        name: format!("{cell}.{replicate}"),
        economics: Economics {
            currency: "crowns".to_owned(),
            price_per_kg: 1.2,
            wage_per_hour: 0.9,
            pruning_time: Some(PruningTime { minutes_per_tree: 4.0, minutes_full_canopy: 30.0 }),
            materials_per_pruned_tree: 0.04,
            cut_wood: None,
            outturn_lb: None,
            price_outturn_lb: None,
        },
        work: "",
        reference_moisture_pct: 9.0,
        tolerance_pct: 2.0,
        advise_season: LAST_SEASON + 1,
        regions: (0..cell.regions).map(|number| region(cell, number, &mut draws)).collect(),
    }
}

fn region(cell: Cell, number: u8, draws: &mut Draws) -> RegionPlan {
    let tested_max = match cell.truth {
        TruthKind::Beyond => draws.between(0.20, 0.28),
        _ => TESTED_MAX,
    };
    RegionPlan {
        wage_per_hour: Some(draws.between(0.6, 1.3)),
        first_season: LAST_SEASON + 1 - i16::from(cell.seasons),
        last_season: LAST_SEASON,
        // 120 trees: 24 of each level of a trial, 15 to 18 rows of a routine.
        sites: 3,
        blocks_per_site: 2,
        trees_per_block: 20,
        // Full grown by the season advised for.
        planted: vec![2006, 2008, 2010],
        base_kg: draws.between(4.5, 7.5),
        response: Response {
            curve: curve(cell.truth, tested_max, draws),
            timing: Timing {
                // About the middle of the leads tried, 6 to 88 days, but not at it.
                best_lead_days: draws.between(25.0, 70.0),
                width_days: draws.between(70.0, 100.0),
            },
        },
        practice: practice(cell, tested_max, draws),
        tested_max,
        alternation: if cell.alternating { ALTERNATION } else { 0.0 },
        tails: if cell.heavy { ErrorTails::Heavy } else { ErrorTails::Normal },
        missing: if cell.missing { MISSING } else { 0.0 },
        ..RegionPlan::typical(&format!("region_{}", number + 1))
    }
}

fn curve(kind: TruthKind, tested_max: f64, draws: &mut Draws) -> TrueCurve {
    let (gain, at) = (draws.between(0.12, 0.30), draws.between(0.18, 0.42));
    match kind {
        TruthKind::Peaked => TrueCurve::Peaked { gain, at },
        TruthKind::Skewed => TrueCurve::Skewed { gain, at },
        TruthKind::Plateau => TrueCurve::Plateau { gain, from: at },
        TruthKind::Flat => TrueCurve::Flat,
        // Half to three quarters of the way up at the highest intensity tried.
        TruthKind::Beyond => {
            TrueCurve::BeyondRange { gain: 1.3 * gain, at: tested_max * draws.between(1.6, 2.2) }
        }
    }
}

fn practice(cell: Cell, tested_max: f64, draws: &mut Draws) -> Assignment {
    let share_last = draws.between(0.2, 0.5);
    let routine = Routine {
        targets: (if tested_max < 0.3 { 0.02 } else { 0.05 }, tested_max),
        tree_sd: tested_max / 15.0,
        // Where pruning does nothing, present practice is nearly unpruned and right to be so.
        share_pruned_last: if cell.truth == TruthKind::Flat { 0.04 } else { share_last },
        ..Routine::typical()
    };
    match cell.assignment {
        AssignmentKind::Randomised => Assignment::Randomised(TrialPlan {
            id: "levels".to_owned(),
            levels: (0..5).map(|level| tested_max * f64::from(level) / 4.0).collect(),
            lead_days: TRIAL_LEAD_DAYS,
        }),
        AssignmentKind::Routine => Assignment::Routine(routine),
        AssignmentKind::Habit => Assignment::Habit {
            routine,
            // Per standard deviation: 6 to 10 % of the canopy by vigour, 3 to 6 % by last crop.
            vigour: tested_max * draws.between(0.10, 0.16),
            earlier_crop: tested_max * draws.between(0.05, 0.10),
        },
    }
}
