//! Checks `[work]`, `[products.NAME]`, `[economics.cut_wood]` and the outturn.

use super::Checker;
use crate::work::{Product, SettingError};
use crate::{Book, Code};
use words::{say, text};

/// Most kernel that a bag of 80 kg could hold, lb: half of it.
const MOST_OUTTURN_LB: f64 = 88.0;

pub(super) fn check(checker: &mut Checker<'_>, book: &Book) {
    for error in book.work.check().err().unwrap_or_default() {
        impossible(checker, error);
    }
    let economics = &book.economics;
    if let Some(error) = economics.cut_wood.and_then(|wood| wood.check().err()) {
        impossible(checker, error);
    }
    let outturns =
        [("outturn_lb", economics.outturn_lb), ("price_outturn_lb", economics.price_outturn_lb)];
    for (key, lb) in outturns {
        if let Some(lb) = lb {
            checker.range("economics", key, lb, 1.0, MOST_OUTTURN_LB);
        }
    }
    if economics.outturn_lb.is_some() != economics.price_outturn_lb.is_some() {
        let stated = if economics.outturn_lb.is_some() { "outturn_lb" } else { "price_outturn_lb" };
        checker.report(
            "economics",
            Some(stated),
            Code::SettingMissing,
            say!("{stated} stands alone, so the price cannot be brought to the nuts' outturn"),
            text!("give both outturn_lb and price_outturn_lb, or neither"),
        );
    }
    for (name, product) in &book.products {
        check_product(checker, &format!("products.{name}"), product);
    }
}

/// A setting error as a problem of the book at its line.
fn impossible(checker: &mut Checker<'_>, error: SettingError) {
    let Some((table, key)) = error.key.trim_start_matches('[').split_once(']') else { return };
    let key = key.trim_start_matches(']').trim();
    let what = format!("{}: {}", error.key, error.what);
    let written = table.replace(' ', "");
    checker.report(&written, Some(key), Code::SettingImpossible, what, &error.remedy);
}

/// What no product can have; what is missing is named where it is needed, in the plan.
fn check_product(checker: &mut Checker<'_>, table: &str, product: &Product) {
    let table = &table.replace(' ', "");
    let days = |days: Option<u32>| days.map(f64::from);
    for (key, value, low, high) in [
        ("strength_pct", product.strength_pct, 1e-9, 100.0),
        ("target_pct", product.target_pct, 1e-9, 100.0),
        ("usual_pct", product.usual_pct, 1e-9, 100.0),
        ("volume_l_per_tree", product.volume_l_per_tree, 1e-6, 100.0),
        ("ml_per_cut", product.ml_per_cut, 1e-6, 1000.0),
        ("applications", Some(f64::from(product.applications)), 1.0, 100.0),
        ("package_l", product.package_l, 1e-6, 1e6),
        ("copper_sulphate_package_kg", product.copper_sulphate_package_kg, 1e-6, 1e6),
        ("hydrated_lime_package_kg", product.hydrated_lime_package_kg, 1e-6, 1e6),
        ("re_entry_days", days(product.re_entry_days), 0.0, 366.0),
        ("pre_harvest_days", days(product.pre_harvest_days), 0.0, 366.0),
    ] {
        if let Some(value) = value {
            checker.range(table, key, value, low, high);
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::{Book, Code};

    const BOOK: &str = r#"
[book]
name = "Example"

[regions.coast]
harvest = ["02-01", "05-31"]
flush = ["09-01", "11-30"]

[economics]
currency = "USD"
price_per_kg = 1.2
wage_per_hour = 0.8
outturn_lb = 48
price_outturn_lb = 47

[economics.cut_wood]
stacked_per_canopy = 0.1

[work]
crew_size = 6

[work.sites."Lower estate"]
crew_size = 2

[products.guard]
kind = "insect_protection"
volume_l_per_tree = 8
"#;

    fn found(from: &str, to: &str) -> Vec<(Code, Option<u64>)> {
        assert!(BOOK.contains(from), "{from}");
        match Book::parse(&BOOK.replace(from, to)) {
            Ok(_) => Vec::new(),
            Err(error) => error.problems.iter().map(|p| (p.code, p.place.line)).collect(),
        }
    }

    #[test]
    fn work_settings_are_checked_with_their_line() {
        let impossible = Code::SettingImpossible;
        assert_eq!(found("crew_size = 6", "crew_size = 6"), []);
        for (from, to, line) in [
            ("crew_size = 6", "crew_size = 0", 20),
            ("crew_size = 2", "crew_size = -1", 23),
            ("stacked_per_canopy = 0.1", "stacked_per_canopy = 2", 17),
            ("outturn_lb = 48", "outturn_lb = 480", 13),
            ("volume_l_per_tree = 8", "volume_l_per_tree = nan", 27),
            (
                "crew_size = 6",
                "crew_size = 6\n[[work.tools]]\ntool = \"saw\"\nup_to_cm = 3\nkind = \"hand\"",
                23,
            ),
        ] {
            assert_eq!(found(from, to), [(impossible, Some(line))], "{to}");
        }
        assert_eq!(found("price_outturn_lb = 47\n", ""), [(Code::SettingMissing, Some(13))]);
        assert_eq!(found("volume_l", "volume_ml"), [(Code::BookUnreadable, Some(27))]);
    }
}
