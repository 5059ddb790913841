//! A small record book in a folder, of which a target replaces files.

use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Settings of the small book, without files of their own.
pub const SETTINGS: &str = r#"
[book]
name = "Example"

[regions.coast]
harvest = ["02-01", "05-31"]
flush = ["09-01", "11-30"]

[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.8
"#;

/// The tables of the small book, as CSV, in reading order.
pub const TABLES: [(&str, &str); 6] = [
    ("blocks", "block,site,region\nB1,S1,coast\n"),
    ("trees", "tree,block\nT1,B1\nT2,B1\n"),
    ("prunings", "tree,date,intensity,measured_as\nT1,2023-07-01,0.2,canopy_fraction\n"),
    ("laterals", "tree,date,frame_m2,laterals\nT1,2024-01-05,0.5,12\n"),
    ("harvests", "tree,date,nut_kg\nT1,2024-03-01,3.5\nT2,2024-03-01,4.5\n"),
    ("trials", "trial,tree,replicate\nX,T1,1\nX,T2,2\n"),
];

/// A book in memory-backed storage where there is some.
pub struct Folder(TempDir);

impl Default for Folder {
    fn default() -> Self {
        Self::new()
    }
}

impl Folder {
    /// An empty folder.
    pub fn empty() -> Self {
        let shared = Path::new("/dev/shm");
        let folder =
            if shared.is_dir() { tempfile::tempdir_in(shared) } else { tempfile::tempdir() };
        Self(folder.expect("a temporary folder"))
    }

    /// The small book.
    pub fn new() -> Self {
        let folder = Self::empty();
        folder.put("book.toml", SETTINGS);
        for (table, text) in TABLES {
            folder.put(&format!("{table}.csv"), text);
        }
        folder
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file.
    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        std::fs::write(&path, bytes).expect("a file in a temporary folder");
        path
    }

    /// Removes a file.
    pub fn remove(&self, name: &str) {
        std::fs::remove_file(self.path().join(name)).expect("a file in a temporary folder");
    }
}
