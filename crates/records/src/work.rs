//! What the book says about work: crews, tools, products and cut wood.

mod crew;
mod error;
mod product;
mod settings;
mod tools;
mod wood;

pub use crew::{Crew, RestDate, WorkDay};
pub use error::{SettingError, positive};
pub use product::{MOST_TIMES_USUAL, Product, ProductKind, Treats};
pub use settings::{SiteCrew, WorkSettings};
pub use tools::{Tool, ToolKind, check_tools};
pub use wood::CutWood;
