//! How a run computed its numbers: words and tables for the report, everything for `fit.json`.

mod calibration;
mod curve;
mod economics;
mod history;
mod limits;

use super::Checked;
use super::advice::Advised;
use super::laterals::{self, Counted};
use crate::console::Failure;
use ingest_tables::Draw;
use mixed::{Contrast, JointTest, Status, VarianceComponent};
use model::{HabitStatus, term_in_words};
use report::{CoefficientRow, Method, MethodItem, SpreadRow};
use serde_json::{Value, json};
use words::{counted, grouped, say, text, with_mark};

/// Level of the limits of coefficients.
const LEVEL: f64 = 0.95;

/// Words and tables of the method.
pub fn method(checked: &Checked, advised: &Advised, counted: &Counted) -> Method {
    let model = &advised.model;
    let mut sentences = sentences(checked, advised);
    sentences.extend(laterals::sentences(counted));
    Method {
        sentences,
        coefficients: coefficients(advised),
        spreads: spreads(advised),
        status: status(model.fit.status()),
        limits: limits::limits(checked, advised),
        df_method: say!("Satterthwaite"),
        scale: model.scale.name().to_owned(),
        rows_used: model.rows.used,
        rows_dropped: model.rows.left_out.clone(),
    }
}

fn item(id: &'static str, heading: &str, text: String) -> MethodItem {
    MethodItem { id, heading: heading.to_owned(), text }
}

fn sentences(checked: &Checked, advised: &Advised) -> Vec<MethodItem> {
    let book = &checked.tables.book;
    let model = &advised.model;
    let picks = &checked.linked.summary;
    let mut items = vec![item(
        "tree-seasons",
        text!("Tree-seasons"),
        say!(
            "Picks of one tree in one harvest window are added up after bringing them to {} % moisture: kg x (100 - moisture) / (100 - reference). {} picks carried no moisture and were taken at {}. Several prunings before one harvest combine as 1 - (1 - a)(1 - b), with the intensity-weighted mean date. Lead is the number of days from that date to the region's expected flush start.",
            book.book.reference_moisture_pct,
            picks.picks_at_default_moisture + picks.picks_at_reference_moisture,
            book.book
                .default_moisture_pct
                .map_or_else(|| say!("the reference moisture"), |moisture| format!("{moisture} %"))
        ),
    )];
    if let Some(draw) = &checked.tables.draw {
        let number = |count: usize| grouped(&count.to_string());
        let ((trees, all_trees), (sites, all_sites)) = (draw.trees(), draw.sites());
        let passed_over: u64 = checked.tables.files.iter().map(|file| file.rows_not_drawn).sum();
        items.push(item(
            "trees-drawn",
            text!("Trees drawn"),
            say!(
                "{:.1} % of the trees were asked for: the records of {} of {} trees are used, those of every tree of a trial among them; {} of other trees are counted and passed over. The draw has two stages (Cochran 1977): sites of each region, at least twenty of them, here {} of {}, and trees within these sites, both by their ids, trees with all their seasons. What a region can tell is limited by its seasons, sites and blocks before it is by the trees in them, and the intervals are as wide as the trees drawn make them. Blocks are ranked and trees looked at among those drawn; the work plan holds all trees.",
                100.0 * draw.share(),
                number(trees),
                number(all_trees),
                counted(passed_over, text!("row"), text!("rows")),
                number(sites),
                number(all_sites)
            ),
        ));
    }
    items.extend([
        item("response", text!("Response"), response(advised)),
        item("surface", text!("Pruning surface"), curve::surface(advised)),
        item("shape", text!("Shape of the curve"), curve::shape(advised)),
        item("habit", text!("Cause or habit"), habit(checked, advised)),
        item("alternation", text!("Alternate bearing"), history::alternation(checked, advised)),
        item("carry-over", text!("Carry-over"), history::carry_over(checked, advised)),
        item("left-out-seasons", text!("Left-out seasons"), challenger(advised)),
        item("integration", text!("Integration"), integration(advised)),
        item(
            "optimum",
            text!("Optimum, band and odds"),
            say!(
                "For each of {} posterior draws the surface is turned into expected kilograms without retransformation bias, and searched over the intensities and leads that the region's records span (extremes count when at least five tree-seasons reach them). Odds are shares of draws. The band holds the intensities whose expected net return is within {} % of the best. The advice keeps to the region's median lead unless another one earns more with at least 97.5 % probability and by more than that tolerance: the best of many dates looks better than it is. The window holds the dates whose expected net return at that intensity is within the same tolerance, two weeks of those tried at the least (our own rule), and lies in the region's rest where some of it does.",
                advised.settings.draws,
                book.options.tolerance_pct
            ),
        ),
        item("calibration", text!("Do the odds hold?"), calibration::calibration()),
        item("money", text!("Price and cost"), economics::sentence(checked, advised)),
        item("work-plan", text!("Work plan"), economics::PLAN.get().to_owned()),
        item(
            "verdict",
            text!("Verdict"),
            say!(
                "keep: the expected gain of the best supported practice over present practice is at most {0} % of the best net return, and a gain of twice that has less than a 20 % chance. prune: the expected gain exceeds {0} % and the chance of earning more is at least 90 %. trial: fewer than 10 trees, 2 seasons or 20 pruned tree-seasons, fewer than 3 distinct intensities or a span of less than 10 % of the canopy, a best intensity that lies at an edge of the tested range in more than a quarter of the draws, pruning that follows the tree so closely that cause and habit cannot be told apart, a model that found no optimum, or odds that suffice for neither. Where only the edge of the tested range or the odds stand in the way, the expected gain exceeds {0} % and the chance of earning more is at least 75 %, the best supported practice is named as what to follow until the trial is read: something has to be done in the seasons that a trial takes, and it is the better bet.",
                book.options.tolerance_pct
            ),
        ),
        item(
            "turning-point",
            text!("Turning-point set"),
            say!(
                "Beside the draws, the turning point of each region's own unpooled curve is bounded by inverting the t test that the slope is zero (Fieller 1954), with Satterthwaite degrees of freedom computed anew at every intensity, at level {}. The set may be an interval, two rays or the whole line, and is not limited to the tested range.",
                with_mark(&book.options.level.to_string())
            ),
        ),
    ]);
    if !model.left_out.is_empty() {
        items.push(item(
            "left-out",
            text!("Left out of the model"),
            format!("{}.", model.left_out.join("; ")),
        ));
    }
    items
}

fn response(advised: &Advised) -> String {
    let evidence: Vec<String> = advised
        .model
        .scale_evidence
        .iter()
        .map(|(scale, loglik)| say!("{} {loglik:.1}", scale.name()))
        .collect();
    let chosen = advised.model.scale.name();
    if evidence.is_empty() {
        say!("The {chosen} is modelled, as book.toml says.")
    } else {
        say!(
            "The {chosen} is modelled: it has the highest maximised log-likelihood of the yields in kg (Box and Cox 1964) among {}.",
            evidence.join(", ")
        )
    }
}

/// How the fit ended, in words.
fn status(ended: &Status) -> String {
    match ended {
        Status::Interior => say!("the estimate lies inside the parameter space"),
        Status::Boundary { terms } => say!(
            "the likelihood is highest with no spread in {}; see the upper limits",
            terms.join(", ")
        ),
        Status::Unidentified { columns } => {
            say!("the records cannot tell {} from the other columns", columns.join(", "))
        }
        Status::NotConverged { reason } => say!("no minimum was reached: {reason}"),
    }
}

fn habit(checked: &Checked, advised: &Advised) -> String {
    let mut text = say!(
        "A tree's mean routine intensity enters as a column of its own in each region (Mundlak 1978), so the curve rests on what changed within trees and on randomised trials, not on which trees were chosen. Whether a tree's mean intensity tells its yield beyond that is tested before girth and the earlier crop are adjusted for."
    );
    for fit in &advised.model.regions {
        let name = checked.tables.book.region_name(&fit.region);
        let tested = advised.model.habit_tests.iter().find(|(region, _)| *region == fit.region);
        let words = match (fit.habit, tested.map(|(_, test)| test)) {
            (
                HabitStatus::Separated,
                Some(JointTest::Tested {
                    statistic, df_numerator, df_denominator, p_value, ..
                }),
            ) => {
                let reading = if *p_value < 0.05 {
                    text!(
                        "people pruned trees by their vigour, and a plain comparison of trees would mislead"
                    )
                } else {
                    text!("no sign that trees were chosen by their vigour")
                };
                say!(
                    "F({df_numerator:.0}, {df_denominator:.0}) = {statistic:.1}, {}: {reading}",
                    p_text(*p_value)
                )
            }
            (HabitStatus::Separated, _) => say!("habit and cause separated; not testable"),
            (HabitStatus::NoneSeen, _) => say!("trees do not differ in their mean intensity"),
            (HabitStatus::Randomised, _) => {
                say!("trial trees only: intensity was drawn by lot")
            }
            (HabitStatus::Unresolved, _) => {
                say!("each tree was always pruned alike: cause and habit cannot be told apart")
            }
        };
        text.push_str(&format!(" {name}: {words}."));
    }
    text
}

fn challenger(advised: &Advised) -> String {
    let score = match &advised.challenger {
        Ok(Some(score)) => score,
        Ok(None) => {
            return say!(
                "Fewer than three seasons can be scored, so the surface was not tried on seasons it had not seen."
            );
        }
        Err(error) => {
            return say!("The surface was not tried on seasons it had not seen: {error}.");
        }
    };
    let reading = if score.forest_is_better() {
        text!(
            "The forest predicts clearly better: the surface misses something, so look at the class means before trusting the curve."
        )
    } else {
        text!(
            "The forest does not predict clearly better, so the surface misses little that these records could show."
        )
    };
    say!(
        "Each of the last {} seasons was predicted from the others, by the surface and by a random forest on the same records. Root-mean-square error within site and season, on the model's scale: surface {:.4}, forest {:.4}, no differences between trees {:.4}. {reading}",
        score.seasons.len(),
        score.surface_rmse,
        score.forest_rmse,
        score.blank_rmse
    )
}

pub(super) fn p_text(p: f64) -> String {
    if p < 0.0001 { say!("p < 0.0001") } else { say!("p = {p:.4}") }
}

fn integration(advised: &Advised) -> String {
    let record = advised.model.posterior.record();
    say!(
        "The spreads are not fixed at their estimates but integrated out: {} nodes (effective number {:.0}) with half-normal priors on each spread relative to the residual, and independent draws of residual variance, coefficients and regional deviations at each node. The prior's scale is varied by half and double in fit.json.",
        record.nodes,
        record.effective_nodes
    )
}

fn coefficients(advised: &Advised) -> Vec<CoefficientRow> {
    let fit = &advised.model.fit;
    let names = fit.coefficient_names();
    (0..names.len())
        .map(|k| {
            let unit: Vec<f64> = (0..names.len()).map(|j| f64::from(u8::from(j == k))).collect();
            let term = term_in_words(&names[k]);
            match fit.contrast(&unit, LEVEL) {
                Ok(Contrast::Estimated(estimate)) => CoefficientRow {
                    term,
                    estimate: Some(estimate.estimate),
                    std_error: Some(estimate.std_error),
                    df: Some(estimate.df),
                    statistic: Some(estimate.statistic),
                    p_value: Some(estimate.p_value),
                    conf_low: Some(estimate.conf_low),
                    conf_high: Some(estimate.conf_high),
                },
                Ok(Contrast::NotEstimable) | Err(_) => {
                    CoefficientRow { term, ..CoefficientRow::default() }
                }
            }
        })
        .collect()
}

fn spreads(advised: &Advised) -> Vec<SpreadRow> {
    let Ok(components) = advised.model.fit.variance_components() else { return Vec::new() };
    let mut rows: Vec<SpreadRow> = components.factors.iter().flat_map(factor_spreads).collect();
    rows.push(SpreadRow {
        group: term_in_words("residual"),
        term: String::new(),
        sd: Some(components.residual),
        low: None,
        high: None,
        note: String::new(),
    });
    rows
}

fn factor_spreads(component: &VarianceComponent) -> Vec<SpreadRow> {
    component
        .effects
        .iter()
        .enumerate()
        .map(|(k, term)| {
            let upper = component.upper_limits.get(k).copied().flatten();
            SpreadRow {
                group: term_in_words(&component.factor),
                term: term_in_words(term),
                sd: component.standard_deviations.get(k).copied(),
                low: None,
                high: upper,
                note: if upper.is_some() {
                    say!("estimated at zero; upper one-sided 95 % limit by profile")
                } else {
                    String::new()
                },
            }
        })
        .collect()
}

/// Everything needed to judge and repeat the fit, as the text of `fit.json`.
///
/// # Errors
/// When the program broke a promise.
pub fn fit_json(
    checked: &Checked,
    advised: &Advised,
    counted: &Counted,
) -> Result<String, Failure> {
    let failed = |error: &dyn std::fmt::Display| {
        Failure::new(
            format!("internal error while describing the fit: {error}"),
            "this is a defect of the program; please report it",
        )
    };
    let model = &advised.model;
    let sensitivity = model.posterior.sensitivity().map_err(|error| failed(&error))?;
    let components = model.fit.variance_components().map_err(|error| failed(&error))?;
    let regions: Vec<Value> = model
        .regions
        .iter()
        .map(|region| {
            json!({
                "region": region.region, "rows": region.rows, "trees": region.trees,
                "seasons": region.seasons, "trial_rows": region.trial_rows,
                "pruned_rows": region.pruned_rows, "habit": region.habit,
                "support": region.support, "classes": region.classes,
            })
        })
        .collect();
    let habit: Vec<Value> = model
        .habit_tests
        .iter()
        .map(|(region, test)| json!({ "region": region, "test": test }))
        .collect();
    let value = json!({
        "version": env!("CARGO_PKG_VERSION"),
        "inputs_fingerprint": checked.tables.fingerprint(),
        "trees_drawn": checked.tables.draw.as_ref().map(Draw::share),
        "settings": advised.settings,
        "inputs": checked.tables.files.iter().map(|file| json!({
            "file": file.file, "fingerprint": file.fingerprint,
            "rows_read": file.rows_read, "rows_kept": file.rows_kept,
            "rows_not_drawn": file.rows_not_drawn,
        })).collect::<Vec<_>>(),
        "book": checked.tables.book,
        "practice": checked.linked.practice,
        "rows": model.rows,
        "scale": model.scale,
        "scale_evidence": model.scale_evidence,
        "left_out": model.left_out,
        "intensity_shapes": model.shapes,
        "lack_of_fit": model.lack_of_fit,
        "alternation": model.alternation.iter().map(|(region, effect)| json!({
            "region": region, "effect": effect,
        })).collect::<Vec<_>>(),
        "carry_over": model.carry_over,
        "status": model.fit.status(),
        "criterion": model.fit.criterion(),
        "loglik": model.fit.loglik(),
        "sigma": model.fit.sigma(),
        "theta": model.fit.theta(),
        "coefficients": model.fit.coefficients(),
        "spreads": components,
        "record": model.fit.record(),
        "integration": model.posterior.record(),
        "sensitivity": sensitivity,
        "habit_tests": habit,
        "left_out_seasons": advised.challenger.as_ref().ok(),
        "regions": regions,
        "costs": advised.costs,
        "laterals": laterals::fit_json(counted),
    });
    serde_json::to_string_pretty(&value).map(|text| text + "\n").map_err(|error| failed(&error))
}
