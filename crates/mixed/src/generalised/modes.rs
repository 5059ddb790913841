//! Newton's method for the modes of the effects at one point, group by group.

use super::blocks::Blocks;
use super::design::Design;
use super::family::{
    BinomialKernel, Kernel, Law, NegativeBinomialKernel, PoissonKernel, TweedieKernel, constants,
};
use crate::Error;
use crate::layout::Layout;
use crate::small::dot;

/// Most Newton steps for the modes.
const STEPS: usize = 200;
/// Newton decrement (in units of the deviance) at which the modes are found.
/// The convergence is quadratic: this leaves nothing to be seen in log|H|.
const SETTLED: f64 = 1e-16;

/// Where the effects of one factor stand in a row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    /// Whether it is the eliminated factor.
    pub own: bool,
    /// First effect among the row's effects of the other factors.
    pub start: usize,
    pub k: usize,
}

/// Parts of all factors, in the order of the layout.
pub(crate) fn parts(layout: &Layout) -> Vec<Part> {
    let mut start = 0;
    let part = |(f, shape): (usize, &crate::layout::FactorLayout)| {
        let own = layout.eliminated == Some(f);
        let here = Part { own, start: if own { 0 } else { start }, k: shape.k() };
        if !own {
            start += shape.k();
        }
        here
    };
    layout.factors.iter().enumerate().map(part).collect()
}

/// All buffers of an evaluation. With u spherical, b = Lambda u, and z~ =
/// Lambda'z the values of the effects of a row, the curvature is
///
///   H = I + sum_i W_i z~_i z~_i'
///
/// and the groups of the eliminated factor leave it one by one.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// offset + X b, by row.
    pub base: Vec<f64>,
    /// z~ of the eliminated factor, n x k.
    pub own: Vec<f64>,
    /// z~ of the other factors, n x other.
    pub others: Vec<f64>,
    /// Spherical modes by group, groups x k.
    pub u_own: Vec<f64>,
    /// Spherical modes of the other factors.
    pub u_other: Vec<f64>,
    /// Score and weight by row, at the modes, prior weights included.
    pub score: Vec<f64>,
    pub weight: Vec<f64>,
    /// H_g by group, then its inverse, k x k.
    pub inverse: Vec<f64>,
    /// H_g,other, k values by column entry.
    cross: Vec<f64>,
    /// H_g^-1 H_g,other, k values by column entry.
    pub shrunk: Vec<f64>,
    pub blocks: Blocks,
    /// Gradient Z~'score - u.
    r_own: Vec<f64>,
    r_other: Vec<f64>,
    /// A right-hand side and then the solution.
    pub x_own: Vec<f64>,
    pub x_other: Vec<f64>,
    kept_own: Vec<f64>,
    kept_other: Vec<f64>,
    /// k x k working space.
    scratch: Vec<f64>,
    /// Sweeps over the rows so far.
    pub sweeps: usize,
}

impl State {
    pub fn new(design: &Design) -> Result<State, Error> {
        let (n, k, q) = (design.n, design.k, design.q);
        let own = design.groups() * k;
        let entries = design.columns.len() * k;
        Ok(State {
            base: vec![0.0; n],
            own: vec![0.0; n * k],
            others: vec![0.0; n * design.other],
            u_own: vec![0.0; own],
            u_other: vec![0.0; q],
            score: vec![0.0; n],
            weight: vec![0.0; n],
            inverse: vec![0.0; own * k],
            cross: vec![0.0; entries],
            shrunk: vec![0.0; entries],
            blocks: Blocks::new(design)?,
            r_own: vec![0.0; own],
            r_other: vec![0.0; q],
            x_own: vec![0.0; own],
            x_other: vec![0.0; q],
            kept_own: vec![0.0; own],
            kept_other: vec![0.0; q],
            scratch: vec![0.0; k * k],
            sweeps: 0,
        })
    }

    /// Sets coefficients and relative covariance factors.
    pub fn place(&mut self, design: &Design, parts: &[Part], lambdas: &[Vec<f64>], b: &[f64]) {
        let p = design.p;
        for (i, base) in self.base.iter_mut().enumerate() {
            *base = design.offset[i] + dot(&design.fixed[i * p..(i + 1) * p], b);
        }
        for (part, lambda) in parts.iter().zip(lambdas) {
            let (raw, scaled, width) = if part.own {
                (&design.own, &mut self.own, design.k)
            } else {
                (&design.others, &mut self.others, design.other)
            };
            let (from, k) = (part.start, part.k);
            for (z, out) in raw.chunks_exact(width).zip(scaled.chunks_exact_mut(width)) {
                for c in 0..k {
                    // Lambda is lower triangular.
                    out[from + c] = (c..k).map(|r| z[from + r] * lambda[r * k + c]).sum();
                }
            }
        }
    }

    /// Finds the modes from where they are. Returns
    /// -2 log p(y | u) + |u|^2 + log|H|.
    pub fn settle(&mut self, design: &Design, law: Law) -> Result<f64, Error> {
        let found = match law {
            Law::Poisson => self.newton(design, PoissonKernel),
            Law::NegativeBinomial { size } => self.newton(design, NegativeBinomialKernel { size }),
            Law::Tweedie { dispersion, power } => {
                self.newton(design, TweedieKernel { dispersion, power })
            }
            Law::Binomial => self.newton(design, BinomialKernel),
        };
        let constant = design.ways + constants(law, &design.distinct, &design.distinct_weight)[0];
        match found {
            Ok(value) if value.is_finite() => Ok(value - 2.0 * constant),
            Ok(_) => Err(NOT_SETTLED),
            Err(error) => {
                // Start afresh next time.
                self.u_own.fill(0.0);
                self.u_other.fill(0.0);
                Err(error)
            }
        }
    }

    fn newton<K: Kernel>(&mut self, design: &Design, kernel: K) -> Result<f64, Error> {
        let mut value = self.sweep(design, kernel);
        if !value.is_finite() {
            self.u_own.fill(0.0);
            self.u_other.fill(0.0);
            value = self.sweep(design, kernel);
        }
        for _ in 0..STEPS {
            let log_det = self.eliminate(design)?;
            self.x_own.copy_from_slice(&self.r_own);
            self.x_other.copy_from_slice(&self.r_other);
            self.solve(design);
            let decrement = dot(&self.x_own, &self.r_own) + dot(&self.x_other, &self.r_other);
            if decrement <= SETTLED {
                return Ok(value + log_det);
            }
            self.kept_own.copy_from_slice(&self.u_own);
            self.kept_other.copy_from_slice(&self.u_other);
            let slack = 1e-13 * (1.0 + value.abs());
            let mut step = 1.0;
            loop {
                along(&mut self.u_own, &self.kept_own, &self.x_own, step);
                along(&mut self.u_other, &self.kept_other, &self.x_other, step);
                let next = self.sweep(design, kernel);
                if next <= value - 1e-4 * step * decrement + slack {
                    value = next;
                    break;
                }
                step *= 0.5;
                // Below this the decrease drowns in rounding.
                if step < 1e-10 {
                    return Err(NOT_SETTLED);
                }
            }
        }
        Err(NOT_SETTLED)
    }

    /// One pass over the rows at the present u: objective without log|H|,
    /// gradient and curvature.
    fn sweep<K: Kernel>(&mut self, design: &Design, kernel: K) -> f64 {
        self.sweeps += 1;
        let (k, other) = (design.k, design.other);
        self.blocks.reset();
        self.cross.fill(0.0);
        self.inverse.fill(0.0);
        for (r, u) in self.r_other.iter_mut().zip(&self.u_other) {
            *r = -u;
        }
        let mut value = 0.0;
        for g in 0..design.groups() {
            let met = design.met(g);
            let entry = design.slots[g];
            let (size, start) = met.first().map_or((0, 0), |c| self.blocks.of(*c));
            let u = &self.u_own[g * k..(g + 1) * k];
            let r = &mut self.r_own[g * k..(g + 1) * k];
            let h = &mut self.inverse[g * k * k..(g + 1) * k * k];
            for (a, (r, u)) in r.iter_mut().zip(u).enumerate() {
                *r = -u;
                h[a * k + a] = 1.0;
            }
            for i in design.rows[g]..design.rows[g + 1] {
                let own = &self.own[i * k..(i + 1) * k];
                let others = &self.others[i * other..(i + 1) * other];
                let slot = &design.slot[i * other..(i + 1) * other];
                let mut eta = self.base[i] + dot(own, u);
                for (s, z) in slot.iter().zip(others) {
                    eta += z * self.u_other[met[*s as usize] as usize];
                }
                let here = kernel.newton(design.response[i], eta);
                let prior = design.weight[i];
                let (score, weight) = (prior * here.score, prior * here.weight);
                value += prior * here.value;
                self.score[i] = score;
                self.weight[i] = weight;
                for a in 0..k {
                    r[a] += score * own[a];
                    let wz = weight * own[a];
                    for b in 0..=a {
                        h[a * k + b] += wz * own[b];
                    }
                }
                for (o, (s, z)) in slot.iter().zip(others).enumerate() {
                    let column = met[*s as usize];
                    self.r_other[column as usize] += score * z;
                    let wz = weight * z;
                    let cross = &mut self.cross[(entry + *s as usize) * k..];
                    for (c, x) in cross.iter_mut().zip(own) {
                        *c += wz * x;
                    }
                    let place = self.blocks.place[column as usize] as usize;
                    for (t, y) in slot[..=o].iter().zip(others) {
                        let to = self.blocks.place[met[*t as usize] as usize] as usize;
                        let (low, high) = (place.min(to), place.max(to));
                        self.blocks.lower[start + low * size + high] += wz * y;
                    }
                }
            }
        }
        dot(&self.u_own, &self.u_own) + dot(&self.u_other, &self.u_other) - 2.0 * value
    }

    /// Eliminates the groups and factors the rest; returns log|H|.
    fn eliminate(&mut self, design: &Design) -> Result<f64, Error> {
        let k = design.k;
        let mut log_det = 0.0;
        for g in 0..design.groups() {
            let h = &mut self.inverse[g * k * k..(g + 1) * k * k];
            log_det += invert(h, k, &mut self.scratch)?;
            let met = design.met(g);
            let Some(first) = met.first() else { continue };
            let (size, start) = self.blocks.of(*first);
            let range = design.slots[g] * k..design.slots[g + 1] * k;
            let cross = &self.cross[range.clone()];
            let shrunk = &mut self.shrunk[range];
            for (f, b) in shrunk.chunks_exact_mut(k).zip(cross.chunks_exact(k)) {
                for (e, f) in f.iter_mut().enumerate() {
                    *f = dot(&h[e * k..(e + 1) * k], b);
                }
            }
            for (a, f) in shrunk.chunks_exact(k).enumerate() {
                // Places rise with columns, which are ascending in a group.
                let from = start + self.blocks.place[met[a] as usize] as usize * size;
                let column = &mut self.blocks.lower[from..from + size];
                for (b, c) in cross.chunks_exact(k).enumerate().skip(a) {
                    column[self.blocks.place[met[b] as usize] as usize] -= dot(f, c);
                }
            }
        }
        Ok(log_det + self.blocks.factor()?)
    }

    /// Replaces (x_own, x_other) by H^-1 (x_own, x_other).
    pub fn solve(&mut self, design: &Design) {
        let (mut own, mut other) =
            (std::mem::take(&mut self.x_own), std::mem::take(&mut self.x_other));
        self.solve_in_place(design, &mut own, &mut other);
        (self.x_own, self.x_other) = (own, other);
    }

    /// Replaces `own` (groups x k) and `others` by H^-1 times them.
    pub fn solve_in_place(&self, design: &Design, own: &mut [f64], others: &mut [f64]) {
        let k = design.k;
        if k == 0 {
            return;
        }
        let mut kept = vec![0.0; k];
        for (g, x) in own.chunks_exact(k).enumerate() {
            let entry = design.slots[g];
            for (at, column) in design.met(g).iter().enumerate() {
                let f = &self.shrunk[(entry + at) * k..(entry + at + 1) * k];
                others[*column as usize] -= dot(f, x);
            }
        }
        self.blocks.solve(others);
        for (g, x) in own.chunks_exact_mut(k).enumerate() {
            let entry = design.slots[g];
            let h = &self.inverse[g * k * k..(g + 1) * k * k];
            kept.copy_from_slice(x);
            for (e, x) in x.iter_mut().enumerate() {
                *x = dot(&h[e * k..(e + 1) * k], &kept);
            }
            for (at, column) in design.met(g).iter().enumerate() {
                let v = others[*column as usize];
                let f = &self.shrunk[(entry + at) * k..(entry + at + 1) * k];
                for (x, f) in x.iter_mut().zip(f) {
                    *x -= f * v;
                }
            }
        }
    }

    /// eta of a sorted row of group `g` at the modes.
    pub fn eta(&self, design: &Design, g: usize, i: usize) -> f64 {
        let (k, other) = (design.k, design.other);
        let met = design.met(g);
        let u = &self.u_own[g * k..(g + 1) * k];
        let mut eta = self.base[i] + dot(&self.own[i * k..(i + 1) * k], u);
        for o in i * other..(i + 1) * other {
            eta += self.others[o] * self.u_other[met[design.slot[o] as usize] as usize];
        }
        eta
    }
}

const NOT_SETTLED: Error =
    Error::Numerical { what: "the modes of a generalised model did not settle" };

fn along(out: &mut [f64], from: &[f64], direction: &[f64], step: f64) {
    for ((o, f), d) in out.iter_mut().zip(from).zip(direction) {
        *o = f + step * d;
    }
}

/// Inverts a positive definite k x k matrix given by its lower triangle, in
/// place; returns its log-determinant.
fn invert(a: &mut [f64], k: usize, l: &mut [f64]) -> Result<f64, Error> {
    if k == 1 {
        let log_det = a[0].ln();
        a[0] = 1.0 / a[0];
        return if log_det.is_finite() { Ok(log_det) } else { Err(NOT_SETTLED) };
    }
    let mut log_det = 0.0;
    l.fill(0.0);
    for j in 0..k {
        for i in j..k {
            let rest = a[i * k + j] - dot(&l[i * k..i * k + j], &l[j * k..j * k + j]);
            if i == j {
                // Written so that NaN fails.
                if !(rest > 0.0 && rest.is_finite()) {
                    return Err(NOT_SETTLED);
                }
                l[j * k + j] = rest.sqrt();
                log_det += rest.ln();
            } else {
                l[i * k + j] = rest / l[j * k + j];
            }
        }
    }
    // L^-1 into the lower triangle of l, then its product with itself.
    for j in 0..k {
        for i in j..k {
            let unit = if i == j { 1.0 } else { 0.0 };
            let done: f64 = (j..i).map(|m| l[i * k + m] * a[m * k + j]).sum();
            a[i * k + j] = (unit - done) / l[i * k + i];
        }
    }
    l.copy_from_slice(a);
    for i in 0..k {
        for j in 0..=i {
            let v: f64 = (i..k).map(|m| l[m * k + i] * l[m * k + j]).sum();
            a[i * k + j] = v;
            a[j * k + i] = v;
        }
    }
    Ok(log_det)
}
