//! From advice to work: economics, dates and crews, materials, young trees and safety.

pub mod economics;
mod error;
pub mod products;
mod quantile;
pub mod schedule;
pub mod tools;

pub use error::SettingError;
pub use quantile::Band;
