//! Numbers of a trial that another column shows to be written in another unit or with a slipped decimal mark.

use super::doubts::Doubt;
use ::trials::{amount_words, name_in_words};
use ::words::{say, text};
use ingest_seasons::TrialTree;
use model::TreeSeasons;
use records::{TrialDeclaration, counted, is_per_cent, written_amount};
use std::collections::BTreeMap;

/// A tree in a season, with its row of the linked table.
type At<'a> = (&'a TrialTree, i32, Option<usize>);

/// How often the level the recorded cut is where levels are hundredths of what was meant, least and most: a cut by
/// eye is rarely half or twice the one that was ordered. Ours: a convention.
const HUNDREDFOLD: [f64; 2] = [50.0, 200.0];
/// How often the middle of the others a value is that lost its decimal mark, at least; moved by one digit it
/// must lie among them. Ours: a convention.
const APART: f64 = 5.0;
/// Greatest of the other values over their least beyond which nothing can be said. Ours: a convention.
const SPREAD: f64 = 5.0;
/// One tree in so many may bear such a value: more are no slip. Ours: a convention.
const ONE_IN: usize = 4;

/// Factors of a cut whose levels are hundredths of what was recorded of their trees: fractions under a declared per
/// cent, or fractions with the sign of per cent.
pub(super) fn hundredths(
    declaration: &TrialDeclaration,
    at: &[At<'_>],
    table: &TreeSeasons,
) -> Vec<Doubt> {
    let cuts = declaration.amounts.iter().filter_map(|(factor, unit)| {
        let of_hundred = is_per_cent(unit);
        (of_hundred || unit == "fraction").then_some((factor, unit, of_hundred))
    });
    let told = cuts.filter_map(|(factor, unit, of_hundred)| {
        let (mut known, mut hundredths, mut first) = (0_usize, 0_usize, None);
        for (tree, _, row) in at {
            let text = tree.columns.get(factor).and_then(Option::as_deref);
            let Some(level) = text.and_then(|text| written_amount(text, unit)) else { continue };
            let cut = row.and_then(|row| table.intensity.get(row)).copied();
            let Some(cut) = cut.filter(|cut| *cut > 0.0 && level > 0.0) else { continue };
            let times = if of_hundred { 100.0 * cut / level } else { cut / level };
            known += 1;
            if (HUNDREDFOLD[0]..=HUNDREDFOLD[1]).contains(&times) {
                hundredths += 1;
                first.get_or_insert((*tree, level, cut));
            }
        }
        let (tree, level, cut) = first.filter(|_| 2 * hundredths > known)?;
        let remedy = if of_hundred {
            say!(
                "write amounts = {{ {factor} = \"fraction\" }} into the trial's section of book.toml, or the levels in per cent"
            )
        } else {
            text!("write the levels as 15 % or as 0.15 for 15 per cent").to_owned()
        };
        Some(Doubt {
            place: tree.place.clone(),
            what: say!(
                "The levels of {} are a hundredth of the prunings on record: {} for tree {}, which was cut {}.",
                name_in_words(factor),
                amount_words(level, unit),
                tree.tree,
                amount_words((100.0 * cut).round() / 100.0, "fraction")
            ),
            remedy,
        })
    });
    told.collect()
}

/// Trees whose covariate is ten times that of the others or, in a column of the trial's own, a tenth of it. A
/// young or poor tree may well have a tenth of another's girth or crop, and none ten times.
pub(super) fn covariate(
    declaration: &TrialDeclaration,
    at: &[At<'_>],
    numbers: &BTreeMap<String, Vec<f64>>,
) -> Option<Doubt> {
    let name = declaration.covariate.as_deref()?;
    let is_own = !records::SeenTrials::COVARIATES.contains(&name);
    let mut values: BTreeMap<&str, (f64, &TrialTree)> = BTreeMap::new();
    for ((tree, ..), value) in at.iter().zip(numbers.get(name)?) {
        if *value > 0.0 {
            values.insert(&tree.tree, (*value, tree));
        }
    }
    let mut sorted: Vec<f64> = values.values().map(|(value, _)| *value).collect();
    sorted.sort_by(f64::total_cmp);
    let middle = *sorted.get(sorted.len() / 2)?;
    let is_off = |value: f64| value >= APART * middle || (is_own && value <= middle / APART);
    let (least, most) = sorted
        .iter()
        .filter(|value| !is_off(**value))
        .fold((f64::INFINITY, 0.0_f64), |(low, high), &value| (low.min(value), high.max(value)));
    if most > SPREAD * least {
        return None;
    }
    let moved = |value: f64| if value > middle { value / 10.0 } else { value * 10.0 };
    let off: Vec<&(f64, &TrialTree)> = values
        .values()
        .filter(|(value, _)| is_off(*value) && (least..=most).contains(&moved(*value)))
        .collect();
    if ONE_IN * off.len() > values.len() {
        return None;
    }
    let (value, tree) = off.first()?;
    Some(Doubt {
        place: tree.place.clone(),
        what: say!(
            "{} with a covariate that looks like the others with its decimal mark slipped, first {}: {} {} where {} is usual.",
            counted(off.len() as u64, text!("tree"), text!("trees")),
            tree.tree,
            name_in_words(name),
            ::words::with_mark(&value.to_string()),
            ::words::with_mark(&((middle * 1e3).round() / 1e3).to_string())
        ),
        remedy: if is_own {
            text!("correct the value in the trial table; leave it if it was measured so").to_owned()
        } else {
            text!(
                "correct the girth in the tree table or the picks of that tree; leave it if it was measured so"
            )
            .to_owned()
        },
    })
}
