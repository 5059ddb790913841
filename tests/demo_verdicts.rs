//! The demo book against its written truth (`data-demo/truth.json`).

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::panic)]

use advise::Verdict;
use anacurve::console::Stages;
use anacurve::pipeline::laterals::count;
use serde_json::Value;
use workspace_tests::{json, run};

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn inside(value: f64, range: [f64; 2]) -> bool {
    (range[0] - 1e-9..=range[1] + 1e-9).contains(&value)
}

#[test]
fn every_verdict_is_right_and_the_band_holds_the_true_net_optimum() {
    let truth = json("data-demo/truth.json").unwrap();
    let (checked, advised) = run("data-demo", 1).unwrap();

    for file in &checked.tables.files {
        assert!(file.is_conserved(), "{}: rows were lost", file.file);
    }
    assert_eq!(advised.advice.regions.len(), 6);
    for region in &advised.advice.regions {
        let true_region = truth["regions"]
            .as_array()
            .unwrap()
            .iter()
            .find(|candidate| candidate["region"] == region.region.as_str())
            .unwrap();
        let expected: Verdict = serde_json::from_value(true_region["verdict"].clone()).unwrap();
        assert_eq!(region.verdict, expected, "{}: {}", region.name, region.reason);
        match region.verdict {
            Verdict::Prune => {
                let optimum = number(&true_region["net_optimum"]["intensity"]);
                let band = region.band.unwrap();
                assert!(inside(optimum, band), "{}: {optimum} outside {band:?}", region.name);
                let lead = number(&true_region["net_optimum"]["lead_days"]);
                let advised = region.advised.as_ref().unwrap();
                assert!((advised.lead_days.unwrap() - lead).abs() < 15.0, "{}", region.name);
                let gain = region.gain_over_present_kg.as_ref().unwrap();
                let true_gain = number(&true_region["gain_over_present_kg"]);
                assert!(inside(true_gain, [gain.low, gain.high]), "{}: {true_gain}", region.name);
                assert!(inside(advised.intensity, region.tested_intensity.unwrap()));
            }
            Verdict::Keep => assert!(region.advised.is_some()),
            Verdict::Trial => assert!(region.advised.is_none()),
        }
    }
    let habit = advised.advice.regions.iter().find(|r| r.region == "mirrow_vale").unwrap();
    let test = advised.model.habit_tests.iter().find(|(id, _)| *id == habit.region).unwrap();
    let mixed::JointTest::Tested { p_value, .. } = &test.1 else { panic!("not testable") };
    assert!(*p_value < 1e-6, "the habit region is recognised");

    // Frames were counted in two regions: the share of the effect that runs through flowering holds
    // the true one, and elsewhere nothing is made up.
    let counted = count(&checked, &advised, &Stages::new()).unwrap_or_else(|_| panic!("refused"));
    for region in &counted.regions {
        let framed = ["orrin_coast", "talu_downs"].contains(&region.region.as_str());
        assert_eq!(region.path.is_some(), framed, "{}", region.region);
        assert_eq!(region.missing.is_none() && !region.share.is_empty(), framed);
        if let Some(path) = &region.path {
            let regions = truth["regions"].as_array().unwrap();
            let of = regions.iter().find(|r| r["region"] == region.region.as_str()).unwrap();
            let share = path.share.as_ref().unwrap();
            assert!(inside(number(&of["through_laterals"]), [share.low, share.high]));
            assert!(path.undone_at.unwrap() > 0.0);
        }
    }
}
