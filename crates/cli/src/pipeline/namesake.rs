//! Another book of the same name, whose reports a run would replace.

use crate::console::Failure;
use records::Book;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::path::Path;

/// What is read of a report's advice.
#[derive(Deserialize)]
struct Known {
    regions: Vec<KnownRegion>,
}

#[derive(Deserialize)]
struct KnownRegion {
    region: String,
}

/// Refuses a folder of reports none of whose regions the book has: they are another book's. A
/// folder without a report, or with one that cannot be read, is no obstacle here.
///
/// # Errors
/// With a report of the other book and what to do.
pub fn refuse(folder: &Path, book: &Book) -> Result<(), Failure> {
    let reports = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut others: Vec<_> = reports
        .map(|report| report.path())
        .filter_map(|report| {
            let advice = std::fs::read(report.join("advice.json")).ok()?;
            let Known { regions } = serde_json::from_slice(&advice).ok()?;
            let known: BTreeSet<String> = regions.into_iter().map(|known| known.region).collect();
            let is_other =
                !known.is_empty() && known.iter().all(|id| !book.regions.contains_key(id));
            is_other.then_some((report, known))
        })
        .collect();
    others.sort();
    let Some((report, known)) = others.pop() else { return Ok(()) };
    let regions = known.into_iter().collect::<Vec<_>>().join(", ");
    Err(Failure::new(
        format!(
            "{}: this report is of another book of the same name: none of its regions ({regions}) is in this book",
            report.display()
        ),
        "give the two books different names in book.toml, or this one's reports another folder with --out; remove the old report if it is no longer needed",
    ))
}
