//! Ids that differ only in case, spaces, marks, leading zeros or letters of like shape: offered as hints, never used.

use records::{common_form, spelled};
use std::collections::HashMap;
use words::{say, text};

/// Known ids by their reduced form.
#[derive(Debug, Default)]
pub(crate) struct NearMisses {
    // Only looked up, never walked, so its order cannot reach a result.
    by_form: HashMap<String, Vec<String>>,
    /// The same by what ids that look alike have in common.
    by_look: HashMap<String, Vec<String>>,
}

impl NearMisses {
    /// Ids in the order in which hints name them.
    pub(crate) fn of<'a>(ids: impl Iterator<Item = &'a str>) -> Self {
        let mut found = Self::default();
        for id in ids {
            found.by_form.entry(reduced(id)).or_default().push(id.to_owned());
            found.by_look.entry(common_form(id)).or_default().push(id.to_owned());
        }
        found
    }

    fn near(&self, id: &str) -> &[String] {
        let near = self.by_form.get(&reduced(id)).or_else(|| self.by_look.get(&common_form(id)));
        near.map_or(&[], Vec::as_slice)
    }

    /// The id that was meant, where one alone is near.
    pub(crate) fn meant(&self, id: &str) -> Option<&str> {
        match self.near(id) {
            [one] => Some(one),
            _ => None,
        }
    }

    /// A remedy that names the nearest known ids, or `otherwise`.
    pub(crate) fn remedy(&self, id: &str, otherwise: &str) -> String {
        match self.near(id) {
            [] => otherwise.to_owned(),
            near => {
                let shown: Vec<_> = near.iter().take(3).map(|near| spelled(near, id)).collect();
                say!("did you mean {}? ids must match letter by letter", shown.join(text!(" or ")))
            }
        }
    }
}

/// Lower case, letters and digits only, no leading zeros; `-` stays between two numbers.
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
                form.push_str(&run.to_lowercase());
            }
        }
    }
    form
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_that_differ_in_writing_only_share_a_form() {
        for (one, other) in [
            ("T007", "t7"),
            ("A-1", "a 01"),
            ("B 001-02", "b1/2"),
            ("R0", "r000"),
            ("10-00", "10/0"),
        ] {
            assert_eq!(reduced(one), reduced(other), "{one} {other}");
        }
        for (one, other) in [("T70", "T7"), ("A-1-2", "A-12"), ("T1", "S1"), ("T100", "T1")] {
            assert_ne!(reduced(one), reduced(other), "{one} {other}");
        }
    }

    #[test]
    fn a_hint_names_the_near_ids() {
        let near = NearMisses::of(["T-007", "T-008"].into_iter());
        assert!(near.remedy("t7", "none").contains("'T-007'"));
        assert_eq!(near.remedy("X", "none"), "none");
        assert_eq!(near.meant("t7"), Some("T-007"));
        assert_eq!(NearMisses::of(["T-007", "T7"].into_iter()).meant("t7"), None);
        // A Cyrillic te, and a letter O for a zero.
        assert!(near.remedy("\u{422}-007", "none").contains("'T-007'"));
        assert!(near.remedy("T-O07", "none").contains("'T-007'"));
    }
}
