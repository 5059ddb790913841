//! What the forest sees of a tree-season.

use super::forest::Forest;
use crate::table::TreeSeasons;
use crate::yield_model::YieldError;
use ndarray::Array2;

/// Value for a number that is not recorded: below every possible one, so that a split can set it apart.
const MISSING: f64 = -1.0e3;

/// Predictions of the rows of one season by a forest grown without it; NaN for the others.
pub(super) fn predict(
    table: &TreeSeasons,
    response: &[f64],
    season: i32,
    seed: u64,
) -> Result<Vec<f64>, YieldError> {
    let seen: Vec<usize> = (0..table.len()).filter(|&row| table.season[row] != season).collect();
    let features = features(table, response, &seen);
    let records = features.select(ndarray::Axis(0), &seen);
    let targets: Vec<f64> = seen.iter().map(|&row| response[row]).collect();
    let forest = Forest::grow(records, &targets, seed)
        .map_err(|error| YieldError::Challenger(error.to_string()))?;
    let left_out: Vec<usize> =
        (0..table.len()).filter(|&row| table.season[row] == season).collect();
    let mut predicted = vec![f64::NAN; table.len()];
    let values = forest.predict(&features.select(ndarray::Axis(0), &left_out));
    for (row, value) in left_out.into_iter().zip(values) {
        predicted[row] = value;
    }
    Ok(predicted)
}

/// Rows x features: intensity, lead, age, density, codes of region, site, block, variety and basis,
/// trial or not, and the mean response and intensity of the tree and the block in the seasons seen.
fn features(table: &TreeSeasons, response: &[f64], seen: &[usize]) -> Array2<f64> {
    let number = |value: f64| if value.is_finite() { value } else { MISSING };
    let tree_yield = means(&table.tree.codes, table.tree.len(), response, seen);
    let block_yield = means(&table.block.codes, table.block.len(), response, seen);
    let tree_intensity = means(&table.tree.codes, table.tree.len(), &table.intensity, seen);
    let columns: Vec<Vec<f64>> = vec![
        table.intensity.clone(),
        table.lead_days.iter().map(|&v| number(v)).collect(),
        table.age_years.iter().map(|&v| number(v)).collect(),
        table.trees_per_ha.iter().map(|&v| number(v)).collect(),
        codes(&table.region.codes),
        codes(&table.site.codes),
        codes(&table.block.codes),
        codes(&table.variety.codes),
        codes(&table.basis.codes),
        table.in_trial.iter().map(|&v| f64::from(u8::from(v))).collect(),
        table.tree.codes.iter().map(|&c| number(tree_yield[c as usize])).collect(),
        table.block.codes.iter().map(|&c| number(block_yield[c as usize])).collect(),
        table.tree.codes.iter().map(|&c| number(tree_intensity[c as usize])).collect(),
    ];
    Array2::from_shape_fn((table.len(), columns.len()), |(row, column)| columns[column][row])
}

fn codes(codes: &[u32]) -> Vec<f64> {
    codes.iter().map(|&code| f64::from(code)).collect()
}

/// Mean of values by level over the rows seen; NaN for a level not seen.
fn means(codes: &[u32], levels: usize, values: &[f64], seen: &[usize]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); levels];
    for &row in seen {
        let (sum, n) = &mut sums[codes[row] as usize];
        *sum += values[row];
        *n += 1.0;
    }
    sums.into_iter().map(|(sum, n)| sum / n).collect()
}
