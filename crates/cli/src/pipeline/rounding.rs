//! Numbers of the advice without the noise of floating point.

use advise::Advice;
use serde_json::{Number, Value};

/// The advice with every number at six significant digits, so that 0.1 + 0.2 is written 0.3 on the
/// page and in every file. Fit and draws keep all digits. Numbers that are not finite stay.
pub fn rounded(advice: Advice) -> Advice {
    let Ok(mut value) = serde_json::to_value(&advice) else { return advice };
    round(&mut value);
    serde_json::from_value(value).unwrap_or(advice)
}

fn round(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_f64() => {
            let short = number.as_f64().and_then(|x| format!("{x:.5e}").parse().ok());
            if let Some(short) = short.and_then(Number::from_f64) {
                *number = short;
            }
        }
        Value::Array(values) => values.iter_mut().for_each(round),
        Value::Object(fields) => fields.values_mut().for_each(round),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::round;
    use serde_json::json;

    #[test]
    fn six_digits_are_kept() {
        let mut value = json!({ "a": [0.1 + 0.2, 1_234_567.891, -0.000_012_345_678], "n": 20_261_125, "s": "0.30000000000000004" });
        round(&mut value);
        assert_eq!(
            value.to_string(),
            r#"{"a":[0.3,1234570.0,-0.0000123457],"n":20261125,"s":"0.30000000000000004"}"#
        );
    }
}
