//! Fixed columns of the review's model, each with the part it belongs to.

use super::Part;
use crate::columns::TreeSeasons;

/// Youngest age told apart, years: the logarithm of the age needs a floor.
const LEAST_AGE: f64 = 0.5;

/// A fixed column.
pub(super) struct Column {
    pub(super) name: String,
    pub(super) values: Vec<f64>,
    /// The part it explains; `None` for the constant of a region.
    pub(super) part: Option<Part>,
}

impl Column {
    fn new(name: impl Into<String>, part: Option<Part>, values: Vec<f64>) -> Self {
        Self { name: name.into(), values, part }
    }

    /// Centred on the mean and scaled by the spread of the rows, which only moves the constant.
    fn standardised(mut self) -> Self {
        if self.part.is_some() {
            let n = self.values.len() as f64;
            let mean = self.values.iter().sum::<f64>() / n;
            let spread = (self.values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
            self.values.iter_mut().for_each(|value| *value = (*value - mean) / spread);
        }
        self
    }
}

/// Constants by region, age, pruning, density, variety and the tree's usual intensity.
///
/// The tree's own mean intensity stands beside the intensity, so that the pruning part rests on
/// differences within trees and the habit of pruning vigorous trees harder goes to the level
/// (Mundlak 1978, Econometrica 46:69-85).
pub(super) fn columns(table: &TreeSeasons<'_>, used: &[usize]) -> Vec<Column> {
    let of = |column: &[f64]| -> Vec<f64> { used.iter().map(|&row| column[row]).collect() };
    let indicator = |is: &dyn Fn(usize) -> bool| -> Vec<f64> {
        used.iter().map(|&row| f64::from(u8::from(is(row)))).collect()
    };
    let mut columns = vec![Column::new("intercept", None, vec![1.0; used.len()])];
    let mut regions = used.iter().map(|&row| table.region.code(row)).collect::<Vec<_>>();
    regions.sort_unstable();
    regions.dedup();
    for &region in regions.iter().skip(1) {
        let name = format!("region {}", table.region.labels[region]);
        columns.push(Column::new(name, None, indicator(&|row| table.region.code(row) == region)));
    }
    if table.pruning_effect.is_none() {
        let intensity = of(table.intensity);
        let square = intensity.iter().map(|x| x * x).collect();
        let usual = tree_means(table, used, &intensity);
        columns.push(Column::new("intensity", Some(Part::Pruning), intensity));
        columns.push(Column::new("intensity squared", Some(Part::Pruning), square));
        columns.push(Column::new("usual intensity of the tree", Some(Part::Level), usual));
    }
    let age: Vec<f64> =
        filled(of(table.age_years).iter().map(|age| age.max(LEAST_AGE).ln() + age * 0.0));
    let square = age.iter().map(|x| x * x).collect();
    columns.push(Column::new("log age", Some(Part::Age), age));
    columns.push(Column::new("log age squared", Some(Part::Age), square));
    let density = filled(of(table.trees_per_ha).iter().map(|d| d.ln()));
    columns.push(Column::new("log density", Some(Part::Level), density));
    let mut varieties = used.iter().map(|&row| table.variety.code(row)).collect::<Vec<_>>();
    varieties.sort_unstable();
    varieties.dedup();
    for &variety in varieties.iter().skip(1) {
        let name = format!("variety {}", table.variety.labels[variety]);
        let values = indicator(&|row| table.variety.code(row) == variety);
        columns.push(Column::new(name, Some(Part::Level), values));
    }
    columns.retain(|column| column.part.is_none() || varies(&column.values));
    columns.into_iter().map(Column::standardised).collect()
}

/// Missing values replaced by the mean of the others: they then explain nothing.
fn filled(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let values: Vec<f64> = values.collect();
    let known: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    let mean = if known.is_empty() { 0.0 } else { known.iter().sum::<f64>() / known.len() as f64 };
    values.into_iter().map(|value| if value.is_finite() { value } else { mean }).collect()
}

fn tree_means(table: &TreeSeasons<'_>, used: &[usize], values: &[f64]) -> Vec<f64> {
    let mut sums = vec![(0.0, 0.0); table.tree.len()];
    for (&row, value) in used.iter().zip(values) {
        let own = &mut sums[table.tree.code(row)];
        *own = (own.0 + value, own.1 + 1.0);
    }
    used.iter()
        .map(|&row| {
            let (sum, n) = sums[table.tree.code(row)];
            sum / n
        })
        .collect()
}

fn varies(values: &[f64]) -> bool {
    let first = values.first().copied().unwrap_or(0.0);
    values.iter().any(|value| (value - first).abs() > 1e-12 * first.abs().max(1.0))
}
