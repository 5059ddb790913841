//! Wound paste, copper spray and insect protection: doses, quantities and the shopping list.

mod copper;
mod dose;
mod quantity;
mod shopping;

pub use copper::{CopperMix, PASTE_LITRES_PER_KG, SPRAY_LITRES_PER_KG};
pub use dose::Dose;
pub use quantity::{Item, Quantity, Stuff, Treated, Unit, WaitingTime};
pub use records::work::MOST_TIMES_USUAL;
pub use records::work::{Product, ProductKind, Treats};
pub use shopping::{Purchase, shopping_list};
