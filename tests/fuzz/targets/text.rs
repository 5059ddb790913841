//! Any bytes as a CSV file of any table, under several declarations.
#![no_main]

use fuzz::{Folder, SETTINGS, TABLES, assert_promises, read};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let [choice, bytes @ ..] = data else { return };
    let (table, _) = TABLES[usize::from(*choice) % TABLES.len()];
    let folder = Folder::new();
    folder.put(&format!("{table}.csv"), bytes);
    let declared = match usize::from(*choice) / TABLES.len() % 9 {
        0 => "",
        1 => "decimal = \"comma\"\ndates = \"day_first\"\n",
        2 => "dates = \"month_first\"\n",
        3 => "encoding = \"utf-16le\"\n",
        5 => match table {
            "blocks" => "fill_down = [\"site\", \"region\"]\n",
            "trees" => "fill_down = [\"block\"]\n",
            _ => "fill_down = [\"tree\"]\n",
        },
        6 => match table {
            "blocks" => "values = { training = { leader = \"modified_leader\" } }\n",
            "trees" => "values = { tree = { \"?\" = \"\" }, block = { b = \"B1\" } }\n",
            "prunings" => {
                "values = { intensity = { light = 0.15, hard = \"40 %\", \"?\" = \"\" } }\n"
            }
            _ => "values = { tree = { one = \"T1\", \"1\" = \"T2\" } }\n",
        },
        7 => match table {
            "blocks" => "units = { row_spacing_m = \"0.5 m\" }\n",
            "trees" => "units = { girth_cm = \"ft\" }\n",
            "prunings" => "units = { minutes = \"h:mm\", intensity = \"pct\" }\n",
            "harvests" => "units = { nut_kg = \"2.5 kg\" }\n",
            _ => "fill_down = [\"tree\"]\n",
        },
        8 if table == "blocks" => "not_rows = [\"total*\", \"*?\"]\ndrop_zeros = [\"block\"]\n",
        8 => "not_rows = [\"total*\", \"*?\"]\ndrop_zeros = [\"tree\"]\n",
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
