//! What the targets share: a book in a folder, and the promises that every reading must keep.

mod canonical;
mod folder;
mod promises;
mod workbook;

pub use canonical::canonical;
pub use folder::{Folder, SETTINGS, TABLES};
pub use promises::{assert_promises, read};
pub use workbook::{ods, xlsx};
