//! Covariate, trees within plots and efficiency of blocking.

use super::words::factor_words;
use ::words::{say, text};
use report::{TrialCell, TrialSection, TrialTable};
use trials::Analysis;

/// The covariate's part; `None` without one.
pub fn covariate(analysis: &Analysis) -> Option<TrialSection> {
    let found = analysis.covariate.as_ref()?;
    let heads = [text!("Test"), "#F", text!("#df"), text!("#Denominator df"), "#p"];
    let caption = say!("Adjustment by {}", factor_words(&found.name));
    let mut table = TrialTable::new("covariate", caption, &heads);
    table.rows.push(vec![
        TrialCell::Text(say!("slope")),
        TrialCell::Number(Some(found.f), 2),
        TrialCell::Number(Some(1.0), 0),
        TrialCell::Number(Some(found.df), 1),
        TrialCell::P(found.p),
    ]);
    if let Some((f, df, denominator, p)) = found.equal_slopes {
        table.rows.push(vec![
            TrialCell::Text(say!("slopes differ between treatments")),
            TrialCell::Number(Some(f), 2),
            TrialCell::Number(Some(df), 0),
            TrialCell::Number(Some(denominator), 1),
            TrialCell::P(Some(p)),
        ]);
    }
    for (term, p) in &found.moved_by {
        table.rows.push(vec![
            TrialCell::Text(say!("{} moved the covariate itself", factor_words(term))),
            TrialCell::Number(None, 2),
            TrialCell::Number(None, 0),
            TrialCell::Number(None, 1),
            TrialCell::P(Some(*p)),
        ]);
    }
    Some(TrialSection {
        heading: say!("Covariate"),
        paragraphs: vec![
            found.words.clone(),
            say!(
                "Slope {:.3} (standard error {:.3}); means are adjusted to {:.2}.",
                found.slope,
                found.std_error,
                found.mean
            ),
        ],
        tables: vec![table],
        ..TrialSection::default()
    })
}

/// Trees within plots and what blocking brought; `None` where there is neither.
pub fn units(analysis: &Analysis) -> Option<TrialSection> {
    let mut paragraphs: Vec<String> =
        analysis.sampling.iter().map(|sampling| sampling.words.clone()).collect();
    let mut tables = Vec::new();
    if let Some(sampling) = &analysis.sampling {
        paragraphs.push(say!(
            "{} values of single trees, {:.1} to a plot in a season: variance between trees of a plot within a season {:.3} ({} degrees of freedom){}.",
            sampling.trees,
            sampling.per_plot,
            sampling.tree_variance,
            sampling.df,
            sampling.plot_variance.map_or_else(String::new, |variance| say!(
                ", between plots beyond their trees {variance:.3}"
            ))
        ));
    }
    if !analysis.efficiency.is_empty() {
        let heads = [
            text!("Comparison"),
            text!("#Relative efficiency"),
            text!("#Corrected for df"),
            text!("Source"),
        ];
        let mut table = TrialTable::new("efficiency", text!("What blocking brought"), &heads);
        for efficiency in &analysis.efficiency {
            table.rows.push(vec![
                TrialCell::Text(efficiency.words.clone()),
                TrialCell::Number(Some(efficiency.relative), 2),
                TrialCell::Number(efficiency.corrected, 2),
                TrialCell::Text(efficiency.source.clone()),
            ]);
        }
        tables.push(table);
    }
    (!paragraphs.is_empty() || !tables.is_empty()).then(|| TrialSection {
        heading: say!("Trees, plots and blocks"),
        paragraphs,
        tables,
        ..TrialSection::default()
    })
}
