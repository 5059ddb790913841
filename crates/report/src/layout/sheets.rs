//! Field sheets and labels as a spreadsheet.

use super::labels::{at_site, stands, tree_lines, within};
use super::trials_csv_rows;
use crate::cells::{LINE_HEIGHT, across, lines, set_height, titled, top};
use crate::error::ReportError;
use crate::text;
use records::TrialTrait;
use rust_xlsxwriter::{Format, FormatAlign, FormatBorder, Worksheet, XlsxError};
use trials::layout::Layout;
use words::{say, text};

/// Labels side by side on a sheet.
const LABELS: u16 = 3;
/// Widths of a column to write in and of the widest column of texts, characters.
const BY_HAND: f64 = 13.0;
const MOST: f64 = 32.0;
/// Height of a row to write in, points.
const HAND_HEIGHT: f64 = 24.0;
/// Lines without a tree below those of the picks, for further ones.
pub const SPARE_LINES: usize = 8;
/// Sheet of the trial table.
const TRIALS: &str = "trials";
/// The widest column to write in.
const REMARKS: &str = "remarks";

/// Bytes of `field-sheets.xlsx`: plots, pruning and harvest sheets, labels, the trial table and the
/// cautions. Every text is written as text, so nothing in it runs as a formula.
///
/// # Errors
/// When the workbook cannot be encoded.
pub fn workbook(layout: &Layout) -> Result<Vec<u8>, ReportError> {
    let mut book = titled(&say!("Field sheets of {}", at_site(layout, &layout.trial)))?;
    plots(book.add_worksheet().set_name(text!("Plots"))?, layout)?;
    if layout.gives_something() {
        let given: Vec<&str> = OF_TREE.into_iter().chain(["day", "given", REMARKS]).collect();
        trees(book.add_worksheet().set_name(text!("Treatment"))?, layout, &given, true)?;
    }
    let cut = ["date", "intensity", "measured_as", "minutes", REMARKS];
    let pruning: Vec<&str> = OF_TREE.into_iter().chain(cut).collect();
    trees(book.add_worksheet().set_name(text!("Pruning"))?, layout, &pruning, true)?;
    let picked = ["date", "nut_kg", "moisture_pct", "nut_count", REMARKS];
    let harvest: Vec<&str> = OF_TREE.into_iter().chain(picked).collect();
    trees(book.add_worksheet().set_name(text!("Harvest"))?, layout, &harvest, false)?;
    if counts_frames(layout) {
        let counted = ["date", "frame_m2", "laterals", "flowering_laterals", "side", REMARKS];
        let frames: Vec<&str> = OF_TREE.into_iter().chain(counted).collect();
        trees(book.add_worksheet().set_name(text!("Frames"))?, layout, &frames, false)?;
    }
    labels(book.add_worksheet().set_name(text!("Labels"))?, layout)?;
    table(book.add_worksheet().set_name(TRIALS)?, layout)?;
    let cautions = book.add_worksheet().set_name(text::H_SAFETY.get())?;
    cautions.set_column_width(0, 110)?;
    across(cautions);
    let wrap = top().set_text_wrap();
    for (row, caution) in (0_u32..).zip(text::CAUTIONS) {
        cautions.write_string_with_format(row, 0, caution, &wrap)?;
    }
    Ok(book.save_to_buffer()?)
}

/// What the sheets know of a tree before anyone writes on them.
const OF_TREE: [&str; 5] = ["tree", "where", "plot", "treatment", "observed"];

/// Whether a trait of the trial is counted in frames.
pub fn counts_frames(layout: &Layout) -> bool {
    layout.traits.iter().any(|own| {
        matches!(
            own,
            TrialTrait::Laterals | TrialTrait::FloweringLaterals | TrialTrait::ShareFlowering
        )
    })
}

/// The sheets that are filled in: table of the book, name of the sheet, and headings that are no columns
/// of the table.
pub fn to_fill(layout: &Layout) -> Vec<(&'static str, &'static str, Vec<String>)> {
    let no_columns: Vec<String> =
        OF_TREE[1..].iter().chain(&[REMARKS]).map(|column| headed(column)).collect();
    let mut sheets = vec![
        ("prunings", text!("Pruning"), no_columns.clone()),
        ("harvests", text!("Harvest"), no_columns.clone()),
    ];
    if counts_frames(layout) {
        sheets.push(("laterals", text!("Frames"), no_columns));
    }
    sheets
}

/// The other sheets of the workbook.
pub fn no_tables(layout: &Layout) -> Vec<&'static str> {
    let mut sheets = vec![text!("Plots"), text!("Labels"), TRIALS, text::H_SAFETY.get()];
    if layout.gives_something() {
        sheets.push(text!("Treatment"));
    }
    sheets
}

/// A heading in words, with the column of the book where what is written there will be typed.
fn headed(column: &str) -> String {
    let words = match column {
        "where" => return text!("where").to_owned(),
        "code" => return text!("code").to_owned(),
        "within" => return text!("within").to_owned(),
        "treatment" => return text!("treatment").to_owned(),
        "trees" => return text!("trees").to_owned(),
        "observed" => return text!("observed").to_owned(),
        "day" => return text!("date").to_owned(),
        "given" => return text!("what was given").to_owned(),
        REMARKS => return text!("remarks").to_owned(),
        "tree" => text!("tree"),
        "plot" => text!("plot"),
        "date" => text!("date"),
        "intensity" => text!("share of the canopy cut, 0.40 for 40 %, 0 where none"),
        "measured_as" => text!("measured by"),
        "minutes" => text!("minutes"),
        "nut_kg" => text!("nuts, kg"),
        "moisture_pct" => text!("moisture, %"),
        "nut_count" => text!("number of nuts"),
        "frame_m2" => text!("area of the frame, m2"),
        "laterals" => text!("laterals in it"),
        "flowering_laterals" => text!("those that flower"),
        "side" => text!("side of the tree"),
        own => own,
    };
    if words == column { words.to_owned() } else { format!("{words} ({column})") }
}

/// A table whose columns are as wide as their texts; columns without any are for writing by hand.
fn fill(
    sheet: &mut Worksheet,
    (names, frozen): (&[String], u16),
    rows: &[Vec<String>],
    (format, height): (&Format, f64),
) -> Result<(), XlsxError> {
    let bold = top().set_bold().set_text_wrap().set_border_bottom(FormatBorder::Medium);
    let mut widths = Vec::with_capacity(names.len());
    let mut head_lines = 1;
    let remarks = headed(REMARKS);
    for (column, name) in names.iter().enumerate() {
        let longest = rows.iter().filter_map(|cells| cells.get(column));
        let longest = longest.map(|text| text.chars().count()).max().unwrap_or(0);
        let least = if *name == remarks { 2.0 * BY_HAND } else { BY_HAND };
        let width = (1.1 * longest as f64).clamp(least, f64::max(MOST, least));
        sheet.set_column_width(column as u16, width)?;
        sheet.write_string_with_format(0, column as u16, name, &bold)?;
        head_lines = head_lines.max(lines(name, width));
        widths.push(width);
    }
    set_height(sheet, 0, head_lines)?;
    sheet.set_freeze_panes(1, frozen)?;
    across(sheet);
    sheet.set_repeat_rows(0, 0)?;
    for (row, cells) in (1_u32..).zip(rows) {
        let mut most = 1;
        for (column, width) in widths.iter().enumerate() {
            let text = cells.get(column).map_or("", String::as_str);
            sheet.write_string_with_format(row, column as u16, text, format)?;
            most = most.max(lines(text, *width));
        }
        sheet.set_row_height(row, f64::max(height, LINE_HEIGHT * f64::from(most)))?;
    }
    Ok(())
}

fn plots(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let mut names = ["plot", "within", "code", "treatment", "trees"].map(headed).to_vec();
    names.extend(layout.factors.iter().map(|factor| factor.name.clone()));
    let rows = layout.plots.iter().map(|plot| {
        let (code, treatment) = super::treatment_of(layout, plot.treatment);
        let ids: Vec<&str> = plot.trees.iter().map(|tree| tree.tree.as_str()).collect();
        let levels = layout.treatments.get(plot.treatment).map_or(&[][..], |found| &found.levels);
        let levels =
            levels.iter().map(|level| level.clone().unwrap_or_else(|| text!("none").to_owned()));
        [plot.plot.clone(), within(plot), code, treatment, ids.join(" ")]
            .into_iter()
            .chain(levels)
            .collect()
    });
    let rows: Vec<Vec<String>> = rows.collect();
    fill(sheet, (&names, 1), &rows, (&top().set_text_wrap(), LINE_HEIGHT))?;
    if !layout.lead_words.is_empty() {
        let below = u32::try_from(rows.len() + 2).unwrap_or(u32::MAX);
        sheet.write_string_with_format(below, 0, &layout.lead_words, &top())?;
    }
    Ok(())
}

/// One line per tree, to be filled by hand.
fn trees(
    sheet: &mut Worksheet,
    layout: &Layout,
    names: &[&str],
    border: bool,
) -> Result<(), XlsxError> {
    let is_picked = names.contains(&"nut_kg");
    // Round by round, as they are picked.
    let rounds = if is_picked { layout.picks_per_tree } else { 1 };
    let lines = tree_lines(layout);
    let lines = lines.iter().filter(|line| line.observed || border);
    let rows = std::iter::repeat_n(lines, rounds).flatten().map(|line| {
        let treatment = format!("{}: {}", line.code, line.treatment);
        let observed = if line.observed { text!("yes") } else { text!("no") };
        let plot = line.plot.plot.clone();
        vec![line.tree.tree.clone(), stands(line.tree), plot, treatment, observed.to_owned()]
    });
    let line = top().set_text_wrap().set_border_bottom(FormatBorder::Thin);
    let names: Vec<String> = names.iter().map(|name| headed(name)).collect();
    let spare = if is_picked { SPARE_LINES } else { 0 };
    let rows: Vec<Vec<String>> = rows.chain(std::iter::repeat_n(Vec::new(), spare)).collect();
    fill(sheet, (&names, 1), &rows, (&line, HAND_HEIGHT))
}

/// Labels to cut out, one per plot.
fn labels(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let box_format = Format::new()
        .set_border(FormatBorder::Thin)
        .set_text_wrap()
        .set_font_size(12)
        .set_align(FormatAlign::Center)
        .set_align(FormatAlign::VerticalCenter);
    for column in 0..LABELS {
        sheet.set_column_width(column, 30)?;
    }
    sheet.set_paper_size(9);
    sheet.set_print_fit_to_pages(1, 0);
    for (number, plot) in layout.plots.iter().enumerate() {
        let (code, treatment) = super::treatment_of(layout, plot.treatment);
        let plot_line = say!("Plot {}", plot.plot);
        let trial = at_site(layout, &layout.trial);
        let text = format!("{trial}\n{plot_line}\n{code}: {treatment}\n{}", within(plot));
        let (row, column) = (number / usize::from(LABELS), number % usize::from(LABELS));
        let (row, column) =
            (u32::try_from(row).unwrap_or(u32::MAX), u16::try_from(column).unwrap_or(0));
        sheet.set_row_height(row, 96)?;
        sheet.write_string_with_format(row, column, text, &box_format)?;
    }
    Ok(())
}

/// The trial table, as in `trials.csv`.
fn table(sheet: &mut Worksheet, layout: &Layout) -> Result<(), XlsxError> {
    let (columns, rows) = trials_csv_rows(layout);
    fill(sheet, (&columns, 2), &rows, (&top(), LINE_HEIGHT))
}
