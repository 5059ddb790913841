//! Means compared: with the control, or pair by pair, adjusted for their number.

use super::words::{decimals, factor_words, levels_words, treatment_words};
use ::words::{say, text};
use records::TrialDeclaration;
use report::{TrialCell, TrialTable};
use trials::compare::{Adjustment, ComparisonTable, EstimatedMeans, Letters, PairDf, Pairs};
use trials::distributions::Sides;
use trials::{Analysis, MeansOfTerm};

/// Most means whose pairs are listed: more make a table that nobody reads.
const MOST: usize = 12;
const LEVEL: f64 = 0.05;

/// The means with their covariance, named as people read them; `None` where one is missing or the
/// pairs were not judged.
fn estimated(analysis: &Analysis, of: &MeansOfTerm) -> Option<EstimatedMeans> {
    let covariance = of.covariance.as_ref()?;
    let values: Vec<f64> = of.means.iter().map(|mean| mean.mean).collect::<Option<_>>()?;
    let count = values.len();
    let names = of.means.iter().map(|mean| levels_words(analysis, of, &mean.levels)).collect();
    let mut df = vec![1.0; count * count];
    for pair in &of.pairs {
        for at in [pair.first * count + pair.second, pair.second * count + pair.first] {
            if let Some(slot) = df.get_mut(at) {
                *slot = pair.df;
            }
        }
    }
    let flat: Vec<f64> = covariance.iter().flatten().copied().collect();
    EstimatedMeans::new(names, values, flat, PairDf::Pairs(df)).ok()
}

/// Letters of the means of a term, all pairs judged by Tukey and Kramer.
pub fn letters(analysis: &Analysis, of: &MeansOfTerm) -> Option<Letters> {
    let means = estimated(analysis, of)?;
    let table = ComparisonTable::new(&means, &Pairs::All, Adjustment::Tukey, LEVEL).ok()?;
    Some(Letters::new(&means, &table))
}

/// Adjusted differences of a term.
pub struct Compared {
    /// For the page.
    pub table: TrialTable,
    /// As computed.
    pub comparisons: ComparisonTable,
}

/// The comparisons that a term of few means calls for: with the control by Dunnett, else all pairs
/// by Tukey and Kramer, with Holm's p beside.
pub fn table(
    analysis: &Analysis,
    of: &MeansOfTerm,
    declaration: &TrialDeclaration,
) -> Option<Compared> {
    if !(2..=MOST).contains(&of.means.len()) {
        return None;
    }
    let means = estimated(analysis, of)?;
    let name = control_name(analysis, of, declaration);
    let (pairs, adjustment) = match &name {
        Some(name) => (Pairs::WithControl(name.clone()), Adjustment::Dunnett(Sides::Both)),
        None => (Pairs::All, Adjustment::Tukey),
    };
    let first = ComparisonTable::new(&means, &pairs, adjustment, LEVEL).ok()?;
    let holm = ComparisonTable::new(&means, &pairs, Adjustment::Holm, LEVEL).ok()?;
    let adjusted = match adjustment {
        Adjustment::Tukey => text!("#p (Tukey)"),
        _ => text!("#p (Dunnett)"),
    };
    let heads = [
        text!("Difference"),
        text!("#Estimate"),
        text!("#SEd"),
        text!("#df"),
        text!("#Low 95 %"),
        text!("#High 95 %"),
        adjusted,
        text!("#p (Holm)"),
        text!("#p unadjusted"),
    ];
    let what = if name.is_some() { text!("with the control") } else { text!("of all pairs") };
    let caption = say!("Differences {what}: {}", factor_words(&of.term));
    let file = format!("differences-{}", super::tables::slug(&of.term));
    let mut table = TrialTable::new(&file, caption, &heads);
    let digits = decimals(analysis.grand_mean);
    for (row, other) in first.rows.iter().zip(&holm.rows) {
        table.rows.push(vec![
            TrialCell::Text(say!("{} less {}", row.first, row.second)),
            TrialCell::Number(Some(row.estimate), digits),
            TrialCell::Number(Some(row.std_error), digits + 1),
            TrialCell::Number(row.df, 1),
            TrialCell::Number(row.conf_low, digits),
            TrialCell::Number(row.conf_high, digits),
            TrialCell::P(row.p_value),
            TrialCell::P(other.p_value),
            TrialCell::P(row.p_unadjusted),
        ]);
    }
    table
        .notes
        .push(say!("Limits hold together for the whole table ({}).", first.adjustment.name()));
    table.notes.extend(first.notes.clone());
    Some(Compared { table, comparisons: first })
}

/// Name of the control among the means of a term.
fn control_name(
    analysis: &Analysis,
    of: &MeansOfTerm,
    declaration: &TrialDeclaration,
) -> Option<String> {
    let control = declaration.control.as_ref()?;
    if let Some(name) = &analysis.plan.control {
        let name = &treatment_words(declaration, name);
        let found = of.means.iter().find(|mean| mean.levels.len() == 1 && mean.levels[0] == *name);
        return found.map(|mean| levels_words(analysis, of, &mean.levels));
    }
    if of.parts.len() != 1 || of.parts.first() != Some(&control.factor) {
        return None;
    }
    let same = |level: &String| match (level.parse::<f64>(), control.level.parse::<f64>()) {
        (Ok(one), Ok(other)) => (one - other).abs() < 1e-12,
        _ => *level == control.level,
    };
    let found = of.means.iter().find(|mean| mean.levels.first().is_some_and(same));
    found.map(|mean| levels_words(analysis, of, &mean.levels))
}
