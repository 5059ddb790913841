//! Prunings: combination, lead and rest, bases, late cuts, cuts without a harvest.

use super::{Small, close, codes, date_number, dates, left_out, numbers, small, wholes, words};
use crate::Reason;
use records::tree_season as ts;
use records::{Code, Table};

/// Trees N1 and N2 picked in 2024.
fn picked() -> Small {
    small().rows(Table::Harvests, &["N1,2024-03-01,5,9,", "N2,2024-03-01,4,9,"])
}

#[test]
fn a_pruning_counts_for_the_next_harvest_with_its_lead_and_rest() {
    let linked = picked().rows(Table::Prunings, &["N1,2023-07-15,0.2,canopy_fraction,12"]).linked();
    // Days by hand: 15 July to 1 September are 48, 31 May to 15 July are 45.
    assert_eq!(numbers(&linked, ts::LEAD_DAYS), [Some(48.0), None]);
    assert_eq!(numbers(&linked, ts::REST_DAY), [Some(45.0), None]);
    assert_eq!(dates(&linked, ts::PRUNED_ON), [Some(date_number("2023-07-15")), None]);
    assert_eq!(numbers(&linked, ts::INTENSITY), [Some(0.2), Some(0.0)]);
    assert_eq!(numbers(&linked, ts::MINUTES), [Some(12.0), None]);
    assert_eq!(wholes(&linked, ts::PRUNINGS), [1, 0]);
    assert_eq!(words(&linked, ts::BASIS), [Some("canopy_fraction".into()), Some("none".into())]);
}

#[test]
fn a_southern_pruning_counts_in_its_own_year() {
    let linked = small()
        .rows(Table::Harvests, &["S1,2025-01-10,5,9,"])
        .rows(Table::Prunings, &["S1,2024-03-01,0.3,shoots,"])
        .linked();
    // Days by hand: 1 March to 1 May are 61, 31 January to 1 March 2024 are 30 (leap year).
    assert_eq!(wholes(&linked, ts::SEASON), [2024]);
    assert_eq!(numbers(&linked, ts::LEAD_DAYS), [Some(61.0)]);
    assert_eq!(numbers(&linked, ts::REST_DAY), [Some(30.0)]);
}

#[test]
fn several_prunings_combine() {
    let cuts = ["N1,2023-07-31,0.1,shoots,3", "N1,2023-07-01,0.2,shoots,5"];
    let linked = picked().rows(Table::Prunings, &cuts).linked();
    // design.md section 2: 1 - (1 - 0.2)(1 - 0.1) = 0.28; the day weighted 2:1 is 11 July,
    // 52 days before 1 September and 41 after 31 May.
    close(numbers(&linked, ts::INTENSITY)[0], 0.28, 1e-12);
    close(numbers(&linked, ts::LEAD_DAYS)[0], 52.0, 1e-9);
    close(numbers(&linked, ts::REST_DAY)[0], 41.0, 1e-9);
    assert_eq!(numbers(&linked, ts::MINUTES)[0], Some(8.0));
    assert_eq!(words(&linked, ts::BASIS)[0], Some("shoots".into()));
    assert_eq!(wholes(&linked, ts::PRUNINGS), [2, 0]);
}

#[test]
fn half_days_round_down_but_the_lead_keeps_them() {
    let cuts = ["N1,2023-07-01,0.2,shoots,", "N1,2023-07-02,0.2,spread,4"];
    let linked = picked().rows(Table::Prunings, &cuts).linked();
    // 1 July and a half to 1 September are 61.5 days; 1 - 0.8 x 0.8 = 0.36.
    close(numbers(&linked, ts::LEAD_DAYS)[0], 61.5, 1e-9);
    close(numbers(&linked, ts::INTENSITY)[0], 0.36, 1e-12);
    assert_eq!(dates(&linked, ts::PRUNED_ON)[0], Some(date_number("2023-07-01")));
    assert_eq!(words(&linked, ts::BASIS)[0], Some("several".into()));
    assert_eq!(numbers(&linked, ts::MINUTES)[0], None);
}

#[test]
fn a_visit_that_cut_nothing_is_unpruned() {
    let linked = picked().rows(Table::Prunings, &["N1,2023-07-15,0,shoots,1"]).linked();
    assert_eq!(numbers(&linked, ts::LEAD_DAYS), [None, None]);
    assert_eq!(words(&linked, ts::BASIS)[0], Some("none".into()));
    assert_eq!(wholes(&linked, ts::PRUNINGS), [1, 0]);
}

#[test]
fn a_cut_after_the_flush_began_is_kept_and_reported_once() {
    let cuts = ["N2,2023-09-11,0.2,shoots,", "N1,2023-09-21,0.2,shoots,"];
    let linked = picked().rows(Table::Prunings, &cuts).linked();
    // 1 to 21 and 1 to 11 September.
    assert_eq!(numbers(&linked, ts::LEAD_DAYS), [Some(-20.0), Some(-10.0)]);
    let late: Vec<_> =
        linked.problems.iter().filter(|p| p.code == Code::PrunedAfterFlush).collect();
    assert_eq!(late.len(), 1);
    assert!(late[0].what.starts_with("2 prunings"));
    assert_eq!(late[0].place.to_string(), "prunings.csv:2:2");
}

#[test]
fn cuts_without_a_harvest_are_counted_and_those_for_the_coming_season_expected() {
    let cuts =
        ["N1,2022-07-01,0.2,shoots,", "N2,2022-07-01,0.2,shoots,", "N1,2024-07-01,0.1,shoots,"];
    let linked = picked().rows(Table::Prunings, &cuts).linked();
    assert_eq!(left_out(&linked, Table::Prunings, Reason::NoHarvestInSeason), 2);
    assert_eq!(left_out(&linked, Table::Prunings, Reason::ComingSeason), 1);
    let missing: Vec<_> =
        linked.problems.iter().filter(|p| p.code == Code::PruningWithoutHarvest).collect();
    assert_eq!(missing.len(), 1);
    assert!(missing[0].what.contains("before harvest 2023"), "{}", missing[0].what);
    assert_eq!(missing[0].place.to_string(), "prunings.csv:2:2");
}

/// Picks that exist under a mistyped id are to be mended, not to be entered as nothing borne.
#[test]
fn prunings_of_trees_whose_picks_were_set_aside_ask_for_no_zeros() {
    let picks = ["N-01,2024-03-01,4,,", "N-2,2024-03-01,4,,"];
    let cuts = ["N-02,2023-07-01,0.2,shoots,", "N-01,2022-07-01,0.2,shoots,"];
    let linked = small()
        .table(Table::Trees, "tree,block\nN-01,N\nN-02,N\nS-01,S")
        .rows(Table::Harvests, &picks)
        .rows(Table::Prunings, &cuts)
        .link()
        .linked
        .unwrap();
    let missing: Vec<_> =
        linked.problems.iter().filter(|p| p.code == Code::PruningWithoutHarvest).collect();
    let of = |season: &str| {
        let own = missing.iter().find(|problem| problem.what.contains(season)).unwrap();
        own.remedy.as_str()
    };
    assert_eq!(missing.len(), 2);
    assert!(of("2023").contains("0 kg"), "{}", of("2023"));
    assert!(of("2024").contains("mend those first"), "{}", of("2024"));
    assert!(!of("2024").contains("0 kg"), "{}", of("2024"));
    // The picks of N-03 under an id that looks like N-02, which has its own.
    let picks = ["N-01,2024-03-01,4,,", "N-02,2024-03-01,4,,", "N-2,2024-03-01,4,,"];
    let linked = small()
        .table(Table::Trees, "tree,block\nN-01,N\nN-02,N\nN-03,N\nS-01,S")
        .rows(Table::Harvests, &picks)
        .rows(Table::Prunings, &["N-03,2023-07-01,0.2,shoots,"])
        .link()
        .linked
        .unwrap();
    let missing = linked.problems.iter().find(|p| p.code == Code::PruningWithoutHarvest).unwrap();
    assert!(missing.remedy.contains("mend those first"), "{}", missing.remedy);
}

#[test]
fn one_basis_leaves_tree_seasons_of_others_out() {
    let cuts = ["N1,2023-07-01,0.2,shoots,", "N2,2023-07-01,0.2,spread,"];
    let book = picked().rows(Table::Prunings, &cuts);
    let linked = book.setting("[options]", "[options]\nonly_measured_as = \"spread\"").linked();
    assert_eq!(words(&linked, ts::TREE), [Some("N2".into())]);
    for table in [Table::Prunings, Table::Harvests, Table::Trees] {
        assert_eq!(left_out(&linked, table, Reason::OtherBasis), 1, "{table}");
    }
    assert_eq!(linked.summary.regions[0].bases.get("spread"), Some(&1));
}

#[test]
fn intensity_without_variation_is_reported() {
    let cuts = ["N1,2023-07-01,0.2,shoots,", "N2,2023-07-01,0.2,shoots,"];
    let linked = picked().rows(Table::Prunings, &cuts).linked();
    assert!(codes(&linked).contains(&Code::PruningConstant));
    let linked = picked().rows(Table::Prunings, &cuts[..1]).linked();
    assert!(!codes(&linked).contains(&Code::PruningConstant));
}

/// A region whose prunings were set aside is not blamed on the file of another region.
#[test]
fn a_region_without_variation_is_told_of_the_prunings_set_aside() {
    let picks = ["N1,2024-03-01,4,,", "N2,2024-03-01,4,,", "S1,2024-11-01,4,,"];
    let cuts = ["N1,2023-07-01,0.2,shoots,", "S9,2024-03-01,0.3,shoots,"];
    let book = small().rows(Table::Harvests, &picks).rows(Table::Prunings, &cuts);
    let linked = book.link().linked.unwrap();
    let told: Vec<_> = linked.problems.iter().filter(|p| p.code == Code::PruningConstant).collect();
    assert_eq!(told.len(), 1);
    assert!(told[0].what.starts_with("region 'south'"), "{}", told[0].what);
    assert_eq!(told[0].place.to_string(), "book.toml");
    assert!(told[0].remedy.starts_with("mend the 1 pruning row set aside"), "{}", told[0].remedy);
}
