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

/// A target above this many times the label's usual concentration is refused as a slip (ours: a convention).
pub const MOST_TIMES_USUAL: f64 = 10.0;

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
    #[schemars(range(min = 1e-9, max = 100))]
    pub strength_pct: Option<f64>,
    /// Concentration of the spray, per cent active.
    #[schemars(range(min = 1e-9, max = 100))]
    pub target_pct: Option<f64>,
    /// The label's usual concentration of the spray, per cent active.
    #[schemars(range(min = 1e-9, max = 100))]
    pub usual_pct: Option<f64>,
    /// Spray, L per tree and application.
    #[schemars(range(min = 1e-6, max = 100))]
    pub volume_l_per_tree: Option<f64>,
    /// Paste, mL per large cut end.
    #[schemars(range(min = 1e-6, max = 1000))]
    pub ml_per_cut: Option<f64>,
    /// Applications in the season.
    #[serde(default = "once")]
    #[schemars(range(min = 1, max = 100))]
    pub applications: u32,
    /// Package of the bought product, L.
    #[schemars(range(min = 1e-6, max = 1e6))]
    pub package_l: Option<f64>,
    /// Package of copper sulphate, kg.
    #[schemars(range(min = 1e-6, max = 1e6))]
    pub copper_sulphate_package_kg: Option<f64>,
    /// Package of hydrated lime, kg.
    #[schemars(range(min = 1e-6, max = 1e6))]
    pub hydrated_lime_package_kg: Option<f64>,
    /// Days before people may enter again, from the label.
    #[schemars(range(min = 0, max = 366))]
    pub re_entry_days: Option<u32>,
    /// Days before harvest, from the label.
    #[schemars(range(min = 0, max = 366))]
    pub pre_harvest_days: Option<u32>,
}

impl Product {
    /// Target and usual concentration of the spray, where the one is ten times the other or more: per cent of
    /// another thing, or a decimal point that slipped.
    #[must_use]
    pub fn unlikely_target(&self) -> Option<[f64; 2]> {
        let [target, usual] = [self.target_pct?, self.usual_pct?];
        let times = target / usual;
        // The margin keeps rounding out of exactly ten times and a tenth.
        let most = MOST_TIMES_USUAL * (1.0 - 1e-9);
        (times >= most || times * most <= 1.0).then_some([target, usual])
    }
}

fn once() -> u32 {
    1
}
