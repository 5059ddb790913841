//! What to buy for all blocks together, in whole packages.

use super::quantity::{Quantity, Stuff, Unit};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One line of the shopping list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Purchase {
    /// What.
    pub stuff: Stuff,
    /// Needed.
    pub needed: f64,
    /// Its unit.
    pub unit: Unit,
    /// Package size, where stated.
    pub package: Option<f64>,
    /// Packages, rounded up, where a size is stated.
    pub packages: Option<u64>,
    /// What to buy: whole packages, or what is needed.
    pub buy: f64,
}

/// Adds up quantities of all blocks. Where entries of one item state different packages, the largest
/// is bought.
#[must_use]
pub fn shopping_list(quantities: &[Quantity]) -> Vec<Purchase> {
    let mut sums: BTreeMap<(Stuff, Unit), (f64, Option<f64>)> = BTreeMap::new();
    for item in quantities.iter().flat_map(|quantity| &quantity.items) {
        let sum = sums.entry((item.stuff.clone(), item.unit)).or_default();
        sum.0 += item.amount;
        sum.1 = sum.1.into_iter().chain(item.package).reduce(f64::max);
    }
    sums.into_iter()
        .filter(|(_, (needed, _))| *needed > 0.0)
        .map(|((stuff, unit), (needed, package))| {
            // Rounding of sums must not buy a package too many.
            let packages = package.map(|size| (needed / size - 1e-9).ceil() as u64);
            let buy = package.zip(packages).map_or(needed, |(size, n)| size * n as f64);
            Purchase { stuff, needed, unit, package, packages, buy }
        })
        .collect()
}
