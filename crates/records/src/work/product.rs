//! `[products.NAME]` of the book.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a product is for.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum ProductKind {
    /// 10 % copper paste on large cut ends.
    CopperPaste,
    /// 1 % copper spray on pruned shoots.
    CopperSpray,
    /// A bought product sprayed against insects.
    InsectProtection,
}

/// Which trees a product treats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Treats {
    /// Trees pruned under the plan.
    #[default]
    Pruned,
    /// Every tree, young ones too.
    All,
}

/// `[products.NAME]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Product {
    /// What it is for.
    pub kind: ProductKind,
    /// Which trees it treats.
    #[serde(default)]
    pub treats: Treats,
    /// Active ingredient of the bought product, g in 100 mL.
    pub strength_pct: Option<f64>,
    /// Concentration of the spray, per cent active.
    pub target_pct: Option<f64>,
    /// The label's usual concentration of the spray, per cent active.
    pub usual_pct: Option<f64>,
    /// Spray, L per tree and application.
    pub volume_l_per_tree: Option<f64>,
    /// Paste, mL per large cut end.
    pub ml_per_cut: Option<f64>,
    /// Applications in the season.
    #[serde(default = "once")]
    pub applications: u32,
    /// Package of the bought product, L.
    pub package_l: Option<f64>,
    /// Package of copper sulphate, kg.
    pub copper_sulphate_package_kg: Option<f64>,
    /// Package of hydrated lime, kg.
    pub hydrated_lime_package_kg: Option<f64>,
    /// Days before people may enter again, from the label.
    pub re_entry_days: Option<u32>,
    /// Days before harvest, from the label.
    pub pre_harvest_days: Option<u32>,
}

fn once() -> u32 {
    1
}
