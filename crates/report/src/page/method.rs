//! How the numbers were computed: coefficients, spreads and rows.

use super::table::Table;
use crate::content::Method;
use crate::number::{DASH, count, estimate, p_value};

/// Fixed effects, on the model's scale.
pub fn coefficients(method: &Method) -> Table {
    let mut table = Table::new(
        "Coefficients of the yield model",
        &["Term", "#Estimate", "#Std error", "#df", "#Statistic", "#p", "#Lower", "#Upper"],
    );
    for c in &method.coefficients {
        table.row([
            c.term.clone(),
            estimate(c.estimate),
            estimate(c.std_error),
            crate::number::optional(c.df, 1),
            crate::number::optional(c.statistic, 2),
            c.p_value.map_or_else(|| DASH.to_owned(), p_value),
            estimate(c.conf_low),
            estimate(c.conf_high),
        ]);
    }
    table
}

/// Standard deviations of the random effects, on the model's scale.
pub fn spreads(method: &Method) -> Table {
    let mut table = Table::new(
        "Standard deviations between groups",
        &["Group", "Term", "#Std deviation", "#Lower", "#Upper", "Note"],
    );
    for s in &method.spreads {
        table.row([
            s.group.clone(),
            s.term.clone(),
            estimate(s.sd),
            estimate(s.low),
            estimate(s.high),
            s.note.clone(),
        ]);
    }
    table
}

/// Facts of the fit, as (name, value).
pub fn facts(method: &Method) -> Vec<(String, String)> {
    let mut rows = vec![
        ("Status of the fit".to_owned(), method.status.clone()),
        ("Scale of the model".to_owned(), method.scale.clone()),
        ("Degrees of freedom".to_owned(), method.df_method.clone()),
        ("Tree-seasons used".to_owned(), count(method.rows_used)),
    ];
    for (reason, n) in &method.rows_dropped {
        rows.push((format!("Tree-seasons left out: {reason}"), count(*n)));
    }
    rows
}
