//! Which cautions follow from the tools, products and tasks of a block.

use crate::products::{ProductKind, Quantity, WaitingTime};
use crate::text::{Catalogue, Key};
use crate::tools::ToolKind;

/// What is dangerous about a block's work.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hazards {
    /// Whether anything is cut.
    pub cutting: bool,
    /// Whether crowns are out of reach from the ground.
    pub ladders: bool,
    /// Kinds of the tools taken along.
    pub tools: Vec<ToolKind>,
    /// Kinds of the products used.
    pub products: Vec<ProductKind>,
}

impl Hazards {
    /// Cautions that belong to the work, most general first. Whoever shows tools or products shows
    /// these; none is ever left out for want of space.
    #[must_use]
    pub fn cautions(&self) -> Vec<Key> {
        let tool = |kind| self.tools.contains(&kind);
        let product = |kind| self.products.contains(&kind);
        let any_product = !self.products.is_empty();
        let copper = product(ProductKind::CopperPaste) || product(ProductKind::CopperSpray);
        let sprayed = product(ProductKind::CopperSpray) || product(ProductKind::InsectProtection);
        let cutting = self.cutting || !self.tools.is_empty();
        [
            (Key::ProtectiveEquipment, cutting || any_product),
            (Key::Ladders, cutting && self.ladders),
            (Key::PowerSaws, tool(ToolKind::Power)),
            (Key::PoleTools, tool(ToolKind::Pole)),
            (Key::CleanTools, cutting),
            (Key::Decide, cutting),
            (Key::LabelFirst, any_product),
            (Key::SprayEquipment, any_product),
            (Key::CopperMixing, copper),
            (Key::Bees, product(ProductKind::InsectProtection)),
            // Copper is a poison to fish as well.
            (Key::Water, sprayed || copper),
            (Key::ReEntry, any_product),
            (Key::PreHarvest, any_product),
            (Key::LocalRules, cutting || any_product),
        ]
        .into_iter()
        .filter_map(|(key, applies)| applies.then_some(key))
        .collect()
    }
}

/// The two waiting times of a product: the days entered, or that they are missing.
#[must_use]
pub fn waiting_times(quantity: &Quantity, words: &Catalogue) -> [String; 2] {
    let said = |time: WaitingTime, [one, stated, missing]: [Key; 3]| match time {
        WaitingTime::Days(1) => words.text(one).to_owned(),
        WaitingTime::Days(days) => words.say(stated, &[("days", &days.to_string())]),
        WaitingTime::Missing => words.text(missing).to_owned(),
    };
    [
        said(quantity.re_entry, [Key::ReEntryDay, Key::ReEntryDays, Key::ReEntryMissing]),
        said(
            quantity.pre_harvest,
            [Key::PreHarvestDay, Key::PreHarvestDays, Key::PreHarvestMissing],
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each caution with the tool, product or task that calls for it.
    #[test]
    fn cautions_follow_the_work() {
        let saws = Hazards {
            cutting: true,
            ladders: true,
            tools: vec![ToolKind::Hand, ToolKind::Power],
            products: vec![],
        };
        let found = saws.cautions();
        for key in [Key::ProtectiveEquipment, Key::Ladders, Key::PowerSaws, Key::LocalRules] {
            assert!(found.contains(&key), "{key:?}");
        }
        assert!(!found.contains(&Key::LabelFirst) && !found.contains(&Key::Bees));
        let spray = Hazards { products: vec![ProductKind::InsectProtection], ..Hazards::default() };
        let found = spray.cautions();
        for key in [
            Key::ProtectiveEquipment,
            Key::LabelFirst,
            Key::LocalRules,
            Key::Bees,
            Key::Water,
            Key::ReEntry,
            Key::PreHarvest,
        ] {
            assert!(found.contains(&key), "{key:?}");
        }
        assert!(!found.contains(&Key::PowerSaws) && !found.contains(&Key::CopperMixing));
        let paste = Hazards { products: vec![ProductKind::CopperPaste], ..Hazards::default() };
        assert!(paste.cautions().contains(&Key::CopperMixing));
        assert_eq!(Hazards::default().cautions(), []);
    }

    #[test]
    fn missing_intervals_are_shown_as_missing() {
        let quantity = Quantity {
            product: "guard".to_owned(),
            kind: ProductKind::InsectProtection,
            litres: 1.0,
            applications: 1,
            dose: None,
            items: vec![],
            re_entry: WaitingTime::Missing,
            pre_harvest: WaitingTime::Days(21),
        };
        let said = waiting_times(&quantity, &Catalogue::ENGLISH);
        assert_eq!(said[0], "Re-entry: missing: enter the label's.");
        assert_eq!(said[1], "Harvest: not before 21 days after treatment.");
    }
}
