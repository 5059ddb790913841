//! The methods paragraph: what was done, read off the results and nothing else.

mod paragraph;

pub use paragraph::Methods;
