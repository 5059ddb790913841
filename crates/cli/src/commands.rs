//! One module per command.

pub mod check;
pub mod demo;
pub mod run;
