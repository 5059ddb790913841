//! Years that are one slip of the pen from each other.

use jiff::civil::Date;
use records::Calendar;

/// Days in a year, near enough to place a visit among others.
pub(crate) const YEAR: i32 = 365;

/// The year in which the same day of the year is before the harvest of a season.
pub(crate) fn year_for(calendar: &Calendar, day: Date, season: i32) -> Option<i16> {
    let shift = season - i32::from(calendar.season_of_pruning(day));
    i16::try_from(i32::from(day.year()) + shift).ok()
}

/// Whether one digit of a year, or two neighbours that changed places, make another of it (one edit of
/// Damerau 1964, Commun. ACM 7:171-176, of texts of the same length).
pub(crate) fn is_one_slip(written: i16, meant: i16) -> bool {
    let (written, meant) = (format!("{written:04}"), format!("{meant:04}"));
    let (written, meant) = (written.as_bytes(), meant.as_bytes());
    let differ: Vec<usize> = (0..4).filter(|&at| written.get(at) != meant.get(at)).collect();
    match differ.as_slice() {
        [_] => true,
        [a, b] => {
            b - a == 1 && written.get(*a) == meant.get(*b) && written.get(*b) == meant.get(*a)
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::is_one_slip;

    #[test]
    fn slips_of_a_year() {
        for (written, meant) in [(2032, 2023), (2013, 2023), (2033, 2023), (2024, 2023)] {
            assert!(is_one_slip(written, meant), "{written} for {meant}");
        }
        for (written, meant) in [(2023, 2023), (2019, 2020), (2014, 2023), (2302, 2023)] {
            assert!(!is_one_slip(written, meant), "{written} for {meant}");
        }
    }
}
