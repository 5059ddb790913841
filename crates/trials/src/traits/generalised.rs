//! Counts and shares by generalised models.

use super::TraitError;
use super::result::{
    NaturalDifference, NaturalMean, TermTest, TraitAnalysis, TraitEvidence, TraitModel, TraitTest,
};
use super::transform::critical;
use super::units::Totals;
use super::working::{Stratum, Task, Working, quadratic};
use crate::analysis::{ErrorDf, term_contrasts};
use crate::checks::plan_columns;
use crate::design::{FactorPlace, Part, Plan, StratumKind};
use crate::distributions::NoncentralF;
use mixed::{
    Factor, Family, FixedColumn, GeneralisedData, GeneralisedFit, Matrix, Status, fit_generalised,
};
use words::{say, text};

/// Standard error on a log or logit scale beyond which the data tell nothing: limits a factor of
/// exp(2 x 20) apart come of a block that is 0 (or all) throughout.
const LARGEST_ERROR: f64 = 20.0;

/// What is modelled.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Count,
    Share,
}

fn failed(error: impl std::fmt::Display) -> TraitError {
    TraitError::Fit(error.to_string())
}

/// Fits Poisson or binomial, with what plots vary beyond chance.
pub(super) fn analyse(
    plan: &Plan,
    totals: &Totals,
    kind: Kind,
    mut evidence: TraitEvidence,
) -> Result<TraitAnalysis, TraitError> {
    let mut notes = Vec::new();
    let (plan, totals) = within_scale(plan, totals, kind, &mut notes);
    let (plan, totals) = (&plan, &totals);
    let (columns, cells) = plan_columns(plan, false);
    if cells.len() < 2 {
        return Err(TraitError::NoVariation(notes.join(" ")));
    }
    // Every stratum as given: what is left is variation between plots alone.
    let (given, _) = plan_columns(plan, true);
    let screened = by_chance(totals, kind, &given, &[]);
    let df_given = plan.units.len() as f64 - given.len() as f64;
    if let (Ok(screened), true) = (&screened, df_given >= 1.0) {
        let chi = pearson(screened, totals, kind, &given);
        evidence.dispersion = Some(chi / df_given);
        let law = NoncentralF::new(df_given, f64::INFINITY, 0.0).map_err(failed)?;
        evidence.dispersion_p = Some(law.upper_tail(chi / df_given));
    }
    let random: Vec<Stratum> = plan
        .strata
        .iter()
        .filter(|s| s.kind == StratumKind::Random)
        .map(|s| (s.name.clone(), s.codes.iter().map(|c| *c as u32).collect(), s.groups.len()))
        .collect();
    let task = Task { totals, kind, columns: &columns, random: &random };
    let working = match task.fitted().filter(|_| plan.units.len() > columns.len()) {
        Some(working) => working,
        None => {
            notes.push(say!(
                "No variance between plots alike could be told; errors are those of chance alone."
            ));
            let fit = by_chance(totals, kind, &columns, &random)?;
            if let Status::NotConverged { reason } = fit.status() {
                return Err(TraitError::Fit(reason.clone()));
            }
            Working {
                estimates: fit.estimates().to_vec(),
                covariance: fit.covariance().clone(),
                by: 1.0,
                clumping: 0.0,
                dispersion: 1.0,
                chance: None,
            }
        }
    };
    let model = match (kind, working.clumping > 0.0 || working.dispersion > 1.0) {
        (Kind::Count, false) => TraitModel::Poisson,
        (Kind::Count, true) => TraitModel::NegativeBinomial,
        (Kind::Share, false) => TraitModel::Binomial,
        (Kind::Share, true) => TraitModel::BinomialClumped,
    };
    if working.dispersion < 1.0 {
        notes.push(say!(
            "Units alike vary less than chance has it, by {:.2} of its variance; no error is taken to be smaller than that of chance alone.",
            working.dispersion
        ));
    }
    if !random.is_empty() {
        notes.push(say!("Means are those of a typical plot (random effects at 0)."));
    }
    let error_df = ErrorDf::of(plan);
    let errors = error_df.of_terms();
    // Treatments are no better known than the coarsest error that one of their terms has.
    let of_treatments =
        plan.terms.iter().zip(&errors).filter(|(term, _)| !seasonal(plan, &term.parts));
    let df = of_treatments.map(|(_, df)| *df).fold(f64::INFINITY, f64::min);
    let df = if df.is_finite() { df } else { 1.0 };
    notes.push(say!(
        "Intervals of means use t with {df} degrees of freedom, those of the error that treatments are laid \
         out against, those of a difference the error between its two treatments; tests are Wald's, of equally weighted treatments, each over the degrees of \
         freedom of its own error. What plots vary beyond chance is estimated over the degrees of \
         freedom that treatments and blocks leave (Wolfinger and O'Connell 1993)."
    ));
    let why = why(model, &evidence);
    let scale = Scale { fit: &working, t: critical(df)? };
    let used: Vec<(usize, String)> = cells
        .iter()
        .enumerate()
        .filter_map(|(at, cell)| Some((at, plan.cells.get(*cell)?.name.clone())))
        .collect();
    let mut means = Vec::new();
    let mut differences = Vec::new();
    let (used, lost): (Vec<_>, Vec<_>) =
        used.into_iter().partition(|(at, _)| scale.read(&scale.row(*at)).1 < LARGEST_ERROR);
    for (_, name) in lost {
        notes.push(say!(
            "{name} cannot be estimated: some block with it lies at the end of the scale."
        ));
    }
    for (position, (at, name)) in used.iter().enumerate() {
        means.push(scale.mean(kind, *at, name));
        for (other, second) in used.iter().skip(position + 1) {
            let df = match (cells.get(*at), cells.get(*other)) {
                (Some(first), Some(second)) => error_df.of_pair(*first, *second),
                _ => df,
            };
            differences.push(scale.difference([*at, *other], [name, second], df)?);
        }
    }
    // Places among the model's treatments, and their cells in the plan.
    let at: Vec<usize> = used.iter().map(|(at, _)| *at).collect();
    let own: Vec<usize> = at.iter().filter_map(|at| cells.get(*at).copied()).collect();
    let mut terms = Vec::new();
    let mut of_treatments: Vec<Vec<f64>> = Vec::new();
    for ((term, weights), df) in plan.terms.iter().zip(term_contrasts(plan, &own)).zip(errors) {
        let rows: Vec<Vec<f64>> = weights.iter().map(|w| scale.weighted(&at, w)).collect();
        let seasonal = seasonal(plan, &term.parts);
        if let Some(test) = scale.test(&rows, df)? {
            let interaction = term.parts.len() > 1;
            terms.push(TermTest { term: term.name.clone(), seasonal, interaction, test });
        }
        if !seasonal {
            of_treatments.extend(rows);
        }
    }
    let averaged: Vec<(String, Vec<f64>)> = over_seasons(plan, &own)
        .into_iter()
        .map(|(name, weights)| (name, scale.weighted(&at, &weights)))
        .collect();
    let over_seasons = averaged.iter().map(|(name, row)| scale.natural(kind, row, name)).collect();
    // Of what units vary and of chance alone, the one with the larger differences of all pairs.
    let over_seasons_covariance = working
        .covariances()
        .map(|of| {
            let with = |(_, row): &(String, Vec<f64>)| -> Vec<f64> {
                averaged.iter().map(|(_, other)| quadratic(of, row, other)).collect()
            };
            averaged.iter().map(with).collect::<Vec<_>>()
        })
        .max_by(|a, b| of_pairs(a).total_cmp(&of_pairs(b)))
        .unwrap_or_default();
    let test = if plan.factors.iter().any(|f| f.place == FactorPlace::Seasons) {
        scale.test(&of_treatments, df)?
    } else {
        scale.test(&scale.apart(&at), df)?
    };
    Ok(TraitAnalysis {
        model,
        why,
        evidence,
        means,
        differences,
        over_seasons,
        over_seasons_covariance,
        test,
        terms,
        df,
        analysis: None,
        notes,
    })
}

/// Sum of the variances of all differences under a covariance.
fn of_pairs(covariance: &[Vec<f64>]) -> f64 {
    let diagonal = covariance.iter().enumerate().filter_map(|(at, row)| row.get(at));
    let all: f64 = covariance.iter().flatten().sum();
    covariance.len() as f64 * diagonal.sum::<f64>() - all
}

/// Whether seasons are part of a term.
fn seasonal(plan: &Plan, parts: &[Part]) -> bool {
    let season = |f: &usize| plan.factors.get(*f).is_some_and(|f| f.place == FactorPlace::Seasons);
    parts.iter().any(|part| matches!(part, Part::Factor(f) if season(f)))
}

/// Treatments seen in every season with the weights of the `used` cells in their mean; none in a
/// trial of one season.
fn over_seasons(plan: &Plan, used: &[usize]) -> Vec<(String, Vec<f64>)> {
    let Some(season) = plan.factors.iter().position(|f| f.place == FactorPlace::Seasons) else {
        return Vec::new();
    };
    let seasons = plan.factors.get(season).map_or(0, |factor| factor.levels.len());
    let mut out: Vec<(String, Vec<f64>)> = Vec::new();
    for (place, cell) in used.iter().enumerate() {
        let Some(cell) = plan.cells.get(*cell) else { continue };
        // Season stands last in the name of a cell.
        let name = cell.name.rsplit_once(" / ").map_or(cell.name.as_str(), |(name, _)| name);
        let at = out.iter().position(|(own, _)| own == name).unwrap_or_else(|| {
            out.push((name.to_owned(), vec![0.0; used.len()]));
            out.len() - 1
        });
        if let Some(weight) = out.get_mut(at).and_then(|(_, weights)| weights.get_mut(place)) {
            *weight = 1.0 / seasons as f64;
        }
    }
    out.retain(|(_, weights)| weights.iter().filter(|w| **w > 0.0).count() == seasons);
    out
}

/// Leaves out treatments and blocks that are 0 (or all) in every plot: their value on the link
/// scale is infinite, and they tell nothing of the others.
fn within_scale(
    plan: &Plan,
    totals: &Totals,
    kind: Kind,
    notes: &mut Vec<String>,
) -> (Plan, Totals) {
    let mut kept: Vec<usize> = (0..plan.units.len()).collect();
    loop {
        let before = kept.len();
        let cells: Vec<usize> = plan.units.iter().map(|u| u.cell).collect();
        let names: Vec<String> = plan.cells.iter().map(|c| c.name.clone()).collect();
        drop_ended(&mut kept, &cells, &names, totals, kind, notes);
        for stratum in plan.strata.iter().filter(|s| s.kind == StratumKind::Blocks) {
            let names: Vec<String> =
                stratum.groups.iter().map(|g| format!("{} {g}", stratum.name)).collect();
            drop_ended(&mut kept, &stratum.codes, &names, totals, kind, notes);
        }
        if kept.len() == before {
            break;
        }
    }
    let of = |values: &[f64]| kept.iter().filter_map(|at| values.get(*at).copied()).collect();
    let totals = Totals { sums: of(&totals.sums), exposures: of(&totals.exposures) };
    (plan.of_units(&kept), totals)
}

/// Takes the units of ended groups out of `kept`.
fn drop_ended(
    kept: &mut Vec<usize>,
    codes: &[usize],
    names: &[String],
    totals: &Totals,
    kind: Kind,
    notes: &mut Vec<String>,
) {
    for (group, name) in names.iter().enumerate() {
        let own = |values: &[f64]| -> f64 {
            kept.iter()
                .filter(|at| codes.get(**at) == Some(&group))
                .filter_map(|at| values.get(*at))
                .sum()
        };
        let (sum, all) = (own(&totals.sums), own(&totals.exposures));
        if all > 0.0 && (sum == 0.0 || (kind == Kind::Share && sum == all)) {
            let end = if sum == 0.0 { "0" } else { text!("all of its total") };
            notes.push(say!(
                "{name} has {end} in every plot: a value at the end of the scale has no interval \
                 here and tells nothing of the others; it was left out."
            ));
            kept.retain(|at| codes.get(*at) != Some(&group));
        }
    }
}

/// A Poisson or binomial fit, without anything beyond chance but the random strata.
fn by_chance(
    totals: &Totals,
    kind: Kind,
    columns: &[Vec<f64>],
    random: &[Stratum],
) -> Result<GeneralisedFit, TraitError> {
    let family = match kind {
        Kind::Count => Family::Poisson,
        Kind::Share => Family::Binomial,
    };
    let offset: Vec<f64> = totals.exposures.iter().map(|e| e.ln()).collect();
    let shares: Vec<f64> = totals.sums.iter().zip(&totals.exposures).map(|(s, e)| s / e).collect();
    let mut data = match kind {
        Kind::Count => GeneralisedData::new(&totals.sums).offset(&offset),
        Kind::Share => GeneralisedData::new(&shares).weights(&totals.exposures),
    };
    // The first treatment is the intercept, so that the model has one.
    data = data.intercept();
    for (index, column) in columns.iter().enumerate().skip(1) {
        data = data.column(FixedColumn::new(format!("column {index}"), column.as_slice()));
    }
    for (name, codes, levels) in random {
        data = data.factor(Factor::intercept(name.clone(), codes, *levels));
    }
    fit_generalised(&data, family).map_err(failed)
}

/// Pearson's chi-squared of a fit without random effects.
fn pearson(fit: &GeneralisedFit, totals: &Totals, kind: Kind, columns: &[Vec<f64>]) -> f64 {
    let estimates = fit.estimates();
    let mut chi = 0.0;
    for (row, (sum, exposure)) in totals.sums.iter().zip(&totals.exposures).enumerate() {
        let eta: f64 = estimates
            .iter()
            .zip(columns)
            .enumerate()
            .map(|(at, (b, column))| {
                b * if at == 0 { 1.0 } else { column.get(row).copied().unwrap_or(0.0) }
            })
            .sum();
        let (mean, variance) = match kind {
            Kind::Count => (exposure * eta.exp(), exposure * eta.exp()),
            Kind::Share => {
                let share = 1.0 / (1.0 + (-eta).exp());
                (exposure * share, exposure * share * (1.0 - share))
            }
        };
        // A fitted 0 meets an observed 0 and adds nothing.
        if variance > 1e-9 {
            chi += (sum - mean).powi(2) / variance;
        }
    }
    chi
}

fn why(model: TraitModel, evidence: &TraitEvidence) -> String {
    let zeros = 100.0 * evidence.share_zero;
    let spread = match (evidence.dispersion, evidence.dispersion_p) {
        (Some(d), Some(p)) if p < 0.001 => say!("the dispersion is {d:.2} (p < 0.001)"),
        (Some(d), Some(p)) => say!("the dispersion is {d:.2} (p = {p:.3})"),
        _ => say!("too few plots tell the dispersion"),
    };
    let slope = evidence.variance_slope.map_or_else(String::new, |s| {
        say!(", log variance changes by {s:.1} per unit of log mean")
    });
    let is_sure = evidence.dispersion_p.is_some_and(|p| p < 0.05);
    let what = match model {
        TraitModel::Poisson => {
            text!("counts vary no more than chance has it: Poisson with a log link")
        }
        TraitModel::NegativeBinomial if is_sure => {
            text!("counts vary more than chance has it: negative binomial with a log link")
        }
        TraitModel::NegativeBinomial => {
            text!("counts may vary more than chance has it: negative binomial with a log link")
        }
        TraitModel::Binomial => {
            text!("shares vary no more than chance has it: binomial with a logit link")
        }
        _ if is_sure => text!(
            "shares vary more than chance has it: binomial with a logit link, clumped within plots"
        ),
        _ => text!(
            "shares may vary more than chance has it: binomial with a logit link, clumped within plots"
        ),
    };
    say!("{what}; {spread}{slope}, {zeros:.0} % of plots are 0")
}

struct Scale<'a> {
    fit: &'a Working,
    t: f64,
}

impl Scale<'_> {
    /// Coefficients of a treatment's value on the link scale: the intercept, and its own column
    /// unless it is the first.
    fn row(&self, at: usize) -> Vec<f64> {
        let mut row = vec![0.0; self.fit.estimates.len()];
        if let Some(first) = row.first_mut() {
            *first = 1.0;
        }
        if at > 0
            && let Some(own) = row.get_mut(at)
        {
            *own = 1.0;
        }
        row
    }

    fn read(&self, row: &[f64]) -> (f64, f64) {
        let estimate = self.fit.estimates.iter().zip(row).map(|(b, l)| b * l).sum();
        (estimate, self.fit.variance(row).sqrt())
    }

    fn mean(&self, kind: Kind, at: usize, name: &str) -> NaturalMean {
        self.natural(kind, &self.row(at), name)
    }

    /// Coefficients of weighted treatments, `at` their places in the model.
    fn weighted(&self, at: &[usize], weights: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; self.fit.estimates.len()];
        for (at, weight) in at.iter().zip(weights) {
            out.iter_mut().zip(self.row(*at)).for_each(|(o, x)| *o += weight * x);
        }
        out
    }

    fn natural(&self, kind: Kind, row: &[f64], name: &str) -> NaturalMean {
        let (estimate, std_error) = self.read(row);
        let back = |value: f64| match kind {
            Kind::Count => value.exp(),
            Kind::Share => 1.0 / (1.0 + (-value).exp()),
        };
        NaturalMean {
            treatment: name.to_owned(),
            mean: back(estimate),
            low: back(estimate - self.t * std_error),
            high: back(estimate + self.t * std_error),
            estimate,
            std_error,
        }
    }

    fn difference(
        &self,
        [first, second]: [usize; 2],
        [name, other]: [&str; 2],
        df: f64,
    ) -> Result<NaturalDifference, TraitError> {
        let row: Vec<f64> =
            self.row(first).iter().zip(self.row(second)).map(|(a, b)| a - b).collect();
        let (estimate, std_error) = self.read(&row);
        if !(std_error > 0.0 && std_error.is_finite()) {
            return Err(TraitError::Fit(say!("{name} less {other} has no error")));
        }
        let t = estimate / std_error;
        let law = NoncentralF::new(1.0, df, 0.0).map_err(failed)?;
        let reach = critical(df)? * std_error;
        Ok(NaturalDifference {
            first: name.to_owned(),
            second: other.to_owned(),
            estimate,
            std_error,
            ratio: Some((estimate.exp(), (estimate - reach).exp(), (estimate + reach).exp())),
            p_value: law.upper_tail(t * t),
        })
    }

    /// Treatments less the first of them.
    fn apart(&self, at: &[usize]) -> Vec<Vec<f64>> {
        let Some((first, others)) = at.split_first() else { return Vec::new() };
        let base = self.row(*first);
        let less = |at: &usize| self.row(*at).iter().zip(&base).map(|(a, b)| a - b).collect();
        others.iter().map(less).collect()
    }

    /// Wald's test that all `rows` are 0, over F with `error` degrees of freedom, by the covariance that makes F
    /// smallest; `None` without a row, or where one has no error.
    fn test(&self, rows: &[Vec<f64>], error: f64) -> Result<Option<TraitTest>, TraitError> {
        if rows.is_empty() {
            return Ok(None);
        }
        let wald = self.fit.covariances().map(|of| self.wald(rows, of)).collect::<Option<Vec<_>>>();
        let Some(wald) = wald else { return Ok(None) };
        let df = rows.len() as f64;
        let f = wald.into_iter().fold(f64::INFINITY, f64::min) / df;
        let law = NoncentralF::new(df, error, 0.0).map_err(failed)?;
        let p_value = law.upper_tail(f);
        Ok(Some(TraitTest { f, df, df_denominator: error, p_value }))
    }

    /// Chi-squared of all `rows` under a covariance.
    fn wald(&self, rows: &[Vec<f64>], of: (&Matrix, f64)) -> Option<f64> {
        // Differences made independent one after another (Cholesky by Gram-Schmidt in the
        // covariance's metric).
        let mut wald = 0.0;
        let mut done: Vec<Vec<f64>> = Vec::new();
        for row in rows {
            let mut rest = row.clone();
            for unit in &done {
                let along = quadratic(of, unit, &rest);
                rest.iter_mut().zip(unit).for_each(|(r, u)| *r -= along * u);
            }
            let estimate: f64 = self.fit.estimates.iter().zip(&rest).map(|(b, l)| b * l).sum();
            let std_error = quadratic(of, &rest, &rest).max(0.0).sqrt();
            if !(std_error > 0.0 && std_error.is_finite()) {
                return None;
            }
            wald += (estimate / std_error).powi(2);
            done.push(rest.iter().map(|r| r / std_error).collect());
        }
        Some(wald)
    }
}
