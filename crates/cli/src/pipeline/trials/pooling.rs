//! Several sites and seasons: each by itself, and all combined.

use super::analysed::{part_of, rates};
use super::checks::plots_standing_out;
use super::over_seasons::{Lacking, over_seasons};
use super::words::{first_comparison, plot_words};
use records::TrialDeclaration;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use trials::pooled::{Environment, EnvironmentsAre, Pooled, PooledError, Weighting, combine};
use trials::{Analysis, AnovaKind, Observations, Plan, Trait};

/// Fewest environments taken as a sample of others; fewer say too little to speak beyond themselves.
const SAMPLE: usize = 4;

/// What the sites of a trial, or its seasons, say together of one trait.
#[derive(Debug, Clone, Serialize)]
pub struct PooledTrait {
    /// What was observed.
    pub observed: Trait,
    /// `sites` or `seasons`.
    pub over: &'static str,
    /// The combined analysis; over seasons only its tests of equal errors and its stability are
    /// meant, because the plots are the same.
    pub combined: Result<Pooled, String>,
    /// Whether plot means were combined, because plots hold unequal numbers of trees.
    pub by_plot_means: bool,
    /// Each environment by itself: its treatment terms with their test and critical difference.
    pub each: Vec<OwnTerm>,
    /// Sites combined without the plots that stand out at one of them; `None` where none does.
    pub without_outlying: Option<WithoutOutlying>,
    /// Trees that lack a season of their site, where sites are combined by means over seasons.
    pub lacking: Lacking,
}

/// Sites combined without some plots.
#[derive(Debug, Clone, Serialize)]
pub struct WithoutOutlying {
    /// The plots, in words, each with its site.
    pub plots: Vec<String>,
    /// The combined analysis of the others, or why there is none.
    pub combined: Result<Pooled, String>,
}

/// A treatment term of one environment analysed by itself, as a paper prints it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OwnTerm {
    /// The environment.
    pub environment: String,
    /// The term.
    pub term: String,
    /// Numerator's and denominator's degrees of freedom.
    pub df: (f64, Option<f64>),
    /// F.
    pub f: Option<f64>,
    /// Upper tail probability.
    pub p: Option<f64>,
    /// Standard error of a mean, of a difference, and the critical difference at 5 %, of the first
    /// kind of comparison.
    pub errors: Option<(f64, f64, Option<f64>)>,
    /// Coefficient of variation of the last stratum, per cent.
    pub cv_percent: Option<f64>,
}

fn own_terms(name: &str, analysis: &Analysis) -> Vec<OwnTerm> {
    let rows = analysis.anova.iter().filter(|row| row.kind == AnovaKind::Term);
    let cv_percent = analysis.variation.last().map(|variation| variation.percent);
    rows.map(|row| {
        let means = analysis.means.iter().find(|means| row.term == means.position);
        let kind = means.and_then(first_comparison);
        OwnTerm {
            environment: name.to_owned(),
            term: row.source.clone(),
            df: (row.df, row.df_denominator),
            f: row.f,
            p: row.p,
            errors: kind.map(|kind| (kind.sem, kind.sed, kind.cd5)),
            cv_percent,
        }
    })
    .collect()
}

impl PooledTrait {
    fn new(observed: &Trait, over: &'static str, found: Result<Together, String>) -> Self {
        let observed = observed.clone();
        match found {
            Ok(Together { pooled, by_plot_means, each }) => {
                let (combined, without_outlying) = (Ok(pooled), None);
                let lacking = Lacking::default();
                Self { observed, over, combined, by_plot_means, each, without_outlying, lacking }
            }
            Err(why) => Self {
                observed,
                over,
                combined: Err(why),
                by_plot_means: false,
                each: Vec::new(),
                without_outlying: None,
                lacking: Lacking::default(),
            },
        }
    }
}

/// Combines the sites of a trial, each with its mean over seasons; `price_ratio` as for one site.
pub fn over_sites(
    declaration: &TrialDeclaration,
    observed: &Observations,
    sites: &[(String, Observations)],
    price_ratio: Option<f64>,
) -> PooledTrait {
    let mut lacking = Lacking::default();
    let means: Vec<(String, Observations)> = sites
        .iter()
        .map(|(site, rows)| {
            let (means, lacked) = over_seasons(declaration, rows);
            lacking = lacking.and(lacked);
            (site.clone(), means)
        })
        .collect();
    let found = PooledTrait::new(
        &observed.observed,
        "sites",
        combined(declaration, "sites", &means, price_ratio),
    );
    let without_outlying = without_outlying(declaration, &means).filter(|_| found.combined.is_ok());
    PooledTrait { without_outlying, lacking, ..found }
}

/// The sites once more without the plots that stand out at one of them.
fn without_outlying(
    declaration: &TrialDeclaration,
    sites: &[(String, Observations)],
) -> Option<WithoutOutlying> {
    let (mut plots, mut others) = (Vec::new(), Vec::new());
    for (site, rows) in sites {
        let analysis = part_of(declaration, rows, None).ok()?;
        let odd = plots_standing_out(&analysis, rows);
        let units = analysis.plan.units.iter().filter(|unit| odd.contains(&unit.plot));
        let out: BTreeSet<usize> = units.flat_map(|unit| unit.rows.iter().copied()).collect();
        let keep: Vec<bool> = (0..rows.len()).map(|row| !out.contains(&row)).collect();
        plots
            .extend(odd.iter().map(|plot| format!("{site}, {}", plot_words(&analysis.plan, plot))));
        others.push((site.clone(), kept(rows, &keep)));
    }
    (!plots.is_empty()).then(|| WithoutOutlying {
        plots,
        combined: combined(declaration, "sites", &others, None).map(|found| found.pooled),
    })
}

/// Compares the seasons of a trial on the same plots; `None` with one season.
pub fn by_season(declaration: &TrialDeclaration, observed: &Observations) -> Option<PooledTrait> {
    let seasons: BTreeSet<i32> = observed.season.iter().copied().flatten().collect();
    if seasons.len() < 2 {
        return None;
    }
    let each: Vec<(String, Observations)> = seasons
        .into_iter()
        .map(|season| {
            let keep: Vec<bool> = observed.season.iter().map(|own| *own == Some(season)).collect();
            (season.to_string(), kept(observed, &keep))
        })
        .collect();
    Some(PooledTrait::new(
        &observed.observed,
        "seasons",
        combined(declaration, "seasons", &each, None),
    ))
}

/// Environments combined.
struct Together {
    pooled: Pooled,
    /// Whether by plot means, because plots hold unequal numbers of trees.
    by_plot_means: bool,
    each: Vec<OwnTerm>,
}

/// The environments combined.
fn combined(
    declaration: &TrialDeclaration,
    over: &str,
    each: &[(String, Observations)],
    price_ratio: Option<f64>,
) -> Result<Together, String> {
    // One covariate for all would have one slope for all; environments are compared without it.
    let declaration = &TrialDeclaration { covariate: None, ..declaration.clone() };
    let analysed = |each: &[(String, Observations)]| -> Result<Vec<(String, Analysis)>, String> {
        each.iter()
            .map(|(name, rows)| {
                let outcome = part_of(declaration, rows, price_ratio);
                outcome.map(|analysis| (name.clone(), analysis)).map_err(|e| format!("{name}: {e}"))
            })
            .collect()
    };
    let mut analyses = analysed(each)?;
    // The error of one environment must not be that of its plots and of another that of its trees.
    let by_tree = analyses.iter().any(|(_, analysis)| analysis.plan.units_are_trees);
    if by_tree {
        let plots: Vec<(String, Observations)> = each
            .iter()
            .zip(&analyses)
            .map(|((name, rows), (_, own))| (name.clone(), plot_means(rows, &own.plan)))
            .collect();
        analyses = analysed(&plots)?;
    }
    let environments: Vec<Environment<'_>> = analyses
        .iter()
        .map(|(name, analysis)| {
            let site = (over == "sites").then_some(name.as_str());
            Environment { name, site, season: None, analysis }
        })
        .collect();
    let sample =
        if environments.len() < SAMPLE { EnvironmentsAre::Fixed } else { EnvironmentsAre::Random };
    let combined = combine(&environments, sample, Weighting::ByTest);
    Ok(Together {
        pooled: combined.map_err(|error: PooledError| error.to_string())?,
        by_plot_means: by_tree,
        each: analyses.iter().flat_map(|(name, analysis)| own_terms(name, analysis)).collect(),
    })
}

/// One row per plot: the mean of its trees with a value, as rates where counts have an exposure.
fn plot_means(of: &Observations, plan: &Plan) -> Observations {
    let mut plots: BTreeMap<&str, Vec<(usize, f64)>> = BTreeMap::new();
    for unit in &plan.units {
        let first = unit.rows.iter().min().copied().unwrap_or_default();
        plots.entry(&unit.plot).or_default().push((first, unit.value));
    }
    let means: BTreeMap<usize, f64> = plots
        .into_values()
        .filter_map(|units| {
            let sum: f64 = units.iter().map(|(_, value)| value).sum();
            Some((units.iter().map(|(row, _)| *row).min()?, sum / units.len() as f64))
        })
        .collect();
    let keep: Vec<bool> = (0..of.len()).map(|row| means.contains_key(&row)).collect();
    let mut out = kept(&rates(of), &keep);
    out.values = means.into_values().collect();
    out
}

/// The rows whose flag is true.
pub fn kept(of: &Observations, keep: &[bool]) -> Observations {
    fn only<T: Clone>(values: &[T], keep: &[bool]) -> Vec<T> {
        values.iter().zip(keep).filter(|(_, keep)| **keep).map(|(value, _)| value.clone()).collect()
    }
    Observations {
        trial: of.trial.clone(),
        observed: of.observed.clone(),
        values: only(&of.values, keep),
        exposure: of.exposure.as_ref().map(|exposure| only(exposure, keep)),
        columns: of.columns.iter().map(|(name, c)| (name.clone(), only(c, keep))).collect(),
        numbers: of.numbers.iter().map(|(name, c)| (name.clone(), only(c, keep))).collect(),
        tree: only(&of.tree, keep),
        season: only(&of.season, keep),
        place: only(&of.place, keep),
    }
}

#[cfg(test)]
mod tests {
    use super::super::in_blocks::in_blocks;
    use super::super::words::sites_finding;
    use super::{by_season, kept, over_sites, part_of};
    use records::Book;
    use std::collections::BTreeMap;
    use trials::pooled::Pooled;
    use trials::{Observations, Trait, TraitKind};

    const BLOCKS: usize = 4;
    const LEVELS: usize = 3;

    /// Two trees a plot over two seasons, one tree of the second season lost.
    fn rows() -> Observations {
        let mut out = Observations {
            trial: "T".to_owned(),
            observed: Trait {
                id: "nut-yield".to_owned(),
                name: "nut yield".to_owned(),
                unit: "kg per tree".to_owned(),
                kind: TraitKind::Measured,
            },
            values: Vec::new(),
            exposure: None,
            columns: BTreeMap::new(),
            numbers: BTreeMap::new(),
            tree: Vec::new(),
            season: Vec::new(),
            place: Vec::new(),
        };
        for season in [2026, 2027] {
            for plot in 0..BLOCKS * LEVELS {
                for tree in 0..2 {
                    if (season, plot, tree) == (2027, 5, 1) {
                        continue;
                    }
                    let (block, level) = (plot / LEVELS, plot % LEVELS);
                    // Any numbers without a pattern.
                    let noise = (37 * plot + 11 * tree + 5 * (season as usize % 7)) % 13;
                    out.values.push(5.0 + level as f64 + 0.5 * block as f64 + 0.1 * noise as f64);
                    for (name, text) in
                        [("level", format!("L{level}")), ("replicate", format!("R{block}"))]
                    {
                        out.columns.entry(name.to_owned()).or_default().push(Some(text));
                    }
                    out.tree.push(format!("P{plot}-{tree}"));
                    out.season.push(Some(season));
                    out.place.push(String::new());
                }
            }
        }
        out
    }

    /// Error mean square of plot means in complete blocks, from its definition (Cochran and Cox
    /// 1957, Experimental Designs, section 4.23).
    fn error_of(rows: &Observations, season: i32) -> f64 {
        let mean = |keep: &dyn Fn(usize) -> bool| {
            let plots: Vec<f64> = (0..BLOCKS * LEVELS)
                .filter(|plot| keep(*plot))
                .map(|plot| {
                    let own: Vec<f64> = (0..rows.len())
                        .filter(|&row| rows.season[row] == Some(season))
                        .filter(|&row| rows.tree[row].starts_with(&format!("P{plot}-")))
                        .map(|row| rows.values[row])
                        .collect();
                    own.iter().sum::<f64>() / own.len() as f64
                })
                .collect();
            plots.iter().sum::<f64>() / plots.len() as f64
        };
        let residual = |plot: usize| {
            mean(&|own| own == plot)
                - mean(&|own| own / LEVELS == plot / LEVELS)
                - mean(&|own| own % LEVELS == plot % LEVELS)
                + mean(&|_| true)
        };
        let sum: f64 = (0..BLOCKS * LEVELS).map(|plot| residual(plot).powi(2)).sum();
        sum / ((BLOCKS - 1) * (LEVELS - 1)) as f64
    }

    fn book() -> Book {
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n";
        Book::parse(&format!("{HEADING}{section}")).unwrap()
    }

    /// A book without a trial.
    const HEADING: &str = "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n";

    /// Two trees of each of four plots a level; where a tree is lost they are counted, and not called
    /// plots.
    #[test]
    fn means_name_the_units_that_they_count() {
        let (all, declared) = (rows(), &book().trials["T"]);
        let counted = |season| {
            let keep: Vec<bool> = all.season.iter().map(|own| *own == Some(season)).collect();
            let analysis = part_of(declared, &kept(&all, &keep), None).unwrap();
            let table = super::super::tables::means(&analysis, &analysis.means[0], None);
            let counts = table.rows.iter().map(|row| format!("{:?}", row[1])).collect();
            (table.heads[1].text.clone(), counts)
        };
        let (head, plots): (String, Vec<String>) = counted(2026);
        assert_eq!((head.as_str(), plots.len()), ("Plots", 3));
        assert!(plots.iter().all(|count| count.contains('4')), "{plots:?}");
        let (head, trees) = counted(2027);
        assert_eq!(head, "Trees");
        assert_eq!(trees.iter().filter(|count| count.contains('7')).count(), 1, "{trees:?}");
        assert_eq!(trees.iter().filter(|count| count.contains('8')).count(), 2, "{trees:?}");
    }

    /// The sentence names the best amount where amounts differ, and none where they do not.
    #[test]
    fn sites_name_the_best_amount_where_amounts_differ() {
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\namounts = { level = \"kg\" }\n";
        let book = Book::parse(&format!("{HEADING}{section}")).unwrap();
        let uneven = |l: usize, block: usize| (l * 7 + block * 5 + l * block) % 6;
        // Every amount has each of these once, so that its mean lies on the curve.
        let even = |l: usize, block: usize| (l + block) % 4;
        let said = |bend: f64, noise: &dyn Fn(usize, usize) -> usize| {
            let site = |least: f64| {
                let mut rows = in_blocks(5, 4, |l, block| {
                    let amount = l as f64;
                    least + bend * amount * (5.0 - amount) + 0.1 * noise(l, block) as f64
                });
                let levels = rows.columns.get_mut("level").unwrap();
                levels.iter_mut().flatten().for_each(|level| *level = level.replace('L', ""));
                rows
            };
            let sites = [("north", site(8.0)), ("south", site(6.0))]
                .map(|(name, rows)| (name.to_owned(), rows));
            sites_finding(
                &book.trials["T"],
                &over_sites(&book.trials["T"], &sites[0].1, &sites, None),
            )
        };
        let found = said(0.4, &uneven);
        assert!(found.contains("The fitted maximum is at level 2."), "{found}");
        for what in [
            "Asked by itself, along level",
            "; a bend shows (p < 0.001).",
            " The means stray from that curve (p = 0.013).",
        ] {
            assert!(found.contains(what), "{what}: {found}");
        }
        let found = said(0.4, &even);
        let what = " That the means stray from that curve does not show (p = 1.000).";
        assert!(found.contains(what), "{found}");
        let none = said(0.0, &uneven);
        assert!(none.contains("no difference") && !none.contains("maximum"), "{none}");
        assert!(none.contains("no linear trend shows"), "{none}");
    }

    /// Where the best amount hangs on another factor, the sites together name one at each of its levels.
    #[test]
    fn sites_name_the_best_amount_at_each_level_of_another_factor() {
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"amount\", \"dressing\"]\namounts = { amount = \"kg\" }\n";
        let book = Book::parse(&format!("{HEADING}{section}")).unwrap();
        let site = |least: f64| {
            let mut rows = in_blocks(6, 4, |l, block| {
                let (amount, limed) = ((l % 3) as f64, (l / 3) as f64);
                // Tops at 1 kg with lime and at 1.5 kg without.
                let curve = amount * (3.0 - limed - amount);
                least + curve + 0.1 * ((l + block) % 4) as f64
            });
            let levels = rows.columns.remove("level").unwrap();
            let level = |text: &Option<String>| -> usize {
                text.as_deref().unwrap().trim_start_matches('L').parse().unwrap()
            };
            let of = |named: &dyn Fn(usize) -> String| {
                levels.iter().map(|text| Some(named(level(text)))).collect::<Vec<_>>()
            };
            rows.columns.insert("amount".to_owned(), of(&|l| (l % 3).to_string()));
            let dressing = |l: usize| if l < 3 { "none".to_owned() } else { "lime".to_owned() };
            rows.columns.insert("dressing".to_owned(), of(&dressing));
            rows
        };
        let sites = [("north", site(8.0)), ("south", site(6.0))]
            .map(|(name, rows)| (name.to_owned(), rows));
        let declared = &book.trials["T"];
        let said = sites_finding(declared, &over_sites(declared, &sites[0].1, &sites, None));
        for what in [
            "Its best level hangs on the other factor, over all sites: ",
            "Amount at dressing lime: The fitted maximum is at amount 1 kg",
            "Amount at dressing none: The fitted maximum is at amount 1.5 kg",
        ] {
            assert!(said.contains(what), "{what}: {said}");
        }
    }

    /// Two sites of which one has a plot with some kilograms more: the sites are combined without it too.
    #[test]
    fn sites_are_tried_without_the_plots_that_stand_out() {
        let book = book();
        let site = |more: f64, least: f64| {
            in_blocks(3, 6, |l, block| {
                let last = if (l, block) == (0, 5) { more } else { 0.0 };
                least + 0.5 * l as f64 + 0.1 * ((l * 7 + block * 5) % 6) as f64 + last
            })
        };
        let tried = |more: f64| {
            let sites = [("north", site(more, 8.0)), ("south", site(0.0, 6.0))]
                .map(|(name, rows)| (name.to_owned(), rows));
            over_sites(&book.trials["T"], &sites[0].1, &sites, None)
        };
        assert!(tried(0.0).without_outlying.is_none());
        let found = tried(9.0);
        let without = found.without_outlying.as_ref().unwrap();
        assert_eq!(without.plots.len(), 1);
        assert!(without.plots[0].starts_with("north, replicate R5"), "{:?}", without.plots);
        let p = |of: &Pooled| of.table.iter().find(|row| row.source == "level").unwrap().p.unwrap();
        // Without the plot the sites are those that never had it, of which that plot is missing.
        let (all, others) =
            (p(found.combined.as_ref().unwrap()), p(without.combined.as_ref().unwrap()));
        assert!(all > 0.05 && others < 0.001, "{all} {others}");
        let said = sites_finding(&book.trials["T"], &found);
        assert!(said.starts_with("Over 2 sites no difference"), "{said}");
        assert!(
            said.contains("a plot stands out and may have made this finding (north, "),
            "{said}"
        );
        let told = "the finding changes (level: p < 0.001 without it, p = 0.";
        assert!(said.contains(told), "{said}");
    }

    #[test]
    fn a_lost_tree_leaves_the_errors_of_seasons_those_of_plots() {
        let book = book();
        let rows = rows();
        let found = by_season(&book.trials["T"], &rows).unwrap();
        assert!(found.by_plot_means);
        let errors = found.combined.as_ref().unwrap().homogeneity.errors.clone();
        for (error, season) in errors.iter().zip([2026, 2027]) {
            let expected = error_of(&rows, season);
            assert!((error.mean_square / expected - 1.0).abs() < 1e-10, "{error:?} {expected}");
            assert!((error.df - 6.0).abs() < 1e-12);
        }
        // F and critical difference of each season by their definitions: 6 degrees of freedom, four
        // plots behind each mean, t of 0.975 is 2.446911851.
        assert_eq!(found.each.len(), 2);
        for (own, error) in
            found.each.iter().zip([2026, 2027].map(|season| error_of(&rows, season)))
        {
            let (sem, sed, cd) = own.errors.unwrap();
            assert!((sem / (error / 4.0).sqrt() - 1.0).abs() < 1e-9, "{own:?}");
            assert!((sed / (error / 2.0).sqrt() - 1.0).abs() < 1e-9, "{own:?}");
            assert!((cd.unwrap() / sed - 2.446_911_851).abs() < 1e-6, "{own:?}");
            assert_eq!((own.df, own.term.as_str()), ((2.0, Some(6.0)), "level"));
            assert!(own.f.unwrap() > 0.0 && own.p.is_some());
        }
    }
}
