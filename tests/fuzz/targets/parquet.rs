//! Any bytes as a Parquet file of harvests.
#![no_main]

use fuzz::{Folder, assert_promises, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let folder = Folder::new();
    folder.remove("harvests.csv");
    folder.put("harvests.parquet", data);
    if let Some(tables) = read(&folder) {
        assert_promises(&tables);
    }
});
