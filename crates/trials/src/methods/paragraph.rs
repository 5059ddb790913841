//! Sentences of the methods paragraph.

use crate::analysis::{Analysis, MethodUsed};
use crate::checks::{Answer, ResidualChecks, TestOutcome};
use crate::compare::{ComparisonTable, Letters};
use crate::design::list;
use crate::names::name_in_words;
use crate::observations::TraitKind;
use crate::pooled::{Pooled, PooledMethod, weights_caution};
use crate::traits::{TraitAnalysis, TraitModel};
use std::collections::BTreeSet;
use words::{capital, say, text};

/// Results that the paragraph speaks of; what is not given is not mentioned.
#[derive(Debug, Clone, Copy)]
pub struct Methods<'a> {
    /// Analysis of the trial.
    pub analysis: &'a Analysis,
    /// Comparisons shown beside it.
    pub comparisons: &'a [ComparisonTable],
    /// Letters shown beside it.
    pub letters: Option<&'a Letters>,
    /// Checks of its residuals.
    pub checks: Option<&'a ResidualChecks>,
    /// Combination with other seasons or sites.
    pub pooled: Option<&'a Pooled>,
    /// The trait on its own scale.
    pub on_own_scale: Option<&'a TraitAnalysis>,
}

impl<'a> Methods<'a> {
    /// Speaks of an analysis alone.
    #[must_use]
    pub fn of(analysis: &'a Analysis) -> Self {
        Methods {
            analysis,
            comparisons: &[],
            letters: None,
            checks: None,
            pooled: None,
            on_own_scale: None,
        }
    }

    /// The paragraph, ready for a paper.
    #[must_use]
    pub fn paragraph(&self) -> String {
        let mut sentences = self.analysis.plan.words.clone();
        sentences.push(self.units());
        sentences.extend(self.own_scale());
        sentences.push(self.fitting());
        sentences.extend(self.covariate());
        sentences.push(errors(self.analysis));
        sentences.extend(self.amounts());
        sentences.extend(self.comparisons());
        sentences.extend(self.checks.map(checks));
        sentences.extend(self.pooled());
        sentences.push(say!(
            "Computations were made by Anacurve {} (crate trials).",
            env!("CARGO_PKG_VERSION")
        ));
        sentences.join(" ")
    }

    fn units(&self) -> String {
        let plan = &self.analysis.plan;
        let unit = match plan.observed.unit.as_str() {
            "" => String::new(),
            unit => format!(" ({unit})"),
        };
        let seasons: BTreeSet<i32> = plan.units.iter().filter_map(|unit| unit.season).collect();
        let (units, plots) = (plan.units.len(), plan.plots);
        let from = match (plan.units_are_trees, seasons.len() > 1) {
            (true, true) => say!("{units} tree-seasons in {plots} plots"),
            (true, false) => say!("{units} trees in {plots} plots"),
            (false, true) => {
                say!("{units} means of {plots} plots in {} seasons", seasons.len())
            }
            (false, false) => say!("{units} plot means"),
        };
        let mut text = say!("{}{unit} was analysed from {from}", capital(&plan.observed.name));
        if let Some(sampling) = &self.analysis.sampling {
            text.push_str(&match (plan.units_are_trees, seasons.len() > 1) {
                (true, _) => text!("; trees were sampling units and not replicates").to_owned(),
                (false, true) => say!(
                    " over {} tree-seasons; trees were sampling units and not replicates",
                    sampling.trees
                ),
                (false, false) => {
                    say!(
                        " over {} trees, which were sampling units and not replicates",
                        sampling.trees
                    )
                }
            });
        }
        text.push('.');
        text
    }

    fn own_scale(&self) -> Option<String> {
        let found = self.on_own_scale?;
        let back = if found.means.iter().any(|m| m.estimate != m.mean) {
            text!("; means are given back on the natural scale with 95 % limits")
        } else {
            ""
        };
        let measured = self.analysis.plan.observed.kind == TraitKind::Measured;
        if measured && found.model != TraitModel::AsMeasured {
            return Some(say!(
                "The analysis of variance, means and critical differences are of the trait as \
                 measured; beside them treatments were compared on another scale: {}{back}.",
                found.why
            ));
        }
        Some(say!("Choice of the model: {}{back}.", found.why))
    }

    fn fitting(&self) -> String {
        let method = &self.analysis.method;
        let said = |names: &[String]| {
            let names = names.iter().map(|name| crate::name_in_words(name));
            names.collect::<Vec<_>>().join(", ")
        };
        let random = said(&method.random);
        let blocks = if method.fixed_blocks.is_empty() {
            String::new()
        } else {
            say!(", with {} as fixed blocks", said(&method.fixed_blocks))
        };
        match method.used {
            MethodUsed::Strata => {
                say!(
                    "The analysis of variance is exact, with each term judged against the error of its \
                 own stratum."
                )
            }
            MethodUsed::LeastSquares => say!(
                "The model was fitted by least squares to the plots that are there{blocks}, with \
                 each term adjusted for the others."
            ),
            MethodUsed::KenwardRoger => say!(
                "A mixed model with errors of {random}{blocks} was fitted by REML; tests and standard \
                 errors follow Kenward and Roger (1997)."
            ),
        }
    }

    fn covariate(&self) -> Option<String> {
        let covariate = self.analysis.covariate.as_ref()?;
        Some(say!(
            "Means were adjusted to the mean of the covariate {} ({}) by one common slope.",
            name_in_words(&covariate.name),
            rounded(covariate.mean)
        ))
    }

    fn amounts(&self) -> Vec<String> {
        let mut sentences = Vec::new();
        let terms = once(self.analysis.polynomials.iter().map(|p| name_in_words(&p.term)));
        if !terms.is_empty() {
            sentences.push(say!(
                "Orthogonal polynomials over the actual spacing of the amounts, as contrasts of the adjusted \
                 means with equal weights, divided {}.",
                terms.join(", ")
            ));
        }
        let curves = once(self.analysis.curves.iter().map(|c| name_in_words(&c.factor)));
        if !curves.is_empty() {
            sentences.push(say!(
                "A quadratic curve over {} gave the optimum with its inverted set of Fieller (1954), \
                 inside the tested range only.",
                curves.join(", ")
            ));
        }
        sentences
    }

    fn comparisons(&self) -> Vec<String> {
        let tables = self.comparisons.iter();
        let kinds = grouped(tables.map(|t| ((t.level, t.adjustment.name()), t.rows.len())));
        let mut sentences: Vec<String> = kinds
            .iter()
            .map(|((level, adjustment), counts)| {
                let differences = joined(counts.iter().map(ToString::to_string));
                let adjustment = match counts.len() {
                    1 => (*adjustment).to_owned(),
                    _ => say!("{adjustment}, each table by itself"),
                };
                let several = counts.iter().sum::<usize>() > 1;
                let noun = if several { text!("differences") } else { text!("difference") };
                say!(
                    "Judged at {}: {differences} {noun} (adjustment: {adjustment}).",
                    percent(*level)
                )
            })
            .collect();
        if let Some(letters) = self.letters {
            sentences.push(say!(
                "Letters were assigned by insert and absorb (Piepho 2004). {}",
                letters.warning
            ));
        }
        sentences
    }

    fn pooled(&self) -> Vec<String> {
        let Some(pooled) = self.pooled else { return Vec::new() };
        let mut sentences = vec![say!(
            "{} {places} ({}) were combined.",
            pooled.environments.len(),
            pooled.environments.join(", "),
            places = if pooled.of_sites { text!("sites") } else { text!("environments") }
        )];
        if let Answer::Made(test) = &pooled.homogeneity.bartlett {
            sentences.push(say!("Error variances were compared by {}.", told(test)));
        }
        sentences.extend(pooled.words.iter().cloned());
        let terms = once(pooled.polynomials.iter().map(|p| name_in_words(&p.term)));
        if !terms.is_empty() {
            sentences.push(say!(
                "The combined means over {} were divided by orthogonal polynomials in the same way.",
                terms.join(", ")
            ));
        }
        let curves = once(pooled.curves.iter().map(|c| name_in_words(&c.factor)));
        if !curves.is_empty() {
            sentences.push(say!(
                "A quadratic curve over {} of the combined means gave one optimum for all, with its set by the \
                 error that judges these means.",
                curves.join(", ")
            ));
        }
        if pooled.method == PooledMethod::MixedWeighted {
            sentences.push(weights_caution());
        }
        sentences
    }
}

fn errors(analysis: &Analysis) -> String {
    let kinds = grouped(analysis.variation.iter().map(|v| (&v.convention, v)));
    let conventions: Vec<String> = kinds
        .iter()
        .map(|(convention, found)| {
            let parts = joined(found.iter().map(|v| {
                say!("{} % in stratum {}", rounded(v.percent), name_in_words(&v.stratum))
            }));
            format!("{parts} ({convention})")
        })
        .collect();
    let mut text = say!(
        "SEm is SEd / sqrt 2; a critical difference (CD) is Student's t at 5 % or 1 % times \
                    SEd, unadjusted for the number of comparisons"
    );
    let mixes = analysis.means.iter().flat_map(|m| &m.comparisons).any(|c| c.errors.len() > 1);
    if mixes {
        text.push_str(text!(
            "; where SEd mixes the errors of two strata its degrees of freedom are those of \
             Satterthwaite (1946)"
        ));
    }
    if !conventions.is_empty() {
        text.push_str(&say!("; the coefficient of variation is {}", conventions.join("; ")));
    }
    text.push('.');
    text
}

fn checks(checks: &ResidualChecks) -> String {
    let tests = [
        &checks.normality,
        &checks.equal_variances,
        &checks.additivity,
        &checks.moran,
        &checks.trend,
    ];
    let mut made: Vec<String> = tests.iter().filter_map(|t| t.made()).map(told).collect();
    if let Answer::Made(outliers) = &checks.outliers {
        made.push(say!(
            "externally studentised residuals with Bonferroni's bound ({} outlying at {})",
            outliers.outlying.len(),
            percent(outliers.level)
        ));
    }
    if made.is_empty() {
        say!("Residuals could not be tested.")
    } else {
        say!("Residuals were checked by {}.", made.join(", "))
    }
}

fn told(test: &TestOutcome) -> String {
    if test.p_value < 0.001 {
        say!("{} (p < 0.001)", test.test)
    } else {
        say!("{} (p = {:.3})", test.test, test.p_value)
    }
}

fn percent(level: f64) -> String {
    format!("{} %", rounded(100.0 * level))
}

/// Four significant digits without trailing zeros.
fn rounded(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let digits = (3 - value.abs().log10().floor() as i32).clamp(0, 8) as usize;
    let text = say!("{value:.digits$}");
    if text.contains(['.', ',']) {
        text.trim_end_matches('0').trim_end_matches(['.', ',']).to_owned()
    } else {
        text
    }
}

/// Values under their kinds, kinds in the order of their first value.
fn grouped<K: PartialEq, V>(values: impl Iterator<Item = (K, V)>) -> Vec<(K, Vec<V>)> {
    let mut kinds: Vec<(K, Vec<V>)> = Vec::new();
    for (kind, value) in values {
        match kinds.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, found)) => found.push(value),
            None => kinds.push((kind, vec![value])),
        }
    }
    kinds
}

/// Names in their order, each once.
fn once(names: impl Iterator<Item = String>) -> Vec<String> {
    grouped(names.map(|name| (name, ()))).into_iter().map(|(name, _)| name).collect()
}

fn joined(parts: impl Iterator<Item = String>) -> String {
    list(&parts.collect::<Vec<_>>())
}
