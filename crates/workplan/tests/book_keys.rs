//! The keys that a book may hold, read from text as a book would hold them.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use jiff::civil::date;
use serde::Deserialize;
use std::collections::BTreeMap;
use workplan::economics::CutWood;
use workplan::plan::WorkSettings;
use workplan::products::{Product, ProductKind, Treats};
use workplan::tools::ToolKind;

#[derive(Deserialize)]
struct Parts {
    work: WorkSettings,
    products: BTreeMap<String, Product>,
    cut_wood: CutWood,
}

const TEXT: &str = r#"
[work]
crew_size = 12
working_days = ["monday", "tuesday", "wednesday", "thursday", "friday"]
rest_dates = ["2026-08-17", "12-25"]
minutes_per_young_tree = 3
topping_height_m = 3.2

[[work.tools]]
tool = "secateurs"
up_to_cm = 3
kind = "hand"

[[work.tools]]
tool = "bow saw"
kind = "hand"

[work.sites."Lower estate"]
crew_size = 4.5
rest_dates = ["2026-08-18"]

[products.paste]
kind = "copper_paste"
ml_per_cut = 20
copper_sulphate_package_kg = 1
hydrated_lime_package_kg = 25

[products.guard]
kind = "insect_protection"
treats = "all"
strength_pct = 5
target_pct = 0.003
usual_pct = 0.003
volume_l_per_tree = 10
applications = 3
package_l = 1
re_entry_days = 2
pre_harvest_days = 21

[cut_wood]
stacked_per_canopy = 0.1
haulage_per_m3 = 0.5
load_m3 = 4
"#;

#[test]
fn a_book_is_read() {
    let parts: Parts = toml::from_str(TEXT).unwrap();
    parts.work.check().unwrap();
    parts.cut_wood.check().unwrap();
    assert_eq!(parts.work.tools[1].kind, ToolKind::Hand);
    let (site, crew) = parts.work.crew("Lower estate").unwrap();
    assert_eq!((site.as_deref(), crew.crew_size), (Some("Lower estate"), 4.5));
    // The site's own rest day and the book's; 18 August 2026 is a Tuesday.
    assert!(!crew.works_on(date(2026, 8, 17)) && !crew.works_on(date(2026, 8, 18)));
    let (site, crew) = parts.work.crew("Upper estate").unwrap();
    assert_eq!((site, crew.works_on(date(2026, 8, 18))), (None, true));
    let guard = &parts.products["guard"];
    assert_eq!((guard.kind, guard.treats), (ProductKind::InsectProtection, Treats::All));
    assert_eq!((guard.applications, parts.products["paste"].applications), (3, 1));
    assert_eq!(parts.cut_wood.value_per_m3, 0.0);
}

#[test]
fn a_key_nobody_knows_is_refused() {
    for wrong in ["dose = 1", "re_entry = 2"] {
        let text = TEXT.replace("re_entry_days = 2", wrong);
        assert!(
            toml::from_str::<Parts>(&text).is_err_and(|e| e.to_string().contains("unknown field"))
        );
    }
}
