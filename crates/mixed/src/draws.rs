//! Independent posterior draws of theta, sigma, coefficients and random effects, jointly.

use crate::criterion::{Solved, shrinkage};
use crate::integrate::Posterior;
use crate::small::{cholesky, dot, product, transpose};
use crate::spread::Spread;
use crate::threads;
use crate::{Error, Matrix};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};
use serde::Serialize;

/// Nodes factored side by side.
const TOGETHER: usize = 64;

/// Draws by row: theta, sigma, coefficients, then the effects of the chosen factors.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Draws {
    names: Vec<String>,
    values: Matrix,
    theta: usize,
    coefficients: usize,
    seed: u64,
}

impl Draws {
    /// Column names: theta entries, `sigma`, fixed columns, and
    /// `factor.effect[level]` level by level for each chosen factor.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The draws, n x columns. Coefficients and effects are in response units;
    /// coefficients that are not estimable are NaN.
    pub fn values(&self) -> &Matrix {
        &self.values
    }

    /// Number of draws.
    pub fn len(&self) -> usize {
        self.values.n_rows()
    }

    /// Whether there is no draw.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Columns of theta.
    pub fn theta_columns(&self) -> std::ops::Range<usize> {
        0..self.theta
    }

    /// Column of sigma.
    pub fn sigma_column(&self) -> usize {
        self.theta
    }

    /// Columns of the coefficients.
    pub fn coefficient_columns(&self) -> std::ops::Range<usize> {
        self.theta + 1..self.theta + 1 + self.coefficients
    }

    /// Columns of the random effects.
    pub fn effect_columns(&self) -> std::ops::Range<usize> {
        self.theta + 1 + self.coefficients..self.names.len()
    }

    /// One column by name.
    pub fn column(&self, name: &str) -> Option<Vec<f64>> {
        let at = self.names.iter().position(|n| n == name)?;
        Some(self.values.column(at))
    }

    /// Seed used.
    pub fn seed(&self) -> u64 {
        self.seed
    }
}

/// A weighted sum of the first effects (intercepts) of a factor's levels, drawn as a column of its
/// own: where a factor has many levels, what is asked of them is often only their mean.
#[derive(Debug, Clone, PartialEq)]
pub struct EffectSum {
    /// Name of the column.
    pub name: String,
    /// Factor.
    pub factor: String,
    /// Levels, from 0, with their weights.
    pub weights: Vec<(usize, f64)>,
}

impl Posterior {
    /// Draws `n` independent vectors: a node of theta by its weight; sigma^2
    /// given theta, y scaled inverse chi-square with n - p degrees of freedom;
    /// then effects and coefficients jointly normal. The same seed gives the
    /// same bytes.
    ///
    /// # Errors
    /// Unknown factors; a system that cannot be factored at a node.
    pub fn draws(&self, n: usize, seed: u64, factors: &[&str]) -> Result<Draws, Error> {
        self.draws_with_sums(n, seed, factors, &[])
    }

    /// As [`Posterior::draws`], with sums of effects as further columns, last among
    /// [`Draws::effect_columns`]. The other columns are the same with and without them, unless a sum
    /// is over the levels of the factor with most levels.
    ///
    /// # Errors
    /// Unknown factors and levels; a system that cannot be factored at a node.
    pub fn draws_with_sums(
        &self,
        n: usize,
        seed: u64,
        factors: &[&str],
        sums: &[EffectSum],
    ) -> Result<Draws, Error> {
        let system = &self.system;
        let chosen = factors
            .iter()
            .map(|name| system.layout.factor_index(name))
            .collect::<Result<Vec<usize>, Error>>()?;
        let sums = sums.iter().map(|sum| self.placed(sum)).collect::<Result<Vec<_>, Error>>()?;
        let asked = |f: usize| chosen.contains(&f) || sums.iter().any(|sum| sum.factor == f);
        if system.layout.eliminated.is_some_and(asked) {
            system.each_group()?;
        }
        let mut names = self.draw_names(&chosen);
        names.extend(sums.iter().map(|sum| sum.name.clone()));
        let mut values = Matrix::zeros(n, names.len());
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut cumulative = Vec::with_capacity(self.weights.len());
        let mut total = 0.0;
        for w in &self.weights {
            total += w;
            cumulative.push(total);
        }
        // Draws of one node share a factorisation; each keeps its own place,
        // so the sequence of draws stays independent.
        let mut places: Vec<Vec<usize>> = vec![Vec::new(); self.nodes.len()];
        for place in 0..n {
            let u = rng.random::<f64>() * total;
            let node = cumulative.partition_point(|c| *c <= u);
            places[node.min(self.nodes.len() - 1)].push(place);
        }
        let used: Vec<usize> = (0..places.len()).filter(|n| !places[*n].is_empty()).collect();
        // Factorisations of a few nodes at a time; random numbers in order.
        for together in used.chunks(TOGETHER) {
            let solved =
                threads::map(together.len(), |i| system.solve(&self.nodes[together[i]].theta));
            for (node, solved) in together.iter().zip(solved) {
                let solved = solved?;
                let sampler = Sampler::new(self, &solved, &chosen, &sums)?;
                for place in &places[*node] {
                    sampler.fill(&mut rng, values.row_mut(*place));
                }
            }
        }
        Ok(Draws {
            names,
            values,
            theta: system.entries.len(),
            coefficients: system.layout.p(),
            seed,
        })
    }

    /// A sum with its factor by index.
    fn placed(&self, sum: &EffectSum) -> Result<PlacedSum, Error> {
        let layout = &self.system.layout;
        let factor = layout.factor_index(&sum.factor)?;
        let levels = layout.factors[factor].levels;
        if let Some((level, _)) = sum.weights.iter().find(|(level, _)| *level >= levels) {
            return Err(Error::Unknown { what: format!("level {level} of factor {}", sum.factor) });
        }
        Ok(PlacedSum { name: sum.name.clone(), factor, weights: sum.weights.clone() })
    }

    fn draw_names(&self, chosen: &[usize]) -> Vec<String> {
        let layout = &self.system.layout;
        let mut names: Vec<String> = self.system.entries.iter().map(|e| e.name.clone()).collect();
        names.push("sigma".into());
        names.extend(layout.fixed.iter().map(|u| u.name.clone()));
        for f in chosen {
            let factor = &layout.factors[*f];
            for level in 0..factor.levels {
                for effect in &factor.effects {
                    names.push(format!("{}.{effect}[{level}]", factor.name));
                }
            }
        }
        names
    }
}

/// A sum of effects with its factor by index.
struct PlacedSum {
    name: String,
    factor: usize,
    weights: Vec<(usize, f64)>,
}

/// Everything that the draws at one theta share.
struct Sampler<'a> {
    posterior: &'a Posterior,
    solved: &'a Solved,
    chosen: &'a [usize],
    sums: &'a [PlacedSum],
    centre: Vec<f64>,
    /// User coefficients as (internal contrast over kept columns, offset).
    coefficients: Vec<Option<(Vec<f64>, f64)>>,
    /// D and its root by group, when the eliminated factor is chosen.
    roots: Vec<(Vec<f64>, Vec<f64>)>,
    chi_squared: ChiSquared<f64>,
    /// T, from spherical effects to effects.
    forward: Spread,
}

impl<'a> Sampler<'a> {
    fn new(
        posterior: &'a Posterior,
        solved: &'a Solved,
        chosen: &'a [usize],
        sums: &'a [PlacedSum],
    ) -> Result<Self, Error> {
        let system = &posterior.system;
        let p = system.layout.p();
        let coefficients = (0..p)
            .map(|j| {
                let mut unit = vec![0.0; p];
                unit[j] = 1.0;
                let (inner, offset) = system.units.contrast(&unit);
                let kept = system.screen.kept.iter().map(|i| inner[*i]).collect();
                let estimable = system.screen.is_estimable(&inner);
                estimable.then_some((kept, offset))
            })
            .collect();
        let k = system.layout.k();
        let mut roots = Vec::new();
        if let Some(f) = system.layout.eliminated
            && (chosen.contains(&f) || sums.iter().any(|sum| sum.factor == f))
        {
            let lambda = &solved.lambdas[f];
            let prior = product(lambda, &transpose(lambda, k), k);
            for slot in &system.group_of_level {
                let d = match slot {
                    Some(g) => shrinkage(lambda, &system.groups[*g].zz, k).0,
                    None => prior.clone(),
                };
                let root = cholesky(&d, k, 1e-14);
                roots.push((d, root));
            }
        }
        Ok(Sampler {
            posterior,
            solved,
            chosen,
            sums,
            centre: solved.solution(),
            forward: Spread::forward(&system.shape, &solved.lambdas),
            coefficients,
            roots,
            chi_squared: ChiSquared::new(system.df_residual())
                .map_err(|_| Error::Numerical { what: "residual degrees of freedom" })?,
        })
    }

    fn fill(&self, rng: &mut ChaCha12Rng, row: &mut [f64]) {
        let system = &self.posterior.system;
        let scale = system.units.response_scale;
        let sigma = (self.solved.rss / self.chi_squared.sample(rng)).sqrt();
        let joint = self.joint(rng, sigma);
        let mut cells = row.iter_mut();
        let mut put = |x: f64| {
            if let Some(cell) = cells.next() {
                *cell = x;
            }
        };
        self.solved.theta.iter().for_each(|t| put(*t));
        put(sigma * scale);
        for coefficient in &self.coefficients {
            put(match coefficient {
                Some((inner, offset)) => offset + dot(inner, &joint[system.layout.q..]),
                None => f64::NAN,
            });
        }
        let eliminated = (!self.roots.is_empty()).then(|| self.group_effects(rng, sigma, &joint));
        let effects = |f: usize| {
            let factor = &system.layout.factors[f];
            match factor.column_start {
                Some(start) => &joint[start..start + factor.levels * factor.k()],
                None => eliminated.as_deref().unwrap_or_default(),
            }
        };
        for f in self.chosen {
            effects(*f).iter().for_each(|b| put(b * scale));
        }
        for sum in self.sums {
            let (own, k) = (effects(sum.factor), system.layout.factors[sum.factor].k());
            let parts = sum.weights.iter().map(|(level, weight)| own[level * k] * weight);
            put(scale * parts.sum::<f64>());
        }
    }

    /// [b_other | coefficients] ~ N(solution, sigma^2 T M^-1 T'): T L^-T z.
    fn joint(&self, rng: &mut ChaCha12Rng, sigma: f64) -> Vec<f64> {
        let mut z: Vec<f64> = (0..self.centre.len()).map(|_| StandardNormal.sample(rng)).collect();
        self.solved.factor.back(&mut z);
        let shape = &self.posterior.system.shape;
        self.forward.vector(shape, &mut z);
        let noise = shape.restored(&z);
        self.centre.iter().zip(&noise).map(|(c, e)| c + sigma * e).collect()
    }

    /// Effects of the eliminated factor given the rest: independent groups,
    /// b_g ~ N(D S_g (y - R joint), sigma^2 D).
    fn group_effects(&self, rng: &mut ChaCha12Rng, sigma: f64, joint: &[f64]) -> Vec<f64> {
        let system = &self.posterior.system;
        let k = system.layout.k();
        let mut w: Vec<f64> = joint.iter().map(|x| -x).collect();
        w.push(1.0);
        let mut out = Vec::with_capacity(self.roots.len() * k);
        for (slot, (d, root)) in system.group_of_level.iter().zip(&self.roots) {
            let s = match slot {
                Some(g) => system.groups[*g].times(&w, k),
                None => vec![0.0; k],
            };
            let z: Vec<f64> = (0..k).map(|_| StandardNormal.sample(rng)).collect();
            for a in 0..k {
                let line = a * k..(a + 1) * k;
                out.push(dot(&d[line.clone()], &s) + sigma * dot(&root[line], &z));
            }
        }
        out
    }
}
