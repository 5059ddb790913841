//! A sentence as written in the code: its English text and what fills its places.

use crate::catalogue::CATALOGUES;
use proc_macro2::{Ident, Span, TokenStream};
use quote::quote;
use syn::parse::{Parse, ParseStream};
use syn::{Error, LitStr, Result, Token};

/// An English text, then the arguments of `format!`.
pub struct Sentence {
    english: LitStr,
    places: TokenStream,
}

impl Parse for Sentence {
    fn parse(input: ParseStream<'_>) -> Result<Self> {
        let english = input.parse()?;
        if !input.is_empty() {
            input.parse::<Token![,]>()?;
        }
        Ok(Self { english, places: input.parse()? })
    }
}

impl Sentence {
    /// The sentence in each other language, with the variant of `words::Language`. The text keeps
    /// the place of the English one, so that names in braces are found where it stands.
    fn translations(&self) -> Result<Vec<(Ident, LitStr)>> {
        let key = self.english.value();
        let mut found = Vec::new();
        for language in CATALOGUES.iter() {
            let file = language.file;
            let wrong = |message: String| Error::new(self.english.span(), message);
            let sentences = language
                .sentences
                .as_ref()
                .map_err(|reason| wrong(format!("crates/words/catalogue/{file}: {reason}")))?;
            let text = sentences.get(&key).ok_or_else(|| {
                wrong(format!("crates/words/catalogue/{file} does not have this sentence: {key:?}"))
            })?;
            found.push((
                Ident::new(language.variant, Span::call_site()),
                LitStr::new(text, self.english.span()),
            ));
        }
        Ok(found)
    }

    /// One arm per language, each made of its text.
    fn by_language(&self, arm: impl Fn(&LitStr) -> TokenStream) -> Result<TokenStream> {
        let english = arm(&self.english);
        let others = self.translations()?.into_iter().map(|(variant, text)| {
            let other = arm(&text);
            quote! { ::words::Language::#variant => #other, }
        });
        Ok(quote! {
            match ::words::language() {
                ::words::Language::English => #english,
                #(#others)*
            }
        })
    }

    /// One `format!` per language.
    pub fn filled(&self) -> Result<TokenStream> {
        let places = &self.places;
        if places.is_empty() && !self.english.value().contains(['{', '}']) {
            return self.by_language(|text| quote! { ::std::string::String::from(#text) });
        }
        self.by_language(|text| quote! { ::std::format!(#text, #places) })
    }

    /// The text of one language.
    pub fn spoken(&self) -> Result<TokenStream> {
        self.placeless()?;
        self.by_language(|text| quote! { #text })
    }

    /// A constant with the text of every language.
    pub fn constant(&self) -> Result<TokenStream> {
        self.placeless()?;
        let english = &self.english;
        let texts = self.translations()?.into_iter().map(|(_, text)| text);
        Ok(quote! { ::words::Text::new([#english #(, #texts)*]) })
    }

    fn placeless(&self) -> Result<()> {
        if self.places.is_empty() {
            Ok(())
        } else {
            Err(Error::new(self.english.span(), "a text has no places: use say!"))
        }
    }
}
