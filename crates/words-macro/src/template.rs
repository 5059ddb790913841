//! The places of a text, as `format!` writes them.

use std::collections::BTreeSet;

/// What fills a place.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Filler {
    /// An argument by its number.
    Number(usize),
    /// An argument or a variable by its name.
    Name(String),
}

/// A piece of a text.
#[derive(Debug, PartialEq, Eq)]
pub enum Piece {
    /// Text as written, braces still doubled.
    Text(String),
    /// A place with its format, such as `.2`.
    Place(Filler, String),
}

/// A text in pieces; numberless places are numbered in their order.
pub fn pieces(text: &str) -> Result<Vec<Piece>, String> {
    let mut found = Vec::new();
    let mut plain = String::new();
    let mut letters = text.chars().peekable();
    let mut next = 0;
    while let Some(letter) = letters.next() {
        if letter != '{' && letter != '}' {
            plain.push(letter);
        } else if letters.next_if_eq(&letter).is_some() {
            plain.extend([letter, letter]);
        } else if letter == '}' {
            return Err("a closing brace without an opening one".to_owned());
        } else {
            let inside: String = letters.by_ref().take_while(|&inner| inner != '}').collect();
            let (name, format) = inside.split_once(':').unwrap_or((&inside, ""));
            let filler = match (name, name.parse()) {
                ("", _) => {
                    next += 1;
                    Filler::Number(next - 1)
                }
                (_, Ok(number)) => Filler::Number(number),
                _ => Filler::Name(name.to_owned()),
            };
            found.push(Piece::Text(std::mem::take(&mut plain)));
            found.push(Piece::Place(filler, format.to_owned()));
        }
    }
    found.push(Piece::Text(plain));
    Ok(found)
}

/// What fills the places of a text.
pub fn fillers(pieces: &[Piece]) -> BTreeSet<&Filler> {
    let mut found = BTreeSet::new();
    for piece in pieces {
        if let Piece::Place(filler, _) = piece {
            found.insert(filler);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_numbered_and_named() {
        let found = pieces("a {} {{b}} {name:.2} {0} {}").unwrap();
        let places: Vec<_> = found
            .iter()
            .filter_map(|piece| match piece {
                Piece::Place(filler, format) => Some((filler.clone(), format.as_str())),
                Piece::Text(_) => None,
            })
            .collect();
        let expected = [
            (Filler::Number(0), ""),
            (Filler::Name("name".to_owned()), ".2"),
            (Filler::Number(0), ""),
            (Filler::Number(1), ""),
        ];
        assert_eq!(places, expected);
        assert!(matches!(&found[2], Piece::Text(text) if text == " {{b}} "));
        assert!(pieces("a }").is_err());
    }
}
