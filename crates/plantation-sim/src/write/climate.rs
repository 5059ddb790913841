//! Invented climate normals of the sites, for proposing regions.

use crate::Plantation;
use std::f64::consts::TAU;
use std::fmt::Write as _;

/// Altitude, m, yearly rain, mm, and mean temperature, degrees, of the regions in turn.
const PLACES: [(f64, f64, f64); 6] = [
    (40.0, 2900.0, 27.2),
    (620.0, 1150.0, 23.4),
    (90.0, 1500.0, 26.5),
    (810.0, 2100.0, 21.8),
    (260.0, 1750.0, 25.6),
    (15.0, 2300.0, 27.9),
];
/// Months of the year written; rain and warmth peak about half a year after the flush begins.
const MONTHS: usize = 12;

/// One row per site: altitude, monthly rain and temperature, harvest and flush. Sites of a region
/// differ by a tenth or less.
pub(super) fn normals(plantation: &Plantation) -> String {
    let mut text = "site,altitude_m".to_owned();
    for (name, unit) in [("rain", "mm"), ("temperature", "c")] {
        for month in 1..=MONTHS {
            // Writing to a String cannot fail.
            let _ = write!(text, ",{name}_{month:02}_{unit}");
        }
    }
    text.push_str(",harvest_from,harvest_to,flush_from\n");
    for (region, (altitude, rain, warmth)) in plantation.regions.iter().zip(PLACES.iter().cycle()) {
        let calendar = &region.calendar;
        let flush = f64::from(calendar.flush.start.in_year(2001).month());
        for site in 0..region.sites {
            let shift = 1.0 + 0.1 * (site as f64 / region.sites as f64 - 0.4);
            let _ = write!(text, "{} site {},{:.0}", region.name, site + 1, altitude * shift);
            let season = |month: usize| (TAU * (month as f64 - flush - 6.0) / 12.0).cos();
            for month in 1..=MONTHS {
                let _ = write!(text, ",{:.0}", rain * shift / 12.0 * (1.0 - 0.9 * season(month)));
            }
            for month in 1..=MONTHS {
                let _ = write!(text, ",{:.1}", warmth - 0.3 * shift + 2.5 * season(month));
            }
            let day = |date: jiff::civil::Date| date.strftime("%m-%d").to_string();
            let _ = writeln!(
                text,
                ",{},{},{}",
                day(calendar.harvest.start.in_year(2001)),
                day(calendar.harvest.end.in_year(2001)),
                day(calendar.flush.start.in_year(2001))
            );
        }
    }
    text
}
