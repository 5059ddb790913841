//! Numbers, texts and sums as SQL.

/// A number with an exponent, which makes it a double everywhere, and every digit.
pub(super) fn number(x: f64) -> String {
    if x < 0.0 { format!("({x:e})") } else { format!("{:e}", x.abs()) }
}

/// A text in quotes.
pub(super) fn text(label: &str) -> String {
    format!("'{}'", label.replace('\'', "''"))
}

/// Whether a label means the same in every dialect between quotes: some take a backslash for the
/// start of something else.
pub(super) fn is_plain(label: &str) -> bool {
    !label.chars().any(|c| c == '\\' || c.is_control())
}

/// A column holds a number: neither null nor, in any dialect's order, infinite or not a number.
pub(super) fn is_number(column: &str) -> String {
    format!("({column} BETWEEN -1e300 AND 1e300)")
}

/// Terms `factor * column` added, without those that are 0.
pub(super) fn combination<'a>(terms: impl Iterator<Item = (f64, &'a str)>) -> String {
    let terms: Vec<String> = terms
        .filter(|(factor, _)| *factor != 0.0)
        .map(|(factor, column)| format!("{} * {column}", number(factor)))
        .collect();
    if terms.is_empty() { "0e0".to_owned() } else { terms.join(" + ") }
}

/// A value by label of a column.
pub(super) fn by_label(column: &str, values: &[(String, String)]) -> String {
    let cases: Vec<String> =
        values.iter().map(|(label, value)| format!(" WHEN {} THEN {value}", text(label))).collect();
    format!("CASE {column}{} END", cases.concat())
}

/// A named part of a WITH clause.
pub(super) fn part(name: &str, query: &str) -> String {
    format!("{name} AS (\n  {}\n)", query.replace('\n', "\n  "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_doubles_and_texts_end_where_they_should() {
        assert_eq!(number(0.25), "2.5e-1");
        assert_eq!(number(-3.0), "(-3e0)");
        assert_eq!(number(-0.0), "0e0");
        assert_eq!(number(0.1 + 0.2).parse::<f64>(), Ok(0.1 + 0.2));
        assert_eq!(text("O'Hara'; DROP"), "'O''Hara''; DROP'");
        assert!(!is_plain("a\\b") && !is_plain("a\nb") && is_plain("Pará \u{2013} norte"));
    }
}
