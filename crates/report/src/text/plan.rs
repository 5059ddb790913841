//! Words of the work plan and of the what-if.

use workplan::crew_sheet::Work;

pub const H_ALARMS: &str = "Alarms";
pub const H_SHOPPING: &str = "Shopping list";
pub const H_TOOLS: &str = "Tools";
pub const H_MISSING: &str = "What the plan would need";
pub const H_WHAT_IF: &str = "What if prices, wages or yields were other?";
pub const H_MATERIALS: &str = "Materials";
pub const T_MATERIALS: &str = "What each block takes of every product";
pub const SHEETS: &str = "One printed page per block, for the crew:";
pub const NO_ALARM: &str = "Every window holds its work.";
pub const NO_CREW: &str =
    "No block has dates of its own: the plan knows no crew, no window or no working hours.";
pub const NOTHING_MISSING: &str = "Nothing is missing.";
pub const ORDER: &str = "Blocks stand in the order of what a day of delay is expected to cost; dates are those of the crew. Trees are all that stand in the block, with those worked on in brackets where they differ; an intensity is that of a pruned tree.";
pub const WHAT_IF: &str = "Gain of the advised practice (where the verdict is Keep or Trial, of the best that the records support) over present practice, in money per tree, with the chance that it is a loss. What each cut leaves to the next season is counted where the records show it. Money is not discounted.";
pub const WHAT_IF_FORM: &str = "Other numbers: leave price or wage empty for the region's own.";
pub const WHAT_IF_COMMAND: &str = "The same digits by command:";

/// What a block gets.
pub fn action(work: &Work) -> &'static str {
    match work {
        Work::Prune(_) => "Prune",
        Work::Keep(_) => "Keep present practice",
        Work::Trial(_) => "Lay out a trial; meanwhile as stated",
        Work::Train { .. } => "Train young trees",
    }
}

pub fn more_materials(shown: usize, all: usize) -> String {
    format!("The first {shown} of {all} rows are shown; materials.csv holds them all.")
}

pub fn more(shown: usize, all: usize) -> String {
    format!("The first {shown} of {all} blocks are shown; the sheets hold them all.")
}
