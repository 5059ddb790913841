//! Files whose dates are written in another order of day and month than `book.toml` says.

use crate::cell::date;
use crate::rows::Cell;
use crate::summary::{Event, Summary};
use records::{Code, DateOrder, Severity};

/// Fewest dates that only the other order reads for the order to be wrong: one or two are slips.
const FEWEST: u64 = 3;
/// Days that may be months.
const MONTHS: i8 = 12;
/// Dates of a spreadsheet's own, none with a day over 12, that are no chance: (12/30)^10 is 1 in 10,000.
const NO_CHANCE: u64 = 10;

/// Dates of one file, by which order of day and month reads them.
#[derive(Debug)]
pub(crate) struct DateOrders {
    declared: DateOrder,
    day_first: Only,
    month_first: Only,
    /// Dates that the file holds as such, of which none so far has a day over 12.
    low_days: u64,
    /// Whether one of them has a day over 12.
    any_high: bool,
}

/// Dates that one order alone reads.
#[derive(Debug, Default)]
struct Only {
    count: u64,
    first_line: u64,
}

impl DateOrders {
    pub(crate) fn new(declared: DateOrder) -> Self {
        Self {
            declared,
            day_first: Only::default(),
            month_first: Only::default(),
            low_days: 0,
            any_high: false,
        }
    }

    /// Counts a date; one that both orders read, or none, speaks for neither.
    pub(crate) fn see(&mut self, cell: Cell<'_>, line: u64) {
        let text = match cell {
            Cell::Text(text) => text,
            Cell::Date(day) => {
                self.low_days += u64::from(day.day() <= MONTHS);
                self.any_high |= day.day() > MONTHS;
                return;
            }
            _ => return,
        };
        let text = text.trim();
        // The commonest form, year first, needs no second reading.
        if text.as_bytes().get(..4).is_some_and(|year| year.iter().all(u8::is_ascii_digit)) {
            return;
        }
        let reads = |order| date::parse(text, order, false).is_ok();
        let only = match (reads(DateOrder::DayFirst), reads(DateOrder::MonthFirst)) {
            (true, false) => &mut self.day_first,
            (false, true) => &mut self.month_first,
            _ => return,
        };
        if only.count == 0 {
            only.first_line = line;
        }
        only.count += 1;
    }

    /// Tells the order that the file is written in, where no date speaks against it and it is not the
    /// declared one.
    pub(crate) fn note(&self, column: &'static str, cell: Option<u32>, summary: &mut Summary) {
        let texts = self.day_first.count + self.month_first.count;
        if texts >= FEWEST && self.low_days >= NO_CHANCE && !self.any_high {
            let both = [&self.day_first, &self.month_first];
            let first = both.iter().filter(|only| only.count > 0).map(|only| only.first_line).min();
            let (severity, code) = (Severity::Warning, Code::DatesSwapped);
            let event = Event { severity, code, column, line: first.unwrap_or_default(), cell };
            summary.add(event, texts, String::new);
        }
        let (of_file, only, against) = match self.declared {
            DateOrder::DayFirst => (DateOrder::MonthFirst, &self.month_first, &self.day_first),
            DateOrder::MonthFirst => (DateOrder::DayFirst, &self.day_first, &self.month_first),
            DateOrder::Iso if self.day_first.count > 0 => {
                (DateOrder::DayFirst, &self.day_first, &self.month_first)
            }
            DateOrder::Iso => (DateOrder::MonthFirst, &self.month_first, &self.day_first),
        };
        if only.count < FEWEST || against.count > 0 {
            return;
        }
        let (severity, code, line) = (Severity::Warning, Code::DateOrder, only.first_line);
        let event = Event { severity, code, column, line, cell };
        summary.add(event, only.count, || of_file.as_str().to_owned());
    }
}
