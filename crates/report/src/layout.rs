//! A layout on paper: field map, field sheets, labels, and the tables that are read back.

mod labels;
mod map;
mod page;
mod sheets;

use crate::error::ReportError;
use crate::escape::with_code;
use crate::files::csv_record;
use crate::names::stem;
use askama::Template;
use records::turns_direction;
use std::fs;
use std::path::Path;
use trials::amount_words;
use trials::layout::{Layout, NewField, TrialTable};
use words::{Language, say, text};

/// Code of a treatment on maps and labels: A to Z, then A2 and so on.
fn code(treatment: usize) -> String {
    let letter = u32::try_from(treatment % 26).ok().and_then(|k| char::from_u32(65 + k));
    let round = treatment / 26;
    let number = if round == 0 { String::new() } else { (round + 1).to_string() };
    format!("{}{number}", letter.unwrap_or('?'))
}

/// Code of a treatment, and its levels with the names of their factors.
fn treatment_of(layout: &Layout, treatment: usize) -> (String, String) {
    let levels = layout.treatments.get(treatment).map_or(&[][..], |found| &found.levels);
    (code(treatment), described(layout, levels))
}

fn described(layout: &Layout, levels: &[Option<String>]) -> String {
    let words = layout.factors.iter().zip(levels).filter_map(|(factor, level)| {
        let level = level.as_ref()?;
        let amount = factor.unit.as_deref().zip(level.parse::<f64>().ok());
        if let (true, Some((unit, share))) = (factor.is_intensity(), amount) {
            // Whoever cuts reads what to do, not the column's name.
            return Some(if share > 0.0 {
                say!("cut {} of the canopy", amount_words(share, unit))
            } else {
                say!("do not prune")
            });
        }
        let said =
            amount.map_or_else(|| level.clone(), |(unit, amount)| amount_words(amount, unit));
        let day = layout.day_of_lead(&factor.name, level);
        if !day.is_empty() {
            return Some(say!("{said} before the flush ({day})"));
        }
        Some(format!("{} {said}", trials::name_in_words(&factor.name)))
    });
    let words: Vec<String> = words.collect();
    words.join(", ")
}

/// Columns and rows of the trial table.
fn trials_csv_rows(layout: &Layout) -> (Vec<String>, Vec<Vec<String>>) {
    let table = layout.trial_table();
    (table.columns, table.rows)
}

/// A table to put into the book.
fn csv(TrialTable { columns, rows }: TrialTable) -> String {
    let mut out = csv_record(columns);
    for row in rows {
        out.push_str(&csv_record(row));
    }
    out
}

/// A name for files of this part of the trial.
fn own_stem(layout: &Layout) -> String {
    let site = layout.site.as_ref();
    let name = site.map_or_else(|| layout.trial.clone(), |site| format!("{}-{site}", layout.trial));
    stem(&name, [])
}

/// The section of `book.toml`.
fn section(layout: &Layout) -> String {
    let field = match &layout.new_field {
        None => String::new(),
        Some(field) => {
            // Comments of book.toml are English throughout, as its keys are.
            let said = words::speaking(Language::English, || new_field_words(field));
            format!("# {}\n", said.join("\n# "))
        }
    };
    let seasons = match layout.first_harvest {
        Some(first) => format!(
            "# The harvests of the trial: earlier records of its trees count as everyday records, and\n\
             # the work plan leaves its trees to the field sheets until the last of them. Add each\n\
             # further one, for example seasons = [{first}, {}].\n",
            first + 1
        ),
        None => "# Name the harvests of the trial, seasons = [YEAR, ..], from the first one after its pruning:\n\
                 # earlier records of its trees then count as everyday records, and the work plan leaves\n\
                 # its trees to the field sheets until the last of them.\n"
            .to_owned(),
    };
    let sites = if layout.site.is_some() {
        "# A trial at several sites has one section: append that of the first site alone, and the commented\n\
         # lines at the end of every other.\n"
    } else {
        ""
    };
    format!(
        "{sites}# Append this to book.toml, and put trials.csv into the book as trials-{}.csv (where book.toml\n\
         # names the files of trials, name this one too).\n\
         {field}{}{seasons}{}",
        own_stem(layout),
        layout.declaration().snippet(&layout.trial),
        filled_sheets(layout)
    )
}

/// How the filled field sheets are read, as comments of `book.toml`.
fn filled_sheets(layout: &Layout) -> String {
    let file = format!("sheets-{}.xlsx", own_stem(layout));
    let others: Vec<String> =
        sheets::no_tables(layout).iter().map(|sheet| format!("\"{file}#{sheet}\"")).collect();
    let mut lines = vec![
        "The filled field sheets can be read as they are: put field-sheets.xlsx into the book as"
            .to_owned(),
        format!("{file} and add the lines below without their `#`. Name every other file of"),
        "prunings and of harvests in such lines too: once one is named, only those named are read."
            .to_owned(),
        "Days typed as text, such as 15/07/2026, need one line more in each of the two sections:"
            .to_owned(),
        "dates = \"day_first\" or dates = \"month_first\"; days that the spreadsheet keeps as dates do not."
            .to_owned(),
        "Shares of the canopy written in per cent, such as 40 for 0.40, need units = { intensity = \"pct\" }"
            .to_owned(),
        "under the prunings: write all of them in one way.".to_owned(),
        "Of trees left uncut write the day and 0, or remove their rows. The other sheets are no tables:"
            .to_owned(),
        format!("under [book] not_tables = [{}]", others.join(", ")),
    ];
    for (table, sheet, columns) in sheets::to_fill(layout) {
        let words: Vec<String> = columns.iter().map(|column| format!("\"{column}\"")).collect();
        lines.extend([
            String::new(),
            format!("[[files.{table}]]"),
            format!("path = \"{file}\""),
            format!("sheet = \"{sheet}\""),
            format!("not_columns = [{}]", words.join(", ")),
        ]);
        if table == "prunings" {
            lines.push("measured_as = \"canopy_fraction\"".to_owned());
        }
    }
    let lines: Vec<String> =
        lines.iter().map(|line| format!("# {line}").trim_end().to_owned()).collect();
    lines.join("\n") + "\n"
}

/// What a book needs before it knows the trees of a new field.
#[must_use]
pub fn new_field_words(field: &NewField) -> Vec<String> {
    let stated = [("site", &field.site), ("region", &field.region)];
    let missing: Vec<&str> =
        stated.into_iter().filter_map(|(name, value)| value.is_none().then_some(name)).collect();
    // Ids are text: they end neither the comment nor the name of a file.
    let stem = stem(&field.block, []);
    let block = field.block.replace(|c: char| c.is_control() || turns_direction(c), " ");
    let own = if missing.is_empty() {
        say!(
            "Its block is in blocks.csv: fill in spacing, variety and planted, and put it into the book as blocks-{stem}.csv, or add its row to the block table."
        )
    } else {
        say!(
            "Its block '{block}' needs a row in the block table with block, site and region; with {} under [field] of the request, blocks.csv is written too.",
            missing.join(text!(" and "))
        )
    };
    vec![
        say!(
            "The trees of the new field are in trees.csv: put it into the book as trees-{stem}.csv, or add its rows to the tree table."
        ),
        own,
    ]
}

/// Writes `map.svg`, `field-sheets.html`, `field-sheets.xlsx`, `trials.csv`, `book-section.toml` and
/// `layout.json` into `dir`, which is created when absent, and of a new field `trees.csv` and, where
/// site and region are stated, `blocks.csv`. The same layout gives the same bytes.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay.
pub fn write_layout(layout: &Layout, dir: &Path) -> Result<(), ReportError> {
    let section = section(layout);
    write_sheets(layout, dir, &section)?;
    write(dir, "trials.csv", csv(layout.trial_table()).as_bytes())?;
    if let Some(trees) = layout.tree_table() {
        write(dir, "trees.csv", csv(trees).as_bytes())?;
    }
    if let Some(blocks) = layout.block_table() {
        write(dir, "blocks.csv", csv(blocks).as_bytes())?;
    }
    write(dir, "book-section.toml", section.as_bytes())
}

/// Writes `map.svg`, `field-sheets.html`, `field-sheets.xlsx` and `layout.json` of a trial whose rows
/// and lines the book has already.
///
/// # Errors
/// When a file cannot be encoded or written; files written before stay.
pub fn write_sheets_again(layout: &Layout, dir: &Path) -> Result<(), ReportError> {
    write_sheets(layout, dir, "")
}

fn write_sheets(layout: &Layout, dir: &Path, section: &str) -> Result<(), ReportError> {
    fs::create_dir_all(dir)
        .map_err(|source| ReportError::Write { path: dir.to_owned(), source })?;
    let map = map::map_svg(layout);
    write(dir, "map.svg", map.as_bytes())?;
    let page = with_code(&page::LayoutPage::of(layout, map, section).render()?);
    write(dir, "field-sheets.html", page.as_bytes())?;
    write(dir, "field-sheets.xlsx", &sheets::workbook(layout)?)?;
    let json = serde_json::to_string_pretty(layout)?;
    write(dir, "layout.json", (json + "\n").as_bytes())
}

fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
    let path = dir.join(name);
    fs::write(&path, bytes).map_err(|source| ReportError::Write { path, source })
}

#[cfg(test)]
mod tests {
    use super::code;

    #[test]
    fn codes_are_short_and_differ() {
        let codes: Vec<String> = (0..60).map(code).collect();
        assert_eq!((codes[0].as_str(), codes[25].as_str(), codes[26].as_str()), ("A", "Z", "A2"));
        let mut unique = codes.clone();
        unique.sort();
        unique.dedup();
        assert_eq!(unique.len(), codes.len());
    }
}
