//! The work plan by block.

use super::table::{Cell, Table};
use crate::content::Report;
use crate::number::{DASH, count, optional, percent, span};
use crate::text;

/// Most blocks on the page; the sheets hold them all.
const SHOWN: usize = 200;

/// The plan and, when it is cut short, a sentence saying so.
pub fn plan(report: &Report) -> (Table, String) {
    let mut table = Table::new(
        "What each block gets",
        &[
            "Block",
            "Site",
            "Region",
            "Work",
            "#Canopy to remove",
            "When",
            "#Trees",
            "#Hours",
            "#Person-days",
            &format!("#Cost ({})", report.advice.currency),
        ],
    );
    for line in report.work.iter().take(SHOWN) {
        let region = report.advice.regions.iter().find(|r| r.region == line.region);
        let when = match (line.from, line.to) {
            (Some(from), Some(to)) => span(from, to),
            _ => DASH.to_owned(),
        };
        table.row::<Cell>([
            line.block.as_str().into(),
            line.site.as_str().into(),
            region.map_or(line.region.as_str(), |r| &r.name).into(),
            text::action(line.action).into(),
            line.intensity.map_or_else(|| DASH.to_owned(), percent).into(),
            when.into(),
            count(line.trees).into(),
            optional(line.hours, 1).into(),
            optional(line.person_days, 1).into(),
            optional(line.cost, 2).into(),
        ]);
    }
    let all = report.work.len();
    (table, if all > SHOWN { text::work_more(SHOWN, all) } else { String::new() })
}
