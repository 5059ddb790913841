//! An independent within-tree least squares finds the truth in the simulated yields, and a naive
//! comparison between trees is misled where vigorous trees were pruned harder.

use plantation_sim::{DEMO_SEED, Records, demo, simulate};
use std::collections::BTreeMap;

/// Tree, site-season, and log yield with the two regressors i x h and i^2 x h.
struct Rows {
    tree: Vec<usize>,
    season: Vec<usize>,
    columns: [Vec<f64>; 3],
}

fn rows(records: &Records, region: usize) -> Rows {
    let plan = &demo().regions[region];
    let mut out = Rows { tree: Vec::new(), season: Vec::new(), columns: Default::default() };
    let mut groups: BTreeMap<(String, i16), usize> = BTreeMap::new();
    for latent in records.latent.iter().filter(|latent| latent.region == region) {
        let site = records.blocks[records.trees[latent.tree].block].site.clone();
        let next = groups.len();
        out.tree.push(latent.tree);
        out.season.push(*groups.entry((site, latent.season)).or_insert(next));
        let h = latent.lead_days.map_or(0.0, |lead| plan.response.timing.share(lead));
        let i = latent.intensity;
        for (column, value) in out.columns.iter_mut().zip([latent.yield_kg.ln(), i * h, i * i * h])
        {
            column.push(value);
        }
    }
    out
}

/// Takes group means out of a column.
fn sweep(column: &mut [f64], group: &[usize]) {
    let mut sums: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for (value, own) in column.iter().zip(group) {
        let sum = sums.entry(*own).or_default();
        *sum = (sum.0 + value, sum.1 + 1.0);
    }
    for (value, own) in column.iter_mut().zip(group) {
        *value -= sums[own].0 / sums[own].1;
    }
}

/// Peak and its standard error (delta method, errors taken as independent), and curvature.
fn fitted_peak(rows: &Rows, within: bool) -> (f64, f64, f64) {
    let mut columns = rows.columns.clone();
    for column in &mut columns {
        // Alternating projections remove both sets of means.
        for _ in 0..if within { 40 } else { 1 } {
            if within {
                sweep(column, &rows.tree);
            }
            sweep(column, &rows.season);
        }
    }
    let [y, a, b] = &columns;
    let dot = |u: &[f64], v: &[f64]| u.iter().zip(v).map(|(x, y)| x * y).sum::<f64>();
    let (aa, ab, bb, ay, by) = (dot(a, a), dot(a, b), dot(b, b), dot(a, y), dot(b, y));
    let det = aa * bb - ab * ab;
    let (slope, curve) = ((bb * ay - ab * by) / det, (aa * by - ab * ay) / det);
    let residual: f64 = (0..y.len()).map(|k| (y[k] - slope * a[k] - curve * b[k]).powi(2)).sum();
    let s2 = residual / (y.len() as f64 * 0.8);
    // Gradient of -slope / (2 curve).
    let (ga, gb) = (-0.5 / curve, 0.5 * slope / (curve * curve));
    let variance = s2 / det * (ga * ga * bb - 2.0 * ga * gb * ab + gb * gb * aa);
    (-slope / (2.0 * curve), variance.sqrt(), curve)
}

/// Witness: the plan's peak. The log of the ratio has the same peak as the ratio; a parabola in
/// its place is off by less than 0.02.
#[test]
fn within_tree_least_squares_finds_the_peak() {
    let records = simulate(&demo(), DEMO_SEED);
    for region in [0, 1, 4] {
        let at = demo().regions[region].response.curve.peak();
        let (peak, standard_error, curve) = fitted_peak(&rows(&records, region), true);
        assert!(curve < 0.0);
        assert!(standard_error < 0.05, "{region} {standard_error}");
        assert!(
            (peak - at).abs() < 2.5 * standard_error + 0.02,
            "{region} {peak} {standard_error}"
        );
    }
}

#[test]
fn the_naive_comparison_is_misled_by_habit() {
    let records = simulate(&demo(), DEMO_SEED);
    let vale = rows(&records, 4);
    let (within, _, _) = fitted_peak(&vale, true);
    let (naive, _, curve) = fitted_peak(&vale, false);
    // It points to harder pruning than was ever tried, or never bends down at all.
    assert!(curve >= 0.0 || naive > within + 0.1, "{naive} {within}");
}
