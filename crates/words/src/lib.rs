//! The languages of the product: its sentences, numbers, dates and nouns.
//!
//! A sentence stands in the code in English, inside [`say!`], [`text!`] or [`constant!`]; the catalogue of each
//! other language (`catalogue/*.toml`) gives the same sentence under the English one. A sentence
//! that a catalogue lacks does not compile, nor does a translation with other places.

extern crate self as words;

mod language;
mod nouns;
mod numbers;
mod text;

pub use language::{Language, language, speaking};
pub use nouns::{capital, counted, noun};
pub use numbers::{
    MINUS, NARROW_SPACE, NO_BREAK, date, day_of_month, decimal_mark, grouped, month, span, spoken,
    with_mark,
};
pub use text::Text;
pub use words_macro::{constant, say, text};
