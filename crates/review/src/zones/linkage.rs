//! Average linkage, the check on k-means.

use super::k_means::{distance2, renumbered};

/// Groups by average linkage (Sokal and Michener 1958) of Euclidean distances, cut at a number of
/// groups: nearest-neighbour chains (Murtagh 1983, Comput. J. 26:354-359), which find the same
/// merges as the search for the nearest pair because average linkage never brings a merged group
/// nearer to another than its parts were.
#[must_use]
pub fn average_linkage(points: &[Vec<f64>], groups: usize) -> Vec<usize> {
    let n = points.len();
    let mut distances: Vec<Vec<f64>> =
        points.iter().map(|a| points.iter().map(|b| distance2(a, b).sqrt()).collect()).collect();
    let mut sizes = vec![1.0; n];
    let mut active = vec![true; n];
    let mut merges: Vec<(f64, usize, usize)> = Vec::new();
    let mut chain: Vec<usize> = Vec::new();
    while merges.len() + 1 < n {
        if chain.is_empty() {
            chain.extend((0..n).find(|&i| active[i]));
        }
        let Some(&last) = chain.last() else { break };
        // The one before in the chain wins ties, so that chains end.
        let before = chain.len().checked_sub(2).map(|place| chain[place]);
        let mut nearest = before.map(|i| (i, distances[last][i]));
        for i in (0..n).filter(|&i| active[i] && i != last) {
            if nearest.is_none_or(|(_, least)| distances[last][i] < least) {
                nearest = Some((i, distances[last][i]));
            }
        }
        let Some((next, height)) = nearest else { break };
        if Some(next) != before {
            chain.push(next);
            continue;
        }
        chain.truncate(chain.len() - 2);
        let (keep, gone) = (last.min(next), last.max(next));
        let total = sizes[keep] + sizes[gone];
        for i in (0..n).filter(|&i| active[i] && i != keep && i != gone) {
            let mean =
                (sizes[keep] * distances[keep][i] + sizes[gone] * distances[gone][i]) / total;
            distances[keep][i] = mean;
            distances[i][keep] = mean;
        }
        sizes[keep] = total;
        active[gone] = false;
        merges.push((height, keep, gone));
    }
    merges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut parent: Vec<usize> = (0..n).collect();
    for &(_, a, b) in merges.iter().take(n.saturating_sub(groups.max(1))) {
        let (a, b) = (root(&parent, a), root(&parent, b));
        parent[a.max(b)] = a.min(b);
    }
    renumbered(&(0..n).map(|i| root(&parent, i)).collect::<Vec<_>>())
}

fn root(parent: &[usize], mut i: usize) -> usize {
    while parent[i] != i {
        i = parent[i];
    }
    i
}
