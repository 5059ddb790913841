//! Words of the work plan and of the what-if.

use words::{Text, constant, say, text};
use workplan::crew_sheet::Work;

pub const H_ALARMS: Text = constant!("Alarms");
pub const H_SHOPPING: Text = constant!("Shopping list");
pub const H_TOOLS: Text = constant!("Tools");
pub const H_MISSING: Text = constant!("What the plan would need");
pub const H_WHAT_IF: Text = constant!("What if prices, wages or yields were other?");
pub const H_MATERIALS: Text = constant!("Materials");
pub const T_MATERIALS: Text = constant!("What each block takes of every product");
pub const SHEETS: Text = constant!("One printed page per block, for the crew:");
pub const NO_ALARM: Text = constant!("Every window holds its work.");
pub const NO_CREW: Text = constant!(
    "No block has dates of its own: the plan knows no crew, no window or no working hours."
);
pub const TRAVEL: Text = constant!(
    "The days of a crew that works at several sites are those of the work alone: the way between sites, with tools and people, is in none of them. Where sites lie far apart, state a crew for each under [work.sites] in book.toml."
);
pub const NOTHING_MISSING: Text = constant!("Nothing is missing.");
pub const ORDER: Text = constant!(
    "Blocks stand in the order of what a day of delay is expected to cost, then of the first day of the window; the dates of a crew lie around the day for which the gain is reckoned, in the order in which delay costs least in all its blocks together, a begun block being finished first where windows allow it and none waits more than a week for another, so that a block of little work, or one whose window closes soon, may come before one that stands above it; the window of a change holds the days around it on which the expected net return falls short of that day's by no more than the tolerance, or every tested day where the records show no effect of timing, and that of present practice two weeks to either side of its days. The crew may come on any of them. Trees are all that stand in the block but those of trials, with those worked on in brackets where they differ; an intensity is that of a pruned tree."
);
pub const NO_DELAY_LOSS: Text = constant!(
    "A day of delay is not expected to cost anything in any block, so it chooses nothing: do first what suits the crew."
);
pub const TO_SCORE: Text = constant!(
    "To learn next season whether the advice held, keep it (`anacurve run BOOK --keep`) and leave at least five trees of each region unpruned and prune at least five as at present, some lightly and some hard where trees are treated so unlike each other: the review holds the trees that followed the advice against these, each kind by its share of present practice, and without them scores nothing. Plan and crew sheets count every tree: mark these in the field; the review will show them as not treated as planned."
);
pub const WHAT_IF: Text = constant!(
    "Gain of the advised practice (where the verdict is Keep or Trial, of the best that the records support) over present practice, in money per tree, with the chance that it is a loss. What each cut leaves to the next season is counted where the records show it. Money is not discounted."
);
pub const WHAT_IF_FORM: Text =
    constant!("Other numbers: leave price or wage empty for the region's own.");
pub const WHAT_IF_COMMAND: Text = constant!("The same digits by command:");

/// What a block gets.
pub fn action(work: &Work) -> &'static str {
    match work {
        // A share of nothing is no pruning, whether it is new or as it always was.
        Work::Prune(how_much) | Work::Keep(how_much) if how_much.intensity <= 0.0 => {
            text!("Leave unpruned")
        }
        Work::Prune(_) => text!("Prune"),
        Work::Keep(_) => text!("Keep present practice"),
        Work::Trial(_) => text!("Until a trial has shown more, as stated"),
        Work::OfTrials => text!("Trees of trials alone"),
        Work::Train { .. } => text!("Train young trees"),
    }
}

pub fn more_materials(shown: usize, all: usize) -> String {
    say!("The first {shown} of {all} rows are shown; materials.csv holds them all.")
}

pub fn more(shown: usize, all: usize) -> String {
    say!("The first {shown} of {all} blocks are shown; the sheets hold them all.")
}

#[cfg(test)]
mod tests {
    use super::action;
    use records::MeasuredAs;
    use workplan::crew_sheet::{HowMuch, Work};

    #[test]
    fn nothing_to_remove_is_not_called_pruning() {
        let how_much = |intensity| HowMuch {
            intensity,
            measured_as: MeasuredAs::CanopyFraction,
            canopy_m: None,
        };
        assert_eq!(action(&Work::Prune(how_much(0.25))), "Prune");
        assert_eq!(action(&Work::Prune(how_much(0.0))), "Leave unpruned");
        assert_eq!(action(&Work::Keep(how_much(0.0))), "Leave unpruned");
    }
}
