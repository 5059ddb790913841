//! The work plan: blocks, alarms, shopping list, tools, missing settings and cautions.

use super::table::{Cell, Head, Table};
use crate::content::Report;
use crate::how::{plan_table, work_plan};
use crate::number::{DASH, count, counted, date, fixed, optional, percent, span};
use crate::outputs::plan_of;
use crate::plan::{PlanCell, cautions, crew_name, sheets, stuff, waiting_times};
use crate::text::plan as text;
use advise::{RegionAdvice, Verdict};
use jiff::civil::Date;
use words::{day_of_month, say, text};
use workplan::plan::PlannedBlock;

/// Most blocks on the page; the sheets hold them all.
const SHOWN: usize = 200;
/// Most sentences on trees apart; the sheets of the blocks hold them all.
const APART: usize = 12;
/// File of the table of materials.
const MATERIALS: &str = "materials.csv";

/// The section as the template takes it.
pub struct WorkView {
    /// What each block gets.
    pub blocks: Table,
    /// That the table is cut short; empty when it is not.
    pub more: String,
    /// How the blocks are ordered, and that delay chooses nothing where it costs nothing.
    pub order: Vec<&'static str>,
    /// Windows that were over when the last record was made, a sentence per region.
    pub over: Vec<String>,
    /// What the windows cannot hold, a sentence per crew.
    pub alarms: Vec<String>,
    /// Trees that are not to be pruned by this plan or with care only, the first of them.
    pub apart: Vec<String>,
    /// That these are cut short; empty when they are not.
    pub more_apart: String,
    /// Link to how alarms are computed.
    pub alarms_how: String,
    /// What is said when there is no alarm.
    pub no_alarm: &'static str,
    /// That no day holds the way between sites; empty where no crew has work at several.
    pub travel: &'static str,
    /// What must be left as it is for the advice to be scored; empty where no change is advised.
    pub to_score: &'static str,
    /// What to buy.
    pub shopping: Table,
    /// What each block takes of every product.
    pub materials: Table,
    /// That the table of materials is cut short; empty when it is not.
    pub more_materials: String,
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
    let apart = apart(report);
    let more_apart = match apart.len().saturating_sub(APART) {
        0 => String::new(),
        more => say!("{more} more on the sheets of their blocks."),
    };
    let scheduled = plan.crews.iter().any(|crew| !crew.schedule.days.is_empty());
    WorkView {
        blocks: blocks(report),
        order: if delay_chooses(report) {
            vec![text::ORDER.get()]
        } else {
            vec![text::NO_DELAY_LOSS.get(), text::ORDER.get()]
        },
        over: over(report),
        more: if all > SHOWN { text::more(SHOWN, all) } else { String::new() },
        travel: if plan.crews.iter().any(|crew| crew.sites > 1) { text::TRAVEL.get() } else { "" },
        to_score: if changes(report) { text::TO_SCORE.get() } else { "" },
        alarms: alarms(report),
        apart: apart.into_iter().take(APART).collect(),
        more_apart,
        alarms_how: plan_table("alarms.csv", "needed_person_days"),
        no_alarm: if scheduled { text::NO_ALARM.get() } else { text::NO_CREW.get() },
        shopping: shopping(report),
        materials: materials(report),
        more_materials: match rows_of(report, MATERIALS).count() {
            all if all > SHOWN => text::more_materials(SHOWN, all),
            _ => String::new(),
        },
        tools: tools(report),
        missing: missing(report),
        waiting: waiting_times(plan, &of.words)
            .into_iter()
            .map(|(product, [re_entry, harvest])| format!("{product}: {re_entry} {harvest}"))
            .collect(),
        cautions: cautions(&of),
    }
}

/// Whether a region is advised to do otherwise than at present.
fn changes(report: &Report) -> bool {
    report.advice.regions.iter().any(|region| match region.verdict {
        Verdict::Prune => region.advised.is_some(),
        Verdict::Trial => region.interim.is_some(),
        Verdict::Keep => false,
    })
}

/// Least money per block and day that the page shows as more than nothing.
const SHOWN_LOSS: f64 = 0.005;

/// Whether a day of delay is expected to cost anything in any block.
fn delay_chooses(report: &Report) -> bool {
    let mut losses = report.plan.blocks.iter().filter_map(|block| block.delay_loss_per_day);
    losses.any(|loss| loss >= SHOWN_LOSS)
}

/// What a day of delay costs, with its interval.
fn delay(report: &Report, block: &PlannedBlock) -> String {
    let own = |region: &&RegionAdvice| region.region == block.region;
    let region = report.advice.regions.iter().find(own);
    match (block.delay_loss_per_day, region.and_then(|region| region.late_per_day.as_ref())) {
        (Some(loss), Some(per_tree)) => say!(
            "{} ({} to {})",
            fixed(loss, 2),
            fixed(block.trees_worked * per_tree.low, 2),
            fixed(block.trees_worked * per_tree.high, 2)
        ),
        (loss, _) => optional(loss, 2),
    }
}

/// Windows with work that were over when the last record was made.
fn over(report: &Report) -> Vec<String> {
    let mut said = Vec::new();
    for region in &report.advice.regions {
        let Some(last) = region.last_record else { continue };
        let is_over = |block: &&PlannedBlock| {
            let window = block.sheet.window.filter(|_| block.trees_worked > 0.0);
            block.region == region.region && window.is_some_and(|[_, to]| to < last)
        };
        let blocks = report.plan.blocks.iter().filter(is_over).count();
        if blocks > 0 {
            said.push(say!(
                "{}: the window of {} was over on {}, the day of the book's last record. Their days of work lie in the past, and nobody can come on them.",
                region.name,
                counted(blocks as u64, text!("block"), text!("blocks")),
                date(last)
            ));
        }
    }
    said
}

/// What the cost is, so that one below zero is no riddle.
fn cost_heading(report: &Report) -> String {
    let currency = &report.advice.currency;
    let sold =
        report.plan.blocks.iter().any(|block| block.haul.is_some_and(|haul| haul.value > 0.0));
    if sold { say!("#Cost after wood ({currency})") } else { say!("#Cost ({currency})") }
}

/// Trees that trials keep, and trees younger than any recorded, a sentence per block.
fn apart(report: &Report) -> Vec<String> {
    let mut said = Vec::new();
    for block in &report.plan.blocks {
        let sheet = &block.sheet;
        for words in sheet.warnings(&plan_of(report).words) {
            let sentence = say!("Block {}, {}: {words}", sheet.block, sheet.site);
            if !said.contains(&sentence) {
                said.push(sentence);
            }
        }
    }
    said
}

fn blocks(report: &Report) -> Table {
    let mut table = Table::new(
        text!("What each block gets"),
        [
            Head::from(text!("Block")),
            Head::from(text!("Site (region)")),
            Head::from(text!("Work")).how(work_plan("action")),
            Head::from(text!("#Remove")).how(work_plan("intensity")),
            Head::from(text!("Days of work")).how(work_plan("work_from")),
            Head::from(text!("Window")).how(work_plan("window_from")),
            Head::from(text!("#Trees")).how(work_plan("trees")),
            Head::from(text!("#Person-days")).how(work_plan("person_days")),
            Head::from(text!("#Cut wood (m³)")).how(work_plan("cut_wood_m3")),
            Head::from(cost_heading(report)).how(work_plan("cost_after_wood")),
            Head::from(say!("#A day late costs ({})", report.advice.currency))
                .how(work_plan("delay_loss_per_day")),
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
            by_day(left(block, days(sheet.scheduled)), sheet.scheduled),
            by_day(days(sheet.window), sheet.window),
            trees(block).into(),
            optional(sheet.person_days, 1).into(),
            optional(sheet.stacked_m3, 1).into(),
            optional(block.cost, 2).into(),
            delay(report, block).into(),
        ]);
    }
    table
}

/// A span that rows are sorted by in the order of its days.
fn by_day(words: String, days: Option<[Date; 2]>) -> Cell {
    let key = days.map_or_else(String::new, |[from, to]| format!("{from}/{to}"));
    Cell::from(words).sorted_by(key)
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
        say!("{from} to {to}", from = day_of_month(from.day()), to = date(to))
    } else {
        span(from, to)
    }
}

/// The days of work, and what of it does not fit.
fn left(block: &PlannedBlock, days: String) -> String {
    let share = block.sheet.left_undone;
    if share > 0.0 { say!("{days} ({} does not fit)", percent(share)) } else { days }
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
                || say!("Some window has no working day."),
                |people| say!("{} would do.", counted(people, text!("person"), text!("people"))),
            );
            let first: Vec<String> = alarm
                .drop
                .iter()
                .take(6)
                .map(|part| {
                    say!(
                        "{} ({} person-days, expected loss {} {currency})",
                        part.block,
                        fixed(part.person_days, 1),
                        fixed(part.loss, 2)
                    )
                })
                .collect();
            let rest = match alarm.drop.len().saturating_sub(first.len()) {
                0 => String::new(),
                more => say!("; {more} more in alarms.csv"),
            };
            Some(say!(
                "Crew of {} ({}): {} holds {} person-days of work, and the crew has {}. {people} Else leave undone first: {}{rest}. Expected loss by all of it: {} {currency}. Work finished after the window loses what late pruning costs instead (\"If pruned late\" of its region), where days so late were tried.",
                crew_name(crew.site.as_deref(), &report.plan),
                counted(crew.crew.crew_size.ceil() as u64, text!("person"), text!("people")),
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
        text!("What to buy for all blocks together"),
        [
            Head::from(text!("What")),
            Head::from(text!("#Needed")).how(plan_table("shopping.csv", "needed")),
            Head::from(text!("#Package")).how(plan_table("shopping.csv", "package")),
            Head::from(text!("#Packages")).how(plan_table("shopping.csv", "packages")),
            Head::from(text!("#Buy")).how(plan_table("shopping.csv", "buy")),
        ],
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

fn materials(report: &Report) -> Table {
    let file = MATERIALS;
    let mut table = Table::new(
        text::T_MATERIALS.get(),
        [
            Head::from(text!("Block")),
            Head::from(text!("Site")),
            Head::from(text!("Product")),
            Head::from(text!("#Ready for use (L)")).how(plan_table(file, "litres_ready")),
            Head::from(text!("#Applications")).how(plan_table(file, "applications")),
            Head::from(text!("Item")),
            Head::from(text!("#Amount (kg or L)")).how(plan_table(file, "amount")),
        ],
    );
    table.cards = true;
    for row in rows_of(report, file).take(SHOWN) {
        let mut cells = row.into_iter().skip(1);
        let (Some(site), Some(block)) = (cells.next(), cells.next()) else { continue };
        let [product, ready, applications, item, amount, unit] =
            std::array::from_fn(|_| cells.next().unwrap_or_default());
        let amount = format!("{amount} {unit}");
        table.row([block, site, product, ready, applications, item, amount]);
    }
    table
}

/// Rows of a table of the plan as people read them.
fn rows_of<'a>(report: &'a Report, file: &'a str) -> impl Iterator<Item = Vec<String>> + 'a {
    let found = sheets(&report.plan).into_iter().filter(move |sheet| sheet.file == file);
    found.flat_map(|sheet| sheet.rows).map(|row| row.iter().map(words).collect())
}

fn words(cell: &PlanCell) -> String {
    match cell {
        PlanCell::Text(text) => text.clone(),
        PlanCell::Word { shown, .. } => shown.clone(),
        PlanCell::Share(value) => percent(*value),
        PlanCell::Number(value, decimals) => fixed(*value, usize::from(*decimals)),
        PlanCell::Day(day) => day.to_string(),
        PlanCell::Empty => DASH.to_owned(),
    }
}

fn tools(report: &Report) -> Table {
    let mut table = Table::new(
        text!("Tools to take along"),
        [
            Head::from(text!("Crew")),
            Head::from(text!("Tool")),
            Head::from(text!("Kind")),
            Head::from(text!("#Pieces")).how(plan_table("tools.csv", "pieces")),
            Head::from(text!("#Cuts expected in all blocks")).how(plan_table("tools.csv", "cuts")),
        ],
    );
    for row in rows_of(report, "tools.csv") {
        table.row(row);
    }
    table
}

fn missing(report: &Report) -> Table {
    let mut table = Table::new(
        text!("Missing or refused"),
        [text!("Setting"), text!("What is wrong"), text!("What to do")],
    );
    table.cards = true;
    for error in &report.plan.missing {
        table.row([error.key.clone(), error.what.clone(), error.remedy.clone()]);
    }
    table
}
