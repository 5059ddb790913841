//! The work plan: blocks, alarms, shopping list, tools, missing settings and cautions.

use super::table::{Cell, Table};
use crate::content::Report;
use crate::number::{DASH, count, counted, date, fixed, optional, percent, span};
use crate::outputs::plan_of;
use crate::plan::{PlanCell, cautions, crew_name, sheets, stuff, waiting_times};
use crate::text::plan as text;
use jiff::civil::Date;
use workplan::plan::PlannedBlock;

/// Most blocks on the page; the sheets hold them all.
const SHOWN: usize = 200;

/// The section as the template takes it.
pub struct WorkView {
    /// What each block gets.
    pub blocks: Table,
    /// That the table is cut short; empty when it is not.
    pub more: String,
    /// What the windows cannot hold, a sentence per crew.
    pub alarms: Vec<String>,
    /// What is said when there is no alarm.
    pub no_alarm: &'static str,
    /// What to buy.
    pub shopping: Table,
    /// Tools of each crew.
    pub tools: Table,
    /// Settings that are missing or refused.
    pub missing: Table,
    /// Waiting times of products, a line per product.
    pub waiting: Vec<String>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// The section.
pub fn work(report: &Report) -> WorkView {
    let plan = &report.plan;
    let all = plan.blocks.len();
    let of = plan_of(report);
    let scheduled = plan.crews.iter().any(|crew| !crew.schedule.days.is_empty());
    WorkView {
        blocks: blocks(report),
        more: if all > SHOWN { text::more(SHOWN, all) } else { String::new() },
        alarms: alarms(report),
        no_alarm: if scheduled { text::NO_ALARM } else { text::NO_CREW },
        shopping: shopping(report),
        tools: tools(report),
        missing: missing(report),
        waiting: waiting_times(plan, &of.words)
            .into_iter()
            .map(|(product, [re_entry, harvest])| format!("{product}: {re_entry} {harvest}"))
            .collect(),
        cautions: cautions(&of),
    }
}

fn blocks(report: &Report) -> Table {
    let mut table = Table::new(
        "What each block gets",
        &[
            "Block",
            "Site (region)",
            "Work",
            "#Remove",
            "Days of work",
            "Window",
            "#Trees",
            "#Person-days",
            "#Cut wood (m³)",
            &format!("#Cost ({})", report.advice.currency),
            &format!("#A day late costs ({})", report.advice.currency),
        ],
    );
    table.cards = true;
    for block in report.plan.blocks.iter().take(SHOWN) {
        let sheet = &block.sheet;
        let days = |days: Option<[Date; 2]>| {
            days.map_or_else(|| DASH.to_owned(), |[from, to]| short_span(from, to))
        };
        table.row::<Cell>([
            sheet.block.as_str().into(),
            place(&sheet.site, &sheet.region).into(),
            text::action(&sheet.work).into(),
            sheet
                .instruction()
                .map_or_else(|| DASH.to_owned(), |how_much| percent(how_much.intensity))
                .into(),
            left(block, days(sheet.scheduled)).into(),
            days(sheet.window).into(),
            trees(block).into(),
            optional(sheet.person_days, 1).into(),
            optional(sheet.stacked_m3, 1).into(),
            optional(block.cost, 2).into(),
            fixed(block.delay_loss_per_day, 2).into(),
        ]);
    }
    table
}

/// Site with its region, unless its name says it.
fn place(site: &str, region: &str) -> String {
    if site.contains(region) { site.to_owned() } else { format!("{site} ({region})") }
}

/// A span of days, the month written once where possible.
fn short_span(from: Date, to: Date) -> String {
    if from == to {
        date(from)
    } else if (from.year(), from.month()) == (to.year(), to.month()) {
        format!("{} to {}", from.day(), date(to))
    } else {
        span(from, to)
    }
}

/// The days of work, and what of it does not fit.
fn left(block: &PlannedBlock, days: String) -> String {
    let share = block.sheet.left_undone;
    if share > 0.0 { format!("{days} ({} does not fit)", percent(share)) } else { days }
}

fn trees(block: &PlannedBlock) -> String {
    let (all, worked) = (block.sheet.trees, block.sheet.trees_worked);
    if all == worked { count(all) } else { format!("{} ({})", count(all), count(worked)) }
}

fn alarms(report: &Report) -> Vec<String> {
    let currency = &report.advice.currency;
    let crews = report.plan.crews.iter();
    crews
        .filter_map(|crew| {
            let alarm = crew.schedule.alarm.as_ref()?;
            let people = alarm.people_needed.map_or_else(
                || "Some window has no working day.".to_owned(),
                |people| format!("{} would do.", counted(people, "person", "people")),
            );
            let first: Vec<String> = alarm
                .drop
                .iter()
                .take(6)
                .map(|part| {
                    format!(
                        "{} ({} person-days, expected loss {} {currency})",
                        part.block,
                        fixed(part.person_days, 1),
                        fixed(part.loss, 2)
                    )
                })
                .collect();
            let rest = match alarm.drop.len().saturating_sub(first.len()) {
                0 => String::new(),
                more => format!("; {more} more in alarms.csv"),
            };
            Some(format!(
                "Crew of {} ({}): {} holds {} person-days of work, and the crew has {}. {people} Else leave undone first: {}{rest}. Expected loss by all of it: {} {currency}.",
                crew_name(crew.site.as_deref()),
                counted(crew.crew.crew_size.ceil() as u64, "person", "people"),
                span(alarm.from, alarm.to),
                fixed(alarm.needed, 1),
                fixed(alarm.available, 1),
                first.join(", "),
                fixed(alarm.loss, 2),
            ))
        })
        .collect()
}

fn shopping(report: &Report) -> Table {
    let mut table = Table::new(
        "What to buy for all blocks together",
        &["What", "#Needed", "#Package", "#Packages", "#Buy"],
    );
    for purchase in &report.plan.shopping {
        let unit = purchase.unit.symbol();
        let amount = |value: f64, decimals| format!("{} {unit}", fixed(value, decimals));
        table.row([
            stuff(&purchase.stuff).to_owned(),
            amount(purchase.needed, 2),
            purchase.package.map_or_else(|| DASH.to_owned(), |size| amount(size, 2)),
            purchase.packages.map_or_else(|| DASH.to_owned(), count),
            amount(purchase.buy, 2),
        ]);
    }
    table
}

fn tools(report: &Report) -> Table {
    let mut table = Table::new(
        "Tools to take along",
        &["Crew", "Tool", "Kind", "#Pieces", "#Cuts expected in all blocks"],
    );
    let all = sheets(&report.plan);
    for row in all.iter().filter(|sheet| sheet.file == "tools.csv").flat_map(|sheet| &sheet.rows) {
        table.row(row.iter().map(|cell| match cell {
            PlanCell::Text(text) => text.clone(),
            PlanCell::Number(value, decimals) => fixed(*value, usize::from(*decimals)),
            PlanCell::Day(day) => day.to_string(),
            PlanCell::Empty => DASH.to_owned(),
        }));
    }
    table
}

fn missing(report: &Report) -> Table {
    let mut table = Table::new("Missing or refused", &["Setting", "What is wrong", "What to do"]);
    table.cards = true;
    for error in &report.plan.missing {
        table.row([error.key.clone(), error.what.clone(), error.remedy.clone()]);
    }
    table
}
