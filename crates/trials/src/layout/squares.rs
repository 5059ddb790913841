//! Random Latin squares.

use super::draw::Draw;
use serde::{Deserialize, Serialize};

/// How a Latin square was drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LatinMethod {
    /// Exactly uniform: a reduced square drawn from the list of all, its columns and all rows but
    /// the first put in random order. Every square of the order is equally likely, because each is
    /// made in exactly one way (Fisher and Yates 1934).
    Uniform,
    /// Jacobson and Matthews (1996), Journal of Combinatorial Designs 4:405-437: a chain whose
    /// limit is uniform, run for the cube of the order visits to proper squares.
    Chain,
}

/// Largest order whose reduced squares are listed: 9408 of order 6.
const LISTED: usize = 6;

/// A source of random Latin squares of one order.
#[derive(Debug, Clone)]
pub struct LatinSquares {
    order: usize,
    reduced: Vec<Vec<u8>>,
}

impl LatinSquares {
    /// Squares of an order, 1 or more.
    #[must_use]
    pub fn of_order(order: usize) -> Self {
        let mut reduced = Vec::new();
        if order <= LISTED {
            let mut square = vec![0_u8; order * order];
            fill(order, 0, &mut square, &mut reduced);
        }
        Self { order, reduced }
    }

    pub(super) fn order(&self) -> usize {
        self.order
    }

    /// How squares are drawn.
    #[must_use]
    pub fn method(&self) -> LatinMethod {
        if self.reduced.is_empty() { LatinMethod::Chain } else { LatinMethod::Uniform }
    }

    /// A square row by row, symbols from 0, drawn with a seed.
    #[must_use]
    pub fn square(&self, seed: u64) -> Vec<usize> {
        self.draw(&mut Draw::stream(seed, 0))
    }

    pub(super) fn draw(&self, draw: &mut Draw) -> Vec<usize> {
        let n = self.order;
        if self.reduced.is_empty() {
            return chain(n, n * n * n, draw);
        }
        let reduced = &self.reduced[draw.index(self.reduced.len())];
        let columns = draw.permutation(n);
        let mut rows = vec![0];
        rows.extend(draw.permutation(n - 1).into_iter().map(|row| row + 1));
        rows.iter()
            .flat_map(|row| {
                columns.iter().map(move |column| usize::from(reduced[row * n + column]))
            })
            .collect()
    }
}

/// All squares with first row and first column in order, by depth-first search.
fn fill(n: usize, at: usize, square: &mut Vec<u8>, found: &mut Vec<Vec<u8>>) {
    if at == n * n {
        found.push(square.clone());
        return;
    }
    let (row, column) = (at / n, at % n);
    for symbol in 0..n as u8 {
        let fixed =
            row == 0 && usize::from(symbol) != column || column == 0 && usize::from(symbol) != row;
        let repeated = (0..column).any(|other| square[row * n + other] == symbol)
            || (0..row).any(|other| square[other * n + column] == symbol);
        if !fixed && !repeated {
            square[at] = symbol;
            fill(n, at + 1, square, found);
        }
    }
}

/// Incidence cube of rows x columns x symbols; while improper, one entry is -1.
struct Cube {
    n: usize,
    entries: Vec<i8>,
}

impl Cube {
    fn at(&mut self, [x, y, z]: [usize; 3]) -> &mut i8 {
        &mut self.entries[(x * self.n + y) * self.n + z]
    }

    /// The positions of ones on the line through a cell along an axis.
    fn ones(&mut self, cell: [usize; 3], axis: usize) -> Vec<usize> {
        (0..self.n)
            .filter(|&value| {
                let mut other = cell;
                other[axis] = value;
                *self.at(other) == 1
            })
            .collect()
    }
}

fn chain(n: usize, least: usize, draw: &mut Draw) -> Vec<usize> {
    let mut cube = Cube { n, entries: vec![0; n * n * n] };
    for row in 0..n {
        for column in 0..n {
            *cube.at([row, column, (row + column) % n]) = 1;
        }
    }
    let mut improper: Option<[usize; 3]> = None;
    // Moves count by proper squares visited: those visits are what is uniform in the limit. To stop
    // at the first proper square after a time would favour squares next to many improper ones.
    let mut visits = 0;
    while visits < least {
        let cell = match improper {
            Some(cell) => cell,
            None => loop {
                let cell = [draw.index(n), draw.index(n), draw.index(n)];
                if *cube.at(cell) == 0 {
                    break cell;
                }
            },
        };
        let other: [usize; 3] = std::array::from_fn(|axis| {
            let ones = cube.ones(cell, axis);
            ones[draw.index(ones.len())]
        });
        for corner in 0_usize..8 {
            let place: [usize; 3] =
                std::array::from_fn(
                    |axis| {
                        if corner >> axis & 1 == 1 { other[axis] } else { cell[axis] }
                    },
                );
            *cube.at(place) += if corner.count_ones().is_multiple_of(2) { 1 } else { -1 };
        }
        improper = (*cube.at(other) < 0).then_some(other);
        visits += usize::from(improper.is_none());
    }
    let mut square = Vec::with_capacity(n * n);
    for row in 0..n {
        for column in 0..n {
            square.extend(cube.ones([row, column, 0], 2));
        }
    }
    square
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared, ContinuousCDF};
    use std::collections::BTreeMap;

    /// Witness: 12 and 576 squares (OEIS A002860), equally often by chi-squared. Orders this small
    /// are never drawn by the chain; they are the ones where every square can be counted. Runs of
    /// the chain end soon at these orders, so it is run for as long as order 6 would take.
    #[test]
    fn the_chain_reaches_all_squares_equally() {
        for (order, number, draws) in [(3, 12, 1200), (4, 576, 6000)] {
            let mut draw = Draw::stream(11, 0);
            let mut counts: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
            for _ in 0..draws {
                *counts.entry(chain(order, 216, &mut draw)).or_default() += 1;
            }
            assert_eq!(counts.len(), number);
            let expected = draws as f64 / number as f64;
            let statistic: f64 =
                counts.values().map(|&c| (c as f64 - expected).powi(2) / expected).sum();
            let p = ChiSquared::new(number as f64 - 1.0).unwrap().sf(statistic);
            assert!(p > 1e-3, "order {order}: {statistic}");
        }
    }
}
