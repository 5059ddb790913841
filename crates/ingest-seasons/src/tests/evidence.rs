//! Trial or routine, age, density, canopy, laterals: what stands beside yield and intensity.

use super::{close, codes, left_out, numbers, small, words};
use crate::{Linked, Reason};
use arrow::array::{Array, BooleanArray, Float64Array, Int32Array};
use records::frame_count as fc;
use records::tree_season as ts;
use records::{Code, Table};

#[test]
fn a_tree_of_a_trial_is_trial_evidence_in_every_season() {
    let linked = small()
        .table(Table::Trials, "trial,tree,replicate\nB,N1,2\nA,N1,1\nA,S1,3")
        .rows(Table::Harvests, &["N1,2023-03-01,5,9,", "N1,2024-03-01,5,9,", "N2,2024-03-01,4,9,"])
        .linked();
    let trial = || Some("trial".to_owned());
    assert_eq!(words(&linked, ts::EVIDENCE), [trial(), trial(), Some("routine".into())]);
    // Of two trials that are not told apart the first by id counts, and the book hears of it.
    assert_eq!(words(&linked, ts::TRIAL)[0], Some("A".into()));
    assert_eq!(words(&linked, ts::REPLICATE), [Some("1".into()), Some("1".into()), None]);
    assert!(codes(&linked).contains(&Code::TrialsOverlap));
    let trials: Vec<&str> = linked.trial_trees.iter().map(|tree| tree.trial.as_str()).collect();
    assert_eq!(trials, ["B", "A", "A"]);
    assert_eq!(left_out(&linked, Table::Trials, Reason::NoHarvest), 1);
    assert_eq!(linked.summary.regions[0].trial, 2);
}

/// Trials are laid over trees with a history: what the crews did to them before is no treatment.
#[test]
fn records_before_the_first_declared_season_of_a_trial_are_everyday_records() {
    let declared = |seasons: &str| {
        format!(
            "[trials.B]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nseasons = {seasons}\n"
        )
    };
    let linked = |seasons: &str| {
        small()
            .settings(&declared(seasons))
            .table(Table::Trials, "trial,tree,replicate,level\nB,N1,2,0\nA,N2,1,0")
            .rows(Table::Harvests, &["N1,2023-03-01,5,9,", "N1,2024-03-01,5,9,"])
            .rows(Table::Harvests, &["N1,2025-03-01,5,9,", "N2,2023-03-01,4,9,"])
            .linked()
    };
    let told = |seasons: &str| -> Vec<String> {
        words(&linked(seasons), ts::EVIDENCE).into_iter().flatten().collect()
    };
    assert_eq!(told("[]"), ["trial", "trial", "trial", "trial"]);
    assert_eq!(told("[2025, 2024]"), ["routine", "trial", "trial", "trial"]);
    assert_eq!(told("[2026]"), ["routine", "routine", "routine", "trial"]);
    let linked = linked("[2024]");
    assert_eq!(
        words(&linked, ts::REPLICATE),
        [None, Some("2".into()), Some("2".into()), Some("1".into())]
    );
    assert_eq!(linked.summary.regions[0].trial, 3);
}

/// Doses on trees whose cuts they do not tell are no evidence of a cut, and what they do is none of its effects.
#[test]
fn trials_of_something_else_than_pruning_are_no_evidence_of_it() {
    let told = |amounts: &str, cuts: [&str; 4]| -> Vec<String> {
        let prunings =
            ["N1", "N2", "N3", "N4"].into_iter().zip(cuts).filter(|(_, cut)| *cut != "0");
        let prunings: Vec<String> =
            prunings.map(|(tree, cut)| format!("{tree},2023-07-15,{cut},shoots,")).collect();
        let linked = small()
            .settings(&format!(
                "[trials.B]\ndesign = \"completely_randomised\"\nfactors = [\"dose\"]\n{amounts}\n"
            ))
            .table(Table::Trees, "tree,block\nN1,N\nN2,N\nN3,N\nN4,N")
            .table(
                Table::Trials,
                "trial,tree,replicate,dose\nB,N1,1,0\nB,N2,2,0\nB,N3,1,0.3\nB,N4,2,0.3",
            )
            .rows(
                Table::Harvests,
                &[
                    "N1,2024-03-01,5,9,",
                    "N2,2024-03-01,6,9,",
                    "N3,2024-03-01,5,9,",
                    "N4,2024-03-01,6,9,",
                ],
            )
            .rows(Table::Prunings, &[&prunings.join("\n")])
            .linked();
        let mut kinds: Vec<String> = words(&linked, ts::EVIDENCE).into_iter().flatten().collect();
        kinds.dedup();
        kinds
    };
    let kilograms = "amounts = { dose = \"kg\" }";
    assert_eq!(told(kilograms, ["0"; 4]), ["other"]);
    assert_eq!(told(kilograms, ["0.3"; 4]), ["other"]);
    assert_eq!(told("", ["0"; 4]), ["other"]);
    // By eye, and one off: the treatments do not tell the cut.
    assert_eq!(told(kilograms, ["0.2", "0.3", "0.3", "0.2"]), ["other"]);
    assert_eq!(told(kilograms, ["0.3", "0", "0", "0"]), ["other"]);
    // They do, whatever the factor is called, and where its amounts say so before a tree is cut.
    assert_eq!(told("", ["0", "0", "0.3", "0.25"]), ["trial"]);
    assert_eq!(told("amounts = { dose = \"fraction\" }", ["0"; 4]), ["trial"]);
}

/// A trial that follows another on the same trees: each season counts as the one that began last.
#[test]
fn a_tree_of_two_trials_is_in_each_in_its_own_seasons() {
    let linked = |first: &str, second: &str, rows: &str| {
        let declared = |id: &str, seasons: &str| {
            format!(
                "[trials.{id}]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\nseasons = {seasons}\n"
            )
        };
        small()
            .settings(&(declared("A", first) + &declared("B", second)))
            .table(Table::Trials, &format!("trial,tree,replicate,level\n{rows}"))
            .rows(Table::Harvests, &["N1,2023-03-01,5,9,", "N1,2024-03-01,5,9,"])
            .rows(Table::Harvests, &["N1,2025-03-01,5,9,", "N1,2026-03-01,5,9,"])
            .linked()
    };
    let told = |linked: &Linked| -> Vec<String> {
        let names = words(linked, ts::TRIAL).into_iter();
        names.map(|name| name.unwrap_or_else(|| "-".to_owned())).collect()
    };
    for rows in ["A,N1,1,0\nB,N1,2,0", "B,N1,2,0\nA,N1,1,0"] {
        let after = linked("[2024]", "[2026]", rows);
        assert_eq!(told(&after), ["-", "A", "A", "B"]);
        assert_eq!(words(&after, ts::REPLICATE)[3], Some("2".into()));
        assert!(!codes(&after).contains(&Code::TrialsOverlap));
        assert_eq!(after.trial_trees.len(), 2);
        let links = after.summary.tables.iter().find(|links| links.table == Table::Trials);
        assert_eq!(links.map(|links| (links.kept, links.linked)), Some((2, 2)));
        let before = linked("[2026]", "[2024]", rows);
        assert_eq!(told(&before), ["-", "B", "B", "A"]);
        let unstated = linked("[]", "[2025]", rows);
        assert_eq!(told(&unstated), ["A", "A", "B", "B"]);
        assert!(codes(&unstated).contains(&Code::TrialsOverlap));
        let overlapping = linked("[2024, 2025]", "[2025]", rows);
        assert_eq!(told(&overlapping), ["-", "A", "B", "B"]);
        assert!(codes(&overlapping).contains(&Code::TrialsOverlap));
    }
}

#[test]
fn a_trial_of_an_unknown_tree_is_set_aside() {
    let result = small()
        .table(Table::Trials, "trial,tree,replicate\nA,N9,1")
        .rows(Table::Harvests, &["N1,2023-03-01,5,9,"])
        .link();
    assert_eq!(result.refusals(), [(Table::Trials, 2, Code::TreeUnknown)]);
}

#[test]
fn age_density_and_canopy() {
    let linked = small()
        .table(
            Table::Blocks,
            "block,site,region,row_spacing_m,tree_spacing_m,planted,variety\n\
             N,estate,north,7.5,7.5,2014-02-01,V\nS,estate,south,8,,,",
        )
        .table(
            Table::Trees,
            "tree,block,planted,girth_cm,spread_ns_m,spread_ew_m\n\
             N1,N,,98.53,9.03,9.03\nN2,N,2022-02-01,,,\nS1,S,,,,",
        )
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,", "S1,2024-10-01,1,9,"])
        .linked();
    // Ten and two calendar years to the opening on 2024-02-01, within a day.
    let ages = numbers(&linked, ts::AGE_YEARS);
    close(ages[0], 10.0, 1.0 / 365.0);
    close(ages[1], 2.0, 1.0 / 365.0);
    assert_eq!(ages[2], None);
    let young = linked.tree_seasons.column_by_name(ts::YOUNG).unwrap();
    let young: &BooleanArray = young.as_any().downcast_ref().unwrap();
    assert_eq!(young.iter().collect::<Vec<_>>(), [Some(false), Some(true), Some(false)]);
    // trade.md section 3: 7.5 x 7.5 m gives 177.8 trees per ha; diameter 9.03 m gives 64.0 m2.
    close(numbers(&linked, ts::TREES_PER_HA)[0], 177.8, 0.05);
    assert_eq!(numbers(&linked, ts::TREES_PER_HA)[2], None);
    close(numbers(&linked, ts::CANOPY_M2)[0], 64.0, 0.05);
    assert_eq!(numbers(&linked, ts::GIRTH_CM)[0], Some(98.53));
    assert_eq!(words(&linked, ts::VARIETY)[2], None);
    assert_eq!(linked.summary.regions[0].young, 1);
    assert_eq!(linked.summary.regions[0].mature_trees, 1);
}

#[test]
fn frames_are_pooled_over_their_area() {
    let header = "tree,date,frame_m2,laterals,flowering_laterals\n";
    let frames = "N1,2023-10-01,1,20,12\nN1,2024-05-31,0.25,10,3\nN2,2023-10-01,1,20,\nN2,2023-10-02,1,10,5\n\
                  N1,2024-06-01,1,9,9\nN2,2023-05-31,1,9,9";
    let linked = small()
        .table(Table::Laterals, &format!("{header}{frames}"))
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,"])
        .linked();
    // (20 + 10) / 1.25 and (12 + 3) / 1.25; the mean of the two ratios would be 30.
    assert_eq!(numbers(&linked, ts::LATERALS_PER_M2), [Some(24.0), Some(15.0)]);
    assert_eq!(numbers(&linked, ts::FLOWERING_PER_M2), [Some(12.0), None]);
    // A day after harvest closed counts for the next, the closing day itself for this one.
    assert_eq!(left_out(&linked, Table::Laterals, Reason::ComingSeason), 1);
    assert_eq!(left_out(&linked, Table::Laterals, Reason::NoHarvestInSeason), 1);
}

#[test]
fn frames_keep_their_own_rows_beside_the_pruning_of_their_season() {
    let header = "tree,date,frame_m2,laterals,flowering_laterals,side\n";
    let frames =
        "N1,2024-01-02,0.5,10,3,south\nN1,2024-01-02,0.25,20,12,North\nN2,2024-01-03,1,8,,";
    let linked = small()
        .table(Table::Laterals, &format!("{header}{frames}"))
        .rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,5,9,"])
        .rows(Table::Prunings, &["N1,2023-07-03,0.25,shoots,"])
        .linked();
    let frames = &linked.frame_counts;
    let floats = |name: &str| -> Vec<Option<f64>> {
        let array = frames.column_by_name(name).unwrap();
        array.as_any().downcast_ref::<Float64Array>().unwrap().iter().collect()
    };
    let counts = |name: &str| -> Vec<Option<i32>> {
        let array = frames.column_by_name(name).unwrap();
        array.as_any().downcast_ref::<Int32Array>().unwrap().iter().collect()
    };
    // One day: the smaller frame first, whatever the order of the rows.
    assert_eq!(floats(fc::FRAME_M2), [Some(0.25), Some(0.5), Some(1.0)]);
    assert_eq!(counts(fc::LATERALS), [Some(20), Some(10), Some(8)]);
    assert_eq!(counts(fc::FLOWERING), [Some(12), Some(3), None]);
    assert_eq!(counts(fc::SEASON), [Some(2024); 3]);
    assert_eq!(floats(fc::INTENSITY), [Some(0.25), Some(0.25), Some(0.0)]);
    // The flush starts on 1 September, 60 days after 3 July.
    assert_eq!(floats(fc::LEAD_DAYS), [Some(60.0), Some(60.0), None]);
    assert_eq!(frames.schema(), crate::frame_schema());
}

#[test]
fn the_season_before_is_taken_only_from_the_table() {
    let linked = small()
        .rows(Table::Harvests, &["N1,2021-03-01,3,9,", "N1,2022-03-01,7,9,", "N1,2024-03-01,5,9,"])
        .rows(Table::Prunings, &["N1,2020-07-01,0.25,shoots,"])
        .linked();
    assert_eq!(numbers(&linked, ts::PREVIOUS_YIELD_KG), [None, Some(3.0), None]);
    assert_eq!(numbers(&linked, ts::PREVIOUS_INTENSITY), [None, Some(0.25), None]);
}
