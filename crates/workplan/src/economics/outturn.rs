//! Outturn: the share of kernel in raw nuts, and what it does to the price.

use records::work::{SettingError, positive};
use words::{say, text};

/// Kilograms in a pound, exactly (international yard and pound agreement, 1959).
const KG_PER_LB: f64 = 0.453_592_37;
/// Kilograms in the bag of the trade.
const BAG_KG: f64 = 80.0;

/// Kernel as a fraction of raw nut weight from the outturn in lb of kernel per 80 kg bag.
#[must_use]
pub fn kernel_fraction(outturn_lb: f64) -> f64 {
    outturn_lb * KG_PER_LB / BAG_KG
}

/// Price per kg of nuts of one outturn where the price was quoted at another, both in lb per bag:
/// raw nuts are paid by the kernel in them.
///
/// # Errors
/// When an outturn is not above zero, or no bag could hold it.
pub fn price_at_outturn(
    price_per_kg: f64,
    outturn_lb: f64,
    quoted_at_lb: f64,
) -> Result<f64, SettingError> {
    let remedy = text!("give lb of kernel per 80 kg bag, usually 40 to 56");
    for (key, lb) in
        [("[economics] outturn_lb", outturn_lb), ("[economics] price_outturn_lb", quoted_at_lb)]
    {
        positive(key, lb, remedy)?;
        let share = kernel_fraction(lb);
        if share > 0.5 {
            return Err(SettingError::new(
                key,
                say!(
                    "{lb} lb x 0.45359237 / 80 kg = {:.0} % kernel, more than half",
                    100.0 * share
                ),
                remedy,
            ));
        }
    }
    Ok(price_per_kg * outturn_lb / quoted_at_lb)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// trade.md section 3: 48 lb is 27.2 %.
    #[test]
    fn outturn_of_the_trade() {
        assert!((100.0 * kernel_fraction(48.0) - 27.2).abs() < 0.05);
        assert!((price_at_outturn(1.2, 50.0, 48.0).unwrap() - 1.25).abs() < 1e-12);
        assert!(price_at_outturn(1.2, 0.0, 48.0).is_err());
        let slip = price_at_outturn(1.2, 480.0, 48.0).unwrap_err();
        assert!(slip.to_string().contains("272 % kernel"), "{slip}");
    }
}
