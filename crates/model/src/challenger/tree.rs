//! A regression tree grown by variance reduction on binned features
//! (Breiman, Friedman, Olshen and Stone, 1984, Classification and Regression Trees, chapter 8).

use linfa::dataset::DatasetBase;
use linfa::prelude::{Fit, ParamGuard};
use linfa::traits::PredictInplace;
use ndarray::{Array1, Array2, ArrayView1};

/// Candidate thresholds per feature, quantiles of its values.
const THRESHOLDS: usize = 31;

/// Unchecked settings of a tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TreeParams(TreeValidParams);

/// Checked settings of a tree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TreeValidParams {
    max_depth: usize,
    least_in_leaf: usize,
}

impl Default for TreeParams {
    fn default() -> Self {
        Self(TreeValidParams { max_depth: 9, least_in_leaf: 8 })
    }
}

impl ParamGuard for TreeParams {
    type Checked = TreeValidParams;
    type Error = linfa::Error;

    fn check_ref(&self) -> Result<&Self::Checked, linfa::Error> {
        if self.0.max_depth >= 1 && self.0.least_in_leaf >= 1 {
            Ok(&self.0)
        } else {
            Err(linfa::Error::Parameters(
                "a tree needs a depth and a leaf size of 1 or more".into(),
            ))
        }
    }

    fn check(self) -> Result<Self::Checked, linfa::Error> {
        self.check_ref().copied()
    }
}

/// A grown tree; node 0 is the root.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct RegressionTree {
    nodes: Vec<Node>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Node {
    Leaf(i64),
    /// Rows with `feature <= threshold` go to `left`, the others to `left + 1`.
    Split {
        feature: usize,
        threshold: f64,
        left: usize,
    },
}

impl Fit<Array2<f64>, Array1<i64>, linfa::Error> for TreeValidParams {
    type Object = RegressionTree;

    fn fit(
        &self,
        dataset: &DatasetBase<Array2<f64>, Array1<i64>>,
    ) -> Result<RegressionTree, linfa::Error> {
        let grower = Grower {
            params: *self,
            records: &dataset.records,
            targets: &dataset.targets,
            thresholds: thresholds(&dataset.records),
        };
        let mut nodes = vec![Node::Leaf(0)];
        // Children are appended in pairs; a stack of open nodes replaces recursion.
        let mut open = vec![(0, (0..dataset.records.nrows()).collect::<Vec<_>>(), 0)];
        while let Some((node, rows, depth)) = open.pop() {
            match grower.split(&rows, depth) {
                Some((feature, threshold)) => {
                    let left = nodes.len();
                    let (low, high): (Vec<usize>, Vec<usize>) =
                        rows.iter().partition(|&&row| dataset.records[[row, feature]] <= threshold);
                    nodes.extend([Node::Leaf(0), Node::Leaf(0)]);
                    nodes[node] = Node::Split { feature, threshold, left };
                    open.push((left, low, depth + 1));
                    open.push((left + 1, high, depth + 1));
                }
                None => nodes[node] = Node::Leaf(grower.mean(&rows)),
            }
        }
        Ok(RegressionTree { nodes })
    }
}

/// Quantiles of each feature, without repeats.
fn thresholds(records: &Array2<f64>) -> Vec<Vec<f64>> {
    records
        .columns()
        .into_iter()
        .map(|column| {
            let mut values = column.to_vec();
            values.sort_by(f64::total_cmp);
            let mut chosen: Vec<f64> = (1..=THRESHOLDS)
                .filter_map(|k| {
                    values.get((k * values.len() / (THRESHOLDS + 1)).checked_sub(1)?).copied()
                })
                .collect();
            chosen.dedup();
            chosen
        })
        .collect()
}

struct Grower<'a> {
    params: TreeValidParams,
    records: &'a Array2<f64>,
    targets: &'a Array1<i64>,
    thresholds: Vec<Vec<f64>>,
}

impl Grower<'_> {
    fn mean(&self, rows: &[usize]) -> i64 {
        let sum: f64 = rows.iter().map(|&row| self.targets[row] as f64).sum();
        (sum / rows.len().max(1) as f64).round() as i64
    }

    /// Feature and threshold with the largest reduction of the sum of squares, if any may be made.
    fn split(&self, rows: &[usize], depth: usize) -> Option<(usize, f64)> {
        let n = rows.len() as f64;
        if depth >= self.params.max_depth || rows.len() < 2 * self.params.least_in_leaf {
            return None;
        }
        let total: f64 = rows.iter().map(|&row| self.targets[row] as f64).sum();
        let mut best: Option<(f64, usize, f64)> = None;
        for (feature, thresholds) in self.thresholds.iter().enumerate() {
            let bins = self.bins(rows, feature, thresholds);
            let (mut count, mut sum) = (0.0, 0.0);
            for (&threshold, (bin_count, bin_sum)) in thresholds.iter().zip(bins) {
                count += bin_count;
                sum += bin_sum;
                let rest = n - count;
                let least = self.params.least_in_leaf as f64;
                if count < least || rest < least {
                    continue;
                }
                let gain = sum * sum / count + (total - sum).powi(2) / rest - total * total / n;
                if gain > best.map_or(1e-9 * n, |b| b.0) {
                    best = Some((gain, feature, threshold));
                }
            }
        }
        best.map(|(_, feature, threshold)| (feature, threshold))
    }

    /// Rows and target sums between successive thresholds.
    fn bins(&self, rows: &[usize], feature: usize, thresholds: &[f64]) -> Vec<(f64, f64)> {
        let mut bins = vec![(0.0, 0.0); thresholds.len() + 1];
        for &row in rows {
            let value = self.records[[row, feature]];
            let (count, sum) = &mut bins[thresholds.partition_point(|t| *t < value)];
            *count += 1.0;
            *sum += self.targets[row] as f64;
        }
        bins
    }
}

impl RegressionTree {
    fn value(&self, row: ArrayView1<'_, f64>) -> i64 {
        let mut node = 0;
        loop {
            match self.nodes[node] {
                Node::Leaf(value) => return value,
                Node::Split { feature, threshold, left } => {
                    node = if row[feature] <= threshold { left } else { left + 1 };
                }
            }
        }
    }
}

impl PredictInplace<Array2<f64>, Array1<i64>> for RegressionTree {
    fn predict_inplace<'a>(&'a self, records: &'a Array2<f64>, targets: &mut Array1<i64>) {
        for (row, target) in records.rows().into_iter().zip(targets.iter_mut()) {
            *target = self.value(row);
        }
    }

    fn default_target(&self, records: &Array2<f64>) -> Array1<i64> {
        Array1::zeros(records.nrows())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use linfa::prelude::Predict;

    #[test]
    fn one_clean_split_is_found() {
        let records = Array2::from_shape_fn((64, 1), |(row, _)| row as f64);
        let targets = Array1::from_shape_fn(64, |row| if row < 32 { 100 } else { 300 });
        let params =
            TreeParams(TreeValidParams { max_depth: 1, least_in_leaf: 5 }).check().unwrap();
        let tree = params.fit(&DatasetBase::new(records.clone(), targets)).unwrap();
        let predicted: Array1<i64> = tree.predict(&records);
        assert_eq!((predicted[0], predicted[63]), (100, 300));
    }

    #[test]
    fn settings_that_make_no_tree_are_refused() {
        assert!(TreeParams(TreeValidParams { max_depth: 0, least_in_leaf: 5 }).check().is_err());
    }
}
