//! How steadily each treatment behaves across environments.

use serde::{Deserialize, Serialize};

/// Stability of one treatment. Entries are `None` where too few environments or treatments are
/// there, or environments do not differ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stability {
    /// Treatment.
    pub treatment: String,
    /// Mean over environments.
    pub mean: f64,
    /// Slope on the mean of all treatments by environment (Finlay and Wilkinson 1963, Aust. J.
    /// Agric. Res. 14:742-754): above 1, it gains more than others where things go well.
    pub slope: Option<f64>,
    /// Standard error of the slope from its own deviations, environments less 2 df.
    pub slope_std_error: Option<f64>,
    /// Mean square of the deviations from that line (Eberhart and Russell 1966).
    pub deviation_mean_square: Option<f64>,
    /// Ecovalence: share of the interaction sum of squares (Wricke 1962), units squared.
    pub ecovalence: f64,
    /// Stability variance (Shukla 1972, Heredity 29:237-245); may come out negative.
    pub shukla_variance: Option<f64>,
}

/// Stability from a complete table of means, one row per treatment and one column per environment.
/// Environments' means are averages of the same treatments, so slopes average 1 and the errors of
/// slopes are approximate.
#[must_use]
pub fn stability(treatments: &[String], means: &[Vec<f64>]) -> Vec<Stability> {
    let places = means.first().map_or(0, Vec::len);
    let count = means.len() as f64;
    let environment: Vec<f64> = (0..places)
        .map(|e| means.iter().filter_map(|row| row.get(e)).sum::<f64>() / count)
        .collect();
    let e = places as f64;
    let grand = environment.iter().sum::<f64>() / e;
    let index: Vec<f64> = environment.iter().map(|m| m - grand).collect();
    let spread: f64 = index.iter().map(|i| i * i).sum();
    let size: f64 = means.iter().flatten().map(|m| m * m).sum::<f64>() / count;
    let spreads = spread > 1e-20 * size;
    let own_mean = |row: &Vec<f64>| row.iter().sum::<f64>() / e;
    let ecovalence = |row: &Vec<f64>| -> f64 {
        let own = own_mean(row);
        row.iter().zip(&index).map(|(m, i)| (m - own - i).powi(2)).sum()
    };
    let total: f64 = means.iter().map(&ecovalence).sum();
    treatments
        .iter()
        .zip(means)
        .map(|(treatment, row)| {
            let mean = own_mean(row);
            let slope =
                spreads.then(|| row.iter().zip(&index).map(|(m, i)| m * i).sum::<f64>() / spread);
            let deviation = slope.filter(|_| places > 2).map(|b| {
                row.iter().zip(&index).map(|(m, i)| (m - mean - b * i).powi(2)).sum::<f64>()
                    / (e - 2.0)
            });
            let own = ecovalence(row);
            let shukla = (count > 2.0 && places > 1).then(|| {
                (count * (count - 1.0) * own - total) / ((e - 1.0) * (count - 1.0) * (count - 2.0))
            });
            Stability {
                treatment: treatment.clone(),
                mean,
                slope,
                slope_std_error: deviation.map(|d| (d / spread).sqrt()),
                deviation_mean_square: deviation,
                ecovalence: own,
                shukla_variance: shukla,
            }
        })
        .collect()
}
