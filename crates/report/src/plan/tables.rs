//! The tables of the plan: blocks, materials, shopping, tools, alarms and missing settings.

use super::cells::{number, share, whole, word};
use super::titles::title;
use super::{PlanCell, PlanOf, Sheet};
use crate::dictionary::{plan_table_fields, work_plan_fields};
use records::MeasuredAs;
use std::collections::BTreeMap;
use words::text;
use workplan::crew_sheet::{InTrial, Work};
use workplan::plan::{CrewSchedule, Plan, PlannedBlock};
use workplan::products::{Dose, Quantity, Stuff, WaitingTime};
use workplan::text::{Catalogue, Key};
use workplan::tools::ToolKind;

/// Word of a block's work in the tables.
fn action(work: &Work) -> &'static str {
    match work {
        Work::Prune(how_much) | Work::Keep(how_much) if how_much.intensity <= 0.0 => "leave",
        Work::Prune(_) => "prune",
        Work::Keep(_) => "keep",
        Work::Trial(_) => "trial",
        Work::Train { .. } => "train",
        Work::OfTrials => "of_trials",
    }
}

/// How an intensity is measured.
fn basis(measured_as: MeasuredAs) -> PlanCell {
    let shown = match measured_as {
        MeasuredAs::CanopyFraction => text!("share of the canopy"),
        MeasuredAs::Shoots => text!("shoots cut of all shoots"),
        MeasuredAs::Spread => text!("size of the canopy before and after"),
        MeasuredAs::HeadedLength => text!("length cut of the length of shoots"),
    };
    word(measured_as.as_str(), shown)
}

/// A tool: those of common practice have a name in each language, the book's own are as they are.
fn tool_cell(tool: &str) -> PlanCell {
    word(tool, workplan::tools::name(tool, &Catalogue::spoken()))
}

/// What is bought, in words.
pub fn stuff(stuff: &Stuff) -> &str {
    match stuff {
        Stuff::CopperSulphate => text!("copper sulphate"),
        Stuff::HydratedLime => text!("hydrated lime"),
        Stuff::Product(name) => name,
    }
}

/// Every table, the plan of the blocks first.
#[must_use]
pub fn sheets(plan: &Plan) -> Vec<Sheet> {
    vec![
        Sheet {
            name: text!("Work plan"),
            file: "workplan.csv",
            heads: work_plan_fields().iter().map(|field| field.column).collect(),
            titles: work_plan_fields().iter().map(|field| title(field.column)).collect(),
            rows: plan.blocks.iter().map(line).collect(),
        },
        sheet(text!("Materials by block"), "materials.csv", materials(plan)),
        sheet(text!("Shopping list"), "shopping.csv", shopping(plan)),
        sheet(text!("Tools"), "tools.csv", tools(plan)),
        sheet(text!("Alarms"), "alarms.csv", alarms(plan)),
        sheet(text!("Missing settings"), "missing.csv", missing(plan)),
    ]
}

fn sheet(name: &'static str, file: &'static str, rows: Vec<Vec<PlanCell>>) -> Sheet {
    let fields = plan_table_fields().iter().filter(|field| field.path == file);
    let heads: Vec<&str> = fields.map(|field| field.column).collect();
    let titles = heads.iter().map(|column| title(column)).collect();
    Sheet { name, file, heads, titles, rows }
}

fn line(block: &PlannedBlock) -> Vec<PlanCell> {
    let sheet = &block.sheet;
    let how_much = sheet.instruction();
    let [start, end] = ends(sheet.scheduled);
    let [from, to] = ends(sheet.window);
    let mut cells = vec![
        block.region.as_str().into(),
        sheet.site.as_str().into(),
        sheet.block.as_str().into(),
        word(action(&sheet.work), crate::text::plan::action(&sheet.work)),
        share(how_much.map(|how_much| how_much.intensity)),
        how_much.map_or(PlanCell::Empty, |how_much| basis(how_much.measured_as)),
        from.into(),
        to.into(),
        start.into(),
        end.into(),
        share(sheet.left_undone),
        whole(sheet.trees),
        whole(sheet.trees_worked),
        number(block.minutes_per_tree, 1),
        number(block.hours, 1),
        number(sheet.person_days, 1),
        number(sheet.crew_size, 1),
        number(block.cost, 2),
        number(block.delay_loss_per_day, 2),
    ];
    cells.extend(block.cuts.map(|cuts| number(cuts, 0)));
    cells.push(number(sheet.stacked_m3, 1));
    cells.push(whole(block.haul.and_then(|haul| haul.loads)));
    let of_trials: Vec<&str> = sheet.in_trials.iter().map(|own| own.trial.as_str()).collect();
    cells.extend([
        number(block.wages, 2),
        number(block.materials, 2),
        number(block.haul.map(|haul| haul.cost), 2),
        number(block.haul.map(|haul| haul.value), 2),
        whole(sheet.in_trials.iter().map(InTrial::trees).sum::<u64>()),
        if of_trials.is_empty() { PlanCell::Empty } else { of_trials.join(" ").as_str().into() },
        number(sheet.youngest_recorded, 1),
    ]);
    cells
}

fn ends(span: Option<[jiff::civil::Date; 2]>) -> [Option<jiff::civil::Date>; 2] {
    [span.map(|span| span[0]), span.map(|span| span[1])]
}

fn materials(plan: &Plan) -> Vec<Vec<PlanCell>> {
    let rows = plan.blocks.iter().flat_map(|block| {
        block.sheet.quantities.iter().flat_map(move |quantity| {
            quantity.items.iter().map(move |item| {
                let sheet = &block.sheet;
                vec![
                    block.region.as_str().into(),
                    sheet.site.as_str().into(),
                    sheet.block.as_str().into(),
                    quantity.product.as_str().into(),
                    number(quantity.litres, 1),
                    whole(u64::from(quantity.applications)),
                    stuff(&item.stuff).into(),
                    number(item.amount, 3),
                    item.unit.symbol().into(),
                    dose(quantity.dose.as_ref()),
                    days(quantity.re_entry),
                    days(quantity.pre_harvest),
                ]
            })
        })
    });
    rows.collect()
}

fn dose(dose: Option<&Dose>) -> PlanCell {
    dose.map_or(PlanCell::Empty, |dose| match &dose.caution {
        Some(caution) => format!("{}; {caution}", dose.arithmetic).as_str().into(),
        None => dose.arithmetic.as_str().into(),
    })
}

fn days(time: WaitingTime) -> PlanCell {
    match time {
        WaitingTime::Days(days) => whole(u64::from(days)),
        WaitingTime::Missing => {
            word("missing: enter the label's", text!("missing: enter the label's"))
        }
    }
}

fn shopping(plan: &Plan) -> Vec<Vec<PlanCell>> {
    let rows = plan.shopping.iter().map(|purchase| {
        vec![
            stuff(&purchase.stuff).into(),
            number(purchase.needed, 3),
            purchase.unit.symbol().into(),
            number(purchase.package, 3),
            whole(purchase.packages),
            number(purchase.buy, 3),
        ]
    });
    rows.collect()
}

/// Tools of each crew: a crew takes them from block to block, so the most that any block needs.
fn tools(plan: &Plan) -> Vec<Vec<PlanCell>> {
    let mut needs: BTreeMap<(&str, &str), (ToolKind, Option<f64>, u64)> = BTreeMap::new();
    for block in &plan.blocks {
        let own = plan.crews.iter().any(|crew| crew.site.as_deref() == Some(&*block.sheet.site));
        let crew = if own { block.sheet.site.as_str() } else { "" };
        for need in &block.sheet.tools {
            let entry = needs.entry((crew, &need.tool)).or_insert((need.kind, None, 0));
            entry.1 = match (entry.1, need.cuts) {
                (None, cuts) | (cuts, None) => cuts,
                (Some(a), Some(b)) => Some(a + b),
            };
            entry.2 = entry.2.max(need.pieces);
        }
    }
    let kind = |kind| match kind {
        ToolKind::Hand => word("hand", text!("hand tool")),
        ToolKind::Pole => word("pole", text!("pole tool")),
        ToolKind::Power => word("power", text!("power tool")),
    };
    needs
        .into_iter()
        .map(|((crew, tool), (danger, cuts, pieces))| {
            vec![
                crew_name(Some(crew).filter(|crew| !crew.is_empty()), plan).into(),
                tool_cell(tool),
                kind(danger),
                whole(pieces),
                number(cuts, 0),
            ]
        })
        .collect()
}

/// A crew by its site, or the book's own, which is that of all sites where none has one.
pub fn crew_name<'a>(site: Option<&'a str>, plan: &Plan) -> &'a str {
    let alone = plan.crews.iter().all(|crew| crew.site.is_none());
    site.unwrap_or(if alone { text!("all sites") } else { text!("all other sites") })
}

fn alarms(plan: &Plan) -> Vec<Vec<PlanCell>> {
    let rows = plan.crews.iter().flat_map(|CrewSchedule { site, crew, schedule, .. }| {
        schedule.alarm.iter().flat_map(move |alarm| {
            alarm.drop.iter().map(move |dropped| {
                vec![
                    crew_name(site.as_deref(), plan).into(),
                    number(crew.crew_size, 1),
                    Some(alarm.from).into(),
                    Some(alarm.to).into(),
                    number(alarm.needed, 1),
                    number(alarm.available, 1),
                    whole(alarm.people_needed),
                    dropped.block.as_str().into(),
                    number(dropped.person_days, 1),
                    share(dropped.share),
                    number(dropped.loss, 2),
                ]
            })
        })
    });
    rows.collect()
}

fn missing(plan: &Plan) -> Vec<Vec<PlanCell>> {
    let row = |error: &workplan::SettingError| -> Vec<PlanCell> {
        [&error.key, &error.what, &error.remedy].map(|text| text.as_str().into()).to_vec()
    };
    plan.missing.iter().map(row).collect()
}

/// Every caution that the work of any block calls for, in the order of the catalogue.
#[must_use]
pub fn cautions(of: &PlanOf<'_>) -> Vec<String> {
    keys(of.plan).into_iter().map(|key| of.words.text(key).to_owned()).collect()
}

fn keys(plan: &Plan) -> Vec<Key> {
    let mut keys: Vec<Key> = plan.blocks.iter().flat_map(|block| block.sheet.cautions()).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

/// The two waiting times of every product used, once each.
pub fn waiting_times(plan: &Plan, words: &Catalogue) -> Vec<(String, [String; 2])> {
    let mut seen: BTreeMap<&str, &Quantity> = BTreeMap::new();
    for quantity in plan.blocks.iter().flat_map(|block| &block.sheet.quantities) {
        seen.entry(&quantity.product).or_insert(quantity);
    }
    seen.into_iter()
        .map(|(name, quantity)| (name.to_owned(), workplan::safety::waiting_times(quantity, words)))
        .collect()
}
