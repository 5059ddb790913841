//! What a region's records support: tested intensities and leads, and the area they span.

use serde::{Deserialize, Serialize};

/// Tree-seasons that must lie at or beyond a value before it counts as tested.
const LEAST_AT_EDGE: usize = 5;
/// Share of tree-seasons trimmed at each edge in large regions.
const TRIM: f64 = 0.01;
/// Width within which intensities count as one level, fraction, and tree-seasons a level needs.
const LEVEL_WIDTH: f64 = 0.05;
const LEAST_AT_LEVEL: usize = 3;
/// Widest step between two levels, as a number of them, over which a curve is read (ours: a convention): trials step by
/// up to 30 % of the canopy, and a wider stretch without a cut says nothing of what lies in it.
const WIDEST_STEP: i64 = 6;
/// Intensities under this count as unpruned, fraction.
pub const UNPRUNED_BELOW: f64 = 0.005;

/// Tested intensities and leads of a region and the convex area between them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Support {
    /// Lowest and highest tested intensity, fraction.
    pub intensity: [f64; 2],
    /// Earliest and latest tested lead, days, ascending; `None` when nothing was pruned.
    pub lead: Option<[f64; 2]>,
    /// Distinct intensities, to the nearest 5 %, with at least three tree-seasons each.
    pub levels: usize,
    /// Stretches between two levels, fractions, in which no cut was tried and that are too wide to be read over.
    #[serde(default)]
    pub untried: Vec<[f64; 2]>,
    /// Corners of the convex hull of tested (intensity, lead) pairs, counter-clockwise.
    hull: Vec<[f64; 2]>,
}

impl Support {
    /// Reads the support from tree-seasons: intensities and leads (NaN when unpruned), one per row.
    /// An extreme counts as tested when at least five tree-seasons (and 1 % of them) reach it.
    /// Returns `None` without rows.
    #[must_use]
    pub fn of(intensities: &[f64], leads: &[f64]) -> Option<Self> {
        let intensity = trimmed(intensities.iter().copied())?;
        let pruned = || {
            intensities
                .iter()
                .zip(leads)
                .filter(|(i, l)| **i >= UNPRUNED_BELOW && l.is_finite())
                .map(|(&i, &l)| [i, l])
        };
        let lead = trimmed(pruned().map(|[_, lead]| lead));
        let mut points: Vec<[f64; 2]> = pruned()
            .map(|[i, l]| {
                let l = lead.map_or(l, |[low, high]| l.clamp(low, high));
                [i.clamp(intensity[0], intensity[1]), l]
            })
            .collect();
        if let (Some([low, high]), true) = (lead, intensity[0] < UNPRUNED_BELOW) {
            // An unpruned tree is the same tree at every lead.
            points.extend([[0.0, low], [0.0, high]]);
        }
        let levels = levels(intensities);
        let untried = levels.windows(2).filter(|pair| pair[1].0 - pair[0].0 > WIDEST_STEP);
        let untried = untried.map(|pair| [pair[0].1[1], pair[1].1[0]]);
        Some(Self {
            intensity,
            lead,
            levels: levels.len(),
            untried: untried.collect(),
            hull: convex_hull(points),
        })
    }

    /// Whether leaving a tree unpruned is among what was tested.
    #[must_use]
    pub fn includes_unpruned(&self) -> bool {
        self.intensity[0] < UNPRUNED_BELOW
    }

    /// Whether an intensity lies in a stretch that was not tried.
    #[must_use]
    pub fn is_untried(&self, intensity: f64) -> bool {
        const SLACK: f64 = 1e-9;
        self.untried.iter().any(|[low, high]| low + SLACK < intensity && intensity < high - SLACK)
    }

    /// Whether an intensity at a lead lies in the tested area.
    #[must_use]
    pub fn contains(&self, intensity: f64, lead_days: f64) -> bool {
        if self.is_untried(intensity) {
            return false;
        }
        if intensity < UNPRUNED_BELOW {
            return self.includes_unpruned();
        }
        inside(&self.hull, [intensity, lead_days])
    }
}

/// Levels with enough tree-seasons, ascending, in widths of a level, each with its lowest and highest intensity.
fn levels(intensities: &[f64]) -> Vec<(i64, [f64; 2])> {
    let mut found: std::collections::BTreeMap<i64, (usize, [f64; 2])> = Default::default();
    for &intensity in intensities {
        let level = (intensity / LEVEL_WIDTH).round() as i64;
        let (count, [low, high]) = found.entry(level).or_insert((0, [intensity; 2]));
        (*count, *low, *high) = (*count + 1, low.min(intensity), high.max(intensity));
    }
    let tried = found.into_iter().filter(|(_, (count, _))| *count >= LEAST_AT_LEVEL);
    tried.map(|(level, (_, ends))| (level, ends)).collect()
}

/// The k-th smallest and k-th largest value, k = max(5, 1 %), but no more than a quarter of them.
fn trimmed(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let wanted = LEAST_AT_EDGE.max((values.len() as f64 * TRIM) as usize);
    let k = wanted.min(values.len() / 4).saturating_sub(1);
    Some([*values.get(k)?, *values.get(values.len().checked_sub(k + 1)?)?])
}

fn cross(origin: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - origin[0]) * (b[1] - origin[1]) - (a[1] - origin[1]) * (b[0] - origin[0])
}

/// Monotone chain (Andrew, 1979, Inf. Process. Lett. 9(5):216-219), counter-clockwise.
fn convex_hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for point in points {
            while let [.., before, last] = chain.as_slice() {
                if cross(*before, *last, point) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        chain
    };
    let mut hull = half(&mut points.iter().copied());
    hull.extend(half(&mut points.iter().rev().copied()));
    hull
}

/// Inside or on the edge of a convex polygon; a polygon of one or two corners is a point or a segment.
fn inside(hull: &[[f64; 2]], point: [f64; 2]) -> bool {
    const SLACK: f64 = 1e-9;
    match hull {
        [] => false,
        [only] => (only[0] - point[0]).abs() < SLACK && (only[1] - point[1]).abs() < SLACK,
        [a, b] => {
            let along = |axis: usize| {
                let (low, high) = (a[axis].min(b[axis]), a[axis].max(b[axis]));
                (low - SLACK..=high + SLACK).contains(&point[axis])
            };
            cross(*a, *b, point).abs() < 1e-6 && along(0) && along(1)
        }
        _ => hull
            .iter()
            .zip(hull.iter().cycle().skip(1))
            .all(|(a, b)| cross(*a, *b, point) >= -SLACK),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half the trees cut by 40 to 60 %, the others not at all: what lies between was not tried, and one slip of the
    /// pen does not change that; steps of 30 % are read over.
    #[test]
    fn a_wide_stretch_without_a_cut_is_not_tested() {
        let of = |cut: &[f64]| {
            let mut intensities = vec![0.0; 20];
            intensities.extend(cut.iter().flat_map(|cut| [*cut; 10]));
            intensities.push(0.2);
            let leads = vec![50.0; intensities.len()];
            Support::of(&intensities, &leads).unwrap()
        };
        let hard = of(&[0.4, 0.5, 0.6]);
        assert_eq!(hard.untried, [[0.0, 0.4]]);
        assert!(hard.contains(0.0, 50.0) && hard.contains(0.4, 50.0) && hard.contains(0.55, 50.0));
        assert!(!hard.contains(0.15, 50.0) && !hard.contains(0.3, 50.0));
        let steps = of(&[0.3, 0.6]);
        assert!(steps.untried.is_empty() && steps.contains(0.15, 50.0));
    }

    #[test]
    fn a_single_extreme_tree_is_not_a_tested_intensity() {
        let mut intensities = vec![0.1; 40];
        intensities.extend([0.3; 10]);
        intensities.push(0.9);
        let leads = vec![50.0; intensities.len()];
        let support = Support::of(&intensities, &leads).unwrap();
        assert_eq!((support.intensity, support.levels), ([0.1, 0.3], 2));
        assert!(!support.contains(0.5, 50.0));
        assert!(support.contains(0.2, 50.0));
        assert!(!support.contains(0.2, 55.0));
    }

    #[test]
    fn the_area_between_tested_points_is_supported_and_no_more() {
        // Light cuts early, hard cuts late, some unpruned.
        let mut intensities = vec![0.0; 6];
        let mut leads = vec![f64::NAN; 6];
        for (i, l) in [(0.1, 90.0), (0.1, 40.0), (0.4, 20.0)] {
            intensities.extend([i; 8]);
            leads.extend([l; 8]);
        }
        let support = Support::of(&intensities, &leads).unwrap();
        assert!(support.includes_unpruned());
        assert!(support.contains(0.0, 1000.0));
        assert!(support.contains(0.1, 60.0));
        assert!(support.contains(0.3, 30.0));
        assert!(!support.contains(0.4, 80.0));
        assert!(!support.contains(0.6, 20.0));
    }

    #[test]
    fn nothing_and_nearly_nothing() {
        assert_eq!(Support::of(&[], &[]), None);
        let few = Support::of(&[0.1, 0.2, 0.3, 0.4], &[30.0, 40.0, 50.0, 60.0]).unwrap();
        assert_eq!((few.intensity, few.lead), ([0.1, 0.4], Some([30.0, 60.0])));
        let one = Support::of(&[0.0], &[f64::NAN]).unwrap();
        assert_eq!(one.lead, None);
        assert!(one.contains(0.0, 0.0) && !one.contains(0.1, 0.0));
    }
}
