//! Any bytes as a CSV file of any table, under several declarations.
#![no_main]

use fuzz::{Folder, SETTINGS, TABLES, assert_promises, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let [choice, bytes @ ..] = data else { return };
    let (table, _) = TABLES[usize::from(*choice) % TABLES.len()];
    let folder = Folder::new();
    folder.put(&format!("{table}.csv"), bytes);
    let declared = match usize::from(*choice) / TABLES.len() % 5 {
        0 => "",
        1 => "decimal = \"comma\"\ndates = \"day_first\"\n",
        2 => "dates = \"month_first\"\n",
        3 => "encoding = \"utf-16le\"\n",
        _ if table == "blocks" => {
            "joined = { block = [\"row\", \"no\"], site = [\"row\", \"grove\"] }\n"
        }
        _ => "joined = { tree = [\"row\", \"no\"] }\n",
    };
    if !declared.is_empty() {
        let files = format!("[[files.{table}]]\npath = \"{table}.csv\"\n{declared}");
        folder.put("book.toml", format!("{SETTINGS}\n{files}"));
    }
    if let Some(tables) = read(&folder) {
        assert_promises(&tables);
    }
});
