//! The pages: `index.html` and `dictionary.html`.

mod dictionary;
mod figures;
mod index;
mod laterals;
mod method;
mod overview;
mod quality;
mod region;
mod returns;
mod table;
mod what_if;
mod work;

/// Sorting and filtering of long tables, for every page that may hold one.
pub const TABLES_SCRIPT: &str = include_str!("../templates/tables.js");

pub use dictionary::dictionary_html;
pub use index::index_page;
pub use table::{Cell, Fact, Figure, Head, Table};
