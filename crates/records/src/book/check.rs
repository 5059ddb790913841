//! Checks the settings of a book against each other.

mod format;
mod trials;
mod work;

pub(super) use format::other_format;

use super::locate::{FILE, line_of, line_of_file};
use super::{Book, FileOptions, Region, SeenTrials, StatedValue};
use crate::units;
use crate::{CalendarError, Code, ColumnKind, Place, Problem, Severity, Table, TableSpec};
use words::{say, text};

struct Checker<'a> {
    text: &'a str,
    problems: Vec<Problem>,
}

impl Checker<'_> {
    fn report(&mut self, table: &str, key: Option<&str>, code: Code, what: String, remedy: &str) {
        let place = line_of(self.text, table, key)
            .map_or_else(|| Place::file(FILE), |line| Place::line(FILE, line));
        self.problems.push(Problem::new(place, Severity::Fatal, code, what, remedy));
    }

    /// Reports what is wrong with the declaration of a file.
    fn of_file(
        &mut self,
        table: Table,
        file: &FileOptions,
        code: Code,
        what: String,
        remedy: &str,
    ) {
        let place = line_of_file(self.text, table, &file.path)
            .map_or_else(|| Place::file(FILE), |line| Place::line(FILE, line));
        self.problems.push(Problem::new(place, Severity::Fatal, code, what, remedy));
    }

    /// "finite and in range", so that NaN fails.
    fn range(&mut self, table: &str, key: &str, value: f64, low: f64, high: f64) {
        if !(low..=high).contains(&value) {
            self.report(
                table,
                Some(key),
                Code::SettingImpossible,
                if low > 0.0 && value <= 0.0 {
                    say!("{key} = {value} is not above 0")
                } else {
                    say!("{key} = {value} lies outside {low} to {high}")
                },
                text!("give a value inside the range"),
            );
        }
    }
}

/// Every problem of a book, in file order.
pub(super) fn problems(book: &Book, text: &str) -> Vec<Problem> {
    let mut checker = Checker { text, problems: Vec::new() };
    check_meta(&mut checker, book);
    if book.regions.is_empty() {
        checker.report(
            "regions",
            None,
            Code::SettingMissing,
            say!("no region is declared"),
            text!("add a section [regions.ID] with harvest and flush windows for each region of the block table"),
        );
    }
    for (id, region) in &book.regions {
        check_region(&mut checker, id, region);
    }
    check_files(&mut checker, book);
    trials::alone(&mut checker, book);
    work::check(&mut checker, book);
    // Without another problem the trial table can be asked what was meant, once it is read.
    if !checker.problems.is_empty() {
        trials::names(&mut checker, book, None);
    }
    let mut problems = checker.problems;
    problems.sort();
    problems
}

/// Problems of the declared trials against the trial table, where it could be read, in file order.
pub(super) fn trial_problems(book: &Book, text: &str, seen: Option<&SeenTrials>) -> Vec<Problem> {
    let mut checker = Checker { text, problems: Vec::new() };
    trials::names(&mut checker, book, seen);
    if let Some(seen) = seen {
        trials::against(&mut checker, book, seen);
    }
    checker.problems.sort();
    checker.problems
}

fn check_meta(checker: &mut Checker<'_>, book: &Book) {
    if book.book.name.trim().is_empty() {
        checker.report(
            "book",
            Some("name"),
            Code::SettingMissing,
            say!("the book has no name"),
            text!("write the name of the plantation company or programme"),
        );
    }
    checker.range("book", "reference_moisture_pct", book.book.reference_moisture_pct, 0.0, 30.0);
    if let Some(moisture) = book.book.default_moisture_pct {
        checker.range("book", "default_moisture_pct", moisture, 0.0, 60.0);
    }
    let economics = &book.economics;
    checker.range("economics", "price_per_kg", economics.price_per_kg, 1e-9, 1e12);
    checker.range("economics", "wage_per_hour", economics.wage_per_hour, 0.0, 1e12);
    checker.range(
        "economics",
        "materials_per_pruned_tree",
        economics.materials_per_pruned_tree,
        0.0,
        1e12,
    );
    if let Some(time) = &economics.pruning_time {
        let table = "economics.pruning_time";
        checker.range(table, "minutes_per_tree", time.minutes_per_tree, 0.0, 1440.0);
        checker.range(table, "minutes_full_canopy", time.minutes_full_canopy, 0.0, 10_000.0);
    }
    let options = &book.options;
    checker.range("options", "level", options.level, 0.5, 0.999);
    checker.range("options", "tolerance_pct", options.tolerance_pct, 0.0, 50.0);
    checker.range("options", "training_age_years", options.training_age_years, 0.0, 20.0);
    checker.range(
        "options",
        "harvest_grace_days",
        f64::from(options.harvest_grace_days),
        0.0,
        60.0,
    );
    checker.range("options", "least_season_pct", options.least_season_pct, 0.0, 50.0);
    checker.range("options", "hours_per_day", options.hours_per_day, 1.0, 16.0);
    checker.range("options", "horizon_seasons", f64::from(options.horizon_seasons), 1.0, 20.0);
    if let Some(season) = options.season {
        checker.range("options", "season", f64::from(season), 1900.0, 2200.0);
    }
}

fn check_region(checker: &mut Checker<'_>, id: &str, region: &Region) {
    let table = format!("regions.{id}");
    let Some(calendar) = region.calendar() else {
        checker.report(
            &table,
            None,
            Code::RegionWithoutCalendar,
            say!("region {id} has no harvest or no flush window"),
            text!("add harvest = [\"MM-DD\", \"MM-DD\"] and flush = [\"MM-DD\", \"MM-DD\"]"),
        );
        return;
    };
    if let Err(error) = calendar.check() {
        let (key, remedy) = match &error {
            CalendarError::Overlap { second, .. } => (
                *second,
                text!(
                    "move one of the windows, the seasons of a tree must not run into each other; if a window is too long, its first and last day may have changed places"
                ),
            ),
            CalendarError::NotADay(_) => ("harvest", text!("write days as MM-DD")),
        };
        checker.report(
            &table,
            Some(key),
            Code::WindowsOverlap,
            say!("region {id}: {error}"),
            remedy,
        );
    }
    if let Some(price) = region.price_per_kg {
        checker.range(&table, "price_per_kg", price, 1e-9, 1e12);
    }
    if let Some(wage) = region.wage_per_hour {
        checker.range(&table, "wage_per_hour", wage, 0.0, 1e12);
    }
    if let Some(present) = region.present {
        checker.range(&table, "present", present.intensity, 0.0, 1.0);
        checker.range(&table, "present", present.lead_days, -365.0, 365.0);
    }
}

fn check_files(checker: &mut Checker<'_>, book: &Book) {
    for (table, files) in &book.files {
        for file in files {
            check_columns(checker, *table, file);
        }
    }
}

fn check_columns(checker: &mut Checker<'_>, table: Table, file: &FileOptions) {
    let spec = table.spec();
    for (column, words) in &file.joined {
        if !spec.column(column).is_some_and(|column| column.kind == ColumnKind::Text) {
            checker.of_file(
                table,
                file,
                Code::SettingImpossible,
                say!("{}: '{column}' is no id or name of the table {table}, so nothing is joined into it", file.path),
                text!("join words into a text column, such as tree or block"),
            );
        } else if words.len() < 2 {
            checker.of_file(
                table,
                file,
                Code::SettingImpossible,
                say!("{}: {column} is joined from fewer than two header words", file.path),
                text!("name two header words or more; one word goes under header"),
            );
        }
    }
    let named = file.header.values().chain(file.units.keys());
    // What is said of cells may be said of the words that an id is joined from.
    let of_cells = file.values.keys().chain(&file.fill_down).chain(&file.drop_zeros);
    let of_cells = of_cells.chain(file.every_row.keys()).chain(file.marks.keys());
    let is_part = |word: &str| file.joined.values().flatten().any(|part| part == word);
    for column in named.chain(of_cells.filter(|word| !is_part(word))) {
        if spec.column(column).is_none() && !spec.keeps_extra_columns {
            let remedy = match meant(spec, column) {
                Some(near) => {
                    say!("did you mean {near}? `anacurve schema` lists the columns of this table")
                }
                None => match Table::ALL.iter().find(|other| other.spec().column(column).is_some())
                {
                    Some(other) => say!(
                        "{column} is a column of the table {other}: state it in a file of that table; here not_columns leaves the words out that meant it, and `anacurve schema` lists the columns"
                    ),
                    None => {
                        text!("name one of the columns that `anacurve schema` lists for this table")
                            .to_owned()
                    }
                },
            };
            let what = say!("{}: the table {table} has no column '{column}'", file.path);
            checker.of_file(table, file, Code::ColumnUnknown, what, &remedy);
        }
    }
    if file.several_a_day && !matches!(table, Table::Harvests | Table::Prunings) {
        checker.of_file(
            table,
            file,
            Code::SettingImpossible,
            say!("{}: several_a_day says nothing of the table {table}", file.path),
            text!("take it out: it is for files of harvests and of prunings"),
        );
    }
    for text in &file.not_rows {
        if text.trim_matches(|of: char| of == '*' || of.is_whitespace()).is_empty() {
            checker.of_file(
                table,
                file,
                Code::SettingImpossible,
                say!("{}: '{text}' under not_rows would make every row none", file.path),
                text!(
                    "write the text of a cell that only such rows hold, as \"Total\" or \"Total*\""
                ),
            );
        }
    }
    for (name, words) in &file.values {
        let number = words.iter().find_map(|(word, of)| match of {
            StatedValue::Number(number) => Some((word, number)),
            StatedValue::Text(_) => None,
        });
        // A number is in which of the two units?
        if let (Some((word, number)), Some(unit)) = (number, file.units.get(name)) {
            checker.of_file(
                table,
                file,
                Code::SettingImpossible,
                say!("{}: '{word}' means {number} by values.{name}, and units.{name} says that the file's numbers are in '{unit}'", file.path),
                text!("write what the words mean in quotation marks with a unit, such as \"30 %\" or \"5 kg\""),
            );
        }
    }
    for (name, unit) in &file.units {
        let Some(column) = spec.column(name) else {
            // Tables of the schema alone are told of the column above.
            if spec.keeps_extra_columns {
                checker.of_file(
                    table,
                    file,
                    Code::SettingImpossible,
                    say!("{}: the unit '{unit}' is of '{name}', a column that the table {table} keeps as it is written, without units", file.path),
                    &say!("remove it from units; the unit of a factor stands in the trial's section, as in amounts = {{ \"{name}\" = \"fraction\" }} under [trials.ID], and what its cells mean under values of the file, as in values = {{ \"{name}\" = {{ \"15\" = 0.15 }} }}"),
                );
            }
            continue;
        };
        if units::declared(unit, column.unit).is_some() {
            continue;
        }
        let takes = units::takes(column.unit);
        let remedy = if takes.is_empty() {
            say!("{name} has no unit; remove the line")
        } else {
            let forms = units::forms(column.unit);
            let forms = if forms.is_empty() {
                String::new()
            } else {
                say!(", or for times {}", forms.join(", "))
            };
            let parts = units::parts(column.unit);
            let forms = if parts.is_empty() {
                forms
            } else {
                say!("{forms}, or for what was cut or left of the canopy {}", parts.join(", "))
            };
            let word = takes.split(',').next().unwrap_or_default();
            say!(
                "use one of {takes}{forms}; or a quantity such as \"2.5 {word}\" where what holds so much was counted"
            )
        };
        checker.of_file(
            table,
            file,
            Code::SettingImpossible,
            say!("{}: the unit '{unit}' of {name} is not known", file.path),
            &remedy,
        );
    }
}

/// The column that a word which is none most likely means: one that holds it, or that it holds.
fn meant(spec: &TableSpec, word: &str) -> Option<&'static str> {
    let word = word.trim().to_lowercase().replace([' ', '-'], "_");
    let is_near = |name: &str| {
        let shorter = word.len().min(name.len());
        shorter > 1 && (name.contains(&word) || word.contains(name))
    };
    let mut near = spec.columns.iter().map(|column| column.name).filter(|name| is_near(name));
    near.next().filter(|_| near.next().is_none())
}

#[cfg(test)]
mod tests {
    use crate::{Book, Code};

    const GOOD: &str = r#"
[book]
name = "Example"

[regions.coast]
harvest = ["02-01", "05-31"]
flush = ["09-01", "11-30"]

[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.8
"#;

    #[test]
    fn a_small_book_is_read_with_defaults() {
        let book = Book::parse(GOOD).unwrap();
        assert!((book.book.reference_moisture_pct - 9.0).abs() < 1e-12);
        assert!((book.price_per_kg("coast") - 1.2).abs() < 1e-12);
        assert_eq!(book.region_name("coast"), "coast");
    }

    #[test]
    fn every_problem_is_found_with_its_line() {
        let text = GOOD
            .replace("flush = [\"09-01\"", "flush = [\"05-01\"")
            .replace("price_per_kg = 1.2", "price_per_kg = nan");
        let problems = Book::parse(&text).unwrap_err().problems;
        let found: Vec<_> = problems.iter().map(|p| (p.code, p.place.line)).collect();
        assert_eq!(found, [(Code::WindowsOverlap, Some(7)), (Code::SettingImpossible, Some(11))]);
    }

    /// A book with a declared trial, and what is wrong with it: code and line.
    fn found(section: &str, seen: Option<&crate::SeenTrials>) -> Vec<(Code, Option<u64>)> {
        let text = format!("{GOOD}\n[trials.A]\n{section}\n");
        let problems = match Book::parse(&text) {
            Err(error) => error.problems,
            Ok(book) => book.trial_problems(&text, seen),
        };
        assert!(problems.iter().all(|p| p.remedy.len() > 8 && p.what.starts_with("trial A")));
        problems.iter().map(|p| (p.code, p.place.line)).collect()
    }

    #[test]
    fn a_trial_that_contradicts_itself_is_refused_with_the_line() {
        let (missing, impossible) = (Code::SettingMissing, Code::SettingImpossible);
        for (section, expected) in [
            ("design = \"randomised_blocks\"\nfactors = [\"level\"]", vec![]),
            ("design = \"randomised_blocks\"", vec![(missing, Some(15))]),
            (
                "design = \"split_plot\"\nmain_factors = [\"date\"]\nfactors = [\"x\"]",
                vec![(missing, Some(15)), (impossible, Some(17))],
            ),
            ("design = \"latin_square\"\nfactors = [\"x\"]", vec![(missing, Some(15)); 2]),
            ("design = \"augmented_blocks\"\nfactors = [\"x\"]", vec![(missing, Some(15))]),
            (
                "design = \"randomised_blocks\"\nfactors = [\"x\", \"x\"]\nletters = true\n\
                 amounts = { y = \"days\" }",
                vec![(impossible, Some(16)), (impossible, Some(18))],
            ),
            (
                "design = \"randomised_blocks\"\nfactors = [\"x\"]\n\
                 amounts = { y = \"days\" }\ncontrol = { factor = \"z\", level = \"0\" }",
                vec![(impossible, Some(17)), (impossible, Some(18))],
            ),
            // The amount is of the factor that is yet to be named.
            (
                "design = \"split_plot\"\nsub_factors = [\"x\"]\namounts = { y = \"days\" }",
                vec![(missing, Some(15))],
            ),
            (
                "design = \"randomised_blocks\"\nfactors = [\"x\"]\n\
                 roles = { block = \"x\" }\ncovariate = \"x\"",
                vec![(impossible, Some(17)), (impossible, Some(18))],
            ),
            (
                "design = \"randomised_blocks\"\nfactors = [\"x\"]\n\
                 control = { factor = \"y\", level = \"0\" }\nseasons = [2024, 2024]",
                vec![(impossible, Some(17)), (impossible, Some(18))],
            ),
        ] {
            assert_eq!(found(section, None), expected, "{section}");
        }
    }

    #[test]
    fn a_trial_is_held_against_its_table() {
        let words = |words: &[&str]| words.iter().map(|&word| word.to_owned()).collect();
        let levels = [("x".to_owned(), words(&["0.0", "0.3"]))].into();
        let seen = crate::SeenTrials {
            columns: words(&["trial", "tree", "replicate", "x"]),
            levels: [("A".to_owned(), levels)].into(),
        };
        let start = "design = \"randomised_blocks\"\nfactors = [\"x\"]\n";
        let absent = Code::ColumnMissing;
        for (section, expected) in [
            ("control = { factor = \"x\", level = \"0\" }", vec![]),
            ("amounts = { z = \"days\" }", vec![(Code::SettingImpossible, Some(17))]),
            ("roles = { site = \"site\", row = \"row\" }", vec![]),
            ("roles = { block = \"lot\" }", vec![(absent, Some(17))]),
            ("[trials.A.roles]\nplot = \"lot\"", vec![(absent, Some(18))]),
            ("covariate = \"girth_cm\"", vec![]),
            ("covariate = \"height\"", vec![(absent, Some(17))]),
            (
                "control = { factor = \"x\", level = \"none\" }",
                vec![(Code::SettingImpossible, Some(17))],
            ),
        ] {
            assert_eq!(found(&format!("{start}{section}"), Some(&seen)), expected, "{section}");
        }
    }

    /// A factor that is misspelt, under its right name in amounts: one fault, told once.
    #[test]
    fn what_follows_from_a_misspelt_factor_is_told_with_it() {
        let words = |words: &[&str]| words.iter().map(|&word| word.to_owned()).collect();
        let seen = crate::SeenTrials {
            columns: words(&["trial", "tree", "replicate", "level"]),
            ..crate::SeenTrials::default()
        };
        let told = |more: &str| -> Vec<crate::Problem> {
            let text = format!(
                "{GOOD}\n[trials.A]\ndesign = \"randomised_blocks\"\nfactors = [\"depth\"]\n{more}\n"
            );
            Book::parse(&text).unwrap().trial_problems(&text, Some(&seen))
        };
        for more in [
            "amounts = { level = \"fraction\" }",
            "control = { factor = \"level\", level = \"0\" }",
        ] {
            let problems = told(more);
            assert_eq!(problems.len(), 1, "{problems:?}");
            assert_eq!((problems[0].code, problems[0].place.line), (Code::ColumnMissing, Some(16)));
            assert!(problems[0].remedy.contains("already, level"), "{}", problems[0].remedy);
        }
        // An amount that the table does not have either is a fault of its own.
        assert_eq!(told("amounts = { height = \"cm\" }").len(), 2);
    }

    #[test]
    fn a_region_without_calendar_and_a_misspelt_key_are_refused() {
        let text = GOOD.replace("flush = [\"09-01\", \"11-30\"]", "");
        let problems = Book::parse(&text).unwrap_err().problems;
        assert_eq!(problems[0].code, Code::RegionWithoutCalendar);
        assert_eq!(problems[0].place.line, Some(5));

        let text = GOOD.replace("price_per_kg", "price_perkg");
        let problems = Book::parse(&text).unwrap_err().problems;
        assert_eq!(problems[0].code, Code::BookUnreadable);
        assert!(problems[0].place.line.is_some());
    }
}
