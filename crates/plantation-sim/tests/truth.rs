//! The stated truth against closed forms, an independent grid and the demo's promises.

use plantation_sim::{
    DEMO_SEED, Plantation, RegionPlan, RegionTruth, Response, TrueCurve, Verdict, demo, simulate,
    truth,
};

fn one(curve: TrueCurve, tested_max: f64) -> (Plantation, RegionTruth) {
    let typical = RegionPlan::typical("only");
    let response = Response { curve, ..typical.response };
    let region = RegionPlan { response, tested_max, ..typical };
    let plantation = Plantation { regions: vec![region], ..demo() };
    let told = truth(&plantation, &simulate(&plantation, 5)).regions.remove(0);
    (plantation, told)
}

/// Witness: calculus. Price x kg x gain x 2 (1 - x) / at = wage / 60 x minutes of a full canopy.
#[test]
fn peaked_optima_match_the_closed_form() {
    for (gain, at) in [(0.22, 0.30), (0.15, 0.40), (0.25, 0.20)] {
        let (plantation, told) = one(TrueCurve::Peaked { gain, at }, 0.6);
        assert!((told.yield_optimum.intensity - at).abs() < 1e-4);
        let economics = &plantation.economics;
        let slope = economics.wage_per_hour / 60.0 * 30.0;
        let worth = economics.price_per_kg * told.unpruned.kg * gain * 2.0 / at;
        let net = at * (1.0 - slope / worth);
        assert!((told.net_optimum.intensity - net).abs() < 1e-4, "{net}");
        assert_eq!(told.net_optimum.lead_days, Some(48.0));
        assert!((told.yield_optimum.kg / told.unpruned.kg - 1.0 - gain).abs() < 1e-9);
    }
}

/// Witness: a plain grid over intensity and lead with the formulas of design 4.4 written again.
#[test]
fn net_optima_match_an_independent_grid() {
    for curve in [
        TrueCurve::Skewed { gain: 0.2, at: 0.2 },
        TrueCurve::Plateau { gain: 0.2, from: 0.35 },
        TrueCurve::BeyondRange { gain: 0.3, at: 0.5 },
        TrueCurve::Flat,
    ] {
        let tested = 0.3;
        let (plantation, told) = one(curve, tested);
        let economics = &plantation.economics;
        let mut best = (economics.price_per_kg * told.unpruned.kg, 0.0, 0.0);
        for k in 1..=600 {
            for lead in 6..=88 {
                let (i, lead) = (tested * f64::from(k) / 600.0, f64::from(lead));
                let h = (1.0 - ((lead - 48.0) / 80.0_f64).powi(2)).max(0.0);
                let g = match curve {
                    TrueCurve::Skewed { .. } => 0.2 * (i / 0.2) * (1.0 - i / 0.2).exp(),
                    TrueCurve::Plateau { .. } => 0.2 * (1.0 - (1.0 - (i / 0.35).min(1.0)).powi(2)),
                    TrueCurve::BeyondRange { .. } => 0.3 * (1.0 - (1.0 - i / 0.5).powi(2)),
                    _ => 0.0,
                };
                let cost = economics.wage_per_hour / 60.0 * (4.0 + 30.0 * i)
                    + economics.materials_per_pruned_tree;
                let net = economics.price_per_kg * told.unpruned.kg * (1.0 + g * h) - cost;
                if net > best.0 {
                    best = (net, i, lead);
                }
            }
        }
        assert!((told.net_optimum.intensity - best.1).abs() <= tested / 600.0, "{curve:?}");
        assert!((told.net_optimum.net - best.0).abs() < 1e-4, "{curve:?}");
        assert!((told.net_optimum.lead_days.unwrap_or(0.0) - best.2).abs() < 0.5, "{curve:?}");
    }
}

#[test]
fn demo_verdicts_are_those_of_the_story() {
    let plantation = demo();
    let told = truth(&plantation, &simulate(&plantation, DEMO_SEED));
    let verdicts: Vec<_> =
        told.regions.iter().map(|region| (region.region.as_str(), region.verdict)).collect();
    assert_eq!(
        verdicts,
        [
            ("orrin_coast", Verdict::Prune),
            ("talu_downs", Verdict::Prune),
            ("pellan_flats", Verdict::Keep),
            ("vesk_ridge", Verdict::Trial),
            ("mirrow_vale", Verdict::Prune),
            ("quill_island", Verdict::Trial),
        ]
    );
    for region in &told.regions {
        match region.verdict {
            // Clearly worse, and clearly inside what was tried.
            Verdict::Prune => {
                assert!(region.present.loss_pct > 6.0, "{}", region.region);
                assert!(region.net_optimum.intensity < 0.8 * region.tested_intensity[1]);
                assert!(region.tree_seasons > 2000);
            }
            // Light pruning that brings nothing costs its wages: share pruned x wage and materials.
            Verdict::Keep => {
                let cost = region.present.share_pruned * (1.4 / 60.0 * 4.0 + 0.04)
                    + region.present.intensity * 1.4 / 60.0 * 30.0;
                let loss = 100.0 * cost / (1.2 * region.unpruned.kg);
                assert!((region.present.loss_pct - loss).abs() < 1e-6);
                assert!(loss < 0.5 * told.tolerance_pct, "{loss}");
            }
            Verdict::Trial => {}
        }
    }
    let ridge = &told.regions[3];
    assert!(ridge.yield_optimum.intensity > 1.5 * ridge.tested_intensity[1]);
    let total: usize = told.regions.iter().map(|region| region.tree_seasons).sum();
    assert!((9_000..=12_500).contains(&total), "{total}");
}

#[test]
fn no_date_lies_after_the_last_northern_harvest() {
    let records = simulate(&demo(), DEMO_SEED);
    let last = records.harvests.iter().map(|pick| pick.date).max().unwrap();
    assert!(last < jiff::civil::date(2026, 11, 1), "{last}");
}

/// Witness: the same draws without carry-over. Yields differ by 1 + carry-over x last season's
/// intensity and by nothing else; the next season's level moves by the mean of that factor.
#[test]
fn carry_over_multiplies_the_next_season() {
    for carry_over in [-0.4, 0.3] {
        let mut plantation = demo();
        plantation.regions.truncate(2);
        let plain = simulate(&plantation, 8);
        let plain_truth = truth(&plantation, &plain);
        for region in &mut plantation.regions {
            region.carry_over = carry_over;
        }
        let carried = simulate(&plantation, 8);
        let mut earlier = std::collections::BTreeMap::new();
        for (with, without) in carried.latent.iter().zip(&plain.latent) {
            assert_eq!((with.tree, with.season), (without.tree, without.season));
            let before = earlier.insert(with.tree, with.intensity).unwrap_or(0.0);
            assert_eq!(with.earlier_intensity, before);
            let factor = 1.0 + carry_over * before;
            assert!((with.yield_kg / without.yield_kg - factor).abs() < 1e-12);
        }
        let told = truth(&plantation, &carried);
        for (index, (with, without)) in told.regions.iter().zip(&plain_truth.regions).enumerate() {
            let last = plantation.regions[index].last_season;
            let own: Vec<f64> = carried
                .latent
                .iter()
                .filter(|l| l.region == index && l.season == last)
                .map(|l| l.intensity)
                .collect();
            let factor = 1.0 + carry_over * own.iter().sum::<f64>() / own.len() as f64;
            assert!((with.unpruned.kg / without.unpruned.kg - factor).abs() < 1e-12);
            // What costs a year later is done less hard when it is done every year.
            let lasting = with.lasting_optimum.unwrap();
            let next = with.net_optimum.intensity;
            assert_eq!(lasting.intensity < next, carry_over < 0.0, "{lasting:?} {next}");
            assert_eq!(without.lasting_optimum, None);
        }
    }
}

/// Witness: calculus. With g = gain x (2 - x) x, x = i / at, carry-over c and no cost of cutting,
/// (1 + g)(1 + c i) is highest where g'(1 + c i) + c (1 + g) = 0.
#[test]
fn the_lasting_optimum_matches_its_closed_form() {
    let mut plantation = demo();
    plantation.regions.truncate(1);
    plantation.economics.wage_per_hour = 0.0;
    plantation.economics.materials_per_pruned_tree = 0.0;
    let (gain, at, c) = (0.24, 0.30, -0.3);
    plantation.regions[0].carry_over = c;
    let told = truth(&plantation, &simulate(&plantation, 8)).regions.remove(0);
    let i = told.lasting_optimum.unwrap().intensity;
    let (g, slope) = (gain * (2.0 - i / at) * i / at, 2.0 * gain / at * (1.0 - i / at));
    assert!((slope * (1.0 + c * i) + c * (1.0 + g)).abs() < 1e-3, "{i}");
}
