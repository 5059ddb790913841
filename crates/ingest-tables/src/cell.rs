//! One cell to a typed value, or to everything wrong with it.

pub(crate) mod date;
pub(crate) mod fault;
pub(crate) mod number;
pub(crate) mod value;
