//! From advice to work: economics, dates and crews, materials, young trees and safety.

pub mod calendar;
pub mod crew_sheet;
pub mod economics;
pub mod plan;
pub mod products;
mod quantile;
pub mod safety;
pub mod schedule;
pub mod text;
pub mod tools;
pub mod young;

pub use quantile::Band;
pub use records::work::SettingError;
