//! What an analysis found, in sentences.

use super::analysed::{AnalysedPart, AnalysedTrial};
use super::pooling::PooledTrait;
use super::{amounts::curve_words, checks, own_scale};
use ::words::{capital, say, text};
use records::{TrialControl, TrialDeclaration, noun};
use trials::pooled::{Pooled, PooledKind};
use trials::traits::analyse_trait;
use trials::{
    Analysis, AnovaKind, AnovaRow, Comparison, Curve, FactorPlace, MeansOfTerm, Observations,
    Optimum, Part, Plan, PlanFactor, Polynomial, TraitKind, amount_words, analyse,
};

/// Level at which a difference is called found.
const FOUND: f64 = 0.05;

/// A factor's or term's name as people read it; the level of a control is not its name.
pub fn factor_words(name: &str) -> String {
    trials::name_in_words(name)
}

/// A level with its unit; fractions as per cent.
pub fn level_words(factor: Option<&PlanFactor>, level: &str) -> String {
    match factor.and_then(|factor| factor.amounts.as_ref()) {
        Some(amounts) => written_amount(&amounts.unit, level),
        None => level.to_owned(),
    }
}

/// A level of an amount; a level that is no number stands as it is.
pub fn written_amount(unit: &str, level: &str) -> String {
    level.parse().map_or_else(|_| level.to_owned(), |value| amount_words(value, unit))
}

/// A treatment, levels of the factors (and a season) between slashes, with units; a control beside
/// the factorial stands without levels of the other factors.
pub fn treatment_words(declaration: &TrialDeclaration, treatment: &str) -> String {
    let factors: Vec<&String> = [
        &declaration.main_factors,
        &declaration.sub_factors,
        &declaration.sub_sub_factors,
        &declaration.factors,
    ]
    .into_iter()
    .flatten()
    .collect();
    let levels: Vec<&str> = treatment.split(" / ").collect();
    let same = |level: &str, own: &str| {
        level == own || level.parse::<f64>().is_ok_and(|level| own.parse() == Ok(level))
    };
    let in_season = levels.last().is_some_and(|last| is_season(declaration, last));
    // A control beside two factors has as many levels as they with its season. Where its factor
    // stands first no other treatment has its level there; elsewhere the season tells it.
    let beside = |control: &&TrialControl| {
        let first = factors.first() == Some(&&control.factor);
        factors.len() > 1
            && levels.first().is_some_and(|level| same(level, &control.level))
            && (levels.len() < factors.len()
                || control.beside_factorial && levels.len() <= 2 && (first || in_season))
    };
    let control = declaration.control.as_ref().filter(beside);
    let words = levels.iter().enumerate().map(|(place, level)| {
        let factor = match control {
            Some(control) if place == 0 => Some(&control.factor),
            Some(_) => None,
            None => factors.get(place).copied(),
        };
        match factor.and_then(|factor| declaration.amounts.get(factor)) {
            Some(unit) => written_amount(unit, level),
            None => (*level).to_owned(),
        }
    });
    words.collect::<Vec<_>>().join(", ")
}

/// Whether a level is one of the trial's seasons, or a year where it names none.
fn is_season(declaration: &TrialDeclaration, level: &str) -> bool {
    level.parse::<i16>().is_ok_and(|year| match declaration.seasons.as_slice() {
        [] => (1900..2200).contains(&year),
        seasons => seasons.contains(&year),
    })
}

/// The factor behind each part of a term's means.
pub fn factor_of<'a>(
    analysis: &'a Analysis,
    of: &MeansOfTerm,
    part: usize,
) -> Option<&'a PlanFactor> {
    let name = of.parts.get(part)?;
    analysis.plan.factors.iter().find(|factor| factor.name == *name)
}

/// Means whose levels are treatments, or the control beside the factorial, with those in words;
/// levels of factors stay the keys they are.
pub fn with_treatments_in_words(
    declaration: &TrialDeclaration,
    analysis: &Analysis,
    of: &MeansOfTerm,
) -> MeansOfTerm {
    let mut said = of.clone();
    for mean in &mut said.means {
        for (part, level) in mean.levels.iter_mut().enumerate() {
            if factor_of(analysis, of, part).is_none() {
                *level = treatment_words(declaration, level);
            }
        }
    }
    said
}

/// A plot as people read it: its place in words, amounts with their units.
pub fn plot_words(plan: &Plan, plot: &str) -> String {
    let said = plot.split(", ").map(|part| {
        let level = plan.factors.iter().find_map(|factor| {
            let level = part.strip_prefix(&factor.name)?.strip_prefix(' ')?;
            Some(format!("{} {}", factor_words(&factor.name), level_words(Some(factor), level)))
        });
        level.unwrap_or_else(|| trials::place_in_words(part))
    });
    said.collect::<Vec<_>>().join(", ")
}

/// Levels of a mean in words.
pub fn levels_words(analysis: &Analysis, of: &MeansOfTerm, levels: &[String]) -> String {
    let words = levels
        .iter()
        .enumerate()
        .map(|(part, level)| level_words(factor_of(analysis, of, part), level));
    words.collect::<Vec<_>>().join(", ")
}

/// Decimals that show a mean with four digits.
pub fn decimals(mean: f64) -> usize {
    match mean.abs() {
        m if m >= 1000.0 => 0,
        m if m >= 100.0 => 1,
        m if m >= 1.0 => 2,
        _ => 3,
    }
}

fn number(value: f64, mean: f64) -> String {
    let digits = decimals(mean);
    say!("{value:.digits$}")
}

/// A p value in a sentence.
pub fn p_words(p: f64) -> String {
    if p < 0.001 { say!("p < 0.001") } else { say!("p = {p:.3}") }
}

/// Whether a term is one of seasons, or with seasons.
fn seasonal(analysis: &Analysis, term: usize) -> bool {
    let parts = analysis.plan.terms.get(term).map_or(&[][..], |term| &term.parts);
    parts.iter().any(|part| match part {
        Part::Factor(factor) => {
            analysis.plan.factors.get(*factor).is_some_and(|f| f.place == FactorPlace::Seasons)
        }
        _ => false,
    })
}

struct Tested<'a> {
    row: &'a AnovaRow,
    term: usize,
    parts: usize,
    p: f64,
}

fn tested(analysis: &Analysis) -> Vec<Tested<'_>> {
    let rows = analysis.anova.iter().filter(|row| row.kind == AnovaKind::Term);
    rows.filter_map(|row| {
        let term = row.term?;
        let parts = analysis.plan.terms.get(term)?.parts.len();
        Some(Tested { row, term, parts, p: row.p? })
    })
    .collect()
}

/// Treatment terms with their p, by the scale that suits the trait: what its finding rests on.
fn judged(analysis: &Analysis, observed: &Observations) -> Vec<(String, f64)> {
    if observed.observed.kind != TraitKind::Measured {
        let Ok(own) = analyse_trait(&analysis.plan, observed) else { return Vec::new() };
        let terms = own.terms.iter().filter(|term| !term.seasonal);
        let terms: Vec<(String, f64)> =
            terms.map(|term| (factor_words(&term.term), term.test.p_value)).collect();
        if terms.len() > 1 {
            return terms;
        }
        let all = own.test.map(|test| (say!("all treatments alike"), test.p_value));
        return all.into_iter().collect();
    }
    let of_treatments = tested(analysis).into_iter().filter(|t| !seasonal(analysis, t.term));
    of_treatments.map(|t| (factor_words(&t.row.source), t.p)).collect()
}

/// Whether a finding stands without some plots; `None` where the rest cannot be analysed.
pub fn tried_without(
    analysis: &Analysis,
    observed: &Observations,
    plots: &[&str],
) -> Option<String> {
    let rest = analyse(&analysis.plan.without_plots(plots)).ok()?;
    stands(&judged(analysis, observed), &judged(&rest, observed))
}

/// For the finding itself: plots that stand out, in words.
pub fn stand_out(plots: &[String]) -> String {
    let told = noun(
        plots.len() as u64,
        text!("a plot stands out and may have made this finding"),
        text!("plots stand out and may have made this finding"),
    );
    say!("Look at the field book first: {told} ({}).", plots.join("; "))
}

/// Whether terms are found or not with and without what stands out, by their p; `None` where some cannot be
/// compared.
fn stands(with: &[(String, f64)], without: &[(String, f64)]) -> Option<String> {
    let pairs: Vec<(&String, f64, f64)> = with
        .iter()
        .filter_map(|(name, p)| {
            let (_, own) = without.iter().find(|(own, _)| own == name)?;
            Some((name, *p, *own))
        })
        .collect();
    if pairs.is_empty() || pairs.len() < with.len() {
        return None;
    }
    let said: Vec<String> = pairs
        .iter()
        .map(|(name, with, without)| {
            say!("{name}: {} without it, {} with it", p_words(*without), p_words(*with))
        })
        .collect();
    let stands = pairs.iter().all(|(_, with, without)| (*with < FOUND) == (*without < FOUND));
    Some(if stands {
        say!("Tried without what stands out, the finding stays ({}).", said.join("; "))
    } else {
        say!("Tried without what stands out, the finding changes ({}).", said.join("; "))
    })
}

/// The finding of one trait in a few sentences.
pub fn finding(analysis: &Analysis) -> String {
    let all = tested(analysis);
    let mut out = Vec::new();
    let interaction = all
        .iter()
        .filter(|t| t.parts > 1 && t.p < FOUND && !seasonal(analysis, t.term))
        .max_by_key(|t| t.parts);
    if let Some(found) = interaction {
        out.push(say!(
            "The effects of {} depend on each other ({}).",
            factor_words(&found.row.source).replace(" x ", text!(" and ")),
            p_words(found.p)
        ));
        out.extend(highest(analysis, found.term));
    } else {
        for main in all.iter().filter(|t| t.parts == 1 && !seasonal(analysis, t.term)) {
            out.push(main_effect(analysis, main));
            out.extend(along_amounts(analysis, main));
        }
    }
    let moving = all.iter().filter(|t| t.parts > 1 && t.p < FOUND && seasonal(analysis, t.term));
    let moving: Vec<String> =
        moving.map(|t| format!("{} ({})", factor_words(&t.row.source), p_words(t.p))).collect();
    if !moving.is_empty() {
        out.push(say!("Differences were not the same in every season: {}.", moving.join(", ")));
    }
    if out.is_empty() {
        let mut why: Vec<&str> = Vec::new();
        for row in analysis.anova.iter().filter(|row| row.kind == AnovaKind::Term) {
            why.extend(row.note.as_deref().filter(|note| !why.contains(note)));
        }
        out.push(if why.is_empty() {
            say!("No treatment term could be tested.")
        } else {
            say!("No treatment term could be tested: {}.", why.join("; "))
        });
    }
    out.join(" ")
}

/// Whether no treatment term of an analysis has a test.
#[must_use]
pub fn nothing_tested(analysis: &Analysis) -> bool {
    tested(analysis).iter().all(|term| seasonal(analysis, term.term))
}

/// p of the main effect of a factor; `None` where it was not tested.
pub fn main_effect_of(analysis: &Analysis, factor: &str) -> Option<f64> {
    let own = tested(analysis).into_iter().find(|t| t.parts == 1 && t.row.source == factor)?;
    Some(own.p)
}

fn means_of(analysis: &Analysis, term: usize) -> Option<&MeansOfTerm> {
    analysis.means.iter().find(|means| means.position == Some(term))
}

/// The kind of comparison that a table of means is read with.
pub fn first_comparison(means: &MeansOfTerm) -> Option<&Comparison> {
    means.comparisons.first()
}

fn main_effect(analysis: &Analysis, tested: &Tested<'_>) -> String {
    let trait_name = &analysis.plan.observed.name;
    let factor = factor_words(&tested.row.source);
    let apart_of = contrast_words(analysis, tested.term);
    let means = means_of(analysis, tested.term);
    let cd = means.and_then(first_comparison).and_then(|comparison| comparison.cd5);
    let unit = unit(analysis);
    let mean = analysis.grand_mean;
    if tested.p < FOUND {
        let apart = cd.map_or_else(String::new, |cd| {
            say!(
                " Differences over {}{unit} are told apart (CD 5 %, each pair by itself).",
                number(cd, mean)
            )
        });
        let ends = means.and_then(|means| ends(analysis, means)).unwrap_or_default();
        let (name, p) = (capital(trait_name), p_words(tested.p));
        match apart_of {
            Some(what) => say!("{} differs {what} ({}){ends}.{apart}", name, p),
            None => say!("{} differs with {factor} ({}){ends}.{apart}", name, p),
        }
    } else {
        let unseen = cd.map_or_else(String::new, |cd| {
            say!(
                ": differences under about {}{unit} are not told apart in this trial (CD 5 %), and one of that size is missed half the time",
                number(cd, mean)
            )
        });
        let p = p_words(tested.p);
        match apart_of {
            Some(what) => say!("No difference {what} in {trait_name} was found ({}){unseen}.", p),
            None => say!("No effect of {factor} on {trait_name} was found ({}){unseen}.", p),
        }
    }
}

/// How a trait goes with the amounts of a factor: a line and a bend are questions of their own, asked more
/// sharply than whether all levels are alike.
fn along_amounts(analysis: &Analysis, tested: &Tested<'_>) -> Option<String> {
    let own = |polynomial: &&Polynomial| polynomial.term == tested.row.source;
    along(analysis.polynomials.iter().find(own)?)
}

fn along(polynomial: &Polynomial) -> Option<String> {
    let of = |name: &str| polynomial.components.iter().find(|own| own.name == name);
    let (linear, quadratic) = (of("linear")?, of("quadratic")?);
    let (factor, p) = (factor_words(&polynomial.factor), p_words(linear.p));
    let line = if linear.p >= FOUND {
        say!("Asked by itself, along {factor} no linear trend shows ({p})")
    } else if linear.estimate? > 0.0 {
        say!("Asked by itself, along {factor} the linear trend is upward ({p})")
    } else {
        say!("Asked by itself, along {factor} the linear trend is downward ({p})")
    };
    let p = p_words(quadratic.p);
    Some(if quadratic.p >= FOUND {
        say!("{line}; no bend shows ({p}).")
    } else {
        say!("{line}; a bend shows ({p}).")
    })
}

/// What a term that is no factor's sets apart, as it stands behind a verb.
fn contrast_words(analysis: &Analysis, term: usize) -> Option<&'static str> {
    match analysis.plan.terms.get(term)?.parts.first()? {
        Part::Factor(_) => None,
        Part::Control => Some(text!("between the control and the rest")),
        Part::Group => Some(text!("between checks and new entries")),
        Part::Checks(_) => Some(text!("among checks")),
        Part::Entries(_) => Some(text!("among new entries")),
    }
}

fn unit(analysis: &Analysis) -> String {
    let unit = &analysis.plan.observed.unit;
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

/// The control and the mean of the rest in words.
fn control_and_rest(analysis: &Analysis, means: &MeansOfTerm) -> Option<String> {
    let [rest, control] = means.means.as_slice() else { return None };
    let digits = |mean: f64| number(mean, analysis.grand_mean);
    Some(say!(
        ": the control {}{unit}, the mean of the others {}",
        digits(control.mean?),
        digits(rest.mean?),
        unit = unit(analysis)
    ))
}

/// Highest and lowest mean in words.
fn ends(analysis: &Analysis, means: &MeansOfTerm) -> Option<String> {
    let term = means.position.and_then(|term| analysis.plan.terms.get(term));
    if term.is_some_and(|term| term.parts == [Part::Control]) {
        return control_and_rest(analysis, means);
    }
    let known = || means.means.iter().filter_map(|mean| Some((mean, mean.mean?)));
    let (top, high) = known().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (bottom, low) = known().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let words = |levels: &[String]| levels_words(analysis, means, levels);
    let unit = unit(analysis);
    Some(say!(
        ": highest at {} ({}{unit}), lowest at {} ({})",
        words(&top.levels),
        number(high, analysis.grand_mean),
        words(&bottom.levels),
        number(low, analysis.grand_mean)
    ))
}

fn highest(analysis: &Analysis, term: usize) -> Option<String> {
    let means = means_of(analysis, term)?;
    let ends = ends(analysis, means)?;
    Some(say!("{} was{}.", capital(&analysis.plan.observed.name), ends.trim_start_matches(':')))
}

/// What the sites of a trial say together.
pub fn sites_finding(declaration: &TrialDeclaration, pooled: &PooledTrait) -> String {
    let found = match &pooled.combined {
        Ok(found) => found,
        Err(why) => return say!("The sites were not combined: {why}."),
    };
    let digits = found.means.first().map_or(2, |mean| decimals(mean.mean));
    let ends = || found.means.iter().filter(|mean| mean.mean.is_finite());
    let highest = ends().max_by(|a, b| a.mean.total_cmp(&b.mean));
    let lowest = ends().min_by(|a, b| a.mean.total_cmp(&b.mean));
    let (Some(highest), Some(lowest)) = (highest, lowest) else { return String::new() };
    let with_unit = |value: f64| match pooled.observed.unit.as_str() {
        "" => say!("{value:.digits$}"),
        unit => say!("{value:.digits$} {unit}"),
    };
    let means = say!(
        "highest with {} ({}), lowest with {} ({:.digits$})",
        treatment_words(declaration, &highest.treatment),
        with_unit(highest.mean),
        treatment_words(declaration, &lowest.treatment),
        lowest.mean
    );
    let cd = found.differences.minimum_difference.largest;
    let [terms, moving] = site_terms(found);
    let listed = |terms: &[(&str, f64)]| {
        let words = terms.iter().map(|(name, p)| format!("{} {}", factor_words(name), p_words(*p)));
        words.collect::<Vec<_>>().join(", ")
    };
    let sites = found.environments.len();
    let differ: Vec<(&str, f64)> = terms.iter().copied().filter(|(_, p)| *p < FOUND).collect();
    let mut out = if differ.is_empty() {
        say!(
            "Over {sites} sites no difference between treatments was found ({}); means lie between {:.digits$} and {}. Differences under about {} are not told apart (CD 5 %), and one of that size is missed half the time.",
            listed(&terms),
            lowest.mean,
            with_unit(highest.mean),
            with_unit(cd)
        )
    } else {
        say!(
            "Over {sites} sites treatments differ ({}): {means}. Differences over {} are told apart (CD 5 %, each pair by itself).",
            listed(&differ),
            with_unit(cd)
        )
    };
    let moving: Vec<(&str, f64)> = moving.into_iter().filter(|(_, p)| *p < FOUND).collect();
    if !moving.is_empty() {
        out.push_str(&say!(" Differences were not the same at the sites: {}.", listed(&moving)));
    }
    // Where an amount changes nothing that shows, its best level is none to name; where its effect depends on the site or
    // on another factor, none holds for all.
    let is_of = |name: &str, factor: &str| name.split(" x ").any(|part| part == factor);
    let depends = |factor: &str| {
        let mut others = differ.iter().chain(&moving);
        others.any(|(name, _)| *name != factor && is_of(name, factor))
    };
    for polynomial in found.polynomials.iter().filter(|own| !depends(&own.factor)) {
        out.extend(along(polynomial).map(|said| format!(" {said}")));
    }
    for curve in found.curves.iter().filter(|curve| curve.within.is_none()) {
        let shows = differ.iter().any(|(name, _)| *name == curve.factor);
        if shows && depends(&curve.factor) {
            let at_sites = moving.iter().any(|(name, _)| is_of(name, &curve.factor));
            let at_levels: Vec<String> = found
                .curves
                .iter()
                .filter(|own| own.factor == curve.factor && !at_sites)
                .filter(|own| {
                    let other = own.within.as_ref().map(|(other, _)| other);
                    let both = |name: &str| other.is_some_and(|other| is_of(name, other));
                    differ.iter().any(|(name, _)| is_of(name, &curve.factor) && both(name))
                })
                .map(|own| curve_words(own, &declaration.amounts))
                .collect();
            if at_levels.is_empty() {
                out.push_str(&say!(
                    " Its best level is not the same for all: read each site and each level of the other factor by itself."
                ));
            } else {
                out.push_str(&say!(
                    " Its best level hangs on the other factor, over all sites: {}",
                    at_levels.join(" ")
                ));
            }
        } else if shows {
            out.push_str(&format!(" {}", optimum_words(curve, &curve.maximum)));
            match curve.lack_of_fit {
                Some((.., p)) if p < FOUND => {
                    out.push_str(&say!(" The means stray from that curve ({}).", p_words(p)));
                }
                Some((.., p)) => out.push_str(&say!(
                    " That the means stray from that curve does not show ({}).",
                    p_words(p)
                )),
                None => {}
            }
        }
    }
    if let Some(tried) = &pooled.without_outlying {
        let named = |found: &Pooled| -> Vec<(String, f64)> {
            let [terms, _] = site_terms(found);
            terms.into_iter().map(|(name, p)| (factor_words(name), p)).collect()
        };
        out.push_str(&format!(" {}", stand_out(&tried.plots)));
        let without = match &tried.combined {
            Ok(others) => stands(&named(found), &named(others)),
            Err(why) => Some(say!("Not combined: {why}.")),
        };
        out.extend(without.map(|words| format!(" {words}")));
    }
    out
}

/// Where the curve over an amount is highest, or pays best.
pub fn optimum_words(curve: &Curve, optimum: &Optimum) -> String {
    optimum.words.replace(&curve.factor, &factor_words(&curve.factor))
}

/// Treatment terms of a combined analysis with their p, and their interactions with the sites.
fn site_terms(found: &Pooled) -> [Vec<(&str, f64)>; 2] {
    [PooledKind::Term, PooledKind::TermByEnvironments].map(|kind| {
        let own = found.table.iter().filter(|row| row.kind == kind);
        own.filter_map(|row| Some((row.source.as_str(), row.p?))).collect()
    })
}

/// The finding on the scale that suits the trait, counts and shares by their own model, with what a
/// reader must know before quoting it.
pub fn part_finding(part: &AnalysedPart, analysis: &Analysis) -> String {
    let own = part.own_scale.as_ref().ok();
    let counted = part.observed.kind != TraitKind::Measured;
    let found = own
        .filter(|_| counted)
        .and_then(|found| own_scale::finding(&part.observed, found))
        .unwrap_or_else(|| finding(analysis));
    let scale = own.filter(|_| !counted).and_then(own_scale::beside);
    let broken = checks::broken(analysis, &part.rows);
    let first = checks::standing_out(analysis, &part.rows);
    [Some(found), scale, broken, first].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// The sentence for the manager: the finding on the first trait, over sites where there are several.
pub fn sentence(trial: &AnalysedTrial) -> String {
    if let Some(sites) = trial.pooled.iter().find(|pooled| pooled.over == "sites") {
        return sites_finding(&trial.declared.declaration, sites);
    }
    let Some(first) = trial.parts.first() else {
        return trial.declared.notes.first().cloned().unwrap_or_default();
    };
    let own = trial.parts.iter().filter(|part| part.observed == first.observed);
    let words = own.map(|part| {
        let said = said(part);
        part.site.as_ref().map_or_else(|| said.clone(), |site| format!("{site}: {said}"))
    });
    words.collect::<Vec<_>>().join(" ")
}

fn said(part: &AnalysedPart) -> String {
    match &part.outcome {
        Ok(analysis) => part_finding(part, analysis),
        Err(refusal) => say!("{} was not analysed: {refusal}.", capital(&part.observed.name)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::in_blocks::in_blocks;
    use super::{finding, treatment_words, tried_without};
    use records::Book;
    use trials::{Plan, analyse};

    fn declared(section: &str) -> Book {
        Book::parse(&format!("[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n[trials.T]\ndesign = \"randomised_blocks\"\n{section}")).unwrap()
    }

    /// Three levels half a kilogram apart in six blocks, the last plot with some kilograms more.
    fn tried(more: f64) -> String {
        let rows = in_blocks(3, 6, |l, block| {
            let last = if (l, block) == (0, 5) { more } else { 0.0 };
            8.0 + 0.5 * l as f64 + 0.1 * ((l * 7 + block * 5) % 6) as f64 + last
        });
        let book = declared("factors = [\"level\"]\n");
        let analysis = analyse(&Plan::read(&book.trials["T"], &rows).unwrap()).unwrap();
        let plot = analysis.plan.units[5].plot.clone();
        assert_eq!(analysis.plan.units[5].value, rows.values[5]);
        tried_without(&analysis, &rows, &[&plot]).unwrap()
    }

    /// Five amounts in four blocks: a slow rise that differences at large do not show, and a bend without one.
    #[test]
    fn amounts_are_asked_for_a_trend_and_a_bend() {
        let said = |of: fn(f64) -> f64| {
            let mut rows = in_blocks(5, 4, |l, block| {
                8.0 + of(l as f64) + 0.1 * ((l * 7 + block * 5 + l * block) % 6) as f64
            });
            let amounts = rows.columns.get_mut("level").unwrap();
            amounts.iter_mut().flatten().for_each(|level| *level = level.replace('L', ""));
            let book = declared("factors = [\"level\"]\namounts = { level = \"kg\" }\n");
            finding(&analyse(&Plan::read(&book.trials["T"], &rows).unwrap()).unwrap())
        };
        let rise = said(|level| 0.06 * level);
        assert!(rise.starts_with("No effect of level on nut yield was found (p = 0."), "{rise}");
        assert!(rise.contains("along level the linear trend is upward (p = 0.0"), "{rise}");
        assert!(rise.contains("; no bend shows (p = "), "{rise}");
        let bend = said(|level| -0.2 * (level - 2.0).powi(2));
        assert!(bend.contains("along level no linear trend shows (p = 0."), "{bend}");
        assert!(bend.ends_with("a bend shows (p < 0.001)."), "{bend}");
        assert!(said(|level| -level).contains("the linear trend is downward (p < 0.001)"));
    }

    #[test]
    fn a_finding_is_tried_without_the_plot_that_stands_out() {
        assert!(tried(9.0).contains("the finding changes (level: p < 0.001 without it, p = 0."));
        assert!(tried(0.0).contains("the finding stays (level: p < 0.001 without it, p < 0.001"));
    }

    #[test]
    fn the_season_of_a_control_is_no_level_of_the_other_factor() {
        let said = |factors: &str, treatment: &str| {
            let book = declared(&format!(
                "factors = [{factors}]\namounts = {{ depth = \"fraction\", lead_days = \"days\" }}\ncontrol = {{ factor = \"depth\", level = \"0\", beside_factorial = true }}\n"
            ));
            treatment_words(&book.trials["T"], treatment)
        };
        let first = "\"depth\", \"lead_days\"";
        assert_eq!(said(first, "0 / 2027"), "0 %, 2027");
        assert_eq!(said(first, "0"), "0 %");
        assert_eq!(said(first, "0.3 / 20 / 2027"), "30 %, 20 days, 2027");
        assert_eq!(said(first, "0.3 / 20"), "30 %, 20 days");
        let last = "\"lead_days\", \"depth\"";
        assert_eq!(said(last, "0 / 2027"), "0 %, 2027");
        assert_eq!(said(last, "0 / 0.3 / 2027"), "0 days, 30 %, 2027");
        assert_eq!(said(last, "0 / 0.3"), "0 days, 30 %");
        let three = "\"depth\", \"lead_days\", \"paste\"";
        assert_eq!(said(three, "0 / 2027"), "0 %, 2027");
        assert_eq!(said(three, "0.3 / 20 / no / 2027"), "30 %, 20 days, no, 2027");
    }
}
