//! A sentence as written in the code: its English text and what fills its places.

use crate::catalogue::CATALOGUES;
use crate::template::{Filler, Piece, fillers, pieces};
use proc_macro2::{Ident, Span, TokenStream};
use quote::{format_ident, quote};
use syn::parse::{Parse, ParseStream};
use syn::punctuated::Punctuated;
use syn::{Error, Expr, LitStr, Result, Token};

/// What fills a place, with its name where it has one.
struct Argument {
    name: Option<Ident>,
    value: Expr,
}

impl Parse for Argument {
    fn parse(input: ParseStream<'_>) -> Result<Self> {
        let named = input.peek(syn::Ident) && input.peek2(Token![=]) && !input.peek2(Token![==]);
        let name = if named {
            let name = input.parse()?;
            input.parse::<Token![=]>()?;
            Some(name)
        } else {
            None
        };
        Ok(Self { name, value: input.parse()? })
    }
}

/// An English text, then the arguments of `format!`.
pub struct Sentence {
    english: LitStr,
    arguments: Vec<Argument>,
}

impl Parse for Sentence {
    fn parse(input: ParseStream<'_>) -> Result<Self> {
        let english = input.parse()?;
        if !input.is_empty() {
            input.parse::<Token![,]>()?;
        }
        let arguments = Punctuated::<Argument, Token![,]>::parse_terminated(input)?;
        Ok(Self { english, arguments: arguments.into_iter().collect() })
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

    /// One arm per language: English, then the others made of their texts.
    fn by_language(
        &self,
        english: TokenStream,
        arm: impl Fn(&LitStr) -> Result<TokenStream>,
    ) -> Result<TokenStream> {
        let others = self.translations()?.into_iter().map(|(variant, text)| {
            let other = arm(&text)?;
            Ok(quote! { ::words::Language::#variant => #other, })
        });
        let others = others.collect::<Result<Vec<_>>>()?;
        Ok(quote! {
            match ::words::language() {
                ::words::Language::English => #english,
                #(#others)*
            }
        })
    }

    /// One `format!` per language.
    pub fn filled(&self) -> Result<TokenStream> {
        let english = &self.english;
        if self.arguments.is_empty() && !english.value().contains(['{', '}']) {
            let owned = |text: &LitStr| quote! { ::std::string::String::from(#text) };
            return self.by_language(owned(english), |text| Ok(owned(text)));
        }
        let arguments = self.arguments.iter().map(|argument| {
            let value = &argument.value;
            argument
                .name
                .as_ref()
                .map_or_else(|| quote! { #value }, |name| quote! { #name = #value })
        });
        let spoken = quote! { ::std::format!(#english #(, #arguments)*) };
        self.by_language(spoken, |text| self.translated(text))
    }

    /// The `format!` of a translation: its places in its own order, and numbers that are written
    /// with decimals in the marks of the language.
    fn translated(&self, text: &LitStr) -> Result<TokenStream> {
        let wrong = |message: String| Error::new(self.english.span(), message);
        let english = pieces(&self.english.value()).map_err(wrong)?;
        let own = pieces(&text.value()).map_err(wrong)?;
        if fillers(&english) != fillers(&own) {
            return Err(wrong(format!("the translation has other places: {:?}", text.value())));
        }
        let mut template = String::new();
        let (mut names, mut values) = (Vec::new(), Vec::new());
        for piece in &own {
            match piece {
                Piece::Text(plain) => template.push_str(plain),
                Piece::Place(filler, format) => {
                    let name = format_ident!("place_{}", names.len());
                    template.push_str(&format!("{{{name}}}"));
                    let value = self.value(filler)?;
                    let inner = format!("{{:{format}}}");
                    values.push(if format.contains('.') {
                        quote! { ::words::spoken(&::std::format!(#inner, #value)) }
                    } else {
                        quote! { ::std::format!(#inner, #value) }
                    });
                    names.push(name);
                }
            }
        }
        Ok(quote! { ::std::format!(#template #(, #names = #values)*) })
    }

    /// What fills a place: an argument, or the variable of that name where the sentence stands.
    fn value(&self, filler: &Filler) -> Result<TokenStream> {
        let argument = match filler {
            Filler::Number(number) => self.arguments.get(*number),
            Filler::Name(name) => self
                .arguments
                .iter()
                .find(|argument| argument.name.as_ref().is_some_and(|own| own == name)),
        };
        match (argument, filler) {
            (Some(argument), _) => {
                let value = &argument.value;
                Ok(quote! { #value })
            }
            (None, Filler::Name(name)) => {
                let variable = Ident::new(name, self.english.span());
                Ok(quote! { #variable })
            }
            (None, Filler::Number(number)) => {
                Err(Error::new(self.english.span(), format!("no argument {number}")))
            }
        }
    }

    /// The text of one language.
    pub fn spoken(&self) -> Result<TokenStream> {
        self.placeless()?;
        let english = &self.english;
        self.by_language(quote! { #english }, |text| Ok(quote! { #text }))
    }

    /// A constant with the text of every language.
    pub fn constant(&self) -> Result<TokenStream> {
        self.placeless()?;
        let english = &self.english;
        let texts = self.translations()?.into_iter().map(|(_, text)| text);
        Ok(quote! { ::words::Text::new([#english #(, #texts)*]) })
    }

    fn placeless(&self) -> Result<()> {
        if self.arguments.is_empty() {
            Ok(())
        } else {
            Err(Error::new(self.english.span(), "a text has no places: use say!"))
        }
    }
}
