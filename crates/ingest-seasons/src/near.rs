//! Ids that differ only in case, accents, spaces, marks, leading zeros, letters of like shape or one letter: offered as hints, never used.

use records::{common_form, differ_by_one, spelled, with_mark, without_zeros};
use std::collections::{BTreeSet, HashMap};
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;
use words::{say, text};

/// Known ids by their reduced form.
#[derive(Debug, Default)]
pub(crate) struct NearMisses {
    // Only looked up, never walked, so its order cannot reach a result.
    by_form: HashMap<String, Vec<String>>,
    /// The same by what ids that look alike have in common.
    by_look: HashMap<String, Vec<String>>,
    /// The same by their numbers, to compare their letters one by one.
    by_numbers: HashMap<String, Vec<String>>,
    /// What the numbers at a place of ids have in common, by how many an id has and the place.
    places: HashMap<(usize, usize), Numbers>,
}

/// The numbers at one place of ids.
#[derive(Debug, Clone, Copy)]
struct Numbers {
    highest: u64,
    /// Their digits, where all have as many.
    width: Option<usize>,
    /// Whether one begins with a zero.
    is_padded: bool,
}

/// Most ids of the same numbers that are compared letter by letter; ids without numbers may be a million.
const MOST_COMPARED: usize = 10_000;
/// Fewest letters of an id for one of them to be a slip; of two or three any other may be meant.
const LEAST_LETTERS: usize = 4;

impl NearMisses {
    /// Ids in the order in which hints name them.
    pub(crate) fn of<'a>(ids: impl Iterator<Item = &'a str>) -> Self {
        let mut found = Self::default();
        for id in ids {
            found.by_form.entry(reduced(id)).or_default().push(id.to_owned());
            found.by_look.entry(common_form(id)).or_default().push(id.to_owned());
            found.by_numbers.entry(numbers(id)).or_default().push(id.to_owned());
            let own: Vec<&str> = runs(id).map(|(_, run)| run).collect();
            for (place, run) in own.iter().enumerate() {
                let numbers = found.places.entry((own.len(), place)).or_insert(Numbers {
                    highest: 0,
                    width: Some(run.len()),
                    is_padded: false,
                });
                numbers.highest = numbers.highest.max(value(run));
                numbers.width = numbers.width.filter(|width| *width == run.len());
                numbers.is_padded |= run.starts_with('0');
            }
        }
        found
    }

    fn near(&self, id: &str) -> Vec<&str> {
        let near = self.by_form.get(&reduced(id)).or_else(|| self.by_look.get(&common_form(id)));
        match near {
            Some(near) => near.iter().map(String::as_str).collect(),
            None => match self.one_letter_off(id).as_slice() {
                [] => self.one_sign_more(id),
                near => near.to_vec(),
            },
        }
    }

    /// The one or two ids that are left where a letter, or one of two equal digits side by side, is one too many:
    /// in a number of three digits or more, or of two where no id has one so high there. Of other digits
    /// any may be meant, but where all ids have as many there, zeros before them counted, and this one more.
    fn one_sign_more(&self, id: &str) -> Vec<&str> {
        let signs: Vec<char> = id.chars().collect();
        let runs: Vec<(usize, &str)> = runs(id).collect();
        let doubled = |at: usize| {
            let holds = |(_, (start, run)): &(usize, &(usize, &str))| {
                (*start..start + run.len()).contains(&at)
            };
            let Some((place, (start, run))) = runs.iter().enumerate().find(holds) else {
                return false;
            };
            let known = self.places.get(&(runs.len(), place));
            let is_beyond = || known.is_some_and(|known| value(run) > known.highest);
            let is_too_long =
                known.is_some_and(|known| known.is_padded && known.width == Some(run.len() - 1));
            let is_double = at > *start && signs.get(at - 1) == signs.get(at);
            is_too_long || is_double && (run.len() > 2 || is_beyond())
        };
        let mut found = BTreeSet::new();
        for (at, sign) in signs.iter().enumerate() {
            if sign.is_alphabetic() || sign.is_ascii_digit() && doubled(at) {
                let without = signs.iter().enumerate().filter(|(other, _)| *other != at);
                let without: String = without.map(|(_, sign)| *sign).collect();
                // And no zero more: `T99` is no `T9` where ids are written `T09`.
                let as_long = |near: &&str| near.chars().count() < signs.len();
                let near = self.by_form.get(&reduced(&without)).into_iter().flatten();
                found.extend(near.map(String::as_str).filter(as_long));
            }
        }
        if found.len() > 2 { Vec::new() } else { found.into_iter().collect() }
    }

    /// Ids of the same numbers whose letters differ in one: replaced, left out, too many, or two
    /// neighbours swapped.
    fn one_letter_off(&self, id: &str) -> Vec<&str> {
        let own = letters(id);
        if own.len() < LEAST_LETTERS {
            return Vec::new();
        }
        let same_numbers = self.by_numbers.get(&numbers(id));
        let same_numbers =
            same_numbers.filter(|ids| ids.len() <= MOST_COMPARED).into_iter().flatten();
        same_numbers
            .filter(|near| differ_by_one(&own, &letters(near)))
            .map(String::as_str)
            .collect()
    }

    /// The ids that may have been meant, one or two; none where more are near.
    pub(crate) fn meant(&self, id: &str) -> Vec<&str> {
        let near = self.near(id);
        if near.len() > 2 { Vec::new() } else { near }
    }

    /// A remedy that names the nearest known ids, or `otherwise`.
    pub(crate) fn remedy(&self, id: &str, otherwise: &str) -> String {
        match self.near(id).as_slice() {
            [] => otherwise.to_owned(),
            near => {
                let shown = |near: &&str| {
                    // Only what looks the same is spelt out.
                    let is_alike = common_form(near) == common_form(id);
                    if is_alike { spelled(near, id) } else { format!("'{near}'") }
                };
                let shown: Vec<_> = near.iter().take(3).map(shown).collect();
                say!("did you mean {}? ids must match letter by letter", shown.join(text!(" or ")))
            }
        }
    }

    /// The same for the ids of a column: where zeros before a number are all that differs, whole files are
    /// written so, and a setting reads both as one.
    pub(crate) fn remedy_in(&self, id: &str, column: &str, otherwise: &str) -> String {
        let plain = |id: &str| without_zeros(id).unwrap_or_else(|| id.to_owned());
        let remedy = self.remedy(id, otherwise);
        match self.near(id).as_slice() {
            [near] if plain(near) == plain(id) => say!(
                "{remedy}; if files write numbers with and without zeros before them, write drop_zeros = [\"{column}\"] under the [[files.TABLE]] of every file with this id, the one that lists it too; for a joined id, name the header words that hold the numbers"
            ),
            [near] if plain_with(near, "/") == plain_with(id, "/") => say!(
                "{remedy}; if a whole file writes other marks between the parts of an id, write marks = {{ {column} = \"{}\" }} under its [[files.TABLE]], and drop_zeros = [\"{column}\"] if zeros differ too",
                first_mark(near)
            ),
            _ => remedy,
        }
    }
}

/// An id without zeros before its numbers, and with one mark between its parts.
fn plain_with(id: &str, mark: &str) -> String {
    let marked = with_mark(id, mark).unwrap_or_else(|| id.to_owned());
    without_zeros(&marked).unwrap_or(marked)
}

/// What stands between the first two parts of an id; nothing where it has one.
fn first_mark(id: &str) -> String {
    let is_mark = |of: &char| !of.is_alphanumeric();
    id.chars().skip_while(is_mark).skip_while(|of| !is_mark(of)).take_while(is_mark).collect()
}

/// The numbers of an id with the characters before each.
fn runs(id: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    id.split_inclusive(|c: char| !c.is_ascii_digit()).filter_map(move |piece| {
        let run = piece.trim_end_matches(|c: char| !c.is_ascii_digit());
        let start = at;
        at += piece.chars().count();
        (!run.is_empty()).then_some((start, run))
    })
}

/// What a run of digits counts; one too long to be counted is the highest.
fn value(run: &str) -> u64 {
    run.parse().unwrap_or(u64::MAX)
}

/// The numbers of an id, without leading zeros.
fn numbers(id: &str) -> String {
    runs(id).map(|(_, run)| run.trim_start_matches('0')).collect::<Vec<_>>().join("-")
}

/// The letters of an id, lower case and without accents.
fn letters(id: &str) -> Vec<char> {
    plain(id).filter(|c| c.is_alphabetic()).collect()
}

/// The characters of a text in lower case, without accents.
fn plain(text: &str) -> impl Iterator<Item = char> + '_ {
    text.nfd().filter(|c| !is_combining_mark(*c)).flat_map(char::to_lowercase)
}

/// Lower case without accents, letters and digits only, no leading zeros; `-` stays between two numbers.
fn reduced(id: &str) -> String {
    let mut form = String::with_capacity(id.len());
    for piece in id.split(|c: char| !c.is_alphanumeric()) {
        let mut rest = piece;
        while let Some(first) = rest.chars().next() {
            let digits = first.is_ascii_digit();
            let end = rest.find(|c: char| c.is_ascii_digit() != digits).unwrap_or(rest.len());
            let (run, after) = rest.split_at(end);
            rest = after;
            if digits {
                if form.ends_with(|last: char| last.is_ascii_digit()) {
                    form.push('-');
                }
                let number = run.trim_start_matches('0');
                form.push_str(if number.is_empty() { "0" } else { number });
            } else {
                form.extend(plain(run));
            }
        }
    }
    form
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The one id that may have been meant.
    fn one<'a>(near: &'a NearMisses, id: &str) -> Option<&'a str> {
        match near.meant(id).as_slice() {
            [one] => Some(one),
            _ => None,
        }
    }

    #[test]
    fn ids_that_differ_in_writing_only_share_a_form() {
        for (one, other) in [
            ("T007", "t7"),
            ("A-1", "a 01"),
            ("B 001-02", "b1/2"),
            ("R0", "r000"),
            ("10-00", "10/0"),
            ("Kafin\u{e9} 2/1", "kafine 2/01"),
            ("Kafin\u{e9}", "Kafine\u{301}"),
        ] {
            assert_eq!(reduced(one), reduced(other), "{one} {other}");
        }
        for (one, other) in [("T70", "T7"), ("A-1-2", "A-12"), ("T1", "S1"), ("T100", "T1")] {
            assert_ne!(reduced(one), reduced(other), "{one} {other}");
        }
    }

    #[test]
    fn a_letter_or_a_doubled_digit_too_many_is_a_slip_where_one_id_is_left() {
        let near = NearMisses::of(["A1/2/3", "A2/4/5", "B2-11", "B2-12", "B1-13"].into_iter());
        for (slip, meant) in
            [("A1/O2/3", "A1/2/3"), ("B2-111", "B2-11"), ("B2-112", "B2-12"), ("B1-O13", "B1-13")]
        {
            assert_eq!(one(&near, slip), Some(meant), "{slip}");
        }
        // No id has a number so high there.
        assert_eq!(one(&near, "A2/4/55"), Some("A2/4/5"));
        // Another number is another tree.
        for other in ["A2/4/56", "B1-134"] {
            assert!(near.meant(other).is_empty(), "{other}");
        }
        let near = NearMisses::of(["A2/4/5", "A2/4/60"].into_iter());
        assert_eq!(one(&near, "A2/4/55"), None);
        let near = NearMisses::of(["T08", "T09"].into_iter());
        assert_eq!((one(&near, "T99"), one(&near, "T099")), (None, Some("T09")));
        // Numbers of three digits, zeros counted: one of four has one too many.
        let near = NearMisses::of(["B1/018", "B1/021", "B1/118"].into_iter());
        assert_eq!(
            [one(&near, "B1/9018"), one(&near, "B1/0219")],
            [Some("B1/018"), Some("B1/021")]
        );
        let either = NearMisses::of(["B1/022", "B1/029"].into_iter());
        assert_eq!(either.meant("B1/0229"), ["B1/022", "B1/029"]);
        assert_eq!([one(&near, "B1/1189"), one(&near, "B1/918")], [Some("B1/118"), None]);
        let near = NearMisses::of(["T10", "T11", "T99"].into_iter());
        assert_eq!(one(&near, "T104"), None, "without zeros before them numbers grow longer");
    }

    #[test]
    fn numbers_of_ids_are_counted_by_characters() {
        let runs = |id| runs(id).collect::<Vec<_>>();
        assert_eq!(runs("Kafiné 2/014b"), [(7, "2"), (9, "014")]);
        assert_eq!(runs("12"), [(0, "12")]);
        assert_eq!(runs(""), []);
        assert_eq!(value("99999999999999999999999"), u64::MAX);
    }

    #[test]
    fn one_letter_may_be_a_slip_in_a_long_name() {
        let near =
            NearMisses::of(["Kafin\u{e9} 2/1/3", "Sassou 2/1/3", "Kafin\u{e9} 2/1/4"].into_iter());
        for slip in [
            "Kafine 2/1/3",
            "Kafin\u{e8} 2/1/3",
            "Kafin 2/1/3",
            "Kafinee 2/01/3",
            "Kaifn\u{e9} 2-1-3",
        ] {
            assert_eq!(one(&near, slip), Some("Kafin\u{e9} 2/1/3"), "{slip}");
        }
        for other in ["Kafon\u{e9}s 2/1/3", "Kafin\u{e9} 2/1/5", "Kafi 2/1/3", "Sa 2/1/3"] {
            assert_eq!(one(&near, other), None, "{other}");
        }
        let remedy = near.remedy("Kafin\u{e8} 2/1/3", "none");
        assert!(remedy.contains("'Kafin\u{e9} 2/1/3'"), "{remedy}");
        // Of short ids any letter may be meant.
        assert!(NearMisses::of(["A-12", "C-13"].into_iter()).meant("B-12").is_empty());
    }

    #[test]
    fn a_hint_names_the_near_ids() {
        let near = NearMisses::of(["T-007", "T-008"].into_iter());
        assert!(near.remedy("t7", "none").contains("'T-007'"));
        assert_eq!(near.remedy("X", "none"), "none");
        assert_eq!(one(&near, "t7"), Some("T-007"));
        assert_eq!(one(&NearMisses::of(["T-007", "T7"].into_iter()), "t7"), None);
        // Zeros before a number are what a setting is for, and nothing else is.
        let remedy = near.remedy_in("T-7", "tree", "none");
        assert!(remedy.starts_with("did you mean 'T-007'?"), "{remedy}");
        assert!(remedy.contains("drop_zeros = [\"tree\"]"), "{remedy}");
        for other in ["t7", "T007", "X"] {
            assert!(!near.remedy_in(other, "tree", "none").contains("drop_zeros"), "{other}");
        }
        let either = NearMisses::of(["T-007", "T-07"].into_iter());
        assert!(!either.remedy_in("T-7", "tree", "none").contains("drop_zeros"));
        // A Cyrillic te, and a letter O for a zero.
        assert!(near.remedy("\u{422}-007", "none").contains("'T-007'"));
        assert!(near.remedy("T-O07", "none").contains("'T-007'"));
    }
}
