//! `[[work.tools]]` of the book.

use super::error::SettingError;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use words::{say, text};

/// What makes a tool dangerous.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum ToolKind {
    /// Used by hand.
    Hand,
    /// On a pole or with long handles.
    Pole,
    /// Driven by a motor.
    Power,
}

/// One entry of `[[work.tools]]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tool {
    /// Name, in the words of the crew.
    pub tool: String,
    /// Thickest cut, cm; no limit when left out.
    pub up_to_cm: Option<f64>,
    /// What makes it dangerous.
    pub kind: ToolKind,
}

/// Checks the book's tools: ascending diameters, the last one without a limit.
///
/// # Errors
/// When a diameter is out of order or large cuts have no tool.
pub fn check_tools(tools: &[Tool]) -> Result<(), SettingError> {
    let key = "[[work.tools]] up_to_cm";
    let mut before = 0.0;
    for tool in tools.iter().take(tools.len().saturating_sub(1)) {
        match tool.up_to_cm {
            Some(cm) if cm.is_finite() && cm > before => before = cm,
            _ => {
                return Err(SettingError::new(
                    key,
                    say!("{} is not thicker than the {before} cm before it", tool.tool),
                    text!("list tools from thin to thick cuts, only the last without a limit"),
                ));
            }
        }
    }
    match tools.last() {
        Some(last) if last.up_to_cm.is_none() => Ok(()),
        _ => Err(SettingError::new(
            key,
            text!("no tool cuts limbs of any thickness"),
            text!("leave up_to_cm out for the last tool"),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tools_out_of_order_are_refused() {
        let tool =
            |name: &str, up_to_cm| Tool { tool: name.to_owned(), up_to_cm, kind: ToolKind::Hand };
        let tools = [tool("secateurs", Some(3.0)), tool("saw", Some(10.0)), tool("axe", None)];
        check_tools(&tools).unwrap();
        let swapped = [tools[1].clone(), tools[0].clone(), tools[2].clone()];
        assert!(
            check_tools(&swapped).unwrap_err().to_string().contains("secateurs is not thicker")
        );
        assert!(check_tools(&tools[..2]).is_err());
        assert!(check_tools(&[]).is_err());
    }
}
