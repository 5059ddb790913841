//! Loadings whose products are the correlations of comparisons with one control.

/// Largest loading: at 1 a comparison would be the control's error alone.
const LARGEST: f64 = 0.9999;

/// Loadings l with l_i l_j as near as can be (least squares over i < j) to the correlations, and
/// the largest deviation left. Exact when the means are independent, as in complete blocks; Hsu
/// (1992, J. Comput. Graph. Stat. 1:151-168) uses the approximation where they are not.
/// `correlation(i, j)` is asked for i != j below `count`.
pub(super) fn product_loadings(
    count: usize,
    correlation: impl Fn(usize, usize) -> f64,
) -> (Vec<f64>, f64) {
    let pairs = || (0..count).flat_map(move |i| (0..i).map(move |j| (i, j)));
    if count < 2 {
        return (vec![0.0; count], 0.0);
    }
    let mean =
        pairs().map(|(i, j)| correlation(i, j)).sum::<f64>() / (count * (count - 1) / 2) as f64;
    let mut loadings = vec![mean.clamp(0.01, LARGEST).sqrt(); count];
    for _ in 0..2000 {
        let mut moved = 0.0_f64;
        for i in 0..count {
            let others = || loadings.iter().enumerate().filter(|(j, _)| *j != i);
            let squares: f64 = others().map(|(_, l)| l * l).sum();
            let products: f64 = others().map(|(j, l)| l * correlation(i, j)).sum();
            if squares <= 0.0 {
                continue;
            }
            let next = (products / squares).clamp(0.0, LARGEST);
            if let Some(loading) = loadings.get_mut(i) {
                moved = moved.max((next - *loading).abs());
                *loading = next;
            }
        }
        if moved < 1e-14 {
            break;
        }
    }
    let deviation = pairs()
        .filter_map(|(i, j)| {
            let (a, b) = (loadings.get(i)?, loadings.get(j)?);
            Some((correlation(i, j) - a * b).abs())
        })
        .fold(0.0, f64::max);
    (loadings, deviation)
}

#[cfg(test)]
mod tests {
    use super::product_loadings;

    #[test]
    fn products_are_recovered() {
        for truth in [vec![0.7, 0.7, 0.7], vec![0.3, 0.8, 0.5, 0.65], vec![0.9, 0.2]] {
            let (found, deviation) = product_loadings(truth.len(), |i, j| truth[i] * truth[j]);
            assert!(deviation < 1e-10, "{found:?} {deviation:e}");
        }
    }

    #[test]
    fn a_deviation_is_reported() {
        let r = [[1.0, 0.5, 0.0], [0.5, 1.0, 0.5], [0.0, 0.5, 1.0]];
        let (_, deviation) = product_loadings(3, |i, j| r[i][j]);
        assert!(deviation > 0.05);
    }
}
