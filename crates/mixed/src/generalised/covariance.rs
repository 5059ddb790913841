//! Curvature of the deviance: an approximation to start from and the differenced Hessian at the end.

use super::approximation::Model;
use super::colouring::Colouring;
use super::modes::State;
use crate::small::dot;
use crate::threads;
use crate::{Error, Matrix};

/// Rows below which threads cost more than they save.
const ROWS_FOR_THREADS: usize = 2000;

impl Model {
    /// X'WX - X'WZ~ H^-1 Z~'WX at the modes in `state`: the information on the
    /// coefficients at the given theta.
    pub fn information(&self, state: &mut State) -> Matrix {
        let design = &self.design;
        let (k, other, p) = (design.k, design.other, design.p);
        let mut out = Matrix::zeros(p, p);
        for i in 0..design.n {
            let x = &design.fixed[i * p..(i + 1) * p];
            // Most columns belong to one region and are 0 in the others.
            for a in (0..p).filter(|a| x[*a] != 0.0) {
                let wx = state.weight[i] * x[a];
                for (to, x) in out.row_mut(a).iter_mut().zip(&x[..=a]) {
                    *to += wx * x;
                }
            }
        }
        let mut sides: Vec<(Vec<f64>, Vec<f64>)> = Vec::with_capacity(p);
        for a in 0..p {
            state.x_own.fill(0.0);
            state.x_other.fill(0.0);
            for g in 0..design.groups() {
                let met = design.met(g);
                for i in design.rows[g]..design.rows[g + 1] {
                    let wx = state.weight[i] * design.fixed[i * p + a];
                    for (x, z) in
                        state.x_own[g * k..].iter_mut().zip(&state.own[i * k..(i + 1) * k])
                    {
                        *x += wx * z;
                    }
                    for o in i * other..(i + 1) * other {
                        let column = met[design.slot[o] as usize] as usize;
                        state.x_other[column] += wx * state.others[o];
                    }
                }
            }
            sides.push((state.x_own.clone(), state.x_other.clone()));
            state.solve(design);
            for (b, (own, others)) in sides.iter().enumerate() {
                out[(a, b)] -= dot(own, &state.x_own) + dot(others, &state.x_other);
            }
        }
        out.mirror();
        out
    }

    /// A Hessian for the search: twice the information for the coefficients,
    /// one-sided differences of the gradient for the few others.
    pub fn first_hessian(
        &self,
        state: &mut State,
        x: &[f64],
        gradient: &[f64],
    ) -> Result<Matrix, Error> {
        let (t, p) = (self.entries.len(), self.design.p);
        let information = self.information(state);
        let mut out = Matrix::zeros(x.len(), x.len());
        for a in 0..p {
            for b in 0..p {
                out[(t + a, t + b)] = 2.0 * information[(a, b)];
            }
        }
        for j in (0..t).chain(t + p..x.len()) {
            let mut moved = x.to_vec();
            let h = 1e-3 * x[j].abs().max(0.1);
            moved[j] += h;
            let (_, there) = self.evaluate(state, &moved)?;
            for (i, (up, down)) in there.iter().zip(gradient).enumerate() {
                let value = (up - down) / h;
                out[(i, j)] = value;
                if (t..t + p).contains(&i) {
                    out[(j, i)] = value;
                }
            }
        }
        Ok(out)
    }

    /// The Hessian by central differences of the exact gradient, and the
    /// derivative of the modes b by every parameter: own effects by group,
    /// then the other factors' columns.
    pub fn hessian(
        &self,
        state: &State,
        x: &[f64],
        free: &[bool],
    ) -> Result<(Matrix, Vec<Vec<f64>>), Error> {
        let n = x.len();
        let colouring = Colouring::of(self, state, free);
        let steps: Vec<f64> = x.iter().map(|x| 2e-3 * x.abs().max(0.1)).collect();
        // Each from the same modes, so that the last digits do not depend on
        // which thread took what before.
        let change = |at: usize| self.change(&mut state.clone(), x, &colouring.sets[at], &steps);
        let sets = colouring.sets.len();
        let found: Vec<_> = if self.design.n < ROWS_FOR_THREADS {
            (0..sets).map(change).collect()
        } else {
            threads::map(sets, change)
        };
        let mut modes = vec![Vec::new(); n];
        let mut products = Vec::with_capacity(sets);
        for (set, found) in colouring.sets.iter().zip(found) {
            let (product, by) = found?;
            for j in set {
                modes[*j] = colouring.share(&by, (*j, steps[*j]), self.design.k);
            }
            products.push(product);
        }
        Ok((colouring.symmetric(&steps, &products), modes))
    }

    /// Change of the gradient and of the modes over the steps of a set of parameters, half of each
    /// step to either side.
    fn change(
        &self,
        state: &mut State,
        x: &[f64],
        set: &[usize],
        steps: &[f64],
    ) -> Result<(Vec<f64>, Vec<f64>), Error> {
        let mut at = |side: f64| -> Result<(Vec<f64>, Vec<f64>), Error> {
            let mut moved = x.to_vec();
            for j in set {
                moved[*j] += side * steps[*j];
            }
            let (_, gradient) = self.evaluate(state, &moved)?;
            Ok((gradient, self.effects(state, &moved)))
        };
        let (up, b_up) = at(0.5)?;
        let (down, b_down) = at(-0.5)?;
        let minus = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a - b).collect();
        Ok((minus(&up, &down), minus(&b_up, &b_down)))
    }

    /// Modes b = Lambda u: own effects by group, then the other columns.
    pub fn effects(&self, state: &State, x: &[f64]) -> Vec<f64> {
        let lambdas = self.lambdas(x);
        let mut out = vec![0.0; state.u_own.len() + state.u_other.len()];
        let (own, others) = out.split_at_mut(state.u_own.len());
        for (shape, lambda) in self.layout.factors.iter().zip(&lambdas) {
            let k = shape.k();
            let (from, to): (&[f64], &mut [f64]) = match shape.column_start {
                None => (&state.u_own, &mut *own),
                Some(start) => {
                    let range = start..start + shape.levels * k;
                    (&state.u_other[range.clone()], &mut others[range])
                }
            };
            for (u, b) in from.chunks_exact(k).zip(to.chunks_exact_mut(k)) {
                for (a, b) in b.iter_mut().enumerate() {
                    *b = dot(&lambda[a * k..(a + 1) * k], u);
                }
            }
        }
        out
    }
}
