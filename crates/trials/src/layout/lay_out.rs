//! From a request and a seed to a layout.

use super::augmented;
use super::balance::{BalanceReport, Imbalance, means};
use super::draw::{Draw, GENERATOR};
use super::error::LayoutError;
use super::field::Slots;
use super::neighbours::Neighbours;
use super::plan::{Cell, Plan};
use super::request::{Blocking, Covariate, LayoutRequest};
use super::result::{Layout, LayoutPlot, LayoutTreatment, NewField, RestrictionReport};
use super::scheme::Scheme;
use super::treatments::{Treatments, hard_cuts};
use super::valid::Valid;
use records::TrialDesign;
use std::collections::BTreeSet;
use words::{counted, say, text};

/// Lays out a trial. The same request and seed give the same layout.
///
/// # Errors
/// A request that contradicts itself or the design, that does not fit the field (with the count
/// that fails), or whose restrictions no layout was found to honour.
pub fn lay_out(request: &LayoutRequest, seed: u64) -> Result<Layout, LayoutError> {
    if request.trial.trim().is_empty() {
        return Err(LayoutError::request("trial", "the trial has no id", "name it"));
    }
    let treatments = Treatments::of(request)?;
    let slots = Slots::of(request)?;
    let plan = Plan::of(request, &treatments, &slots)?;
    let scheme = Scheme::of(request, &treatments, &plan, &mut Draw::stream(seed, 0))?;
    let neighbours = Neighbours::of(request, &treatments, &slots, &plan)?;
    let mut valid = Valid::new(&scheme, neighbours.as_ref(), plan.cells.len());
    let mut draw = Draw::stream(seed, 1);
    let (assigned, balance) = match &request.balance {
        None => (valid.next(&mut draw)?, None),
        Some(balance) => {
            let imbalance = Imbalance::of(request, balance, &treatments, &slots, &plan)?;
            let (assigned, mut report) =
                rerandomise(balance.acceptance, &imbalance, &mut valid, &mut draw)?;
            report.on.clone_from(&balance.on);
            report.means = means(balance, &treatments, &slots, &plan, &assigned);
            (assigned, Some(report))
        }
    };
    let restrictions = neighbours.as_ref().map(|neighbours| RestrictionReport {
        neighbouring_pairs: neighbours.pairs(),
        tried: valid.tried,
        valid: valid.kept,
        by_chain: valid.by_chain(),
    });
    let checks = if request.design == TrialDesign::AugmentedBlocks {
        augmented::checks(request, &treatments)?
    } else {
        vec![false; treatments.list.len()]
    };
    let listed = treatments
        .list
        .iter()
        .zip(checks)
        .enumerate()
        .map(|(index, (treatment, check))| LayoutTreatment {
            label: treatment.label.clone(),
            levels: treatment.levels.clone(),
            plots: assigned.iter().filter(|at| **at == index).count(),
            check,
        })
        .collect();
    let mut layout = Layout {
        trial: request.trial.clone(),
        site: request.at_site().map(str::to_owned),
        title: request.title.clone(),
        design: request.design,
        seed,
        generator: GENERATOR.to_owned(),
        factors: request.factors.clone(),
        control: request.control.clone(),
        treatments: listed,
        plots: plots(request, &slots, &plan, &assigned),
        new_field: new_field(request),
        spare_plots: slots.list.len() - plan.cells.len(),
        guards: slots.guards,
        left_over: slots.left,
        first_harvest: None,
        gone: request.field.gone.clone(),
        leads: Vec::new(),
        lead_words: String::new(),
        remarks: Vec::new(),
        picks_per_tree: request.picks_per_tree,
        latin: scheme.latin,
        blocks: scheme.blocks.as_ref().map(|(method, _)| *method),
        efficiency: scheme.blocks.as_ref().map(|(_, efficiency)| efficiency.clone()),
        restrictions,
        balance,
        traits: request.traits.clone(),
        methods: Vec::new(),
    };
    if !request.field.trees.is_empty() {
        // A block without a plot needs no guards.
        let used: BTreeSet<&str> = layout.plots.iter().map(|plot| plot.patch.as_str()).collect();
        let guards = std::mem::take(&mut layout.guards).into_iter();
        let (guards, apart): (Vec<_>, Vec<_>) =
            guards.partition(|tree| used.contains(tree.block.as_str()));
        layout.guards = guards;
        layout.left_over.extend(apart);
    }
    layout.methods = methods(request, &layout, &scheme.words);
    layout.methods.extend(hard_cuts(request));
    // Until a calendar is known, what a lead is.
    layout.date_leads(&[]);
    Ok(layout)
}

/// The block that a new grid will be. Text that says nothing counts as absent.
fn new_field(request: &LayoutRequest) -> Option<NewField> {
    let field = &request.field;
    let stated = |text: &Option<String>| {
        text.as_deref().map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned)
    };
    field.rows.and(field.columns).map(|_| NewField {
        block: stated(&field.block).unwrap_or_else(|| request.own_id()),
        site: stated(&field.site).or_else(|| request.at_site().map(str::to_owned)),
        region: stated(&field.region),
    })
}

/// Draws until the imbalance is within the share of layouts that is accepted; the threshold is the
/// quantile of draws made for it alone, so that it holds for every design and restriction.
fn rerandomise(
    acceptance: f64,
    imbalance: &Imbalance,
    valid: &mut Valid<'_>,
    draw: &mut Draw,
) -> Result<(Vec<usize>, BalanceReport), LayoutError> {
    let wanted = (20.0 / acceptance).ceil().clamp(400.0, 20_000.0);
    // A whole number between 400 and 20000.
    let calibration_draws = wanted as usize;
    let mut seen = Vec::with_capacity(calibration_draws);
    for _ in 0..calibration_draws {
        seen.push(imbalance.at(&valid.next(draw)?));
    }
    let usual_imbalance = seen.iter().sum::<f64>() / wanted;
    seen.sort_by(f64::total_cmp);
    let rank = ((acceptance * wanted).ceil() as usize).clamp(1, calibration_draws) - 1;
    // Rounding in the last place must not shut out layouts as good as those of the calibration.
    let threshold = if acceptance >= 1.0 {
        f64::MAX
    } else {
        seen.get(rank).map_or(f64::MAX, |value| value * (1.0 + 1e-9) + 1e-12)
    };
    let most = (200.0 / acceptance).ceil() as usize;
    for draws in 1..=most {
        let assigned = valid.next(draw)?;
        let at = imbalance.at(&assigned);
        if at <= threshold {
            let report = BalanceReport {
                on: Vec::new(),
                acceptance,
                calibration_draws,
                threshold: if acceptance >= 1.0 {
                    seen.last().copied().unwrap_or(at).max(at)
                } else {
                    threshold
                },
                usual_imbalance,
                draws,
                imbalance: at,
                means: Vec::new(),
            };
            return Ok((assigned, report));
        }
    }
    Err(LayoutError::Restriction {
        problem: format!("{most} layouts were drawn and none was balanced enough"),
        hint: "accept a larger share".to_owned(),
    })
}

fn plots(
    request: &LayoutRequest,
    slots: &Slots,
    plan: &Plan,
    assigned: &[usize],
) -> Vec<LayoutPlot> {
    use TrialDesign as D;
    let design = request.design;
    let largest = plan.cells.iter().map(|cell| cell.replicate).max().unwrap_or(0) + 1;
    let size = plan.cells.len().div_ceil(largest);
    let width = size.to_string().len().max(2);
    let digits = largest.to_string().len();
    let mut within = vec![0; largest];
    let mut of_treatment = vec![0; assigned.iter().max().map_or(0, |max| max + 1)];
    let one = |stem: &str, index: usize| format!("{stem}{}", index + 1);
    let mut plots = Vec::with_capacity(plan.cells.len());
    for (cell, &treatment) in plan.cells.iter().zip(assigned) {
        let Cell { replicate, main, sub, .. } = *cell;
        let slot = &slots.list[cell.slot];
        within[replicate] += 1;
        of_treatment[treatment] += 1;
        let named = one("R", replicate);
        let number = within[replicate];
        let plot = match design {
            D::CompletelyRandomised => format!("P{number:0width$}"),
            _ => format!("P{:0digits$}{number:0width$}", replicate + 1),
        };
        let strip = design == D::StripPlot;
        plots.push(LayoutPlot {
            plot,
            patch: slot.patch.clone(),
            row: slots.placed.then_some(slot.row + 1),
            column: slots.placed.then_some(slot.column + 1),
            replicate: match design {
                D::CompletelyRandomised => one("R", of_treatment[treatment] - 1),
                D::AugmentedBlocks => one("B", replicate),
                _ => named.clone(),
            },
            block: match design {
                D::IncompleteBlocks => Some(format!("{named}-{}", one("B", main))),
                D::AugmentedBlocks => Some(one("B", replicate)),
                _ => None,
            },
            main_plot: matches!(design, D::SplitPlot | D::SplitSplitPlot | D::StripPlot)
                .then(|| format!("{named}-{}", one("M", main))),
            sub_plot: match design {
                D::SplitSplitPlot => Some(format!("{named}-{}-{}", one("M", main), one("S", sub))),
                _ if strip => Some(format!("{named}-{}", one("S", sub))),
                _ => None,
            },
            square_row: (design == D::LatinSquare).then_some(main + 1),
            square_column: (design == D::LatinSquare).then_some(sub + 1),
            treatment,
            trees: slot.trees.clone(),
            border: slot.border.clone(),
            earlier_crop: slot.before.get(&Covariate::EarlierCrop).copied().flatten(),
            girth_cm: slot.before.get(&Covariate::GirthCm).copied().flatten(),
        });
    }
    plots
}

fn methods(request: &LayoutRequest, layout: &Layout, words: &str) -> Vec<String> {
    let mut said =
        vec![say!("Randomisation: {words} (generator {GENERATOR}, seed {}).", layout.seed)];
    match request.blocking {
        Blocking::Position => {}
        Blocking::PlantationBlock => {
            said.push(say!("Each replicate lies within one plantation block."));
        }
        Blocking::EarlierCrop => said.push(say!(
            "Blocks hold plots of like earlier crop, sorted and cut, wherever they stand."
        )),
        Blocking::Girth => {
            said.push(say!("Blocks hold plots of like girth, sorted and cut, wherever they stand."))
        }
    }
    if !layout.gone.is_empty() {
        said.push(said_of_gone(&layout.gone));
    }
    if let Some(efficiency) = &layout.efficiency {
        said.push(say!(
                "Average efficiency factor of the incomplete blocks {:.4} (no such design exceeds {:.4}).",
            efficiency.average, efficiency.upper_bound
        ));
    }
    if let Some(report) = &layout.restrictions {
        said.push(if report.by_chain {
            say!("Neighbour restrictions: valid layouts were too rare to draw afresh, so this one comes from a long chain of random exchanges among valid layouts.")
        } else {
            say!(
                "Neighbour restrictions: fresh randomisations were drawn until one honoured them ({} of {}), all valid layouts being equally likely.",
                report.valid, report.tried
            )
        });
    }
    if let Some(report) = &layout.balance {
        let on: Vec<String> =
            report.on.iter().map(|covariate| crate::name_in_words(covariate.as_str())).collect();
        said.push(say!(
                "Rerandomised on {} (Morgan and Rubin 2012): the most balanced {} % of layouts by Mahalanobis distance were accepted, each of them equally likely. The test of treatments stays valid, and the analysis includes the covariate: without it the error would be stated too large.",
            on.join(text!(" and ")),
            percent(report.acceptance)
        ));
    }
    said
}

/// Ids of trees that a sentence names.
const NAMED: usize = 6;

/// That trees which no longer stand were left out.
fn said_of_gone(gone: &[String]) -> String {
    let mut named: Vec<String> = gone.iter().take(NAMED).cloned().collect();
    if gone.len() > NAMED {
        named.push(say!("{} more", gone.len() - NAMED));
    }
    say!(
        "Left out as no longer standing, by the tree table's status: {} ({}).",
        counted(gone.len() as u64, text!("tree"), text!("trees")),
        named.join(", ")
    )
}

fn percent(share: f64) -> String {
    let text = format!("{:.2}", 100.0 * share);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
