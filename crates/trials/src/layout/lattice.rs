//! Square and rectangular lattices.

use super::blocks_of_treatments::Blocks;
use super::galois::Galois;

/// Square lattice of k^2 treatments (Yates 1936): rows, columns and the letters of mutually
/// orthogonal Latin squares of a k x k array are the blocks of successive replicates. Two
/// replicates for every k, three for every k by a cyclic square, up to k + 1 when k is a prime
/// power; `None` beyond.
pub(super) fn square(k: usize, replicates: usize) -> Option<Blocks> {
    let field = Galois::of_order(k);
    let most = if field.is_some() { k + 1 } else { 3 };
    if replicates > most {
        return None;
    }
    let block = |replicate: usize, row: usize, column: usize| match (replicate, field) {
        (0, _) => row,
        (1, _) => column,
        (_, Some(field)) => field.add(field.multiply(replicate - 1, row), column),
        (_, None) => (row + column) % k,
    };
    Some(gather(
        k,
        replicates,
        |cell| Some(block(cell.0, cell.1, cell.2)),
        |row, column| Some(row * k + column),
    ))
}

/// Rectangular lattice of s (s - 1) treatments in blocks of s - 1 (Harshbarger 1947): the cells off
/// the diagonal of an s x s array; blocks are rows, columns and the letters of Latin squares whose
/// diagonal holds every letter once. Two replicates for every s, three for odd s, up to s when s
/// is a prime power; `None` beyond.
pub(super) fn rectangular(s: usize, replicates: usize) -> Option<Blocks> {
    let field = Galois::of_order(s);
    let most = if field.is_some() {
        s
    } else if !s.is_multiple_of(2) {
        3
    } else {
        2
    };
    if replicates > most || s < 3 {
        return None;
    }
    // Half of a sum modulo an odd s: letters of an idempotent square.
    let half = s.div_ceil(2);
    let block = |replicate: usize, row: usize, column: usize| match (replicate, field) {
        (0, _) => row,
        (1, _) => column,
        // a i + (1 - a) j with a neither 0 nor 1: diagonal cell (i, i) has letter i.
        (_, Some(field)) => field.add(
            field.multiply(replicate, row),
            field.multiply(field.subtract(1, replicate), column),
        ),
        (_, None) => (row + column) * half % s,
    };
    Some(gather(
        s,
        replicates,
        |(replicate, row, column)| (row != column).then(|| block(replicate, row, column)),
        |row, column| {
            (row != column).then(|| row * (s - 1) + if column > row { column - 1 } else { column })
        },
    ))
}

fn gather(
    s: usize,
    replicates: usize,
    block: impl Fn((usize, usize, usize)) -> Option<usize>,
    treatment: impl Fn(usize, usize) -> Option<usize>,
) -> Blocks {
    (0..replicates)
        .map(|replicate| {
            let mut blocks = vec![Vec::new(); s];
            for row in 0..s {
                for column in 0..s {
                    if let (Some(block), Some(treatment)) =
                        (block((replicate, row, column)), treatment(row, column))
                    {
                        blocks[block].push(treatment);
                    }
                }
            }
            blocks
        })
        .collect()
}
