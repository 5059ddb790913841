//! Randomisation is uniform. Witness everywhere: the chi-squared test of equal chances over many
//! seeds; seeds are fixed, so a pass is a pass.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::{equal_chances, factor, grid, plain, request};
use records::TrialDesign;
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::{LatinMethod, LatinSquares, PlotOf, lay_out};

const SURE: f64 = 1e-3;

#[test]
fn treatments_of_randomised_blocks_visit_every_position_and_pair_alike() {
    let request = grid(plain(TrialDesign::RandomisedBlocks, 5, 3), 3, 5);
    let mut position = vec![0; 25];
    let mut pairs = vec![0; 20];
    let mut last = vec![0; 25];
    for seed in 0..6000 {
        let layout = lay_out(&request, seed).unwrap();
        let first: Vec<usize> = layout.plots[..5].iter().map(|p| p.treatment).collect();
        for (place, treatment) in first.iter().enumerate() {
            position[place * 5 + treatment] += 1;
        }
        // One ordered pair of neighbours per layout: independent counts.
        let (a, b) = (first[1], first[2]);
        pairs[a * 4 + if b > a { b - 1 } else { b }] += 1;
        // Blocks are independent of each other.
        last[first[0] * 5 + layout.plots[5].treatment] += 1;
    }
    // Rows of the table have 4 x 4 free cells, not 24: the test is only milder for it.
    assert!(equal_chances(&position) > SURE, "{position:?}");
    assert!(equal_chances(&pairs) > SURE, "{pairs:?}");
    assert!(equal_chances(&last) > SURE, "{last:?}");
}

#[test]
fn all_orders_of_a_small_completely_randomised_trial_are_equally_likely() {
    let mut request = grid(plain(TrialDesign::CompletelyRandomised, 3, 2), 1, 6);
    request.replication.insert("t3".to_owned(), 1);
    request.field.columns = Some(5);
    // 5! / (2! 2! 1!) = 30 arrangements.
    let mut counts: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
    for seed in 0..6000 {
        let layout = lay_out(&request, seed).unwrap();
        *counts.entry(layout.plots.iter().map(|p| p.treatment).collect()).or_default() += 1;
    }
    assert_eq!(counts.len(), 30);
    assert!(equal_chances(&counts.into_values().collect::<Vec<_>>()) > SURE);
}

/// Witness: the numbers of Latin squares of order 3 and 4 are 12 and 576 (OEIS A002860).
#[test]
fn all_small_latin_squares_are_equally_likely() {
    for (order, number, seeds) in [(3, 12, 4000), (4, 576, 12_000)] {
        let request = grid(plain(TrialDesign::LatinSquare, order, 0), order, order);
        let mut counts: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
        for seed in 0..seeds {
            let layout = lay_out(&request, seed).unwrap();
            assert_eq!(layout.latin, Some(LatinMethod::Uniform));
            *counts.entry(layout.plots.iter().map(|p| p.treatment).collect()).or_default() += 1;
        }
        assert_eq!(counts.len(), number);
        assert!(equal_chances(&counts.into_values().collect::<Vec<_>>()) > SURE);
    }
}

#[test]
fn squares_of_every_order_are_latin() {
    for order in 1..=13 {
        let source = LatinSquares::of_order(order);
        let expected = if order <= 6 { LatinMethod::Uniform } else { LatinMethod::Chain };
        assert_eq!(source.method(), expected);
        for seed in 0..5 {
            let square = source.square(seed);
            for line in 0..order {
                let row: BTreeSet<_> = (0..order).map(|c| square[line * order + c]).collect();
                let column: BTreeSet<_> = (0..order).map(|r| square[r * order + line]).collect();
                assert_eq!((row.len(), column.len()), (order, order));
            }
        }
    }
}

#[test]
fn split_plots_nest_and_are_uniform_in_both_strata() {
    let request = grid(
        request(
            TrialDesign::SplitPlot,
            vec![factor("m", 3, PlotOf::MainPlots), factor("s", 4, PlotOf::SubPlots)],
            2,
        ),
        4,
        6,
    );
    let mut mains = vec![0; 6];
    let mut subs = vec![0; 24];
    let mut both = vec![0; 16];
    let index = |order: &[usize]| {
        let mut rest: Vec<usize> = (0..order.len()).collect();
        order.iter().fold(0, |code, value| {
            let at = rest.iter().position(|r| r == value).unwrap();
            let code = code * rest.len() + at;
            rest.remove(at);
            code
        })
    };
    for seed in 0..6000 {
        let layout = lay_out(&request, seed).unwrap();
        let mut plots: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for plot in &layout.plots {
            plots.entry(plot.main_plot.as_deref().unwrap()).or_default().push(plot.treatment);
        }
        assert_eq!(plots.len(), 6);
        for members in plots.values() {
            let main: BTreeSet<_> = members.iter().map(|t| t / 4).collect();
            let sub: BTreeSet<_> = members.iter().map(|t| t % 4).collect();
            assert_eq!((members.len(), main.len(), sub.len()), (4, 1, 4));
        }
        let orders: Vec<&Vec<usize>> = plots.values().collect();
        let first: Vec<usize> = orders[..3].iter().map(|plots| plots[0] / 4).collect();
        let inside: Vec<usize> = orders[0].iter().map(|t| t % 4).collect();
        mains[index(&first)] += 1;
        subs[index(&inside)] += 1;
        both[orders[0][0] % 4 * 4 + orders[1][0] % 4] += 1;
    }
    for counts in [mains, subs, both] {
        assert!(equal_chances(&counts) > SURE, "{counts:?}");
    }
}

#[test]
fn strips_cross_in_every_replicate_and_pairs_share_blocks_alike() {
    let strips = grid(
        request(
            TrialDesign::StripPlot,
            vec![factor("m", 3, PlotOf::MainPlots), factor("s", 4, PlotOf::SubPlots)],
            4,
        ),
        // Turned: 4 rows x 3 columns of plots per replicate.
        4,
        12,
    );
    for seed in 0..200 {
        let layout = lay_out(&strips, seed).unwrap();
        for r in 0..4 {
            let plots = &layout.plots[r * 12..(r + 1) * 12];
            for plot in plots {
                for other in plots {
                    let same_row = plot.row == other.row;
                    let same_column = plot.column == other.column;
                    assert_eq!(same_column, plot.treatment / 4 == other.treatment / 4);
                    assert_eq!(same_row, plot.treatment % 4 == other.treatment % 4);
                    assert_eq!(same_column, plot.main_plot == other.main_plot);
                    assert_eq!(same_row, plot.sub_plot == other.sub_plot);
                }
            }
        }
    }
    let mut alpha = grid(plain(TrialDesign::IncompleteBlocks, 12, 2), 4, 6);
    alpha.plots_per_block = Some(4);
    let mut together = vec![0; 66];
    for seed in 0..600 {
        let layout = lay_out(&alpha, seed).unwrap();
        // Treatments of the first block of the first replicate: one pair each.
        let (a, b) = (layout.plots[0].treatment, layout.plots[1].treatment);
        let (low, high) = (a.min(b), a.max(b));
        together[high * (high - 1) / 2 + low] += 1;
    }
    assert!(equal_chances(&together) > SURE, "{together:?}");
}
