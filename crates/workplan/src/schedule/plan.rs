//! The schedule of one crew's blocks.

use super::alarm::{Alarm, Dropped, tightest};
use super::flow::{Demand, place};
use super::together::keep_together;
use jiff::civil::Date;
use records::work::{Crew, SettingError};
use serde::{Deserialize, Serialize};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use words::{say, text};

/// Units of work in a person-day.
const UNITS: f64 = 1000.0;
/// Steps between no loss of delay and the highest one.
const RATE_STEPS: f64 = 1e6;
/// Longest span of windows, days: three years.
const LONGEST: i32 = 1096;

/// A block's work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BlockWork {
    /// Block.
    pub block: String,
    /// Person-days of work.
    pub person_days: f64,
    /// First and last day on which it may be done.
    pub window: [Date; 2],
    /// The day that is expected to be best; the first of the window where none is known.
    pub best_day: Option<Date>,
    /// Money lost when the whole block is done a day later, expected; below 0 counts as 0.
    pub delay_loss_per_day: f64,
    /// Money lost when the block is not done at all, expected; below 0 counts as 0.
    pub value: f64,
}

/// A block on a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Share {
    /// Block.
    pub block: String,
    /// Person-days.
    pub person_days: f64,
}

/// A working day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DayWork {
    /// Date.
    pub date: Date,
    /// Work by block, in the order of the blocks.
    pub work: Vec<Share>,
}

/// A block's dates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scheduled {
    /// Block.
    pub block: String,
    /// First day of work; `None` when none of it could be placed.
    pub start: Option<Date>,
    /// Last day of work.
    pub end: Option<Date>,
    /// Working days on which someone is in the block.
    pub days: usize,
    /// Person-days placed.
    pub person_days: f64,
    /// Expected loss of delay per person-day and day: the highest goes first.
    pub urgency: f64,
    /// Money lost by working on other days than the best.
    pub delay_loss: f64,
}

/// Dates of every block, and the alarm when they do not all fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Schedule {
    /// In the order of the input.
    pub blocks: Vec<Scheduled>,
    /// Days with work, in order.
    pub days: Vec<DayWork>,
    /// Money lost by working on other days than the best, all blocks.
    pub delay_loss: f64,
    /// When the windows cannot hold the work.
    pub alarm: Option<Alarm>,
}

/// Money lost per day of delay of a block, from losses per tree after some days of delay: the slope of
/// the least-squares line through no loss at no delay, x trees; never below 0, and `None` without
/// losses, as where no pruning so late is recorded.
#[must_use]
pub fn delay_loss_per_day(losses: &[(f64, f64)], trees: f64) -> Option<f64> {
    let products: f64 = losses.iter().map(|(days, loss)| days * loss).sum();
    let squares: f64 = losses.iter().map(|(days, _)| days * days).sum();
    (squares > 0.0).then(|| (trees * products / squares).max(0.0))
}

/// Schedules one crew's blocks: least loss first, then blocks in one piece.
///
/// Work is divisible over days and people. Each person-day of a block costs its urgency (loss of delay
/// per day / person-days) for every calendar day after the first on which it is to begin: half the crew's
/// days of all blocks with its best day before that day, so that these lie around it, where the window
/// reaches so far; earlier days are for what the later ones cannot hold. Without windows the
/// best order is by falling urgency (Smith, 1956, Nav. Res. Logist. Q. 3:59-66); with them that order
/// can be wrong, so the dates come from a minimum-cost flow, which is that order where windows do not
/// bind. Where the work does not fit, the loss of what is left undone is least: value per person-day
/// decides, then the loss of delay. Urgency counts in millionths of the highest; among equals the
/// earlier day and the block listed first win, so that blocks of one urgency follow each other. Then the
/// order is changed where a crew would leave a block half done for another that can wait, or come
/// earlier: what is placed of each block and what each day holds stay, and no block's work moves further
/// than a week from its day on average.
///
/// # Errors
/// When the crew, or a block's work or window, cannot be right.
pub fn schedule(blocks: &[BlockWork], crew: &Crew) -> Result<Schedule, SettingError> {
    crew.check()?;
    blocks.iter().try_for_each(check)?;
    let first = blocks.iter().map(|block| block.window[0]).min();
    let last = blocks.iter().map(|block| block.window[1]).max();
    let (Some(first), Some(last)) = (first, last) else {
        return Ok(Schedule { blocks: Vec::new(), days: Vec::new(), delay_loss: 0.0, alarm: None });
    };
    let day_of = |date: Date| (date - first).get_days().max(0) as usize;
    if day_of(last) > LONGEST as usize {
        return Err(SettingError::new(
            "[work]",
            say!("windows from {first} to {last} span more than three years"),
            text!("schedule one season at a time"),
        ));
    }
    let dates: Vec<Date> =
        first.series(jiff::Span::new().days(1)).take_while(|date| *date <= last).collect();
    let people = (crew.crew_size * UNITS).round() as i64;
    let capacity: Vec<i64> =
        dates.iter().map(|date| if crew.works_on(*date) { people } else { 0 }).collect();
    let highest = blocks.iter().map(urgency).fold(0.0, f64::max);
    let mut around: BTreeMap<Date, f64> = BTreeMap::new();
    for block in blocks {
        if let Some(best) = block.best_day {
            *around.entry(best).or_default() += block.person_days;
        }
    }
    let starts: BTreeMap<Date, Date> = around
        .into_iter()
        .map(|(best, person_days)| (best, half_before(best, 0.5 * person_days, crew, first)))
        .collect();
    let start = |block: &BlockWork| {
        let [from, to] = block.window;
        block.best_day.and_then(|best| starts.get(&best)).map_or(from, |day| (*day).clamp(from, to))
    };
    let demands: Vec<Demand> = blocks
        .iter()
        .map(|block| Demand {
            // Rounded down, so that rounding never makes work that fits look as if it did not.
            units: ((block.person_days * UNITS + 1e-6).floor() as i64).max(1),
            window: block.window.map(day_of),
            start: day_of(start(block)),
            // One step even without a loss of delay, so that an earlier day is better.
            rate: 1 + steps(urgency(block), highest),
        })
        .collect();
    let dearest = blocks.iter().map(worth).fold(0.0, f64::max);
    let mut order: Vec<usize> = (0..blocks.len()).collect();
    // In steps, so that rounding does not tell equal blocks apart. The sort keeps the order listed.
    order.sort_by_key(|&j| {
        let steps = steps(worth(&blocks[j]), dearest);
        (Reverse(steps), Reverse(demands[j].rate), blocks[j].window[0])
    });
    let placed = place(&demands, &order, &capacity);
    let around: Vec<i64> = blocks
        .iter()
        .map(|block| i64::from((block.best_day.unwrap_or(block.window[0]) - first).get_days()))
        .collect();
    let units = keep_together(&demands, &around, placed.units, &capacity);
    let scheduled: Vec<Scheduled> =
        blocks.iter().zip(&units).map(|(block, units)| dated(block, units, &dates)).collect();
    let days = dates
        .iter()
        .enumerate()
        .map(|(day, &date)| {
            let on = |(block, units): (&BlockWork, &Vec<i64>)| {
                let person_days = units[day] as f64 / UNITS;
                (units[day] > 0).then(|| Share { block: block.block.clone(), person_days })
            };
            DayWork { date, work: blocks.iter().zip(&units).filter_map(on).collect() }
        })
        .filter(|day| !day.work.is_empty())
        .collect();
    Ok(Schedule {
        delay_loss: scheduled.iter().map(|block| block.delay_loss).sum(),
        alarm: alarm(blocks, &placed.left, &demands, crew),
        blocks: scheduled,
        days,
    })
}

fn check(block: &BlockWork) -> Result<(), SettingError> {
    let key = || format!("block {}", block.block);
    let [from, to] = block.window;
    if from > to {
        return Err(SettingError::new(
            key(),
            say!("its window ends {to}, before {from}"),
            text!("give the window in order"),
        ));
    }
    let most = 1e9;
    if !(block.person_days > 0.0 && block.person_days < most) {
        return Err(SettingError::new(
            key(),
            say!("{} person-days is no amount of work", block.person_days),
            text!("leave blocks without work out and check the minutes per tree"),
        ));
    }
    if !(block.delay_loss_per_day.is_finite() && block.value.is_finite()) {
        return Err(SettingError::new(
            key(),
            text!("its loss is not a number"),
            text!("check prices and advice"),
        ));
    }
    Ok(())
}

/// The day from which a crew does so many person-days, whole days of it, before another day; no earlier than
/// `first`.
fn half_before(best: Date, person_days: f64, crew: &Crew, first: Date) -> Date {
    let (mut day, mut left) = (best, person_days);
    while left >= crew.crew_size && day > first {
        let Ok(before) = day.yesterday() else { break };
        day = before;
        if crew.works_on(day) {
            left -= crew.crew_size;
        }
    }
    day
}

fn urgency(block: &BlockWork) -> f64 {
    block.delay_loss_per_day.max(0.0) / block.person_days
}

/// Value per person-day.
fn worth(block: &BlockWork) -> f64 {
    value(block) / block.person_days
}

/// A part of the highest, in whole steps.
fn steps(part: f64, highest: f64) -> i64 {
    if highest > 0.0 { (part / highest * RATE_STEPS).round() as i64 } else { 0 }
}

fn value(block: &BlockWork) -> f64 {
    block.value.max(0.0)
}

fn dated(block: &BlockWork, units: &[i64], dates: &[Date]) -> Scheduled {
    let worked: Vec<(Date, f64)> = dates
        .iter()
        .zip(units)
        .filter(|(_, units)| **units > 0)
        .map(|(date, units)| (*date, *units as f64 / UNITS))
        .collect();
    let delayed: f64 = worked
        .iter()
        .map(|(date, person_days)| {
            let best = block.best_day.unwrap_or(block.window[0]);
            f64::from((*date - best).get_days().abs()) * person_days
        })
        .sum();
    Scheduled {
        block: block.block.clone(),
        start: worked.first().map(|(date, _)| *date),
        end: worked.last().map(|(date, _)| *date),
        days: worked.len(),
        person_days: worked.iter().map(|(_, person_days)| person_days).sum(),
        urgency: urgency(block),
        delay_loss: urgency(block) * delayed,
    }
}

fn alarm(blocks: &[BlockWork], left: &[i64], demands: &[Demand], crew: &Crew) -> Option<Alarm> {
    let mut drop: Vec<Dropped> = blocks
        .iter()
        .zip(left)
        .zip(demands)
        .filter(|((_, left), _)| **left > 0)
        .map(|((block, left), demand)| {
            let share = *left as f64 / demand.units as f64;
            Dropped {
                block: block.block.clone(),
                // Of the work as the plan states it, not as it was rounded to be placed.
                person_days: share * block.person_days,
                share,
                loss: share * value(block),
            }
        })
        .collect();
    if drop.is_empty() {
        return None;
    }
    drop.sort_by(|a, b| (a.loss / a.person_days).total_cmp(&(b.loss / b.person_days)));
    let all: Vec<&BlockWork> = blocks.iter().collect();
    let tight = tightest(&all, |date| crew.works_on(date))?;
    Some(Alarm {
        from: tight.span[0],
        to: tight.span[1],
        needed: tight.needed,
        available: tight.working_days as f64 * crew.crew_size,
        people_needed: tight.people_needed,
        loss: drop.iter().map(|part| part.loss).sum(),
        drop,
    })
}
