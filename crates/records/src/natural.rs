//! The order in which people number things.

/// Letters and the digits behind them, so that `R10` follows `R9`: ids sorted by this stand as in a list made by hand.
pub fn natural_order(id: &str) -> Vec<(String, u64)> {
    let mut out = Vec::new();
    let (mut letters, mut digits) = (String::new(), String::new());
    for c in id.chars() {
        if !c.is_ascii_digit() && !digits.is_empty() {
            out.push((std::mem::take(&mut letters), digits.parse().unwrap_or(u64::MAX)));
            digits.clear();
        }
        if c.is_ascii_digit() { digits.push(c) } else { letters.push(c) }
    }
    out.push((letters, digits.parse().unwrap_or(0)));
    out
}

#[cfg(test)]
mod tests {
    use super::natural_order;

    #[test]
    fn numbers_count_by_size() {
        let mut ids = ["B2-10", "B10-1", "B2-9", "A", "B2-9b"];
        ids.sort_by_key(|id| natural_order(id));
        assert_eq!(ids, ["A", "B2-9", "B2-9b", "B2-10", "B10-1"]);
    }
}
