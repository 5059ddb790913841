//! Sites, or seasons, together: the section of the trials' page.

use super::amounts;
use super::pooling::PooledTrait;
use super::words::{decimals, factor_words, p_words, treatment_words};
use ::words::{capital, say, text};
use records::TrialDeclaration;
use report::{TrialCell, TrialSection, TrialTable};
use trials::checks::Answer;
use trials::name_in_words;
use trials::pooled::{Homogeneity, Pooled};

/// Fewest environments whose slopes are more than the difference of two means.
const LEAST_FOR_STABILITY: usize = 3;

/// The combined analysis as a section.
pub fn section(declaration: &TrialDeclaration, pooled: &PooledTrait) -> TrialSection {
    let heading = say!("{} together", capital(&name_in_words(pooled.over)));
    let found = match &pooled.combined {
        Ok(found) => found,
        Err(why) => {
            return TrialSection {
                heading,
                paragraphs: vec![say!("Not combined: {why}.")],
                ..TrialSection::default()
            };
        }
    };
    let seasons = pooled.over == "seasons";
    let mut section = TrialSection { heading, ..TrialSection::default() };
    if seasons {
        section.paragraphs.push(
            say!("Each season analysed by itself. The plots are the same, so the analysis above, with season as a factor and plots as a stratum, is the one to quote; here the seasons' errors are compared, and how each treatment fared from season to season."),
        );
    } else {
        section.paragraphs.push(say!(
            "Each site by its mean over seasons, without covariate; below, each site by itself."
        ));
        section.paragraphs.extend(pooled.lacking.words());
        section.paragraphs.extend(found.words.iter().cloned());
        section.paragraphs.extend(found.notes.iter().cloned());
        section.tables.push(table(found));
    }
    if pooled.by_plot_means {
        section.paragraphs.push(if seasons {
            say!(
                "Plots hold unequal numbers of trees: seasons are compared by plot means, each \
                 counting once, so that means differ from those of the analysis of trees."
            )
        } else {
            say!(
                "Plots hold unequal numbers of trees: sites are compared by plot means, each \
                 counting once, so that means differ from those of the analysis of trees."
            )
        });
    }
    let digits = found.means.first().map_or(2, |mean| decimals(mean.mean));
    section.tables.push(means(declaration, found, pooled.over, digits));
    if !seasons {
        amounts::together(declaration, found, &pooled.observed, &mut section);
    }
    section.tables.push(each(declaration, pooled, digits));
    section.tables.push(errors(pooled.over, &found.homogeneity, digits));
    section.tables.extend(stability(declaration, found, pooled.over, digits));
    section
}

fn table(found: &Pooled) -> TrialTable {
    let heads = [
        text!("Source"),
        text!("#df"),
        text!("#Denominator df"),
        text!("#SS"),
        text!("#MS"),
        "#F",
        "#p",
        text!("Judged against"),
    ];
    let mut table = TrialTable::new("pooled", text!("Combined analysis"), &heads);
    for row in &found.table {
        table.rows.push(vec![
            TrialCell::Text(factor_words(&row.source)),
            TrialCell::Number(Some(row.df), 0),
            TrialCell::Number(row.df_denominator, 1),
            TrialCell::Number(row.ss, 3),
            TrialCell::Number(row.ms, 3),
            TrialCell::Number(row.f, 2),
            TrialCell::P(row.p),
            TrialCell::Text(row.judged_against.as_deref().map(factor_words).unwrap_or_default()),
        ]);
    }
    table
}

fn means(declaration: &TrialDeclaration, found: &Pooled, over: &str, digits: usize) -> TrialTable {
    let names: Vec<String> = found.environments.iter().map(|name| format!("#{name}")).collect();
    let mut heads = vec![text!("Treatment"), text!("#Mean")];
    heads.extend(names.iter().map(String::as_str));
    let mut table = TrialTable::new(
        &format!("means-by-{over}"),
        say!("Means by {over}", over = factor_words(over)),
        &heads,
    );
    for mean in &found.means {
        let mut cells = vec![
            TrialCell::Text(treatment_words(declaration, &mean.treatment)),
            TrialCell::Number(Some(mean.mean), digits),
        ];
        cells.extend(mean.by_environment.iter().map(|value| TrialCell::Number(*value, digits)));
        table.rows.push(cells);
    }
    // Shown digits that differ are two numbers to a reader.
    let shown = |value: f64| format!("{value:.digits$}");
    let is_of_cells = found.means.iter().all(|own| {
        let cells: Option<Vec<f64>> = own.by_environment.iter().copied().collect();
        cells.is_none_or(|cells| {
            shown(cells.iter().sum::<f64>() / cells.len() as f64) == shown(own.mean)
        })
    });
    if !is_of_cells {
        table.notes.push(say!(
            "Means over all are those of the combined model, which allows for lost plots with all {} at once; the columns are each by its own analysis, and the means under Stability are averages of the columns.",
            factor_words(over)
        ));
    }
    if over == "sites" {
        let cd = found.differences.minimum_difference;
        table.notes.push(say!(
            "CD 5 % of means over sites: {:.digits$}{}.",
            cd.smallest,
            if cd.largest > cd.smallest * 1.001 {
                say!(" to {:.digits$}", cd.largest)
            } else {
                String::new()
            }
        ));
    }
    table
}

/// Each site or season by itself, as a table of means prints it at its foot.
fn each(declaration: &TrialDeclaration, pooled: &PooledTrait, digits: usize) -> TrialTable {
    let heads = [
        head(pooled.over),
        text!("Term"),
        text!("#df"),
        text!("#Denominator df"),
        "#F",
        "#p",
        text!("#SEm"),
        text!("#SEd"),
        text!("#CD 5 %"),
        "#CV %",
    ];
    let caption = match declaration.covariate {
        Some(_) => text!("Tests of each by itself, without covariate"),
        None => text!("Tests of each by itself"),
    };
    let mut table = TrialTable::new("each", caption, &heads);
    if let Some(covariate) = &declaration.covariate {
        table.notes.push(say!(
            "The section of each by itself adjusts for {}, so that its p and CD are others; quote those for one alone.",
            name_in_words(covariate)
        ));
    }
    for own in &pooled.each {
        let (sem, sed, cd) =
            own.errors.map_or((None, None, None), |(sem, sed, cd)| (Some(sem), Some(sed), cd));
        table.rows.push(vec![
            TrialCell::Text(own.environment.clone()),
            TrialCell::Text(factor_words(&own.term)),
            TrialCell::Number(Some(own.df.0), 0),
            TrialCell::Number(own.df.1, 1),
            TrialCell::Number(own.f, 2),
            TrialCell::P(own.p),
            TrialCell::Number(sem, digits + 1),
            TrialCell::Number(sed, digits + 1),
            TrialCell::Number(cd, digits + 1),
            TrialCell::Number(own.cv_percent, 1),
        ]);
    }
    table
}

/// What stands at the head of a column of sites or seasons.
fn head(over: &str) -> &'static str {
    if over == "sites" { text!("Site") } else { text!("Season") }
}

fn errors(over: &str, of: &Homogeneity, digits: usize) -> TrialTable {
    let heads = [head(over), text!("#Error mean square"), text!("#df"), text!("#Mean"), "#CV %"];
    let mut table = TrialTable::new("errors", text!("Error of each by itself"), &heads);
    for error in &of.errors {
        table.rows.push(vec![
            TrialCell::Text(error.environment.clone()),
            TrialCell::Number(Some(error.mean_square), digits + 1),
            TrialCell::Number(Some(error.df), 0),
            TrialCell::Number(Some(error.mean), digits),
            TrialCell::Number(error.cv_percent, 1),
        ]);
    }
    table.notes.push(say!(
        "Mean and CV % are of the plots that have a value; where plots were lost or a covariate is adjusted for, those of the section of each by itself differ a little."
    ));
    for answer in [&of.bartlett, &of.levene] {
        table.notes.push(match answer {
            Answer::Made(test) => say!(
                "{}: statistic {:.2}, {}; error variances {}.",
                test.test,
                test.statistic,
                p_words(test.p_value),
                if test.p_value < 0.05 { text!("differ") } else { text!("may be equal") }
            ),
            Answer::NotMade(why) => say!("Not tested: {why}."),
        });
    }
    table
}

fn stability(
    declaration: &TrialDeclaration,
    found: &Pooled,
    over: &str,
    digits: usize,
) -> Option<TrialTable> {
    if found.stability.is_empty() || found.environments.len() < LEAST_FOR_STABILITY {
        return None;
    }
    let heads = [
        text!("Treatment"),
        text!("#Mean"),
        text!("#Slope"),
        text!("#SE of slope"),
        text!("#Ecovalence"),
        text!("#Stability variance"),
    ];
    let caption = if over == "sites" {
        text!(
            "Stability: slope on the sites' means (Finlay and Wilkinson 1963), ecovalence (Wricke 1962), stability variance (Shukla 1972)"
        )
    } else {
        text!(
            "Stability: slope on the seasons' means (Finlay and Wilkinson 1963), ecovalence (Wricke 1962), stability variance (Shukla 1972)"
        )
    };
    let mut table = TrialTable::new("stability", caption, &heads);
    for row in &found.stability {
        table.rows.push(vec![
            TrialCell::Text(treatment_words(declaration, &row.treatment)),
            TrialCell::Number(Some(row.mean), digits),
            TrialCell::Number(row.slope, 2),
            TrialCell::Number(row.slope_std_error, 2),
            TrialCell::Number(Some(row.ecovalence), 3),
            TrialCell::Number(row.shukla_variance, 3),
        ]);
    }
    Some(table)
}
