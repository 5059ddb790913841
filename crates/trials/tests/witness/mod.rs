//! Reads the committed reference values.
#![allow(clippy::unwrap_used, dead_code)]

use serde_json::Value;

/// Where a file of tests/reference/trials stands.
pub fn path(name: &str) -> String {
    format!("{}/../../tests/reference/trials/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// A file of tests/reference/trials as JSON.
pub fn read(name: &str) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path(name)).unwrap()).unwrap()
}

/// Numbers of an array.
pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// One number.
pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

/// Texts of an array.
pub fn texts(value: &Value) -> Vec<String> {
    value.as_array().unwrap().iter().map(|v| v.as_str().unwrap().to_owned()).collect()
}

/// Rows of numbers.
pub fn rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}
