//! Which means are compared.

use serde::{Deserialize, Serialize};

/// A comparison of two means of a design.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Comparison {
    /// Two treatments; of an augmented design two new ones in different blocks.
    #[default]
    Treatments,
    /// Two checks of an augmented design.
    Checks,
    /// Two main-plot treatments, over sub plots; strips one way.
    Main,
    /// Two sub-plot treatments, over main plots; strips across.
    Sub,
    /// Two sub-sub-plot treatments, over the others.
    SubSub,
    /// Two sub-plot treatments in one main-plot treatment.
    SubWithinMain,
    /// Two main-plot treatments at one sub-plot treatment (or at different ones).
    MainAtSub,
    /// Two sub-sub-plot treatments in one combination of the others.
    SubSubWithin,
    /// Difference of differences: of two sub-plot treatments between two main-plot treatments.
    MainBySub,
}
