//! The linked frame counts: one row per frame of a linked tree-season. Column names, types and units.
//!
//! This is the contract between linking and the count models.

use crate::tree_season::{LinkedColumn, Storage, columns};

columns! {
    REGION "region" Text false "" "Region of the block.";
    SITE "site" Text false "" "Site of the block.";
    BLOCK "block" Text false "" "Block of the tree.";
    TREE "tree" Text false "" "Tree id.";
    SEASON "season" Int false "" "Season whose crop the laterals bear: the first harvest to close on or after the day of the count.";
    FRAME_M2 "frame_m2" Float false "m2" "Area of the counting frame.";
    LATERALS "laterals" Int false "" "Lateral shoots in the frame.";
    FLOWERING "flowering_laterals" Int true "" "Flowering lateral shoots in the frame; null when not counted.";
    SIDE "side" Text true "" "Side of the tree, as recorded; null when not recorded.";
    INTENSITY "intensity" Float false "fraction" "Canopy fraction removed before the season's harvest, prunings combined; 0 when unpruned.";
    LEAD_DAYS "lead_days" Float true "days" "Days from the intensity-weighted mean pruning date to the flush start; null when unpruned.";
    IN_TRIAL "in_trial" Flag false "" "True when the tree is in a randomised trial.";
}
