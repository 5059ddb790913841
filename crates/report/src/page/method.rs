//! How the numbers were computed: coefficients, spreads and rows.

use super::table::{Fact, Head, Table};
use crate::content::Method;
use crate::how::page as how;
use crate::number::{DASH, count, estimate, p_value};
use words::{say, text};

/// Fixed effects, on the model's scale.
pub fn coefficients(method: &Method) -> Table {
    let mut table = Table::new(
        say!("Coefficients of the yield model, on its scale ({})", method.scale),
        [
            Head::from(text!("Term")),
            Head::from(text!("#Estimate")).how(how("coefficients.estimate")),
            Head::from(text!("#Std error")).how(how("coefficients.std-error")),
            Head::from(text!("#df")).how(how("coefficients.df")),
            Head::from(text!("#Statistic")).how(how("coefficients.statistic")),
            Head::from("#p").how(how("coefficients.p")),
            Head::from(text!("#Lower")).how(how("coefficients.limits")),
            Head::from(text!("#Upper")).how(how("coefficients.limits")),
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
        say!("Standard deviations between groups, on the model's scale ({})", method.scale),
        [
            text!("Group"),
            text!("Term"),
            text!("#Std deviation"),
            text!("#Lower"),
            text!("#Upper"),
            text!("Note"),
        ],
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
        fact(say!("Status of the fit"), method.status.clone()),
        fact(say!("Scale of the model"), method.scale.clone()),
        fact(say!("Degrees of freedom"), method.df_method.clone()),
        fact(say!("Tree-seasons used"), count(method.rows_used)),
    ];
    for (reason, n) in &method.rows_dropped {
        rows.push(fact(say!("Tree-seasons left out: {reason}"), count(*n)));
    }
    rows
}
