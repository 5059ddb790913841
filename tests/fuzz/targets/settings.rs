//! Any text as `book.toml` of the small book.
#![no_main]

use fuzz::{Folder, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let folder = Folder::new();
    folder.put("book.toml", data);
    if let Some(mut tables) = read(&folder) {
        for file in &tables.files {
            assert!(file.is_conserved(), "{file:?}");
        }
        // A book that reads may link to nothing, and must never break the linking.
        if let Err(error) = ingest_seasons::link(&mut tables) {
            assert!(!error.to_string().starts_with("internal error"), "{error}");
        }
    }
});
