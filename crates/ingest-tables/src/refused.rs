//! Rows that are set aside, and rows that are none: sums, headers of a second page.

use crate::cell::fault::CellFault;
use crate::quarantine::QuarantinedRow;
use crate::rows::RawRow;
use records::{Code, Table};
use words::text;

/// Whether the first filled cell of the row says that it adds up others, as the last row of a sheet often
/// does, in English, Portuguese, French or Spanish, or a later one says nothing else: a remark may begin
/// with any word.
pub(crate) fn is_total(row: &RawRow<'_>) -> bool {
    const WORDS: [&str; 16] = [
        "total",
        "totals",
        "totais",
        "totaux",
        "totales",
        "subtotal",
        "sub-total",
        "sous-total",
        "sum",
        "soma",
        "somme",
        "suma",
        "mean",
        "moyenne",
        "m\u{e9}dia",
        "cumul",
    ];
    if row.damage.is_some() {
        return false;
    }
    let texts = (0..row.cells.len()).map(|cell| row.cells.cell(cell).into_text());
    let texts = texts.map(|text| text.trim().trim_end_matches(':').to_lowercase());
    texts.filter(|text| !text.is_empty()).enumerate().any(|(nth, text)| {
        let first = text.split_whitespace().next().unwrap_or_default().trim_end_matches(':');
        text == "grand total"
            || WORDS.contains(&text.as_str())
            || nth == 0 && WORDS.contains(&first)
    })
}

/// Whether the filled cells of the row are words of the header, as where printed pages were joined.
pub(crate) fn is_header_again(row: &RawRow<'_>, header: &[String]) -> bool {
    let mut filled = 0;
    for (cell, name) in header.iter().enumerate() {
        let text = row.cells.cell(cell).into_text();
        if text.is_empty() {
            continue;
        }
        if !text.trim().eq_ignore_ascii_case(name.trim()) {
            return false;
        }
        filled += 1;
    }
    filled > 1
}

/// A row set aside, with all its faults as reasons and what to do about them.
pub(crate) fn quarantined(
    (file, table): (&str, Table),
    header: &[String],
    row: &RawRow<'_>,
    faults: &[(Option<u32>, CellFault)],
) -> QuarantinedRow {
    let reasons: Vec<&str> = faults.iter().map(|(_, fault)| fault.reason.as_str()).collect();
    let mut remedies: Vec<&str> = Vec::new();
    let lacking = faults.iter().filter(|(_, fault)| fault.code == Code::CellMissing).count();
    if is_total(row) {
        // Whatever its cells lack, filling them in would make a tree of it.
        remedies.push(text!(
            "the row looks like a total of those above: remove it from the file, or name its word under not_rows in [[files.TABLE]]"
        ));
    } else if is_header_again(row, header) {
        remedies.push(text!("the row repeats the header: remove it from the file"));
    } else if lacking > 1 {
        // Carried on from the row above, a remark or a sum would become a visit.
        remedies.push(text!(
            "remove the row if it is a sum, a signature or a remark, or name its text under not_rows in [[files.TABLE]]; if it is one of a group whose id or day stands once, as in merged cells, name the columns under fill_down in [[files.TABLE]]; else fill in what is empty"
        ));
    } else {
        for (_, fault) in faults {
            if !remedies.contains(&fault.remedy.as_str()) {
                remedies.push(&fault.remedy);
            }
        }
    }
    let (column, code) =
        faults.first().map_or((None, Code::RowRagged), |(cell, fault)| (*cell, fault.code));
    QuarantinedRow {
        file: file.to_owned(),
        line: row.line,
        column,
        code,
        reason: reasons.join("; "),
        remedy: remedies.join("; "),
        text: row.text(),
        visit: None,
        of_place: None,
        table,
    }
}
