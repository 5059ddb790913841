//! The intensity of a pruning from whatever its row gives.

use crate::cell::fault::CellFault;
use crate::cell::value::Value;
use records::{Code, MeasuredAs, RawIntensity, TableSpec};
use words::{say, text};

/// How far a stated intensity may lie from the one computed from the row's own raw quantities:
/// stated values are commonly rounded to the nearest per cent or two.
const AGREEMENT: f64 = 0.02;

const SHOOTS: [&str; 2] = ["shoots_cut", "shoots_total"];
const HEADED: [&str; 2] = ["removed_cm", "length_cm"];
const SPREAD: [&str; 6] = [
    "height_before_m",
    "spread_ns_before_m",
    "spread_ew_before_m",
    "height_after_m",
    "spread_ns_after_m",
    "spread_ew_after_m",
];

/// Whether the columns of a file can give an intensity.
pub(crate) fn can_tell_intensity(has: impl Fn(&str) -> bool) -> bool {
    has("intensity")
        || [&SHOOTS[..], &HEADED[..], &SPREAD[..]]
            .iter()
            .any(|set| set.iter().all(|name| has(name)))
}

/// Where a row's values for the intensity are.
#[derive(Debug, Clone)]
pub(crate) struct IntensityColumns {
    pub(crate) intensity: usize,
    pub(crate) measured_as: usize,
    shoots: Vec<usize>,
    headed: Vec<usize>,
    spread: Vec<usize>,
}

/// An intensity with its basis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Settled {
    pub(crate) fraction: f64,
    pub(crate) basis: MeasuredAs,
    /// Nothing states the basis; canopy fraction was taken.
    pub(crate) is_assumed: bool,
}

impl IntensityColumns {
    /// The columns of the pruning table; `None` for another table.
    pub(crate) fn of(spec: &TableSpec) -> Option<Self> {
        let position = |name: &str| spec.columns.iter().position(|column| column.name == name);
        let all = |names: &[&str]| -> Option<Vec<usize>> {
            names.iter().map(|name| position(name)).collect()
        };
        Some(Self {
            intensity: position("intensity")?,
            measured_as: position("measured_as")?,
            shoots: all(&SHOOTS)?,
            headed: all(&HEADED)?,
            spread: all(&SPREAD)?,
        })
    }

    /// Settles intensity and basis of a row; `stated` is the file's basis in `book.toml`.
    ///
    /// The basis comes from the row, else from the file, else from which raw quantities are
    /// complete, else canopy fraction is assumed and reported.
    ///
    /// # Errors
    /// What is wrong, with the position of the column at fault.
    pub(crate) fn settle(
        &self,
        values: &[Value],
        stated: Option<MeasuredAs>,
    ) -> Result<Settled, (usize, CellFault)> {
        let unreadable = |position: usize, reason: String, remedy: &str| {
            let (code, remedy) = (Code::IntensityUnreadable, remedy.to_owned());
            (position, CellFault { code, reason, remedy })
        };
        let number = |index: usize| values.get(index).copied().and_then(Value::as_number);
        let given = number(self.intensity);
        let raws = self.raws(&number);
        let said = match values.get(self.measured_as) {
            Some(Value::Word(word)) => MeasuredAs::from_word(word),
            _ => None,
        };
        let basis = match (said.or(stated), raws.as_slice()) {
            (Some(basis), _) => Some(basis),
            (None, [(basis, _)]) => Some(*basis),
            (None, []) => None,
            (None, _) => {
                return Err(unreadable(
                    self.measured_as,
                    say!(
                        "the row gives raw quantities of several bases and does not say which counts"
                    ),
                    text!(
                        "fill in measured_as, or set measured_as under [[files.prunings]] in book.toml"
                    ),
                ));
            }
        };
        let is_assumed = basis.is_none();
        let basis = basis.unwrap_or(MeasuredAs::CanopyFraction);
        let raw = raws.iter().find(|(of, _)| *of == basis).map(|(_, raw)| *raw);
        let raw = match (raw, given) {
            (Some(raw), _) => raw,
            (None, Some(given)) => RawIntensity::Fraction(given),
            (None, None) => {
                return Err(unreadable(
                    self.intensity,
                    say!("the row gives neither intensity nor all it takes for {}", basis.as_str()),
                    text!("fill in intensity, or the raw quantities it is computed from"),
                ));
            }
        };
        let fraction = raw.fraction().map_err(|error| {
            let position = self.first_of(basis);
            unreadable(position, error.to_string(), text!("correct the quantities of the row; where all rows of a file are so, two of its columns may be interchanged"))
        })?;
        if let Some(given) = given
            && (given - fraction).abs() > AGREEMENT
        {
            return Err(unreadable(
                self.intensity,
                say!(
                    "intensity says {given}, the raw quantities ({}) give {fraction:.3}",
                    basis.as_str()
                ),
                text!("correct or empty the wrong one"),
            ));
        }
        Ok(Settled { fraction, basis, is_assumed })
    }

    /// The first column from which a basis is computed.
    fn first_of(&self, basis: MeasuredAs) -> usize {
        let columns = match basis {
            MeasuredAs::CanopyFraction => &[][..],
            MeasuredAs::Shoots => &self.shoots,
            MeasuredAs::Spread => &self.spread,
            MeasuredAs::HeadedLength => &self.headed,
        };
        columns.first().copied().unwrap_or(self.intensity)
    }

    /// The complete sets of raw quantities.
    fn raws(&self, number: &impl Fn(usize) -> Option<f64>) -> Vec<(MeasuredAs, RawIntensity)> {
        let get =
            |columns: &[usize]| columns.iter().map(|&c| number(c)).collect::<Option<Vec<_>>>();
        let mut raws = Vec::new();
        if let Some([cut, total]) = get(&self.shoots).as_deref() {
            raws.push((MeasuredAs::Shoots, RawIntensity::Shoots { cut: *cut, total: *total }));
        }
        if let Some([h0, ns0, ew0, h1, ns1, ew1]) = get(&self.spread).as_deref() {
            let (before, after) = ([*h0, *ns0, *ew0], [*h1, *ns1, *ew1]);
            raws.push((MeasuredAs::Spread, RawIntensity::Spread { before, after }));
        }
        if let Some([removed, length]) = get(&self.headed).as_deref() {
            let raw = RawIntensity::Headed { removed: *removed, length: *length };
            raws.push((MeasuredAs::HeadedLength, raw));
        }
        raws
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use records::Table;

    fn settle(
        cells: &[(&str, f64)],
        said: Option<&'static str>,
        stated: Option<MeasuredAs>,
    ) -> Result<Settled, (usize, CellFault)> {
        let spec = Table::Prunings.spec();
        let mut values = vec![Value::Null; spec.columns.len()];
        let position = |name: &str| spec.columns.iter().position(|c| c.name == name).unwrap();
        for (name, value) in cells {
            values[position(name)] = Value::Number(*value);
        }
        if let Some(word) = said {
            values[position("measured_as")] = Value::Word(word);
        }
        IntensityColumns::of(spec).unwrap().settle(&values, stated)
    }

    fn settled(fraction: f64, basis: MeasuredAs, is_assumed: bool) -> Settled {
        Settled { fraction, basis, is_assumed }
    }

    #[test]
    fn the_basis_is_said_stated_shown_or_assumed() {
        use MeasuredAs::{CanopyFraction, HeadedLength, Shoots, Spread};
        let intensity = [("intensity", 0.25)];
        assert_eq!(settle(&intensity, None, None), Ok(settled(0.25, CanopyFraction, true)));
        assert_eq!(settle(&intensity, None, Some(Shoots)), Ok(settled(0.25, Shoots, false)));
        assert_eq!(
            settle(&intensity, Some("spread"), Some(Shoots)),
            Ok(settled(0.25, Spread, false))
        );
        let shoots = [("shoots_cut", 12.0), ("shoots_total", 48.0)];
        assert_eq!(settle(&shoots, None, None), Ok(settled(0.25, Shoots, false)));
        let headed = [("removed_cm", 20.0), ("length_cm", 80.0)];
        assert_eq!(settle(&headed, None, None), Ok(settled(0.25, HeadedLength, false)));
    }

    #[test]
    fn spreads_are_half_ellipsoids() {
        // Halving the height halves the volume 2/3 pi H (A/2)(B/2) (trade.md section 3).
        let cells = ["height_before_m", "spread_ns_before_m", "spread_ew_before_m"]
            .into_iter()
            .zip([4.0, 5.0, 6.0])
            .chain(
                ["height_after_m", "spread_ns_after_m", "spread_ew_after_m"]
                    .into_iter()
                    .zip([2.0, 5.0, 6.0]),
            )
            .collect::<Vec<_>>();
        let found = settle(&cells, None, None).unwrap();
        assert!((found.fraction - 0.5).abs() < 1e-12);
        assert_eq!(found.basis, MeasuredAs::Spread);
    }

    #[test]
    fn contradictions_are_refused() {
        let both =
            [("shoots_cut", 12.0), ("shoots_total", 48.0), ("removed_cm", 2.0), ("length_cm", 8.0)];
        assert!(settle(&both, None, None).is_err());
        assert!(settle(&both, Some("shoots"), None).is_ok());
        let apart = [("intensity", 0.5), ("shoots_cut", 12.0), ("shoots_total", 48.0)];
        assert!(settle(&apart, None, None).unwrap_err().1.reason.contains("0.250"));
        let beyond = [("shoots_cut", 50.0), ("shoots_total", 40.0)];
        let (position, _) = settle(&beyond, None, None).unwrap_err();
        assert_eq!(Table::Prunings.spec().columns[position].name, "shoots_cut");
        assert!(settle(&[("shoots_cut", 5.0)], None, None).is_err());
        assert!(settle(&[], Some("shoots"), None).is_err());
    }
}
