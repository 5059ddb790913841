//! What an analysis of a trial says; every number that cannot be given is `None` with its reason beside it.

use crate::design::Plan;
use serde::{Deserialize, Serialize};

/// How the trial was fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MethodUsed {
    /// Exact analysis of variance by strata.
    Strata,
    /// Least squares with fixed blocks; one error. Exact also where plots are lost.
    LeastSquares,
    /// Mixed model by REML with random strata, judged by Kenward and Roger (1997).
    KenwardRoger,
}

/// How the trial was fitted and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Method {
    /// Way of fitting.
    pub used: MethodUsed,
    /// Why this way.
    pub why: String,
    /// Names of the strata that enter as fixed blocks.
    pub fixed_blocks: Vec<String>,
    /// Names of the strata whose groups are random, the units last.
    pub random: Vec<String>,
}

/// Kind of a line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AnovaKind {
    /// Blocks, rows, columns, replicates.
    Blocks,
    /// Treatment term.
    Term,
    /// Covariate.
    Covariate,
    /// Error of a stratum.
    Error,
    /// About the overall mean.
    Total,
}

/// Expected mean square as a sum of variance components and a treatment part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExpectedMeanSquare {
    /// Coefficient of the variance component of each stratum.
    pub components: Vec<(String, f64)>,
    /// For a treatment term: units behind each of its means, which multiply the sum of squared
    /// effects divided by the degrees of freedom.
    pub effects: Option<f64>,
    /// In words.
    pub words: String,
}

/// A line of the analysis of variance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AnovaRow {
    /// Stratum.
    pub stratum: String,
    /// Source.
    pub source: String,
    /// Kind.
    pub kind: AnovaKind,
    /// Position of the term in [`Plan::terms`].
    pub term: Option<usize>,
    /// Degrees of freedom.
    pub df: f64,
    /// Denominator's degrees of freedom.
    pub df_denominator: Option<f64>,
    /// Sum of squares; none in a mixed model.
    pub ss: Option<f64>,
    /// Mean square.
    pub ms: Option<f64>,
    /// F.
    pub f: Option<f64>,
    /// Upper tail probability.
    pub p: Option<f64>,
    /// Expected mean square, where balanced.
    pub expected: Option<ExpectedMeanSquare>,
    /// What the reader should know of the line, or why it has no test.
    pub note: Option<String>,
}

/// An adjusted mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mean {
    /// Level of each part of the term.
    pub levels: Vec<String>,
    /// Units behind it.
    pub units: usize,
    /// Mean over equally weighted levels of the other factors (and blocks); `None` where some
    /// treatment in it has no plot.
    pub mean: Option<f64>,
    /// Standard error of the mean itself, with blocks taken as given and random groups as sampled.
    pub std_error: Option<f64>,
    /// Its degrees of freedom.
    pub df: Option<f64>,
    /// Plain mean of its units.
    pub plain: Option<f64>,
}

/// Difference of two means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Positions of the means; the difference is first less second.
    pub first: usize,
    /// Second mean.
    pub second: usize,
    /// Difference.
    pub difference: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Two-sided p-value, unadjusted.
    pub p: Option<f64>,
}

/// One kind of comparison between means of a term, as a table's foot gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// Kind in words, such as `intensity at the same date`.
    pub words: String,
    /// Parts of the term in which the two means differ, one list for each kind that shares the
    /// numbers.
    pub differ: Vec<Vec<usize>>,
    /// Pairs of this kind.
    pub pairs: usize,
    /// Whether every pair has the same standard error and degrees of freedom; else those below are
    /// root mean square and mean.
    pub equal: bool,
    /// Smallest and largest standard error of a difference.
    pub sed_range: (f64, f64),
    /// Standard error of a difference, SEd.
    pub sed: f64,
    /// SEd / sqrt 2, the SEm of a table's foot.
    pub sem: f64,
    /// Degrees of freedom of SEd; Satterthwaite's (1946) where it mixes errors, Kenward and
    /// Roger's in a mixed model.
    pub df: f64,
    /// Errors that SEd mixes, each with its degrees of freedom; empty in a mixed model.
    pub errors: Vec<(String, f64)>,
    /// Critical difference at 5 %: t of `df` times SEd.
    pub cd5: Option<f64>,
    /// Critical difference at 1 %.
    pub cd1: Option<f64>,
    /// Critical difference at 5 % by the t weighted with the variances (Cochran and Cox
    /// 1957), where SEd mixes errors.
    pub cd5_weighted: Option<f64>,
    /// The same at 1 %.
    pub cd1_weighted: Option<f64>,
}

/// Means of a term.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeansOfTerm {
    /// Name of the term; `treatments` for every cell of a trial with a control beside the factorial
    /// or with checks.
    pub term: String,
    /// Position of the term in [`Plan::terms`].
    pub position: Option<usize>,
    /// Factors or other parts, in the order of [`Mean::levels`].
    pub parts: Vec<String>,
    /// Means, levels in order.
    pub means: Vec<Mean>,
    /// Kinds of comparisons.
    pub comparisons: Vec<Comparison>,
    /// All pairs with their own errors; empty above 1000 pairs.
    pub pairs: Vec<Pair>,
    /// Covariance of the means, such that pairs and contrasts can be judged together; `None` where
    /// a mean or a pair is missing. Only differences are meant: a constant common to all entries
    /// is arbitrary.
    pub covariance: Option<Vec<Vec<f64>>>,
    /// What could not be estimated.
    pub note: Option<String>,
}

/// Coefficient of variation of a stratum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Variation {
    /// Stratum.
    pub stratum: String,
    /// Root of the error mean square over the mean, in per cent.
    pub percent: f64,
    /// The convention in words.
    pub convention: String,
    /// The same by group means: root of the error mean square over units per group, over the mean.
    pub percent_of_group_means: Option<f64>,
    /// That convention in words.
    pub convention_of_group_means: Option<String>,
    /// Units per group, their harmonic mean where groups differ; `None` where groups are units.
    pub units_per_group: Option<f64>,
}

/// Variance component of a stratum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VarianceComponentOfTrial {
    /// Stratum.
    pub stratum: String,
    /// Estimate; by mean squares it can be negative, and is then given as it is.
    pub variance: f64,
    /// Upper 95 % limit of an estimate of 0 by REML.
    pub upper: Option<f64>,
    /// How it was estimated.
    pub how: String,
}

/// Trees within plots as sampling units.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sampling {
    /// Trees with a value.
    pub trees: usize,
    /// Trees by plot where equal, else their harmonic mean.
    pub per_plot: f64,
    /// Variance between trees of one plot (and season).
    pub tree_variance: f64,
    /// Its degrees of freedom.
    pub df: usize,
    /// Variance between plots in one season beyond what their trees explain, what plots have in
    /// common over seasons among it; negative as estimated. `None` where
    /// the mixed model gives it among the components.
    pub plot_variance: Option<f64>,
    /// Statement that trees were not counted as replicates.
    pub words: String,
}

/// A unit with what the model says of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitResidual {
    /// Position in [`Plan::units`].
    pub unit: usize,
    /// Fitted value, with random groups taken as given.
    pub fitted: f64,
    /// Observed less fitted.
    pub residual: f64,
    /// Leverage of the unit in that fit, 0 to 1.
    pub leverage: f64,
}

/// Least squares in which every stratum but the units is taken as given: what residual checks use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residuals {
    /// By unit.
    pub units: Vec<UnitResidual>,
    /// Residual mean square.
    pub mean_square: f64,
    /// Its degrees of freedom.
    pub df: usize,
}

/// Efficiency of the blocking used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Efficiency {
    /// What is compared with what.
    pub words: String,
    /// Error variance without the blocking over that with it; above 1 blocking paid.
    pub relative: f64,
    /// The same allowing for the degrees of freedom lost (Fisher 1935), where it applies.
    pub corrected: Option<f64>,
    /// Source of the formula.
    pub source: String,
}

/// The analysis of one trait of one trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// The plan analysed.
    pub plan: Plan,
    /// How and why.
    pub method: Method,
    /// Mean of the units.
    pub grand_mean: f64,
    /// Analysis of variance.
    pub anova: Vec<AnovaRow>,
    /// Means of every term.
    pub means: Vec<MeansOfTerm>,
    /// Coefficients of variation.
    pub variation: Vec<Variation>,
    /// Variance components.
    pub components: Vec<VarianceComponentOfTrial>,
    /// Trees within plots, where plots hold several.
    pub sampling: Option<Sampling>,
    /// Components of amounts: linear, quadratic and so on.
    pub polynomials: Vec<super::polynomial::Polynomial>,
    /// Quadratic curves over amounts with their optimum.
    pub curves: Vec<super::curve::Curve>,
    /// The covariate.
    pub covariate: Option<super::covariate::CovariateAdjustment>,
    /// Efficiency of blocking.
    pub efficiency: Vec<Efficiency>,
    /// Residuals.
    pub residuals: Option<Residuals>,
    /// Notes of the plan and of the analysis.
    pub notes: Vec<String>,
}
