//! advise
