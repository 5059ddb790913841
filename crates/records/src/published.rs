//! The record book's schema for programs and people, generated from the types that read it.

mod settings;

use crate::limits::{self, Limit};
use crate::schema::{ColumnKind, ColumnSpec, Table};
use crate::{Book, tree_season};
use serde::Serialize;
use std::fmt::Write as _;

/// A column as programs read it.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Column {
    name: &'static str,
    kind: &'static str,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    words: &'static [&'static str],
    required: bool,
    #[serde(skip_serializing_if = "str::is_empty")]
    unit: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    possible: Option<(f64, f64)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    usual: Option<(f64, f64)>,
    /// A cell that cannot be read is left out, and its row kept.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    spare: bool,
    meaning: &'static str,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct PublishedTable {
    table: &'static str,
    row_is: &'static str,
    required: bool,
    keeps_extra_columns: bool,
    columns: Vec<Column>,
}

/// Tables, `book.toml` (a JSON Schema), the columns of `tree_seasons.parquet`, and the limits of size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PublishedSchema {
    tables: Vec<PublishedTable>,
    book_toml: schemars::Schema,
    tree_seasons: Vec<tree_season::LinkedColumn>,
    limits: [Limit; limits::ALL.len()],
}

impl PublishedSchema {
    /// The schema of this version.
    #[must_use]
    pub fn new() -> Self {
        let table = |table: &Table| {
            let spec = table.spec();
            PublishedTable {
                table: table.as_str(),
                row_is: spec.row_is,
                required: spec.required,
                keeps_extra_columns: spec.keeps_extra_columns,
                columns: spec.columns.iter().map(column).collect(),
            }
        };
        Self {
            tables: Table::ALL.iter().map(table).collect(),
            book_toml: schemars::schema_for!(Book),
            tree_seasons: tree_season::COLUMNS.to_vec(),
            limits: limits::ALL,
        }
    }

    /// Tables, limits and settings as Markdown.
    #[must_use]
    pub fn markdown(&self) -> String {
        let mut out =
            "# Tables of a record book\n\nPossible: a value outside sets its row aside; in \
                       a column in italics, which a row can do without, only the value is left out \
                       (as one that cannot be read is). Usual: values outside are kept with a \
                       warning. Required columns are bold.\n"
                .to_owned();
        for table in &self.tables {
            let need = if table.required { "required" } else { "optional" };
            // Writing to a String cannot fail.
            let _ = write!(
                out,
                "\n## {} ({need})\n\nOne row is {}.\n\n| column | kind | unit | possible | usual | \
                 meaning |\n| --- | --- | --- | --- | --- | --- |\n",
                table.table, table.row_is
            );
            for own in &table.columns {
                let name = match (own.required, own.spare) {
                    (true, _) => format!("**{}**", own.name),
                    (false, true) => format!("*{}*", own.name),
                    (false, false) => own.name.to_owned(),
                };
                let kind = match own.words {
                    [] => own.kind.to_owned(),
                    words => words.join(", "),
                };
                let span = |of: Option<(f64, f64)>| {
                    of.map_or_else(String::new, |(low, high)| format!("{low} to {high}"))
                };
                let _ = writeln!(
                    out,
                    "| {name} | {kind} | {} | {} | {} | {} |",
                    own.unit,
                    span(own.possible),
                    span(own.usual),
                    own.meaning
                );
            }
            if table.keeps_extra_columns {
                out.push_str("\nFurther columns are kept as text: the factors of a trial.\n");
            }
        }
        out.push_str(
            "\n## Limits\n\nA larger file is refused, a longer row or text sets its row aside.\n\n\
             | what | at most |\n| --- | --- |\n",
        );
        for limit in &self.limits {
            let _ = writeln!(out, "| {} | {} |", limit.what, limit.words());
        }
        out.push_str(&settings::markdown(self.book_toml.as_value()));
        out
    }
}

impl Default for PublishedSchema {
    fn default() -> Self {
        Self::new()
    }
}

fn column(spec: &ColumnSpec) -> Column {
    let (kind, words): (&str, &[&str]) = match spec.kind {
        ColumnKind::Text => ("text", &[]),
        ColumnKind::Word(words) => ("word", words),
        ColumnKind::Date => ("date", &[]),
        ColumnKind::DateOrYear => ("date or year", &[]),
        ColumnKind::Number => ("number", &[]),
        ColumnKind::Count => ("whole number", &[]),
        ColumnKind::Flag => ("yes or no", &[]),
    };
    Column {
        name: spec.name,
        kind,
        words,
        required: spec.required,
        unit: spec.unit,
        possible: spec.possible,
        usual: spec.usual,
        spare: spec.spare,
        meaning: spec.doc,
    }
}

#[cfg(test)]
mod tests {
    use super::PublishedSchema;
    use crate::Book;
    use serde_json::Value;

    /// Sections of a book with what each must have.
    const SECTIONS: [(&str, &str, &[&str]); 7] = [
        ("BookMeta", "book", &["name = \"Example\""]),
        (
            "Region",
            "regions.coast",
            &["harvest = [\"02-01\", \"05-31\"]", "flush = [\"09-01\", \"11-30\"]"],
        ),
        ("PresentPractice", "regions.coast.present", &["intensity = 0.2", "lead_days = 40"]),
        (
            "Economics",
            "economics",
            &[
                "currency = \"coins\"",
                "price_per_kg = 1.2",
                "wage_per_hour = 0.8",
                "outturn_lb = 48",
                "price_outturn_lb = 47",
            ],
        ),
        (
            "PruningTime",
            "economics.pruning_time",
            &["minutes_per_tree = 4", "minutes_full_canopy = 30"],
        ),
        ("Options", "options", &[]),
        ("Product", "products.guard", &["kind = \"insect_protection\""]),
    ];

    /// Whether a book in which one key of a section has a value is refused.
    fn refused(of: &str, key: &str, value: f64) -> bool {
        let mut text = String::new();
        for (own, header, lines) in SECTIONS {
            text += &format!("[{header}]\n");
            let stated = format!("{key} =");
            for line in lines.iter().filter(|line| own != of || !line.starts_with(&stated)) {
                text += &format!("{line}\n");
            }
            if own == of {
                text += &format!("{key} = {value}\n");
            }
        }
        Book::parse(&text).is_err()
    }

    #[test]
    fn numbers_of_the_schema_are_those_that_a_check_takes() {
        let schema = PublishedSchema::new();
        let defs = &schema.book_toml.as_value()["$defs"];
        let mut tried = 0;
        for (of, _, _) in SECTIONS {
            for (key, value) in defs[of]["properties"].as_object().into_iter().flatten() {
                let end = |end: &str| value.get(end).and_then(Value::as_f64);
                let (Some(least), Some(most)) = (end("minimum"), end("maximum")) else { continue };
                for within in [least, most] {
                    assert!(!refused(of, key, within), "{of}: {key} = {within}");
                }
                for beyond in [least - 1.0, most + 1.0] {
                    assert!(refused(of, key, beyond), "{of}: {key} = {beyond}");
                }
                tried += 1;
            }
        }
        assert_eq!(tried, 32);
    }
}
