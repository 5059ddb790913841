//! Kept rows as plain CSV, the way a careful person would have written them.

use polars::prelude::{AnyValue, DataFrame};

fn shown(value: &AnyValue<'_>) -> String {
    match value {
        AnyValue::Null => String::new(),
        AnyValue::String(text) => (*text).to_owned(),
        AnyValue::StringOwned(text) => text.to_string(),
        AnyValue::Float64(value) => value.to_string(),
        AnyValue::Int64(value) => value.to_string(),
        AnyValue::Boolean(value) => if *value { "yes" } else { "no" }.to_owned(),
        AnyValue::Date(days) => day(*days),
        other => panic!("a kept cell of an unknown kind: {other:?}"),
    }
}

/// Days since 1970-01-01 as year-month-day (Hinnant's civil_from_days).
fn day(days: i32) -> String {
    let z = i64::from(days) + 719_468;
    let era = z.div_euclid(146_097);
    let of_era = z.rem_euclid(146_097);
    let year_of_era = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}

fn quoted(cell: &str) -> String {
    format!("\"{}\"", cell.replace('"', "\"\""))
}

/// Header and rows of a frame, without the columns that say where a row stood. Every cell is quoted.
pub fn canonical(frame: &DataFrame) -> String {
    let columns: Vec<_> =
        frame.columns().iter().filter(|column| !column.name().starts_with('.')).collect();
    let names: Vec<String> = columns.iter().map(|column| quoted(column.name())).collect();
    let mut text = names.join(",") + "\n";
    for row in 0..frame.height() {
        let cells: Vec<String> = columns
            .iter()
            .map(|column| quoted(&shown(&column.get(row).expect("a row of the frame"))))
            .collect();
        text.push_str(&cells.join(","));
        text.push('\n');
    }
    text
}
