//! Running totals that were read as picks, and columns of totals that were read as a round.

use crate::odd_weights::Pick;
use crate::outcome::Outcome;
use records::{Code, Place, counted};
use std::collections::BTreeMap;
use words::{say, text};

/// Fewest trees of one file and season that tell (this and those below ours: conventions, of no published source).
const TREES: usize = 20;
/// Least share of them.
const NEARLY_ALL: f64 = 0.97;
/// Fewest rounds in which a crop that is over never falls, and in one that may still be picked, whose last round
/// is often its heaviest.
const ROUNDS: usize = 3;
const ROUNDS_OF_LAST: usize = 5;
/// Kilograms by which a sum may be off: balances show two decimals.
const ROUNDED: f64 = 0.011;

/// Trees of one file and season with enough picks, those that tell, and the first of their rows.
#[derive(Default)]
struct Told {
    trees: usize,
    telling: usize,
    first: Option<(u32, u32)>,
}

impl Told {
    fn count(&mut self, own: &[Pick], tells: bool) {
        self.trees += 1;
        self.telling += usize::from(tells);
        let first = own.iter().map(|pick| pick.at).min();
        self.first = self.first.into_iter().chain(first).min();
    }

    /// Tells what is said of so many trees, with its remedy; whether enough of them tell.
    fn tell(
        &self,
        outcome: &mut Outcome,
        said: impl FnOnce(String) -> (String, &'static str),
    ) -> bool {
        let is_told =
            self.telling >= TREES && self.telling as f64 >= NEARLY_ALL * self.trees as f64;
        let Some(first) = self.first.filter(|_| is_told) else { return false };
        let trees = counted(self.telling as u64, text!("tree"), text!("trees"));
        let (what, remedy) = said(trees);
        let place = Place { line: None, ..outcome.place(first) };
        outcome.warn(place, Code::TotalsAsPicks, what, remedy);
        true
    }
}

/// Tells both; `all` are the picks by tree, season and day.
pub(crate) fn warn(all: &[Pick], outcome: &mut Outcome) {
    let last = all.iter().map(|pick| pick.season).max();
    let mut rising: BTreeMap<(u32, i32), Told> = BTreeMap::new();
    let mut summed: BTreeMap<(u32, i32), Told> = BTreeMap::new();
    for own in all.chunk_by(|a, b| (a.tree, a.season) == (b.tree, b.season)) {
        let [.., before, total] = own else { continue };
        let key = (total.at.0, total.season);
        let rounds = if last == Some(total.season) { ROUNDS_OF_LAST } else { ROUNDS };
        if own.len() >= rounds {
            let never_falls = own.windows(2).all(|pair| pair[0].kg <= pair[1].kg);
            rising.entry(key).or_default().count(own, never_falls);
        }
        if own.len() >= ROUNDS {
            let others: f64 = own.iter().map(|pick| pick.kg).sum::<f64>() - total.kg;
            let is_sum = (others - total.kg).abs() < ROUNDED && before.kg < total.kg;
            summed.entry(key).or_default().count(own, is_sum);
        }
    }
    for (&(file, season), found) in &summed {
        let is_told = found.tell(outcome, |trees| {
            let what = say!(
                "{trees} of the file in season {season} weigh as much in their last pick as in all before it together: a column of totals that was read as a round?"
            );
            (what, text!("kept, so each crop counts twice: name the column of totals in not_columns under [[files.harvests]], or take its rows out of the file"))
        });
        // A total of rounds is told as that alone, though it never falls either.
        if is_told {
            rising.remove(&(file, season));
        }
    }
    for ((_, season), found) in &rising {
        found.tell(outcome, |trees| {
            let what = say!(
                "the picks of {trees} of the file in season {season} never fall from one round to the next: running totals?"
            );
            (what, text!("kept and added up; if each weight is the sum up to that round, write what every round alone weighed; nothing to do if every round was heavier than the one before"))
        });
    }
}
