//! Covariate, trees within plots and efficiency of blocking.

use super::words::factor_words;
use ::words::{say, text};
use report::{TrialCell, TrialSection, TrialTable};
use trials::size::Components;
use trials::{Analysis, Observations};

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

/// That the trial tells no size of the next one.
pub fn no_next_size() -> TrialSection {
    TrialSection {
        heading: say!("For the size of the next trial"),
        paragraphs: vec![say!(
            "This analysis gives no variance components of plots and trees that `anacurve size` takes, as of a strip or split-split plot design, or a mean of 0: size the next trial by the records (`anacurve size BOOK`), or by a trial of a simpler design."
        )],
        ..TrialSection::default()
    }
}

/// A section, and the file that `anacurve size --components` takes.
type NextSize = (TrialSection, (&'static str, String));

/// What the trial tells of the size of the next one; `None` where the analysis has no variance components.
pub fn next_size(analysis: &Analysis, observed: &Observations) -> Option<NextSize> {
    let mean = analysis.grand_mean;
    let found = Components::of_analysis(analysis, observed).filter(|_| mean > 0.0)?;
    sized(&[analysis], found, found.plot_limit(analysis), mean)
}

/// The same of the sites together: the means of their components, each relative to its own site's mean. `None`
/// where a site has none.
pub fn next_size_of_sites(sites: &[(&Analysis, &Observations)]) -> Option<NextSize> {
    let each: Vec<Components> = sites
        .iter()
        .map(|(analysis, rows)| {
            let mean = analysis.grand_mean;
            let own = Components::of_analysis(analysis, rows).filter(|_| mean > 0.0)?;
            Some(own.times(1.0 / (mean * mean)))
        })
        .collect::<Option<_>>()?;
    let found = Components::mean(&each)?;
    let analyses: Vec<&Analysis> = sites.iter().map(|(analysis, _)| *analysis).collect();
    let (mut section, file) = sized(&analyses, found, None, 1.0)?;
    section.paragraphs.push(say!(
        "Variance components are means over the sites, each relative to the mean of its own site; what differs from site to site is no part of them."
    ));
    if let Some(covariate) = analyses.iter().find_map(|own| own.covariate.as_ref()) {
        section.paragraphs.push(say!(
            "They are adjusted for {}, as each site by itself is; the combined analysis above goes without it.",
            trials::name_in_words(&covariate.name)
        ));
    }
    Some((section, file))
}

/// Components in the square of what `mean` is of.
fn sized(
    analyses: &[&Analysis],
    found: Components,
    plot_limit: Option<f64>,
    mean: f64,
) -> Option<NextSize> {
    let covariate = analyses.iter().find_map(|analysis| analysis.covariate.as_ref());
    let all = [
        ("replicate", found.replicate, text!("between replicates")),
        ("main_plot", found.main_plot, text!("between main plots")),
        ("sub_plot", found.sub_plot, text!("between sub plots")),
        ("plot", found.plot, text!("between plots")),
        ("tree", found.tree, text!("between trees of a plot, lasting")),
        ("main_plot_season", found.main_plot_season, text!("of a main plot from season to season")),
        ("plot_season", found.plot_season, text!("of a plot from season to season")),
        ("tree_season", found.tree_season, text!("of a tree from season to season")),
    ];
    let cv = |variance: f64| 100.0 * variance.sqrt() / mean;
    let known = || all.iter().filter(|(_, variance, _)| cv(*variance) >= 0.005);
    let heads = [text!("Component"), "#CV %", text!("What varies")];
    let caption = say!("Coefficients of variation for the size of the next trial");
    let mut table = TrialTable::new("next-size", caption, &heads);
    let mut file = "# Coefficients of variation in per cent, estimated from an analysed trial:\n\
                    # anacurve size --components THIS-FILE --treatments N --difference PCT\n"
        .to_owned();
    // What makes them smaller than a trial without it has, and how much more is plausible: told by
    // `size`, whoever takes the file along.
    if let Some(covariate) = covariate {
        file.push_str(&format!("adjusted_for = {}\n", toml::Value::from(covariate.name.as_str())));
    }
    let limit = plot_limit.map(cv);
    if let Some(limit) = limit {
        file.push_str(&format!(
            "# between plots: estimated at 0, and up to this plausible (95 %)\nplot_limit = {limit:.2}\n"
        ));
    }
    for (name, variance, meaning) in known() {
        table.rows.push(vec![
            TrialCell::Text((*name).to_owned()),
            TrialCell::Number(Some(cv(*variance)), 1),
            TrialCell::Text((*meaning).to_owned()),
        ]);
        file.push_str(&format!("{name} = {:.2}\n", cv(*variance)));
    }
    if table.rows.is_empty() {
        return None;
    }
    let mut paragraphs = vec![say!(
        "How much trees and plots of this trial varied, per cent of its mean, as `anacurve size --components FILE` takes it; a file with these lines stands beside the tables. What is estimated at 0 or below is left out."
    )];
    if let Some(covariate) = covariate {
        let covariate = factor_words(&covariate.name);
        paragraphs.push(say!(
            "The components are of values adjusted for {covariate}: the next trial is as precise only if it is adjusted in the same way."
        ));
    }
    if let Some(limit) = limit {
        paragraphs.push(say!(
            "The variance between plots was estimated at 0, and may be as much as a coefficient of variation of {limit:.1} % (95 %): these sizes may find less than is told."
        ));
    }
    let mut units = analyses.iter().flat_map(|analysis| &analysis.plan.units);
    if units.all(|unit| unit.season.is_none()) {
        paragraphs.push(say!(
            "One season does not tell what of a tree lasts from what changes with the season: all of it stands as lasting, so further seasons look worth less here than they may be."
        ));
    }
    let section = TrialSection {
        heading: say!("For the size of the next trial"),
        paragraphs,
        tables: vec![table],
        ..TrialSection::default()
    };
    Some((section, ("components.toml", file)))
}
