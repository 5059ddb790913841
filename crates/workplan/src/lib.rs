//! From advice to work: economics, dates and crews, materials, young trees and safety.

pub mod economics;
mod error;
mod quantile;

pub use error::SettingError;
pub use quantile::Band;
