//! The simple rules that Anacurve is compared with: what a careful spreadsheet would say.

use model::Objective;

/// A tree-season as a spreadsheet sees it: intensity and kg.
pub type Seen = (f64, f64);

/// Width of an intensity class, and tree-seasons that it needs.
const CLASS_WIDTH: f64 = 0.10;
const LEAST_IN_CLASS: usize = 5;
/// Step of the search for the top of a parabola.
const STEP: f64 = 0.001;

/// Mean intensity of the class, unpruned or a tenth of the canopy wide, with the highest mean net
/// return among those with enough tree-seasons; `None` when none has.
pub fn best_class(seen: &[Seen], objective: Objective) -> Option<f64> {
    let class_of = |intensity: f64| {
        if intensity < model::UNPRUNED_BELOW {
            0
        } else {
            (intensity / CLASS_WIDTH - 1e-9).floor() as usize + 1
        }
    };
    let last = seen.iter().map(|&(intensity, _)| class_of(intensity)).max()?;
    (0..=last)
        .filter_map(|class| {
            let members: Vec<&Seen> = seen.iter().filter(|s| class_of(s.0) == class).collect();
            let n = members.len() as f64;
            let intensity = members.iter().map(|s| s.0).sum::<f64>() / n;
            let net = members.iter().map(|s| objective.net(s.1, s.0)).sum::<f64>() / n;
            (members.len() >= LEAST_IN_CLASS).then_some((intensity, net))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(intensity, _)| intensity)
}

/// Intensity of the highest net return of the least-squares parabola of kg on intensity over a
/// tested range; a straight line where only two intensities occur, `None` where only one does.
pub fn quadratic(seen: &[Seen], [low, high]: [f64; 2], objective: Objective) -> Option<f64> {
    let [a, b, c] = parabola(seen)?;
    let steps = ((high - low) / STEP).ceil().max(1.0) as u32;
    (0..=steps)
        .map(|k| (low + STEP * f64::from(k)).min(high))
        .map(|i| (i, objective.net((c * i + b) * i + a, i)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(intensity, _)| intensity)
}

/// Least squares of y on 1, x and x^2 about the mean of x: by orthogonal polynomials, so that a
/// constant column shows as a zero sum of squares.
fn parabola(seen: &[Seen]) -> Option<[f64; 3]> {
    let n = seen.len() as f64;
    let mean =
        |value: &dyn Fn(f64, f64) -> f64| seen.iter().map(|&(x, y)| value(x, y)).sum::<f64>() / n;
    let (mx, my) = (mean(&|x, _| x), mean(&|_, y| y));
    let s2 = mean(&|x, _| (x - mx).powi(2));
    if s2.is_nan() || s2 <= 1e-9 {
        return None;
    }
    // Second orthogonal polynomial: d^2 - s2 - (m3 / s2) d with d = x - mean.
    let skew = mean(&|x, _| (x - mx).powi(3)) / s2;
    let second = |x: f64| {
        let d = x - mx;
        d * d - s2 - skew * d
    };
    let slope = mean(&|x, y| (x - mx) * y) / s2;
    let size = mean(&|x, _| second(x).powi(2));
    let bend = if size > 1e-12 { mean(&|x, y| second(x) * y) / size } else { 0.0 };
    let linear = slope - bend * skew;
    // my + linear d + bend (d^2 - s2), written in powers of x.
    Some([my - linear * mx + bend * (mx * mx - s2), linear - 2.0 * bend * mx, bend])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Witness: trade.md E12b, means 5.35, 6.675, 6.975 at 0, 1.5, 3; curvature -0.2277778, top at
    /// 2.68902, economic dose 2.34408 at price ratio 440 / 2800.
    #[test]
    fn the_published_parabola_comes_back() {
        let seen = [(0.0, 5.35), (1.5, 6.675), (3.0, 6.975), (0.0, 5.35)];
        let [a, _, c] = parabola(&seen).unwrap();
        assert!((a - 5.35).abs() < 1e-9 && (c + 0.227_777_8).abs() < 1e-7, "{a} {c}");
        let top = quadratic(&seen, [0.0, 3.0], Objective::YIELD).unwrap();
        assert!((top - 2.68902).abs() <= STEP, "{top}");
        let objective =
            Objective { price_per_kg: 2800.0, cost_per_pruned_tree: 0.0, cost_full_canopy: 440.0 };
        let dose = quadratic(&seen, [0.0, 3.0], objective).unwrap();
        assert!((dose - 2.34408).abs() <= STEP, "{dose}");
    }

    #[test]
    fn two_intensities_give_a_line_and_one_gives_nothing() {
        let seen = [(0.0, 1.0), (0.2, 2.0), (0.2, 2.2)];
        assert_eq!(quadratic(&seen, [0.0, 0.2], Objective::YIELD), Some(0.2));
        assert_eq!(quadratic(&seen[..1], [0.0, 0.2], Objective::YIELD), None);
    }

    #[test]
    fn small_classes_do_not_count() {
        let mut seen = vec![(0.0, 5.0); 6];
        seen.extend([(0.15, 6.0); 5]);
        seen.extend([(0.45, 9.0); 4]);
        let best = best_class(&seen, Objective::YIELD).unwrap();
        assert!((best - 0.15).abs() < 1e-12);
        let dear = Objective { cost_per_pruned_tree: 2.0, ..Objective::YIELD };
        assert_eq!(best_class(&seen, dear), Some(0.0));
    }
}
