//! How much of a product a block takes.

use super::copper::CopperMix;
use super::dose::Dose;
use crate::error::{SettingError, positive};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What a product is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProductKind {
    /// 10 % copper paste on large cut ends.
    CopperPaste,
    /// 1 % copper spray on pruned shoots.
    CopperSpray,
    /// A bought product sprayed against insects.
    InsectProtection,
}

/// Which trees a product treats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Treats {
    /// Trees pruned under the plan.
    #[default]
    Pruned,
    /// Every tree, young ones too.
    All,
}

/// `[products.NAME]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Product {
    /// What it is for.
    pub kind: ProductKind,
    /// Which trees it treats.
    #[serde(default)]
    pub treats: Treats,
    /// Active ingredient of the bought product, g in 100 mL.
    pub strength_pct: Option<f64>,
    /// Concentration of the spray, per cent active.
    pub target_pct: Option<f64>,
    /// The label's usual concentration of the spray, per cent active.
    pub usual_pct: Option<f64>,
    /// Spray, L per tree and application.
    pub volume_l_per_tree: Option<f64>,
    /// Paste, mL per large cut end.
    pub ml_per_cut: Option<f64>,
    /// Applications in the season.
    #[serde(default = "once")]
    pub applications: u32,
    /// Package of the bought product, L.
    pub package_l: Option<f64>,
    /// Package of copper sulphate, kg.
    pub copper_sulphate_package_kg: Option<f64>,
    /// Package of hydrated lime, kg.
    pub hydrated_lime_package_kg: Option<f64>,
    /// Days before people may enter again, from the label.
    pub re_entry_days: Option<u32>,
    /// Days before harvest, from the label.
    pub pre_harvest_days: Option<u32>,
}

fn once() -> u32 {
    1
}

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

impl Product {
    /// What product NAME takes for a block.
    ///
    /// # Errors
    /// When a setting that the product's kind needs is missing or implausible.
    pub fn quantity(&self, name: &str, treated: &Treated) -> Result<Quantity, SettingError> {
        let key = |field: &str| format!("[products.{name}] {field}");
        let needed = |field: &str, value: Option<f64>, remedy: &str| match value {
            Some(value) => positive(key(field), value, remedy),
            None => Err(SettingError::new(key(field), "not stated", remedy)),
        };
        for (field, package) in [
            ("package_l", self.package_l),
            ("copper_sulphate_package_kg", self.copper_sulphate_package_kg),
            ("hydrated_lime_package_kg", self.hydrated_lime_package_kg),
        ] {
            if let Some(package) = package {
                positive(key(field), package, "give the package size or leave the key out")?;
            }
        }
        if self.applications == 0 {
            return Err(SettingError::new(key("applications"), "0 applications", "give 1 or more"));
        }
        let times = f64::from(self.applications);
        let spray = || {
            needed("volume_l_per_tree", self.volume_l_per_tree, "give the litres of spray per tree")
                .map(|litres| treated.trees * litres * times)
        };
        let (litres, dose, items) = match self.kind {
            ProductKind::CopperPaste => {
                let ml = needed(
                    "ml_per_cut",
                    self.ml_per_cut,
                    "give the mL of paste per large cut end",
                )?;
                let cuts = treated.large_cuts.ok_or_else(|| {
                    SettingError::new(
                        "prunings: cuts_5_to_10cm, cuts_over_10cm",
                        "large cuts were never counted, so the paste cannot be planned",
                        "count cuts by diameter class at pruning",
                    )
                })?;
                let litres = cuts * ml / 1000.0 * times;
                (litres, None, self.copper(CopperMix::paste(litres)))
            }
            ProductKind::CopperSpray => {
                let litres = spray()?;
                (litres, None, self.copper(CopperMix::spray(litres)))
            }
            ProductKind::InsectProtection => {
                let dose = Dose::new(name, self.target_pct, self.strength_pct, self.usual_pct)?;
                let litres = spray()?;
                let item = Item {
                    stuff: Stuff::Product(name.to_owned()),
                    amount: litres * dose.ml_per_l / 1000.0,
                    unit: Unit::Litre,
                    package: self.package_l,
                };
                (litres, Some(dose), vec![item])
            }
        };
        Ok(Quantity {
            product: name.to_owned(),
            kind: self.kind,
            litres,
            applications: self.applications,
            dose,
            items,
            re_entry: self.re_entry_days.into(),
            pre_harvest: self.pre_harvest_days.into(),
        })
    }

    fn copper(&self, mix: CopperMix) -> Vec<Item> {
        let item = |stuff, amount, package| Item { stuff, amount, unit: Unit::Kilogram, package };
        vec![
            item(Stuff::CopperSulphate, mix.copper_sulphate_kg, self.copper_sulphate_package_kg),
            item(Stuff::HydratedLime, mix.hydrated_lime_kg, self.hydrated_lime_package_kg),
        ]
    }
}
