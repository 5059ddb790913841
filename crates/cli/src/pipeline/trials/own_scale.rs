//! A trait on the scale that suits it, with means given back in its own unit.

use super::words::{decimals, factor_words, p_words, treatment_words};
use ::words::{capital, say, text};
use records::TrialDeclaration;
use report::{TrialCell, TrialSection, TrialTable};
use trials::compare::{Adjustment, Pairs};
use trials::distributions::Sides;
use trials::traits::{NaturalMean, TermTest, TraitAnalysis, TraitModel, TraitTest};
use trials::{Analysis, Trait, TraitKind};

/// Most pairs listed.
const PAIRS: usize = 45;

/// The model's name for people.
fn model_words(model: TraitModel) -> &'static str {
    match model {
        TraitModel::AsMeasured => text!("as measured"),
        TraitModel::SquareRoot => text!("square roots"),
        TraitModel::Logarithm => text!("logarithms"),
        TraitModel::Arcsine => text!("arcsines of roots of shares"),
        TraitModel::Logit => text!("logits of shares"),
        TraitModel::Poisson => text!("Poisson counts, log link"),
        TraitModel::NegativeBinomial => text!("negative binomial counts, log link"),
        TraitModel::Binomial => text!("binomial shares, logit link"),
        TraitModel::BinomialClumped => text!("binomial shares, logit link, clumped within plots"),
    }
}

/// p from which on an effect is not called one.
const FOUND: f64 = 0.05;

/// Test of all treatments in words, for traits that the analysis of variance does not suit. Over
/// several seasons the treatments alone are judged: a good year is no effect of them.
pub fn finding(observed: &Trait, found: &TraitAnalysis) -> Option<String> {
    let test = found.test?;
    let name = capital(&observed.name);
    let over = !found.over_seasons.is_empty();
    let means = if over { &found.over_seasons } else { &found.means };
    let highest = means.iter().max_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let lowest = means.iter().min_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let digits = decimals(highest.mean);
    // Of several terms each is judged against its own error, which all treatments together have not in common.
    let terms: Vec<&TermTest> = found.terms.iter().filter(|term| !term.seasonal).collect();
    let (is_found, p) = if terms.len() > 1 {
        let each = terms
            .iter()
            .map(|own| format!("{} {}", factor_words(&own.term), p_words(own.test.p_value)));
        let each = each.collect::<Vec<_>>().join(", ");
        (terms.iter().any(|own| own.test.p_value < FOUND), each)
    } else {
        (test.p_value < FOUND, p_words(test.p_value))
    };
    let unit = if observed.unit.is_empty() { String::new() } else { format!(" {}", observed.unit) };
    let said = match (is_found, over) {
        (true, false) => text!("Treatments differ in"),
        (false, false) => text!("No difference between treatments was found in"),
        (true, true) => text!("Over the seasons treatments differ in"),
        (false, true) => text!("Over the seasons no difference between treatments was found in"),
    };
    let mut out = say!(
        "{said} {} ({p}; {}). {name} from {:.digits$} ({}) to {:.digits$}{unit} ({}).",
        observed.name,
        model_words(found.model),
        lowest.mean,
        lowest.treatment,
        highest.mean,
        highest.treatment
    );
    let moving = found.terms.iter().filter(|t| t.seasonal && t.interaction);
    let moving = moving.filter(|t| t.test.p_value < FOUND);
    let moving: Vec<String> = moving
        .map(|t| format!("{} ({})", factor_words(&t.term), p_words(t.test.p_value)))
        .collect();
    if !moving.is_empty() {
        let seasons = say!("Differences were not the same in every season: {}.", moving.join(", "));
        out = format!("{out} {seasons}");
    }
    Some(out)
}

/// What the analysis on another scale says beside that of the trait as measured.
pub fn beside(found: &TraitAnalysis) -> Option<String> {
    let test = found.test.filter(|_| found.model != TraitModel::AsMeasured)?;
    Some(say!(
        "As measured; on the scale of {}, which suits the residuals better, all treatments alike has {}.",
        model_words(found.model),
        super::words::p_words(test.p_value)
    ))
}

/// Model, reason, means with limits and differences.
pub fn section(
    declaration: &TrialDeclaration,
    observed: &Trait,
    found: &TraitAnalysis,
) -> TrialSection {
    let mut paragraphs = vec![format!("{}.", capital(&found.why))];
    if observed.kind == TraitKind::Measured && found.model != TraitModel::AsMeasured {
        paragraphs.push(say!(
            "The tables of this section are on that scale; the analysis of variance, means and critical differences below are of the trait as measured."
        ));
    }
    paragraphs.extend(found.notes.iter().cloned());
    let as_measured = found.model == TraitModel::AsMeasured;
    let mut tables: Vec<TrialTable> = tested(found).into_iter().collect();
    if !as_measured {
        tables.extend(found.analysis.as_deref().map(|own| on_that_scale(own, found.model)));
        if !found.over_seasons.is_empty() {
            let caption = text!("Means over the seasons on the natural scale");
            let mut table = natural("natural-means-seasons", caption, observed, found);
            table.rows.extend(rows(&found.over_seasons));
            let note = text!("Averaged on the scale of analysis, seasons with equal weights.");
            table.notes.push(note.to_owned());
            tables.push(table);
            tables.extend(differences_over_seasons(declaration, found));
        }
        let caption = text!("Means on the natural scale");
        let mut table = natural("natural-means", caption, observed, found);
        table.rows.extend(rows(&found.means));
        tables.push(table);
        if found.differences.len() <= PAIRS {
            tables.push(differences(found));
        }
    }
    TrialSection {
        heading: say!("The scale that suits the trait"),
        paragraphs,
        tables,
        ..TrialSection::default()
    }
}

/// The analysis of variance of transformed values.
fn on_that_scale(analysis: &Analysis, model: TraitModel) -> TrialTable {
    let mut table = super::tables::anova(analysis);
    table.name = "natural-anova".to_owned();
    table.notes.insert(0, say!("Scale of the analysis: {}.", model_words(model)));
    table
}

/// An empty table of means with limits.
fn natural(
    name: &'static str,
    caption: &str,
    observed: &Trait,
    found: &TraitAnalysis,
) -> TrialTable {
    let unit =
        if observed.unit.is_empty() { String::new() } else { format!(" ({})", observed.unit) };
    let mean = say!("#Mean{unit}");
    let heads = [
        text!("Treatment"),
        &mean,
        text!("#Low 95 %"),
        text!("#High 95 %"),
        text!("#On the scale of analysis"),
        text!("#SE"),
    ];
    let mut table = TrialTable::new(name, caption, &heads);
    table.notes.push(say!("Scale of the analysis: {}.", model_words(found.model)));
    table
}

fn rows(means: &[NaturalMean]) -> impl Iterator<Item = Vec<TrialCell>> {
    let digits = decimals(means.iter().map(|mean| mean.mean).fold(0.0, f64::max));
    means.iter().map(move |mean| {
        vec![
            TrialCell::Text(mean.treatment.clone()),
            TrialCell::Number(Some(mean.mean), digits),
            TrialCell::Number(Some(mean.low), digits),
            TrialCell::Number(Some(mean.high), digits),
            TrialCell::Number(Some(mean.estimate), 3),
            TrialCell::Number(Some(mean.std_error), 3),
        ]
    })
}

/// The tests term by term, and that all treatments are alike where it says more than one of them.
fn tested(found: &TraitAnalysis) -> Option<TrialTable> {
    let heads = [text!("Test"), "#F", text!("#df"), text!("#Denominator df"), "#p"];
    let mut table = TrialTable::new("natural-test", text!("Test on the scale of analysis"), &heads);
    let row = |name: String, test: &TraitTest| {
        vec![
            TrialCell::Text(name),
            TrialCell::Number(Some(test.f), 2),
            TrialCell::Number(Some(test.df), 0),
            TrialCell::Number(Some(test.df_denominator), 1),
            TrialCell::P(Some(test.p_value)),
        ]
    };
    let of_treatments = found.terms.iter().filter(|term| !term.seasonal).count();
    if let Some(test) = found.test.as_ref().filter(|_| of_treatments != 1) {
        table.rows.push(row(say!("all treatments alike"), test));
    }
    table.rows.extend(found.terms.iter().map(|term| row(factor_words(&term.term), &term.test)));
    let sharpest = |least: f64, term: &TermTest| least.max(term.test.df_denominator);
    let most = found.terms.iter().fold(0.0, sharpest);
    if found.test.is_some_and(|test| of_treatments > 1 && test.df_denominator < 0.7 * most) {
        table.notes.push(say!(
            "That all treatments are alike is judged with few denominator df, those that the largest plots leave: it misses what the tests of each term find, and these are the ones to quote."
        ));
    }
    (!table.rows.is_empty()).then_some(table)
}

/// Treatments over the seasons compared as other traits are: with the control by Dunnett, else all
/// pairs by Tukey and Kramer, with Holm's p beside.
fn differences_over_seasons(
    declaration: &TrialDeclaration,
    found: &TraitAnalysis,
) -> Option<TrialTable> {
    let control = declaration.control.as_ref().and_then(|control| {
        let name = treatment_words(declaration, &control.level);
        found.over_seasons.iter().map(|mean| &mean.treatment).find(|own| **own == name)
    });
    let (pairs, adjustment, adjusted, caption) = match control {
        Some(name) => (
            Pairs::WithControl(name.clone()),
            Adjustment::Dunnett(Sides::Both),
            text!("#p (Dunnett)"),
            text!("Differences with the control over the seasons"),
        ),
        None => (
            Pairs::All,
            Adjustment::Tukey,
            text!("#p (Tukey)"),
            text!("Differences of treatments over the seasons"),
        ),
    };
    let first = found.compared_over_seasons(&pairs, adjustment)?;
    let holm = found.compared_over_seasons(&pairs, Adjustment::Holm)?;
    if first.rows.len() > PAIRS {
        return None;
    }
    let heads = [
        text!("Difference"),
        text!("#On the scale of analysis"),
        text!("#SE"),
        text!("#Ratio"),
        text!("#Low 95 %"),
        text!("#High 95 %"),
        adjusted,
        text!("#p (Holm)"),
        text!("#p unadjusted"),
    ];
    let mut table = TrialTable::new("natural-differences-seasons", caption, &heads);
    for (row, other) in first.rows.iter().zip(&holm.rows) {
        table.rows.push(vec![
            TrialCell::Text(say!("{} less {}", row.first, row.second)),
            TrialCell::Number(Some(row.estimate), 3),
            TrialCell::Number(Some(row.std_error), 3),
            TrialCell::Number(Some(row.estimate.exp()), 2),
            TrialCell::Number(row.conf_low.map(f64::exp), 2),
            TrialCell::Number(row.conf_high.map(f64::exp), 2),
            TrialCell::P(row.p_value),
            TrialCell::P(other.p_value),
            TrialCell::P(row.p_unadjusted),
        ]);
    }
    table.notes.push(say!("Ratios are of means on log scales and of odds on logits."));
    table
        .notes
        .push(say!("Limits hold together for the whole table ({}).", first.adjustment.name()));
    table.notes.extend(first.notes);
    Some(table)
}

fn differences(found: &TraitAnalysis) -> TrialTable {
    let heads = [
        text!("Difference"),
        text!("#On the scale of analysis"),
        text!("#SE"),
        text!("#Ratio"),
        text!("#Low 95 %"),
        text!("#High 95 %"),
        "#p",
    ];
    let mut table =
        TrialTable::new("natural-differences", text!("Differences of treatments"), &heads);
    for pair in &found.differences {
        table.rows.push(vec![
            TrialCell::Text(say!("{} less {}", pair.first, pair.second)),
            TrialCell::Number(Some(pair.estimate), 3),
            TrialCell::Number(Some(pair.std_error), 3),
            TrialCell::Number(pair.ratio.map(|(ratio, ..)| ratio), 2),
            TrialCell::Number(pair.ratio.map(|(_, low, _)| low), 2),
            TrialCell::Number(pair.ratio.map(|(.., high)| high), 2),
            TrialCell::P(Some(pair.p_value)),
        ]);
    }
    table
        .notes
        .push(say!("Ratios are of means on log scales and of odds on logits; p unadjusted."));
    table
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used, clippy::panic)]

    use super::*;
    use trials::traits::TraitEvidence;

    fn mean(treatment: &str, mean: f64) -> NaturalMean {
        let treatment = treatment.to_owned();
        NaturalMean { treatment, mean, low: mean, high: mean, estimate: mean.ln(), std_error: 0.1 }
    }

    /// Counts of two seasons: p of the treatments, of the season, and of both.
    fn counted([treatments, season, both]: [f64; 3]) -> TraitAnalysis {
        let test = |p_value| TraitTest { f: 1.0, df: 1.0, df_denominator: 11.0, p_value };
        let term = |name: &str, seasonal, interaction, p| TermTest {
            term: name.to_owned(),
            seasonal,
            interaction,
            test: test(p),
        };
        TraitAnalysis {
            model: TraitModel::Poisson,
            why: String::new(),
            evidence: TraitEvidence {
                units: 8,
                share_zero: 0.0,
                variance_slope: None,
                dispersion: None,
                dispersion_p: None,
                power: None,
            },
            means: vec![mean("0 %, 2024", 20.0), mean("15 %, 2025", 33.0)],
            differences: Vec::new(),
            over_seasons: vec![mean("0 %", 25.0), mean("15 %", 26.0)],
            over_seasons_covariance: vec![vec![0.01, 0.0], vec![0.0, 0.01]],
            test: Some(test(treatments)),
            terms: vec![
                term("cut", false, false, treatments),
                term("season", true, false, season),
                term("cut x season", true, true, both),
            ],
            df: 11.0,
            analysis: None,
            notes: Vec::new(),
        }
    }

    #[test]
    fn a_good_year_is_no_effect_of_the_treatments() {
        let observed = super::super::counts::trait_of(records::TrialTrait::Laterals);
        let said = |p| finding(&observed, &counted(p)).expect("a finding");
        let season = said([0.6, 1e-6, 0.5]);
        let says =
            "Over the seasons no difference between treatments was found in laterals (p = 0.600";
        assert!(season.starts_with(says), "{season}");
        assert!(season.contains("Laterals from 25.00 (0 %) to 26.00 per m2 (15 %)."), "{season}");
        assert!(!season.contains("every season"), "{season}");
        let moving = said([0.01, 1e-6, 0.002]);
        assert!(moving.starts_with("Over the seasons treatments differ in laterals"), "{moving}");
        let says = "Differences were not the same in every season: cut x season (p = 0.002).";
        assert!(moving.ends_with(says), "{moving}");
        let table = tested(&counted([0.6, 1e-6, 0.5])).expect("a table");
        assert_eq!(table.rows.len(), 3);
    }

    /// Whoever reads that logarithms were analysed finds their tests too.
    #[test]
    fn a_transformed_trait_shows_its_analysis_of_variance() {
        let rows = super::super::in_blocks::in_blocks(3, 6, |level, block| {
            (0.4 * level as f64 + 0.1 * ((level * 7 + block * 5) % 6) as f64).exp()
        });
        let book = records::Book::parse("[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n").expect("a book");
        let declaration = &book.trials["T"];
        let plan = trials::Plan::read(declaration, &rows).expect("a plan");
        let analysis = trials::analyse(&plan).expect("analysed");
        let mut found = counted([0.6, 1e-6, 0.5]);
        (found.model, found.analysis) = (TraitModel::Logarithm, Some(Box::new(analysis)));
        let shown = section(declaration, &rows.observed, &found);
        let table = shown.tables.iter().find(|table| table.name == "natural-anova");
        let table = table.expect("the analysis of variance on that scale");
        assert!(table.rows.len() >= 4 && table.notes[0].contains("logarithms"));
    }

    /// Standard errors of 0.1 each: the difference of logs has 0.1 x sqrt 2.
    #[test]
    fn treatments_over_the_seasons_are_compared_with_the_control_or_in_pairs() {
        let declared = |control: &str| {
            let section = format!(
                "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"cut\"]\namounts = {{ cut = \"fraction\" }}\n{control}"
            );
            let book = records::Book::parse(&format!("[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n{section}")).expect("a book");
            let found = counted([0.6, 1e-6, 0.5]);
            differences_over_seasons(&book.trials["T"], &found).expect("a table")
        };
        let number = |cell: &TrialCell| match cell {
            TrialCell::Number(value, _) | TrialCell::P(value) => value.expect("a value"),
            TrialCell::Text(text) => panic!("{text}"),
        };
        let pairs = declared("");
        assert_eq!(pairs.rows.len(), 1);
        assert_eq!(pairs.rows[0][0], TrialCell::Text("0 % less 15 %".to_owned()));
        assert!((number(&pairs.rows[0][2]) - 0.1 * 2.0_f64.sqrt()).abs() < 1e-12);
        assert!((number(&pairs.rows[0][3]) - 25.0 / 26.0).abs() < 1e-12);
        let control = declared("control = { factor = \"cut\", level = \"0\" }\n");
        assert_eq!(control.rows[0][0], TrialCell::Text("15 % less 0 %".to_owned()));
        assert!((number(&control.rows[0][3]) - 26.0 / 25.0).abs() < 1e-12);
        // Of one difference every p is that of t.
        for p in [6, 7, 8] {
            assert!((number(&control.rows[0][p]) - number(&pairs.rows[0][8])).abs() < 1e-6);
        }
    }
}
