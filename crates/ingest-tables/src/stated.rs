//! Cells read as `book.toml` states: words that mean something, and groups of rows that say a thing
//! once.

use crate::header::{EVERY_ROW, Layout, Meaning, Reading, normalised};
use crate::pattern::Pattern;
use crate::rows::{Cell, Cells, Fault, RawRow};
use records::{Code, ColumnKind, FileOptions, StatedValue, TableSpec, with_mark, without_zeros};
use std::collections::BTreeMap;
use words::{say, text};

/// What is stated of one cell of every row.
struct Rule {
    cell: usize,
    /// Column for a message.
    column: String,
    words: Vec<(String, StatedValue)>,
    /// Whether the words mean something for a column that the cell is read into, while an id is joined
    /// from the cell as it is written.
    of_column: bool,
    fills_down: bool,
    drops_zeros: bool,
    /// The mark that stands between the parts of an id.
    mark: Option<String>,
    /// Whether the cell is read into a column of the file's own, as factors of trials are.
    is_factor: bool,
    /// What the cell holds in every row, where the file has no column of it.
    always: Option<Cell<'static>>,
    /// What the cell held in the last row in which it held something.
    above: Cell<'static>,
}

/// Columns of which a row must hold one itself, for another to be carried on to it.
fn carriers(spec: &TableSpec, layout: &Layout) -> Vec<usize> {
    let is_text = |kind| matches!(kind, ColumnKind::Text | ColumnKind::Date);
    let required =
        spec.columns.iter().enumerate().filter(|(_, of)| of.required && is_text(of.kind));
    let required: Vec<usize> = required.map(|(position, _)| position).collect();
    let joined = layout.joined.iter().filter(|joined| required.contains(&joined.column));
    let mut cells: Vec<usize> = joined.flat_map(|joined| joined.cells.iter().copied()).collect();
    cells.extend(layout.readings.iter().filter_map(|reading| match reading.meaning {
        Meaning::Column(of) if required.contains(&of) => Some(reading.cell),
        _ => None,
    }));
    cells
}

/// What a file's declaration states of its cells, and what that changes in the row at hand.
pub(crate) struct Stated {
    rules: Vec<Rule>,
    carriers: Vec<usize>,
    /// The cell of a trial's plot, of which a row with a text begins a new one.
    plot: Option<usize>,
    instead: Vec<(usize, Cell<'static>)>,
    /// Cells that ids are joined from otherwise than columns are read.
    parts: Vec<(usize, Cell<'static>)>,
    changes: Vec<(usize, Code)>,
}

/// A row with the cells that are read otherwise than they stand.
pub(crate) struct StatedCells<'a> {
    cells: &'a dyn Cells,
    instead: &'a [(usize, Cell<'static>)],
    parts: &'a [(usize, Cell<'static>)],
}

impl Cells for StatedCells<'_> {
    fn len(&self) -> usize {
        self.cells.len()
    }

    fn cell(&self, index: usize) -> Cell<'_> {
        let stated = self.instead.iter().find(|(cell, _)| *cell == index);
        stated.map_or_else(|| self.cells.cell(index), |(_, cell)| cell.borrowed())
    }

    fn part(&self, index: usize) -> Cell<'_> {
        let stated = self.parts.iter().find(|(cell, _)| *cell == index);
        stated.map_or_else(|| self.cell(index), |(_, cell)| cell.borrowed())
    }
}

impl Stated {
    /// The rules of a file whose columns are laid out so.
    ///
    /// # Errors
    /// Every column named that the file does not have.
    pub(crate) fn of<'a>(
        options: &'a FileOptions,
        spec: &TableSpec,
        layout: &Layout,
        header: &[String],
    ) -> Result<Self, Vec<Fault>> {
        let mut rules: BTreeMap<usize, Rule> = BTreeMap::new();
        let mut faults = Vec::new();
        let named = options.values.iter().map(|(column, words)| ("values", column, Some(words)));
        let flagged = |key, columns: &'a [String]| columns.iter().map(move |of| (key, of, None));
        let named = named
            .chain(flagged("fill_down", &options.fill_down))
            .chain(flagged("drop_zeros", &options.drop_zeros))
            .chain(options.marks.keys().map(|column| ("marks", column, None)));
        for (key, column, words) in named {
            let (cells, of_column) = cells_of(column, spec, layout, header);
            if cells.is_empty() {
                faults.push(Fault::new(
                    Code::ColumnMissing,
                    say!("{key} names {column}, and no column of the file is read as that"),
                    text!("correct the name under this file in book.toml, or remove it"),
                ));
            }
            for cell in cells {
                let rule = rules.entry(cell).or_insert_with(|| Rule {
                    cell,
                    column: column.clone(),
                    words: Vec::new(),
                    of_column: false,
                    fills_down: false,
                    drops_zeros: false,
                    mark: None,
                    is_factor: layout.readings.iter().any(|reading| {
                        reading.cell == cell && matches!(reading.meaning, Meaning::Extra(_))
                    }),
                    always: None,
                    above: Cell::Empty,
                });
                match words {
                    None if key == "fill_down" => rule.fills_down = true,
                    None if key == "marks" => rule.mark = options.marks.get(column).cloned(),
                    None => rule.drops_zeros = true,
                    Some(words) => {
                        rule.of_column |= of_column;
                        let words = words.iter().map(|(word, value)| (word.clone(), value.clone()));
                        rule.words.extend(words);
                    }
                }
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        for (place, (column, value)) in options.every_row.iter().enumerate() {
            let cell = EVERY_ROW + place;
            let rule = Rule {
                cell,
                column: column.clone(),
                words: Vec::new(),
                of_column: false,
                fills_down: false,
                drops_zeros: false,
                mark: None,
                is_factor: false,
                always: Some(meant(value)),
                above: Cell::Empty,
            };
            rules.insert(cell, rule);
        }
        let rules = rules.into_values().collect();
        let carriers = carriers(spec, layout);
        let of_plot = |reading: &&Reading| match &reading.meaning {
            Meaning::Extra(name) => name == "plot",
            _ => false,
        };
        let plot = layout.readings.iter().find(of_plot).map(|reading| reading.cell);
        let (instead, parts, changes) = (Vec::new(), Vec::new(), Vec::new());
        Ok(Self { rules, carriers, plot, instead, parts, changes })
    }

    /// Whether nothing is stated, and rows are read as they stand.
    pub(crate) fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }

    /// The cells of a row as they are to be read. Nothing is carried on to or from a row that is no visit,
    /// a total or the header again, nor to one that holds no id and no day of its own, as an unnamed sum.
    pub(crate) fn cells<'a>(
        &'a mut self,
        cells: &'a dyn Cells,
        is_no_visit: bool,
    ) -> StatedCells<'a> {
        self.instead.clear();
        self.parts.clear();
        self.changes.clear();
        let filled = |cell: &usize| !cells.cell(*cell).into_text().is_empty();
        let takes = !is_no_visit && self.carriers.iter().any(filled);
        for (index, rule) in self.rules.iter_mut().enumerate() {
            if let Some(always) = &rule.always {
                // A sum below the rows is none of them.
                if is_no_visit {
                    continue;
                }
                self.instead.push((rule.cell, always.clone()));
                self.changes.push((index, Code::ValueStated));
                continue;
            }
            let mut cell = cells.cell(rule.cell);
            if rule.fills_down {
                if cell.clone().into_text().is_empty() {
                    if takes && rule.above != Cell::Empty {
                        self.instead.push((rule.cell, rule.above.clone()));
                        let anew = rule.is_factor && self.plot.as_ref().is_some_and(filled);
                        let code = if anew { Code::FilledAnewPlot } else { Code::FilledDown };
                        self.changes.push((index, code));
                        cell = rule.above.clone();
                    }
                } else if !is_no_visit {
                    rule.above = cell.clone().into_owned();
                }
            }
            let written = cell.clone().into_text();
            // What an empty cell means is said of rows that hold an id or a day.
            let means = takes || !written.is_empty();
            if let Some(meaning) = rule.meaning(&written).filter(|_| means) {
                if rule.of_column {
                    self.parts.push((rule.cell, cell.into_owned()));
                }
                self.instead.retain(|(at, _)| *at != rule.cell);
                self.instead.push((rule.cell, meaning));
                self.changes.push((index, Code::ValueStated));
                continue;
            }
            let marked = rule.mark.as_ref().and_then(|mark| with_mark(&written, mark));
            self.changes.extend(marked.as_ref().map(|_| (index, Code::ValueStated)));
            let now = marked.as_deref().unwrap_or(&written);
            let number = if rule.drops_zeros { without_zeros(now) } else { None };
            self.changes.extend(number.as_ref().map(|_| (index, Code::ZerosDropped)));
            if let Some(id) = number.or(marked) {
                self.instead.retain(|(at, _)| *at != rule.cell);
                self.instead.push((rule.cell, Cell::Text(id.into())));
            }
        }
        StatedCells { cells, instead: &self.instead, parts: &self.parts }
    }

    /// Takes what a row that is passed over says of its group, which holds for the rows below it too; not
    /// from the cell by which it is no row.
    pub(crate) fn carry_on(&mut self, cells: &dyn Cells, but: usize) {
        for rule in self.rules.iter_mut().filter(|rule| rule.fills_down && rule.cell != but) {
            let cell = cells.cell(rule.cell);
            if !cell.clone().into_text().is_empty() {
                rule.above = cell.into_owned();
            }
        }
    }

    /// Column, cell from 0 and kind of what was read otherwise in the row at hand.
    pub(crate) fn changes(&self) -> impl Iterator<Item = (&str, usize, Code)> {
        self.changes.iter().filter_map(|(rule, code)| {
            let rule = self.rules.get(*rule)?;
            Some((rule.column.as_str(), rule.cell, *code))
        })
    }
}

impl Rule {
    fn meaning(&self, written: &str) -> Option<Cell<'static>> {
        if self.words.is_empty() {
            return None;
        }
        let plain = normalised(written);
        let is = |word: &str| !plain.is_empty() && normalised(word) == plain;
        let exact = self.words.iter().find(|(word, _)| word.trim() == written);
        match exact.or_else(|| self.words.iter().find(|(word, _)| is(word))) {
            Some((_, value)) => Some(meant(value)),
            None => self.with_beginning(written).map(|text| Cell::Text(text.into())),
        }
    }

    /// A text whose beginning is stated to mean another, `"MA-2/*" = "MA2/*"`; of several the longest.
    fn with_beginning(&self, written: &str) -> Option<String> {
        let ends = self.words.iter().filter_map(|(word, value)| match value {
            StatedValue::Text(value) => word.trim().strip_suffix('*').zip(value.strip_suffix('*')),
            StatedValue::Number(_) => None,
        });
        let found = ends.filter_map(|(own, other)| Some((own, other, written.strip_prefix(own)?)));
        let (_, other, rest) = found.max_by_key(|(own, ..)| own.len())?;
        (!rest.is_empty()).then(|| format!("{other}{rest}"))
    }
}

/// The texts of cells that make a row none of its table's.
pub(crate) struct NotRows {
    patterns: Vec<Pattern>,
}

impl NotRows {
    pub(crate) fn of(options: &FileOptions) -> Self {
        Self { patterns: options.not_rows.iter().map(|text| Pattern::of_text(text)).collect() }
    }

    /// The cell of the row by which it is none, and its text.
    pub(crate) fn found(&self, row: &RawRow<'_>) -> Option<(usize, String)> {
        if self.patterns.is_empty() || row.damage.is_some() {
            return None;
        }
        (0..row.cells.len()).find_map(|cell| {
            let text = row.cells.cell(cell).into_text();
            let text = text.trim();
            let is_meant = self.patterns.iter().any(|pattern| pattern.matches_text(text));
            (is_meant && !text.is_empty()).then(|| (cell, text.to_owned()))
        })
    }
}

/// A stated value as if a cell held it.
pub(crate) fn meant(value: &StatedValue) -> Cell<'static> {
    match value {
        StatedValue::Number(number) => Cell::Number(*number),
        StatedValue::Text(text) => Cell::Text(text.clone().into()),
    }
}

/// The cells that are read into a column of the schema or an extra column; of a word of the header that
/// is joined with others its own cell alone. Beside them, whether they are those of a column that is not
/// joined itself.
fn cells_of(
    column: &str,
    spec: &TableSpec,
    layout: &Layout,
    header: &[String],
) -> (Vec<usize>, bool) {
    let plain = normalised(column);
    let position = spec.columns.iter().position(|of| of.name == plain);
    let is_read = layout.readings.iter().filter_map(|reading| {
        let is_meant = match &reading.meaning {
            Meaning::Column(of) => Some(*of) == position,
            Meaning::Extra(name) => *name == plain,
            Meaning::Unknown => false,
        };
        is_meant.then_some(reading.cell)
    });
    let parts = || layout.joined.iter().flat_map(|joined| &joined.cells).copied();
    let is_word = |cell: &usize| header.get(*cell).is_some_and(|word| normalised(word) == plain);
    let whole = layout.joined.iter().filter(|joined| Some(joined.column) == position);
    let mut cells: Vec<usize> = whole.flat_map(|joined| joined.cells.iter().copied()).collect();
    if cells.is_empty() {
        cells.extend(is_read);
        if !cells.is_empty() {
            return (cells, true);
        }
    }
    if cells.is_empty() {
        cells.extend(parts().filter(is_word));
    }
    (cells, false)
}
