//! How much of a product a block takes.

use super::copper::CopperMix;
use super::dose::Dose;
use jiff::civil::Date;
use records::work::{Product, ProductKind, SettingError, positive};
use serde::{Deserialize, Serialize};
use words::text;

/// What is bought.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stuff {
    /// Copper sulphate.
    CopperSulphate,
    /// Hydrated lime.
    HydratedLime,
    /// A product by its name in the book.
    Product(String),
}

/// Unit of an amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Unit {
    /// Kilograms.
    #[serde(rename = "kg")]
    Kilogram,
    /// Litres.
    #[serde(rename = "L")]
    Litre,
}

impl Unit {
    /// Its symbol.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Kilogram => "kg",
            Self::Litre => "L",
        }
    }
}

/// An amount to buy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// What.
    pub stuff: Stuff,
    /// How much.
    pub amount: f64,
    /// Its unit.
    pub unit: Unit,
    /// Package size in that unit, where stated.
    pub package: Option<f64>,
}

/// A waiting time of the label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WaitingTime {
    /// Days entered by the user.
    Days(u32),
    /// Not entered: to be shown as missing until the label's is.
    Missing,
}

impl WaitingTime {
    /// First day after the waiting time of a treatment; `None` while it is missing.
    #[must_use]
    pub fn over_on(self, treated: Date) -> Option<Date> {
        match self {
            Self::Days(days) => treated.checked_add(jiff::Span::new().try_days(days).ok()?).ok(),
            Self::Missing => None,
        }
    }
}

impl From<Option<u32>> for WaitingTime {
    fn from(days: Option<u32>) -> Self {
        days.map_or(Self::Missing, Self::Days)
    }
}

/// What a block needs treated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Treated {
    /// Trees pruned or protected.
    pub trees: f64,
    /// Large cut ends expected; `None` when cuts were never counted.
    pub large_cuts: Option<f64>,
}

/// What one product takes for a block.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// Product, by its name in the book.
    pub product: String,
    /// What it is for.
    pub kind: ProductKind,
    /// Spray or paste, L, all applications.
    pub litres: f64,
    /// Applications.
    pub applications: u32,
    /// Dose of a bought product.
    pub dose: Option<Dose>,
    /// What to buy.
    pub items: Vec<Item>,
    /// Before people may enter again.
    pub re_entry: WaitingTime,
    /// Before harvest.
    pub pre_harvest: WaitingTime,
}

impl Quantity {
    /// What product NAME takes for a block.
    ///
    /// # Errors
    /// When a setting that the product's kind needs is missing or implausible.
    pub fn of(product: &Product, name: &str, treated: &Treated) -> Result<Self, SettingError> {
        let key = |field: &str| format!("[products.{name}] {field}");
        let needed = |field: &str, value: Option<f64>, remedy: &str| match value {
            Some(value) => positive(key(field), value, remedy),
            None => Err(SettingError::new(key(field), text!("not stated"), remedy)),
        };
        for (field, package) in [
            ("package_l", product.package_l),
            ("copper_sulphate_package_kg", product.copper_sulphate_package_kg),
            ("hydrated_lime_package_kg", product.hydrated_lime_package_kg),
        ] {
            if let Some(package) = package {
                positive(key(field), package, text!("give the package size or leave the key out"))?;
            }
        }
        if product.applications == 0 {
            return Err(SettingError::new(
                key("applications"),
                text!("0 applications"),
                text!("give 1 or more"),
            ));
        }
        let times = f64::from(product.applications);
        let spray = || {
            needed(
                "volume_l_per_tree",
                product.volume_l_per_tree,
                text!("give the litres of spray per tree"),
            )
            .map(|litres| treated.trees * litres * times)
        };
        let (litres, dose, items) = match product.kind {
            ProductKind::CopperPaste => {
                let ml = needed(
                    "ml_per_cut",
                    product.ml_per_cut,
                    text!("give the mL of paste per large cut end"),
                )?;
                let cuts = treated.large_cuts.ok_or_else(|| {
                    SettingError::new(
                        "prunings: cuts_5_to_10cm, cuts_over_10cm",
                        text!("large cuts were never counted, so the paste cannot be planned"),
                        text!("count cuts by diameter class at pruning"),
                    )
                })?;
                let litres = cuts * ml / 1000.0 * times;
                (litres, None, copper(product, CopperMix::paste(litres)))
            }
            ProductKind::CopperSpray => {
                let litres = spray()?;
                (litres, None, copper(product, CopperMix::spray(litres)))
            }
            ProductKind::InsectProtection => {
                let dose =
                    Dose::new(name, product.target_pct, product.strength_pct, product.usual_pct)?;
                let litres = spray()?;
                let item = Item {
                    stuff: Stuff::Product(name.to_owned()),
                    amount: litres * dose.ml_per_l / 1000.0,
                    unit: Unit::Litre,
                    package: product.package_l,
                };
                (litres, Some(dose), vec![item])
            }
        };
        Ok(Self {
            product: name.to_owned(),
            kind: product.kind,
            litres,
            applications: product.applications,
            dose,
            items,
            re_entry: product.re_entry_days.into(),
            pre_harvest: product.pre_harvest_days.into(),
        })
    }
}

fn copper(product: &Product, mix: CopperMix) -> Vec<Item> {
    let item = |stuff, amount, package| Item { stuff, amount, unit: Unit::Kilogram, package };
    vec![
        item(Stuff::CopperSulphate, mix.copper_sulphate_kg, product.copper_sulphate_package_kg),
        item(Stuff::HydratedLime, mix.hydrated_lime_kg, product.hydrated_lime_package_kg),
    ]
}
