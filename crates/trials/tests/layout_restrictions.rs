//! Restrictions hold in every layout; trees are conserved; the same seed gives the same layout.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::{factor, grid, orchard, plain, request};
use proptest::prelude::*;
use records::{TrialControl, TrialDesign};
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::{
    Balance, Blocking, Covariate, ExistingTree, Guards, Layout, LayoutError, LayoutRequest,
    LayoutTree, PlotOf, TreesPerPlot, lay_out,
};

fn at(layout: &Layout) -> BTreeMap<(usize, usize), usize> {
    layout.plots.iter().map(|p| ((p.row.unwrap(), p.column.unwrap()), p.treatment)).collect()
}

/// A range, but one time in fifteen another value.
fn mostly(range: std::ops::Range<usize>, seldom: usize) -> impl Strategy<Value = usize> {
    prop_oneof![14 => range, 1 => Just(seldom)]
}

/// Pairs of treatments that stand side by side, found afresh from rows and columns.
fn neighbours(layout: &Layout, corners: bool) -> Vec<(usize, usize)> {
    let at = at(layout);
    let mut pairs = Vec::new();
    for (&(row, column), &a) in &at {
        for (&(other_row, other_column), &b) in &at {
            let (dr, dc) = (row.abs_diff(other_row), column.abs_diff(other_column));
            if dr + dc == 1 || corners && dr == 1 && dc == 1 {
                pairs.push((a, b));
            }
        }
    }
    pairs
}

/// Every tree of the field is in exactly one place, and the table has the observed ones.
fn conserved(layout: &Layout, spare_trees: usize, total: usize) {
    let observed: usize = layout.plots.iter().map(|p| p.trees.len()).sum();
    let border: usize = layout.plots.iter().map(|p| p.border.len()).sum();
    assert_eq!(
        observed + border + layout.guards.len() + layout.left_over.len() + spare_trees,
        total
    );
    let mut ids = BTreeSet::new();
    for plot in &layout.plots {
        for tree in plot.trees.iter().chain(&plot.border) {
            assert!(ids.insert(tree.tree.clone()));
        }
    }
    for tree in layout.guards.iter().chain(&layout.left_over) {
        assert!(ids.insert(tree.tree.clone()));
    }
    let table = layout.trial_table();
    assert_eq!(table.rows.len(), observed);
    let rows: BTreeSet<&String> = table.rows.iter().map(|row| &row[1]).collect();
    assert_eq!(rows.len(), observed);
    assert!(table.rows.iter().all(|row| row.len() == table.columns.len()));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..Default::default() })]

    #[test]
    fn neighbour_restrictions_always_hold(
        seed in any::<u64>(),
        treatments in 4_usize..9,
        replicates in 2_usize..6,
        corners in any::<bool>(),
        equal in any::<bool>(),
        random in any::<bool>(),
    ) {
        let design = if random { TrialDesign::CompletelyRandomised } else { TrialDesign::RandomisedBlocks };
        let mut request = grid(plain(design, treatments, replicates), replicates, treatments);
        request.restrictions.no_equal_neighbours = equal;
        request.restrictions.corners = corners && treatments > 6;
        if treatments > 5 {
            request.restrictions.never_neighbours = vec![("t1".into(), "t2".into())];
        }
        let layout = lay_out(&request, seed).unwrap();
        for (a, b) in neighbours(&layout, request.restrictions.corners) {
            prop_assert!(!equal || a != b);
            prop_assert!(treatments <= 5 || (a.min(b), a.max(b)) != (0, 1));
        }
        prop_assert_eq!(&layout, &lay_out(&request, seed).unwrap());
        conserved(&layout, 0, treatments * replicates);
    }

    #[test]
    fn trees_are_conserved_with_guards_and_borders(
        seed in any::<u64>(),
        around in 0_usize..3,
        between in 0_usize..3,
        inside in 0_usize..2,
        rows in 3_usize..5,
        columns in 3_usize..6,
        on_trees in any::<bool>(),
    ) {
        let mut request = plain(TrialDesign::RandomisedBlocks, 4, 3);
        request.trees_per_plot = TreesPerPlot { rows, columns };
        request.guards = Guards { around_trial: around, between_plots: between, inside_plots: inside };
        let total = if on_trees {
            let (r, c) = ((2 * around + 3 * rows + 2 * between) as i64, (2 * around + 4 * columns + 3 * between) as i64);
            request.field.trees = orchard(r, c);
            (r * c) as usize
        } else {
            request = grid(request, 3, 4);
            (2 * around + 3 * rows + 2 * between) * (2 * around + 4 * columns + 3 * between)
        };
        let layout = lay_out(&request, seed).unwrap();
        conserved(&layout, 0, total);
        for plot in &layout.plots {
            prop_assert_eq!(plot.trees.len() + plot.border.len(), rows * columns);
            prop_assert_eq!(plot.trees.len(), (rows - 2 * inside) * (columns - 2 * inside));
        }
        prop_assert_eq!(layout.left_over.len(), 0);
        prop_assert_eq!(layout.guards.len(), total - 12 * rows * columns);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, failure_persistence: None, ..Default::default() })]

    /// Whatever is asked, the answer is a layout in which every replicate is whole, or a refusal.
    #[test]
    fn any_request_is_laid_out_or_refused(
        seed in any::<u64>(),
        which in 0_usize..8,
        levels in prop::array::uniform3(prop_oneof![20 => 2_usize..5, 1 => Just(1)]),
        numbers in (mostly(2..5, 0), prop::option::of(2_usize..9), mostly(1..2, 0), mostly(0..1, 2)),
        field in (mostly(6..16, 0), 5_usize..16, any::<bool>(), mostly(0..1, 1), mostly(0..1, 1)),
        blocking in mostly(0..1, 3).prop_flat_map(|most| 0..=most),
        share in prop::option::of(prop::sample::select(vec![0.05, 0.1, 0.3, 1.0, f64::NAN, 0.0])),
        equal in any::<bool>(),
    ) {
        use TrialDesign as D;
        let design = [
            D::CompletelyRandomised, D::RandomisedBlocks, D::LatinSquare, D::SplitPlot,
            D::SplitSplitPlot, D::StripPlot, D::IncompleteBlocks, D::AugmentedBlocks,
        ][which];
        let [a, b, c] = levels;
        let factors = match design {
            D::SplitPlot | D::StripPlot => {
                vec![factor("m", a, PlotOf::MainPlots), factor("s", b, PlotOf::SubPlots)]
            }
            D::SplitSplitPlot => vec![
                factor("m", a, PlotOf::MainPlots),
                factor("s", b, PlotOf::SubPlots),
                factor("u", c, PlotOf::SubSubPlots),
            ],
            _ => vec![factor("t", a * b, PlotOf::Plots)],
        };
        let (replicates, block, tree_rows, around) = numbers;
        let mut asked = request(design, factors, replicates);
        asked.plots_per_block =
            block.filter(|_| matches!(design, D::IncompleteBlocks | D::AugmentedBlocks));
        if design == D::AugmentedBlocks {
            asked.checks = vec!["t1".into(), "t2".into()];
        }
        asked.trees_per_plot = TreesPerPlot { rows: tree_rows, columns: 1 };
        asked.guards.around_trial = around;
        let (rows, columns, on_trees, between, inside) = field;
        asked.guards.between_plots = between;
        asked.guards.inside_plots = inside;
        if on_trees {
            asked.field.trees = orchard(rows as i64 * 2, columns as i64);
        } else {
            asked = grid(asked, rows, columns);
        }
        asked.blocking = [
            Blocking::Position, Blocking::PlantationBlock, Blocking::EarlierCrop, Blocking::Girth,
        ][blocking];
        asked.restrictions.no_equal_neighbours = equal && share.is_none();
        asked.balance = share
            .filter(|_| on_trees)
            .map(|acceptance| Balance { on: vec![Covariate::EarlierCrop], acceptance });
        match lay_out(&asked, seed) {
            Err(error) => prop_assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
            Ok(layout) => {
                let places: BTreeSet<_> =
                    layout.plots.iter().map(|p| (&p.patch, p.row, p.column)).collect();
                prop_assert_eq!(places.len(), layout.plots.len());
                let names: BTreeSet<_> = layout.plots.iter().map(|p| &p.plot).collect();
                prop_assert_eq!(names.len(), layout.plots.len());
                if !matches!(design, D::CompletelyRandomised | D::AugmentedBlocks | D::LatinSquare) {
                    let mut seen: BTreeMap<(&str, usize), usize> = BTreeMap::new();
                    for plot in &layout.plots {
                        *seen.entry((&plot.replicate, plot.treatment)).or_default() += 1;
                    }
                    prop_assert!(seen.values().all(|&count| count == 1));
                    prop_assert_eq!(seen.len(), replicates * layout.treatments.len());
                }
                if asked.restrictions.no_equal_neighbours {
                    prop_assert!(neighbours(&layout, false).iter().all(|(a, b)| a != b));
                }
            }
        }
    }
}

#[test]
fn numbers_beyond_reason_are_refused_at_once() {
    let good = || grid(plain(TrialDesign::RandomisedBlocks, 4, 3), 3, 4);
    let huge = usize::MAX / 2;
    let changes: [&dyn Fn(&mut LayoutRequest); 7] = [
        &|r| r.replicates = huge,
        &|r| r.field.rows = Some(huge),
        &|r| r.trees_per_plot.columns = huge,
        &|r| r.guards.around_trial = huge,
        &|r| r.guards.inside_plots = huge,
        &|r| {
            r.design = TrialDesign::CompletelyRandomised;
            r.replication.insert("t1".into(), huge);
            r.replication.insert("t2".into(), huge);
        },
        &|r| r.factors = (0..40).map(|f| factor(&format!("f{f}"), 9, PlotOf::Plots)).collect(),
    ];
    for change in changes {
        let mut request = good();
        change(&mut request);
        assert!(matches!(lay_out(&request, 1), Err(LayoutError::DoesNotFit { .. })));
    }
    let mut far = plain(TrialDesign::RandomisedBlocks, 4, 3);
    far.field.trees = orchard(3, 4);
    far.field.trees[0].row = Some(i64::MAX);
    assert!(lay_out(&far, 1).is_err());
}

#[test]
fn a_request_is_short_to_write() {
    let text = r#"{
        "trial": "P1", "design": "split_plot", "replicates": 3,
        "factors": [
            { "name": "lead", "levels": ["15", "45"], "unit": "days", "on": "main_plots" },
            { "name": "intensity", "levels": ["0", "0.2", "0.4"], "unit": "fraction", "on": "sub_plots" }
        ],
        "field": { "rows": 6, "columns": 3 },
        "restrictions": { "never_neighbours": [["15 x 0", "45 x 0.4"]] }
    }"#;
    let request: LayoutRequest = serde_json::from_str(text).unwrap();
    let layout = lay_out(&request, 1).unwrap();
    assert_eq!(layout.plots.len(), 18);
    let declared = layout.declaration();
    assert_eq!(
        (declared.main_factors, declared.sub_factors),
        (vec!["lead".into()], vec!["intensity".into()])
    );
    assert_eq!(declared.amounts["intensity"], "fraction");
    assert!(serde_json::from_str::<LayoutRequest>(&text.replace("replicates", "reps")).is_err());
}

#[test]
fn rare_layouts_come_from_the_chain_and_impossible_ones_are_refused() {
    // Two-factor split plots side by side: sub plots of one level seldom avoid each other.
    let mut request = grid(plain(TrialDesign::CompletelyRandomised, 4, 16), 8, 8);
    request.restrictions.no_equal_neighbours = true;
    let layout = lay_out(&request, 3).unwrap();
    let report = layout.restrictions.clone().unwrap();
    assert!(report.by_chain);
    assert_eq!(report.neighbouring_pairs, 112);
    assert!(neighbours(&layout, false).iter().all(|(a, b)| a != b));
    // Two treatments, three plots of one and one of the other in a row of four: no way.
    let mut request = grid(plain(TrialDesign::CompletelyRandomised, 2, 3), 1, 4);
    request.replication.insert("t2".into(), 1);
    request.restrictions.no_equal_neighbours = true;
    assert!(matches!(lay_out(&request, 1), Err(LayoutError::Restriction { .. })));
}

#[test]
fn seeds_differ_and_replicates_stand_together() {
    let request = grid(plain(TrialDesign::RandomisedBlocks, 6, 4), 4, 6);
    let layouts: BTreeSet<Vec<usize>> = (0..50)
        .map(|seed| lay_out(&request, seed).unwrap().plots.iter().map(|p| p.treatment).collect())
        .collect();
    assert_eq!(layouts.len(), 50);
    // 6 plots are cut as 2 x 3: the most compact rectangle that fits four times.
    let layout = lay_out(&request, 1).unwrap();
    for replicate in layout.plots.chunks(6) {
        let rows: BTreeSet<_> = replicate.iter().map(|p| p.row).collect();
        let columns: BTreeSet<_> = replicate.iter().map(|p| p.column).collect();
        assert_eq!((rows.len(), columns.len()), (2, 3));
    }
}

/// Two plantation blocks are named, and the first holds all plots: the other needs no guards.
#[test]
fn a_block_without_a_plot_has_no_guards() {
    let mut request = plain(TrialDesign::RandomisedBlocks, 3, 2);
    request.guards.between_plots = 1;
    let other = orchard(6, 8).into_iter().map(|tree| ExistingTree {
        tree: tree.tree.replace("A-", "B-"),
        block: "B".to_owned(),
        ..tree
    });
    request.field.trees = orchard(6, 8).into_iter().chain(other).collect();
    let layout = lay_out(&request, 3).unwrap();
    let blocks = |trees: &[LayoutTree]| -> Vec<String> {
        let mut blocks: Vec<String> = trees.iter().map(|tree| tree.block.clone()).collect();
        blocks.dedup();
        blocks
    };
    assert!(layout.plots.iter().all(|plot| plot.patch == "A"));
    assert_eq!(blocks(&layout.guards), ["A"]);
    assert!(blocks(&layout.left_over).contains(&"B".to_owned()));
}

#[test]
fn blocks_by_earlier_crop_are_sorted_and_cut() {
    let mut request = plain(TrialDesign::RandomisedBlocks, 5, 4);
    request.field.trees = orchard(5, 5);
    request.blocking = Blocking::EarlierCrop;
    let layout = lay_out(&request, 8).unwrap();
    assert_eq!(layout.spare_plots, 5);
    let ranges: Vec<(f64, f64)> = layout
        .plots
        .chunks(5)
        .map(|block| {
            let crops = || block.iter().map(|p| p.earlier_crop.unwrap());
            (crops().fold(f64::MAX, f64::min), crops().fold(f64::MIN, f64::max))
        })
        .collect();
    assert!(ranges.windows(2).all(|pair| pair[0].1 <= pair[1].0), "{ranges:?}");
    request.field.trees[3].earlier_crop = None;
    let error = lay_out(&request, 8).unwrap_err();
    assert!(error.to_string().contains("tree A-1-4"), "{error}");
}

#[test]
fn controls_stand_beside_the_factorial_and_read_back_empty() {
    let mut request = grid(
        request(
            TrialDesign::RandomisedBlocks,
            vec![factor("a", 2, PlotOf::Plots), factor("b", 3, PlotOf::Plots)],
            3,
        ),
        3,
        7,
    );
    request.control = Some(TrialControl {
        factor: "a".into(),
        level: "untreated".into(),
        beside_factorial: true,
    });
    let layout = lay_out(&request, 2).unwrap();
    assert_eq!(layout.treatments.len(), 7);
    let table = layout.trial_table();
    let column = |name: &str| table.columns.iter().position(|c| c == name).unwrap();
    let control: Vec<_> = table.rows.iter().filter(|row| row[column("a")] == "untreated").collect();
    assert_eq!(control.len(), 3);
    assert!(control.iter().all(|row| row[column("b")].is_empty()));
    let declared = layout.declaration();
    assert_eq!(declared.factors, ["a", "b"]);
    assert!(declared.control.is_some_and(|control| control.beside_factorial));
}

#[test]
fn table_and_declaration_name_the_same_columns() {
    let cases: Vec<(LayoutRequest, &[&str])> = vec![
        (grid(plain(TrialDesign::RandomisedBlocks, 3, 2), 2, 3), &["plot", "row", "column", "t"]),
        (
            grid(
                request(
                    TrialDesign::SplitSplitPlot,
                    vec![
                        factor("m", 2, PlotOf::MainPlots),
                        factor("s", 2, PlotOf::SubPlots),
                        factor("u", 2, PlotOf::SubSubPlots),
                    ],
                    2,
                ),
                4,
                4,
            ),
            &["main_plot", "sub_plot", "plot", "row", "column", "m", "s", "u"],
        ),
        (grid(plain(TrialDesign::LatinSquare, 4, 0), 4, 4), &["plot", "row", "column", "t"]),
    ];
    for (request, extra) in cases {
        let layout = lay_out(&request, 1).unwrap();
        let table = layout.trial_table();
        assert_eq!(table.columns[..3], ["trial", "tree", "replicate"]);
        assert_eq!(&table.columns[3..], extra);
        let roles = layout.declaration().roles;
        for column in
            [roles.row, roles.column, roles.main_plot, roles.sub_plot, roles.plot, roles.block]
                .into_iter()
                .flatten()
        {
            assert!(table.columns.contains(&column), "{column}");
        }
        let text = serde_json::to_string(&layout).unwrap();
        assert_eq!(serde_json::from_str::<Layout>(&text).unwrap(), layout);
    }
}

#[test]
fn requests_that_contradict_themselves_are_refused_with_the_reason() {
    let good = || grid(plain(TrialDesign::RandomisedBlocks, 4, 3), 3, 4);
    let refused = |change: &dyn Fn(&mut LayoutRequest), words: &str| {
        let mut request = good();
        change(&mut request);
        let error = lay_out(&request, 1).unwrap_err();
        assert!(error.to_string().contains(words), "{error}");
        assert!(!error.hint().is_empty());
    };
    refused(&|r| r.replicates = 1, "1 replicate(s) leave no error");
    refused(
        &|r| r.replicates = 4,
        "4 replicates x 4 treatments: 16 plots of 1 x 1 trees are needed, the field has 12",
    );
    refused(&|r| r.factors[0].levels.truncate(1), "1 level(s)");
    refused(&|r| r.factors[0].levels[1] = "t1".into(), "level twice");
    refused(&|r| r.factors[0].unit = Some("fraction".into()), "is no amount");
    refused(&|r| r.factors[0].name = "plot".into(), "cannot name a factor");
    refused(&|r| r.field.trees = orchard(3, 4), "neither a grid nor trees, or both");
    refused(&|r| r.trees_per_plot.rows = 0, "without trees");
    refused(&|r| r.guards.inside_plots = 1, "leave no tree to observe");
    refused(&|r| r.field.unusable = vec![(9, 1)], "outside 3 x 4");
    refused(&|r| r.checks = vec!["t1".into()], "checks");
    refused(&|r| r.design = TrialDesign::LatinSquare, "not 3 replicates");
    refused(&|r| r.design = TrialDesign::SplitPlot, "no factor is on main plots");
    refused(&|r| r.blocking = Blocking::PlantationBlock, "as many plantation blocks");
    refused(
        &|r| r.restrictions.never_neighbours = vec![("t1".into(), "x".into())],
        "`x` is no treatment",
    );
}
