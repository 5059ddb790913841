//! Numbers with their noun.

/// The form of a noun that goes with a number: `one` for 1, `many` for all others.
#[must_use]
pub fn noun<'a>(number: u64, one: &'a str, many: &'a str) -> &'a str {
    if number == 1 { one } else { many }
}

/// A number with its noun, for example `1 tree` and `2 trees`.
#[must_use]
pub fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", noun(number, one, many))
}

#[cfg(test)]
mod tests {
    use super::counted;

    #[test]
    fn only_one_is_singular() {
        let trees = |number| counted(number, "tree", "trees");
        assert_eq!([trees(0), trees(1), trees(2)], ["0 trees", "1 tree", "2 trees"]);
    }
}
