//! Files of a folder with their bytes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Every file below a folder by its path from there.
pub fn contents(dir: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![dir.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.insert(
                    path.strip_prefix(dir).unwrap().to_owned(),
                    std::fs::read(&path).unwrap(),
                );
            }
        }
    }
    found
}
