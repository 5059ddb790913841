//! How money was counted, in words.

use crate::pipeline::Checked;
use crate::pipeline::advice::Advised;
use advise::{Cost, TimeSource};
use words::{Text, constant, say, text};

/// Prices, wages, working time, materials and cut wood of every region.
pub(super) fn sentence(checked: &Checked, advised: &Advised) -> String {
    let book = &checked.tables.book;
    let currency = &book.economics.currency;
    let regions: Vec<String> = advised
        .costs
        .iter()
        .map(|(region, cost)| {
            let wood = if cost.wood_full_canopy == 0.0 {
                String::new()
            } else {
                say!(
                    ", {:.2} {currency} x intensity for haulage less the value of the wood",
                    cost.wood_full_canopy
                )
            };
            say!(
                "{}: {:.2} {currency} per kg, {:.2} {currency} per hour, {:.1} min per pruned tree plus {:.1} min x intensity ({}), materials {:.2} {currency} per pruned tree{wood}",
                book.region_name(region),
                cost.price_per_kg * cost.price_factor,
                cost.wage_per_hour,
                cost.rate.minutes_per_tree,
                cost.rate.minutes_full_canopy,
                source(cost),
                cost.materials
            )
        })
        .collect();
    let outturn = book.economics.outturn_lb.zip(book.economics.price_outturn_lb).map_or_else(
        String::new,
        |(own, quoted)| {
            say!(" Prices are brought from an outturn of {quoted} lb, at which they are quoted, to the nuts' own {own} lb.")
        },
    );
    say!(
        "Net return per tree = price x expected yield - cost. {}.{outturn} Odds of loss and break-even values come from the same draws as the gains, against present practice.",
        regions.join("; ")
    )
}

fn source(cost: &Cost) -> String {
    match (&cost.source, &cost.time_fit) {
        (TimeSource::Recorded, Some(fit)) => {
            let size = if fit.full_canopy_by_size.is_some() {
                text!(", for a tree of mean size; the plan takes each block's own")
            } else {
                ""
            };
            let tools =
                if fit.tools.len() > 1 { text!(", tools as often as recorded") } else { "" };
            say!(
                "weighted least squares on {} timed prunings, spread {:.0} % of the mean{tools}{size}",
                fit.used,
                100.0 * fit.cv
            )
        }
        _ => say!("as stated in book.toml"),
    }
}

/// What the plan of work takes for granted, in words.
pub(super) const PLAN: Text = constant!(
    "Each block takes the advice of its region; trees under the training age get tasks instead. Blocks are scheduled by a minimum-cost flow, exactly, from the day on which half a crew's work lies before the day that is reckoned best, so that the expected loss of delay is least within windows, working days and crew; where the work does not fit, the loss of what is left undone is least. The order is then changed where a crew would leave a block half done for another, within the windows and as long as no block's work moves further than seven days from its day on average (our own rule). Trees are those of the tree table that are not marked dead, removed, felled or missing. Our own rules: topping heights run in a straight line from 2.5 m at 4 m spacing to 4 m at 10 m; cuts of 3 to 5 cm go to the pruning saw unless book.toml lists other tools; cuts are proportional to intensity; pieces of a tool follow its share of the cuts. Doses are computed only from the strength, target and usual concentration stated in book.toml."
);
