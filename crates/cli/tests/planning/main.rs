//! Planning a trial as a newcomer does: `size` and `layout` with a book, with a thin one and without.

// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod layouts;
mod sizes;
#[allow(dead_code, reason = "shared with the tests of bad input")]
#[path = "../support/mod.rs"]
mod support;
