//! Coverage, verdicts and regret by cell and by factor, with Monte Carlo standard errors.

use crate::row::Row;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;
use std::path::Path;

/// A mean and its Monte Carlo standard error; regions of one plantation count as one observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean over regions, NaN without any.
    pub value: f64,
    /// Its standard error, NaN with fewer than two plantations.
    pub error: f64,
    /// Regions.
    pub n: usize,
}

/// Key of a plantation among the rows.
type Key = ([String; 7], u32);

fn key(row: &Row) -> Key {
    let words = [
        &row.truth,
        &row.assignment,
        &row.seasons,
        &row.regions,
        &row.alternation,
        &row.tails,
        &row.records,
    ];
    (words.map(Clone::clone), row.replicate)
}

/// Mean of a value over the rows that have one.
pub fn mean(rows: &[&Row], value: impl Fn(&Row) -> Option<f64>) -> Mean {
    ratio(rows, |row| value(row).map(|v| (v, 1.0)))
}

/// Sum over sum, with the linearised cluster error of a ratio (Cochran, 1977, Sampling Techniques,
/// 3rd ed., eq. 6.13, plantations as units).
pub fn ratio(rows: &[&Row], parts: impl Fn(&Row) -> Option<(f64, f64)>) -> Mean {
    let mut clusters: BTreeMap<Key, (f64, f64)> = BTreeMap::new();
    let mut n = 0;
    for row in rows {
        if let Some((above, below)) = parts(row) {
            let sums = clusters.entry(key(row)).or_default();
            *sums = (sums.0 + above, sums.1 + below);
            n += 1;
        }
    }
    let above: f64 = clusters.values().map(|sums| sums.0).sum();
    let below: f64 = clusters.values().map(|sums| sums.1).sum();
    let value = above / below;
    let g = clusters.len() as f64;
    let squares: f64 = clusters.values().map(|sums| (sums.0 - value * sums.1).powi(2)).sum();
    let error = if g > 1.0 { (squares * g / (g - 1.0)).sqrt() / below.abs() } else { f64::NAN };
    Mean { value, error, n }
}

/// A group of rows and what came of them.
pub struct Group {
    /// What the rows have in common: factor and level, or the three main levels.
    pub by: String,
    /// Its name.
    pub name: String,
    /// Plantations and regions, and regions without advice.
    pub plantations: usize,
    pub regions: usize,
    pub failed: usize,
    /// Coverage of the net optimum where it lies inside the tested range.
    pub inside: [Mean; 2],
    /// Coverage where it lies at an edge.
    pub edge: [Mean; 2],
    /// Coverage of the net gain.
    pub gain: [Mean; 2],
    /// Rates of verdicts and of advice to stop.
    pub prune: Mean,
    pub keep: Mean,
    pub trial: Mean,
    pub stop: Mean,
    /// Advised intensities outside the tested range.
    pub outside: usize,
    /// Mean regret of each practice, per cent of the best net return.
    pub regret: [Mean; 6],
    /// Followed and candidate over class and quadratic: ratios of mean regrets.
    pub ratios: [[Mean; 2]; 2],
}

/// Names of the practices whose regret is shown.
pub const PRACTICES: [&str; 6] =
    ["followed", "candidate", "class", "quadratic", "present", "candidate_at_best_lead"];

/// Regret of a practice, per cent of the best net return.
pub fn regret_pct(row: &Row, practice: usize) -> Option<f64> {
    let money = match practice {
        0 => row.regret_followed,
        1 => row.regret_candidate,
        2 => row.regret_class,
        3 => row.regret_quadratic,
        4 => row.regret_present,
        _ => row.regret_candidate_best_lead,
    };
    Some(100.0 * money? / row.best_net?)
}

fn flag(yes: bool) -> f64 {
    f64::from(u8::from(yes))
}

impl Group {
    /// Summarises rows.
    pub fn of(by: &str, name: &str, rows: &[&Row]) -> Self {
        let inside = |row: &Row| row.place == "inside";
        let coverage = |hit: &dyn Fn(&Row) -> Option<bool>, which: &dyn Fn(&Row) -> bool| {
            mean(rows, |row| if which(row) { hit(row).map(flag) } else { None })
        };
        let edge = |row: &Row| !inside(row);
        let verdict = |word: &str| mean(rows, |row| Some(flag(row.verdict == word)));
        let over = |practice: usize, rule: usize| {
            ratio(rows, |row| Some((regret_pct(row, practice)?, regret_pct(row, rule)?)))
        };
        let plantations: std::collections::BTreeSet<Key> =
            rows.iter().map(|row| key(row)).collect();
        Self {
            by: by.to_owned(),
            name: name.to_owned(),
            plantations: plantations.len(),
            regions: rows.len(),
            failed: rows.iter().filter(|row| row.verdict == "failed").count(),
            inside: [
                coverage(&Row::optimum_in_80, &inside),
                coverage(&Row::optimum_in_95, &inside),
            ],
            edge: [coverage(&Row::optimum_in_80, &edge), coverage(&Row::optimum_in_95, &edge)],
            gain: [coverage(&Row::gain_in_80, &|_| true), coverage(&Row::gain_in_95, &|_| true)],
            prune: verdict("prune"),
            keep: verdict("keep"),
            trial: verdict("trial"),
            stop: mean(rows, |row| Some(flag(row.stops()))),
            outside: rows.iter().filter(|row| row.outside() == Some(true)).count(),
            regret: [0, 1, 2, 3, 4, 5].map(|practice| mean(rows, |row| regret_pct(row, practice))),
            ratios: [0, 1].map(|practice| [2, 3].map(|rule| over(practice, rule))),
        }
    }
}

/// All groups of the study.
pub struct Summary {
    /// Truth x assignment x seasons.
    pub cells: Vec<Group>,
    /// Every factor alone, and all together.
    pub factors: Vec<Group>,
}

/// The factors and their columns.
type Column = fn(&Row) -> &str;
const FACTORS: [(&str, Column); 7] = [
    ("truth", |row| &row.truth),
    ("assignment", |row| &row.assignment),
    ("seasons", |row| &row.seasons),
    ("regions", |row| &row.regions),
    ("alternation", |row| &row.alternation),
    ("tails", |row| &row.tails),
    ("records", |row| &row.records),
];

impl Summary {
    /// Groups and summarises, in the order in which levels first occur.
    pub fn of(rows: &[Row]) -> Self {
        let all: Vec<&Row> = rows.iter().collect();
        let cell = |row: &Row| format!("{} {} {}", row.truth, row.assignment, row.seasons);
        let cells = groups("cell", &all, &cell);
        let mut factors = vec![Group::of("all", "all", &all)];
        for (factor, column) in FACTORS {
            factors.extend(groups(factor, &all, &|row| column(row).to_owned()));
        }
        Self { cells, factors }
    }

    /// Writes `summary.csv` and `summary.md`.
    pub fn write(&self, out: &Path) -> io::Result<()> {
        std::fs::write(out.join("summary.csv"), self.csv())?;
        std::fs::write(out.join("summary.md"), self.markdown())
    }

    fn csv(&self) -> String {
        let mut text = String::from(
            "by,name,plantations,regions,failed,outside,measure,value,standard_error,n\n",
        );
        for group in self.factors.iter().chain(&self.cells) {
            let head = format!(
                "{},{},{},{},{},{}",
                group.by, group.name, group.plantations, group.regions, group.failed, group.outside
            );
            let mut line = |measure: &str, mean: Mean| {
                let Mean { value, error, n } = mean;
                let number = |x: f64| if x.is_finite() { format!("{x:.4}") } else { String::new() };
                // Writing to a string cannot fail.
                let _ = writeln!(text, "{head},{measure},{},{},{n}", number(value), number(error));
            };
            for (k, level) in ["80", "95"].into_iter().enumerate() {
                line(&format!("optimum_inside_{level}"), group.inside[k]);
                line(&format!("optimum_edge_{level}"), group.edge[k]);
                line(&format!("gain_{level}"), group.gain[k]);
            }
            line("prune", group.prune);
            line("keep", group.keep);
            line("trial", group.trial);
            line("stop", group.stop);
            for (practice, mean) in PRACTICES.iter().zip(group.regret) {
                line(&format!("regret_pct_{practice}"), mean);
            }
            for (practice, ratios) in PRACTICES.iter().zip(group.ratios) {
                for (rule, mean) in PRACTICES.iter().skip(2).zip(ratios) {
                    line(&format!("regret_{practice}_over_{rule}"), mean);
                }
            }
        }
        text
    }

    fn markdown(&self) -> String {
        let mut text = String::from(
            "# Calibration: tables\n\nPer cent; Monte Carlo standard error in brackets. Coverage of the net optimum is over regions whose true optimum lies inside the tested range (edge: at one of its ends). Regret is the mean loss of net return against the best supported practice, per cent of it: followed (what the verdict says), candidate (best supported practice whatever the verdict), its intensity at the true best lead (what is lost by intensity alone), class and quadratic (the two simple rules), present (leaving things as they are).\n",
        );
        for (title, groups) in
            [("By factor", &self.factors), ("Truth x assignment x seasons", &self.cells)]
        {
            let _ = write!(
                text,
                "\n## {title}\n\n| rows | regions | optimum 80 | optimum 95 | edge 95 | gain 80 | gain 95 | prune (stop) / keep / trial | followed | candidate | at best lead | class | quadratic | present |\n|---|--:|--:|--:|--:|--:|--:|:-:|--:|--:|--:|--:|--:|--:|\n"
            );
            for group in groups {
                let _ = writeln!(text, "{}", table_line(group));
            }
        }
        text
    }
}

fn groups(by: &str, rows: &[&Row], name: &dyn Fn(&Row) -> String) -> Vec<Group> {
    let mut order: Vec<String> = Vec::new();
    let mut members: BTreeMap<String, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        let own = name(row);
        if !members.contains_key(&own) {
            order.push(own.clone());
        }
        members.entry(own).or_default().push(row);
    }
    order.iter().filter_map(|name| Some(Group::of(by, name, members.get(name)?))).collect()
}

fn table_line(group: &Group) -> String {
    let share = |mean: Mean| cell(100.0 * mean.value, 100.0 * mean.error, 0);
    let loss = |mean: Mean| cell(mean.value, mean.error, 2);
    let whole = |mean: Mean| format!("{:.0}", 100.0 * mean.value);
    let [followed, candidate, class, quadratic, present, at_best_lead] = group.regret;
    let failed =
        if group.failed > 0 { format!(", {} failed", group.failed) } else { String::new() };
    format!(
        "| {} | {}{failed} | {} | {} | {} | {} | {} | {} ({}) / {} / {} | {} | {} | {} | {} | {} | {} |",
        group.name,
        group.regions,
        share(group.inside[0]),
        share(group.inside[1]),
        share(group.edge[1]),
        share(group.gain[0]),
        share(group.gain[1]),
        whole(group.prune),
        whole(group.stop),
        whole(group.keep),
        whole(group.trial),
        loss(followed),
        loss(candidate),
        loss(at_best_lead),
        loss(class),
        loss(quadratic),
        loss(present),
    )
}

/// A number with its error, a dash without any.
fn cell(value: f64, error: f64, decimals: usize) -> String {
    match (value.is_finite(), error.is_finite()) {
        (false, _) => "-".to_owned(),
        (true, false) => format!("{value:.decimals$}"),
        (true, true) => format!("{value:.decimals$} ({error:.decimals$})"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::args::Plantation;
    use crate::cell::Cell;

    /// Witness: arithmetic. Plantations of one region each give the error of a mean, s / sqrt(n).
    #[test]
    fn single_regions_give_the_usual_standard_error() {
        let cells = Cell::all();
        let values = [1.0, 2.0, 4.0, 7.0];
        let rows: Vec<Row> = values
            .iter()
            .zip(cells)
            .map(|(&v, cell)| Row {
                gain: Some(v),
                ..Row::of(Plantation { cell, replicate: 0 }, 1)
            })
            .collect();
        let rows: Vec<&Row> = rows.iter().collect();
        let found = mean(&rows, |row| row.gain);
        // Mean 3.5, s^2 = (6.25 + 2.25 + 0.25 + 12.25) / 3 = 7.
        assert!((found.value - 3.5).abs() < 1e-12);
        assert!((found.error - (7.0_f64 / 4.0).sqrt()).abs() < 1e-12);
    }
}
