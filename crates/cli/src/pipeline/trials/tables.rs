//! An analysis as tables in the trade's form.

use super::words::{decimals, factor_of, factor_words, level_words};
use ::words::{say, text};
use report::{TrialCell, TrialTable, stem};
use trials::{Analysis, AnovaKind, MeansOfTerm, MethodUsed};

fn text(words: impl Into<String>) -> TrialCell {
    TrialCell::Text(words.into())
}

/// The analysis of variance.
pub fn anova(analysis: &Analysis) -> TrialTable {
    if analysis.method.used == MethodUsed::KenwardRoger {
        return tests(analysis);
    }
    let heads = [
        text!("Stratum"),
        text!("Source"),
        text!("#df"),
        text!("#SS"),
        text!("#MS"),
        "#F",
        "#p",
        text!("Expected mean square"),
    ];
    let mut table = TrialTable::new("anova", text!("Analysis of variance"), &heads);
    let size = analysis.anova.iter().filter_map(|row| row.ms).fold(0.0, f64::max);
    for row in &analysis.anova {
        table.rows.push(vec![
            text(factor_words(&row.stratum)),
            text(source(&row.source, row.kind)),
            TrialCell::Number(Some(row.df), 0),
            TrialCell::Number(row.ss, decimals(size) + 1),
            TrialCell::Number(row.ms, decimals(size) + 1),
            TrialCell::Number(row.f, 2),
            TrialCell::P(row.p),
            text(row.expected.as_ref().map_or("", |expected| &expected.words)),
        ]);
    }
    table.notes = notes(analysis);
    table
}

fn source(name: &str, kind: AnovaKind) -> String {
    match kind {
        AnovaKind::Error => say!("Error"),
        AnovaKind::Total => say!("Total"),
        _ => factor_words(name),
    }
}

fn notes(analysis: &Analysis) -> Vec<String> {
    let noted = analysis
        .anova
        .iter()
        .filter_map(|row| Some(format!("{}: {}", factor_words(&row.source), row.note.as_ref()?)));
    noted.collect()
}

/// F tests of a mixed model.
fn tests(analysis: &Analysis) -> TrialTable {
    let heads = [text!("Term"), text!("#df"), text!("#Denominator df"), "#F", "#p"];
    let caption = text!("Tests of the fixed terms (mixed model, Kenward and Roger)");
    let mut table = TrialTable::new("anova", caption, &heads);
    for row in analysis.anova.iter().filter(|row| row.kind != AnovaKind::Total) {
        if row.kind == AnovaKind::Error && row.f.is_none() && row.ss.is_none() {
            continue;
        }
        table.rows.push(vec![
            text(source(&row.source, row.kind)),
            TrialCell::Number(Some(row.df), 0),
            TrialCell::Number(row.df_denominator, 1),
            TrialCell::Number(row.f, 2),
            TrialCell::P(row.p),
        ]);
    }
    table.notes = notes(analysis);
    table
}

/// Coefficients of variation and variance components, stratum by stratum.
pub fn variation(analysis: &Analysis) -> TrialTable {
    let heads = [
        text!("Stratum"),
        text!("#Variance"),
        text!("How estimated"),
        "#CV %",
        text!("#CV % of group means"),
    ];
    let mut table = TrialTable::new("variation", text!("Variation by stratum"), &heads);
    let mut strata: Vec<&str> = analysis.components.iter().map(|c| c.stratum.as_str()).collect();
    for variation in &analysis.variation {
        if !strata.contains(&variation.stratum.as_str()) {
            strata.push(&variation.stratum);
        }
    }
    let size = analysis.components.iter().map(|c| c.variance.abs()).fold(0.0, f64::max);
    for stratum in strata {
        let component = analysis.components.iter().find(|c| c.stratum == stratum);
        let variation = analysis.variation.iter().find(|v| v.stratum == stratum);
        table.rows.push(vec![
            text(factor_words(stratum)),
            TrialCell::Number(component.map(|c| c.variance), decimals(size) + 1),
            text(component.map_or("", |c| &c.how)),
            TrialCell::Number(variation.map(|v| v.percent), 1),
            TrialCell::Number(variation.and_then(|v| v.percent_of_group_means), 1),
        ]);
        if let Some(upper) = component.and_then(|c| c.upper) {
            table.notes.push(say!(
                "The variance between {stratum} is estimated at 0; it may be up to {upper:.3} (95 %).",
                stratum = factor_words(stratum)
            ));
        }
    }
    // The strata of an analysis share their convention.
    let convention = analysis.variation.first().map(|v| &v.convention);
    table.notes.extend(convention.map(|words| say!("CV: {words}.")));
    let sizes: Vec<String> = analysis
        .variation
        .iter()
        .filter_map(|v| {
            let size = v.units_per_group?;
            let whole = (size - size.round()).abs() < 1e-9;
            let size = if whole { say!("{size:.0}") } else { say!("{size:.1}") };
            Some(format!("{} {size}", factor_words(&v.stratum)))
        })
        .collect();
    if !sizes.is_empty() {
        table.notes.push(say!(
            "CV of group means: the mean square is divided by the units per group, whose harmonic mean it is where groups differ: {}.",
            sizes.join(", ")
        ));
    }
    table
}

/// Means of a term; `letters` by mean, where asked for.
pub fn means(analysis: &Analysis, of: &MeansOfTerm, letters: Option<&[String]>) -> TrialTable {
    let unit = &analysis.plan.observed.unit;
    let mean = if unit.is_empty() { say!("#Mean") } else { say!("#Mean ({unit})") };
    let parts: Vec<String> = of.parts.iter().map(|part| factor_words(part)).collect();
    let adjusted = analysis.plan.covariate.is_some();
    let mut heads: Vec<&str> = parts.iter().map(String::as_str).collect();
    let unadjusted = text!("#Unadjusted mean");
    // Where plots hold unequal numbers of trees, the units of the analysis are the trees.
    // Over several seasons each is counted once in every season.
    let seasons = analysis.plan.units.iter().any(|unit| unit.season.is_some());
    let units = match (analysis.plan.units_are_trees, seasons) {
        (true, false) => text!("#Trees"),
        (true, true) => text!("#Tree-seasons"),
        (false, false) => text!("#Plots"),
        (false, true) => text!("#Plot-seasons"),
    };
    heads.extend([units, &mean, text!("#SE of the mean")]);
    if adjusted {
        heads.push(unadjusted);
    }
    if letters.is_some() {
        heads.push(text!("Letters"));
    }
    let caption = say!("Means of {}", factor_words(&of.term));
    let mut table = TrialTable::new(&format!("means-{}", slug(&of.term)), caption, &heads);
    let digits = decimals(analysis.grand_mean);
    for (row, mean) in of.means.iter().enumerate() {
        let mut cells: Vec<TrialCell> = mean
            .levels
            .iter()
            .enumerate()
            .map(|(part, level)| text(level_words(factor_of(analysis, of, part), level)))
            .collect();
        cells.extend([
            TrialCell::Number(Some(mean.units as f64), 0),
            TrialCell::Number(mean.mean, digits),
            TrialCell::Number(mean.std_error, digits + 1),
        ]);
        if adjusted {
            cells.push(TrialCell::Number(mean.plain, digits));
        }
        if let Some(letters) = letters {
            cells.push(text(letters.get(row).cloned().unwrap_or_default()));
        }
        table.rows.push(cells);
    }
    table.notes.extend(of.note.clone());
    table
}

/// SEm, SEd and critical differences of every kind of comparison in a term.
pub fn comparisons(analysis: &Analysis, of: &MeansOfTerm) -> Option<TrialTable> {
    if of.comparisons.is_empty() {
        return None;
    }
    let weighted = of.comparisons.iter().any(|kind| kind.cd5_weighted.is_some());
    let mut heads = vec![
        text!("Comparison"),
        text!("#SEm"),
        text!("#SEd"),
        text!("#df"),
        text!("#CD 5 %"),
        text!("#CD 1 %"),
    ];
    if weighted {
        heads.extend([text!("#CD 5 %, weighted t"), text!("#CD 1 %, weighted t")]);
    }
    let uneven = of.comparisons.iter().any(|kind| !kind.equal);
    if uneven {
        heads.extend([text!("#Least SEd"), text!("#Greatest SEd")]);
    }
    let caption = say!("Comparing means of {}", factor_words(&of.term));
    let mut table = TrialTable::new(&format!("cd-{}", slug(&of.term)), caption, &heads);
    let digits = decimals(analysis.grand_mean) + 1;
    for kind in &of.comparisons {
        let mut cells = vec![
            text(factor_words(&kind.words)),
            TrialCell::Number(Some(kind.sem), digits),
            TrialCell::Number(Some(kind.sed), digits),
            TrialCell::Number(Some(kind.df), usize::from(kind.df.fract() > 0.0)),
            TrialCell::Number(kind.cd5, digits),
            TrialCell::Number(kind.cd1, digits),
        ];
        if weighted {
            cells.extend([
                TrialCell::Number(kind.cd5_weighted, digits),
                TrialCell::Number(kind.cd1_weighted, digits),
            ]);
        }
        if uneven {
            let (low, high) = kind.sed_range;
            let ends = if kind.equal { [None; 2] } else { [Some(low), Some(high)] };
            cells.extend(ends.map(|sed| TrialCell::Number(sed, digits)));
        }
        table.rows.push(cells);
        if kind.errors.len() > 1 {
            let errors: Vec<String> =
                kind.errors.iter().map(|(name, _)| trials::name_in_words(name)).collect();
            table.notes.push(say!(
                "{}: SEd mixes the errors of {}; df by Satterthwaite (1946){}.",
                factor_words(&kind.words),
                errors.join(text!(" and ")),
                if kind.cd5_weighted.is_some() { text!(", beside it the weighted t") } else { "" }
            ));
        }
    }
    Some(table)
}

/// A name for files: letters, digits and hyphens.
pub fn slug(name: &str) -> String {
    stem(name, [name])
}
