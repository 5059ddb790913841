//! Variance components of a plantation, relative to the mean yield.

use super::Checked;
use crate::console::Failure;
use model::{Scale, TreeSeasons, YieldModel};
use trials::size::Components;
use words::say;

/// The components of a fitted book as squares of fractions of the mean yield, and how they came
/// about in words.
///
/// # Errors
/// When the fit has none.
pub fn of_book(
    table: &TreeSeasons,
    checked: &Checked,
    model: &YieldModel,
) -> Result<(Components, Vec<String>), Failure> {
    let broken =
        |error: String| Failure::new(error, "this is a defect of the program; please report it");
    let found = model.fit.variance_components().map_err(|error| broken(error.to_string()))?;
    let grown = table.yield_kg.iter().zip(&table.young).filter(|(_, young)| !**young);
    let (sum, count) = grown.fold((0.0, 0.0), |(sum, n), (kg, _)| (sum + kg, n + 1.0));
    let mean: f64 = sum / f64::max(count, 1.0);
    // A small change of the mean by a fraction f moves the model's scale by f x this.
    let per_fraction = match model.scale {
        Scale::Log => 1.0,
        Scale::SquareRoot => mean.sqrt() / 2.0,
        Scale::Identity => mean,
    };
    let of = |factor: &str| {
        let found = found.factors.iter().find(|component| component.factor == factor);
        let sd = found.and_then(|component| component.standard_deviations.first()).copied();
        (sd.unwrap_or(0.0) / per_fraction).powi(2)
    };
    let components = Components {
        replicate: of("block"),
        tree: of("tree"),
        season: of("site x season"),
        tree_season: (found.residual / per_fraction).powi(2),
        ..Components::default()
    };
    let percent = |variance: f64| format!("{:.0} %", 100.0 * variance.sqrt());
    let words = vec![
        say!(
            "Coefficients of variation from the yield model of {}: between trees {}, of a tree from season to season {}, between blocks {}, between seasons {}.",
            checked.tables.book.book.name,
            percent(components.tree),
            percent(components.tree_season),
            percent(components.replicate),
            percent(components.season)
        ),
        say!(
            "Trees are compared after age, density, variety and, where recorded, girth and earlier crop are adjusted for; a trial that does not adjust for them needs more. Everyday records show no plots: what neighbouring trees share beyond their block is taken as nothing, so many trees in one plot look better here than they are."
        ),
    ];
    Ok((components, words))
}
