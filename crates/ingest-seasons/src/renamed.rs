//! Ids whose beginning many rows write otherwise than the tree table, as after a block was renamed: told once for all
//! of them, with the line of `book.toml` that reads them.

use crate::outcome::Outcome;
use records::{Code, Place, counted};
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// Fewest ids of one beginning that make it another name rather than slips (ours: a convention, of no published
/// source).
const IDS: usize = 5;

/// Rows of one file and beginning whose ids mean those of another beginning.
#[derive(Debug, Default)]
pub(crate) struct Renamed {
    ids: BTreeSet<String>,
    rows: u64,
    first: Option<(u32, u32)>,
}

/// File index, beginning as written and as meant.
pub(crate) type RenamedFiles = BTreeMap<(u32, String, String), Renamed>;

/// The beginnings of two ids that end in the same number, where they differ.
fn beginnings<'a>(written: &'a str, meant: &'a str) -> Option<(&'a str, &'a str)> {
    let shared = written.bytes().rev().zip(meant.bytes().rev()).take_while(|(a, b)| a == b);
    let digits = shared.take_while(|(a, _)| a.is_ascii_digit()).count();
    let head = |id: &'a str| id.get(..id.len() - digits);
    // Of a number that is cut short, as of `A12` and `A2`, nothing is known.
    let is_whole = |head: &str| !head.ends_with(|c: char| c.is_ascii_digit());
    let (own, other) = (head(written)?, head(meant)?);
    (digits > 0 && own != other && is_whole(own) && is_whole(other)).then_some((own, other))
}

/// Counts a row of an unknown tree that may mean another.
pub(crate) fn count(at: (u32, u32), written: &str, meant: &[&str], outcome: &mut Outcome) {
    let [meant] = meant else { return };
    let Some((own, other)) = beginnings(written, meant) else { return };
    let found = outcome.renamed.entry((at.0, own.to_owned(), other.to_owned())).or_default();
    found.ids.insert(written.to_owned());
    found.rows += 1;
    found.first = Some(found.first.map_or(at, |first| first.min(at)));
}

/// Tells them.
pub(crate) fn warn(outcome: &mut Outcome) {
    for ((_, own, other), Renamed { ids, rows, first }) in std::mem::take(&mut outcome.renamed) {
        let Some(first) = first.filter(|_| ids.len() >= IDS) else { continue };
        let place = outcome.place(first);
        let table = outcome.table_of(first);
        outcome.warn(
            Place { line: None, ..place },
            Code::TreeUnknown,
            say!(
                "{} of the file, of {}, begin with '{own}' where the tree table has '{other}' before the same number",
                counted(rows, text!("row"), text!("rows")),
                counted(ids.len() as u64, text!("tree"), text!("trees"))
            ),
            say!(
                "if they are the same trees under another name, write values = {{ tree = {{ \"{own}*\" = \"{other}*\" }} }} under the [[files.{table}]] of this file (of a joined id the part alone, without a star): one line for all of them"
            ),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::beginnings;

    #[test]
    fn ids_of_the_same_number_differ_in_their_beginning() {
        assert_eq!(beginnings("MA-2/017", "MA2/017"), Some(("MA-2/", "MA2/")));
        assert_eq!(beginnings("T12", "T2"), None);
        assert_eq!(beginnings("t2", "T2"), Some(("t", "T")));
        assert_eq!(beginnings("B-1x", "B1x"), None);
        assert_eq!(beginnings("T7", "T7"), None);
    }
}
