//! What an analysis of a trait on its own scale says.

use crate::analysis::Analysis;
use crate::compare::{Adjustment, ComparisonTable, EstimatedMeans, PairDf, Pairs};
use serde::{Deserialize, Serialize};

/// Model or transformation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TraitModel {
    /// Analysed as measured.
    AsMeasured,
    /// Square roots.
    SquareRoot,
    /// Natural logarithms.
    Logarithm,
    /// Arcsines of the roots of shares.
    Arcsine,
    /// Logits of shares.
    Logit,
    /// Poisson with a log link.
    Poisson,
    /// Negative binomial with a log link.
    NegativeBinomial,
    /// Binomial with a logit link.
    Binomial,
    /// Binomial with a logit link, variances as of numbers that clump within plots.
    BinomialClumped,
}

/// What the data say about the choice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TraitEvidence {
    /// Units: plots, or trees where plots are unequal.
    pub units: usize,
    /// Share of units that are zero, 0 to 1.
    pub share_zero: f64,
    /// Slope of log variance on log mean over treatments (Taylor 1961): 0 for additive errors, 1 for
    /// counts without clumping, 2 for errors in proportion. `None` with fewer than three
    /// treatments that have a mean and a variance above 0.
    pub variance_slope: Option<f64>,
    /// Pearson's chi-squared over its df under Poisson or binomial errors.
    pub dispersion: Option<f64>,
    /// Its p-value against a dispersion of 1.
    pub dispersion_p: Option<f64>,
    /// Power of Box and Cox (1964) best supported by the residuals, with its 95 % limits.
    pub power: Option<(f64, f64, f64)>,
}

/// Mean of a treatment on the natural scale, with an interval that is not symmetric about it where
/// the scale of the analysis is another one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NaturalMean {
    /// Treatment.
    pub treatment: String,
    /// Mean: in the trait's unit; per unit of exposure for counts; a share, 0 to 1, of proportions.
    pub mean: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
    /// The same on the scale of the analysis.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
}

/// Difference of two treatments.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NaturalDifference {
    /// First treatment.
    pub first: String,
    /// Second treatment.
    pub second: String,
    /// First less second on the scale of the analysis.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Ratio of means (log scales) or of odds (logits), with 95 % limits; `None` on other scales.
    pub ratio: Option<(f64, f64, f64)>,
    /// Two-sided p-value, unadjusted.
    pub p_value: f64,
}

/// A joint test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TraitTest {
    /// F.
    pub f: f64,
    /// Numerator's degrees of freedom.
    pub df: f64,
    /// Denominator's.
    pub df_denominator: f64,
    /// p-value.
    pub p_value: f64,
}

/// Test of one term on the scale of the analysis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TermTest {
    /// Name of the term, as in the plan.
    pub term: String,
    /// Whether seasons are part of it.
    pub seasonal: bool,
    /// Whether it is of several factors, or of one with the season.
    pub interaction: bool,
    /// Its test.
    pub test: TraitTest,
}

/// Analysis of a trait by the model or transformation that suits it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TraitAnalysis {
    /// Model or transformation.
    pub model: TraitModel,
    /// Why, from the data, in a sentence.
    pub why: String,
    /// The evidence.
    pub evidence: TraitEvidence,
    /// Treatments on the natural scale; those without a plot or not estimable are left out and
    /// named in the notes.
    pub means: Vec<NaturalMean>,
    /// Differences of all pairs.
    pub differences: Vec<NaturalDifference>,
    /// Treatments over equally weighted seasons, where there are several; averaged on the scale of
    /// the analysis.
    pub over_seasons: Vec<NaturalMean>,
    /// Covariance of these on the scale of the analysis, in their order.
    #[serde(default)]
    pub over_seasons_covariance: Vec<Vec<f64>>,
    /// Test of all treatments, over the seasons where there are several; for transformations the
    /// analysis of variance has it by term.
    pub test: Option<TraitTest>,
    /// Tests term by term, none for transformations.
    pub terms: Vec<TermTest>,
    /// Degrees of freedom of the intervals.
    pub df: f64,
    /// The analysis on the transformed scale, where a transformation was used.
    pub analysis: Option<Box<Analysis>>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Level at which treatments over the seasons are compared.
const LEVEL: f64 = 0.05;

impl TraitAnalysis {
    /// Treatments over the seasons compared on the scale of the analysis, on the degrees of freedom
    /// of the error that treatments are laid out against; where that scale is logs or logits,
    /// differences and limits are logs of ratios of means or of odds. `None` in a trial of one
    /// season, with fewer than two treatments seen in every season, or for an adjustment that does
    /// not go with the pairs.
    #[must_use]
    pub fn compared_over_seasons(
        &self,
        pairs: &Pairs,
        adjustment: Adjustment,
    ) -> Option<ComparisonTable> {
        let names = self.over_seasons.iter().map(|mean| mean.treatment.clone()).collect();
        let values = self.over_seasons.iter().map(|mean| mean.estimate).collect();
        let covariance = self.over_seasons_covariance.iter().flatten().copied().collect();
        let means = EstimatedMeans::new(names, values, covariance, PairDf::Common(self.df)).ok()?;
        ComparisonTable::new(&means, pairs, adjustment, LEVEL).ok()
    }
}
