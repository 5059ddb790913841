//! A fit of more tree-seasons than one machine holds: SQL that sums them where they lie, and a fit of the sums.
//!
//! A book on one machine (all of it, or a sample of its trees) settles the design: scale, family of
//! curves, knots, knees, and constants to centre and turn columns with. Two queries in standard SQL
//! then compute the columns and their sums from linked tables of any size; the sums are a small
//! table, and [`DeclaredModel::fit`] fits them as the rows themselves would be fitted.

mod declared;
mod expression;
mod moments_sql;
mod rows_sql;
mod summary;
mod sums;
#[cfg(test)]
mod tests;

pub use declared::{Declaration, DeclareError, DeclaredFactor, DeclaredModel};
pub use summary::{CoefficientLine, FitSummary, ThetaLine};
pub use sums::{SUM_COLUMNS, SumLine, SumsError, sum_lines, sum_lines_of_parquet};
