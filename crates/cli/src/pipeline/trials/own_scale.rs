//! A trait on the scale that suits it, with means given back in its own unit.

use super::words::decimals;
use ::words::{capital, say, text};
use report::{TrialCell, TrialSection, TrialTable};
use trials::traits::{TraitAnalysis, TraitModel, TraitTest};
use trials::{Trait, TraitKind};

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
        TraitModel::BinomialWithPlots => text!("binomial shares, logit link, plots random"),
    }
}

/// Test of all treatments in words, for traits that the analysis of variance does not suit.
pub fn finding(observed: &Trait, found: &TraitAnalysis) -> Option<String> {
    let test = found.test?;
    let name = capital(&observed.name);
    let highest = found.means.iter().max_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let lowest = found.means.iter().min_by(|a, b| a.mean.total_cmp(&b.mean))?;
    let digits = decimals(highest.mean);
    let p = super::words::p_words(test.p_value);
    let unit = if observed.unit.is_empty() { String::new() } else { format!(" {}", observed.unit) };
    let said = if test.p_value < 0.05 {
        text!("Treatments differ in")
    } else {
        text!("No difference between treatments was found in")
    };
    Some(say!(
        "{said} {} ({p}; {}). {name} from {:.digits$} ({}) to {:.digits$}{unit} ({}).",
        observed.name,
        model_words(found.model),
        lowest.mean,
        lowest.treatment,
        highest.mean,
        highest.treatment
    ))
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
pub fn section(observed: &Trait, found: &TraitAnalysis) -> TrialSection {
    let mut paragraphs = vec![format!("{}.", capital(&found.why))];
    if observed.kind == TraitKind::Measured && found.model != TraitModel::AsMeasured {
        paragraphs.push(say!(
            "The tables of this section are on that scale; the analysis of variance, means and critical differences below are of the trait as measured."
        ));
    }
    paragraphs.extend(found.notes.iter().cloned());
    let as_measured = found.model == TraitModel::AsMeasured;
    let mut tables: Vec<TrialTable> = found.test.iter().map(tested).collect();
    if !as_measured {
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
        let mut table =
            TrialTable::new("natural-means", text!("Means on the natural scale"), &heads);
        let digits = found.means.iter().map(|mean| mean.mean).fold(0.0, f64::max);
        let digits = decimals(digits);
        for mean in &found.means {
            table.rows.push(vec![
                TrialCell::Text(mean.treatment.clone()),
                TrialCell::Number(Some(mean.mean), digits),
                TrialCell::Number(Some(mean.low), digits),
                TrialCell::Number(Some(mean.high), digits),
                TrialCell::Number(Some(mean.estimate), 3),
                TrialCell::Number(Some(mean.std_error), 3),
            ]);
        }
        table.notes.push(say!("Scale of the analysis: {}.", model_words(found.model)));
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

/// The test that all treatments are alike, as other tests are shown.
fn tested(test: &TraitTest) -> TrialTable {
    let heads = [text!("Test"), "#F", text!("#df"), text!("#Denominator df"), "#p"];
    let mut table = TrialTable::new("natural-test", text!("Test on the scale of analysis"), &heads);
    table.rows.push(vec![
        TrialCell::Text(say!("all treatments alike")),
        TrialCell::Number(Some(test.f), 2),
        TrialCell::Number(Some(test.df), 0),
        TrialCell::Number(Some(test.df_denominator), 1),
        TrialCell::P(Some(test.p_value)),
    ]);
    table
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
