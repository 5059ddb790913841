//! Designs and their analysis against published examples and R.

mod handbook;
mod support;
