//! Plots of all environments in one table, with the contrasts of each treatment term.

use super::{Environment, PooledError};
use crate::checks::LinearFit;
use crate::design::{Cell, Plan, StratumKind};
use words::{say, text};

/// A stratum within environments: groups numbered over all of them.
pub(super) struct StackedStratum {
    pub(super) name: String,
    pub(super) random: bool,
    pub(super) codes: Vec<usize>,
    pub(super) groups: usize,
}

/// A treatment term with an orthonormal basis of its contrasts of equally weighted treatments.
pub(super) struct StackedTerm {
    pub(super) name: String,
    pub(super) contrasts: Vec<Vec<f64>>,
    /// Group of the term by treatment; treatments outside its groups have one each.
    pub(super) groups: Vec<usize>,
    /// Number of groups.
    pub(super) count: usize,
}

/// Sites crossed with seasons: every site in every season once.
pub(super) struct Crossing {
    /// Site of each environment.
    pub(super) site: Vec<usize>,
    pub(super) sites: usize,
    /// Season of each environment.
    pub(super) season: Vec<usize>,
    pub(super) seasons: usize,
}

/// The stacked plots.
pub(super) struct Stack {
    pub(super) treatments: Vec<String>,
    pub(super) environments: Vec<String>,
    pub(super) values: Vec<f64>,
    pub(super) environment: Vec<usize>,
    pub(super) treatment: Vec<usize>,
    pub(super) strata: Vec<StackedStratum>,
    pub(super) terms: Vec<StackedTerm>,
    pub(super) crossing: Option<Crossing>,
    pub(super) notes: Vec<String>,
    /// What the environments are called.
    pub(super) called: Called,
}

/// What environments are called in names and sentences: sites where every one is, so that a reader meets one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Called {
    /// Sites, without seasons.
    Sites,
    /// Seasons, or sites in seasons.
    Environments,
}

impl Called {
    fn of(environments: &[Environment<'_>]) -> Self {
        let is_site = |own: &Environment<'_>| own.site.is_some() && own.season.is_none();
        if environments.iter().all(is_site) { Self::Sites } else { Self::Environments }
    }

    /// The name in sources and strata.
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Sites => "sites",
            Self::Environments => "environments",
        }
    }

    /// One of them in words.
    pub(super) fn place(self) -> &'static str {
        match self {
            Self::Sites => text!("site"),
            Self::Environments => text!("environment"),
        }
    }

    /// Several in words.
    pub(super) fn places(self) -> &'static str {
        match self {
            Self::Sites => text!("sites"),
            Self::Environments => text!("environments"),
        }
    }

    /// What judges treatments where these are a sample.
    pub(super) fn interaction(self) -> &'static str {
        match self {
            Self::Sites => text!("its interaction with sites"),
            Self::Environments => text!("its interaction with environments"),
        }
    }
}

impl Stack {
    pub(super) fn new(environments: &[Environment<'_>]) -> Result<Self, PooledError> {
        let Some((first, others)) = environments.split_first() else {
            return Err(PooledError::TooFew(0));
        };
        if others.is_empty() {
            return Err(PooledError::TooFew(1));
        }
        let has = |environment: &Environment<'_>, name: &str| {
            environment.analysis.plan.cells.iter().any(|c| c.units > 0 && c.name == name)
        };
        let called = Called::of(environments);
        let mut missing = Vec::new();
        let mut treatments: Vec<String> = Vec::new();
        for environment in environments {
            for cell in environment.analysis.plan.cells.iter().filter(|c| c.units > 0) {
                let without: Vec<&str> =
                    environments.iter().filter(|e| !has(e, &cell.name)).map(|e| e.name).collect();
                let told = say!("{} is not at {}", cell.name, without.join(", "));
                if without.is_empty() {
                    if !treatments.contains(&cell.name) {
                        treatments.push(cell.name.clone());
                    }
                } else if !missing.contains(&told) {
                    missing.push(told);
                }
            }
        }
        if treatments.len() < 2 {
            let (found, missing) = (treatments.len(), missing.join("; "));
            let places = called.places();
            return Err(PooledError::NothingInCommon { places, found, missing });
        }
        let mut notes = Vec::new();
        if !missing.is_empty() {
            notes.push(say!(
                "Only treatments that stand in every {place} are combined: {}.",
                missing.join("; "),
                place = called.place()
            ));
        }
        let terms = terms(&first.analysis.plan, &treatments);
        let mut stack = Stack {
            treatments,
            environments: environments.iter().map(|e| e.name.to_owned()).collect(),
            values: Vec::new(),
            environment: Vec::new(),
            treatment: Vec::new(),
            strata: Vec::new(),
            terms,
            crossing: crossing(environments),
            notes,
            called,
        };
        for (index, environment) in environments.iter().enumerate() {
            stack.add(index, &environment.analysis.plan);
        }
        stack.complete_strata();
        Ok(stack)
    }

    fn add(&mut self, index: usize, plan: &Plan) {
        for stratum in plan.strata.iter().filter(|s| s.kind != StratumKind::Residual) {
            if !self.strata.iter().any(|s| s.name == stratum.name) {
                self.strata.push(StackedStratum {
                    name: stratum.name.clone(),
                    random: false,
                    codes: Vec::new(),
                    groups: 0,
                });
            }
        }
        for (unit, at) in plan.units.iter().zip(0_usize..) {
            let Some(cell) = plan.cells.get(unit.cell) else { continue };
            let Some(treatment) = self.treatments.iter().position(|t| *t == cell.name) else {
                continue;
            };
            let row = self.values.len();
            self.values.push(unit.value);
            self.environment.push(index);
            self.treatment.push(treatment);
            for own in &mut self.strata {
                let Some(stratum) = plan.strata.iter().find(|s| s.name == own.name) else {
                    continue;
                };
                own.random |= stratum.kind == StratumKind::Random;
                // Environments without this stratum leave a gap, closed by `complete_strata`.
                own.codes.resize(row, usize::MAX);
                own.codes.push(own.groups + stratum.codes.get(at).copied().unwrap_or(0));
            }
        }
        for own in &mut self.strata {
            if let Some(stratum) = plan.strata.iter().find(|s| s.name == own.name) {
                own.groups += stratum.groups.len();
            }
        }
    }

    /// Plots of environments that have no such stratum form one group per environment.
    fn complete_strata(&mut self) {
        let rows = self.values.len();
        for own in &mut self.strata {
            own.codes.resize(rows, usize::MAX);
            let start = own.groups;
            for (code, environment) in own.codes.iter_mut().zip(&self.environment) {
                if *code == usize::MAX {
                    *code = start + environment;
                    own.groups = own.groups.max(*code + 1);
                }
            }
        }
    }

    /// Indicator columns of groups.
    pub(super) fn indicators(codes: &[usize], groups: usize) -> Vec<Vec<f64>> {
        (0..groups).map(|g| codes.iter().map(|c| f64::from(u8::from(*c == g))).collect()).collect()
    }

    /// Codes of the environments by plot.
    pub(super) fn by_plot(&self, codes: &[usize]) -> Vec<usize> {
        self.environment.iter().map(|e| codes.get(*e).copied().unwrap_or(0)).collect()
    }

    /// Number of plots of each treatment in each environment, environment by environment.
    pub(super) fn counts(&self) -> Vec<usize> {
        let width = self.treatments.len();
        let mut counts = vec![0; width * self.environments.len()];
        for (e, t) in self.environment.iter().zip(&self.treatment) {
            if let Some(count) = counts.get_mut(e * width + t) {
                *count += 1;
            }
        }
        counts
    }
}

/// The crossing of sites and seasons, where there are two of each and every pair once.
fn crossing(environments: &[Environment<'_>]) -> Option<Crossing> {
    let (mut sites, mut seasons) = (Vec::new(), Vec::new());
    let (mut site, mut season) = (Vec::new(), Vec::new());
    for environment in environments {
        site.push(code(&mut sites, environment.site?));
        season.push(code(&mut seasons, environment.season?));
    }
    let pairs: std::collections::BTreeSet<_> = site.iter().zip(&season).collect();
    let crossed = sites.len() > 1
        && seasons.len() > 1
        && pairs.len() == environments.len()
        && pairs.len() == sites.len() * seasons.len();
    crossed.then_some(Crossing { site, sites: sites.len(), season, seasons: seasons.len() })
}

fn code<T: PartialEq>(seen: &mut Vec<T>, value: T) -> usize {
    seen.iter().position(|s| *s == value).unwrap_or_else(|| {
        seen.push(value);
        seen.len() - 1
    })
}

/// Terms of the plan restricted to the treatments in common; one term where the restriction or
/// several seasons leave no factorial.
fn terms(plan: &Plan, treatments: &[String]) -> Vec<StackedTerm> {
    let cells: Vec<&Cell> =
        treatments.iter().filter_map(|name| plan.cells.iter().find(|c| c.name == *name)).collect();
    let position = |cell: usize| {
        plan.cells.get(cell).and_then(|c| treatments.iter().position(|t| *t == c.name))
    };
    let mut spanned: Vec<Vec<f64>> = vec![vec![1.0; cells.len()]];
    let mut terms = Vec::new();
    for term in &plan.terms {
        let mut contrasts: Vec<Vec<f64>> = Vec::new();
        let mut groups: Vec<Option<usize>> = vec![None; cells.len()];
        let mut count = 0;
        for (_, members) in plan.groups_of(term) {
            let own = members.iter().filter_map(|m| position(*m));
            for at in own {
                if let Some(group) = groups.get_mut(at) {
                    *group = Some(count);
                }
            }
            count += 1;
            let mut column = vec![0.0; cells.len()];
            for at in members.iter().filter_map(|m| position(*m)) {
                if let Some(entry) = column.get_mut(at) {
                    *entry = 1.0;
                }
            }
            if let Some(new) = beyond(&spanned, &column) {
                spanned.push(new.clone());
                contrasts.push(new);
            }
        }
        if !contrasts.is_empty() {
            let groups = groups.into_iter().map(|group| {
                group.unwrap_or_else(|| {
                    count += 1;
                    count - 1
                })
            });
            let groups: Vec<usize> = groups.collect();
            terms.push(StackedTerm { name: term.name.clone(), contrasts, groups, count });
        }
    }
    // What no term spans, so that the treatments are complete.
    let mut rest = Vec::new();
    for at in 0..cells.len() {
        let mut column = vec![0.0; cells.len()];
        if let Some(entry) = column.get_mut(at) {
            *entry = 1.0;
        }
        if let Some(new) = beyond(&spanned, &column) {
            spanned.push(new.clone());
            rest.push(new);
        }
    }
    if !rest.is_empty() {
        terms.push(StackedTerm {
            name: "other differences of treatments".to_owned(),
            contrasts: rest,
            groups: (0..cells.len()).collect(),
            count: cells.len(),
        });
    }
    terms
}

/// The unit vector of what `column` adds to `spanned`, if anything.
pub(super) fn beyond(spanned: &[Vec<f64>], column: &[f64]) -> Option<Vec<f64>> {
    let size: f64 = column.iter().map(|v| v * v).sum();
    let rest = LinearFit::new(column, spanned).ok()?.residuals;
    let left: f64 = rest.iter().map(|v| v * v).sum();
    (left > 1e-18 * size && size > 0.0).then(|| rest.iter().map(|v| v / left.sqrt()).collect())
}
