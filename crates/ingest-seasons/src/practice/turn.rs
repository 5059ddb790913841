//! Trees that are pruned in turn: these blocks in one season, those in the next.

use super::{Aged, LONGEST_TURN};
use std::collections::{BTreeMap, HashSet};

/// Fewest trees pruned in a season of a turn (this and those below ours: conventions, of no published source).
const FEWEST: usize = 5;
/// Least share of a season's trees that is pruned in it.
const LEAST_SHARE: f64 = 0.1;
/// Most of the trees pruned in one season of a turn that may have been pruned in another of it as well.
const MOST_TWICE: f64 = 0.2;
/// Least share of trees pruned again where a turn begins anew.
const LEAST_AGAIN: f64 = 0.5;
/// How many times as many trees may be pruned in one season of a turn as in another.
const MOST_UNEVEN: f64 = 2.0;

/// Seasons up to the latest in which every tree is pruned once, 1 where trees are not pruned in turn. Seasons
/// make a turn when hardly a tree was pruned in two of them, about as many were in each, and those of the
/// season before it, if that is on record, are those of its last season again, and so on for the one before that.
/// That tells a turn from a practice that moved once from some trees to others, or back for one season.
pub(super) fn seasons(last: i32, latest: &BTreeMap<i32, Vec<Aged>>) -> i32 {
    let of = |back: i32| latest.get(&(last - back)).map(|all| Pruned::of(all));
    let mut turn: Vec<Pruned> = of(0).into_iter().collect();
    if !turn.iter().all(Pruned::is_part) {
        return 1;
    }
    for back in 1..=LONGEST_TURN {
        let Some(before) = of(back) else { return back };
        let begins_anew = back > 1
            && before.shared_with(&turn[0]) >= LEAST_AGAIN
            && turn[1..].iter().all(|own| before.is_apart_from(own));
        if begins_anew {
            let goes_on = of(back + 1).is_none_or(|own| own.shared_with(&turn[1]) >= LEAST_AGAIN);
            return if goes_on { back } else { 1 };
        }
        if back == LONGEST_TURN || !before.is_part() {
            return 1;
        }
        if !turn.iter().all(|own| before.is_apart_from(own) && before.is_about_as_many_as(own)) {
            return 1;
        }
        turn.push(before);
    }
    1
}

/// Trees pruned in one season.
struct Pruned {
    trees: HashSet<u32>,
    /// Of all trees of that season.
    share: f64,
}

impl Pruned {
    fn of(all: &[Aged]) -> Self {
        let pruned = all.iter().filter(|own| own.treated.0 > 0.0);
        let trees: HashSet<u32> = pruned.filter_map(|own| own.tree).collect();
        let share = trees.len() as f64 / all.len() as f64;
        Self { trees, share }
    }

    fn is_part(&self) -> bool {
        self.trees.len() >= FEWEST && self.share >= LEAST_SHARE
    }

    /// Trees pruned in both seasons, as a share of those of the season of fewer.
    fn shared_with(&self, other: &Self) -> f64 {
        let both = self.trees.intersection(&other.trees).count();
        both as f64 / self.trees.len().min(other.trees.len()).max(1) as f64
    }

    fn is_apart_from(&self, other: &Self) -> bool {
        self.shared_with(other) <= MOST_TWICE
    }

    fn is_about_as_many_as(&self, other: &Self) -> bool {
        self.share <= MOST_UNEVEN * other.share && other.share <= MOST_UNEVEN * self.share
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::ops::Range;

    /// Seasons of 60 trees, oldest first, each with the range of trees pruned in it.
    fn turn(pruned: &[Range<u32>]) -> i32 {
        let mut latest: BTreeMap<i32, Vec<Aged>> = BTreeMap::new();
        for (year, own) in (2020..).zip(pruned) {
            let cut = |tree| if own.contains(&tree) { 0.3 } else { 0.0 };
            let aged = |tree| Aged { tree: Some(tree), treated: (cut(tree), None), age: None };
            latest.insert(year, (0..60).map(aged).collect());
        }
        super::seasons(*latest.keys().last().unwrap(), &latest)
    }

    #[test]
    fn halves_and_thirds_pruned_in_turn_are_found() {
        assert_eq!(turn(&[0..30, 30..60]), 2);
        assert_eq!(turn(&[0..30, 30..60, 0..30, 30..60]), 2);
        // A few trees twice, and halves that are none.
        assert_eq!(turn(&[0..25, 23..60, 0..22, 22..60]), 2);
        assert_eq!(turn(&[0..20, 20..40, 40..60]), 3);
        assert_eq!(turn(&[40..60, 0..20, 20..40, 40..60]), 3);
        // One tree in twenty out of turn.
        assert_eq!(turn(&[0..33, 30..60, 0..30, 27..60]), 2);
        assert_eq!(turn(&[45..60, 0..15, 15..30, 30..45, 45..60]), 4);
    }

    #[test]
    fn a_change_of_practice_is_no_turn() {
        // The same trees; all; none before; a harder cut of other trees after years of the same.
        assert_eq!(turn(&[0..30, 0..30, 0..30]), 1);
        assert_eq!(turn(&[0..30, 0..60]), 1);
        assert_eq!(turn(&[0..0, 0..60]), 1);
        assert_eq!(turn(&[0..30, 0..30, 30..60]), 1);
        assert_eq!(turn(&[0..10, 10..60]), 1);
        assert_eq!(turn(&[0..0, 0..0]), 1);
        // Some trees but for one season.
        assert_eq!(turn(&[30..60, 30..60, 0..30, 30..60]), 1);
        // Fifths: longer than is looked for.
        assert_eq!(turn(&[0..12, 12..24, 24..36, 36..48, 48..60]), 1);
    }
}
