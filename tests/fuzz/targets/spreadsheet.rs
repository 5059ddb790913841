//! Any bytes as a workbook, as the sheet of an XLSX workbook, or as the content of an ODS workbook.
#![no_main]

use fuzz::{Folder, assert_promises, ods, read, xlsx};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let [choice, bytes @ ..] = data else { return };
    let folder = Folder::new();
    folder.remove("harvests.csv");
    match choice % 4 {
        0 => folder.put("harvests.xlsx", xlsx(bytes)),
        1 => folder.put("harvests.ods", ods(bytes)),
        2 => folder.put("harvests.xlsx", bytes),
        _ => folder.put("harvests.ods", bytes),
    };
    if let Some(tables) = read(&folder) {
        assert_promises(&tables);
    }
});
