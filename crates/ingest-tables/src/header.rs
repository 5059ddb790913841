//! Header words to columns.

use crate::rows::Fault;
use records::units::{self, Unit};
use records::{Code, ColumnKind, ColumnSpec, FileOptions, TableSpec};
use words::{say, text};

/// What a header word means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Meaning {
    /// Position in the schema.
    Column(usize),
    /// A column of its own, by its normalised name.
    Extra(String),
    Unknown,
}

/// The words by which a table's columns go in one file.
pub(crate) struct HeaderWords<'a> {
    spec: &'static TableSpec,
    options: &'a FileOptions,
}

/// A cell position that is read, and into what.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Reading {
    /// Position in the row, from 0.
    pub(crate) cell: usize,
    pub(crate) meaning: Meaning,
    /// Unit written in brackets behind the name.
    pub(crate) bracket: Option<String>,
}

/// A column of the schema made of several cells, two or more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Joined {
    /// Position in the schema.
    pub(crate) column: usize,
    /// Positions in the row, from 0.
    pub(crate) cells: Vec<usize>,
}

/// Which cells of a file are read.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Layout {
    pub(crate) readings: Vec<Reading>,
    pub(crate) joined: Vec<Joined>,
    /// Positions (from 0) and names of columns left out.
    pub(crate) unknown: Vec<(usize, String)>,
}

/// Place of what is the same in every row, beyond the cells that a row can have.
pub(crate) const EVERY_ROW: usize = records::limits::COLUMNS.most as usize;

/// Lower case, words joined by single underscores.
pub(crate) fn normalised(word: &str) -> String {
    records::plain_name(word)
}

/// A header word without the unit in brackets at its end, and the unit.
fn without_unit(word: &str) -> (&str, Option<&str>) {
    let word = word.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some(inner) = word.strip_suffix(close)
            && let Some((name, unit)) = inner.rsplit_once(open)
            && !name.trim().is_empty()
        {
            return (name.trim(), Some(unit.trim()));
        }
    }
    (word, None)
}

/// The cells that a word of `book.toml` stands over: as written, else whatever its case and unit.
fn find(words: &[String], part: &str) -> Vec<usize> {
    let plain = |word: &str| normalised(without_unit(word).0);
    let cells = |same: &dyn Fn(&str) -> bool| -> Vec<usize> {
        (0..words.len()).filter(|cell| words.get(*cell).is_some_and(|word| same(word))).collect()
    };
    let exact = cells(&|word| word.trim() == part.trim());
    if exact.is_empty() { cells(&|word| plain(word) == plain(part)) } else { exact }
}

impl<'a> HeaderWords<'a> {
    pub(crate) fn new(spec: &'static TableSpec, options: &'a FileOptions) -> Self {
        Self { spec, options }
    }

    /// Position of a column in the schema.
    pub(crate) fn position(&self, name: &str) -> Option<usize> {
        self.spec.columns.iter().position(|column| column.name == name)
    }

    /// What a word means: by the file's header map first (as written, then normalised), then by
    /// the schema.
    pub(crate) fn meaning(&self, word: &str) -> Meaning {
        if let Some(position) = self.named_in_brackets(word) {
            return Meaning::Column(position);
        }
        let (name, _) = without_unit(word);
        let plain = normalised(name);
        let word = word.trim();
        let mapped =
            self.options.header.get(word).or_else(|| self.options.header.get(name)).or_else(|| {
                let same = |key: &str| normalised(without_unit(key).0) == plain;
                self.options.header.iter().find(|(key, _)| same(key)).map(|(_, column)| column)
            });
        let name = mapped.map_or(plain, |column| normalised(column));
        match self.position(&name) {
            Some(position) => Meaning::Column(position),
            None if self.spec.keeps_extra_columns && !name.is_empty() => Meaning::Extra(name),
            None => Meaning::Unknown,
        }
    }

    /// The column of a heading that names it in brackets after words for people, as the field sheets of
    /// a layout do: `nuts, kg (nut_kg)`.
    fn named_in_brackets(&self, word: &str) -> Option<usize> {
        let (name, Some(bracket)) = without_unit(word) else { return None };
        let known = |name: &str| {
            self.position(&normalised(name)).is_some()
                || self
                    .options
                    .header
                    .keys()
                    .any(|key| normalised(without_unit(key).0) == normalised(name))
        };
        self.position(bracket).filter(|_| !known(name))
    }

    /// How many columns of the table a line of words names, and how many it joins.
    pub(crate) fn score(&self, words: &[String]) -> usize {
        let parts = self.options.joined.values().flatten();
        let joined = parts.filter(|part| !find(words, part).is_empty()).count();
        let mut named: Vec<usize> = words
            .iter()
            .filter_map(|word| match self.meaning(word) {
                Meaning::Column(position) => Some(position),
                _ => None,
            })
            .collect();
        named.sort_unstable();
        named.dedup();
        named.len() + joined
    }

    /// How much a line looks like the header: by its score; where no word is known, by its words, so
    /// that headings in another language are shown to who has to map them, and not the title above.
    pub(crate) fn rank(&self, words: &[String]) -> (usize, usize) {
        let score = self.score(words);
        let is_word = |word: &&String| word.chars().any(char::is_alphabetic);
        (score, if score == 0 { words.iter().filter(is_word).count() } else { 0 })
    }

    /// The columns that are made of several cells.
    ///
    /// # Errors
    /// Every header word that the file does not have, or has more than once.
    fn joined(&self, words: &[String]) -> Result<Vec<Joined>, Vec<Fault>> {
        let (mut joined, mut faults) = (Vec::new(), Vec::new());
        for (name, parts) in &self.options.joined {
            let found: Vec<Vec<usize>> = parts
                .iter()
                .map(|part| match find(words, part).as_slice() {
                    [] => self.stated(part).into_iter().collect(),
                    cells => cells.to_vec(),
                })
                .collect();
            let having = |is: fn(usize) -> bool| -> Vec<&str> {
                let parts = parts.iter().zip(&found).filter(|(_, cells)| is(cells.len()));
                parts.map(|(part, _)| part.as_str()).collect()
            };
            let (absent, twice) = (having(|cells| cells == 0), having(|cells| cells > 1));
            if !twice.is_empty() {
                faults.push(Fault::new(
                    Code::ColumnTwice,
                    say!(
                        "{name} is joined from '{}', which stands over several columns",
                        twice.join("', '")
                    ),
                    text!("give the columns names of their own"),
                ));
            }
            if !absent.is_empty() {
                let (absent, found) = (absent.join("', '"), words.join(", "));
                faults.push(Fault::new(
                    Code::ColumnMissing,
                    say!("the words that {name} is joined from lack '{absent}'; found: {found}"),
                    text!("correct the words under joined of this file in book.toml; a part that no column holds may be stated, every_row = { WORD = \"its text\" }"),
                ));
            } else if let (true, Some(column)) = (twice.is_empty(), self.position(name)) {
                let cells = found.into_iter().flatten().collect();
                joined.push(Joined { column, cells });
            }
        }
        if faults.is_empty() { Ok(joined) } else { Err(faults) }
    }

    /// The cell of a part of an id that every_row states, as no column holds it.
    fn stated(&self, part: &str) -> Option<usize> {
        let is_part = |column: &String| normalised(column) == normalised(part);
        self.options.every_row.keys().position(is_part).map(|place| EVERY_ROW + place)
    }

    /// Assigns cells to columns.
    ///
    /// # Errors
    /// Every column that is missing or claimed twice.
    pub(crate) fn layout(&self, words: &[String]) -> Result<Layout, Vec<Fault>> {
        let mut faults = Vec::new();
        let joined = self.joined(words).unwrap_or_else(|absent| {
            faults.extend(absent);
            Vec::new()
        });
        let is_part = |cell: usize| joined.iter().any(|joined| joined.cells.contains(&cell));
        let mut layout = Layout { joined: joined.clone(), ..Layout::default() };
        for (cell, word) in words.iter().enumerate() {
            let meaning = self.meaning(word);
            let is_joined = |joined: &Joined| meaning == Meaning::Column(joined.column);
            if joined.iter().any(is_joined) || (meaning == Meaning::Unknown && is_part(cell)) {
                // A word such as "tree" that is itself one of those joined into tree.
                if is_part(cell) {
                    continue;
                }
                let name = self.name(&meaning);
                faults.push(Fault::new(
                    Code::ColumnTwice,
                    say!("the column '{word}' means {name}, which is also joined from others"),
                    text!("add it to the words joined, or rename it"),
                ));
                continue;
            }
            if meaning == Meaning::Unknown {
                let is_word = |other: &String| normalised(other) == normalised(word);
                if !self.options.not_columns.iter().any(is_word) {
                    layout.unknown.push((cell, word.clone()));
                }
                continue;
            }
            if let Some(first) = layout.readings.iter().find(|other| other.meaning == meaning) {
                let first = words.get(first.cell).map_or("", String::as_str);
                faults.push(Fault::new(
                    Code::ColumnTwice,
                    say!("the columns '{first}' and '{word}' both mean {}", self.name(&meaning)),
                    text!(
                        "rename one of them, or correct the header map of this file in book.toml"
                    ),
                ));
                continue;
            }
            let bracket = without_unit(word).1.filter(|_| self.named_in_brackets(word).is_none());
            let bracket = bracket.map(str::to_owned);
            layout.readings.push(Reading { cell, meaning, bracket });
        }
        for (place, column) in self.options.every_row.keys().enumerate() {
            let name = normalised(column);
            let cell = EVERY_ROW + place;
            let meaning = match self.position(&name) {
                Some(position) => Meaning::Column(position),
                // A part of an id, and no column of its own.
                None if is_part(cell) => continue,
                None => Meaning::Extra(name),
            };
            let of_file = layout.readings.iter().find(|other| other.meaning == meaning);
            let joined = layout.joined.iter().any(|own| meaning == Meaning::Column(own.column));
            if of_file.is_some() || joined {
                faults.push(Fault::new(
                    Code::ColumnTwice,
                    say!("every_row says what {column} is in every row, and the file has a column of it"),
                    text!("take it out of every_row of this file in book.toml; where the file's column holds something else, say what its words mean, values = { COLUMN = { \"word\" = \"its meaning\" } }, or give it a column of its own under header"),
                ));
                continue;
            }
            layout.readings.push(Reading { cell, meaning, bracket: None });
        }
        faults.extend(self.missing(&layout, words));
        if faults.is_empty() { Ok(layout) } else { Err(faults) }
    }

    fn name(&self, meaning: &Meaning) -> String {
        match meaning {
            Meaning::Column(position) => {
                self.spec.columns.get(*position).map_or_else(String::new, |c| c.name.to_owned())
            }
            Meaning::Extra(name) => name.clone(),
            Meaning::Unknown => String::new(),
        }
    }

    /// What the words of a heading name, those that it knows.
    pub(crate) fn names(&self, words: &[String]) -> impl Iterator<Item = String> {
        let names = words.iter().map(|word| self.name(&self.meaning(word)));
        names.filter(|name| !name.is_empty())
    }

    fn missing(&self, layout: &Layout, words: &[String]) -> Vec<Fault> {
        let has = |name: &str| {
            let position = self.position(name);
            // A word that is missing of those joined is told already.
            self.options.joined.contains_key(name)
                || position.is_some_and(|position| {
                    layout.readings.iter().any(|r| r.meaning == Meaning::Column(position))
                })
        };
        let table = self.spec.table;
        let found = words.join(", ");
        let mut faults = Vec::new();
        for column in self.spec.columns.iter().filter(|c| c.required && !has(c.name)) {
            let mut remedy = say!(
                "if it goes by another name write header = {{ \"its name\" = \"{}\" }} under [[files.{table}]] in book.toml",
                column.name
            );
            if ["tree", "block"].contains(&column.name) {
                remedy.push_str(&say!(
                    "; if several columns make it up, joined = {{ {} = [\"one name\", \"another\"] }}",
                    column.name
                ));
            }
            if column.name == "tree" && table == records::Table::Harvests && has_block(words) {
                remedy.push_str(text!(
                    "; weights of whole blocks tell nothing of single trees and cannot be used: name such a file in not_tables under [book]"
                ));
            }
            if matches!(column.kind, ColumnKind::Text | ColumnKind::Date) && column.name != "tree" {
                remedy.push_str(&say!(
                    "; if it is the same in every row, every_row = {{ {} = \"…\" }}",
                    column.name
                ));
            }
            if column.name == records::tree_season::REPLICATE {
                remedy = say!(
                    "{}; for a design without replicates, every_row = {{ replicate = \"R1\" }}",
                    remedy
                );
            }
            if column.name == records::tree_season::REGION {
                remedy.push_str(text!("; `anacurve zones` proposes regions from climate normals"));
            }
            faults.push(Fault::new(
                Code::ColumnMissing,
                say!("the column {} is missing; found: {found}", column.name),
                remedy,
            ));
        }
        if table == records::Table::Prunings && !crate::prunings::can_tell_intensity(has) {
            faults.push(Fault::new(
                Code::ColumnMissing,
                say!("no column tells the intensity; found: {found}"),
                text!("give intensity, or shoots_cut and shoots_total, or removed_cm and length_cm, or \
                 height and both spreads before and after; or map other names under [[files.prunings]]"),
            ));
        }
        faults
    }

    /// The unit in which a number column of the file is written, when it is not the schema's:
    /// declared in `book.toml` (whose check knows it), or in brackets behind the heading.
    pub(crate) fn unit(&self, reading: &Reading) -> Option<Unit> {
        let column = self.column(reading)?;
        let unit = match self.options.units.get(column.name) {
            Some(declared) => units::declared(declared, column.unit)?,
            None => Unit::plain(units::factor(reading.bracket.as_deref()?, column.unit)?),
        };
        (!unit.is_schema()).then_some(unit)
    }

    /// What stands in brackets behind the heading of a column with a unit, and is no unit known.
    pub(crate) fn unknown_unit<'r>(&self, reading: &'r Reading) -> Option<&'r str> {
        let column = self.column(reading).filter(|column| !column.unit.is_empty())?;
        let bracket = reading.bracket.as_deref()?;
        let is_settled = self.options.units.contains_key(column.name)
            || units::factor(bracket, column.unit).is_some();
        (!is_settled).then_some(bracket)
    }

    /// Name of the column at a position in the schema.
    pub(crate) fn column_name(&self, position: usize) -> &'static str {
        self.spec.columns.get(position).map_or("", |column| column.name)
    }

    fn column(&self, reading: &Reading) -> Option<&'static ColumnSpec> {
        let Meaning::Column(position) = reading.meaning else { return None };
        self.spec.columns.get(position)
    }
}

/// Whether a header names blocks.
fn has_block(words: &[String]) -> bool {
    words.iter().any(|word| matches!(normalised(word).as_str(), "block" | "plot" | "field"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use records::Table;

    fn words(list: &[&str]) -> Vec<String> {
        list.iter().map(|&word| word.to_owned()).collect()
    }

    #[test]
    fn spelling_case_units_and_maps() {
        let mut options = FileOptions::default();
        options.header.insert("Arvore".to_owned(), "tree".to_owned());
        let names = HeaderWords::new(Table::Harvests.spec(), &options);
        let header = words(&["ARVORE", " Date ", "Nut-kg (g)", "Moisture.pct", "remarks"]);
        let layout = names.layout(&header).unwrap();
        let columns: Vec<_> = layout.readings.iter().map(|r| r.meaning.clone()).collect();
        assert_eq!(columns, [0, 1, 2, 3].map(Meaning::Column));
        assert_eq!(layout.unknown, [(4, "remarks".to_owned())]);
        let unit = names.unit(&layout.readings[2]).unwrap();
        assert_eq!(unit, Unit::plain(0.001));
        assert_eq!(names.score(&header), 4);
    }

    /// Field sheets head their columns with words, and with the column's name in brackets.
    #[test]
    fn a_heading_may_name_its_column_in_brackets() {
        let options = FileOptions::default();
        let names = HeaderWords::new(Table::Harvests.spec(), &options);
        let header =
            words(&["árvore (tree)", "data (date)", "nuts, kg (nut_kg)", "remarks (date)"]);
        let faults = names.layout(&header).unwrap_err();
        assert_eq!(faults[0].code, Code::ColumnTwice);
        let layout = names.layout(&header[..3]).unwrap();
        let columns: Vec<_> = layout.readings.iter().map(|r| r.meaning.clone()).collect();
        assert_eq!(columns, [0, 1, 2].map(Meaning::Column));
        assert!(layout.readings.iter().all(|reading| reading.bracket.is_none()));
        // A column's own word keeps what is bracketed as its unit, and so does a word of the settings.
        let layout = names.layout(&words(&["tree", "date", "nut_kg (tree)"])).unwrap();
        assert_eq!(layout.readings[2].bracket.as_deref(), Some("tree"));
    }

    #[test]
    fn every_missing_and_double_column_is_named() {
        let options = FileOptions::default();
        let names = HeaderWords::new(Table::Harvests.spec(), &options);
        let faults = names.layout(&words(&["tree", "Tree", "kg"])).unwrap_err();
        let codes: Vec<_> = faults.iter().map(|fault| fault.code).collect();
        assert_eq!(codes, [Code::ColumnTwice, Code::ColumnMissing, Code::ColumnMissing]);
        assert!(
            faults[1].what.contains("date") && faults[1].what.contains("found: tree, Tree, kg")
        );
    }

    #[test]
    fn weights_of_whole_blocks_are_said_to_be_of_no_use() {
        let options = FileOptions::default();
        let names = HeaderWords::new(Table::Harvests.spec(), &options);
        let told = |list: &[&str]| names.layout(&words(list)).unwrap_err()[0].remedy.clone();
        assert!(told(&["Block", "date", "nut_kg"]).contains("weights of whole blocks"));
        assert!(!told(&["No", "date", "nut_kg"]).contains("weights of whole blocks"));
    }

    #[test]
    fn ids_are_joined_from_words_that_may_mean_columns_too() {
        let mut options = FileOptions::default();
        options.joined.insert("tree".into(), words(&["BLOCK", "Linha", "tree"]));
        let names = HeaderWords::new(Table::Trees.spec(), &options);
        let layout = names.layout(&words(&["Tree", "linha (no)", "Block", "remarks"])).unwrap();
        assert_eq!(layout.joined, [Joined { column: 0, cells: vec![2, 1, 0] }]);
        let columns: Vec<_> = layout.readings.iter().map(|r| (r.cell, &r.meaning)).collect();
        assert_eq!(columns, [(2, &Meaning::Column(1))]);
        assert_eq!(layout.unknown, [(3, "remarks".to_owned())]);

        // Whatever is wrong is told in one go.
        let told = |list: &[&str]| -> Vec<(Code, String)> {
            let faults = names.layout(&words(list)).unwrap_err();
            faults.into_iter().map(|fault| (fault.code, fault.what)).collect()
        };
        let faults = told(&["tree", "Blocks"]);
        assert!(
            matches!(&faults[..], [(Code::ColumnMissing, parts), (Code::ColumnMissing, block)]
                if parts.contains("'BLOCK', 'Linha'") && block.starts_with("the column block")),
            "{faults:?}"
        );
        let faults = told(&["tree", "linha", "LINHA", "block"]);
        assert!(
            matches!(&faults[..], [(Code::ColumnTwice, what)] if what.contains("'Linha'")),
            "{faults:?}"
        );
        options.joined.insert("tree".into(), words(&["block", "linha"]));
        let names = HeaderWords::new(Table::Trees.spec(), &options);
        let faults = names.layout(&words(&["tree", "block", "linha"])).unwrap_err();
        assert!(matches!(&faults[..], [f] if f.code == Code::ColumnTwice), "{faults:?}");
    }

    #[test]
    fn trials_keep_extra_columns() {
        let options = FileOptions::default();
        let names = HeaderWords::new(Table::Trials.spec(), &options);
        assert_eq!(names.meaning("Pruning level"), Meaning::Extra("pruning_level".to_owned()));
    }
}
