//! The sections and keys of `book.toml` for people, from the JSON Schema of its types.

use serde_json::Value;
use std::collections::VecDeque;
use std::fmt::Write as _;

/// A section on the way to be written: how it is headed, what it is for, and its schema.
struct Section<'s> {
    path: String,
    /// One of a list of sections.
    is_listed: bool,
    purpose: &'s str,
    keys: &'s Value,
}

/// Sections and keys of `book.toml` as Markdown.
pub(super) fn markdown(schema: &Value) -> String {
    let mut out = "\n# Settings of a record book\n\n\
         The file `book.toml` in the folder of the tables. Required keys are bold; names in capitals \
         are the book's own.\n"
        .to_owned();
    let mut waiting: VecDeque<Section<'_>> = VecDeque::new();
    for (key, of) in entries(schema) {
        waiting.extend(section_of(schema, "", key, of));
    }
    while let Some(section) = waiting.pop_front() {
        let Section { path, is_listed, purpose, keys } = &section;
        let heading = if *is_listed { format!("[[{path}]]") } else { format!("[{path}]") };
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            "\n## {heading}\n\n{}\n\n| key | value | default | meaning |\n| --- | --- | --- | --- |\n",
            one_line(purpose)
        );
        let required = keys.get("required").and_then(Value::as_array);
        let is_required =
            |key: &str| required.is_some_and(|keys| keys.iter().any(|own| own == key));
        let mut below = Vec::new();
        for (key, of) in entries(keys) {
            below.extend(section_of(schema, path, key, of));
            let name = if is_required(key) { format!("**{key}**") } else { key.to_owned() };
            let default = match of.get("default") {
                None | Some(Value::Null | Value::Object(_)) => String::new(),
                Some(Value::Array(list)) if list.is_empty() => String::new(),
                Some(value) => value.to_string().trim_matches('"').to_owned(),
            };
            let meaning = text(of, "description");
            let kind = kind(schema, of);
            let _ = writeln!(
                out,
                "| {name} | {} | {default} | {} |",
                kind.replace('|', "\\|"),
                one_line(meaning).replace('|', "\\|")
            );
        }
        for section in below.into_iter().rev() {
            waiting.push_front(section);
        }
    }
    out
}

fn text<'s>(value: &'s Value, key: &str) -> &'s str {
    value.get(key).and_then(Value::as_str).unwrap_or_default()
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn entries(schema: &Value) -> impl Iterator<Item = (&str, &Value)> {
    let keys = schema.get("properties").and_then(Value::as_object);
    keys.into_iter().flatten().map(|(key, of)| (key.as_str(), of))
}

/// What a value may be: its reference followed, without the alternative of being absent.
fn resolved<'s>(schema: &'s Value, of: &'s Value) -> &'s Value {
    if let Some(name) = of.get("$ref").and_then(Value::as_str) {
        let name = name.rsplit('/').next().unwrap_or_default();
        let found = schema.get("$defs").and_then(|defs| defs.get(name));
        return found.map_or(of, |found| resolved(schema, found));
    }
    let is_absent = |one: &&Value| one.get("type").and_then(Value::as_str) == Some("null");
    match of.get("anyOf").and_then(Value::as_array).map(Vec::as_slice) {
        Some([one, other]) if is_absent(&other) => resolved(schema, one),
        _ => of,
    }
}

/// The sections that a key opens: its own keys, or those of each of its entries.
fn section_of<'s>(schema: &'s Value, above: &str, key: &str, of: &'s Value) -> Option<Section<'s>> {
    let joint = if above.is_empty() { "" } else { "." };
    let own = resolved(schema, of);
    let mut section = Section {
        path: format!("{above}{joint}{key}"),
        is_listed: false,
        purpose: text(of, "description"),
        keys: own,
    };
    let mut inner = own;
    if let Some(each) = own.get("additionalProperties").filter(|each| each.is_object()) {
        section.path.push_str(if key == "files" { ".TABLE" } else { ".NAME" });
        inner = resolved(schema, each);
    }
    if let Some(each) = inner.get("items") {
        section.is_listed = true;
        inner = resolved(schema, each);
    }
    section.keys = inner;
    inner.get("properties").is_some().then_some(section)
}

/// From this number on an upper end is there against slips alone.
const HUGE: f64 = 1e12;
/// Below this a lower end keeps 0 out.
const TINY: f64 = 1e-5;

/// The least and the most that a number may be, where it has both.
fn span(own: &Value) -> String {
    let end = |key: &str| own.get(key).and_then(Value::as_f64);
    let (Some(least), Some(most)) = (end("minimum"), end("maximum")) else { return String::new() };
    // Ends of the type are none of the book's.
    if least <= f64::from(i16::MIN) {
        return String::new();
    }
    match (least > 0.0 && least < TINY, most >= HUGE) {
        (true, true) => ", above 0".to_owned(),
        (true, false) => format!(", above 0 to {most}"),
        (false, true) => format!(", {least} or more"),
        (false, false) => format!(", {least} to {most}"),
    }
}

/// A value in words.
fn kind(schema: &Value, of: &Value) -> String {
    let own = resolved(schema, of);
    for choice in ["oneOf", "anyOf"] {
        if let Some(ones) = own.get(choice).and_then(Value::as_array) {
            let mut words: Vec<String> = ones.iter().map(|one| kind(schema, one)).collect();
            words.dedup();
            return words.join(" or ");
        }
    }
    if let Some(word) = own.get("const") {
        return word.to_string();
    }
    if let Some(words) = own.get("enum").and_then(Value::as_array) {
        return words.iter().map(Value::to_string).collect::<Vec<_>>().join(" or ");
    }
    let types: Vec<&str> = match own.get("type") {
        Some(Value::String(one)) => vec![one],
        Some(Value::Array(ones)) => ones.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    };
    let of_each = |each: &Value| kind(schema, each);
    match types.into_iter().find(|one| *one != "null") {
        Some("string") => "text".to_owned(),
        Some("number") => format!("number{}", span(own)),
        Some("integer") => format!("whole number{}", span(own)),
        Some("boolean") => "true or false".to_owned(),
        Some("array") => match own.get("items") {
            Some(each) if resolved(schema, each).get("properties").is_some() => {
                "sections, below".to_owned()
            }
            Some(each) => format!("list of {}", of_each(each)),
            None => "list".to_owned(),
        },
        Some("object") => match own.get("additionalProperties").filter(|each| each.is_object()) {
            Some(each) if resolved(schema, each).get("properties").is_none() => {
                format!("{{ NAME = {} }}", of_each(each))
            }
            _ => "section, below".to_owned(),
        },
        _ => String::new(),
    }
}
