//! One region's section.

use super::figures::figures;
use super::laterals::{self, LateralsView};
use super::returns;
use super::table::{Fact, Figure};
use crate::content::{BesideTrial, Report};
use crate::error::ReportError;
use crate::how::{advice as how, method};
use crate::number::{percent, unbroken};
use crate::sentence::{
    chance_of_more, evidence, gain, gain_subject, horizon, intensity_range, inversion, lateness,
    lead_optimum, lead_range, money_gain, optimum, present, sentence, tested_intensities, yielded,
};
use crate::text;
use advise::RegionAdvice;
use words::{say, text};

/// A region as the template takes it.
pub struct RegionView {
    /// Anchor.
    pub id: String,
    /// Name.
    pub name: String,
    /// Class of the verdict badge.
    pub class: &'static str,
    /// Shape of the verdict.
    pub shape: &'static str,
    /// Word of the verdict.
    pub word: &'static str,
    /// What to do.
    pub sentence: String,
    /// Why.
    pub reason: String,
    /// What trials of the region say beside it.
    pub beside: Vec<String>,
    /// Whether a trial is to be laid out that is not declared yet.
    pub wants_trial: bool,
    /// Link to how it was decided.
    pub how: String,
    /// Figures that stand first.
    pub headline: Vec<Fact>,
    /// The others.
    pub details: Vec<Fact>,
    /// Plots.
    pub figures: Vec<Figure>,
    /// What is said instead of missing plots, empty when there are some.
    pub missing: &'static str,
    /// Shoots, flowers and the path; `None` when the book counts none.
    pub laterals: Option<LateralsView>,
}

impl RegionView {
    /// Every figure of the section, in its order.
    pub fn all_figures(&self) -> impl Iterator<Item = &Figure> {
        self.figures.iter().chain(self.laterals.iter().flat_map(|l| &l.figures))
    }
}

/// All regions in the order of the advice.
pub fn regions(report: &Report) -> Result<Vec<RegionView>, ReportError> {
    report.advice.regions.iter().enumerate().map(|(i, r)| view(report, i, r)).collect()
}

fn view(report: &Report, index: usize, r: &RegionAdvice) -> Result<RegionView, ReportError> {
    let currency = &report.advice.currency;
    let picture = report.pictures.iter().find(|p| p.region == r.region);
    let figures = match picture {
        Some(picture) => figures(index, r, picture, currency, &report.method)?,
        None => Vec::new(),
    };
    let missing = match (picture, figures.is_empty()) {
        (None, _) => text::NO_PICTURES.get(),
        (Some(_), true) => text::NO_CURVE.get(),
        (Some(_), false) => "",
    };
    Ok(RegionView {
        id: format!("region-{}", index + 1),
        name: r.name.clone(),
        class: match r.verdict {
            advise::Verdict::Prune => "change",
            advise::Verdict::Keep => "keep",
            advise::Verdict::Trial => "trial",
        },
        shape: text::verdict_shape(r.verdict),
        word: text::verdict(r.verdict),
        sentence: sentence(r),
        reason: unbroken(&r.reason),
        beside: beside(report, &r.region),
        wants_trial: r.verdict == advise::Verdict::Trial && r.trials_waiting.is_empty(),
        how: method(&report.method, "verdict", how("verdict")),
        headline: headline(r, currency),
        details: details(r, report.advice.tolerance_pct, currency),
        figures,
        missing,
        laterals: report
            .laterals
            .iter()
            .find(|laterals| laterals.region == r.region)
            .map(|laterals| laterals::view(index, r, laterals))
            .transpose()?,
    })
}

/// What trials say beside a region's advice, a paragraph each: what the advice rests on stands before the first
/// alone, how its records hang together with the trials' after the last.
fn beside(report: &Report, region: &str) -> Vec<String> {
    let own: Vec<&BesideTrial> =
        report.beside.iter().filter(|beside| beside.region == region).collect();
    own.iter()
        .enumerate()
        .map(|(at, trial)| {
            let mut said = (*trial).clone();
            if at > 0 {
                said.basis.clear();
            }
            if at + 1 < own.len() {
                said.together.clear();
            }
            unbroken(&said.alone())
        })
        .collect()
}

fn headline(r: &RegionAdvice, currency: &str) -> Vec<Fact> {
    let subject = gain_subject(r);
    let level = r
        .gain_over_present_kg
        .as_ref()
        .or(r.gain_over_unpruned_kg.as_ref())
        .map_or_else(String::new, |i| say!(", {} interval", percent(i.level)));
    vec![
        Fact::new(
            say!("Yield gain of the {subject} over unpruned, kg per tree{level}"),
            gain(r.gain_over_unpruned_kg.as_ref()),
            how("gain_over_unpruned_kg"),
        ),
        Fact::new(
            say!("Yield gain over present practice, kg per tree{level}"),
            gain(r.gain_over_present_kg.as_ref()),
            how("gain_over_present_kg"),
        ),
        Fact::new(
            say!("Net gain over present practice, {currency} per tree{level}"),
            money_gain(r.net_gain_over_present.as_ref()),
            how("net_gain_over_present"),
        ),
        Fact::new(
            say!("Chance that the {subject} earns more than present practice"),
            chance_of_more(r),
            how("p_gain"),
        ),
    ]
}

/// The best intensity, and why the advice names another where it does.
fn net_optimum(r: &RegionAdvice) -> String {
    let words = optimum(r.net_optimum.as_ref());
    let advised = r.advised.as_ref().filter(|_| r.verdict == advise::Verdict::Prune);
    match (advised.or(r.interim.as_ref()), &r.net_optimum) {
        (Some(advised), Some(best)) if percent(advised.intensity) != percent(best.median) => say!(
            "{words} The advice names {}: the intensity that earns most on average over the draws at the advised dates, in a round number where rounding costs next to nothing; {} is the middle of what is best in each draw at its own dates.",
            percent(advised.intensity),
            percent(best.median)
        ),
        _ => words,
    }
}

/// The band of intensities that are good enough, and why the advice lies outside where it does.
fn band(r: &RegionAdvice) -> String {
    let words = intensity_range(r.band);
    let advised = r.advised.as_ref().filter(|_| r.verdict == advise::Verdict::Prune);
    match (advised.or(r.interim.as_ref()), r.band) {
        (Some(advised), Some([low, high])) if !(low..=high).contains(&advised.intensity) => say!(
            "{words}, each at its own best dates; the advice keeps to dates nearer to the usual ones, and at those {} earns most.",
            percent(advised.intensity)
        ),
        _ => words,
    }
}

fn details(r: &RegionAdvice, tolerance_pct: f64, currency: &str) -> Vec<Fact> {
    let row = |name: &str, value: String, path: &str| Fact::new(name, value, how(path));
    let good_enough = say!(
        "Good enough (expected loss under {} of the best net return)",
        percent(tolerance_pct / 100.0)
    );
    let mut rows = vec![
        row(text!("Season advised for"), r.season.to_string(), "season"),
        row(text!("Present practice"), present(&r.present), "present"),
        row(
            text!("Yield expected under it"),
            yielded(r.present_yield_kg.as_ref()),
            "present_yield_kg",
        ),
        row(text!("Evidence"), evidence(r), "rows"),
        row(text!("Tested intensity"), tested_intensities(r), "tested_intensity"),
        row(text!("Tested timing"), lead_range(r.tested_lead), "tested_lead"),
        row(&good_enough, band(r), "band"),
        row(text!("Best intensity for net return"), net_optimum(r), "net_optimum"),
        row(text!("Best intensity for yield"), optimum(r.yield_optimum.as_ref()), "yield_optimum"),
        row(
            text!("Turning point of the curve"),
            inversion(r.inversion_set.as_ref()),
            "inversion_set",
        ),
    ];
    if let Some(lead) = &r.lead_optimum {
        rows.push(row(
            text!("Best timing for net return"),
            lead_optimum(r, lead, currency),
            "lead_optimum",
        ));
    }
    if let Some(found) = &r.returns {
        rows.extend(returns::rows(found, currency));
    }
    if !r.lateness.is_empty() {
        rows.push(row(text!("If pruned late"), lateness(&r.lateness, currency), "lateness"));
    }
    if let Some(over) = &r.horizon {
        rows.push(row(
            &text::horizon(over.seasons),
            horizon(over, gain_subject(r), currency),
            "horizon",
        ));
    }
    rows
}
