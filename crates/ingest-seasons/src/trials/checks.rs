//! Numbers where a declared trial has amounts or a covariate.

use polars::prelude::*;
use records::tree_season as ts;
use records::{Book, written_amount, written_number};
use std::collections::BTreeMap;
use words::{say, text};

/// The columns of each declared trial that must hold numbers.
pub(super) struct Check<'a> {
    trials: &'a StringChunked,
    /// By trial.
    numbers: BTreeMap<&'a str, Vec<Numbers<'a>>>,
}

/// A column that must hold numbers.
struct Numbers<'a> {
    name: &'a str,
    /// What it holds, for the message.
    kind: &'static str,
    /// Unit of an amount.
    unit: Option<&'a str>,
    texts: &'a StringChunked,
}

impl<'a> Check<'a> {
    pub(super) fn of(rows: &'a DataFrame, book: &'a Book) -> PolarsResult<Self> {
        let text = |name: &str| rows.column(name).ok().and_then(|column| column.str().ok());
        let numbers = book
            .trials
            .iter()
            .map(|(id, trial)| {
                let columns = trial.number_columns().filter_map(|name| {
                    let unit = trial.amounts.get(name).map(String::as_str);
                    let kind =
                        if unit.is_some() { text!("an amount") } else { text!("the covariate") };
                    Some(Numbers { name, kind, unit, texts: text(name)? })
                });
                (id.as_str(), columns.collect())
            })
            .collect();
        Ok(Self { trials: rows.column(ts::TRIAL)?.str()?, numbers })
    }

    /// Column, reason and remedy when a row has text where a number belongs; an empty cell is a
    /// missing value.
    pub(super) fn of_row(&self, row: usize) -> Option<(String, String, String)> {
        let trial = self.trials.get(row)?;
        let mut columns = self.numbers.get(trial)?.iter();
        columns.find_map(|Numbers { name, kind, unit, texts }| {
            let number = |text: &str| match unit {
                Some(unit) => written_amount(text, unit),
                None => written_number(text),
            };
            let text = texts.get(row).filter(|text| number(text).is_none())?;
            let reason = say!("{name} '{text}' is no number, and {kind} of trial {trial}");
            let per_cent = unit.is_some() && text.trim().ends_with('%');
            let remedy = if per_cent {
                say!(
                    "declare {name} in [trials.{trial}] of book.toml as what it is: amounts = {{ {name} = \"fraction\" }} for a share of the canopy, \"percent\" for any other per cent; or write a plain number"
                )
            } else {
                say!(
                    "write a plain number, give the text a number under `values` of its file, or declare {name} otherwise in [trials.{trial}] of book.toml"
                )
            };
            Some(((*name).to_owned(), reason, remedy))
        })
    }
}
