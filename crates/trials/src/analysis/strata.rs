//! Exact analysis by strata of a balanced trial: every term lies in one stratum, whose error judges it.

use super::columns::Columns;
use super::orthogonal::{Factored, dot, extend, take_out};
use crate::design::{Plan, StratumKind};
use crate::name_in_words;
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
    /// Group of each unit.
    codes: Vec<usize>,
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
    /// Units behind each stratum's component in the expected mean square of each term. They can be
    /// more than the error of its stratum has: season lies between rows and between columns of a
    /// Latin square, so that the variances of both in a season stand behind it.
    pub term_expected: Vec<Vec<f64>>,
    /// Whether a stratum's groups are blocks that hold every treatment.
    fixed: Vec<bool>,
}

/// A variance as a sum of mean squares.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Share {
    /// Stratum.
    pub stratum: usize,
    /// Part of the variance.
    pub variance: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// What the strata know of a variance.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Variance {
    /// Its parts.
    Of(Vec<Share>),
    /// A part of it has no error.
    NoError,
    /// Its mean squares add up to less than the error within them.
    FallsShort,
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
                codes: plan.strata[s].codes.clone(),
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
        let mut out = StrataFit {
            strata,
            term_ss: Vec::new(),
            term_stratum: Vec::new(),
            term_expected: Vec::new(),
            fixed,
        };
        out.place_terms(plan, columns, treatments, &y, rest)?;
        Ok(out)
    }

    /// Whether a sum and difference of mean squares comes out below the mean squares that it takes
    /// off: some component in it is estimated below 0, so that it would make anything certain.
    fn falls_short(&self, parts: &[(usize, f64)]) -> bool {
        let of = |(s, k): &(usize, f64)| self.strata[*s].error_ms().map_or(0.0, |ms| k * ms);
        let off = -parts.iter().map(of).filter(|part| *part < 0.0).sum::<f64>();
        off > 0.0 && parts.iter().map(of).sum::<f64>() <= off
    }

    /// Whether some term is judged by mean squares that fall short.
    pub fn short_of_error(&self) -> bool {
        (0..self.term_expected.len()).any(|term| self.term_falls_short(term))
    }

    /// Whether the mean squares that judge a term fall short.
    pub fn term_falls_short(&self, term: usize) -> bool {
        self.falls_short(&self.combination(&self.term_expected[term]))
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
            let name = name_in_words(&plan.terms[t].name);
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
                        name_in_words(
                            &plan.strata[s.min(plan.strata.len().saturating_sub(2))].name
                        )
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
            let mut wanted = vec![0.0; self.strata.len()];
            for q in own {
                let behind = self.behind(q);
                wanted.iter_mut().zip(behind).for_each(|(w, b)| *w += b / own.len() as f64);
            }
            self.term_ss.push(ss);
            self.term_stratum.push(s);
            self.term_expected.push(wanted);
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
        self.parts(q).iter().map(|part| dot(part, part)).collect()
    }

    /// A vector's part in each stratum (the mean's part left out).
    fn parts(&self, q: &[f64]) -> Vec<Vec<f64>> {
        let n = q.len() as f64;
        let mean = q.iter().sum::<f64>() / n;
        let mut rest: Vec<f64> = q.iter().map(|x| x - mean).collect();
        let last = self.strata.len() - 1;
        let mut out: Vec<Vec<f64>> = self.strata[..last]
            .iter()
            .map(|s| {
                let before = rest.clone();
                take_out(&mut rest, &s.basis);
                before.iter().zip(&rest).map(|(b, r)| b - r).collect()
            })
            .collect();
        out.push(rest);
        out
    }

    /// Units behind each stratum's component in the variance of the sum of the units with weights
    /// `q`, which lie in one stratum.
    fn behind(&self, q: &[f64]) -> Vec<f64> {
        let of = |fit: &StratumFit| {
            let groups = q.len() / fit.size;
            fit.size as f64 * inside(q, &fit.codes, groups)
        };
        self.strata.iter().map(of).collect()
    }

    /// Error mean squares, each with its factor, whose expectations add up to the wanted units of
    /// the strata's components: the error of one stratum where strata are nested, a sum and
    /// difference where they cross.
    pub fn combination(&self, wanted: &[f64]) -> Vec<(usize, f64)> {
        let mut wanted = wanted.to_vec();
        let least = ROUNDING * wanted.iter().fold(0.0_f64, |most, w| most.max(w.abs()));
        let mut out = Vec::new();
        for (s, fit) in self.strata.iter().enumerate() {
            if wanted[s].abs() > least {
                let factor = wanted[s] / fit.expected[s];
                out.push((s, factor));
                wanted.iter_mut().zip(&fit.expected).for_each(|(w, e)| *w -= factor * e);
            }
        }
        out
    }

    /// The error that judges a term, as a sum and difference of mean squares with its degrees of
    /// freedom by Satterthwaite (1946); `None` where a part of it has no error.
    pub fn term_error(&self, term: usize) -> Option<(f64, f64)> {
        let parts = self.combination(&self.term_expected[term]);
        if let [(s, _)] = parts.as_slice() {
            let fit = &self.strata[*s];
            return fit.error_ms().map(|ms| (ms, fit.error_df as f64));
        }
        let (mut ms, mut spread) = (0.0, 0.0);
        for (s, factor) in parts {
            let fit = &self.strata[s];
            let part = factor * fit.error_ms()?;
            ms += part;
            spread += part * part / fit.error_df as f64;
        }
        (ms > 0.0).then_some((ms, ms * ms / spread))
    }

    /// Variance of the sum of the units with weights `c`, by stratum. Parts in blocks that hold
    /// every treatment, and the part of the mean, carry the variance that random groups give them:
    /// blocks themselves are taken as given.
    pub fn variance(&self, c: &[f64]) -> Variance {
        let total = dot(c, c);
        let mean = c.iter().sum::<f64>().powi(2) / c.len() as f64;
        let mut factors = vec![0.0; self.strata.len()];
        for (s, part) in self.parts(c).iter().enumerate() {
            let weight = dot(part, part);
            if weight <= 1e-12 * total {
                continue;
            }
            let wanted = self.behind(part);
            let own = self.strata[s].expected.iter().map(|e| weight * e);
            if wanted.iter().zip(own).all(|(w, o)| (w - o).abs() <= 1e-9 * wanted[s]) {
                factors[s] += weight;
            } else {
                let parts = self.combination(&wanted);
                if self.falls_short(&parts) {
                    return Variance::FallsShort;
                }
                parts.into_iter().for_each(|(s, k)| factors[s] += k);
            }
        }
        if mean > 1e-12 * total {
            // Components that the mean carries: every stratum that is not fixed, with its size.
            let wanted = self.strata.iter().zip(&self.fixed);
            let wanted: Vec<f64> =
                wanted.map(|(s, fixed)| if *fixed { 0.0 } else { mean * s.size as f64 }).collect();
            self.combination(&wanted).into_iter().for_each(|(s, k)| factors[s] += k);
        }
        let used = factors.iter().enumerate().filter(|(_, k)| k.abs() > 1e-12 * total);
        let shares: Option<Vec<Share>> = used
            .map(|(stratum, factor)| {
                let fit = &self.strata[stratum];
                let df = fit.error_df as f64;
                Some(Share { stratum, variance: factor * fit.error_ms()?, df })
            })
            .collect();
        shares.map_or(Variance::NoError, Variance::Of)
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
            return Err(say!("{} hold unequal numbers of units", name_in_words(&stratum.name)));
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
                return Err(say!(
                    "{} and the strata before them are not orthogonal",
                    name_in_words(&stratum.name)
                ));
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
    dot(w, w) - inside(w, codes, groups)
}

/// Squared length of a vector's means by group.
fn inside(w: &[f64], codes: &[usize], groups: usize) -> f64 {
    let counts = counts(codes, groups);
    let mut sums = vec![0.0; groups];
    codes.iter().zip(w).for_each(|(c, x)| sums[*c] += x);
    sums.iter().zip(&counts).map(|(s, n)| s * s / *n as f64).sum()
}

/// Units behind each stratum's component in the expected mean square of the error of stratum `s`:
/// those strata whose groups none of the stratum's contrasts divides (Nelder 1965). All are asked:
/// a contrast such as that of seasons, which later strata hold too, is a term and no error.
fn expected(plan: &Plan, basis: &[Vec<f64>], s: usize) -> Vec<f64> {
    let n = plan.units.len();
    plan.strata
        .iter()
        .enumerate()
        .map(|(t, stratum)| {
            let within = t == s
                || stratum.kind == StratumKind::Residual
                || !basis.is_empty()
                    && basis
                        .iter()
                        .all(|w| stray(w, &stratum.codes, stratum.groups.len()) < ROUNDING);
            if within { (n / stratum.groups.len()) as f64 } else { 0.0 }
        })
        .collect()
}
