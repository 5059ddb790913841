//! Alpha designs (Patterson and Williams 1976, Biometrika 63:83-92).

use super::blocks_of_treatments::{Blocks, efficiency};
use super::draw::Draw;

/// Rows of generating arrays tried before more concurrences are allowed.
const TRIES: usize = 400;

/// An alpha design of `v` treatments in blocks of `k` and `k - 1` plots, the best of many arrays.
/// Treatment `s i + j` stands in row i; in replicate c it is in block (j + a[i][c]) mod s. Two
/// treatments of rows i and i' meet as often as one difference a[i][c] - a[i'][c] occurs among
/// replicates. Differences are all distinct where k <= s and r <= s allow it (concurrences 0 and
/// 1), else as few times equal as the search finds. Short blocks come from leaving out treatments
/// of the last row, which stand in different blocks of every replicate.
pub(super) fn alpha(v: usize, k: usize, replicates: usize, draw: &mut Draw) -> Blocks {
    let s = v.div_ceil(k);
    let candidates = (4_000_000 / v.pow(3).max(1)).clamp(5, 50);
    let mut best: Option<(f64, Blocks)> = None;
    for most in 1..=replicates {
        for _ in 0..candidates {
            let Some(array) = generating_array(s, k, replicates, most, draw) else { continue };
            let blocks = develop(&array, v, s);
            let score = efficiency(&blocks, v).map_or(0.0, |efficiency| efficiency.average);
            if best.as_ref().is_none_or(|(old, _)| score > *old) {
                best = Some((score, blocks));
            }
        }
        // A design that leaves contrasts without information scores 0: allow more concurrences.
        if best.as_ref().is_some_and(|(score, _)| *score > 0.0) {
            break;
        }
    }
    best.map(|(_, blocks)| blocks).unwrap_or_default()
}

/// Rows of the array, found one by one; first row and first column are 0.
fn generating_array(
    s: usize,
    k: usize,
    replicates: usize,
    most: usize,
    draw: &mut Draw,
) -> Option<Vec<Vec<usize>>> {
    let mut rows = vec![vec![0; replicates]];
    let mut tries = TRIES;
    while rows.len() < k {
        match row(&rows, s, replicates, most, draw) {
            Some(row) => rows.push(row),
            None if tries == 0 => return None,
            None => {
                // Back to a shorter array: an early row may have closed the way.
                tries -= 1;
                let keep = 1 + draw.index(rows.len());
                rows.truncate(keep);
            }
        }
    }
    Some(rows)
}

/// One more row whose differences from every row before occur `most` times or fewer.
fn row(
    rows: &[Vec<usize>],
    s: usize,
    replicates: usize,
    most: usize,
    draw: &mut Draw,
) -> Option<Vec<usize>> {
    let mut seen = vec![vec![0_usize; s]; rows.len()];
    for seen in &mut seen {
        seen[0] = 1;
    }
    let mut row = vec![0];
    for column in 1..replicates {
        let entry = draw.permutation(s).into_iter().find(|entry| {
            rows.iter().zip(&seen).all(|(other, seen)| seen[(entry + s - other[column]) % s] < most)
        })?;
        for (other, seen) in rows.iter().zip(&mut seen) {
            seen[(entry + s - other[column]) % s] += 1;
        }
        row.push(entry);
    }
    Some(row)
}

fn develop(array: &[Vec<usize>], v: usize, s: usize) -> Blocks {
    let replicates = array.first().map_or(0, Vec::len);
    (0..replicates)
        .map(|replicate| {
            let mut blocks = vec![Vec::new(); s];
            for (i, row) in array.iter().enumerate() {
                for j in (0..s).filter(|j| s * i + j < v) {
                    blocks[(j + row[replicate]) % s].push(s * i + j);
                }
            }
            blocks
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: every generating array of the size, by counting through all entries.
    #[test]
    fn the_search_finds_the_best_array_of_small_sizes() {
        for (v, k, r) in [(15_usize, 3_usize, 3), (12, 3, 2), (20, 4, 2), (14, 3, 3), (12, 4, 3)] {
            let s = v.div_ceil(k);
            let free = (k - 1) * (r - 1);
            let mut best = 0.0_f64;
            for code in 0..s.pow(free as u32) {
                let mut rest = code;
                let mut array = vec![vec![0; r]; k];
                for row in array.iter_mut().skip(1) {
                    for entry in row.iter_mut().skip(1) {
                        *entry = rest % s;
                        rest /= s;
                    }
                }
                let found = efficiency(&develop(&array, v, s), v).map_or(0.0, |e| e.average);
                best = best.max(found);
            }
            let blocks = alpha(v, k, r, &mut Draw::stream(3, 0));
            let found = efficiency(&blocks, v).unwrap().average;
            println!("v {v} k {k} r {r}: best {best:.6}, found {found:.6}");
            assert!((found - best).abs() < 1e-9, "{v} {k} {r}: {found} {best}");
        }
    }
}
