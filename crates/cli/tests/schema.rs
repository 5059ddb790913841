//! The committed schema is what the code says.

#![expect(clippy::unwrap_used, reason = "tests fail by panicking")]

use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;

fn schema(format: &str) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .args(["schema", "--format", format])
        .output()
        .unwrap();
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn the_committed_schema_is_what_the_code_writes() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../records/schema");
    for (format, file) in [("markdown", "tables.md"), ("json", "schema.json")] {
        let committed = fs::read_to_string(folder.join(file)).unwrap();
        let hint = format!("write it again: anacurve schema --format {format}");
        assert!(committed == schema(format), "{file} differs; {hint}");
    }
}

#[test]
fn keys_of_the_demo_are_in_the_schema_of_book_toml() {
    let all: Value = serde_json::from_str(&schema("json")).unwrap();
    let schema = &all["book_toml"];
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-demo/book.toml");
    let book: toml::Table = fs::read_to_string(demo).unwrap().parse().unwrap();
    let sections = schema["properties"].as_object().unwrap();
    for section in book.keys() {
        assert!(sections.contains_key(section), "{section}");
    }
    assert_eq!(schema["additionalProperties"], false);
    let options = schema["$defs"]["Options"]["properties"].as_object().unwrap();
    for key in book["options"].as_table().unwrap().keys() {
        assert!(options.contains_key(key), "{key}");
    }
}
