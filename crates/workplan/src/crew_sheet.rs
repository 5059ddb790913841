//! What a block's printable sheet says and shows: large lines, numbers, recipes, cautions and drawings.

mod canvas;
mod cuts;
mod how_much;
mod recipe;
mod sheet;
mod tree;

pub use cuts::{collar_cut, lateral_cut};
pub use how_much::{HowMuch, Portion};
pub use recipe::Recipe;
pub use sheet::{Apart, CrewSheet, Fact, InTrial, SheetInput, Work};
pub use tree::{canopy, headed_shoot, modified_leader, open_centre};

use serde::{Deserialize, Serialize};

/// A drawing: a whole SVG document that may also stand inside a page (it has no ids).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drawing {
    /// Heading.
    pub title: String,
    /// What it shows, for a screen reader; also its `aria-label`.
    pub description: String,
    /// SVG document.
    pub svg: String,
}
