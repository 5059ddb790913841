//! Where searches for theta start. The criterion can have several minima where
//! data are few or factors alike.

use crate::integrate::halton::{Halton, MOST};
use crate::layout::ThetaEntry;
use crate::settings::Settings;
use crate::system::System;

/// A standardised spread that is nearly none.
const BESIDE: f64 = 0.03;

/// Where the search starts: 1 per unit of standardised theta, or what the settings say.
pub(crate) fn first(system: &System, settings: &Settings) -> Vec<f64> {
    let entries = system.entries.iter().zip(&system.column_rms);
    entries
        .map(|(e, rms)| {
            let known = settings.start.iter().find(|theta| theta.name == e.name);
            match known {
                // 0 is stationary: start just beside it.
                Some(theta) if e.is_diagonal() => theta.value.abs().max(BESIDE / rms),
                Some(theta) => theta.value,
                None if e.is_diagonal() => 1.0 / rms,
                None => 0.0,
            }
        })
        .collect()
}

/// Levels of a factor from which the data tell its effects apart, and the sign
/// of their correlation: a search then does not end in another minimum.
const MANY: usize = 30;
/// Correlation at which a search for its sign starts.
const STEEP: f64 = 0.8;

/// Several effects on few levels give the criterion a minimum with the spread
/// in each of them, and one on each side of no correlation: one more start per
/// effect, with the factor's spread in it, and two per correlation, steep up
/// and down.
pub(crate) fn of_effects(system: &System) -> Vec<Vec<f64>> {
    let one = |of: &dyn Fn(&ThetaEntry) -> Option<f64>| -> Vec<f64> {
        let entries = system.entries.iter().zip(&system.column_rms);
        entries
            .map(|(e, rms)| of(e).unwrap_or(f64::from(u8::from(e.is_diagonal()))) / rms)
            .collect()
    };
    let several = system.entries.iter().filter(|e| {
        let factor = &system.layout.factors[e.factor];
        factor.k() > 1 && factor.levels < MANY
    });
    several
        .flat_map(|entry| {
            let (own, row) = (entry.factor, entry.row);
            if entry.is_diagonal() {
                let beside = |e: &ThetaEntry| {
                    (e.factor == own && e.is_diagonal() && e.row != row).then_some(BESIDE)
                };
                return vec![one(&beside)];
            }
            [STEEP, -STEEP]
                .map(|slope| {
                    one(&|e: &ThetaEntry| match e.is_diagonal() {
                        _ if e == entry => Some(slope),
                        true if (e.factor, e.row) == (own, row) => {
                            Some((1.0 - slope * slope).sqrt())
                        }
                        _ => None,
                    })
                })
                .to_vec()
        })
        .collect()
}

/// Factors that are nearly confounded give the criterion several minima, each
/// with the spread in another factor: one more start per factor, with the
/// spread in it. A single factor needs none of these.
pub(crate) fn of_factors(system: &System) -> Vec<Vec<f64>> {
    let count = system.layout.factors.len();
    let starts = if count > 1 { count } else { 0 };
    (0..starts)
        .map(|f| {
            let entries = system.entries.iter().zip(&system.column_rms);
            entries
                .map(|(e, rms)| match (e.is_diagonal(), e.factor == f) {
                    (false, _) => 0.0,
                    (true, true) => 1.0 / rms,
                    (true, false) => BESIDE / rms,
                })
                .collect()
        })
        .collect()
}

/// Points tried per entry of theta, and how many of the lowest become starts.
const TRIED: usize = 24;
const LOWEST: usize = 3;

/// Of points all over theta those with the lowest criterion, where all factors
/// have few levels: spreads from 0 to 3 residual ones, small ones more often.
pub(crate) fn lowest(system: &System) -> Vec<Vec<f64>> {
    let entries = &system.entries;
    let few = system.layout.factors.iter().all(|factor| factor.levels < MANY);
    if !few || entries.len() < 2 || entries.len() > MOST {
        return Vec::new();
    }
    let points = Halton::new(entries.len(), 1);
    let mut tried: Vec<(f64, Vec<f64>)> = (0..TRIED * entries.len())
        .map(|index| -> Vec<f64> {
            let all = entries.iter().zip(&system.column_rms).zip(points.point(index));
            all.map(|((e, rms), u)| {
                let v = if e.is_diagonal() { u } else { 2.0 * u - 1.0 };
                3.0 * v * v.abs() / rms
            })
            .collect()
        })
        .filter_map(|theta| Some((system.criterion(&system.solve(&theta).ok()?), theta)))
        .filter(|(value, _)| value.is_finite())
        .collect();
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    tried.into_iter().take(LOWEST).map(|(_, theta)| theta).collect()
}
