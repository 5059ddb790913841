//! Spoilt record books and misuse of the command line, met by the real program.
// Helpers outside #[test] functions may fail a test too.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod command_line;
mod files;
mod long_line;
mod newcomer;
mod parquet_types;
mod places;
mod rows;
mod scarce;
mod settings;
#[path = "../support/mod.rs"]
mod support;
mod trials;
