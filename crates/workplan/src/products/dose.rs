//! Millilitres of a product per litre of water, from its strength alone.

use records::work::{MOST_TIMES_USUAL, SettingError, positive};
use serde::{Deserialize, Serialize};
use words::{say, text};

/// A dose with its arithmetic.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dose {
    /// Product, mL per L of water.
    pub ml_per_l: f64,
    /// Concentration of the spray, per cent active.
    pub target_pct: f64,
    /// Strength of the product, per cent active.
    pub strength_pct: f64,
    /// The arithmetic, in figures.
    pub arithmetic: String,
    /// That the target is above the label's usual concentration, where it is.
    pub caution: Option<String>,
}

impl Dose {
    /// Dose of product NAME: mL per L = 10 x target % / (strength % / 100), the strength in g of
    /// active per 100 mL and all three concentrations from the product's own label.
    ///
    /// # Errors
    /// When a concentration is missing or out of range, or the target is more than ten times the usual.
    pub fn new(
        name: &str,
        target_pct: Option<f64>,
        strength_pct: Option<f64>,
        usual_pct: Option<f64>,
    ) -> Result<Self, SettingError> {
        let key = |field: &str| format!("[products.{name}] {field}");
        let stated = |field: &str, value: Option<f64>, remedy: &str| match value {
            Some(value) => positive(key(field), value, remedy),
            None => Err(SettingError::new(
                key(field),
                text!("not stated, and no dose is computed without it"),
                remedy,
            )),
        };
        let strength = stated(
            "strength_pct",
            strength_pct,
            text!("enter the active ingredient from the product's label, g in 100 mL"),
        )?;
        let target = stated(
            "target_pct",
            target_pct,
            text!("enter the spray's concentration, per cent active"),
        )?;
        let usual = stated(
            "usual_pct",
            usual_pct,
            text!("enter the label's usual concentration, per cent active"),
        )?;
        if strength > 100.0 {
            return Err(SettingError::new(
                key("strength_pct"),
                say!("{strength} % is more than 100 g in 100 mL"),
                text!("enter the active ingredient from the product's label, g in 100 mL"),
            ));
        }
        let ml_per_l = 10.0 * target / (strength / 100.0);
        let arithmetic =
            say!("10 x {target} % / ({strength} % / 100) = {} mL per L", figures(ml_per_l));
        let times = target / usual;
        // The margin lets exactly ten times pass in spite of rounding.
        if times > MOST_TIMES_USUAL * (1.0 + 1e-9) {
            return Err(SettingError::new(
                key("target_pct"),
                say!(
                    "{target} % / {usual} % = {} times the usual concentration, more than {MOST_TIMES_USUAL} ({arithmetic})",
                    figures(times)
                ),
                text!(
                    "check both against the label: per cent of what, and where the decimal point is"
                ),
            ));
        }
        let caution = (times > 1.0 + 1e-9).then(|| {
            say!(
                "{} times the label's usual concentration: check the label before mixing",
                figures(times)
            )
        });
        if target >= strength {
            return Err(SettingError::new(
                key("target_pct"),
                say!("{target} % is not below the product's own {strength} % ({arithmetic})"),
                text!("check both against the label"),
            ));
        }
        Ok(Self { ml_per_l, target_pct: target, strength_pct: strength, arithmetic, caution })
    }
}

/// Four significant digits without trailing zeros.
fn figures(value: f64) -> String {
    let decimals = (3 - value.abs().max(1e-9).log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// trade.md section 5: 0.003 % from a 5 % product is 0.6 mL per L, 6 mL per 10 L.
    #[test]
    fn dose_of_a_published_trial() {
        let dose = Dose::new("guard", Some(0.003), Some(5.0), Some(0.003)).unwrap();
        assert!((dose.ml_per_l - 0.6).abs() < 1e-12);
        assert_eq!(dose.arithmetic, "10 x 0.003 % / (5 % / 100) = 0.6 mL per L");
        assert_eq!(dose.caution, None);
    }

    /// trade.md section 1: printed at 0.2 % where trials used 0.003 %.
    #[test]
    fn a_printed_slip_is_refused_with_its_arithmetic() {
        let slip = Dose::new("guard", Some(0.2), Some(5.0), Some(0.003)).unwrap_err();
        assert_eq!(slip.key, "[products.guard] target_pct");
        assert!(slip.what.starts_with("0.2 % / 0.003 % = 66.67 times the usual"), "{}", slip.what);
        assert!(slip.what.contains("10 x 0.2 % / (5 % / 100) = 40 mL per L"), "{}", slip.what);
        // Up to ten times is computed, and said.
        let high = Dose::new("guard", Some(0.03), Some(5.0), Some(0.003)).unwrap();
        let caution = "10 times the label's usual concentration: check the label before mixing";
        assert_eq!(high.caution.as_deref(), Some(caution));
        assert!(Dose::new("guard", Some(0.0301), Some(5.0), Some(0.003)).is_err());
    }

    #[test]
    fn no_dose_without_a_stated_strength() {
        for (strength, target, usual, field) in [
            (None, Some(0.003), Some(0.003), "strength_pct"),
            (Some(5.0), None, Some(0.003), "target_pct"),
            (Some(5.0), Some(0.003), None, "usual_pct"),
            (Some(f64::NAN), Some(0.003), Some(0.003), "strength_pct"),
            (Some(500.0), Some(0.003), Some(0.003), "strength_pct"),
            (Some(0.002), Some(0.003), Some(0.003), "target_pct"),
        ] {
            let error = Dose::new("guard", target, strength, usual).unwrap_err();
            assert_eq!(error.key, format!("[products.guard] {field}"));
        }
    }
}
