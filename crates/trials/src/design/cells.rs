//! Treatments as cells of the factorial, and the terms that compare them.

use super::factor::{FactorPlace, PlanFactor};
use serde::{Deserialize, Serialize};
use words::text;

/// A treatment: a combination of levels (season among them), or the control beside them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cell {
    /// Name for people: levels joined by ` / `.
    pub name: String,
    /// Level of each factor; `None` where the control has none.
    pub levels: Vec<Option<usize>>,
    /// Whether it is the control beside the factorial.
    pub control: bool,
    /// Whether it is a check of an augmented design.
    pub check: bool,
    /// Units observed.
    pub units: usize,
}

/// What a term is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Levels of a factor, by position; the control beside the factorial has none.
    Factor(usize),
    /// The control against the mean of the factorial.
    Control,
    /// Checks against new entries of an augmented design, by the factor's position.
    Group,
    /// Among the checks.
    Checks(usize),
    /// Among the new entries.
    Entries(usize),
}

/// A fixed term of the model: a main effect or an interaction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Term {
    /// Name for people: parts joined by ` x `.
    pub name: String,
    /// Parts.
    pub parts: Vec<Part>,
}

impl Part {
    /// Names of the groups that the part compares.
    #[must_use]
    pub fn level_names(&self, factors: &[PlanFactor], cells: &[Cell]) -> Vec<String> {
        match self {
            Part::Factor(f) => factors[*f].levels.clone(),
            Part::Control => {
                let control = cells.iter().find(|c| c.control);
                let name = control.map_or_else(|| text!("control").to_owned(), control_name);
                vec![text!("rest").to_owned(), name]
            }
            Part::Group => vec![text!("new entries").to_owned(), text!("checks").to_owned()],
            Part::Checks(f) => entries(factors, cells, *f, true),
            Part::Entries(f) => entries(factors, cells, *f, false),
        }
    }

    /// Position of a cell among [`Part::level_names`]; `None` outside them.
    #[must_use]
    pub fn level(&self, cell: &Cell, factors: &[PlanFactor], cells: &[Cell]) -> Option<usize> {
        match self {
            Part::Factor(f) => {
                let level = cell.levels[*f]?;
                // The control's level stands outside its factor's effects.
                (level < factors[*f].levels.len()).then_some(level)
            }
            Part::Control => Some(usize::from(cell.control)),
            Part::Group => Some(usize::from(cell.check)),
            Part::Checks(f) | Part::Entries(f) => {
                let name = &factors[*f].levels[cell.levels[*f]?];
                self.level_names(factors, cells).iter().position(|n| n == name)
            }
        }
    }
}

/// Name of the control without its season.
fn control_name(cell: &Cell) -> String {
    cell.name.split(" / ").next().unwrap_or(&cell.name).to_owned()
}

fn entries(factors: &[PlanFactor], cells: &[Cell], f: usize, check: bool) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for cell in cells.iter().filter(|c| c.check == check) {
        if let Some(level) = cell.levels[f] {
            let name = &factors[f].levels[level];
            if !out.contains(name) {
                out.push(name.clone());
            }
        }
    }
    out
}

/// All cells: the factorial, then the control in each season.
pub(super) fn cells(factors: &[PlanFactor], control: Option<&str>, checks: &[String]) -> Vec<Cell> {
    let mut grid: Vec<Vec<Option<usize>>> = vec![Vec::new()];
    for factor in factors {
        let longer = |stem: &Vec<Option<usize>>| -> Vec<Vec<Option<usize>>> {
            (0..factor.levels.len())
                .map(|l| stem.iter().copied().chain([Some(l)]).collect())
                .collect()
        };
        grid = grid.iter().flat_map(longer).collect();
    }
    let name = |levels: &[Option<usize>]| -> Vec<String> {
        let named = factors.iter().zip(levels);
        named.filter_map(|(f, l)| l.map(|l| f.levels[l].clone())).collect()
    };
    let mut out: Vec<Cell> = grid
        .into_iter()
        .map(|levels| Cell {
            name: name(&levels).join(" / "),
            check: levels
                .first()
                .copied()
                .flatten()
                .is_some_and(|l| checks.contains(&factors[0].levels[l])),
            control: false,
            units: 0,
            levels,
        })
        .collect();
    if let Some(control) = control {
        let seasons = factors.iter().position(|f| f.place == FactorPlace::Seasons);
        let times = seasons.map_or(1, |s| factors[s].levels.len());
        for time in 0..times {
            let levels: Vec<Option<usize>> =
                (0..factors.len()).map(|f| (Some(f) == seasons).then_some(time)).collect();
            let mut words = vec![control.to_owned()];
            words.extend(name(&levels));
            out.push(Cell {
                name: words.join(" / "),
                levels,
                control: true,
                check: false,
                units: 0,
            });
        }
    }
    out
}

/// Terms: the control, then main effects and interactions by order; each also with season.
pub(super) fn terms(factors: &[PlanFactor], control: Option<&str>, augmented: bool) -> Vec<Term> {
    let treatment: Vec<usize> =
        (0..factors.len()).filter(|f| factors[*f].place != FactorPlace::Seasons).collect();
    let season = (0..factors.len()).find(|f| factors[*f].place == FactorPlace::Seasons);
    let mut out: Vec<Term> = Vec::new();
    if let Some(control) = control {
        out.push(Term { name: format!("{control} against the rest"), parts: vec![Part::Control] });
    }
    if augmented {
        out.push(Term { name: "checks against new entries".to_owned(), parts: vec![Part::Group] });
        out.push(Term { name: "among checks".to_owned(), parts: vec![Part::Checks(0)] });
        out.push(Term { name: "among new entries".to_owned(), parts: vec![Part::Entries(0)] });
    } else {
        let mut subsets: Vec<Vec<usize>> = (1..1_usize << treatment.len())
            .map(|mask| {
                let inside = treatment.iter().enumerate().filter(|(i, _)| mask >> i & 1 == 1);
                inside.map(|(_, f)| *f).collect()
            })
            .collect();
        subsets.sort_by_key(|s: &Vec<usize>| s.len());
        for subset in subsets {
            let names: Vec<&str> = subset.iter().map(|f| factors[*f].name.as_str()).collect();
            out.push(Term {
                name: names.join(" x "),
                parts: subset.into_iter().map(Part::Factor).collect(),
            });
        }
    }
    if let Some(season) = season {
        let name = &factors[season].name;
        let with: Vec<Term> = out
            .iter()
            .map(|t| Term {
                name: format!("{} x {name}", t.name),
                parts: t.parts.iter().copied().chain([Part::Factor(season)]).collect(),
            })
            .collect();
        out.push(Term { name: name.clone(), parts: vec![Part::Factor(season)] });
        out.extend(with);
    }
    out
}
