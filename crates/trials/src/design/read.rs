//! Reads a plan from the declaration and the observations.

use super::cells::{cells, terms};
use super::checks::{check, treatments, trees_once};
use super::factor::{FactorPlace, PlanFactor};
use super::plan::{Plan, Stratum, Unit};
use super::plots::{Groups, Levels, canonical, groups, levels, positions};
use super::refusal::{Evidence, Refusal};
use super::roles::{Rows, distinct, grouped};
use super::slips::{melted, slips};
use super::strata::strata;
use super::words::{list, words};
use crate::observations::Observations;
use records::{TrialDeclaration, TrialDesign, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Name of the season factor.
const SEASON: &str = "season";
/// Most factors: each doubles the terms of the model.
const MOST_FACTORS: usize = 6;
/// Most treatments of the full factorial.
const MOST_TREATMENTS: usize = 5000;

impl Plan {
    /// Checks the declaration against the observations and forms units, treatments and strata.
    /// Rows without a value are lost plots or trees and are set aside. With several seasons, season
    /// becomes a factor and the plot a stratum.
    ///
    /// # Errors
    /// A [`Refusal`] that names the evidence, where the rows contradict the design or leave
    /// nothing to compare.
    pub fn read(declared: &TrialDeclaration, observed: &Observations) -> Result<Plan, Refusal> {
        let used: Vec<usize> =
            (0..observed.len()).filter(|r| observed.values[*r].is_finite()).collect();
        if used.is_empty() {
            return Err(Refusal::NoRows {
                trial: observed.trial.clone(),
                observed: observed.observed.name.clone(),
                read: observed.len(),
            });
        }
        let mut notes = Vec::new();
        if used.len() < observed.len() {
            let lost = (0..observed.len()).filter(|r| !observed.values[*r].is_finite());
            let rows = Rows { observations: observed, used: Vec::new() };
            let named = rows.named(lost);
            let trees: BTreeSet<&String> = observed.tree.iter().collect();
            let seasons: BTreeSet<i32> = observed.season.iter().copied().flatten().collect();
            notes.push(say!(
                "{} of {} values ({} in {}) missing and left out: {named}",
                observed.len() - used.len(),
                observed.len(),
                counted(trees.len() as u64, text!("tree"), text!("trees")),
                counted(seasons.len().max(1) as u64, text!("season"), text!("seasons"))
            ));
        }
        let mut rows = Rows { observations: observed, used };
        let covariate = covariate(declared, &mut rows, &mut notes)?;
        one_site(&rows, declared)?;
        trees_once(&rows)?;
        let places = factor_places(declared)?;
        let names: Vec<String> = places.iter().map(|(n, _)| n.clone()).collect();
        let texts = levels(&rows, declared, &names)?;
        let control = control(declared, &texts)?;
        let mut factors = Vec::new();
        for ((name, place), levels) in places.iter().zip(&texts) {
            let unit = declared.amounts.get(name);
            let found = grouped(&levels.texts)
                .into_iter()
                .filter(|(l, _)| !l.is_empty() && Some(*l) != control.as_deref())
                .map(|(l, at)| (l.to_owned(), rows.evidence_at(at)))
                .collect::<Vec<(String, Evidence)>>();
            factors.push(PlanFactor::new(name, *place, unit, found)?);
        }
        let product = factors.iter().fold(1_usize, |n, f| n.saturating_mul(f.levels.len()));
        if factors.len() > MOST_FACTORS || product > MOST_TREATMENTS {
            return Err(Refusal::TooManyTreatments { factors: factors.len(), cells: product });
        }
        let checks = checks(declared, &factors)?;
        let groups = groups(&rows, declared, &texts)?;
        check(&rows, declared, &texts, &groups)?;
        // Last: other contradictions name fewer rows.
        melted(&rows, declared)?;
        let mut plan = Former { rows: &rows, declared, texts: &texts, groups: &groups }
            .form(factors, control, &checks, covariate, notes)?;
        let (low, high) = plan
            .units
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), u| (l.min(u.value), h.max(u.value)));
        if low == high {
            return Err(Refusal::AllEqual { observed: plan.observed.name.clone(), value: low });
        }
        let control = declared.control.as_ref().zip(plan.control.as_deref());
        let control = control.map(|(own, level)| {
            super::checks::level_in_words(declared.amounts.get(&own.factor), level)
        });
        plan.words = words(
            plan.design,
            &plan.factors,
            control.as_deref(),
            &checks,
            &plan.strata,
            plan.plots,
        );
        Ok(plan)
    }
}

/// Everything that forming units needs.
struct Former<'a> {
    rows: &'a Rows<'a>,
    declared: &'a TrialDeclaration,
    texts: &'a [Levels],
    groups: &'a Groups,
}

impl Former<'_> {
    fn form(
        &self,
        mut factors: Vec<PlanFactor>,
        control: Option<String>,
        checks: &[String],
        covariate: Option<String>,
        mut notes: Vec<String>,
    ) -> Result<Plan, Refusal> {
        let observed = self.rows.observations;
        let season_texts: Vec<String> = self
            .rows
            .used
            .iter()
            .map(|r| observed.season[*r].map_or(String::new(), |s| s.to_string()))
            .collect();
        let several = grouped(&season_texts).len() > 1;
        if several {
            let found = grouped(&season_texts)
                .into_iter()
                .map(|(l, at)| (l.to_owned(), self.rows.evidence_at(at)))
                .collect();
            factors.push(PlanFactor::new(SEASON, FactorPlace::Seasons, None, found)?);
        }
        let mut all_cells = cells(&factors, control.as_deref(), checks);
        let cell_of = self.cells_by_row(&factors, control.as_deref(), &season_texts, several);
        let position: BTreeMap<&[Option<usize>], usize> =
            all_cells.iter().enumerate().map(|(i, c)| (c.levels.as_slice(), i)).collect();
        let cell: Vec<usize> =
            cell_of.iter().map(|l| position.get(l.as_slice()).copied().unwrap_or(0)).collect();
        drop(position);
        let mut by_unit: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for (i, plot) in self.groups.plot.iter().enumerate() {
            by_unit.entry((plot, &season_texts[i])).or_default().push(i);
        }
        let sizes: Vec<usize> = by_unit.values().map(Vec::len).collect();
        let equal = sizes.iter().all(|s| *s == sizes[0]);
        let mut members: Vec<Vec<usize>> = if equal {
            by_unit.into_values().collect()
        } else {
            (0..self.rows.used.len()).map(|i| vec![i]).collect()
        };
        members.sort_by_key(|m| m.first().copied());
        if !equal {
            let (low, high) = (sizes.iter().min(), sizes.iter().max());
            notes.push(say!(
                "Plots hold {} to {} trees with a value; trees enter one by one, with the plot as \
                 the unit that treatments were given to.",
                low.copied().unwrap_or(0),
                high.copied().unwrap_or(0)
            ));
        }
        let units: Vec<Unit> = members
            .iter()
            .map(|m| self.unit(m, cell[m[0]], covariate.as_deref(), several))
            .collect();
        for unit in &units {
            all_cells[unit.cell].units += 1;
        }
        let empty: Vec<String> =
            all_cells.iter().filter(|c| c.units == 0).map(|c| c.name.clone()).collect();
        if !empty.is_empty() {
            notes.push(say!(
                "no plot has {}: means and tests that need {} cannot be estimated",
                list(&empty),
                if empty.len() == 1 { text!("it") } else { text!("them") }
            ));
        }
        notes.extend(self.absent());
        let first: Vec<usize> = members.iter().map(|m| m[0]).collect();
        let trees: Vec<String> = self.rows.used.iter().map(|r| observed.tree[*r].clone()).collect();
        let strata: Vec<Stratum> = strata(
            self.declared.design,
            self.groups,
            &first,
            several.then_some(season_texts.as_slice()),
            (!equal).then_some(trees.as_slice()),
        );
        let augmented = self.declared.design == TrialDesign::AugmentedBlocks;
        let terms = terms(&factors, control.as_deref(), augmented);
        Ok(Plan {
            trial: observed.trial.clone(),
            design: self.declared.design,
            observed: observed.observed.clone(),
            terms,
            cells: all_cells,
            factors,
            control,
            strata,
            units,
            plots: grouped(&self.groups.plot).len(),
            units_are_trees: !equal,
            covariate,
            words: Vec::new(),
            notes,
            slips: slips(self.rows, self.declared),
        })
    }

    /// Level of each factor by used row, `None` on control plots.
    fn cells_by_row(
        &self,
        factors: &[PlanFactor],
        control: Option<&str>,
        seasons: &[String],
        several: bool,
    ) -> Vec<Vec<Option<usize>>> {
        let mut by_factor: Vec<Vec<Option<usize>>> = factors
            .iter()
            .zip(self.texts)
            .map(|(factor, levels)| positions(factor, levels, control))
            .collect();
        if let Some(season) = factors.last().filter(|_| several) {
            by_factor.push(seasons.iter().map(|s| season.position(s)).collect());
        }
        (0..self.rows.used.len()).map(|i| by_factor.iter().map(|f| f[i]).collect()).collect()
    }

    fn unit(&self, members: &[usize], cell: usize, covariate: Option<&str>, several: bool) -> Unit {
        let observed = self.rows.observations;
        let rows: Vec<usize> = members.iter().map(|i| self.rows.used[*i]).collect();
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let trees: Vec<f64> = rows.iter().map(|r| observed.values[*r]).collect();
        let covariate = covariate.and_then(|c| observed.numbers.get(c)).map(|column| {
            let values: Vec<f64> = rows.iter().map(|r| column[*r]).collect();
            mean(&values)
        });
        let roles = &self.declared.roles;
        let text = |column: &Option<String>, usual: &str| -> Option<String> {
            let name = column.clone().unwrap_or_else(|| usual.to_owned());
            let column = observed.columns.get(&name)?;
            let own = |row: &usize| column.get(*row).cloned().flatten();
            let numbers: Option<Vec<f64>> =
                rows.iter().map(|row| own(row)?.trim().parse().ok()).collect();
            // The middle of its trees, whatever tree comes first; a word is that of the first.
            match numbers {
                Some(numbers) => Some(mean(&numbers).to_string()),
                None => own(&rows[0]),
            }
        };
        Unit {
            plot: self.groups.plot[members[0]].clone(),
            season: if several { observed.season[rows[0]] } else { None },
            cell,
            value: mean(&trees),
            trees,
            covariate,
            position: text(&roles.row, "row").zip(text(&roles.column, "column")),
            rows,
        }
    }

    /// Treatments that a complete block lacks.
    fn absent(&self) -> Option<String> {
        let blocks = match self.declared.design {
            TrialDesign::RandomisedBlocks
            | TrialDesign::SplitPlot
            | TrialDesign::SplitSplitPlot
            | TrialDesign::StripPlot => self.groups.replicate.as_ref()?,
            TrialDesign::LatinSquare => self.groups.row.as_ref()?,
            _ => return None,
        };
        let treatment = treatments(self.texts, self.declared, self.rows.used.len());
        let everything: Vec<usize> = (0..treatment.len()).collect();
        let all = distinct(&treatment, &everything);
        let mut lost = Vec::new();
        for (block, at) in grouped(blocks) {
            let here = distinct(&treatment, &at);
            for one in all.iter().filter(|t| !here.contains(t)) {
                lost.push(say!("{one} in {block}", block = crate::place_in_words(block)));
            }
        }
        const SHOWN: usize = 12;
        match lost.len() {
            0 => None,
            n if n > SHOWN => Some(say!(
                "{n} plots of complete blocks have no value, among them {}",
                list(&lost[..SHOWN])
            )),
            _ => Some(say!("plots of complete blocks without a value: {}", list(&lost))),
        }
    }
}

/// Factors in order with what they were randomised to.
fn factor_places(declared: &TrialDeclaration) -> Result<Vec<(String, FactorPlace)>, Refusal> {
    use TrialDesign as D;
    let need = |factors: &[String], what: &str| -> Result<(), Refusal> {
        if factors.is_empty() { Err(Refusal::NoFactors { what: what.to_owned() }) } else { Ok(()) }
    };
    let lists: Vec<(&[String], FactorPlace)> = match declared.design {
        D::SplitPlot | D::StripPlot | D::SplitSplitPlot => {
            need(&declared.main_factors, "main_factors")?;
            need(&declared.sub_factors, "sub_factors")?;
            let mut lists = vec![
                (declared.main_factors.as_slice(), FactorPlace::MainPlots),
                (declared.sub_factors.as_slice(), FactorPlace::SubPlots),
            ];
            if declared.design == D::SplitSplitPlot {
                need(&declared.sub_sub_factors, "sub_sub_factors")?;
                lists.push((declared.sub_sub_factors.as_slice(), FactorPlace::SubSubPlots));
            }
            lists
        }
        _ => {
            need(&declared.factors, "factors")?;
            vec![(declared.factors.as_slice(), FactorPlace::Plots)]
        }
    };
    let mut out: Vec<(String, FactorPlace)> = Vec::new();
    for (factors, place) in lists {
        for factor in factors {
            if out.iter().any(|(n, _)| n == factor) {
                return Err(Refusal::FactorTwice { factor: factor.clone() });
            }
            out.push((factor.clone(), place));
        }
    }
    if declared.design == D::AugmentedBlocks && out.len() > 1 {
        return Err(Refusal::NoFactors { what: say!("exactly one factor, the entries") });
    }
    Ok(out)
}

/// Level that marks the control beside the factorial. A declared control that is one of the levels
/// is checked too.
fn control(declared: &TrialDeclaration, texts: &[Levels]) -> Result<Option<String>, Refusal> {
    let Some(control) = &declared.control else { return Ok(None) };
    let level = canonical(&control.level, declared.amounts.contains_key(&control.factor));
    let factor = texts.iter().find(|l| l.name == control.factor);
    let levels: Vec<String> = factor
        .map(|l| grouped(&l.texts).into_keys().map(str::to_owned).collect())
        .unwrap_or_default();
    if !levels.contains(&level) {
        return Err(Refusal::NoControl { factor: control.factor.clone(), level, levels });
    }
    Ok(control.beside_factorial.then_some(level))
}

/// Checks of an augmented design that the rows have.
fn checks(declared: &TrialDeclaration, factors: &[PlanFactor]) -> Result<Vec<String>, Refusal> {
    if declared.design != TrialDesign::AugmentedBlocks {
        return Ok(Vec::new());
    }
    let absent: Vec<String> = declared
        .checks
        .iter()
        .filter(|c| !factors.iter().any(|f| f.levels.contains(c)))
        .cloned()
        .collect();
    if declared.checks.is_empty() {
        return Err(Refusal::NoChecks { detail: say!("none is declared") });
    }
    if !absent.is_empty() {
        return Err(Refusal::NoChecks { detail: say!("no plot carries {}", list(&absent)) });
    }
    Ok(declared.checks.clone())
}

/// Takes rows without the covariate out and checks that it varies.
fn covariate(
    declared: &TrialDeclaration,
    rows: &mut Rows<'_>,
    notes: &mut Vec<String>,
) -> Result<Option<String>, Refusal> {
    let Some(name) = &declared.covariate else { return Ok(None) };
    let refusal =
        |detail: &str| Refusal::Covariate { name: name.clone(), detail: detail.to_owned() };
    let observed = rows.observations;
    let column = observed.numbers.get(name).filter(|c| c.len() == observed.len());
    let column = column.ok_or_else(|| refusal(text!("is no numeric column of the trial")))?;
    let (kept, without): (Vec<usize>, Vec<usize>) =
        rows.used.iter().partition(|r| column[**r].is_finite());
    if kept.is_empty() {
        return Err(refusal(text!("has no value in any row")));
    }
    if kept.iter().all(|r| column[*r] == column[kept[0]]) {
        return Err(refusal(text!("is the same in every row")));
    }
    if !without.is_empty() {
        let named = rows.named(without.iter().copied());
        let values = counted(without.len() as u64, text!("value"), text!("values"));
        notes.push(say!("{} left out for want of {name}: {named}", values));
        rows.used = kept;
    }
    Ok(Some(name.clone()))
}

fn one_site(rows: &Rows<'_>, declared: &TrialDeclaration) -> Result<(), Refusal> {
    let Some(site) = &declared.roles.site else { return Ok(()) };
    let sites: Vec<String> = rows.full(site, "site")?;
    let found: Vec<String> = grouped(&sites).into_keys().map(str::to_owned).collect();
    if found.len() > 1 {
        return Err(Refusal::SeveralSites { sites: found });
    }
    Ok(())
}
