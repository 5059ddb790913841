//! Incomplete and augmented blocks: concurrences, efficiency factors, nesting.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod common;

use common::{grid, plain};
use records::TrialDesign;
use std::collections::{BTreeMap, BTreeSet};
use trials::layout::{IncompleteMethod, Layout, LayoutError, lay_out};

fn incomplete(v: usize, k: usize, r: usize, seed: u64) -> Layout {
    let mut request = grid(plain(TrialDesign::IncompleteBlocks, v, r), r, v);
    request.plots_per_block = Some(k);
    lay_out(&request, seed).unwrap()
}

/// Every treatment once per replicate, blocks of `k` or `k - 1`, and the concurrences recounted
/// from the plots.
fn recount(layout: &Layout, v: usize, k: usize, r: usize) -> BTreeMap<usize, usize> {
    let mut blocks: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut replicates: BTreeMap<&str, BTreeSet<usize>> = BTreeMap::new();
    for plot in &layout.plots {
        blocks.entry(plot.block.as_deref().unwrap()).or_default().push(plot.treatment);
        replicates.entry(&plot.replicate).or_default().insert(plot.treatment);
    }
    assert_eq!(replicates.len(), r);
    assert!(replicates.values().all(|members| members.len() == v));
    assert_eq!(blocks.len(), r * v.div_ceil(k));
    assert!(blocks.values().all(|block| block.len() == k || block.len() + 1 == k));
    let mut together = vec![0; v * v];
    for block in blocks.values() {
        for a in block {
            for b in block {
                together[a * v + b] += 1;
            }
        }
    }
    let mut counts = BTreeMap::new();
    for a in 0..v {
        assert_eq!(together[a * v + a], r);
        for b in 0..a {
            *counts.entry(together[a * v + b]).or_default() += 1;
        }
    }
    counts
}

/// Witness: efficiency factor of square lattices in closed form,
/// (r - 1)(k + 1) / ((r - 1)(k + 2) + 1) (Cochran and Cox 1957, chapter 10; John and Williams 1995,
/// chapter 4), balanced lattices k / (k + 1) among them.
#[test]
fn square_lattices_reach_their_published_efficiency() {
    let cases =
        [(3, 2), (3, 3), (3, 4), (4, 3), (4, 5), (5, 2), (5, 6), (6, 3), (7, 4), (8, 3), (9, 4)];
    for (k, r) in cases {
        let layout = incomplete(k * k, k, r, 5);
        assert_eq!(layout.blocks, Some(IncompleteMethod::SquareLattice));
        let efficiency = layout.efficiency.clone().unwrap();
        let (k_, r_) = (k as f64, r as f64);
        let closed = (r_ - 1.0) * (k_ + 1.0) / ((r_ - 1.0) * (k_ + 2.0) + 1.0);
        assert!((efficiency.average - closed).abs() < 1e-10, "{k} {r}: {}", efficiency.average);
        if r == k + 1 {
            assert!((closed - k_ / (k_ + 1.0)).abs() < 1e-12);
        }
        let counts = recount(&layout, k * k, k, r);
        assert!(counts.keys().all(|&count| count <= 1), "{counts:?}");
        assert_eq!(counts, efficiency.concurrences);
    }
}

/// Witness: the simple rectangular lattice of 12 treatments in blocks of 3 by direct reckoning. Its
/// blocks are rows and columns of a 4 x 4 array without its diagonal. N'N / (r k) has on the block
/// side eigenvalues 1 and 1/2 +- s/2 with s the singular values of (J - I)/3 on contrasts, that is
/// 1/3: canonical factors 1/3 and 2/3, three times each, and 1 for the other 5 of 11.
#[test]
fn rectangular_lattices_have_their_canonical_factors() {
    let layout = incomplete(12, 3, 2, 9);
    assert_eq!(layout.blocks, Some(IncompleteMethod::RectangularLattice));
    let efficiency = layout.efficiency.clone().unwrap();
    let expected = 11.0 / (3.0 * 3.0 + 3.0 * 1.5 + 5.0);
    assert!((efficiency.average - expected).abs() < 1e-12, "{}", efficiency.average);
    assert!((efficiency.least - 1.0 / 3.0).abs() < 1e-12);
    for (k, r) in [(3, 3), (4, 3), (4, 4), (6, 3), (6, 5), (2, 3)] {
        let layout = incomplete(k * (k + 1), k, r, 3);
        assert_eq!(layout.blocks, Some(IncompleteMethod::RectangularLattice), "{k} {r}");
        assert!(recount(&layout, k * (k + 1), k, r).keys().all(|&count| count <= 1));
    }
}

/// Witness: Patterson and Williams 1976: alpha(0,1) designs exist for these sizes (k <= s, few
/// replicates), and no design exceeds (v-1)(r-1) / ((v-1)(r-1) + r(s-1)). That the search finds the
/// best alpha design is checked beside it, against all arrays of small sizes.
#[test]
fn alpha_designs_meet_at_most_once_and_come_near_the_bound() {
    for (v, k, r) in [
        (24, 4, 3),
        (20, 4, 2),
        (20, 4, 3),
        (30, 5, 3),
        (48, 6, 3),
        (15, 3, 3),
        (40, 5, 4),
        (23, 4, 3),
        (22, 5, 2),
    ] {
        let layout = incomplete(v, k, r, 1);
        let efficiency = layout.efficiency.clone().unwrap();
        if layout.blocks == Some(IncompleteMethod::Alpha) {
            println!(
                "alpha v {v} k {k} r {r}: {:.4} of {:.4}",
                efficiency.average, efficiency.upper_bound
            );
        }
        let counts = recount(&layout, v, k, r);
        assert!(counts.keys().all(|&count| count <= 1), "{v} {k} {r}: {counts:?}");
        assert_eq!(counts, efficiency.concurrences);
        assert!(efficiency.average <= efficiency.upper_bound + 1e-12);
        assert!(efficiency.average > 0.92 * efficiency.upper_bound, "{v} {k} {r}: {efficiency:?}");
    }
    // More plots per block than blocks: some pairs must meet twice, and the design still connects.
    let layout = incomplete(18, 6, 4, 2);
    assert!(layout.efficiency.clone().unwrap().least > 0.0);
    assert!(*recount(&layout, 18, 6, 4).keys().max().unwrap() >= 2);
}

/// Witness: the definition. Least squares of treatments and blocks, solved by elimination here: the
/// mean variance of a difference is 2 sigma^2 / (r E).
#[test]
fn the_efficiency_factor_is_that_of_the_mean_variance() {
    for (v, k, r) in [(24, 4, 3), (23, 4, 3), (16, 4, 2), (20, 4, 2), (18, 6, 4)] {
        let layout = incomplete(v, k, r, 7);
        let names: Vec<&String> = layout
            .plots
            .iter()
            .filter_map(|p| p.block.as_ref())
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect();
        // Treatments, then blocks, the last of which is the origin together with treatment sums.
        let n = v + names.len() - 1;
        let mut m = vec![vec![0.0; 2 * n]; n];
        for plot in &layout.plots {
            let block = names.iter().position(|name| Some(*name) == plot.block.as_ref()).unwrap();
            let columns: Vec<usize> =
                [plot.treatment, v + block].into_iter().filter(|&column| column < n).collect();
            for &i in &columns {
                for &j in &columns {
                    m[i][j] += 1.0;
                }
            }
        }
        for (i, row) in m.iter_mut().enumerate() {
            row[n + i] = 1.0;
        }
        for i in 0..n {
            let pivot = m[i][i];
            assert!(pivot > 1e-9);
            m[i].iter_mut().for_each(|x| *x /= pivot);
            let row = m[i].clone();
            for (_, other) in m.iter_mut().enumerate().filter(|(j, _)| *j != i) {
                let factor = other[i];
                other.iter_mut().zip(&row).for_each(|(x, y)| *x -= factor * y);
            }
        }
        let mut total = 0.0;
        for a in 0..v {
            for b in 0..a {
                total += m[a][n + a] + m[b][n + b] - 2.0 * m[a][n + b];
            }
        }
        let mean = total / (v * (v - 1) / 2) as f64;
        let expected = 2.0 / (r as f64 * mean);
        let found = layout.efficiency.unwrap().average;
        assert!((found - expected).abs() < 1e-10, "{v} {k} {r}: {found} {expected}");
    }
}

#[test]
fn augmented_blocks_hold_all_checks_and_each_new_treatment_once() {
    let mut request = grid(plain(TrialDesign::AugmentedBlocks, 25, 4), 5, 8);
    request.checks = vec!["t3".into(), "t7".into(), "t9".into()];
    let layout = lay_out(&request, 4).unwrap();
    // 22 new treatments in 4 blocks: 6, 6, 5, 5, with 3 checks each.
    assert_eq!(layout.plots.len(), 22 + 12);
    let mut blocks: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for plot in &layout.plots {
        blocks.entry(plot.block.as_deref().unwrap()).or_default().push(plot.treatment);
    }
    let sizes: Vec<usize> = blocks.values().map(Vec::len).collect();
    assert_eq!(sizes, [9, 9, 8, 8]);
    for block in blocks.values() {
        assert!([2, 6, 8].iter().all(|check| block.contains(check)));
    }
    for (index, treatment) in layout.treatments.iter().enumerate() {
        assert_eq!(treatment.plots, if treatment.check { 4 } else { 1 }, "{index}");
    }
    assert_eq!(layout.declaration().checks, ["t3", "t7", "t9"]);
}

#[test]
fn blocks_that_do_not_divide_are_refused_with_the_count() {
    let mut request = grid(plain(TrialDesign::IncompleteBlocks, 7, 3), 3, 7);
    request.plots_per_block = Some(6);
    let LayoutError::DoesNotFit { arithmetic, .. } = lay_out(&request, 1).unwrap_err() else {
        panic!("another refusal");
    };
    assert_eq!(
        arithmetic,
        "7 treatments do not fit blocks of 6 plots: 2 blocks hold 12 plots, 5 more than treatments, and blocks may be short by one plot only"
    );
    let mut request = grid(plain(TrialDesign::RandomisedBlocks, 7, 3), 3, 7);
    request.plots_per_block = Some(6);
    let error = lay_out(&request, 1).unwrap_err();
    assert!(
        error.to_string().starts_with("7 treatments do not fit 6 plots per block: "),
        "{error}"
    );
}
