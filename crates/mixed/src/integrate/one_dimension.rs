//! Gauss-Legendre panels in t for one parameter, theta = t / (1 - t).

use super::nodes::{LogPosterior, Node, Rule};

/// Log posterior below its top at which a panel is the last one.
const DROP: f64 = 40.0;

/// Panels grow by this factor away from the mode.
const GROWTH: f64 = 2.0;

/// Places panels around the mode until the density has vanished or the end of
/// the range is reached; `start` is a guess of x.
pub(crate) fn rule(target: &LogPosterior<'_>, start: f64, panel_nodes: usize) -> Rule {
    // Density in t, Jacobian included.
    let density = |t: f64| -> f64 {
        let (x, jacobian) = (t / (1.0 - t), -2.0 * (1.0 - t).ln());
        target.parts(&[x]).map_or(f64::NEG_INFINITY, |(l, p)| l + p + jacobian)
    };
    let (mode, spread) = peak(&density, start / (1.0 + start));
    let top = density(mode);
    let (abscissae, gauss) = legendre(panel_nodes);
    let mut rule = Rule { nodes: Vec::new(), edge: Vec::new() };
    for direction in [-1.0, 1.0] {
        let (mut from, mut width) = (mode, 3.0 * spread);
        loop {
            let to = (from + direction * width).clamp(0.0, 1.0);
            let half = 0.5 * (to - from).abs();
            if half < 1e-14 {
                break;
            }
            for (a, g) in abscissae.iter().zip(&gauss) {
                let t = 0.5 * (from + to) + half * a * direction;
                let x = t / (1.0 - t);
                if let Some((log_likelihood, _)) = target.parts(&[x]) {
                    rule.nodes.push(Node {
                        theta: target.theta(&[x]),
                        log_likelihood,
                        log_volume: (g * half).ln() - 2.0 * (1.0 - t).ln(),
                    });
                }
            }
            let vanished = to < 1.0 && density(to) < top - DROP;
            if vanished || to == 0.0 || to == 1.0 {
                // 0 is a natural end of theta, not an edge of the rule.
                if to != 0.0 && !rule.nodes.is_empty() {
                    rule.edge.push(rule.nodes.len() - 1);
                }
                break;
            }
            from = to;
            width *= GROWTH;
        }
    }
    rule
}

/// Mode in t by a coarse grid and golden sections, with a spread from curvature.
fn peak(density: &dyn Fn(f64) -> f64, guess: f64) -> (f64, f64) {
    const CELLS: usize = 64;
    let grid = |i: usize| i as f64 / CELLS as f64;
    let best = (0..CELLS)
        .map(grid)
        .chain([guess])
        .fold((0.0, f64::NEG_INFINITY), |b, t| {
            let d = density(t);
            if d > b.1 { (t, d) } else { b }
        })
        .0;
    let cell = 1.0 / CELLS as f64;
    let (mut low, mut high) = ((best - cell).max(0.0), (best + cell).min(1.0 - 1e-9));
    let ratio = 0.618_033_988_749_894_9;
    for _ in 0..60 {
        let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
        if density(a) >= density(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let mode = 0.5 * (low + high);
    // Half-width at a drop of one half unit, by doubling: no derivative needed
    // where the mode is at 0.
    let top = density(mode);
    let mut width = 1e-6;
    while mode + width < 1.0 - 1e-6 && density(mode + width) > top - 0.5 {
        width *= 1.5;
    }
    (mode, width.min(0.25))
}

/// Nodes and weights of the Gauss-Legendre rule on [-1, 1], by Newton on P_n.
pub(crate) fn legendre(n: usize) -> (Vec<f64>, Vec<f64>) {
    let (mut nodes, mut weights) = (vec![0.0; n], vec![0.0; n]);
    for i in 0..n {
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut p, mut before) = (1.0, 0.0);
            for j in 0..n {
                let j = j as f64;
                (p, before) = (((2.0 * j + 1.0) * x * p - j * before) / (j + 1.0), p);
            }
            slope = n as f64 * (x * p - before) / (x * x - 1.0);
            let step = p / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        nodes[i] = -x;
        weights[i] = 2.0 / ((1.0 - x * x) * slope * slope);
    }
    (nodes, weights)
}
