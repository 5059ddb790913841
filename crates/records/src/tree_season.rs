//! The linked table: one row per tree and crop season. Column names, types and units.
//!
//! This is the contract between linking, the models and the Parquet file of a run.

use serde::Serialize;

/// One column of the linked table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct LinkedColumn {
    /// Name in the table.
    pub name: &'static str,
    /// Storage type.
    pub storage: Storage,
    /// Whether it may be null.
    pub nullable: bool,
    /// Unit, empty for none.
    pub unit: &'static str,
    /// Meaning.
    pub doc: &'static str,
}

/// Storage types of the linked table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Storage {
    /// UTF-8 text.
    Text,
    /// 32-bit whole number.
    Int,
    /// 64-bit float.
    Float,
    /// Days since 1970-01-01.
    Date,
    /// True or false.
    Flag,
}

macro_rules! columns {
    ($($constant:ident $name:literal $storage:ident $nullable:literal $unit:literal $doc:literal;)*) => {
        $(#[doc = $doc] pub const $constant: &str = $name;)*

        /// Every column, in table order. Rows are sorted by region, site, block, tree and season.
        pub const COLUMNS: &[LinkedColumn] = &[$(LinkedColumn {
            name: $name, storage: Storage::$storage, nullable: $nullable, unit: $unit, doc: $doc,
        },)*];
    };
}

pub(crate) use columns;

columns! {
    REGION "region" Text false "" "Region of the block.";
    SITE "site" Text false "" "Site of the block.";
    BLOCK "block" Text false "" "Block of the tree.";
    TREE "tree" Text false "" "Tree id.";
    SEASON "season" Int false "" "Year in which the harvest window opened.";
    YIELD_KG "yield_kg" Float false "kg" "Raw nut yield of the tree in the season at reference moisture, all picks added.";
    PICKS "picks" Int false "" "Number of picks added.";
    NUT_COUNT "nut_count" Float true "" "Number of nuts, when every pick counted them.";
    INTENSITY "intensity" Float false "fraction" "Canopy fraction removed before this harvest, prunings combined; 0 when unpruned.";
    PRUNINGS "prunings" Int false "" "Number of prunings combined.";
    BASIS "basis" Text false "" "How the intensity was measured: canopy_fraction, shoots, spread, headed_length, several, or none when unpruned.";
    LEAD_DAYS "lead_days" Float true "days" "Days from the intensity-weighted mean pruning date to the flush start; null when unpruned.";
    REST_DAY "rest_day" Float true "days" "Days from harvest close to the mean pruning date; null when unpruned.";
    PRUNED_ON "pruned_on" Date true "" "Intensity-weighted mean pruning date; null when unpruned.";
    MINUTES "minutes" Float true "min" "Working minutes of all prunings; null unless all recorded them.";
    AGE_YEARS "age_years" Float true "years" "Age at harvest opening.";
    TREES_PER_HA "trees_per_ha" Float true "1/ha" "Planting density of the block.";
    VARIETY "variety" Text true "" "Variety of the block.";
    TRAINING "training" Text true "" "Training system of the block.";
    GIRTH_CM "girth_cm" Float true "cm" "Trunk girth from the tree table.";
    CANOPY_M2 "canopy_m2" Float true "m2" "Ground projection of the canopy from the tree table.";
    PREVIOUS_YIELD_KG "previous_yield_kg" Float true "kg" "Yield of the same tree in the season before.";
    PREVIOUS_INTENSITY "previous_intensity" Float true "fraction" "Intensity of the same tree in the season before; null when that season is not recorded.";
    EVIDENCE "evidence" Text false "" "trial when the tree is in a randomised trial, from the first of its declared seasons on, other when that trial varies something else than pruning and cuts all alike; else routine.";
    TRIAL "trial" Text true "" "Trial id; of several trials of a tree, the one that began last.";
    REPLICATE "replicate" Text true "" "Replicate of the trial.";
    LATERALS_PER_M2 "laterals_per_m2" Float true "1/m2" "Laterals over frame area, frames of the season pooled.";
    FLOWERING_PER_M2 "flowering_laterals_per_m2" Float true "1/m2" "Flowering laterals over frame area, frames of the season pooled.";
    YOUNG "young" Flag false "" "True when the tree is under the training age: kept here, left out of the yield model, as is evidence other.";
}
