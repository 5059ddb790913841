//! Notices rows that repeat earlier ones.

use crate::cell::value::Value;
use records::Table;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, DefaultHasher, Hash, Hasher};

/// Where a row is: index of its file, and line.
pub(crate) type RowPlace = (u32, u32);

/// What a row is to the rows before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Repetition {
    New,
    /// The same block at another place, the same tree in another block, with other values or in
    /// another plot of its trial: linking, which sees all rows together, takes none of what they say
    /// differently, as which is right cannot be known.
    Elsewhere,
    /// The same tree and day with other values: possible, but worth a look.
    SameKey,
    /// A repetition of the row at a place.
    Duplicate(RowPlace),
}

#[derive(Debug, Clone, Copy)]
struct Seen {
    place: RowPlace,
    rest: u64,
}

/// The hash of numbers that are hashes already.
#[derive(Debug, Default)]
struct Hashed(u64);

impl Hasher for Hashed {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        bytes.iter().for_each(|byte| self.write_u64(u64::from(*byte)));
    }

    fn write_u64(&mut self, number: u64) {
        self.0 = self.0.rotate_left(5) ^ number;
    }
}

/// Remembers the rows of one table as hashes: a row is taken for a repetition when both the hash
/// of its key and the hash of the rest agree (128 bits together).
#[derive(Debug)]
pub(crate) struct Duplicates {
    table: Table,
    /// How many leading columns make the key.
    key: usize,
    first: HashMap<u64, Seen, BuildHasherDefault<Hashed>>,
    /// Further rows of a key that has been seen.
    further: HashMap<(u64, u64), RowPlace, BuildHasherDefault<Hashed>>,
    /// Hashes of key and rest of the row compared last.
    last: (u64, u64),
}

impl Duplicates {
    pub(crate) fn new(table: Table) -> Self {
        // The schemas put the key first: block, tree, tree and date, trial and tree.
        let key = match table {
            Table::Blocks | Table::Trees => 1,
            Table::Prunings | Table::Laterals | Table::Harvests | Table::Trials => 2,
        };
        Self { table, key, first: HashMap::default(), further: HashMap::default(), last: (0, 0) }
    }

    /// Compares a row, given by its values and their texts, and remembers it when it is new.
    /// `whole` is the text of all its cells.
    pub(crate) fn see<'t>(
        &mut self,
        place: RowPlace,
        values: &[Value],
        text: impl Fn(usize) -> std::borrow::Cow<'t, str>,
        whole: impl Fn() -> String,
    ) -> Repetition {
        let hashed = |columns: std::ops::Range<usize>| {
            let mut hasher = DefaultHasher::new();
            for column in columns {
                match values.get(column) {
                    None | Some(Value::Null) => 0_u8.hash(&mut hasher),
                    Some(Value::Text) => text(column).hash(&mut hasher),
                    Some(Value::Word(word)) => word.hash(&mut hasher),
                    Some(Value::Number(value)) => value.to_bits().hash(&mut hasher),
                    Some(Value::Count(value)) => value.hash(&mut hasher),
                    Some(Value::Date(value)) => value.hash(&mut hasher),
                    Some(Value::Flag(value)) => value.hash(&mut hasher),
                }
            }
            hasher.finish()
        };
        let key = hashed(0..self.key);
        // Of a block site and region count, of a trial's tree every cell, as its factors are no
        // columns of the schema.
        let rest = match self.table {
            Table::Trials => {
                let mut hasher = DefaultHasher::new();
                whole().hash(&mut hasher);
                hasher.finish()
            }
            Table::Blocks => hashed(1..3),
            Table::Trees | Table::Prunings | Table::Laterals | Table::Harvests => {
                hashed(self.key..values.len())
            }
        };
        self.last = (key, rest);
        self.meet(place, key, rest)
    }

    /// Hashes of key and rest of the row compared last.
    pub(crate) fn last(&self) -> (u64, u64) {
        self.last
    }

    /// Compares a row, given by its hashes, and remembers it when it is new.
    pub(crate) fn meet(&mut self, place: RowPlace, key: u64, rest: u64) -> Repetition {
        let Some(seen) = self.first.get(&key) else {
            self.first.insert(key, Seen { place, rest });
            return Repetition::New;
        };
        if seen.rest == rest {
            return Repetition::Duplicate(seen.place);
        }
        if let Some(earlier) = self.further.get(&(key, rest)) {
            return Repetition::Duplicate(*earlier);
        }
        self.further.insert((key, rest), place);
        match self.table {
            Table::Blocks | Table::Trees | Table::Trials => Repetition::Elsewhere,
            _ => Repetition::SameKey,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::borrow::Cow;

    fn see(seen: &mut Duplicates, line: u32, tree: &'static str, rest: Value) -> Repetition {
        let values = [Value::Text, Value::Date(1), rest];
        seen.see((0, line), &values, |_| Cow::Borrowed(tree), String::new)
    }

    #[test]
    fn picks_repeat_only_when_all_values_do() {
        let mut seen = Duplicates::new(Table::Harvests);
        assert_eq!(see(&mut seen, 2, "A", Value::Number(1.0)), Repetition::New);
        assert_eq!(see(&mut seen, 3, "A", Value::Number(2.0)), Repetition::SameKey);
        assert_eq!(see(&mut seen, 4, "B", Value::Number(1.0)), Repetition::New);
        let again = |line| Repetition::Duplicate((0, line));
        assert_eq!(see(&mut seen, 5, "A", Value::Number(1.0)), again(2));
        assert_eq!(see(&mut seen, 6, "A", Value::Number(2.0)), again(3));
    }

    #[test]
    fn a_tree_stands_once_in_a_block() {
        let mut seen = Duplicates::new(Table::Trees);
        let mut tree = |line, block: &'static str| {
            let text = |column| Cow::Borrowed(if column == 0 { "T1" } else { block });
            seen.see((0, line), &[Value::Text, Value::Text], text, String::new)
        };
        assert_eq!(tree(2, "B1"), Repetition::New);
        assert_eq!(tree(3, "B1"), Repetition::Duplicate((0, 2)));
        assert_eq!(tree(4, "B2"), Repetition::Elsewhere);
        assert_eq!(tree(5, "B2"), Repetition::Duplicate((0, 4)));
    }
}
