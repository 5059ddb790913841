//! Recipes and quantities against the trade's own arithmetic.

#![allow(clippy::unwrap_used, reason = "a broken fixture fails the test")]

use workplan::products::{
    CopperMix, Product, Quantity, Stuff, Treated, Unit, WaitingTime, shopping_list,
};

fn product(json: &str) -> Product {
    serde_json::from_str(json).unwrap()
}

const TREATED: Treated = Treated { trees: 400.0, large_cuts: Some(900.0) };

/// trade.md section 5: 1 % is 1 kg + 1 kg in 100 L, 10 % paste 1 kg + 1 kg in 10 L.
#[test]
fn copper_recipes() {
    let spray = CopperMix::spray(100.0);
    assert_eq!(
        (spray.copper_sulphate_kg, spray.hydrated_lime_kg, spray.water_l),
        (1.0, 1.0, 100.0)
    );
    let paste = CopperMix::paste(10.0);
    assert_eq!((paste.copper_sulphate_kg, paste.hydrated_lime_kg), (1.0, 1.0));
}

/// By hand: 900 cuts x 20 mL = 18 L of paste = 1.8 kg of each; 400 trees x 8 L = 3200 L of spray =
/// 32 kg of each.
#[test]
fn copper_for_a_block() {
    let paste = product(r#"{"kind": "copper_paste", "ml_per_cut": 20, "re_entry_days": 1}"#);
    let quantity = Quantity::of(&paste, "paste", &TREATED).unwrap();
    assert!((quantity.litres - 18.0).abs() < 1e-9);
    assert!((quantity.items[0].amount - 1.8).abs() < 1e-9);
    assert_eq!(
        (quantity.re_entry, quantity.pre_harvest),
        (WaitingTime::Days(1), WaitingTime::Missing)
    );
    let spray = product(
        r#"{"kind": "copper_spray", "volume_l_per_tree": 8, "hydrated_lime_package_kg": 25}"#,
    );
    let other = Quantity::of(&spray, "spray", &TREATED).unwrap();
    assert!((other.litres - 3200.0).abs() < 1e-9);
    let list = shopping_list(&[quantity, other]);
    let lime = list.iter().find(|line| line.stuff == Stuff::HydratedLime).unwrap();
    assert!((lime.needed - 33.8).abs() < 1e-9);
    assert_eq!((lime.packages, lime.buy, lime.unit), (Some(2), 50.0, Unit::Kilogram));
    let copper = list.iter().find(|line| line.stuff == Stuff::CopperSulphate).unwrap();
    assert_eq!((copper.packages, copper.buy), (None, copper.needed));
}

/// trade.md section 5: 0.6 mL per L, three sprays; 400 trees x 10 L x 3 = 12 000 L take 7.2 L.
#[test]
fn insect_protection_for_a_block() {
    let guard = product(
        r#"{"kind": "insect_protection", "strength_pct": 5, "target_pct": 0.003, "usual_pct": 0.003,
            "volume_l_per_tree": 10, "applications": 3, "package_l": 1}"#,
    );
    let quantity = Quantity::of(&guard, "guard", &TREATED).unwrap();
    assert!((quantity.litres - 12_000.0).abs() < 1e-9);
    assert!((quantity.items[0].amount - 7.2).abs() < 1e-9);
    let list = shopping_list(std::slice::from_ref(&quantity));
    assert_eq!((list[0].packages, list[0].buy), (Some(8), 8.0));
    // Seven litres in one-litre packages are seven, in spite of rounding.
    let seven =
        Product { applications: 1, volume_l_per_tree: Some(7000.0 / 0.6 / 400.0), ..guard.clone() };
    assert_eq!(
        shopping_list(&[Quantity::of(&seven, "guard", &TREATED).unwrap()])[0].packages,
        Some(7)
    );
    let unknown = Product { strength_pct: None, ..guard.clone() };
    let error = Quantity::of(&unknown, "guard", &TREATED).unwrap_err();
    assert_eq!(error.key, "[products.guard] strength_pct");
    let dry = Product { volume_l_per_tree: None, ..guard };
    assert_eq!(
        Quantity::of(&dry, "guard", &TREATED).unwrap_err().key,
        "[products.guard] volume_l_per_tree"
    );
}

#[test]
fn paste_needs_counted_cuts() {
    let paste = product(r#"{"kind": "copper_paste", "ml_per_cut": 20}"#);
    let error =
        Quantity::of(&paste, "paste", &Treated { large_cuts: None, ..TREATED }).unwrap_err();
    assert!(error.to_string().contains("cuts_over_10cm"), "{error}");
    assert!(serde_json::from_str::<Product>(r#"{"kind": "copper_paste", "dose": 1}"#).is_err());
}
