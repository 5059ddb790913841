//! The order in which people number things, and the names of columns however they are written.

/// A header word as columns are named: lower case, with `_` between its words.
pub fn plain_name(word: &str) -> String {
    let lower = word.to_lowercase();
    let parts = lower.split(|c: char| c.is_whitespace() || "_-.".contains(c));
    parts.filter(|part| !part.is_empty()).collect::<Vec<_>>().join("_")
}

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
    use super::{natural_order, plain_name};

    #[test]
    fn numbers_count_by_size() {
        let mut ids = ["B2-10", "B10-1", "B2-9", "A", "B2-9b"];
        ids.sort_by_key(|id| natural_order(id));
        assert_eq!(ids, ["A", "B2-9", "B2-9b", "B2-10", "B10-1"]);
    }

    /// A trial may name its columns as their headings are written.
    #[test]
    fn headings_are_names_of_columns() {
        assert_eq!(plain_name(" Cut % "), "cut_%");
        assert_eq!(plain_name("Sub-plot no."), "sub_plot_no");
        let book = "[book]\nname = \"E\"\n[regions.coast]\nharvest = [\"02-01\", \"05-31\"]\n\
                    flush = [\"09-01\", \"11-30\"]\n[economics]\ncurrency = \"USD\"\n\
                    price_per_kg = 1\nwage_per_hour = 1\n[trials.T]\ndesign = \"randomised_blocks\"\n\
                    factors = [\"Cut %\", \"When\"]\namounts = { \"Cut %\" = \"fraction\" }\n\
                    roles = { replicate = \"Rep.\", plot = \"Plot No\" }\n";
        let book = crate::Book::parse(book).unwrap();
        let trial = &book.trials["T"];
        assert_eq!(trial.factors, ["cut_%", "when"]);
        assert!(trial.amounts.contains_key("cut_%"));
        assert_eq!(
            (trial.roles.replicate.as_str(), trial.roles.plot.as_deref()),
            ("rep", Some("plot_no"))
        );
    }
}
