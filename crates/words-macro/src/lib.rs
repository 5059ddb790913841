//! The macros of crate `words`: each looks its English sentence up in the catalogue of every other
//! language while it is compiled, so that a sentence without a translation does not compile.

mod catalogue;
mod sentence;
mod template;

use proc_macro::TokenStream;
use sentence::Sentence;
use syn::parse_macro_input;

/// A sentence with its places filled, in the language being spoken: takes what `format!` takes.
#[proc_macro]
pub fn say(input: TokenStream) -> TokenStream {
    let sentence = parse_macro_input!(input as Sentence);
    sentence.filled().unwrap_or_else(syn::Error::into_compile_error).into()
}

/// A sentence without places, as a `&'static str` in the language being spoken.
#[proc_macro]
pub fn text(input: TokenStream) -> TokenStream {
    let sentence = parse_macro_input!(input as Sentence);
    sentence.spoken().unwrap_or_else(syn::Error::into_compile_error).into()
}

/// A sentence without places in every language (`words::Text`), for constants.
#[proc_macro]
pub fn constant(input: TokenStream) -> TokenStream {
    let sentence = parse_macro_input!(input as Sentence);
    sentence.constant().unwrap_or_else(syn::Error::into_compile_error).into()
}
