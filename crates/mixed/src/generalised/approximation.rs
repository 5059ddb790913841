//! Laplace's approximation and its exact gradient over theta, coefficients and the family's parameters.

use super::design::Design;
use super::family::{
    BinomialKernel, Family, Kernel, Law, NegativeBinomialKernel, PoissonKernel, Slopes,
    TweedieKernel, constants,
};
use super::modes::{Part, State, parts};
use crate::Error;
use crate::layout::{Layout, ThetaEntry};
use crate::small::dot;

/// A model whose deviance is a function of x = [theta, coefficients, family].
#[derive(Debug, Clone)]
pub(crate) struct Model {
    pub design: Design,
    pub layout: Layout,
    pub family: Family,
    pub entries: Vec<ThetaEntry>,
    pub parts: Vec<Part>,
    /// Place of each entry of theta: own factor, row and column of the value.
    place: Vec<(bool, usize, usize)>,
}

impl Model {
    pub fn new(mut design: Design, layout: Layout, family: Family) -> Model {
        if family == Family::Binomial {
            design.set_shares();
        }
        let entries = layout.theta_entries();
        let parts = parts(&layout);
        let place = entries
            .iter()
            .map(|e| {
                let part = parts[e.factor];
                (part.own, part.start + e.row, part.start + e.column)
            })
            .collect();
        Model { design, layout, family, entries, parts, place }
    }

    /// Length of x.
    pub fn width(&self) -> usize {
        self.entries.len() + self.design.p + self.family.parameters().len()
    }

    pub fn law(&self, x: &[f64]) -> Law {
        self.family.law(&x[self.entries.len() + self.design.p..])
    }

    pub fn lambdas(&self, x: &[f64]) -> Vec<Vec<f64>> {
        self.layout.factors.iter().map(|f| f.lambda(x)).collect()
    }

    /// The deviance at x; the modes stay in `state`.
    pub fn deviance(&self, state: &mut State, x: &[f64]) -> Result<f64, Error> {
        let (t, p) = (self.entries.len(), self.design.p);
        state.place(&self.design, &self.parts, &self.lambdas(x), &x[t..t + p]);
        state.settle(&self.design, self.law(x))
    }

    /// The deviance and its gradient at x.
    pub fn evaluate(&self, state: &mut State, x: &[f64]) -> Result<(f64, Vec<f64>), Error> {
        let value = self.deviance(state, x)?;
        state.blocks.invert();
        let law = self.law(x);
        let mut gradient = match law {
            Law::Poisson => self.gradient(state, PoissonKernel),
            Law::NegativeBinomial { size } => self.gradient(state, NegativeBinomialKernel { size }),
            Law::Tweedie { dispersion, power } => {
                self.gradient(state, TweedieKernel { dispersion, power })
            }
            Law::Binomial => self.gradient(state, BinomialKernel),
        };
        let constant = constants(law, &self.design.distinct, &self.design.distinct_weight);
        let first = self.entries.len() + self.design.p;
        for (g, c) in gradient[first..].iter_mut().zip(&constant[1..]) {
            *g -= 2.0 * c;
        }
        if gradient.iter().all(|g| g.is_finite()) {
            Ok((value, gradient))
        } else {
            Err(Error::Numerical { what: "the gradient of a generalised model is not finite" })
        }
    }

    /// With g the penalised negative log density and u its minimiser,
    ///
    ///   d/dx (2 g + log|H|) = 2 dg/dx + tr(H^-1 dH/dx) - a' d2g/du dx,
    ///   H a = Z~' (h w'),
    ///
    /// h_i = z~_i' H^-1 z~_i and w'_i the derivative of the weight by eta:
    /// the implicit function theorem with one more solution for all of x.
    fn gradient<K: Kernel>(&self, state: &mut State, kernel: K) -> Vec<f64> {
        let design = &self.design;
        let (n, k, other, p) = (design.n, design.k, design.other, design.p);
        let (t, f) = (self.entries.len(), self.family.parameters().len());
        let mut out = vec![0.0; self.width()];
        let mut slopes = vec![Slopes::default(); n];
        let mut tension = vec![0.0; n];
        state.x_own.fill(0.0);
        state.x_other.fill(0.0);
        let mut local = Local::default();
        for g in 0..design.groups() {
            local.load(state, design, g);
            for i in design.rows[g]..design.rows[g + 1] {
                let prior = design.weight[i];
                let here = kernel.slopes(design.response[i], state.eta(design, g, i));
                let own = &state.own[i * k..(i + 1) * k];
                let others = &state.others[i * other..(i + 1) * other];
                let slot = &design.slot[i * other..(i + 1) * other];
                let h = local.leverage(own, others, slot);
                for ((own_part, row, column), total) in self.place.iter().zip(&mut out) {
                    let (z, rho) = if *own_part {
                        (design.own[i * k + row], local.own[*column])
                    } else {
                        (design.others[i * other + row], local.other[*column])
                    };
                    *total += 2.0 * prior * here.weight * z * rho;
                }
                for (m, by) in here.by_parameter.iter().take(f).enumerate() {
                    out[t + p + m] += prior * (h * by[2] - 2.0 * by[0]);
                }
                tension[i] = prior * h * here.weight_slope;
                slopes[i] = here;
                for (x, z) in state.x_own[g * k..(g + 1) * k].iter_mut().zip(own) {
                    *x += tension[i] * z;
                }
                for (s, z) in slot.iter().zip(others) {
                    state.x_other[design.met(g)[*s as usize] as usize] += tension[i] * z;
                }
            }
        }
        state.solve(design);
        for g in 0..design.groups() {
            let met = design.met(g);
            for i in design.rows[g]..design.rows[g + 1] {
                let (here, prior) = (&slopes[i], design.weight[i]);
                let own = &state.own[i * k..(i + 1) * k];
                let mut c = dot(own, &state.x_own[g * k..(g + 1) * k]);
                for o in i * other..(i + 1) * other {
                    let column = met[design.slot[o] as usize] as usize;
                    c += state.others[o] * state.x_other[column];
                }
                let score = prior * here.score;
                let m = tension[i] - 2.0 * score - prior * here.weight * c;
                for ((own_part, row, column), total) in self.place.iter().zip(&mut out) {
                    let (z, u, a) = if *own_part {
                        let at = g * k + column;
                        (design.own[i * k + row], state.u_own[at], state.x_own[at])
                    } else {
                        let at = met[design.slot[i * other + column] as usize] as usize;
                        (design.others[i * other + row], state.u_other[at], state.x_other[at])
                    };
                    *total += z * (m * u + score * a);
                }
                for (x, total) in design.fixed[i * p..(i + 1) * p].iter().zip(&mut out[t..]) {
                    *total += m * x;
                }
                for (m, by) in here.by_parameter.iter().take(f).enumerate() {
                    out[t + p + m] += prior * c * by[1];
                }
            }
        }
        out
    }
}

/// The part of H^-1 over one group's effects and the columns that it meets.
#[derive(Debug, Default)]
pub(crate) struct Local {
    k: usize,
    m: usize,
    /// H^-1 over the group's own effects, k x k.
    v: Vec<f64>,
    /// -H^-1 between own effects and columns, k values by column.
    fr: Vec<f64>,
    /// H^-1 over the columns, m x m.
    r: Vec<f64>,
    /// H^-1 z~ of the last row: own effects, other effects.
    pub own: Vec<f64>,
    pub other: Vec<f64>,
}

impl Local {
    /// Needs the inverses of the blocks.
    pub fn load(&mut self, state: &State, design: &Design, g: usize) {
        let k = design.k;
        let met = design.met(g);
        let m = met.len();
        (self.k, self.m) = (k, m);
        self.r.clear();
        self.fr.clear();
        self.fr.resize(k * m, 0.0);
        let (size, start) = met.first().map_or((0, 0), |c| state.blocks.of(*c));
        let shrunk = &state.shrunk[design.slots[g] * k..design.slots[g + 1] * k];
        for (a, column) in met.iter().enumerate() {
            let from = start + state.blocks.place[*column as usize] as usize * size;
            let inverse = &state.blocks.inverse[from..from + size];
            for (b, other) in met.iter().enumerate() {
                let r = inverse[state.blocks.place[*other as usize] as usize];
                self.r.push(r);
                for e in 0..k {
                    self.fr[a * k + e] += shrunk[b * k + e] * r;
                }
            }
        }
        self.v.clear();
        self.v.extend_from_slice(&state.inverse[g * k * k..(g + 1) * k * k]);
        for a in 0..m {
            for i in 0..k {
                for j in 0..k {
                    self.v[i * k + j] += self.fr[a * k + i] * shrunk[a * k + j];
                }
            }
        }
    }

    /// z~'H^-1 z~ of a row, leaving H^-1 z~ over its effects.
    pub fn leverage(&mut self, own: &[f64], others: &[f64], slot: &[u32]) -> f64 {
        let (k, m) = (self.k, self.m);
        self.own.clear();
        self.other.clear();
        for e in 0..k {
            let mut x = dot(&self.v[e * k..(e + 1) * k], own);
            for (s, z) in slot.iter().zip(others) {
                x -= self.fr[*s as usize * k + e] * z;
            }
            self.own.push(x);
        }
        for s in slot {
            let at = *s as usize;
            let mut x = -dot(&self.fr[at * k..(at + 1) * k], own);
            for (other, z) in slot.iter().zip(others) {
                x += self.r[at * m + *other as usize] * z;
            }
            self.other.push(x);
        }
        dot(own, &self.own) + dot(others, &self.other)
    }
}
