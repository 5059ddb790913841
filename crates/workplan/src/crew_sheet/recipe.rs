//! A product's recipe for the sheet.

use crate::products::{CopperMix, PASTE_LITRES_PER_KG, ProductKind, Quantity, SPRAY_LITRES_PER_KG};
use crate::safety::waiting_times;
use crate::text::{Catalogue, Key};
use serde::{Deserialize, Serialize};

/// How a product is mixed, how much the block takes, and its waiting times.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recipe {
    /// Heading.
    pub title: String,
    /// Batch, total and waiting times, a line each.
    pub lines: Vec<String>,
}

impl Recipe {
    /// From a block's quantity.
    #[must_use]
    pub fn of(quantity: &Quantity, words: &Catalogue) -> Self {
        let (title, mut lines) = match quantity.kind {
            ProductKind::CopperPaste => (
                words.text(Key::PasteTitle).to_owned(),
                copper(quantity, Key::PasteBatch, CopperMix::paste, PASTE_LITRES_PER_KG, words),
            ),
            ProductKind::CopperSpray => (
                words.text(Key::SprayTitle).to_owned(),
                copper(quantity, Key::SprayBatch, CopperMix::spray, SPRAY_LITRES_PER_KG, words),
            ),
            ProductKind::InsectProtection => (
                words.say(Key::InsectTitle, &[("product", &quantity.product)]),
                insects(quantity, words),
            ),
        };
        if quantity.applications > 1 {
            let times = quantity.applications.to_string();
            lines.push(words.say(Key::Applications, &[("times", &times)]));
        }
        lines.extend(waiting_times(quantity, words));
        Self { title, lines }
    }
}

fn copper(
    quantity: &Quantity,
    batch: Key,
    mix: fn(f64) -> CopperMix,
    batch_l: f64,
    words: &Catalogue,
) -> Vec<String> {
    let (one, all) = (mix(batch_l), mix(quantity.litres));
    vec![
        words.say(
            batch,
            &[
                ("copper", &words.short(one.copper_sulphate_kg, 2)),
                ("lime", &words.short(one.hydrated_lime_kg, 2)),
            ],
        ),
        words.say(
            Key::CopperTotal,
            &[
                ("litres", &words.short(quantity.litres, 1)),
                ("copper", &words.short(all.copper_sulphate_kg, 2)),
                ("lime", &words.short(all.hydrated_lime_kg, 2)),
            ],
        ),
    ]
}

fn insects(quantity: &Quantity, words: &Catalogue) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(dose) = &quantity.dose {
        lines.push(words.say(
            Key::InsectBatch,
            &[
                ("ml", &words.short(10.0 * dose.ml_per_l, 2)),
                ("target", &words.short(dose.target_pct, 6)),
                ("strength", &words.short(dose.strength_pct, 4)),
                ("ml_per_l", &words.short(dose.ml_per_l, 3)),
            ],
        ));
    }
    lines.extend(quantity.dose.as_ref().and_then(|dose| dose.caution.clone()));
    let product_l: f64 = quantity.items.iter().map(|item| item.amount).sum();
    lines.push(words.say(
        Key::InsectTotal,
        &[("litres", &words.short(quantity.litres, 1)), ("product_l", &words.short(product_l, 3))],
    ));
    lines.push(words.text(Key::InsectWhen).to_owned());
    lines
}
