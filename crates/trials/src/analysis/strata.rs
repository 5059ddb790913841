//! Exact analysis by strata of a balanced trial: every term lies in one stratum, whose error judges it.

use super::columns::Columns;
use super::orthogonal::{Factored, dot, extend, take_out};
use crate::design::{Plan, StratumKind};
use words::say;

/// Share of a squared norm that may stray by rounding.
const ROUNDING: f64 = 1e-9;

/// One stratum of the analysis.
#[derive(Debug, Clone)]
pub(super) struct StratumFit {
    /// Orthonormal basis; empty for the units, which take the rest.
    basis: Vec<Vec<f64>>,
    /// Degrees of freedom of its groups.
    pub df: usize,
    /// Sum of squares of its groups.
    pub ss: f64,
    /// Terms of the plan that lie in it.
    pub terms: Vec<usize>,
    /// Degrees of freedom left for error.
    pub error_df: usize,
    /// Error sum of squares.
    pub error_ss: f64,
    /// Units by group.
    pub size: usize,
    /// Strata with the units behind this one's variance: `expected[t]` units of stratum t's
    /// component.
    pub expected: Vec<f64>,
}

impl StratumFit {
    /// Error mean square; `None` without degrees of freedom.
    pub fn error_ms(&self) -> Option<f64> {
        (self.error_df > 0).then(|| self.error_ss / self.error_df as f64)
    }
}

/// The decomposition of a balanced trial.
#[derive(Debug, Clone)]
pub(super) struct StrataFit {
    /// Strata in the plan's order.
    pub strata: Vec<StratumFit>,
    /// Sum of squares of each term.
    pub term_ss: Vec<f64>,
    /// Stratum of each term.
    pub term_stratum: Vec<usize>,
    /// Whether a stratum's groups are blocks that hold every treatment.
    fixed: Vec<bool>,
}

/// A variance as a sum of mean squares.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Share {
    /// Stratum.
    pub stratum: usize,
    /// Part of the variance.
    pub variance: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

impl StrataFit {
    /// Decomposes the units, or says in words why the trial is not balanced.
    pub fn new(plan: &Plan, columns: &Columns, treatments: &Factored) -> Result<Self, String> {
        if columns.covariate.is_some() {
            return Err(say!("a covariate varies in every stratum"));
        }
        let bases = bases(plan)?;
        let y = plan.values();
        let n = y.len();
        let mut strata = Vec::with_capacity(bases.len());
        let mut spent = 1;
        let mut rest = y.clone();
        take_out(&mut rest, &[vec![(1.0 / n as f64).sqrt(); n]]);
        for (s, basis) in bases.into_iter().enumerate() {
            let last = s + 1 == plan.strata.len();
            let coordinates = take_out(&mut rest, &basis);
            let (df, ss) = if last {
                (n - spent, dot(&rest, &rest))
            } else {
                (basis.len(), dot(&coordinates, &coordinates))
            };
            spent += df;
            strata.push(StratumFit {
                expected: expected(plan, &basis, s),
                size: n / plan.strata[s].groups.len(),
                basis,
                df,
                ss,
                terms: Vec::new(),
                error_df: df,
                error_ss: ss,
            });
        }
        let fixed = plan.strata.iter().map(|s| s.kind == StratumKind::Blocks).collect();
        let mut out = StrataFit { strata, term_ss: Vec::new(), term_stratum: Vec::new(), fixed };
        out.place_terms(plan, columns, treatments, &y, rest)?;
        Ok(out)
    }

    fn place_terms(
        &mut self,
        plan: &Plan,
        columns: &Columns,
        treatments: &Factored,
        y: &[f64],
        mut rest: Vec<f64>,
    ) -> Result<(), String> {
        if treatments.rank() < columns.treatments {
            return Err(say!("some treatment has no plot left"));
        }
        for (t, range) in columns.terms.iter().enumerate() {
            let name = &plan.terms[t].name;
            let before = &treatments.basis[1..range.start];
            for column in &columns.values[range.clone()] {
                let mut centred = column.clone();
                take_out(&mut centred, &treatments.basis[..1]);
                let strayed: f64 = before.iter().map(|q| dot(q, &centred).powi(2)).sum();
                if strayed > ROUNDING * dot(&centred, &centred) {
                    return Err(say!("{name} is not orthogonal to the other treatment terms"));
                }
            }
            let own = treatments.added(range.clone());
            let mut stratum = None;
            for q in own {
                let (s, share) = self.main_stratum(q);
                if share < 1.0 - ROUNDING || stratum.is_some_and(|found| found != s) {
                    return Err(say!(
                        "{name} is compared partly within and partly between {}",
                        plan.strata[s.min(plan.strata.len().saturating_sub(2))].name
                    ));
                }
                stratum = Some(s);
            }
            let s = stratum.unwrap_or(self.strata.len() - 1);
            let last = s + 1 == self.strata.len();
            let ss: f64 = own.iter().map(|q| dot(q, y).powi(2)).sum();
            let fit = &mut self.strata[s];
            fit.terms.push(t);
            fit.error_df = fit
                .error_df
                .checked_sub(own.len())
                .ok_or_else(|| say!("{name} has no room in its stratum"))?;
            if last {
                take_out(&mut rest, own);
            }
            self.term_ss.push(ss);
            self.term_stratum.push(s);
        }
        for (s, fit) in self.strata.iter_mut().enumerate() {
            let terms: f64 = fit.terms.iter().map(|t| self.term_ss[*t]).sum();
            let last = s + 1 == plan.strata.len();
            // The units' error is what is left of the vector itself, free of cancellation.
            fit.error_ss = if last { dot(&rest, &rest) } else { (fit.ss - terms).max(0.0) };
        }
        Ok(())
    }

    /// Stratum with the largest share of a unit vector, and the share.
    fn main_stratum(&self, q: &[f64]) -> (usize, f64) {
        let shares = self.shares(q);
        let mut best = (0, 0.0);
        for (s, share) in shares.iter().enumerate() {
            if *share > best.1 {
                best = (s, *share);
            }
        }
        best
    }

    /// Squared length of a vector's part in each stratum (the mean's part left out).
    fn shares(&self, q: &[f64]) -> Vec<f64> {
        let n = q.len() as f64;
        let mean = q.iter().sum::<f64>() / n;
        let mut rest: Vec<f64> = q.iter().map(|x| x - mean).collect();
        let last = self.strata.len() - 1;
        let mut out: Vec<f64> = self.strata[..last]
            .iter()
            .map(|s| {
                let c = take_out(&mut rest, &s.basis);
                dot(&c, &c)
            })
            .collect();
        out.push(dot(&rest, &rest));
        out
    }

    /// Variance of the sum of the units with weights `c`, by stratum. Parts in blocks that hold
    /// every treatment, and the part of the mean, carry the variance that random groups give them:
    /// blocks themselves are taken as given. `None` where a part has no error.
    pub fn variance(&self, c: &[f64]) -> Option<Vec<Share>> {
        let total = dot(c, c);
        let mean = c.iter().sum::<f64>().powi(2) / c.len() as f64;
        let mut out: Vec<Share> = Vec::new();
        let mut add = |stratum: usize, weight: f64, fit: &StratumFit| -> Option<()> {
            let variance = weight * fit.error_ms()?;
            let df = fit.error_df as f64;
            match out.iter_mut().find(|s| s.stratum == stratum) {
                Some(share) => share.variance += variance,
                None => out.push(Share { stratum, variance, df }),
            }
            Some(())
        };
        for (s, weight) in self.shares(c).into_iter().enumerate() {
            if weight > 1e-12 * total {
                if self.fixed[s] && self.strata[s].error_df == 0 {
                    return None;
                }
                add(s, weight, &self.strata[s])?;
            }
        }
        if mean > 1e-12 * total {
            for (s, coefficient) in self.mean_variance() {
                add(s, mean * coefficient, &self.strata[s])?;
            }
        }
        Some(out)
    }

    /// Variance of the overall mean (times the units) over random groups, in error mean squares:
    /// one stratum where strata are nested, a sum and difference where they cross.
    fn mean_variance(&self) -> Vec<(usize, f64)> {
        let count = self.strata.len();
        // Components that the mean carries: every stratum that is not fixed, with its size.
        let mut wanted: Vec<f64> = (0..count)
            .map(|t| if self.fixed[t] { 0.0 } else { self.strata[t].size as f64 })
            .collect();
        let mut out = Vec::new();
        for (s, fit) in self.strata.iter().enumerate() {
            if self.fixed[s] || fit.expected[s] == 0.0 {
                continue;
            }
            let coefficient = wanted[s] / fit.expected[s];
            if coefficient.abs() > 1e-12 {
                out.push((s, coefficient));
                wanted.iter_mut().zip(&fit.expected).for_each(|(w, e)| *w -= coefficient * e);
            }
        }
        out
    }
}

/// Orthonormal bases of the strata, each beside those before it.
fn bases(plan: &Plan) -> Result<Vec<Vec<Vec<f64>>>, String> {
    let n = plan.units.len();
    let mut all: Vec<Vec<f64>> = vec![vec![(1.0 / n as f64).sqrt(); n]];
    let mut out = Vec::with_capacity(plan.strata.len());
    for stratum in &plan.strata {
        let counts = counts(&stratum.codes, stratum.groups.len());
        if counts.iter().any(|c| *c != counts[0]) {
            return Err(say!(
                "{} hold unequal numbers of units",
                crate::name_in_words(&stratum.name)
            ));
        }
        if stratum.kind == StratumKind::Residual {
            out.push(Vec::new());
            continue;
        }
        let start = all.len();
        for g in 0..stratum.groups.len() {
            let column: Vec<f64> =
                stratum.codes.iter().map(|c| if *c == g { 1.0 } else { 0.0 }).collect();
            extend(&mut all, &column);
        }
        for w in &all[start..] {
            if stray(w, &stratum.codes, stratum.groups.len()) > ROUNDING {
                return Err(say!("{} and the strata before them are not orthogonal", stratum.name));
            }
        }
        out.push(all[start..].to_vec());
    }
    Ok(out)
}

pub(super) fn counts(codes: &[usize], groups: usize) -> Vec<usize> {
    let mut out = vec![0; groups];
    codes.iter().for_each(|c| out[*c] += 1);
    out
}

/// Squared length of a unit vector beside its means by group.
fn stray(w: &[f64], codes: &[usize], groups: usize) -> f64 {
    let counts = counts(codes, groups);
    let mut sums = vec![0.0; groups];
    codes.iter().zip(w).for_each(|(c, x)| sums[*c] += x);
    let inside: f64 = sums.iter().zip(&counts).map(|(s, n)| s * s / *n as f64).sum();
    dot(w, w) - inside
}

/// Units behind each stratum's component in the expected mean square of stratum `s`: those strata
/// whose groups the stratum's contrasts do not divide (Nelder 1965).
fn expected(plan: &Plan, basis: &[Vec<f64>], s: usize) -> Vec<f64> {
    let n = plan.units.len();
    plan.strata
        .iter()
        .enumerate()
        .map(|(t, stratum)| {
            let within = t == s
                || stratum.kind == StratumKind::Residual
                || basis
                    .first()
                    .is_some_and(|w| stray(w, &stratum.codes, stratum.groups.len()) < ROUNDING);
            if within { (n / stratum.groups.len()) as f64 } else { 0.0 }
        })
        .collect()
}
