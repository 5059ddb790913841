//! What a declaration can be held against: columns and levels of the trial table.

use std::collections::{BTreeMap, BTreeSet};

/// Columns of the trial table, and the levels in its rows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeenTrials {
    /// Columns of the trial table.
    pub columns: BTreeSet<String>,
    /// By trial and column, the texts in its rows.
    pub levels: BTreeMap<String, BTreeMap<String, BTreeSet<String>>>,
}

impl SeenTrials {
    /// Columns that a role may name without the trial table having them: they come from the tree's
    /// block and its place there.
    pub const GIVEN: [&'static str; 4] = ["site", "block", "row", "column"];
    /// Covariates from other tables: the crop of the last season before the trial, kg, and the
    /// girth of the tree table.
    pub const COVARIATES: [&'static str; 2] = ["earlier_crop", "girth_cm"];
}
