//! Agro-climatic zones from a table of climate normals, for books whose blocks have no region yet.

mod table;
mod words;

pub use table::read;
pub use words::{csv, text};
