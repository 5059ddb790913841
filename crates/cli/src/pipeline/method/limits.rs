//! What a run does not know, said plainly.

use super::super::Checked;
use super::super::advice::Advised;
use advise::{Evidence, TimeSource};
use words::say;

/// Sentences for the report's closing section.
pub fn limits(checked: &Checked, advised: &Advised) -> Vec<String> {
    let mut limits = vec![
        say!(
            "Records show what happened, not what would have happened. Within-tree comparisons remove lasting differences between trees, but not a cause that changed with the intensity from season to season (a wet corner pruned harder in a wet year)."
        ),
        say!(
            "The curve is a parabola, a spline of two knots or a plateau, times a quadratic in lead: a corner between two tested intensities is only approximated. On simulated plateaus tried at five levels the middle estimate of the best intensity lay a tenth of the canopy too high on average, within wide limits. Compare the class means with the curve."
        ),
        say!(
            "Alternate bearing is told from the trees' own levels only with three seasons or more, and an effect of pruning that lasts longer than one season is not counted."
        ),
        say!(
            "What a block, or a plot of a trial, has in one season or since the trial began (a crew, a wet patch, a pest) is no term of the yield model: where whole blocks or main plots were pruned on a day of their own, its limits of dates and of what a delay costs are too narrow. A trial's own analysis allows for its plots: hold the dates against it."
        ),
        say!(
            "A season unlike those recorded, a new pest or a price outside the stated one changes the answer."
        ),
        say!(
            "Where intensity was tried over a narrow range and mostly followed the tree, on simulated plantations the curve fell too early and cost more than a plain average would have."
        ),
        say!(
            "Nothing is advised outside the intensities and leads that a region's own records span."
        ),
    ];
    let book = &checked.tables.book;
    let names = |wanted: &dyn Fn(&str) -> bool| {
        let found: Vec<&str> = advised
            .costs
            .keys()
            .filter(|region| wanted(region))
            .map(|region| book.region_name(region))
            .collect();
        found.join(", ")
    };
    let stated = names(&|region| {
        advised.costs.get(region).is_some_and(|cost| cost.source == TimeSource::Stated)
    });
    if !stated.is_empty() {
        limits.push(say!(
            "Working time in {stated} is the stated rate, not a measurement: too few visits recorded minutes."
        ));
    }
    let routine = names(&|region| {
        advised
            .advice
            .regions
            .iter()
            .any(|advice| advice.region == region && advice.evidence == Evidence::Routine)
    });
    if !routine.is_empty() {
        limits.push(say!(
            "No randomised trial supports the curves of {routine}; they rest on everyday pruning alone."
        ));
    }
    let record = advised.model.posterior.record();
    if record.effective_nodes < 100.0 {
        limits.push(say!(
            "The integration over the spreads has only {:.0} effective nodes; treat odds near a threshold with care.",
            record.effective_nodes
        ));
    }
    limits
}
