//! Indices of groupings: silhouette and adjusted Rand.

use super::k_means::distance2;

/// Mean silhouette and that of each point, Euclidean distances: (b - a) / max(a, b) with a the mean
/// distance to the own group and b the least mean distance to another; 0 for a group of one
/// (Rousseeuw 1987, J. Comput. Appl. Math. 20:53-65). `None` for fewer than two groups.
#[must_use]
pub fn silhouette(points: &[Vec<f64>], codes: &[usize]) -> Option<(f64, Vec<f64>)> {
    let groups = codes.iter().max()? + 1;
    let mut sizes = vec![0_usize; groups];
    codes.iter().for_each(|&code| sizes[code] += 1);
    if sizes.iter().filter(|size| **size > 0).count() < 2 {
        return None;
    }
    let widths: Vec<f64> = points
        .iter()
        .zip(codes)
        .map(|(point, &own)| {
            let mut sums = vec![0.0; groups];
            for (other, &code) in points.iter().zip(codes) {
                sums[code] += distance2(point, other).sqrt();
            }
            if sizes[own] < 2 {
                return 0.0;
            }
            let a = sums[own] / (sizes[own] - 1) as f64;
            let b = (0..groups)
                .filter(|&code| code != own && sizes[code] > 0)
                .map(|code| sums[code] / sizes[code] as f64)
                .fold(f64::INFINITY, f64::min);
            if a.max(b) > 0.0 { (b - a) / a.max(b) } else { 0.0 }
        })
        .collect();
    Some((widths.iter().sum::<f64>() / widths.len() as f64, widths))
}

/// Adjusted Rand index of two groupings of the same points (Hubert and Arabie 1985, J. Classif.
/// 2:193-218): 1 when they agree, 0 on average by chance.
#[must_use]
pub fn adjusted_rand_index(a: &[usize], b: &[usize]) -> f64 {
    let table = cross(a, b);
    let pairs = |n: f64| n * (n - 1.0) / 2.0;
    let rows: f64 = table.iter().map(|row| pairs(row.iter().sum())).sum();
    let columns: f64 = (0..table.first().map_or(0, Vec::len))
        .map(|j| pairs(table.iter().map(|row| row[j]).sum()))
        .sum();
    let cells: f64 = table.iter().flatten().map(|n| pairs(*n)).sum();
    let expected = rows * columns / pairs(a.len() as f64);
    let most = 0.5 * (rows + columns);
    if most == expected { 1.0 } else { (cells - expected) / (most - expected) }
}

/// For each group of the first grouping the group of the second that holds most of its points.
pub(super) fn usual_partner(a: &[usize], b: &[usize], groups: usize) -> Vec<usize> {
    let table = cross(a, b);
    (0..groups)
        .map(|group| {
            let mut best = (0, -1.0);
            for (other, &n) in table.get(group).into_iter().flatten().enumerate() {
                if n > best.1 {
                    best = (other, n);
                }
            }
            best.0
        })
        .collect()
}

fn cross(a: &[usize], b: &[usize]) -> Vec<Vec<f64>> {
    let size = |codes: &[usize]| codes.iter().max().map_or(0, |most| most + 1);
    let mut table = vec![vec![0.0; size(b)]; size(a)];
    a.iter().zip(b).for_each(|(&i, &j)| table[i][j] += 1.0);
    table
}
