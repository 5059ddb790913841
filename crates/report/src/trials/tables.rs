//! Tables of a trial for the page and as CSV.

use super::content::{TrialCell, TrialTable};
use crate::files::{csv_record, harmless};
use crate::how;
use crate::number::{DASH, fixed, p_value, unbroken};
use crate::page::{Cell, Head, Table};

/// A cell as people read it.
pub fn shown(cell: &TrialCell) -> String {
    match cell {
        TrialCell::Text(text) => text.clone(),
        TrialCell::Number(Some(value), decimals) => fixed(*value, *decimals),
        TrialCell::P(Some(p)) => p_value(*p),
        TrialCell::Number(None, _) | TrialCell::P(None) => DASH.to_owned(),
    }
}

/// The table as the page's template takes it.
pub fn table(of: &TrialTable) -> Table {
    let heads = of.heads.iter().map(|head| Head {
        text: head.text.clone(),
        numeric: head.numeric,
        how: String::new(),
    });
    let mut table = Table::new(of.caption.clone(), heads);
    table.how = how::trial(&of.name);
    for row in &of.rows {
        table.row(row.iter().map(|cell| Cell::from(unbroken(&shown(cell)))));
    }
    table
}

/// The table as CSV: a header and one record per row with the full numbers; empty cells where there
/// is no number.
pub fn csv(of: &TrialTable) -> String {
    let mut out = if of.file_heads.is_empty() {
        csv_record(of.heads.iter().map(|head| harmless(&head.text)))
    } else {
        csv_record(of.file_heads.iter().map(|head| harmless(head)))
    };
    let rows = if of.file_rows.is_empty() { &of.rows } else { &of.file_rows };
    for row in rows {
        out.push_str(&csv_record(row.iter().map(|cell| match cell {
            TrialCell::Text(text) => harmless(text),
            TrialCell::Number(value, _) | TrialCell::P(value) => {
                value.filter(|v| v.is_finite()).map_or_else(String::new, |v| v.to_string())
            }
        })));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_unknown_is_a_dash_on_the_page_and_empty_in_the_file() {
        let mut of = TrialTable::new("anova", "Analysis", &["Source", "#F", "#p"]);
        of.rows.push(vec![
            TrialCell::Text("=dressing".to_owned()),
            TrialCell::Number(Some(f64::NAN), 2),
            TrialCell::P(None),
        ]);
        let page = table(&of);
        assert_eq!(page.rows[0][1].text, DASH);
        assert_eq!(page.rows[0][2].text, DASH);
        assert_eq!(csv(&of), "Source,F,p\n'=dressing,,\n");
    }
}
