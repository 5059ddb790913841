//! Variance of a difference from variance components, as a closed formula.

use super::comparison::Comparison;
use super::components::Components;
use super::error::SizeError;
use super::trial_size::TrialSize;
use records::TrialDesign;
use serde::{Deserialize, Serialize};

/// How degrees of freedom follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DfMethod {
    /// Those of the one mean square that the comparison is tested with.
    Exact,
    /// Satterthwaite (1946) for a sum of mean squares.
    Satterthwaite,
}

/// What a component adds to the variance of a difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VariancePart {
    /// Component, as in [`Components`].
    pub component: String,
    /// Part of the variance.
    pub variance: f64,
}

/// How precisely two means are compared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Precision {
    /// Comparison.
    pub comparison: Comparison,
    /// Variance of the difference.
    pub variance: f64,
    /// Its square root, SEd.
    pub sed: f64,
    /// Degrees of freedom of its estimate.
    pub df: f64,
    /// How they follow.
    pub df_method: DfMethod,
    /// Degrees of freedom of the term between whose means the comparison is.
    pub term_df: f64,
    /// The variance by component; adds up to `variance`.
    pub parts: Vec<VariancePart>,
}

/// A mean square on the scale of one plot's mean over trees and seasons: value, degrees of freedom,
/// and its share in the variance of the difference.
struct MeanSquare {
    value: f64,
    df: f64,
    share: f64,
}

/// Precision of a comparison in a balanced trial.
///
/// With n trees per plot and s seasons the mean of a plot has error variance
/// plot + tree/n + plot_season/s + tree_season/(n s); a mean over r replicates divides it by r, and
/// treatment_season/s is added once when the answer is for other seasons. Expected mean squares of
/// nested and split units: Cochran and Cox (1957), Experimental Designs, chapters 4, 7 and 10;
/// comparisons over seasons: Patterson, Silvey, Talbot and Weatherup (1977), Journal of
/// Agricultural Science 89:239-245; incomplete blocks by their efficiency factor, without recovery
/// of information between blocks; augmented blocks: Federer (1956).
///
/// # Errors
/// Numbers out of range, a comparison that the design does not have, no degrees of freedom.
pub fn precision(
    size: &TrialSize,
    components: &Components,
    comparison: Comparison,
) -> Result<Precision, SizeError> {
    size.check()?;
    components.check()?;
    let (squares, term_df) = mean_squares(size, components, comparison)?;
    finish(size, components, comparison, &squares, term_df)
}

/// The mean squares behind a comparison, with the degrees of freedom of its term.
fn mean_squares(
    size: &TrialSize,
    components: &Components,
    comparison: Comparison,
) -> Result<(Vec<MeanSquare>, f64), SizeError> {
    let c = *components;
    let n = size.trees_per_plot as f64;
    let s = size.seasons as f64;
    let r = size.replicates as f64;
    let plot = c.plot + c.tree / n + c.plot_season / s + c.tree_season / (n * s);
    let main = c.main_plot + c.main_plot_season / s;
    let [a, b, d] = [size.main as f64, size.sub as f64, size.sub_sub as f64];
    let t = size.treatments as f64;
    let one = |value: f64, df: f64, share: f64| vec![MeanSquare { value, df, share }];
    let alien = || {
        SizeError::NotOfDesign(format!(
            "the design has no comparison of {}",
            match comparison {
                Comparison::Treatments => "treatments on plots: name main, sub or both",
                Comparison::Checks => "checks",
                Comparison::Main => "main-plot treatments",
                Comparison::Sub | Comparison::SubWithinMain => "sub-plot treatments",
                Comparison::SubSub | Comparison::SubSubWithin => "sub-sub-plot treatments",
                Comparison::MainAtSub | Comparison::MainBySub => "main-plot by sub-plot treatments",
            }
        ))
    };
    use Comparison as C;
    use TrialDesign as D;
    let (squares, term_df) = match (size.design, comparison) {
        (D::CompletelyRandomised, C::Treatments) => {
            (one(plot + c.replicate, t * (r - 1.0), 2.0 / r), t - 1.0)
        }
        (D::RandomisedBlocks, C::Treatments) => {
            (one(plot, (r - 1.0) * (t - 1.0), 2.0 / r), t - 1.0)
        }
        (D::LatinSquare, C::Treatments) => (one(plot, (t - 1.0) * (t - 2.0), 2.0 / t), t - 1.0),
        (D::IncompleteBlocks, C::Treatments) => {
            let df = r * t - r * size.blocks_per_replicate as f64 - t + 1.0;
            (one(plot, df, 2.0 / (r * size.efficiency)), t - 1.0)
        }
        (D::AugmentedBlocks, C::Treatments | C::Checks) => {
            let checks = size.checks as f64;
            let df = (checks - 1.0) * (r - 1.0);
            if comparison == C::Checks {
                (one(plot, df, 2.0 / r), checks - 1.0)
            } else {
                (one(plot, df, 2.0 * (1.0 + 1.0 / checks.max(1.0))), t - 1.0)
            }
        }
        (D::SplitPlot | D::SplitSplitPlot, _) => {
            // A split plot is a split-split plot whose sub plots are not split.
            let sub = if size.design == D::SplitPlot { 0.0 } else { c.sub_plot };
            let d = if size.design == D::SplitPlot { 1.0 } else { d };
            let e = [b * d * main + d * sub + plot, d * sub + plot, plot];
            let f =
                [(r - 1.0) * (a - 1.0), a * (r - 1.0) * (b - 1.0), a * b * (r - 1.0) * (d - 1.0)];
            match comparison {
                C::Main => (one(e[0], f[0], 2.0 / (r * b * d)), a - 1.0),
                C::Sub => (one(e[1], f[1], 2.0 / (r * a * d)), b - 1.0),
                C::SubWithinMain => (one(e[1], f[1], 2.0 / (r * d)), b - 1.0),
                C::MainBySub => (one(e[1], f[1], 4.0 / (r * d)), (a - 1.0) * (b - 1.0)),
                C::MainAtSub => {
                    let share = 2.0 / (r * b * d);
                    (
                        vec![
                            MeanSquare { value: e[0], df: f[0], share },
                            MeanSquare { value: e[1], df: f[1], share: share * (b - 1.0) },
                        ],
                        a - 1.0,
                    )
                }
                C::SubSub if size.design == D::SplitSplitPlot => {
                    (one(e[2], f[2], 2.0 / (r * a * b)), d - 1.0)
                }
                C::SubSubWithin if size.design == D::SplitSplitPlot => {
                    (one(e[2], f[2], 2.0 / r), d - 1.0)
                }
                _ => return Err(alien()),
            }
        }
        (D::StripPlot, _) => {
            let e = [b * main + plot, a * c.sub_plot + plot, plot];
            let f =
                [(r - 1.0) * (a - 1.0), (r - 1.0) * (b - 1.0), (r - 1.0) * (a - 1.0) * (b - 1.0)];
            let both = |high: usize, levels: f64| {
                let share = 2.0 / (r * levels);
                vec![
                    MeanSquare { value: e[high], df: f[high], share },
                    MeanSquare { value: e[2], df: f[2], share: share * (levels - 1.0) },
                ]
            };
            match comparison {
                C::Main => (one(e[0], f[0], 2.0 / (r * b)), a - 1.0),
                C::Sub => (one(e[1], f[1], 2.0 / (r * a)), b - 1.0),
                C::MainAtSub => (both(0, b), a - 1.0),
                C::SubWithinMain => (both(1, a), b - 1.0),
                C::MainBySub => (one(e[2], f[2], 4.0 / r), (a - 1.0) * (b - 1.0)),
                _ => return Err(alien()),
            }
        }
        _ => return Err(alien()),
    };
    let squares = if size.other_seasons { with_seasons(size, &c, squares)? } else { squares };
    Ok((squares, term_df))
}

/// Adds treatment by season: (treatment x season) - (plot x season) mean squares, so that the
/// expected variance gains treatment_season / s.
fn with_seasons(
    size: &TrialSize,
    c: &Components,
    mut squares: Vec<MeanSquare>,
) -> Result<Vec<MeanSquare>, SizeError> {
    use TrialDesign as D;
    if !matches!(size.design, D::CompletelyRandomised | D::RandomisedBlocks | D::LatinSquare) {
        return Err(SizeError::NotOfDesign(
            "other seasons are reckoned for completely randomised, randomised block and Latin square trials only".to_owned(),
        ));
    }
    if size.seasons < 2 {
        return Err(SizeError::NoError {
            arithmetic: "one season says nothing about how treatments change between seasons: 1 - 1 = 0 degrees of freedom".to_owned(),
        });
    }
    let (n, s, t) = (size.trees_per_plot as f64, size.seasons as f64, size.treatments as f64);
    let Some((share, df)) = squares.first().map(|square| (square.share, square.df)) else {
        return Ok(squares);
    };
    let means = if size.design == D::LatinSquare { t } else { size.replicates as f64 };
    let error = (c.plot_season + c.tree_season / n) / s;
    let between = error + means * c.treatment_season / s;
    squares.push(MeanSquare { value: between, df: (t - 1.0) * (s - 1.0), share });
    squares.push(MeanSquare { value: error, df: df * (s - 1.0), share: -share });
    Ok(squares)
}

fn finish(
    size: &TrialSize,
    c: &Components,
    comparison: Comparison,
    squares: &[MeanSquare],
    term_df: f64,
) -> Result<Precision, SizeError> {
    if term_df < 1.0 {
        return Err(SizeError::NoError {
            arithmetic: "one mean leaves nothing to compare".to_owned(),
        });
    }
    if let Some(none) = squares.iter().find(|square| square.df < 1.0) {
        return Err(SizeError::NoError {
            arithmetic: format!(
                "{} replicate(s) of this design leave {} degrees of freedom",
                size.replicates, none.df
            ),
        });
    }
    let variance: f64 = squares.iter().map(|square| square.share * square.value).sum();
    super::error::checked("variance of the difference", variance, "above 0", |v| v > 0.0)?;
    let (df, df_method) = match squares {
        [only] => (only.df, DfMethod::Exact),
        _ => {
            let below: f64 = squares.iter().map(|sq| (sq.share * sq.value).powi(2) / sq.df).sum();
            (variance * variance / below, DfMethod::Satterthwaite)
        }
    };
    Ok(Precision {
        comparison,
        variance,
        sed: variance.sqrt(),
        df,
        df_method,
        term_df,
        parts: parts(size, c, comparison, variance)?,
    })
}

/// The variance by component: it is linear in the components, so each one alone gives its part.
fn parts(
    size: &TrialSize,
    c: &Components,
    comparison: Comparison,
    variance: f64,
) -> Result<Vec<VariancePart>, SizeError> {
    let none = Components::default();
    let single = [
        ("replicate", Components { replicate: c.replicate, ..none }),
        ("main_plot", Components { main_plot: c.main_plot, ..none }),
        ("sub_plot", Components { sub_plot: c.sub_plot, ..none }),
        ("plot", Components { plot: c.plot, ..none }),
        ("tree", Components { tree: c.tree, ..none }),
        ("treatment_season", Components { treatment_season: c.treatment_season, ..none }),
        ("main_plot_season", Components { main_plot_season: c.main_plot_season, ..none }),
        ("plot_season", Components { plot_season: c.plot_season, ..none }),
        ("tree_season", Components { tree_season: c.tree_season, ..none }),
    ];
    let mut parts = Vec::new();
    for (component, alone) in single {
        let (squares, _) = mean_squares(size, &alone, comparison)?;
        let part: f64 = squares.iter().map(|square| square.share * square.value).sum();
        if part > 1e-14 * variance {
            parts.push(VariancePart { component: component.to_owned(), variance: part });
        }
    }
    Ok(parts)
}
