//! Designs and their analysis against published examples and R.

mod agreement;
mod amounts;
mod coverage;
mod handbook;
mod reference;
mod refusals;
mod support;
