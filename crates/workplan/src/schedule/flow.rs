//! Work placed on days at least cost, exactly, in whole units.

/// One block's demand.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Demand {
    /// Units of work.
    pub(super) units: i64,
    /// First and last day index, both included.
    pub(super) window: [usize; 2],
    /// Day index from which delay counts.
    pub(super) start: usize,
    /// Cost of a unit per day of delay.
    pub(super) rate: i64,
}

/// A day before the start costs as much as so many of delay, more than any window has: such days are for
/// what the others cannot hold, and blocks follow each other from the start on.
const EARLY: i64 = 2000;

impl Demand {
    /// Cost of a unit on a day.
    fn cost(&self, day: usize) -> i64 {
        let delay = day as i64 - self.start as i64;
        self.rate * if delay < 0 { -EARLY * delay } else { delay }
    }
}

/// Units placed of each demand on each day.
#[derive(Debug, Clone)]
pub(super) struct Placement {
    /// Per demand, units by day.
    pub(super) units: Vec<Vec<i64>>,
    /// Per demand, units that no day could take.
    pub(super) left: Vec<i64>,
}

/// Places demands one after the other, each along cheapest augmenting paths (successive shortest
/// paths: Ahuja, Magnanti and Orlin, 1993, Network Flows, section 9.7). Among all placements of what
/// is placed, the cost is least. What an earlier demand has got, a later one
/// never takes away (the placeable units form a matroid), so demands in order of falling value
/// leave out the least value (Edmonds, 1971, Math. Program. 1:127-136).
pub(super) fn place(demands: &[Demand], order: &[usize], capacity: &[i64]) -> Placement {
    let days = capacity.len();
    let mut state = State {
        demands,
        units: vec![vec![0; days]; demands.len()],
        on_day: vec![Vec::new(); days],
        cheapest_move: vec![Vec::new(); days],
        stale: vec![true; days],
        free: capacity.to_vec(),
    };
    let mut left = vec![0; demands.len()];
    for &demand in order {
        left[demand] = demands[demand].units;
        while left[demand] > 0 {
            let Some(path) = state.cheapest(demand) else { break };
            left[demand] -= state.push(&path, demand, left[demand]);
        }
    }
    Placement { units: state.units, left }
}

struct State<'a> {
    demands: &'a [Demand],
    units: Vec<Vec<i64>>,
    /// Demands with units on a day.
    on_day: Vec<Vec<usize>>,
    /// By day and target, what it costs to move a unit there from that day, and the demand whose
    /// units cost least, the one longest on the day among equals; kept so that a search looks at
    /// pairs of days and not at every demand.
    cheapest_move: Vec<Vec<Option<(i64, usize)>>>,
    /// Days whose moves are to be found anew, because demands came or went.
    stale: Vec<bool>,
    free: Vec<i64>,
}

/// The free day at the end, and the moves that lead there: (from day, to day, demand moved), last first.
struct Path {
    first: usize,
    last: usize,
    moves: Vec<(usize, usize, usize)>,
}

impl State<'_> {
    /// Finds the moves of days that demands came to or left.
    fn refresh(&mut self) {
        let days = self.free.len();
        for day in (0..days).filter(|&day| self.stale[day]) {
            let mut moves = vec![None; days];
            for &other in &self.on_day[day] {
                let demand = &self.demands[other];
                let [from, to] = demand.window;
                for (target, best) in moves.iter_mut().enumerate().take(to + 1).skip(from) {
                    let cost = demand.cost(target) - demand.cost(day);
                    if best.is_none_or(|(least, _)| cost < least) {
                        *best = Some((cost, other));
                    }
                }
            }
            self.cheapest_move[day] = moves;
        }
        self.stale.fill(false);
    }

    fn cheapest(&mut self, demand: usize) -> Option<Path> {
        self.refresh();
        let days = self.free.len();
        let own = &self.demands[demand];
        let [from, to] = own.window;
        let mut cost = vec![i64::MAX; days];
        let mut came: Vec<Option<(usize, usize)>> = vec![None; days];
        let mut changed: Vec<usize> = (from..=to).collect();
        for &day in &changed {
            cost[day] = own.cost(day);
        }
        // Without negative cycles no day is improved more often than there are days.
        for _ in 0..=days {
            let mut next = vec![false; days];
            for &day in &changed {
                for (target, best) in self.cheapest_move[day].iter().enumerate() {
                    let Some((step, other)) = *best else { continue };
                    let moved = cost[day] + step;
                    if moved < cost[target] {
                        cost[target] = moved;
                        came[target] = Some((day, other));
                        next[target] = true;
                    }
                }
            }
            changed = (0..days).filter(|&day| next[day]).collect();
            if changed.is_empty() {
                break;
            }
        }
        let last = (0..days)
            .filter(|&day| self.free[day] > 0 && cost[day] < i64::MAX)
            .min_by_key(|&day| (cost[day], day))?;
        let mut moves = Vec::new();
        let mut first = last;
        while let Some((day, other)) = came[first] {
            moves.push((day, first, other));
            first = day;
        }
        Some(Path { first, last, moves })
    }

    /// Sends as much as fits along a path; returns the units.
    fn push(&mut self, path: &Path, demand: usize, most: i64) -> i64 {
        let along = path.moves.iter().map(|&(from, _, other)| self.units[other][from]);
        let amount = along.fold(most.min(self.free[path.last]), i64::min);
        self.free[path.last] -= amount;
        for &(from, to, other) in &path.moves {
            self.change(other, from, -amount);
            self.change(other, to, amount);
        }
        self.change(demand, path.first, amount);
        amount
    }

    fn change(&mut self, demand: usize, day: usize, amount: i64) {
        let units = &mut self.units[demand][day];
        let before = *units;
        *units += amount;
        match (before, *units) {
            (0, 1..) => {
                self.on_day[day].push(demand);
                self.stale[day] = true;
            }
            (1.., 0) => {
                self.on_day[day].retain(|&other| other != demand);
                self.stale[day] = true;
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every way to put each unit on a day or to leave it: (value placed, -delay) at its best.
    fn brute_force(units: &[(usize, &Demand, i64)], capacity: &mut [i64]) -> (i64, i64) {
        let Some(((_, demand, value), rest)) = units.split_first() else { return (0, 0) };
        let mut best = brute_force(rest, capacity);
        for day in demand.window[0]..=demand.window[1] {
            if capacity[day] > 0 {
                capacity[day] -= 1;
                let (sum, delay) = brute_force(rest, capacity);
                best = best.max((sum + value, delay - demand.cost(day)));
                capacity[day] += 1;
            }
        }
        best
    }

    proptest! {
        #[test]
        fn nothing_beats_the_placement(
            rough in prop::collection::vec((1_i64..=2, 0_usize..5, 0_usize..4, 0_usize..4, 1_i64..9), 1..5),
            capacity in prop::collection::vec(0_i64..=2, 5),
        ) {
            let demands: Vec<Demand> = rough
                .iter()
                .map(|&(units, from, length, start, rate)| {
                    let to = (from + length).min(4);
                    Demand { units, window: [from, to], start: (from + start).min(to), rate }
                })
                .collect();
            // Values that no other set of units can add up to.
            let value = |j: usize| 3_i64.pow(j as u32);
            let order: Vec<usize> = (0..demands.len()).rev().collect();
            let placed = place(&demands, &order, &capacity);
            let units: Vec<(usize, &Demand, i64)> = demands
                .iter()
                .enumerate()
                .flat_map(|(j, d)| (0..d.units).map(move |_| (j, d, value(j))))
                .collect();
            let (sum, delay) = brute_force(&units, &mut capacity.clone());
            let mut mine = (0, 0);
            for (j, demand) in demands.iter().enumerate() {
                let on: i64 = placed.units[j].iter().sum();
                prop_assert_eq!(on + placed.left[j], demand.units);
                mine.0 += on * value(j);
                for (day, &units) in placed.units[j].iter().enumerate() {
                    prop_assert!(units >= 0);
                    prop_assert!(units == 0 || (demand.window[0]..=demand.window[1]).contains(&day));
                    mine.1 -= units * demand.cost(day);
                }
            }
            for (day, &most) in capacity.iter().enumerate() {
                prop_assert!(placed.units.iter().map(|units| units[day]).sum::<i64>() <= most);
            }
            prop_assert_eq!(mine, (sum, delay));
        }
    }

    /// Highest rate first is not best with deadlines: it would give 304, the optimum is 207.
    #[test]
    fn windows_defeat_highest_rate_first() {
        let demand = |rate, window| Demand { units: 1, window, start: 0, rate };
        let demands = [demand(2, [1, 3]), demand(1, [1, 2]), demand(100, [2, 3])];
        let placed = place(&demands, &[2, 0, 1], &[0, 1, 1, 1]);
        let cost: i64 = (0..3)
            .map(|j| (0..4).map(|t| demands[j].rate * t * placed.units[j][t as usize]).sum::<i64>())
            .sum();
        assert_eq!(cost, 207);
    }
}
