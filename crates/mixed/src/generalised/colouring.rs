//! Which parameters may be moved at once when a Hessian is differenced.
//!
//! Given theta and the family's parameters the deviance is a sum over components: groups that no
//! column of another factor joins. Coefficients whose columns meet no component in common, such as
//! those of two regions, do not interact, so that one difference of the gradient serves a set of
//! them. What a set leaves unresolved stands in the columns of parameters that are moved alone,
//! by symmetry (Coleman and Moré, 1984, Math. Programming 28:243-270).

use super::approximation::Model;
use super::modes::State;
use crate::Matrix;
use std::cmp::Reverse;
use std::iter::repeat_n;

/// Sets of parameters with what each meets.
#[derive(Debug)]
pub(crate) struct Colouring {
    /// Free parameters in sets that are moved at once; those moved alone come first.
    pub sets: Vec<Vec<usize>>,
    /// Component of each group, and of each column of the other factors.
    group: Vec<usize>,
    column: Vec<usize>,
    /// By parameter, whether it meets each component; empty for one that meets all.
    meets: Vec<Vec<bool>>,
}

impl Colouring {
    /// Sets for the free parameters, as few as a greedy choice finds.
    pub fn of(model: &Model, state: &State, free: &[bool]) -> Colouring {
        let design = &model.design;
        let blocks = state.blocks.count();
        // A group that meets no other column is a component of its own.
        let group: Vec<usize> = (0..design.groups())
            .map(|g| design.met(g).first().map_or(blocks + g, |c| state.blocks.name(*c)))
            .collect();
        let column = (0..design.q).map(|c| state.blocks.name(c as u32)).collect();
        let (t, p) = (model.entries.len(), design.p);
        let mut meets = vec![Vec::new(); free.len()];
        for own in &mut meets[t..t + p] {
            *own = vec![false; blocks + design.groups()];
        }
        for (g, component) in group.iter().enumerate() {
            for i in design.rows[g]..design.rows[g + 1] {
                for (x, own) in design.fixed[i * p..(i + 1) * p].iter().zip(&mut meets[t..]) {
                    own[*component] |= *x != 0.0;
                }
            }
        }
        let mut out = Colouring { sets: Vec::new(), group, column, meets };
        out.choose(free);
        out
    }

    /// Whether two parameters meet a component in common.
    fn meet(&self, a: usize, b: usize) -> bool {
        let (a, b) = (&self.meets[a], &self.meets[b]);
        a.is_empty() || b.is_empty() || a.iter().zip(b).any(|(a, b)| *a && *b)
    }

    fn choose(&mut self, free: &[bool]) {
        let free: Vec<usize> = (0..free.len()).filter(|j| free[*j]).collect();
        let n = free.len();
        let touching: Vec<Vec<bool>> =
            free.iter().map(|a| free.iter().map(|b| self.meet(*a, *b)).collect()).collect();
        let mut order: Vec<usize> = (0..n).collect();
        let degree = |a: &usize| touching[*a].iter().filter(|touch| **touch).count();
        order.sort_by_key(|a| Reverse(degree(a)));
        let mut best: Vec<Vec<usize>> = order.iter().map(|a| vec![*a]).collect();
        // The more are moved alone, the less the rest have in common.
        for alone in 0..n {
            let rest = &order[alone..];
            // Two of a set may share no neighbour among the rest, nor meet.
            let apart =
                |a: usize, b: usize| rest.iter().all(|c| !(touching[a][*c] && touching[b][*c]));
            let mut sets: Vec<Vec<usize>> = order[..alone].iter().map(|a| vec![*a]).collect();
            for a in rest {
                match sets[alone..].iter_mut().find(|set| set.iter().all(|b| apart(*a, *b))) {
                    Some(set) => set.push(*a),
                    None => sets.push(vec![*a]),
                }
                if sets.len() >= best.len() {
                    break;
                }
            }
            if sets.len() < best.len() {
                best = sets;
            }
        }
        self.sets = best.iter().map(|set| set.iter().map(|a| free[*a]).collect()).collect();
    }

    /// The symmetric matrix over all parameters of which the products with each set's steps are
    /// given; 0 in rows and columns of parameters in no set.
    pub fn symmetric(&self, steps: &[f64], products: &[Vec<f64>]) -> Matrix {
        let n = steps.len();
        // Sums of what was found for an entry, from one side or both, and how often.
        let (mut out, mut times) = (Matrix::zeros(n, n), Matrix::zeros(n, n));
        for (set, product) in self.sets.iter().zip(products) {
            for i in self.sets.iter().flatten() {
                let mut met = set.iter().filter(|j| self.meet(*i, **j));
                if let (Some(j), None) = (met.next(), met.next()) {
                    for (a, b) in [(*i, *j), (*j, *i)] {
                        out[(a, b)] += product[*i] / steps[*j];
                        times[(a, b)] += 1.0;
                    }
                }
            }
        }
        for i in 0..n {
            for j in 0..n {
                out[(i, j)] /= f64::max(times[(i, j)], 1.0);
            }
        }
        out
    }

    /// The part of a change of the modes that is due to one parameter of a set, per unit of it:
    /// own effects by group, k each, then the other factors' columns.
    pub fn share(&self, change: &[f64], (j, step): (usize, f64), k: usize) -> Vec<f64> {
        let met = &self.meets[j];
        let meets = |component: &usize| met.is_empty() || met[*component];
        let components = self.group.iter().flat_map(|c| repeat_n(c, k));
        let parts = change.iter().zip(components.chain(&self.column));
        parts.map(|(x, component)| if meets(component) { x / step } else { 0.0 }).collect()
    }
}
