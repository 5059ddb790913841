//! Cells of the plan as text.

use super::{PlanCell, Sheet};
use crate::files::{csv_record, harmless};
use jiff::civil::Date;

impl From<&str> for PlanCell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<Option<Date>> for PlanCell {
    fn from(day: Option<Date>) -> Self {
        day.map_or(Self::Empty, Self::Day)
    }
}

/// A number, or an empty cell when there is none.
pub(super) fn number(value: impl Into<Option<f64>>, decimals: u8) -> PlanCell {
    let value = value.into().filter(|value| value.is_finite());
    value.map_or(PlanCell::Empty, |value| PlanCell::Number(value, decimals))
}

/// A share, or an empty cell when there is none.
pub(super) fn share(value: impl Into<Option<f64>>) -> PlanCell {
    let value = value.into().filter(|value| value.is_finite());
    value.map_or(PlanCell::Empty, PlanCell::Share)
}

/// A word that CSV files write as `code` and people read as `shown`.
pub(super) fn word(code: &str, shown: &str) -> PlanCell {
    PlanCell::Word { code: code.to_owned(), shown: shown.to_owned() }
}

/// Six significant digits without trailing zeros, so that 0.1 + 0.2 is written 0.3.
fn six_digits(value: f64) -> String {
    format!("{value:.5e}").parse::<f64>().map_or_else(|_| String::new(), |value| value.to_string())
}

/// A count.
pub(super) fn whole(value: impl Into<Option<u64>>) -> PlanCell {
    number(value.into().map(|value| value as f64), 0)
}

impl Sheet {
    /// The sheet as CSV with its header. Numbers carry six significant digits; texts that a spreadsheet would
    /// run as a formula are disarmed.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut out = csv_record(self.heads.iter().map(|head| (*head).to_owned()));
        for row in &self.rows {
            out.push_str(&csv_record(row.iter().map(|cell| match cell {
                PlanCell::Empty => String::new(),
                // A tool of the book's own is a word too.
                PlanCell::Text(text) | PlanCell::Word { code: text, .. } => harmless(text),
                PlanCell::Number(value, _) | PlanCell::Share(value) => six_digits(*value),
                PlanCell::Day(day) => day.to_string(),
            })));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::{Sheet, share, word};
    use crate::plan::PlanCell;

    #[test]
    fn words_are_disarmed_as_texts_are_and_shares_stay_fractions() {
        let cells = vec![PlanCell::from("=1+1"), word("=2+2", "two"), share(0.1 + 0.2)];
        let sheet = Sheet {
            name: "Tools",
            file: "tools.csv",
            heads: vec!["a", "b", "c"],
            titles: vec!["A", "B", "C"],
            rows: vec![cells],
        };
        assert_eq!(sheet.csv(), "a,b,c\n'=1+1,'=2+2,0.3\n");
    }
}
