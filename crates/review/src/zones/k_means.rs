//! k-means by linfa, brought to a fixed point and numbered by first appearance.

use crate::error::ReviewError;
use linfa::DatasetBase;
use linfa::traits::Fit;
use linfa_clustering::KMeans;
use linfa_rng::ChaCha8Rng;
use linfa_rng::rand_core::SeedableRng;
use ndarray::Array2;
use words::text;

/// Most steps to the fixed point; each lowers the sum of squares, so they end.
const MOST_STEPS: usize = 1000;

/// Points in groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Groups {
    /// Group of each point, numbered by first appearance; groups may be fewer than asked for when
    /// points coincide.
    pub codes: Vec<usize>,
    /// Sum of squared distances to the means of the groups.
    pub within: f64,
}

/// k-means of points (rows of equal length), best of several starts. linfa moves its centres only part
/// of the way (it counts the old centre as one more point) and stops short of a fixed point, so plain
/// steps of assignment and mean follow from its best centres until nothing changes. The same seed
/// gives the same groups.
///
/// # Errors
/// No point, no group, or a failure of the library.
pub fn k_means(
    points: &[Vec<f64>],
    groups: usize,
    starts: usize,
    seed: u64,
) -> Result<Groups, ReviewError> {
    let failed = |error: &dyn std::fmt::Display| ReviewError::Clustering(error.to_string());
    let width = points.first().map_or(0, Vec::len);
    if points.is_empty() || groups == 0 || width == 0 {
        return Err(ReviewError::TooFew { what: text!("a grouping"), least: 1, found: 0 });
    }
    let flat: Vec<f64> = points.iter().flatten().copied().collect();
    let records = Array2::from_shape_vec((points.len(), width), flat).map_err(|e| failed(&e))?;
    let model = KMeans::params_with_rng(groups, ChaCha8Rng::seed_from_u64(seed))
        .n_runs(starts)
        .tolerance(1e-6)
        .fit(&DatasetBase::from(records))
        .map_err(|e| failed(&e))?;
    let mut centres: Vec<Vec<f64>> = model.centroids().outer_iter().map(|c| c.to_vec()).collect();
    let mut codes = assign(points, &centres);
    for _ in 0..MOST_STEPS {
        centres = means(points, &codes, &centres);
        let next = assign(points, &centres);
        if next == codes {
            break;
        }
        codes = next;
    }
    let within = points.iter().zip(&codes).map(|(p, &code)| distance2(p, &centres[code])).sum();
    Ok(Groups { codes: renumbered(&codes), within })
}

fn assign(points: &[Vec<f64>], centres: &[Vec<f64>]) -> Vec<usize> {
    let nearest = |point: &Vec<f64>| {
        let mut best = (0, f64::INFINITY);
        for (code, centre) in centres.iter().enumerate() {
            let distance = distance2(point, centre);
            if distance < best.1 {
                best = (code, distance);
            }
        }
        best.0
    };
    points.iter().map(nearest).collect()
}

/// Means of the groups; an empty group keeps its centre.
fn means(points: &[Vec<f64>], codes: &[usize], centres: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let mut sums = vec![(vec![0.0; points.first().map_or(0, Vec::len)], 0.0); centres.len()];
    for (point, &code) in points.iter().zip(codes) {
        let (sum, n) = &mut sums[code];
        sum.iter_mut().zip(point).for_each(|(total, value)| *total += value);
        *n += 1.0;
    }
    let own = sums.into_iter().zip(centres);
    own.map(
        |((sum, n), centre)| {
            if n > 0.0 { sum.into_iter().map(|total| total / n).collect() } else { centre.clone() }
        },
    )
    .collect()
}

/// Codes numbered by first appearance.
pub(super) fn renumbered(codes: &[usize]) -> Vec<usize> {
    let mut seen: Vec<usize> = Vec::new();
    codes
        .iter()
        .map(|code| {
            seen.iter().position(|other| other == code).unwrap_or_else(|| {
                seen.push(*code);
                seen.len() - 1
            })
        })
        .collect()
}

pub(super) fn distance2(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum()
}
