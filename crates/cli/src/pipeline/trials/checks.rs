//! What a referee would ask of the plots of an analysis.

use super::plots::{normal_plot, residual_map};
use super::words::{decimals, p_words, plot_words, stand_out, tried_without};
use ::words::{capital, counted, say, text};
use report::{TrialCell, TrialSection, TrialTable};
use std::collections::BTreeMap;
use trials::checks::{
    Answer, CheckError, FieldPosition, LinearFit, OutlierCheck, ResidualChecks, ResidualPoint,
    SpatialAdjustment, TestOutcome, outliers, spatial_adjustment,
};
use trials::{Analysis, FactorPlace, Observations, Plan, StratumKind, Unit};

/// Error level of the whole search for plots that stand out.
const OUTLYING: f64 = 0.05;
/// Level at which an assumption is called contradicted.
const FAILED: f64 = 0.05;

/// Plots with their means over trees and seasons, as the checks take them.
struct PlotMeans {
    names: Vec<String>,
    values: Vec<f64>,
    treatments: Vec<String>,
    /// Groups of each stratum that is coarser than the plots.
    blocks: Vec<Vec<usize>>,
    positions: Option<Vec<FieldPosition>>,
}

impl PlotMeans {
    fn of(plan: &Plan, observed: &Observations) -> Self {
        let mut order: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (number, unit) in plan.units.iter().enumerate() {
            order.entry(&unit.plot).or_default().push(number);
        }
        let first: Vec<usize> = order.values().filter_map(|units| units.first().copied()).collect();
        let unit = |number: usize| plan.units.get(number);
        let values = order.values().map(|units| {
            let own = units.iter().filter_map(|&number| unit(number)).map(|unit| unit.value);
            own.sum::<f64>() / units.len() as f64
        });
        let treatments = first.iter().filter_map(|&number| unit(number)).map(|unit| {
            let levels = plan.cells.get(unit.cell).map_or(&[][..], |cell| &cell.levels);
            let kept = plan.factors.iter().zip(levels);
            let kept = kept.filter(|(factor, _)| factor.place != FactorPlace::Seasons);
            let words = kept.map(|(_, level)| level.map_or("-".to_owned(), |l| l.to_string()));
            words.collect::<Vec<_>>().join("/")
        });
        let blocks = plan.strata.iter().filter(|stratum| stratum.kind != StratumKind::Residual);
        let blocks = blocks.filter_map(|stratum| {
            let constant = order.values().all(|units| {
                let codes = units.iter().map(|&number| stratum.codes.get(number));
                codes.clone().all(|code| code == codes.clone().next().flatten())
            });
            let coarser = stratum.groups.len() < order.len();
            let codes = first.iter().filter_map(|&number| stratum.codes.get(number).copied());
            (constant && coarser).then(|| codes.collect())
        });
        Self {
            values: values.collect(),
            treatments: treatments.collect(),
            blocks: blocks.collect(),
            positions: positions(plan, &first, observed),
            names: order.keys().map(|&name| name.to_owned()).collect(),
        }
    }

    /// Indicators of treatments and blocks.
    fn columns(&self) -> Vec<Vec<f64>> {
        let mut names: Vec<&String> = self.treatments.iter().collect();
        names.sort();
        names.dedup();
        let flag = |is: bool| f64::from(u8::from(is));
        let treatments =
            names.iter().map(|name| self.treatments.iter().map(|own| flag(own == *name)).collect());
        let mut columns: Vec<Vec<f64>> = treatments.collect();
        for codes in &self.blocks {
            let most = codes.iter().copied().max().unwrap_or(0);
            columns.extend(
                (0..=most).map(|code| codes.iter().map(|own| flag(*own == code)).collect()),
            );
        }
        columns
    }
}

impl PlotMeans {
    /// A second opinion with rows and columns of the field as random effects.
    fn spatial(&self, positions: &[FieldPosition]) -> Result<SpatialAdjustment, CheckError> {
        let flag = |is: bool| f64::from(u8::from(is));
        let mut names: Vec<&String> = self.treatments.iter().collect();
        names.sort();
        names.dedup();
        let mut columns = vec![vec![1.0; self.values.len()]];
        for name in names.iter().skip(1) {
            columns.push(self.treatments.iter().map(|own| flag(own == *name)).collect());
        }
        for codes in &self.blocks {
            let most = codes.iter().copied().max().unwrap_or(0);
            columns.extend(
                (1..=most).map(|code| codes.iter().map(|own| flag(*own == code)).collect()),
            );
        }
        let mut contrasts = Vec::new();
        for first in 0..names.len() {
            for second in first + 1..names.len() {
                let mut contrast = vec![0.0; columns.len()];
                // The first treatment is the intercept's.
                for (at, sign) in [(first, 1.0), (second, -1.0)] {
                    if let Some(slot) = contrast.get_mut(at).filter(|_| at > 0) {
                        *slot = sign;
                    }
                }
                contrasts.push(contrast);
            }
        }
        spatial_adjustment(&self.values, &columns, &[], &contrasts, positions)
    }
}

/// Rows and columns of plots: the middles of their trees, else as the plan has them. Trees of a plot stand
/// side by side, so positions are counted in steps of the narrowest gap between plots.
fn positions(plan: &Plan, first: &[usize], observed: &Observations) -> Option<Vec<FieldPosition>> {
    let units = || first.iter().filter_map(|&number| plan.units.get(number));
    let mean = |name: &str, rows: &[usize]| -> Option<f64> {
        let column = observed.numbers.get(name)?;
        let values: Option<Vec<f64>> =
            rows.iter().map(|&row| column.get(row).copied().filter(|v| v.is_finite())).collect();
        let values = values?;
        Some(values.iter().sum::<f64>() / values.len().max(1) as f64)
    };
    let declared = |of: fn(&(String, String)) -> &String| -> Option<Vec<f64>> {
        units().map(|unit| of(unit.position.as_ref()?).parse().ok()).collect()
    };
    let found =
        |name: &str| -> Option<Vec<f64>> { units().map(|unit| mean(name, &unit.rows)).collect() };
    let rows = in_steps(&found("row").or_else(|| declared(|place| &place.0))?);
    let columns = in_steps(&found("column").or_else(|| declared(|place| &place.1))?);
    Some(rows.into_iter().zip(columns).map(|(row, column)| FieldPosition { row, column }).collect())
}

/// Places from 1 in steps of the narrowest gap.
fn in_steps(places: &[f64]) -> Vec<f64> {
    let mut order = places.to_vec();
    order.sort_by(f64::total_cmp);
    let gaps = order.windows(2).filter_map(|pair| match pair {
        [one, next] if next - one > 1e-9 => Some(next - one),
        _ => None,
    });
    let gap = gaps.fold(f64::INFINITY, f64::min);
    let gap = if gap.is_finite() { gap } else { 1.0 };
    let least = order.first().copied().unwrap_or(0.0);
    places.iter().map(|place| (place - least) / gap + 1.0).collect()
}

/// The checks as a section; what could not be checked says why.
pub fn section(
    analysis: &Analysis,
    observed: &Observations,
) -> (TrialSection, Option<ResidualChecks>) {
    let plots = PlotMeans::of(&analysis.plan, observed);
    let mut section = TrialSection {
        heading: say!("Checks of the plots"),
        paragraphs: vec![say!(
            "On plot means over trees and seasons, treatments and blocks taken out."
        )],
        plots: super::plots::residuals(analysis, observed).into_iter().collect(),
        ..TrialSection::default()
    };
    let columns = plots.columns();
    let fit = match LinearFit::new(&plots.values, &columns) {
        Ok(fit) => fit,
        Err(error) => {
            section.paragraphs.push(say!("Not made: {error}."));
            return (section, None);
        }
    };
    let checks = ResidualChecks::new(&fit, &plots.treatments, plots.positions.as_deref());
    section.tables.push(table(&checks));
    let names: Vec<String> =
        plots.names.iter().map(|name| plot_words(&analysis.plan, name)).collect();
    section.paragraphs.extend(outlying(&checks.outliers, &names));
    section.paragraphs.extend(fixed(&checks.points));
    section.plots.extend(normal_plot(&checks.points));
    section.plots.extend(residual_map(&checks.points, &names));
    if let Some(positions) = &plots.positions {
        let reading = match plots.spatial(positions) {
            Ok(adjusted) => adjusted.reading,
            Err(why) => say!("not made: {why}."),
        };
        section.paragraphs.push(say!("Rows and columns of the field as random effects: {reading}"));
    }
    (section, Some(checks))
}

fn table(checks: &ResidualChecks) -> TrialTable {
    let heads = [
        text!("Question"),
        text!("Test"),
        text!("#Statistic"),
        text!("df"),
        "#p",
        text!("Reading"),
    ];
    let mut table = TrialTable::new("checks", text!("Tests of the assumptions"), &heads);
    for (question, answer, bad) in questions(checks) {
        let text = |words: &str| TrialCell::Text(words.to_owned());
        table.rows.push(match answer {
            Answer::Made(test) => {
                let df: Vec<String> = test.df.iter().map(|df| format!("{df:.0}")).collect();
                let reading =
                    if test.p_value < FAILED { bad } else { text!("nothing speaks against it") };
                vec![
                    text(question),
                    text(&test.test),
                    TrialCell::Number(Some(test.statistic), 3),
                    text(&df.join(", ")),
                    TrialCell::P(Some(test.p_value)),
                    text(reading),
                ]
            }
            Answer::NotMade(why) => vec![
                text(question),
                text(text!("not made")),
                TrialCell::Number(None, 3),
                text(""),
                TrialCell::P(None),
                text(why),
            ],
        });
    }
    table
}

/// A question asked of the plots, its answer, and what a small p says.
type Question<'a> = (&'static str, &'a Answer<TestOutcome>, &'static str);

fn questions(checks: &ResidualChecks) -> [Question<'_>; 5] {
    [
        (text!("Are residuals normal?"), &checks.normality, text!("residuals are not normal")),
        (
            text!("Do treatments vary alike?"),
            &checks.equal_variances,
            text!("treatments differ in variance"),
        ),
        (
            text!("Do treatments and blocks add up?"),
            &checks.additivity,
            text!(
                "treatments and blocks do not add up (whether another scale helps stands under The scale that suits the trait)"
            ),
        ),
        (
            text!("Are neighbouring plots alike?"),
            &checks.moran,
            text!("neighbouring plots are alike"),
        ),
        (
            text!("Is there a trend over the field?"),
            &checks.trend,
            text!("there is a trend over the field"),
        ),
    ]
}

/// For the finding itself: assumptions that the plots contradict.
pub fn broken(analysis: &Analysis, observed: &Observations) -> Option<String> {
    let plots = PlotMeans::of(&analysis.plan, observed);
    let fit = LinearFit::new(&plots.values, &plots.columns()).ok()?;
    let checks = ResidualChecks::new(&fit, &plots.treatments, plots.positions.as_deref());
    let failed = questions(&checks).into_iter().filter_map(|(_, answer, bad)| match answer {
        Answer::Made(test) if test.p_value < FAILED => {
            Some(format!("{bad} ({})", p_words(test.p_value)))
        }
        _ => None,
    });
    let failed: Vec<String> = failed.collect();
    (!failed.is_empty()).then(|| say!("Checks of the plots at 5 %: {}.", failed.join("; ")))
}

/// For the finding itself: plots that stand out, which may have made it.
pub fn standing_out(analysis: &Analysis, observed: &Observations) -> Option<String> {
    let names = plots_standing_out(analysis, observed);
    let trees: Vec<String> =
        names.iter().filter_map(|name| farthest(&analysis.plan, observed, name)).collect();
    if trees.is_empty() {
        return None;
    }
    let said = stand_out(&trees);
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let tried = tried_without(analysis, observed, &names);
    Some(tried.map_or_else(|| said.clone(), |tried| format!("{said} {tried}")))
}

/// Plots that stand out of an analysis.
pub fn plots_standing_out(analysis: &Analysis, observed: &Observations) -> Vec<String> {
    let plots = PlotMeans::of(&analysis.plan, observed);
    let fit = LinearFit::new(&plots.values, &plots.columns());
    let found = fit.ok().and_then(|fit| outliers(&fit, OUTLYING).ok());
    let rows = found.map(|found| found.outlying).unwrap_or_default();
    rows.iter().filter_map(|&row| plots.names.get(row).cloned()).collect()
}

/// The plot, and its tree and season whose value lies farthest from the mean of that season.
fn farthest(plan: &Plan, observed: &Observations, plot: &str) -> Option<String> {
    let season = |row: usize| observed.season.get(row).copied().flatten();
    let mut sums: BTreeMap<Option<i32>, (f64, f64)> = BTreeMap::new();
    let values = |unit: &'_ Unit| -> Vec<(usize, f64)> {
        unit.rows.iter().copied().zip(unit.trees.iter().copied()).collect()
    };
    for (row, value) in plan.units.iter().flat_map(values) {
        let sum = sums.entry(season(row)).or_insert((0.0, 0.0));
        *sum = (sum.0 + value, sum.1 + 1.0);
    }
    let own = plan.units.iter().filter(|unit| unit.plot == plot).flat_map(values);
    let apart = |(row, value): (usize, f64)| {
        let (sum, count) = sums.get(&season(row)).copied().unwrap_or((0.0, 1.0));
        (value - sum / count).abs()
    };
    let (row, value) = own.max_by(|a, b| apart(*a).total_cmp(&apart(*b)))?;
    let tree = observed.tree.get(row)?;
    let digits = decimals(value);
    let plot = plot_words(plan, plot);
    let unit = match plan.observed.unit.as_str() {
        "" => String::new(),
        unit => format!(" {unit}"),
    };
    Some(match season(row) {
        Some(season) => {
            say!("{plot}: tree {tree} in {}, {value:.digits$}{unit}", season.to_string())
        }
        None => say!("{plot}: tree {tree}, {value:.digits$}{unit}"),
    })
}

/// Plots that fix their own fit, as a treatment given once does.
fn fixed(points: &[ResidualPoint]) -> Option<String> {
    let fixed = points.iter().filter(|point| point.studentised.is_none()).count();
    (fixed > 0 && fixed < points.len()).then(|| {
        say!(
            "{} alone for a treatment, and checked by no other: a slip there shows nowhere, and a finding about such a treatment stands on that plot.",
            counted(fixed as u64, text!("plot stands"), text!("plots stand"))
        )
    })
}

fn outlying(outliers: &Answer<OutlierCheck>, names: &[String]) -> Option<String> {
    match outliers {
        Answer::NotMade(why) => Some(say!("Outlying plots were not searched for: {why}.")),
        Answer::Made(check) if check.outlying.is_empty() => {
            Some(say!("No plot stands out (externally studentised residuals, Bonferroni)."))
        }
        Answer::Made(check) => {
            let plots: Vec<String> = check
                .outlying
                .iter()
                .filter_map(|&row| {
                    let found = check.plots.get(row)?;
                    let cook =
                        found.cook.map_or_else(String::new, |d| say!(", Cook's distance {d:.2}"));
                    Some(say!(
                        "{} (residual {:.1} standard errors{cook})",
                        names.get(row)?,
                        found.external?
                    ))
                })
                .collect();
            Some(say!(
                "{}: look at the field book; the analysis keeps {}.",
                capital(&say!("outlying: {}", plots.join("; "))),
                records::noun(plots.len() as u64, text!("it"), text!("them"))
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{broken, in_steps};
    use crate::pipeline::trials::analysed::part_of;
    use crate::pipeline::trials::in_blocks::in_blocks;
    use records::Book;

    /// Six blocks of three levels, one tree a plot, with a product of level and block. What each
    /// plot strays by is drawn so that Levene's, Shapiro and Wilk's and Tukey's test, by scipy, all
    /// have p over 0.9 without the product.
    fn said(product: f64) -> Option<String> {
        const STRAY: [[f64; 6]; 3] = [
            [0.5, 1.3, 0.1, 0.0, -0.7, -0.8],
            [0.6, -0.6, 0.4, 0.0, 0.4, 1.1],
            [-1.0, 0.3, -0.5, -1.0, 1.1, -1.0],
        ];
        let rows = in_blocks(STRAY.len(), STRAY[0].len(), |l, block| {
            8.0 + l as f64 + STRAY[l][block] + product * (l * block) as f64
        });
        let section = "[trials.T]\ndesign = \"randomised_blocks\"\nfactors = [\"level\"]\n";
        let book = Book::parse(&format!("[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n{section}")).unwrap();
        let analysis = part_of(&book.trials["T"], &rows, None).unwrap();
        broken(&analysis, &rows)
    }

    #[test]
    fn an_assumption_that_the_plots_contradict_reaches_the_finding() {
        assert_eq!(said(0.0), None);
        let told = said(5.0).unwrap();
        assert!(told.contains("treatments and blocks do not add up"), "{told}");
    }

    #[test]
    fn plots_of_three_trees_are_neighbours_and_a_gap_stays_one() {
        assert_eq!(in_steps(&[2.0, 5.0, 11.0, 5.0]), [1.0, 2.0, 4.0, 2.0]);
        assert_eq!(in_steps(&[7.0, 7.0]), [1.0, 1.0]);
    }
}
