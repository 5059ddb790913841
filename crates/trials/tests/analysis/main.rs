//! Designs and their analysis against published examples and R.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod agreement;
mod amounts;
mod block_slips;
mod coverage;
mod crossed_seasons;
mod handbook;
mod orchards;
mod reference;
mod refusals;
mod slips;
mod support;
