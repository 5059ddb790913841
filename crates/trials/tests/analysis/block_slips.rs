//! Mistyped checks and blocks of designs whose blocks hold a part of the treatments.

use crate::support::{declared, names, observed};
use records::{TrialDeclaration, TrialDesign};
use trials::{Observations, Plan, Slip};

/// Four blocks of three checks and three new entries each, a tree a plot.
fn augmented() -> (TrialDeclaration, Observations) {
    let (mut block, mut method, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for b in 0..4 {
        let own = (0..3).map(|entry| format!("N{:02}", 3 * b + entry + 1));
        for (at, name) in
            ["old", "station", "farm"].map(str::to_owned).into_iter().chain(own).enumerate()
        {
            block.push(format!("{}", b + 1));
            method.push(name);
            values.push(8.0 + ((b * 7 + at * 5) % 11) as f64 * 0.2);
        }
    }
    let mut d = declared(TrialDesign::AugmentedBlocks);
    d.factors = names(&["method"]);
    d.checks = names(&["old", "station", "farm"]);
    d.roles.block = Some("block".to_owned());
    (d, observed(&[("block", block), ("method", method)], values))
}

/// Three replicates of three blocks of four of twelve methods, as columns, rows and diagonals hold them.
fn incomplete() -> (TrialDeclaration, Observations) {
    let (mut replicate, mut block, mut method, mut values) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for r in 0..3 {
        for b in 0..3 {
            for at in 0..4 {
                replicate.push(format!("{}", r + 1));
                block.push(format!("R{}B{}", r + 1, b + 1));
                method.push(format!("M{:02}", 3 * at + (b + r * at) % 3 + 1));
                values.push(8.0 + ((r * 3 + b * 7 + at * 5) % 11) as f64 * 0.2);
            }
        }
    }
    let mut d = declared(TrialDesign::IncompleteBlocks);
    d.factors = names(&["method"]);
    d.roles.block = Some("block".to_owned());
    (d, observed(&[("replicate", replicate), ("block", block), ("method", method)], values))
}

fn write(data: &mut Observations, column: &str, row: usize, text: &str) {
    data.columns.get_mut(column).unwrap()[row] = Some(text.to_owned());
}

fn slips(d: &TrialDeclaration, data: &Observations) -> Vec<Slip> {
    Plan::read(d, data).unwrap().slips
}

/// The data without a row, as where a lost plot was left out of the table.
fn without(data: &Observations, row: usize) -> Observations {
    let mut left = data.clone();
    for cells in left.columns.values_mut() {
        cells.remove(row);
    }
    for cells in [&mut left.tree, &mut left.place] {
        cells.remove(row);
    }
    left.season.remove(row);
    left.values.remove(row);
    left
}

#[test]
fn a_mistyped_check_is_told_with_the_entry_that_it_became() {
    let (d, data) = augmented();
    assert_eq!(slips(&d, &data), []);
    for typed in ["sation", "statiom", "staation", "sttaion"] {
        let mut data = data.clone();
        write(&mut data, "method", 7, typed);
        let found = slips(&d, &data);
        let [slip @ Slip::LackingCheck { block, check, held: 3, blocks: 4, entry, evidence }] =
            found.as_slice()
        else {
            panic!("{found:?}")
        };
        assert_eq!((block.as_str(), check.as_str()), ("block 2", "station"));
        assert_eq!(entry.as_deref(), Some(typed));
        assert_eq!(evidence.places, ["trials.csv:9"]);
        assert!(
            slip.what().contains(typed) && slip.remedy().contains("station"),
            "{}",
            slip.what()
        );
    }
    // A check that a block lacks is told where nothing looks like it.
    let found = slips(&d, &without(&data, 7));
    let [Slip::LackingCheck { block, entry: None, .. }] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!(block, "block 2");
}

#[test]
fn checks_laid_out_in_a_part_of_the_blocks_are_no_slip() {
    let (d, mut data) = augmented();
    // Each check stands in half of the blocks, or in three of four.
    for (row, entry) in [(0, "E1"), (6, "E2"), (13, "E3"), (2, "E4"), (20, "E5")] {
        write(&mut data, "method", row, entry);
    }
    assert_eq!(slips(&d, &data), []);
}

#[test]
fn a_plot_under_the_label_of_another_block_is_told_by_their_sizes() {
    let (d, mut data) = augmented();
    write(&mut data, "block", 10, "1");
    let found = slips(&d, &data);
    let [slip @ Slip::UnevenBlocks { block, plots: 7, other, left: 5, usual: 6, evidence }] =
        found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!((block.as_str(), other.as_str()), ("block 1", "block 2"));
    assert!(evidence.places.contains(&"trials.csv:12".to_owned()));
    assert!(slip.what().contains("7 plots") && slip.remedy().contains("map"), "{}", slip.what());

    let (d, data) = incomplete();
    assert_eq!(slips(&d, &data), []);
    let mut typed = data.clone();
    write(&mut typed, "block", 19, "R2B1");
    let found = slips(&d, &typed);
    let [Slip::UnevenBlocks { block, plots: 5, other, left: 3, usual: 4, .. }] = found.as_slice()
    else {
        panic!("{found:?}")
    };
    assert_eq!(
        (block.as_str(), other.as_str()),
        ("replicate 2, block R2B1", "replicate 2, block R2B2")
    );
    // Labels that begin again in every replicate are blocks of their own.
    let mut again = data.clone();
    for row in 0..36 {
        write(&mut again, "block", row, &format!("{}", row % 12 / 4 + 1));
    }
    assert_eq!(slips(&d, &again), []);
    write(&mut again, "block", 19, "1");
    assert!(matches!(slips(&d, &again)[..], [Slip::UnevenBlocks { .. }]));
    // A block that is one too small by itself lost its plot.
    assert_eq!(slips(&d, &without(&data, 19)), []);
}

#[test]
fn a_block_of_one_plot_is_told_and_sizes_unlike_by_design_are_not() {
    let (d, data) = incomplete();
    let mut typed = data.clone();
    write(&mut typed, "block", 19, "R2B2x");
    let found = slips(&d, &typed);
    let [slip @ Slip::LoneBlock { block, usual: 4, evidence }] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!(block, "replicate 2, block R2B2x");
    assert_eq!(evidence.places, ["trials.csv:21"]);
    assert!(slip.what().contains("one plot") && slip.remedy().len() > 20);
    // Blocks of three, four and five in every replicate were laid out so.
    let mut unlike = data.clone();
    for row in [3, 15, 27] {
        let replicate = row / 12 + 1;
        write(&mut unlike, "block", row, &format!("R{replicate}B2"));
    }
    assert_eq!(slips(&d, &unlike), []);
}

/// Names of plots say once what a square is made of, and nothing of the replicate where there is one.
#[test]
fn plots_of_a_square_are_told_by_row_and_column() {
    let named = |squares: usize| {
        let (mut replicate, mut row, mut column, mut dose) =
            (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for at in 0..9 * squares {
            let (r, c) = (at % 9 / 3, at % 3);
            replicate.push(format!("{}", at / 9 + 1));
            row.push(format!("{}", r + 1));
            column.push(format!("{}", c + 1));
            dose.push(format!("D{}", (r + c) % 3));
        }
        let values = (0..9 * squares).map(|at| 5.0 + (at * 7 % 11) as f64 * 0.1).collect();
        let columns = [("replicate", replicate), ("row", row), ("column", column), ("dose", dose)];
        let mut d = declared(TrialDesign::LatinSquare);
        d.factors = names(&["dose"]);
        Plan::read(&d, &observed(&columns, values)).unwrap().units[0].plot.clone()
    };
    assert_eq!(named(1), "row 1, column 1");
    assert_eq!(named(2), "replicate 1, row 1, column 1");
}
