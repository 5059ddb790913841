//! How the numbers were computed: coefficients, spreads and rows.

use super::table::{Fact, Head, Table};
use crate::content::Method;
use crate::how::page as how;
use crate::number::{DASH, count, estimate, p_value};

/// Fixed effects, on the model's scale.
pub fn coefficients(method: &Method) -> Table {
    let mut table = Table::new(
        format!("Coefficients of the yield model, on its scale ({})", method.scale),
        [
            Head::from("Term"),
            Head::from("#Estimate").how(how("coefficients.estimate")),
            Head::from("#Std error").how(how("coefficients.std-error")),
            Head::from("#df").how(how("coefficients.df")),
            Head::from("#Statistic").how(how("coefficients.statistic")),
            Head::from("#p").how(how("coefficients.p")),
            Head::from("#Lower").how(how("coefficients.limits")),
            Head::from("#Upper").how(how("coefficients.limits")),
        ],
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
        format!("Standard deviations between groups, on the model's scale ({})", method.scale),
        ["Group", "Term", "#Std deviation", "#Lower", "#Upper", "Note"],
    );
    table.how = how("spreads");
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

/// Facts of the fit.
pub fn facts(method: &Method) -> Vec<Fact> {
    let fact = |name: String, value: String| Fact::new(name, value, how("fit.facts"));
    let mut rows = vec![
        fact("Status of the fit".to_owned(), method.status.clone()),
        fact("Scale of the model".to_owned(), method.scale.clone()),
        fact("Degrees of freedom".to_owned(), method.df_method.clone()),
        fact("Tree-seasons used".to_owned(), count(method.rows_used)),
    ];
    for (reason, n) in &method.rows_dropped {
        rows.push(fact(format!("Tree-seasons left out: {reason}"), count(*n)));
    }
    rows
}
