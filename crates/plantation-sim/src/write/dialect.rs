//! Habits of a region's office: separators, decimals, dates, header words and units.

use crate::RecordStyle;
use records::Table;

/// How a file is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum FileFormat {
    Delimited(Dialect),
    Spreadsheet,
}

/// A delimited text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Dialect {
    pub(crate) separator: char,
    pub(crate) decimal_comma: bool,
    pub(crate) day_first: bool,
    pub(crate) latin1: bool,
    pub(crate) byte_order_mark: bool,
}

/// Comma-separated UTF-8 with ISO dates.
pub(crate) const PLAIN: Dialect = Dialect {
    separator: ',',
    decimal_comma: false,
    day_first: false,
    latin1: false,
    byte_order_mark: false,
};

/// Format and file ending of a region's table.
pub(crate) fn format_of(style: RecordStyle, table: Table) -> (FileFormat, &'static str) {
    let delimited = FileFormat::Delimited;
    match (style, table) {
        (RecordStyle::DecimalComma, _) => (
            delimited(Dialect {
                separator: ';',
                decimal_comma: true,
                day_first: true,
                latin1: true,
                byte_order_mark: false,
            }),
            "csv",
        ),
        (RecordStyle::Spreadsheet, Table::Prunings) | (RecordStyle::Workbook, _) => {
            (FileFormat::Spreadsheet, "xlsx")
        }
        (RecordStyle::Spreadsheet, _) => {
            (delimited(Dialect { separator: '\t', byte_order_mark: true, ..PLAIN }), "csv")
        }
        _ => (delimited(PLAIN), "csv"),
    }
}

/// Word a region's office uses for a column.
pub(crate) fn header_word(style: RecordStyle, table: Table, column: &str) -> &str {
    match (style, table, column) {
        (RecordStyle::DecimalComma, _, "tree") => "Árvore",
        (RecordStyle::DecimalComma, _, "date") => "Data",
        (RecordStyle::DecimalComma, _, "nut_kg") => "Castanha kg",
        (RecordStyle::DecimalComma, _, "intensity") => "Intensidade",
        (RecordStyle::DecimalComma, _, "measured_as") => "Medida",
        (RecordStyle::DecimalComma, _, "shoots_cut") => "Ramos cortados",
        (RecordStyle::DecimalComma, _, "shoots_total") => "Ramos totais",
        (RecordStyle::DecimalComma, _, "minutes") => "Minutos",
        (RecordStyle::OddUnits, Table::Harvests, "nut_kg") => "nut_g",
        (RecordStyle::Workbook, _, "tree") => "Tree no.",
        (RecordStyle::Workbook, _, "date") => "Day",
        (RecordStyle::Workbook, _, "nut_kg") => "Nuts, g",
        (RecordStyle::Workbook, _, "moisture_pct") => "Wetness",
        (RecordStyle::Workbook, _, "intensity") => "Canopy off, %",
        (RecordStyle::Workbook, _, "measured_as") => "How judged",
        (RecordStyle::Spreadsheet, _, "intensity") => "Intensity",
        (RecordStyle::Spreadsheet, _, "tree") => "Tree",
        (RecordStyle::Spreadsheet, _, "date") => "Date",
        _ => column,
    }
}

/// Unit of a column that differs from the schema's, and what one schema unit is in it.
pub(crate) fn unit(style: RecordStyle, column: &str) -> Option<(&'static str, f64)> {
    match (style, column) {
        (RecordStyle::OddUnits | RecordStyle::Workbook, "nut_kg") => Some(("g", 1000.0)),
        (RecordStyle::OddUnits | RecordStyle::Workbook, "intensity") => Some(("pct", 100.0)),
        _ => None,
    }
}
