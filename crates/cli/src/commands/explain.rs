//! `anacurve explain`: what a code means, why it matters and what to do.

use crate::args::{ExplainArgs, Format};
use crate::console::{Failure, Outcome, print_data};
use records::Code;
use serde_json::{Value, json};

/// Explains the codes asked for, or lists them all.
pub fn execute(args: &ExplainArgs) -> Result<Outcome, Failure> {
    let codes = args.codes.iter().map(|text| code(text)).collect::<Result<Vec<_>, _>>()?;
    let text = match (args.format, codes.is_empty()) {
        (Format::Json, _) => {
            let codes = if codes.is_empty() { Code::ALL } else { &codes };
            let all: Vec<Value> = codes.iter().map(|code| to_json(*code)).collect();
            serde_json::to_string_pretty(&all).map_err(|error| Failure::new(error, ""))? + "\n"
        }
        (Format::Text, true) => list(),
        (Format::Text, false) => {
            codes.iter().map(|code| page(*code)).collect::<Vec<_>>().join("\n")
        }
    };
    print_data(&text)?;
    Ok(Outcome::Done)
}

fn code(text: &str) -> Result<Code, Failure> {
    let wanted = text.trim().to_lowercase().replace('_', "-");
    Code::from_text(&wanted).ok_or_else(|| {
        let near: Vec<&str> = near(&wanted);
        let hint = if near.is_empty() {
            "`anacurve explain` lists every code".to_owned()
        } else {
            format!("did you mean {}? `anacurve explain` lists every code", near.join(" or "))
        };
        Failure::new(format!("no code '{text}'"), hint)
    })
}

/// Codes that share a word with a text.
fn near(text: &str) -> Vec<&'static str> {
    let words: Vec<&str> = text.split('-').filter(|word| word.len() > 2).collect();
    Code::ALL
        .iter()
        .map(|code| code.as_str())
        .filter(|code| code.split('-').any(|own| words.contains(&own)))
        .take(4)
        .collect()
}

fn list() -> String {
    let width = Code::ALL.iter().map(|code| code.as_str().len()).max().unwrap_or(0);
    Code::ALL
        .iter()
        .map(|code| format!("{:width$}  {}\n", code.as_str(), code.explanation().means))
        .collect()
}

fn page(code: Code) -> String {
    let told = code.explanation();
    let mut out = format!(
        "{code}\n  {}\n\n  Why it matters: {}\n  What to do: {}\n",
        told.means, told.matters, told.remedy
    );
    if let Some(example) = told.example {
        out.push_str(&format!(
            "\n  In {}:\n    not  {}\n    but  {}\n",
            example.file, example.wrong, example.right
        ));
    }
    out
}

fn to_json(code: Code) -> Value {
    let told = code.explanation();
    json!({
        "code": code.as_str(), "means": told.means, "matters": told.matters, "remedy": told.remedy,
        "example": told.example.map(|own| {
            json!({ "file": own.file, "wrong": own.wrong, "right": own.right })
        }),
    })
}
