//! One call from the analyses of several environments to their combined analysis.

use super::stability::{Stability, stability};
use super::stack::{Called, Stack};
use super::{Environment, EnvironmentsAre, Homogeneity, PooledError, Weighting};
use super::{exact, mixed_model, own_errors};
use crate::analysis::{Analysis, Curve, MeansOfTerm, Polynomial};
use crate::compare::{Adjustment, ComparisonTable, EstimatedMeans, Pairs};
use crate::names::name_in_words;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// How the environments were combined.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PooledMethod {
    /// Combined analysis of variance.
    Exact,
    /// Mixed model by REML with Kenward and Roger's tests.
    Mixed,
    /// The same with plots weighted by one over the error mean square of their environment.
    MixedWeighted,
    /// Means over environments that count alike, each with its own error mean square and degrees of freedom.
    OwnErrors,
}

/// What a line of the combined table is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PooledKind {
    /// A treatment term.
    Term,
    /// A treatment term by environments, or by sites or seasons.
    TermByEnvironments,
    /// Environments, strata within them, error and total.
    Other,
}

/// A line of the combined table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PooledRow {
    /// Source.
    pub source: String,
    /// What it is of.
    pub kind: PooledKind,
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
    /// What it was judged against.
    pub judged_against: Option<String>,
}

/// A treatment over environments.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PooledMean {
    /// Treatment.
    pub treatment: String,
    /// Mean over environments, equally weighted or by the model.
    pub mean: f64,
    /// Adjusted mean in each environment, in the order of the environments; `None` where its own
    /// analysis gives none.
    pub by_environment: Vec<Option<f64>>,
}

pub(super) struct Table {
    pub(super) rows: Vec<PooledRow>,
    pub(super) means: EstimatedMeans,
    pub(super) interaction_variance: Option<f64>,
    pub(super) polynomials: Vec<Polynomial>,
    pub(super) curves: Vec<Curve>,
}

/// The combined analysis.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pooled {
    /// Environments in order.
    pub environments: Vec<String>,
    /// Whether all of them are sites, and called so.
    pub of_sites: bool,
    /// What they are taken as.
    pub environments_are: EnvironmentsAre,
    /// How they were combined.
    pub method: PooledMethod,
    /// What is fixed, what is random, what is judged against what.
    pub words: Vec<String>,
    /// Error variances and their tests.
    pub homogeneity: Homogeneity,
    /// Combined table.
    pub table: Vec<PooledRow>,
    /// Variance of treatment by environment, units squared; by mean squares it can be negative.
    pub interaction_variance: Option<f64>,
    /// Means of the treatments.
    pub means: Vec<PooledMean>,
    /// The same as estimates with their errors, for other comparisons.
    pub estimated: EstimatedMeans,
    /// All differences, unadjusted, at 5 %; its minimum difference is the critical difference.
    pub differences: ComparisonTable,
    /// Components of each factor of three amounts or more, averaged over the other factors and judged
    /// as the differences are.
    pub polynomials: Vec<Polynomial>,
    /// The quadratic of each, with its optimum over all environments.
    pub curves: Vec<Curve>,
    /// Stability of each treatment; empty where a mean by environment is missing.
    pub stability: Vec<Stability>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Combines environments.
///
/// # Errors
/// Fewer than two environments, fewer than two treatments in common, an environment without error,
/// or a mixed model that was not fitted.
pub fn combine(
    environments: &[Environment<'_>],
    environments_are: EnvironmentsAre,
    weighting: Weighting,
) -> Result<Pooled, PooledError> {
    let stack = Stack::new(environments)?;
    let first = environments.first().ok_or(PooledError::TooFew(0))?.analysis;
    let homogeneity = Homogeneity::new(environments)?;
    let unequal = homogeneity.bartlett.made().is_some_and(|t| t.p_value < 0.05);
    let weighted = match weighting {
        Weighting::Equal => false,
        Weighting::InverseErrorVariance => true,
        Weighting::ByTest => unequal,
    };
    let by_table = match (weighted, environments_are) {
        (false, _) => exact::table(first, &stack, environments_are)?,
        (true, EnvironmentsAre::Fixed) => own_errors::table(first, &stack, environments)?,
        (true, EnvironmentsAre::Random) => None,
    };
    let (table, method) = match by_table {
        Some(table) if weighted => (table, PooledMethod::OwnErrors),
        Some(table) => (table, PooledMethod::Exact),
        None if weighted => {
            let weights = weights(&stack, &homogeneity);
            let table = mixed_model::table(first, &stack, environments_are, Some(&weights))?;
            (table, PooledMethod::MixedWeighted)
        }
        None => (mixed_model::table(first, &stack, environments_are, None)?, PooledMethod::Mixed),
    };
    let mut notes = stack.notes.clone();
    if method == PooledMethod::MixedWeighted {
        notes.push(weights_caution());
    } else if method == PooledMethod::OwnErrors {
        notes.push(say!(
            "A mean over {places} counts each {place} once: the {place} with the largest error moves it as much as any \
             other, and the critical difference is wide by it. Differences within one {place} are judged by its own \
             error below.",
            places = stack.called.places(),
            place = stack.called.place()
        ));
    } else if unequal {
        notes.push(say!(
            "Error variances differ between {places}, and plots were weighted alike: judge \
             differences within one {place} by its own error.",
            places = stack.called.places(),
            place = stack.called.place()
        ));
    }
    if environments_are == EnvironmentsAre::Random && stack.environments.len() < 4 {
        notes.push(say!(
            "{} {places} say little of how treatments vary between {places}; the tests \
             have few degrees of freedom.",
            stack.environments.len(),
            places = stack.called.places()
        ));
    }
    let by_environment: Vec<Vec<Option<f64>>> = stack
        .treatments
        .iter()
        .map(|name| environments.iter().map(|e| mean_in(e, name)).collect())
        .collect();
    let complete: Option<Vec<Vec<f64>>> =
        by_environment.iter().map(|row| row.iter().copied().collect()).collect();
    let means = stack
        .treatments
        .iter()
        .zip(table.means.values())
        .zip(by_environment)
        .map(|((treatment, mean), by_environment)| PooledMean {
            treatment: treatment.clone(),
            mean: *mean,
            by_environment,
        })
        .collect();
    Ok(Pooled {
        differences: ComparisonTable::new(&table.means, &Pairs::All, Adjustment::Unadjusted, 0.05)?,
        words: words(&stack, environments_are, method),
        environments: stack.environments.clone(),
        of_sites: stack.called == Called::Sites,
        environments_are,
        method,
        homogeneity,
        table: table.rows,
        interaction_variance: table.interaction_variance,
        polynomials: table.polynomials,
        curves: table.curves,
        means,
        estimated: table.means,
        stability: complete.map_or_else(Vec::new, |m| stability(&stack.treatments, &m)),
        notes,
    })
}

/// Weight of each plot: the smallest error mean square over that of its environment.
fn weights(stack: &Stack, homogeneity: &Homogeneity) -> Vec<f64> {
    let square = |e: usize| homogeneity.errors.get(e).map_or(1.0, |e| e.mean_square);
    let smallest = (0..homogeneity.errors.len()).map(square).fold(f64::INFINITY, f64::min);
    stack.environment.iter().map(|e| smallest / square(*e)).collect()
}

/// Adjusted mean of a treatment in one environment, from the term that tells all treatments apart.
fn mean_in(environment: &Environment<'_>, name: &str) -> Option<f64> {
    let (table, at) = table_of_cells(environment.analysis, name)?;
    table.means.get(at)?.mean
}

/// The means of an analysis that tell all treatments apart, with the place of a treatment among them.
pub(super) fn table_of_cells<'a>(
    analysis: &'a Analysis,
    name: &str,
) -> Option<(&'a MeansOfTerm, usize)> {
    let plan = &analysis.plan;
    let cell = plan.cells.iter().position(|c| c.name == name)?;
    for table in &analysis.means {
        let Some(position) = table.position else {
            let is_own = |level: Option<&String>| level.is_some_and(|level| level == name);
            if let Some(at) = table.means.iter().position(|m| is_own(m.levels.first())) {
                return Some((table, at));
            }
            continue;
        };
        let Some(term) = plan.terms.get(position) else { continue };
        let groups = plan.groups_of(term);
        if let Some(at) = groups.iter().position(|(_, cells)| cells.as_slice() == [cell]) {
            return Some((table, at));
        }
    }
    None
}

fn words(stack: &Stack, environments_are: EnvironmentsAre, method: PooledMethod) -> Vec<String> {
    let strata: Vec<String> = stack.strata.iter().map(|s| name_in_words(&s.name)).collect();
    let (place, places) = (stack.called.place(), stack.called.places());
    let within = if strata.is_empty() {
        String::new()
    } else {
        say!(", {} within {places}", strata.join(", "))
    };
    let mut words = vec![match environments_are {
        EnvironmentsAre::Random => say!(
            "Fixed: treatments. Random: {places}{}, treatment by {place}{within}. \
             Treatments are judged against their interaction with {places}, so that \
             conclusions reach beyond these {}.",
            if stack.crossing.is_some() { text!(" (sites, seasons and both)") } else { "" },
            stack.environments.len()
        ),
        EnvironmentsAre::Fixed => say!(
            "Fixed: treatments, {places}, treatment by {place}. Random: plots{within}. \
             Conclusions are for these {} {places} alone.",
            stack.environments.len()
        ),
    }];
    words.push(match method {
        PooledMethod::Exact => {
            say!(
                "Combined analysis of variance: every treatment has as many plots in every \
                 {place}."
            )
        }
        PooledMethod::Mixed => text!(
            "Mixed model by REML with Kenward and Roger's degrees of freedom: plots are \
                 unequal in number or have errors of several strata."
        )
        .to_owned(),
        PooledMethod::MixedWeighted => {
            say!(
                "Mixed model by REML with plots weighted by one over the error mean square of \
                 their {place}, because error variances differ."
            )
        }
        PooledMethod::OwnErrors => {
            say!(
                "Error variances differ, so that each {place} brings its own: the variance of a mean over {places} is \
                 the sum of theirs, with degrees of freedom by Satterthwaite (1946, Biometrics Bull. 2:110-114), and F \
                 tests of several have those of Kenward and Roger (1997)."
            )
        }
    });
    words
}

/// What a reader of a weighted analysis must know.
pub(crate) fn weights_caution() -> String {
    say!(
        "Weights are one over estimated error variances: with few degrees of freedom each, tests \
         of the weighted analysis are somewhat too sharp (Cochran 1937, J. R. Stat. Soc. Suppl. \
         4:102-118)."
    )
}
