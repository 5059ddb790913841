//! A programme of many sites, as large as wanted: what the growth of times and memory is measured on.

use crate::{
    Assignment, Moisture, Plantation, RegionPlan, Response, Routine, Timing, TrialPlan, TrueCurve,
};
use crate::{Variety, demo};

/// Regions, and recorded seasons of each.
const REGIONS: usize = 10;
const SEASONS: usize = 8;
const LAST_SEASON: i16 = 2026;
/// Trees of a block and blocks of a site, where there are enough trees.
const TREES_PER_BLOCK: usize = 50;
const BLOCKS_PER_SITE: usize = 10;

/// Crews large enough for the greatest programme: the schedule has work to place, not only alarms.
const WORK: &str = "
[work]
crew_size = 400
minutes_per_young_tree = 3
";

/// Ten regions over eight seasons with about so many tree-seasons in all, and per tree-season about
/// four picks, 0.8 pruning visits and 0.4 frame counts. One site of the first region holds a
/// randomised trial. The same number gives the same plan.
#[must_use]
pub fn large(tree_seasons: usize) -> Plantation {
    let trees = tree_seasons.div_ceil(REGIONS * SEASONS);
    let sites = (trees / (TREES_PER_BLOCK * BLOCKS_PER_SITE)).max(2);
    let blocks_per_site = (trees / (sites * TREES_PER_BLOCK)).clamp(1, BLOCKS_PER_SITE);
    let trees_per_block = trees.div_ceil(sites * blocks_per_site).max(1);
    let regions = (0_u8..REGIONS as u8).map(|number| RegionPlan {
        sites,
        blocks_per_site,
        trees_per_block,
        ..region(number)
    });
    Plantation {
        name: "Large programme (invented)".to_owned(),
        work: WORK,
        advise_season: LAST_SEASON + 1,
        regions: regions.collect(),
        ..demo()
    }
}

/// A region with a response of its own; the number stands for its letter.
fn region(number: u8) -> RegionPlan {
    let letter = char::from(b'a' + number);
    let step = f64::from(number);
    let curve = match number % 3 {
        0 => TrueCurve::Peaked { gain: 0.16 + 0.01 * step, at: 0.25 + 0.01 * step },
        1 => TrueCurve::Peaked { gain: 0.24, at: 0.34 - 0.01 * step },
        _ => TrueCurve::Flat,
    };
    RegionPlan {
        name: format!("Area {}", letter.to_ascii_uppercase()),
        calendar: if number % 4 == 3 {
            RegionPlan::southern_calendar()
        } else {
            RegionPlan::northern_calendar()
        },
        first_season: LAST_SEASON + 1 - SEASONS as i16,
        last_season: LAST_SEASON,
        base_kg: 4.0 + 0.3 * step,
        response: Response { curve, timing: Timing { best_lead_days: 48.0, width_days: 80.0 } },
        practice: Assignment::Routine(Routine { share_pruned: 0.72, ..Routine::typical() }),
        trial: (number == 0).then(|| TrialPlan {
            id: "AA-depth".to_owned(),
            levels: vec![0.0, 0.15, 0.3, 0.45, 0.6],
            lead_days: 48.0,
        }),
        trial_sites: usize::from(number == 0),
        varieties: vec![
            Variety { name: "Clone A".to_owned(), factor: 1.0 },
            Variety { name: "Clone B".to_owned(), factor: 1.12 },
            Variety { name: "Clone C".to_owned(), factor: 0.93 },
        ],
        second_visits: 0.2,
        alternation: 0.2,
        carry_over: -0.05,
        missing: 0.02,
        moisture: if number.is_multiple_of(2) {
            Moisture::Dry
        } else {
            Moisture::Wet { low: 12.0, high: 24.0 }
        },
        framed_trees: 0.2,
        ..RegionPlan::typical(&format!("area_{letter}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate;

    #[test]
    fn the_programme_is_about_as_large_as_asked() {
        for wanted in [1_000, 20_000] {
            let plan = large(wanted);
            let planned: usize = plan
                .regions
                .iter()
                .map(|r| r.sites * r.blocks_per_site * r.trees_per_block * SEASONS)
                .sum();
            assert!((wanted..=2 * wanted).contains(&planned), "{wanted}: {planned}");
        }
        let plan = large(20_000);
        let records = simulate(&plan, 1);
        let share = |rows: usize| rows as f64 / records.latent.len() as f64;
        assert!((3.5..4.2).contains(&share(records.harvests.len())));
        assert!((0.7..0.9).contains(&share(records.prunings.len())));
        assert!((0.3..0.5).contains(&share(records.laterals.len())));
    }
}
