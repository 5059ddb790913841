//! Delimited text files.

use super::dialect::Dialect;
use super::sheet::{Cell, Sheet};

/// The bytes of a sheet, lines ended by a newline.
pub(crate) fn bytes(sheet: &Sheet, dialect: Dialect) -> Vec<u8> {
    let mut text = String::new();
    if dialect.byte_order_mark {
        text.push('\u{feff}');
    }
    let header: Vec<String> = sheet.header.iter().map(|name| quoted(name, dialect)).collect();
    line(&mut text, &header, dialect);
    for row in &sheet.rows {
        let cells: Vec<String> = row.iter().map(|cell| cell_text(cell, dialect)).collect();
        line(&mut text, &cells, dialect);
    }
    if dialect.latin1 { latin1(&text) } else { text.into_bytes() }
}

fn line(text: &mut String, cells: &[String], dialect: Dialect) {
    text.push_str(&cells.join(&dialect.separator.to_string()));
    text.push('\n');
}

fn cell_text(cell: &Cell, dialect: Dialect) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => quoted(text, dialect),
        Cell::Number(value, decimals) => {
            let number = number_text(*value, *decimals);
            if dialect.decimal_comma { number.replace('.', ",") } else { number }
        }
        Cell::Date(date) if dialect.day_first => {
            format!("{:02}/{:02}/{}", date.day(), date.month(), date.year())
        }
        Cell::Date(date) => date.to_string(),
    }
}

/// A number without trailing zeros.
fn number_text(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

fn quoted(text: &str, dialect: Dialect) -> String {
    if text.contains([dialect.separator, '"', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// Latin-1 bytes; a character outside it becomes a question mark.
fn latin1(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect()
}

#[cfg(test)]
mod tests {
    use super::super::dialect::PLAIN;
    use super::*;
    use jiff::civil::date;

    /// Witness: the expected bytes written out by hand.
    #[test]
    fn dialects_are_written_as_declared() {
        let mut sheet = Sheet::new("", &["Árvore", "d", "kg"]);
        sheet.rows.push(vec![
            Cell::text("a;1"),
            Cell::Date(date(2024, 7, 5)),
            Cell::Number(3.5, 2),
        ]);
        let comma =
            Dialect { separator: ';', decimal_comma: true, day_first: true, latin1: true, ..PLAIN };
        assert_eq!(bytes(&sheet, comma), b"\xc1rvore;d;kg\n\"a;1\";05/07/2024;3,5\n");
        assert_eq!(bytes(&sheet, PLAIN), "Árvore,d,kg\na;1,2024-07-05,3.5\n".as_bytes());
    }
}
