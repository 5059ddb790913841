//! The treatments of a request: every combination of levels, and the control beside them.

use super::error::LayoutError;
use super::request::{LayoutFactor, LayoutRequest, PlotOf};
use records::TrialDesign;
use std::collections::BTreeSet;
use words::say;

/// One treatment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Treatment {
    /// Levels joined by ` x `; the control's level beside a factorial.
    pub label: String,
    /// Level of each factor, in the order of the request; `None` on a control beside the factorial.
    pub levels: Vec<Option<String>>,
    /// Which combination of main, sub and sub-sub levels it is.
    pub stratum_level: [usize; 3],
}

/// The treatments with the number of levels of main, sub and sub-sub plots.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Treatments {
    pub list: Vec<Treatment>,
    pub strata: [usize; 3],
}

impl Treatments {
    /// Checks the factors against the design and lists the treatments. For split and strip plots
    /// treatment `(a, b, c)` stands at `(a * strata[1] + b) * strata[2] + c`.
    pub(super) fn of(request: &LayoutRequest) -> Result<Self, LayoutError> {
        check_factors(request)?;
        let strata = strata_of(request.design);
        let mut order: Vec<usize> = Vec::new();
        let mut counts = [1; 3];
        for (position, &stratum) in strata.iter().enumerate() {
            let before = order.len();
            for (index, factor) in request.factors.iter().enumerate() {
                if factor.on == stratum {
                    order.push(index);
                    let levels = levels_of(request, factor).len();
                    counts[position] = usize::saturating_mul(counts[position], levels);
                }
            }
            if order.len() == before {
                return Err(LayoutError::request(
                    "factors",
                    format!("no factor is on {}", plots_named(stratum)),
                    format!("give one factor `on = \"{}\"`", word(stratum)),
                ));
            }
        }
        if order.len() < request.factors.len() {
            let stray = (0..).zip(&request.factors).find(|(_, f)| !strata.contains(&f.on));
            let (entry, stray) = stray.map_or((0, ""), |(entry, f)| (entry, &f.name));
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("this design has no such plots for factor {stray}"),
                format!(
                    "factors of this design are on {}",
                    strata.iter().map(|&on| word(on)).collect::<Vec<_>>().join(", ")
                ),
            ));
        }
        let mut list = Vec::new();
        let total = counts.iter().fold(1_usize, |total, &count| total.saturating_mul(count));
        if total > MOST_TREATMENTS {
            return Err(LayoutError::fit(
                format!("{total} treatment combinations are more than {MOST_TREATMENTS}"),
                "use fewer factors or levels",
            ));
        }
        for index in 0..total {
            let mut rest = index;
            let mut levels = vec![None; request.factors.len()];
            for &factor in order.iter().rev() {
                let names = levels_of(request, &request.factors[factor]);
                levels[factor] = Some(names[rest % names.len()].clone());
                rest /= names.len();
            }
            let label = levels.iter().flatten().map(String::as_str).collect::<Vec<_>>().join(" x ");
            let stratum_level =
                [index / (counts[1] * counts[2]), index / counts[2] % counts[1], index % counts[2]];
            list.push(Treatment { label, levels, stratum_level });
        }
        if let Some(control) = request.control.as_ref().filter(|control| control.beside_factorial) {
            let levels = request
                .factors
                .iter()
                .map(|factor| (factor.name == control.factor).then(|| control.level.clone()))
                .collect();
            list.push(Treatment {
                label: control.level.clone(),
                levels,
                stratum_level: [list.len(), 0, 0],
            });
        }
        if list.len() < 2 {
            return Err(LayoutError::request(
                "factors",
                "one treatment leaves nothing to compare",
                "give a factor two levels or more, or a control",
            ));
        }
        Ok(Self { list, strata: counts })
    }

    pub(super) fn find(&self, label: &str) -> Option<usize> {
        self.list.iter().position(|treatment| treatment.label == label)
    }

    pub(super) fn labels(&self) -> String {
        self.list.iter().map(|treatment| treatment.label.as_str()).collect::<Vec<_>>().join(", ")
    }
}

/// Levels inside the factorial: a control that stands beside it is not one of them.
fn levels_of(request: &LayoutRequest, factor: &LayoutFactor) -> Vec<String> {
    let beside = request
        .control
        .as_ref()
        .filter(|control| control.beside_factorial && control.factor == factor.name);
    factor
        .levels
        .iter()
        .filter(|level| beside.is_none_or(|control| control.level != **level))
        .cloned()
        .collect()
}

/// Levels of a factor, the control beside the factorial too, that are numbers, with their amounts.
fn amounts(request: &LayoutRequest, factor: &LayoutFactor) -> Vec<(String, f64)> {
    let control = request.control.iter().filter(|control| control.factor == factor.name);
    let levels = factor.levels.iter().chain(control.map(|control| &control.level));
    levels.filter_map(|level| Some((level.clone(), level.parse().ok()?))).collect()
}

/// Those of a factor of fractions.
fn fractions(request: &LayoutRequest, factor: &LayoutFactor) -> Vec<(String, f64)> {
    if factor.is_fraction() { amounts(request, factor) } else { Vec::new() }
}

/// Two levels that are one amount in different writing, such as 0.30 and 0.300.
fn same_amount(request: &LayoutRequest, factor: &LayoutFactor) -> Option<(String, String)> {
    factor.unit.as_ref()?;
    let amounts = amounts(request, factor);
    let pairs = amounts
        .iter()
        .enumerate()
        .flat_map(|(at, first)| amounts[at + 1..].iter().map(move |second| (first, second)));
    let mut same = pairs.filter(|((a, x), (b, y))| a != b && x == y);
    same.next().map(|((first, _), (second, _))| (first.clone(), second.clone()))
}

/// Cautions about levels that remove nearly the whole canopy.
pub(super) fn hard_cuts(request: &LayoutRequest) -> Vec<String> {
    let hard = request.factors.iter().flat_map(|factor| {
        let levels: BTreeSet<String> = fractions(request, factor)
            .into_iter()
            .filter_map(|(level, amount)| (amount > HARD).then_some(level))
            .collect();
        (!levels.is_empty()).then(|| (factor, levels.into_iter().collect::<Vec<_>>().join(", ")))
    });
    hard.map(|(factor, levels)| {
        say!(
            "Caution: more than {share:.0} % of the canopy is removed at {factor} {levels}. A tree cut so hard may die or bear nothing for years: let someone who knows these trees decide before they are cut.",
            share = 100.0 * HARD,
            factor = crate::name_in_words(&factor.name)
        )
    })
    .collect()
}

fn strata_of(design: TrialDesign) -> &'static [PlotOf] {
    match design {
        TrialDesign::SplitPlot | TrialDesign::StripPlot => &[PlotOf::MainPlots, PlotOf::SubPlots],
        TrialDesign::SplitSplitPlot => &[PlotOf::MainPlots, PlotOf::SubPlots, PlotOf::SubSubPlots],
        _ => &[PlotOf::Plots],
    }
}

fn word(stratum: PlotOf) -> &'static str {
    match stratum {
        PlotOf::Plots => "plots",
        PlotOf::MainPlots => "main_plots",
        PlotOf::SubPlots => "sub_plots",
        PlotOf::SubSubPlots => "sub_sub_plots",
    }
}

fn plots_named(stratum: PlotOf) -> &'static str {
    match stratum {
        PlotOf::Plots => "plots",
        PlotOf::MainPlots => "main plots",
        PlotOf::SubPlots => "sub plots",
        PlotOf::SubSubPlots => "sub-sub plots",
    }
}

/// Fraction of the canopy beyond which a cut is named as dangerous to the tree.
const HARD: f64 = 0.8;
/// Days before the flush from which a cut is no longer one for its crop: the harvest before lies between.
const MOST_LEAD: f64 = 300.0;
/// More treatments than any trial has.
const MOST_TREATMENTS: usize = 5_000;

/// Columns that the trial table has for itself.
const TAKEN: [&str; 9] =
    ["trial", "tree", "replicate", "block", "main_plot", "sub_plot", "plot", "row", "column"];

fn check_factors(request: &LayoutRequest) -> Result<(), LayoutError> {
    let mut names = BTreeSet::new();
    for (entry, factor) in request.factors.iter().enumerate() {
        if factor.name.trim().is_empty() || TAKEN.contains(&factor.name.as_str()) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("`{}` cannot name a factor", factor.name),
                format!("the trial table uses {} itself", TAKEN.join(", ")),
            ));
        }
        if !names.insert(&factor.name) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("factor {} is given twice", factor.name),
                "join its levels in one entry",
            ));
        }
        let levels: BTreeSet<_> = factor.levels.iter().collect();
        if levels.len() < factor.levels.len() {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("factor {} has a level twice", factor.name),
                "give each level once",
            ));
        }
        if factor.levels.iter().any(|level| level.trim().is_empty()) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("factor {} has an empty level", factor.name),
                "give every level a name or an amount",
            ));
        }
        if let Some((first, second)) = same_amount(request, factor) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!(
                    "levels {first} and {second} of factor {} are the same amount",
                    factor.name
                ),
                "give each amount once, written in one way",
            ));
        }
        let inside = levels_of(request, factor).len();
        if inside < 2 && !(inside == 1 && request.control.is_some()) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("factor {} has {inside} level(s): nothing to compare", factor.name),
                "give it two levels or more, or leave it out",
            ));
        }
        if factor.unit.as_deref().is_some_and(records::is_per_cent) {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("the levels of factor {} are in per cent", factor.name),
                "write unit = \"fraction\" and the levels as fractions, 0.15 for 15 per cent",
            ));
        }
        let is_number = |level: &String| level.parse::<f64>().is_ok_and(f64::is_finite);
        if factor.unit.is_none() && factor.names_intensity() && factor.levels.iter().all(is_number)
        {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("the levels of factor {} are numbers without a unit", factor.name),
                "write unit = \"fraction\" and the levels as fractions of the canopy, 0.15 for 15 per \
                 cent; levels that are names need letters, such as \"light\"",
            ));
        }
        if factor.unit.is_some()
            && let Some(level) = levels_of(request, factor).iter().find(|level| !is_number(level))
        {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("level `{level}` of factor {} is no amount", factor.name),
                if factor.is_fraction() {
                    "write fractions as numbers, 0.15 for 15 per cent, or leave `unit` out"
                } else {
                    "write amounts as numbers with a decimal point, or leave `unit` out"
                },
            ));
        }
        if let Some((level, amount)) =
            fractions(request, factor).into_iter().find(|(_, amount)| !(0.0..=1.0).contains(amount))
        {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!("level {level} of factor {} is no fraction from 0 to 1", factor.name),
                if amount > 1.0 && amount <= 100.0 {
                    format!(
                        "its unit is `fraction`: write {} for {level} per cent, and so on",
                        // Dividing adds digits that nobody typed.
                        (amount * 1e8).round() / 1e10
                    )
                } else {
                    "its unit is `fraction`: write 0.15 for 15 per cent, and so on".to_owned()
                },
            ));
        }
        let beyond = |amount: f64| !(-MOST_LEAD..=MOST_LEAD).contains(&amount);
        if factor.is_lead()
            && let Some((level, _)) =
                amounts(request, factor).into_iter().find(|(_, amount)| beyond(*amount))
        {
            return Err(LayoutError::entry(
                "factors",
                entry,
                format!(
                    "level {level} of factor {} is no number of days before the flush",
                    factor.name
                ),
                format!(
                    "write days from pruning to the start of the flush, {MOST_LEAD} at most; negative \
                     ones are days after its start"
                ),
            ));
        }
    }
    if !request.checks.is_empty() && request.design != TrialDesign::AugmentedBlocks {
        return Err(LayoutError::request(
            "checks",
            "checks belong to augmented blocks",
            "leave them out, or change the design",
        ));
    }
    if let Some(control) = &request.control {
        let Some(factor) = request.factors.iter().find(|factor| factor.name == control.factor)
        else {
            return Err(LayoutError::request(
                "control",
                format!("factor {} is not among the factors", control.factor),
                "name one of the factors",
            ));
        };
        if !control.beside_factorial && !factor.levels.contains(&control.level) {
            return Err(LayoutError::request(
                "control",
                format!("`{}` is no level of {}", control.level, control.factor),
                "name one of its levels, or set `beside_factorial = true`",
            ));
        }
        if control.beside_factorial
            && factor.unit.is_some()
            && !control.level.parse::<f64>().is_ok_and(f64::is_finite)
        {
            return Err(LayoutError::request(
                "control",
                format!("`{}` is no amount of {}", control.level, control.factor),
                "give the control an amount such as 0, or a factor of its own with names",
            ));
        }
        if control.beside_factorial && strata_of(request.design).len() > 1 {
            return Err(LayoutError::request(
                "control",
                "a control beside the factorial has no place in split or strip plots",
                "make it a level of the main or sub factor, or choose randomised blocks",
            ));
        }
    }
    Ok(())
}
