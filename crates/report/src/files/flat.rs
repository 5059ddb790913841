//! The advice as JSON and as one row per region, laid out by the dictionary.

use super::cells::{csv_record, harmless};
use crate::dictionary::{Field, advice_fields};
use crate::error::ReportError;
use crate::laterals::RegionLaterals;
use advise::Advice;
use serde_json::Value;

/// `advice.json`: indented, final newline.
///
/// # Errors
/// [`ReportError::NotFinite`] when the text would not read back as the same advice.
pub fn advice_json(advice: &Advice) -> Result<String, ReportError> {
    let mut text = serde_json::to_string_pretty(advice)?;
    text.push('\n');
    // JSON has no infinity or NaN; they become null, which a reader would refuse or misread.
    match serde_json::from_str::<Advice>(&text) {
        Ok(back) if back == *advice => Ok(text),
        _ => Err(ReportError::NotFinite(not_finite(&format!("{advice:#?}")))),
    }
}

/// `laterals.json`: a list with one entry per region, indented, final newline.
///
/// # Errors
/// [`ReportError::NotFinite`] when the text would not read back as the same values.
pub fn laterals_json(laterals: &[RegionLaterals]) -> Result<String, ReportError> {
    let text = serde_json::to_string_pretty(laterals)? + "\n";
    match serde_json::from_str::<Vec<RegionLaterals>>(&text) {
        Ok(back) if back == laterals => Ok(text),
        _ => Err(ReportError::NotFinite(not_finite(&format!("{laterals:#?}")))),
    }
}

/// The fields of indented debugging text whose value is not finite, each with the fields and the region that it is of.
fn not_finite(text: &str) -> String {
    let (mut path, mut found): (Vec<(usize, &str)>, Vec<String>) = (Vec::new(), Vec::new());
    let mut region = "";
    for line in text.lines() {
        let depth = line.len() - line.trim_start().len();
        path.retain(|(at, _)| *at < depth);
        let (name, value) = line.trim().split_once(": ").unwrap_or(("", line.trim()));
        if name == "region" {
            region = value.trim_matches(['"', ',']);
        }
        if matches!(value.trim_end_matches(','), "NaN" | "inf" | "-inf") {
            let names = path.iter().map(|(_, name)| *name).chain([name]);
            let names: Vec<&str> = names.filter(|name| !name.is_empty()).collect();
            found.push(format!("{region} {}", names.join(".")));
        }
        path.push((depth, name));
    }
    found.join(", ")
}

/// Fields that are columns of the flat tables.
pub fn columns() -> impl Iterator<Item = &'static Field> {
    advice_fields().iter().filter(|f| !f.column.is_empty())
}

/// One list of values per region, in the order of [`columns`]; null where a field is empty.
pub fn rows(advice: &Advice) -> Result<Vec<Vec<Value>>, ReportError> {
    let whole = serde_json::to_value(advice)?;
    let regions = whole.get("regions").and_then(Value::as_array).map_or(&[][..], Vec::as_slice);
    Ok(regions
        .iter()
        .map(|region| {
            columns()
                .map(|field| match field.path.strip_prefix("regions[].") {
                    Some(path) => look_up(region, path),
                    None => look_up(&whole, field.path),
                })
                .collect()
        })
        .collect())
}

fn look_up(value: &Value, path: &str) -> Value {
    let pointer = format!("/{}", path.replace(['.', '['], "/").replace(']', ""));
    value.pointer(&pointer).cloned().unwrap_or(Value::Null)
}

/// `advice.csv`: header and one record per region; empty cells where there is no value.
///
/// # Errors
/// When the advice cannot be encoded.
pub fn advice_csv(advice: &Advice) -> Result<String, ReportError> {
    let mut out = csv_record(columns().map(|f| f.column.to_owned()));
    for row in rows(advice)? {
        out.push_str(&csv_record(row.into_iter().map(|value| match value {
            Value::Null => String::new(),
            Value::String(text) => harmless(&text),
            other => other.to_string(),
        })));
    }
    Ok(out)
}
