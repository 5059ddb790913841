//! The optimum of a region from its draws, over the intensities and leads the records support.

use crate::region_curve::{RegionCurve, Summary};
use crate::support::Support;

/// Step of the intensity grid, fraction.
const INTENSITY_STEP: f64 = 0.01;
/// Step of the lead grid, days.
const LEAD_STEP: f64 = 3.0;

/// What a kilogram earns and a cut costs; price 1 and no cost gives the yield itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Objective {
    /// Money per kg.
    pub price_per_kg: f64,
    /// Money per pruned tree that does not depend on intensity.
    pub cost_per_pruned_tree: f64,
    /// Additional money if the whole canopy were removed; proportional below.
    pub cost_full_canopy: f64,
}

impl Objective {
    /// Yield in kg.
    pub const YIELD: Self =
        Self { price_per_kg: 1.0, cost_per_pruned_tree: 0.0, cost_full_canopy: 0.0 };

    /// Money spent on a tree at an intensity.
    #[must_use]
    pub fn cost(&self, intensity: f64) -> f64 {
        if intensity > 0.0 {
            self.cost_per_pruned_tree + self.cost_full_canopy * intensity
        } else {
            0.0
        }
    }

    /// Net return of a tree.
    #[must_use]
    pub fn net(&self, kg: f64, intensity: f64) -> f64 {
        self.price_per_kg * kg - self.cost(intensity)
    }
}

/// A practice: intensity as a fraction, lead in days (any value when unpruned).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Practice {
    /// Fraction of the canopy removed.
    pub intensity: f64,
    /// Days before the flush start.
    pub lead_days: f64,
}

/// Supported practices on a grid. Cell index is `lead x intensities + intensity`.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Intensities, ascending.
    pub intensities: Vec<f64>,
    /// Leads, ascending; one value when timing is not part of the model.
    pub leads: Vec<f64>,
    /// Whether the records support a cell.
    pub supported: Vec<bool>,
}

impl Grid {
    /// Covers the support; `fixed_lead` replaces the lead range when timing is not modelled.
    #[must_use]
    pub fn over(support: &Support, fixed_lead: Option<f64>) -> Self {
        let [low, high] = support.intensity;
        let intensities =
            steps(if support.includes_unpruned() { 0.0 } else { low }, high, INTENSITY_STEP);
        let leads = match (fixed_lead, support.lead) {
            (Some(lead), _) => vec![lead],
            (None, Some([first, last])) => steps(first, last, LEAD_STEP),
            (None, None) => vec![0.0],
        };
        let supported = leads
            .iter()
            .flat_map(|&lead| intensities.iter().map(move |&intensity| (intensity, lead)))
            .map(|(intensity, lead)| {
                // Without timing in the model every tested intensity is supported at the one lead.
                (fixed_lead.is_some() && !support.is_untried(intensity))
                    || support.contains(intensity, lead)
            })
            .collect();
        Self { intensities, leads, supported }
    }

    /// Practice of a cell.
    fn practice(&self, cell: usize) -> Practice {
        let width = self.intensities.len().max(1);
        Practice {
            intensity: self.intensities.get(cell % width).copied().unwrap_or(0.0),
            lead_days: self.leads.get(cell / width).copied().unwrap_or(0.0),
        }
    }
}

/// Multiples of a step from low to high, the ends themselves included.
fn steps(low: f64, high: f64, step: f64) -> Vec<f64> {
    let mut values = vec![low];
    let first = (low / step).floor() as i64 + 1;
    let last = ((high / step).ceil() as i64 - 1).max(first - 1);
    values.extend(
        (first..=last)
            .map(|k| k as f64 * step)
            .filter(|v| v - low > step * 0.01 && high - v > step * 0.01),
    );
    if high - low > step * 0.01 {
        values.push(high);
    }
    values
}

/// Where each draw has its optimum.
#[derive(Debug, Clone, PartialEq)]
pub struct Optima {
    /// Intensity of the optimum of each draw.
    pub intensity: Vec<f64>,
    /// Lead of the optimum of each draw.
    pub lead_days: Vec<f64>,
    /// Share of draws with the optimum at the lowest supported intensity.
    pub p_lower_edge: f64,
    /// Share inside.
    pub p_inside: f64,
    /// Share at the highest supported intensity.
    pub p_upper_edge: f64,
}

impl Optima {
    fn new(grid: &Grid, best: &[usize]) -> Self {
        let practices: Vec<Practice> = best.iter().map(|&cell| grid.practice(cell)).collect();
        let share = |edge: Option<&f64>| {
            let hits = practices.iter().filter(|p| Some(&p.intensity) == edge).count();
            hits as f64 / practices.len().max(1) as f64
        };
        let p_upper_edge =
            if grid.intensities.len() > 1 { share(grid.intensities.last()) } else { 0.0 };
        let p_lower_edge = share(grid.intensities.first());
        Self {
            intensity: practices.iter().map(|p| p.intensity).collect(),
            lead_days: practices.iter().map(|p| p.lead_days).collect(),
            p_lower_edge,
            p_inside: (1.0 - p_lower_edge - p_upper_edge).max(0.0),
            p_upper_edge,
        }
    }

    /// Median and limits of the optimum intensity.
    #[must_use]
    pub fn summary(&self, level: f64) -> Summary {
        Summary::of(self.intensity.iter().copied(), level)
    }

    /// Leads of the draws whose optimum is to prune.
    pub fn pruned_leads(&self) -> impl Iterator<Item = f64> + '_ {
        let practices = self.intensity.iter().zip(&self.lead_days);
        practices.filter(|(intensity, _)| **intensity > 0.0).map(|(_, lead)| *lead)
    }

    /// Share of draws with the optimum above `from` and up to `to`; `from = to = 0` is unpruned.
    #[must_use]
    pub fn share_in(&self, from: f64, to: f64) -> f64 {
        let hits = self
            .intensity
            .iter()
            .filter(|&&i| if to <= 0.0 { i <= 0.0 } else { i > from + 1e-12 && i <= to + 1e-12 });
        hits.count() as f64 / self.intensity.len().max(1) as f64
    }
}

/// A region's surface explored over its grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Exploration {
    /// The grid.
    pub grid: Grid,
    /// Expected yield of each cell, kg per tree: mean over draws.
    pub mean_kg: Vec<f64>,
    /// Optima of yield.
    pub yield_optima: Optima,
    /// Optima of net return.
    pub net_optima: Optima,
    /// Supported practice with the highest expected net return.
    pub best: Practice,
    /// Supported practice with the highest expected yield.
    pub best_yield: Practice,
    objective: Objective,
}

impl Exploration {
    /// Evaluates every draw on every supported cell; `None` when no cell is supported or there is no draw.
    #[must_use]
    pub fn new(curve: &RegionCurve, grid: Grid, objective: Objective) -> Option<Self> {
        let draws = curve.draws();
        if draws == 0 {
            return None;
        }
        let mut mean_kg = vec![f64::NAN; grid.supported.len()];
        let mut best_yield = vec![(f64::NEG_INFINITY, 0_usize); draws];
        let mut best_net = best_yield.clone();
        for cell in (0..grid.supported.len()).filter(|&cell| grid.supported[cell]) {
            let Practice { intensity, lead_days } = grid.practice(cell);
            let mut sum = 0.0;
            for (draw, kg) in curve.expected_kg(intensity, lead_days).enumerate() {
                sum += kg;
                if kg > best_yield[draw].0 {
                    best_yield[draw] = (kg, cell);
                }
                let net = objective.net(kg, intensity);
                if net > best_net[draw].0 {
                    best_net[draw] = (net, cell);
                }
            }
            mean_kg[cell] = sum / draws as f64;
        }
        let argmax = |value: &dyn Fn(usize) -> f64| {
            (0..mean_kg.len())
                .filter(|&cell| mean_kg[cell].is_finite())
                .max_by(|&a, &b| value(a).total_cmp(&value(b)).then(b.cmp(&a)))
        };
        let best_of_yield = argmax(&|cell| mean_kg[cell])?;
        let best = argmax(&|cell| objective.net(mean_kg[cell], grid.practice(cell).intensity))?;
        let cells = |best: &[(f64, usize)]| best.iter().map(|b| b.1).collect::<Vec<_>>();
        Some(Self {
            yield_optima: Optima::new(&grid, &cells(&best_yield)),
            net_optima: Optima::new(&grid, &cells(&best_net)),
            best: grid.practice(best),
            best_yield: grid.practice(best_of_yield),
            grid,
            mean_kg,
            objective,
        })
    }

    /// Expected net return of a cell by position, NaN when not supported.
    fn net_at(&self, lead: usize, intensity: usize) -> f64 {
        let width = self.grid.intensities.len();
        match (self.mean_kg.get(lead * width + intensity), self.grid.intensities.get(intensity)) {
            (Some(&kg), Some(&i)) => self.objective.net(kg, i),
            _ => f64::NAN,
        }
    }

    /// Highest expected net return.
    #[must_use]
    pub fn best_net(&self) -> f64 {
        (0..self.grid.leads.len())
            .flat_map(|lead| (0..self.grid.intensities.len()).map(move |i| (lead, i)))
            .map(|(lead, i)| self.net_at(lead, i))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Intensities around the best, each at its best supported lead, whose expected net return
    /// falls short of the best by no more than `loss` (money per tree).
    #[must_use]
    pub fn band(&self, loss: f64) -> [f64; 2] {
        let profile: Vec<f64> = (0..self.grid.intensities.len())
            .map(|i| {
                (0..self.grid.leads.len())
                    .map(|lead| self.net_at(lead, i))
                    .fold(f64::NEG_INFINITY, f64::max)
            })
            .collect();
        around(&self.grid.intensities, &profile, self.best.intensity, self.best_net() - loss)
    }

    /// Leads around a practice of the grid whose expected net return at its intensity falls short of
    /// it by no more than `loss`; `None` when the practice is not supported.
    #[must_use]
    pub fn lead_band(&self, practice: Practice, loss: f64) -> Option<[f64; 2]> {
        let column = position(&self.grid.intensities, practice.intensity)?;
        let row = position(&self.grid.leads, practice.lead_days)?;
        let profile: Vec<f64> =
            (0..self.grid.leads.len()).map(|lead| self.net_at(lead, column)).collect();
        let own = profile.get(row).copied().filter(|net| net.is_finite())?;
        Some(around(&self.grid.leads, &profile, practice.lead_days, own - loss))
    }

    /// The lead of the grid nearest to a lead, with the intensity that earns most there;
    /// `None` when nothing is supported there.
    #[must_use]
    pub fn best_near(&self, lead_days: f64) -> Option<Practice> {
        let distance = |lead: &f64| (lead - lead_days).abs();
        let row = (0..self.grid.leads.len()).min_by(|&a, &b| {
            distance(&self.grid.leads[a]).total_cmp(&distance(&self.grid.leads[b]))
        })?;
        let column = (0..self.grid.intensities.len())
            .filter(|&i| self.net_at(row, i).is_finite())
            .max_by(|&a, &b| self.net_at(row, a).total_cmp(&self.net_at(row, b)))?;
        Some(Practice {
            intensity: *self.grid.intensities.get(column)?,
            lead_days: *self.grid.leads.get(row)?,
        })
    }

    /// Expected net return of a practice of the grid; `None` when it is not supported.
    #[must_use]
    pub fn net_of(&self, practice: Practice) -> Option<f64> {
        let column = position(&self.grid.intensities, practice.intensity)?;
        let lead = position(&self.grid.leads, practice.lead_days)?;
        Some(self.net_at(lead, column)).filter(|net| net.is_finite())
    }

    /// Supported lead with the highest expected net return at an intensity of the grid.
    #[must_use]
    pub fn best_lead(&self, intensity: f64) -> Option<f64> {
        let column = position(&self.grid.intensities, intensity)?;
        (0..self.grid.leads.len())
            .filter(|&lead| self.net_at(lead, column).is_finite())
            .max_by(|&a, &b| self.net_at(a, column).total_cmp(&self.net_at(b, column)))
            .and_then(|lead| self.grid.leads.get(lead).copied())
    }
}

fn position(values: &[f64], wanted: f64) -> Option<usize> {
    values.iter().position(|value| (value - wanted).abs() < 1e-9)
}

/// Stretch of `values` around `centre` on which the profile stays at or above a floor.
fn around(values: &[f64], profile: &[f64], centre: f64, floor: f64) -> [f64; 2] {
    let at = position(values, centre).unwrap_or(0);
    let holds = |k: &usize| profile.get(*k).is_some_and(|value| *value >= floor);
    let last = (at..values.len()).take_while(holds).last().unwrap_or(at);
    let first = (0..=at).rev().take_while(holds).last().unwrap_or(at);
    let value = |k: usize| values.get(k).copied().unwrap_or(centre);
    [value(first), value(last)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curve::{Knots, SHAPES};
    use crate::scale::Scale;

    fn hump_and_tilt(values: [f64; 2]) -> [f64; SHAPES] {
        let mut coefficients = [0.0; SHAPES];
        coefficients[..2].copy_from_slice(&values);
        coefficients
    }

    /// trade.md E12b (handbook UF00080557): means 5.35, 6.675, 6.975 t at 0, 1.5, 3 (x100 kg);
    /// maximum at 2.68902, economic dose 2.34408 at price ratio 440/2800. One dose unit is taken
    /// as a tenth of the canopy.
    fn rice() -> RegionCurve {
        let (linear, quadratic) = (1.225, -0.227_777_8);
        // y = 5.35 + linear x + quadratic x^2 with x = 10 intensity = 2.5 u.
        let (p, q) = (linear * 2.5, quadratic * 6.25);
        RegionCurve {
            region: "rice".to_owned(),
            scale: Scale::Identity,
            knots: Knots::default(),
            knees: vec![0.25; 3],
            coefficients: vec![hump_and_tilt([p + q, p + 2.0 * q]); 3],
            level: vec![5.35; 3],
            variance: vec![0.1; 3],
        }
    }

    fn support(high: f64) -> Support {
        let intensities: Vec<f64> = [0.0, 0.15, high].iter().flat_map(|&i| [i; 6]).collect();
        let leads: Vec<f64> =
            intensities.iter().map(|&i| if i > 0.0 { 40.0 } else { f64::NAN }).collect();
        Support::of(&intensities, &leads).unwrap()
    }

    #[test]
    fn published_quadratic_has_its_published_optima() {
        let objective =
            Objective { price_per_kg: 2800.0, cost_per_pruned_tree: 0.0, cost_full_canopy: 4400.0 };
        let grid = Grid::over(&support(0.3), Some(40.0));
        let explored = Exploration::new(&rice(), grid, objective).unwrap();
        assert!((explored.best_yield.intensity - 0.268_902).abs() <= INTENSITY_STEP / 2.0);
        assert!((explored.best.intensity - 0.234_408).abs() <= INTENSITY_STEP / 2.0);
        assert_eq!(explored.net_optima.p_inside, 1.0);
        let [low, high] = explored.band(50.0);
        // Loss of d x dose units from the economic dose is 2800 x 0.2277778 x d^2 = 50.
        let half = (50.0_f64 / (2800.0 * 0.227_777_8)).sqrt() / 10.0;
        assert!((low - (0.234_408 - half)).abs() <= INTENSITY_STEP);
        assert!((high - (0.234_408 + half)).abs() <= INTENSITY_STEP);
    }

    #[test]
    fn an_optimum_beyond_the_tested_range_is_at_the_upper_edge() {
        let grid = Grid::over(&support(0.2), Some(40.0));
        let explored = Exploration::new(&rice(), grid, Objective::YIELD).unwrap();
        assert_eq!(explored.yield_optima.p_upper_edge, 1.0);
        assert_eq!(explored.best_yield.intensity, 0.2);
        assert_eq!(explored.yield_optima.share_in(0.15, 0.2), 1.0);
    }

    #[test]
    fn steps_cover_both_ends() {
        assert_eq!(steps(0.0, 0.03, 0.01), [0.0, 0.01, 0.02, 0.03]);
        let odd = steps(0.014, 0.036, 0.01);
        assert_eq!((odd[0], odd[odd.len() - 1], odd.len()), (0.014, 0.036, 4));
        assert_eq!(steps(5.0, 5.0, 3.0), [5.0]);
    }
}
