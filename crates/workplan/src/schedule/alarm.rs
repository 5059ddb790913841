//! The alarm when a window cannot hold the work.

use super::plan::BlockWork;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// Part of a block's work to leave undone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dropped {
    /// Block.
    pub block: String,
    /// Person-days left undone.
    pub person_days: f64,
    /// Share of the block left undone.
    pub share: f64,
    /// Money lost by it.
    pub loss: f64,
}

/// A span of days with more work than the crew can do in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alarm {
    /// First day of the tightest span.
    pub from: Date,
    /// Last day of the tightest span.
    pub to: Date,
    /// Person-days of the blocks whose windows lie inside the span.
    pub needed: f64,
    /// Person-days of the crew in the span.
    pub available: f64,
    /// People with whom every window would hold its work; `None` when a window has no working day.
    pub people_needed: Option<u64>,
    /// What to leave undone, the least loss per person-day first.
    pub drop: Vec<Dropped>,
    /// Money lost by all of it.
    pub loss: f64,
}

/// The span with the highest ratio of work to crew, and the people that every span would take.
///
/// Divisible work with interval windows fits if and only if no span of days is asked for more than
/// it has (Hall's condition on convex bipartite graphs: Glover, 1967, Nav. Res. Logist. Q. 14:313-316).
pub(super) struct Tightest {
    pub(super) span: [Date; 2],
    pub(super) needed: f64,
    pub(super) working_days: usize,
    pub(super) people_needed: Option<u64>,
}

pub(super) fn tightest(blocks: &[&BlockWork], works_on: impl Fn(Date) -> bool) -> Option<Tightest> {
    let mut found: Option<(f64, Tightest)> = None;
    let mut starts: Vec<Date> = blocks.iter().map(|block| block.window[0]).collect();
    let mut ends: Vec<Date> = blocks.iter().map(|block| block.window[1]).collect();
    for dates in [&mut starts, &mut ends] {
        dates.sort_unstable();
        dates.dedup();
    }
    for &from in &starts {
        for &to in ends.iter().filter(|to| **to >= from) {
            let needed: f64 = blocks
                .iter()
                .filter(|block| block.window[0] >= from && block.window[1] <= to)
                .map(|block| block.person_days)
                .sum();
            let working_days = from
                .series(jiff::Span::new().days(1))
                .take_while(|d| *d <= to)
                .filter(|d| works_on(*d))
                .count();
            let ratio = match (needed > 0.0, working_days) {
                (false, _) => continue,
                (true, 0) => f64::INFINITY,
                (true, days) => needed / days as f64,
            };
            if found.as_ref().is_none_or(|(best, _)| ratio > *best) {
                let people_needed = ratio.is_finite().then(|| (ratio - 1e-9).ceil() as u64);
                found = Some((
                    ratio,
                    Tightest { span: [from, to], needed, working_days, people_needed },
                ));
            }
        }
    }
    found.map(|(_, tightest)| tightest)
}
