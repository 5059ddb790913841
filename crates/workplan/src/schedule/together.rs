//! The days of a block kept together, where windows allow it.

use super::flow::Demand;
use std::cell::Cell;

/// Days by which the work of a block may lie further from its day, on average, for the days of a block to stay
/// together (ours: a convention): records hardly tell a week apart.
const MOST_MOVED: i64 = 7;

/// Pieces that are looked at before the order stays as it is: seconds, where a crew has thousands of blocks that lie
/// across each other.
const MOST_LOOKED_AT: usize = 50_000_000;

/// Units placed by day and block: the work of a crew in the order in which it is done.
struct Line<'a> {
    demands: &'a [Demand],
    /// By block, the day around which its work lies, counted from the first day; it may lie before that.
    around: &'a [i64],
    /// Days on which the crew works, before each day.
    working: Vec<i64>,
    /// Units that each day holds.
    loads: Vec<i64>,
    /// By block, the most units x days from its day.
    furthest: Vec<i64>,
    /// Pieces that may still be looked at.
    left: Cell<usize>,
}

/// A piece of a block's work: the block and its units.
type Piece = (usize, i64);

/// An order of pieces, with what it amounts to.
#[derive(Clone)]
struct Order {
    pieces: Vec<Piece>,
    /// By block, working days between its first and its last day on which nobody is in it.
    away: Vec<i64>,
    /// Rate x days x units from the day of each block.
    cost: i128,
    /// Units by block and day.
    units: Vec<Vec<i64>>,
}

impl Order {
    /// Days away from begun blocks, then the loss: less is better.
    fn measure(&self) -> (i64, i128) {
        (self.away.iter().sum(), self.cost)
    }
}

/// Changes the order of the work so that crews leave fewer blocks half done: what is placed of each block, what
/// each day holds and the windows stay as they are, and no block moves further from its day than stated above.
/// A block stays torn where its neighbours' windows leave no other order, or none so near.
pub(super) fn keep_together(
    demands: &[Demand],
    around: &[i64],
    units: Vec<Vec<i64>>,
    capacity: &[i64],
) -> Vec<Vec<i64>> {
    let days = capacity.len();
    let mut working = vec![0; days + 1];
    for day in 0..days {
        working[day + 1] = working[day] + i64::from(capacity[day] > 0);
    }
    let loads = (0..days).map(|day| units.iter().map(|block| block[day]).sum()).collect();
    let furthest = units
        .iter()
        .zip(around)
        .map(|(block, around)| distance(block, *around) + MOST_MOVED * block.iter().sum::<i64>())
        .collect();
    let left = Cell::new(MOST_LOOKED_AT);
    let line = Line { demands, around, working, loads, furthest, left };
    let Some(mut order) = line.poured(in_order(&units)) else { return units };
    loop {
        let before = order.measure().0;
        for block in 0..demands.len() {
            if order.away[block] > 0 {
                order = line.with_less_torn(block, order);
            }
        }
        if order.measure().0 == before {
            return order.units;
        }
    }
}

/// Units x days from a day.
fn distance(block: &[i64], around: i64) -> i64 {
    block.iter().enumerate().map(|(day, units)| units * (day as i64 - around).abs()).sum()
}

/// The pieces day by day; on a day those first that are done soonest.
fn in_order(units: &[Vec<i64>]) -> Vec<Piece> {
    let days = units.first().map_or(0, Vec::len);
    let ends: Vec<_> = units
        .iter()
        .map(|block| {
            let on = |units: &i64| *units > 0;
            (block.iter().rposition(on), block.iter().position(on))
        })
        .collect();
    let mut pieces = Vec::new();
    for day in 0..days {
        let mut on: Vec<usize> = (0..units.len()).filter(|&j| units[j][day] > 0).collect();
        on.sort_by_key(|&j| (ends[j], j));
        pieces.extend(on.into_iter().map(|j| (j, units[j][day])));
    }
    merged(pieces)
}

/// Neighbouring pieces of one block as one.
fn merged(pieces: Vec<Piece>) -> Vec<Piece> {
    let mut whole: Vec<Piece> = Vec::with_capacity(pieces.len());
    for (block, units) in pieces {
        match whole.last_mut() {
            Some(last) if last.0 == block => last.1 += units,
            _ => whole.push((block, units)),
        }
    }
    whole
}

impl Line<'_> {
    /// The days that pieces fall on in this order; `None` where a window or the way from a block's day forbids it.
    fn poured(&self, pieces: Vec<Piece>) -> Option<Order> {
        // Of each order the days too, by block.
        let looked_at = pieces.len() + self.demands.len() * self.loads.len() / 8;
        self.left.set(self.left.get().checked_sub(looked_at)?);
        let blocks = self.demands.len();
        let mut units = vec![vec![0; self.loads.len()]; blocks];
        let (mut away, mut far) = (vec![0; blocks], vec![0; blocks]);
        let mut seen: Vec<Option<usize>> = vec![None; blocks];
        let mut cost = 0;
        let (mut day, mut room) = (0, self.loads.first().copied().unwrap_or_default());
        for &(block, mut left) in &pieces {
            let demand = &self.demands[block];
            while left > 0 {
                while room == 0 {
                    day += 1;
                    room = *self.loads.get(day)?;
                }
                if !(demand.window[0]..=demand.window[1]).contains(&day) {
                    return None;
                }
                let amount = left.min(room);
                if let Some(last) = seen[block].replace(day)
                    && last < day
                {
                    away[block] += self.working[day] - self.working[last + 1];
                }
                far[block] += amount * (day as i64 - self.around[block]).abs();
                units[block][day] += amount;
                (left, room) = (left - amount, room - amount);
            }
        }
        for (block, &far) in far.iter().enumerate() {
            if far > self.furthest[block] {
                return None;
            }
            cost += i128::from(self.demands[block].rate) * i128::from(far);
        }
        Some(Order { pieces, away, cost, units })
    }

    /// The best order that one move of a block's pieces gives; the one at hand where none is less torn.
    fn with_less_torn(&self, block: usize, order: Order) -> Order {
        let at: Vec<usize> =
            (0..order.pieces.len()).filter(|&k| order.pieces[k].0 == block).collect();
        let mut best = order.clone();
        let mut consider = |pieces: Vec<Piece>| {
            if let Some(found) = self.poured(merged(pieces))
                && found.measure().0 < order.measure().0
                && found.measure() < best.measure()
            {
                best = found;
            }
        };
        let without = |gone: &dyn Fn(usize) -> bool| -> Vec<Piece> {
            let kept = order.pieces.iter().enumerate().filter(|(k, _)| !gone(*k));
            kept.map(|(_, piece)| *piece).collect()
        };
        let whole = at.iter().map(|&k| order.pieces[k].1).sum();
        let rest = without(&|k| order.pieces[k].0 == block);
        for (before, &k) in at.iter().enumerate() {
            let mut pieces = rest.clone();
            pieces.insert(k - before, (block, whole));
            consider(pieces);
        }
        for pair in at.windows(2) {
            let &[first, second] = pair else { continue };
            // The later piece earlier, then the earlier piece later, past some or all that stand between.
            for place in first + 1..second {
                let mut pieces = without(&|k| k == second);
                pieces.insert(place, order.pieces[second]);
                consider(pieces);
                let mut pieces = without(&|k| k == first);
                pieces.insert(place, order.pieces[first]);
                consider(pieces);
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::flow::place;
    use proptest::prelude::*;

    /// Days with work of a block, by hand.
    fn days(units: &[i64]) -> Vec<usize> {
        (0..units.len()).filter(|&day| units[day] > 0).collect()
    }

    fn together(demands: &[Demand], capacity: &[i64]) -> Vec<Vec<i64>> {
        let order: Vec<usize> = (0..demands.len()).collect();
        let around: Vec<i64> = demands.iter().map(|demand| demand.start as i64).collect();
        let placed = place(demands, &order, capacity);
        keep_together(demands, &around, placed.units, capacity)
    }

    /// The dearer second block opens while the first is half done: it waits where its window lets it, and goes
    /// between where not.
    #[test]
    fn a_block_is_finished_before_the_next_where_windows_let_it() {
        let demand =
            |units, window: [usize; 2], rate| Demand { units, window, start: window[0], rate };
        let wide = [demand(4, [0, 9], 1), demand(2, [2, 9], 3)];
        let found = together(&wide, &[1; 10]);
        assert_eq!((days(&found[0]), days(&found[1])), (vec![0, 1, 2, 3], vec![4, 5]));
        let narrow = [demand(4, [0, 9], 1), demand(2, [2, 3], 3)];
        let found = together(&narrow, &[1; 10]);
        assert_eq!((days(&found[0]), days(&found[1])), (vec![0, 1, 4, 5], vec![2, 3]));
        // Eighteen days off its day are no price for a block in one piece.
        let long = [demand(20, [0, 39], 1), demand(2, [2, 39], 3)];
        let found = together(&long, &[1; 40]);
        assert_eq!(days(&found[1]), vec![2, 3]);
    }

    proptest! {
        #[test]
        fn nothing_but_the_order_changes(
            rough in prop::collection::vec((1_i64..=9, 0_usize..12, 0_usize..14, 0_usize..6, 1_i64..9), 1..7),
            capacity in prop::collection::vec(0_i64..=4, 14),
        ) {
            let demands: Vec<Demand> = rough
                .iter()
                .map(|&(units, from, length, start, rate)| {
                    let to = (from + length).min(13);
                    Demand { units, window: [from, to], start: (from + start).min(to), rate }
                })
                .collect();
            let order: Vec<usize> = (0..demands.len()).collect();
            let around: Vec<i64> = demands.iter().map(|demand| demand.start as i64).collect();
            let placed = place(&demands, &order, &capacity).units;
            let found = keep_together(&demands, &around, placed.clone(), &capacity);
            let away = |units: &[i64]| {
                let on = days(units);
                let ends = on.first().zip(on.last()).map(|(a, b)| *a..=*b);
                ends.map_or(0, |span| span.filter(|&day| units[day] == 0 && capacity[day] > 0).count())
            };
            let mut torn = [0, 0];
            for (j, demand) in demands.iter().enumerate() {
                prop_assert_eq!(placed[j].iter().sum::<i64>(), found[j].iter().sum::<i64>());
                prop_assert!(days(&found[j]).iter().all(|day| (demand.window[0]..=demand.window[1]).contains(day)));
                let moved = distance(&found[j], around[j]) - distance(&placed[j], around[j]);
                prop_assert!(moved <= MOST_MOVED * placed[j].iter().sum::<i64>());
                torn[0] += away(&placed[j]);
                torn[1] += away(&found[j]);
            }
            prop_assert!(torn[1] <= torn[0]);
            for day in 0..capacity.len() {
                let sum = |units: &[Vec<i64>]| units.iter().map(|block| block[day]).sum::<i64>();
                prop_assert_eq!(sum(&placed), sum(&found));
            }
        }
    }
}
