//! Cells of text tables: quoted where needed, and never a formula.

/// A text that a spreadsheet would run as a formula, disarmed by a leading apostrophe.
pub fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// One CSV record (RFC 4180), line end included.
pub fn csv_record<I: IntoIterator<Item = String>>(cells: I) -> String {
    let quoted: Vec<String> = cells.into_iter().map(quote).collect();
    let mut line = quoted.join(",");
    line.push('\n');
    line
}

/// One CSV record of texts, none of which a spreadsheet runs as a formula.
#[must_use]
pub fn csv_line<'a>(cells: impl IntoIterator<Item = &'a String>) -> String {
    csv_record(cells.into_iter().map(|cell| harmless(cell)))
}

fn quote(cell: String) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_disarmed() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
            assert!(harmless(text).starts_with('\''), "{text:?}");
        }
        assert_eq!(harmless("North = good"), "North = good");
    }
}
