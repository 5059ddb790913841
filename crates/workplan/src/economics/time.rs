//! Working minutes per tree as a function of intensity, tree size and tool.

use super::least_squares::{Normal, non_negative};
use records::work::SettingError;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::BTreeMap;
use words::{say, text};

/// Timed trees needed before recorded minutes replace stated rates.
pub const LEAST_TIMED: usize = 30;
/// Timed trees a tool needs for minutes of its own.
const LEAST_PER_TOOL: usize = 10;
/// Share of timed trees that must carry a size before size enters.
const LEAST_SIZED: f64 = 0.8;

/// One pruned tree whose time was recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct TimedTree {
    /// Fraction of the canopy removed, above 0 to 1.
    pub intensity: f64,
    /// Canopy surface, m2, or volume, m3: one measure for all trees.
    pub size: Option<f64>,
    /// Tool, in the book's own word; empty when not stated.
    pub tool: String,
    /// Working minutes, all hands together.
    pub minutes: f64,
}

/// Minutes of a pruned tree: `minutes_per_tree + minutes_full_canopy x intensity`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WorkRate {
    /// Minutes that do not depend on intensity.
    pub minutes_per_tree: f64,
    /// Additional minutes for the whole canopy.
    pub minutes_full_canopy: f64,
}

impl WorkRate {
    /// Minutes at an intensity, 0 when unpruned.
    #[must_use]
    pub fn minutes(&self, intensity: f64) -> f64 {
        if intensity > 0.0 {
            self.minutes_per_tree + self.minutes_full_canopy * intensity
        } else {
            0.0
        }
    }
}

/// Minutes at one intensity with their bands; lower limits stop at 0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Minutes {
    /// Fraction removed.
    pub intensity: f64,
    /// Expected minutes.
    pub mean: f64,
    /// Confidence limits of the mean.
    pub mean_limits: [f64; 2],
    /// Prediction limits of a new tree.
    pub new_tree_limits: [f64; 2],
}

/// Why recorded minutes cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum NoTimeFit {
    /// Fewer than [`LEAST_TIMED`] usable rows.
    TooFew {
        /// Usable rows.
        used: usize,
    },
    /// Intensity hardly varies, so time per tree and time per cut cannot be told apart.
    NotVaried,
}

/// Minutes fitted to the book's own records.
///
/// Expected minutes of a tree cut with tool t at intensity x and size s are
/// `a_t + b_t x + c x s / mean size`, with no coefficient below 0, by least squares weighted with
/// 1 / mean^2 and repeated until stable, because the spread of working times grows with their mean
/// (constant coefficient of variation: McCullagh and Nelder, 1989, Generalized Linear Models,
/// chapter 8). Terms held at 0 are taken as known in the bands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TimeFit {
    /// Tools with minutes of their own; one empty name when tools are not told apart.
    pub tools: Vec<String>,
    /// Rows of each tool.
    pub tool_rows: Vec<usize>,
    /// a_t, minutes, in the order of `tools`.
    pub per_tree: Vec<f64>,
    /// b_t, minutes, in the order of `tools`.
    pub full_canopy: Vec<f64>,
    /// c, minutes; `None` when size did not enter.
    pub full_canopy_by_size: Option<f64>,
    /// Mean size of the trees used, in the unit of the input.
    pub mean_size: Option<f64>,
    /// Coefficient of variation between trees about their mean.
    pub cv: f64,
    /// Residual degrees of freedom.
    pub df: usize,
    /// Level of the bands.
    pub level: f64,
    /// Rows used.
    pub used: usize,
    /// Rows left out: unpruned, without minutes, without a size, or with a rare tool.
    pub dropped: usize,
    free: Vec<usize>,
    covariance: Vec<f64>,
}

impl TimeFit {
    /// Fits recorded minutes; what cannot be identified (size, then tools) is left out of the model.
    ///
    /// # Errors
    /// [`NoTimeFit`] when there is too little to fit.
    pub fn new(rows: &[TimedTree], level: f64) -> Result<Self, NoTimeFit> {
        let usable: Vec<&TimedTree> = rows
            .iter()
            .filter(|row| row.intensity > 0.0 && row.intensity <= 1.0)
            .filter(|row| row.minutes.is_finite() && row.minutes > 0.0)
            .collect();
        if usable.len() < LEAST_TIMED {
            return Err(NoTimeFit::TooFew { used: usable.len() });
        }
        let sized = |row: &&&TimedTree| row.size.is_some_and(|s| s.is_finite() && s > 0.0);
        let with_size: Vec<&TimedTree> = usable.iter().filter(sized).copied().collect();
        let size_enters = with_size.len() >= LEAST_TIMED
            && with_size.len() as f64 >= LEAST_SIZED * usable.len() as f64;
        for (by_size, by_tool) in [(true, true), (false, true), (true, false), (false, false)] {
            let chosen = if by_size { &with_size } else { &usable };
            let fit = (size_enters || !by_size)
                .then(|| Self::of(chosen, by_size, by_tool, level))
                .flatten();
            if let Some(fit) = fit {
                return Ok(Self { dropped: rows.len() - fit.used, ..fit });
            }
        }
        Err(NoTimeFit::NotVaried)
    }

    fn of(rows: &[&TimedTree], by_size: bool, by_tool: bool, level: f64) -> Option<Self> {
        let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
        rows.iter().for_each(|row| *counts.entry(row.tool.as_str()).or_default() += 1);
        counts.retain(|_, count| *count >= LEAST_PER_TOOL);
        let tools: Vec<String> = if by_tool {
            counts.keys().map(|&tool| tool.to_owned()).collect()
        } else {
            vec![String::new()]
        };
        if by_tool && tools.len() < 2 {
            return None;
        }
        let rows: Vec<&TimedTree> =
            rows.iter().filter(|row| !by_tool || tools.contains(&row.tool)).copied().collect();
        let mean_size = by_size.then(|| {
            rows.iter().filter_map(|row| row.size).sum::<f64>() / rows.len().max(1) as f64
        });
        let tool_rows: Vec<usize> = tools
            .iter()
            .map(|tool| rows.iter().filter(|row| !by_tool || row.tool == *tool).count())
            .collect();
        let shape = Shape { tools: &tools, tool_rows: &tool_rows, mean_size };
        let designed: Vec<(Vec<f64>, f64)> = rows
            .iter()
            .map(|row| (shape.row(&row.tool, row.size, row.intensity), row.minutes))
            .collect();
        let solved = constant_cv(&designed)?;
        let n = designed.len();
        let df = n.checked_sub(solved.free.len()).filter(|df| *df > 0)?;
        let variance = solved.weighted_squares / df as f64;
        let count = tools.len();
        Some(Self {
            per_tree: solved.b[..count].to_vec(),
            full_canopy: solved.b[count..2 * count].to_vec(),
            full_canopy_by_size: solved.b.get(2 * count).copied(),
            mean_size,
            cv: variance.sqrt(),
            df,
            level,
            used: n,
            dropped: 0,
            covariance: solved.inverse.iter().map(|v| v * variance).collect(),
            free: solved.free,
            tool_rows,
            tools,
        })
    }

    /// Rate of a tool for a tree of a size. A tool without minutes of its own takes the mean over
    /// tools, each as often as recorded; a size not known takes the mean size.
    #[must_use]
    pub fn rate(&self, tool: &str, size: Option<f64>) -> WorkRate {
        let at = |intensity| {
            let row = self.shape().row(tool, size, intensity);
            row.iter().zip(self.coefficients()).map(|(x, b)| x * b).sum::<f64>()
        };
        let fixed = at(0.0);
        WorkRate { minutes_per_tree: fixed, minutes_full_canopy: at(1.0) - fixed }
    }

    /// Expected minutes and bands.
    #[must_use]
    pub fn minutes(&self, tool: &str, size: Option<f64>, intensity: f64) -> Minutes {
        let row = self.shape().row(tool, size, intensity);
        let mean: f64 = row.iter().zip(self.coefficients()).map(|(x, b)| x * b).sum();
        let n = self.free.len();
        let mut variance = 0.0;
        for (i, &a) in self.free.iter().enumerate() {
            for (j, &b) in self.free.iter().enumerate() {
                variance += row[a] * row[b] * self.covariance[i * n + j];
            }
        }
        let t = StudentsT::new(0.0, 1.0, self.df as f64)
            .map_or(f64::NAN, |t| t.inverse_cdf(0.5 + self.level / 2.0));
        let limits = |sd: f64| [(mean - t * sd).max(0.0), mean + t * sd];
        Minutes {
            intensity,
            mean,
            mean_limits: limits(variance.sqrt()),
            new_tree_limits: limits((variance + (self.cv * mean).powi(2)).sqrt()),
        }
    }

    fn shape(&self) -> Shape<'_> {
        Shape { tools: &self.tools, tool_rows: &self.tool_rows, mean_size: self.mean_size }
    }

    fn coefficients(&self) -> impl Iterator<Item = f64> + '_ {
        self.per_tree.iter().chain(&self.full_canopy).chain(&self.full_canopy_by_size).copied()
    }
}

/// Which column of the design means what.
struct Shape<'a> {
    tools: &'a [String],
    tool_rows: &'a [usize],
    mean_size: Option<f64>,
}

impl Shape<'_> {
    fn row(&self, tool: &str, size: Option<f64>, intensity: f64) -> Vec<f64> {
        let known = self.tools.iter().any(|name| name == tool);
        let all = self.tool_rows.iter().sum::<usize>() as f64;
        let shares = self.tools.iter().zip(self.tool_rows).map(|(name, &rows)| match known {
            true => f64::from(u8::from(name == tool)),
            false => rows as f64 / all,
        });
        let mut row: Vec<f64> = shares.collect();
        row.extend(row.clone().iter().map(|share| share * intensity));
        if let Some(mean) = self.mean_size {
            row.push(intensity * size.map_or(1.0, |size| size / mean));
        }
        row
    }
}

struct Solved {
    b: Vec<f64>,
    free: Vec<usize>,
    inverse: Vec<f64>,
    weighted_squares: f64,
}

/// Non-negative least squares with weights 1 / mean^2, repeated until the means stay.
fn constant_cv(rows: &[(Vec<f64>, f64)]) -> Option<Solved> {
    let columns = rows.first()?.0.len();
    let overall = rows.iter().map(|row| row.1).sum::<f64>() / rows.len() as f64;
    let mut means = vec![overall; rows.len()];
    for _ in 0..200 {
        let mut normal = Normal::zero(columns);
        for ((row, y), mean) in rows.iter().zip(&means) {
            normal.add(row, *y, 1.0 / (mean * mean));
        }
        let (b, free) = non_negative(&normal)?;
        let fitted: Vec<f64> = rows
            .iter()
            .map(|(row, _)| row.iter().zip(&b).map(|(x, b)| x * b).sum::<f64>())
            // A mean near zero would take all the weight.
            .map(|mean| mean.max(0.01 * overall))
            .collect();
        let moved = fitted.iter().zip(&means).map(|(a, b)| (a / b - 1.0).abs()).fold(0.0, f64::max);
        means = fitted;
        if moved < 1e-11 {
            let inverse = normal.inverse(&free)?;
            let weighted_squares =
                rows.iter().zip(&means).map(|((_, y), mean)| (y / mean - 1.0).powi(2)).sum();
            return Some(Solved { b, free, inverse, weighted_squares });
        }
    }
    None
}

/// The rate to plan with: recorded where fitted, else stated.
///
/// # Errors
/// When there is neither.
pub fn work_rate(
    recorded: Option<&TimeFit>,
    tool: &str,
    size: Option<f64>,
    stated: Option<WorkRate>,
) -> Result<WorkRate, SettingError> {
    recorded.map(|fit| fit.rate(tool, size)).or(stated).ok_or_else(|| {
        SettingError::new(
            "[economics.pruning_time] minutes_per_tree",
            say!("fewer than {LEAST_TIMED} pruned trees carry minutes and no rate is stated"),
            text!("record minutes at pruning or state minutes_per_tree and minutes_full_canopy"),
        )
    })
}
