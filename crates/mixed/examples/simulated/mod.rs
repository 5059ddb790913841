//! Simulated benchmark data with known truth: columns, their mixed model, and files of raw columns for peers.
#![allow(dead_code, clippy::unwrap_used)]

use mixed::{Covariance, Data, Factor, FixedColumn, RandomEffect};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use std::fs;
use std::path::Path;

/// Columns of a simulated data set.
pub struct Columns {
    pub y: Vec<f64>,
    /// Fixed columns; the first is 1.
    pub x: Vec<Vec<f64>>,
    /// Name, number of levels and codes of each grouping factor.
    pub factors: Vec<(&'static str, usize, Vec<u32>)>,
    /// Correlated slopes of the last factor on these fixed columns.
    pub slopes: Vec<usize>,
}

impl Columns {
    pub fn data(&self) -> Data<'_> {
        let mut data = Data::new(&self.y);
        for (j, x) in self.x.iter().enumerate() {
            data = data.column(FixedColumn::new(format!("x{j}"), x.as_slice()));
        }
        for (f, (name, levels, codes)) in self.factors.iter().enumerate() {
            let mut factor = Factor::intercept(*name, codes, *levels);
            if f + 1 == self.factors.len() && !self.slopes.is_empty() {
                factor.covariance = Covariance::Correlated;
                factor.effects = self
                    .slopes
                    .iter()
                    .map(|j| RandomEffect::Slope { name: format!("x{j}"), values: &self.x[*j] })
                    .collect();
            }
            data = data.factor(factor);
        }
        data
    }

    /// Writes each column as raw little-endian numbers, which any peer reads exactly.
    pub fn write(&self, folder: &Path) {
        fs::create_dir_all(folder).unwrap();
        let reals = |name: String, v: &[f64]| {
            let bytes: Vec<u8> = v.iter().flat_map(|x| x.to_le_bytes()).collect();
            fs::write(folder.join(name), bytes).unwrap();
        };
        reals("y.f64".into(), &self.y);
        for (j, x) in self.x.iter().enumerate() {
            reals(format!("x{j}.f64"), x);
        }
        for (name, _, codes) in &self.factors {
            let bytes: Vec<u8> = codes.iter().flat_map(|x| x.to_le_bytes()).collect();
            fs::write(folder.join(format!("{name}.u32")), bytes).unwrap();
        }
    }
}

/// User and system time of this process over all threads, in seconds; NaN
/// where there is no /proc. It tells more than the clock on a busy machine.
pub fn processor_seconds() -> f64 {
    let text = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // Fields 14 and 15, counted after the name in brackets, in hundredths.
    let fields = text.rsplit(')').next().unwrap_or_default();
    let ticks = fields.split_whitespace().skip(11).take(2).map(str::parse::<f64>);
    ticks
        .sum::<Result<f64, _>>()
        .map_or(f64::NAN, |t| if text.is_empty() { f64::NAN } else { t / 100.0 })
}

fn normal(rng: &mut ChaCha12Rng) -> f64 {
    StandardNormal.sample(rng)
}

fn effects(rng: &mut ChaCha12Rng, levels: usize, sd: f64) -> Vec<f64> {
    (0..levels).map(|_| sd * normal(rng)).collect()
}

/// Standard deviations of the panel: tree, block, site x season, three slopes, residual.
pub const PANEL_TRUTH: [f64; 7] = [0.6, 0.3, 0.4, 0.2, 0.15, 0.1, 1.0];

/// Trees seen in 10 seasons each; 500 blocks in 40 sites in 8 regions; 12
/// fixed columns; random tree, block, site x season and 3 correlated regional slopes.
pub fn panel(trees: usize, seed: u64) -> Columns {
    let (seasons, blocks, sites, regions, columns) = (10, 500, 40, 8, 12);
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let [tree_sd, block_sd, cell_sd, s1, s2, s3, residual] = PANEL_TRUTH;
    let tree_effect = effects(&mut rng, trees, tree_sd);
    let block_effect = effects(&mut rng, blocks, block_sd);
    let cell_effect = effects(&mut rng, sites * seasons, cell_sd);
    let slopes: Vec<[f64; 3]> = (0..regions)
        .map(|_| {
            // Correlation 0.5 between neighbours.
            let z = [normal(&mut rng), normal(&mut rng), normal(&mut rng)];
            let half = 0.75_f64.sqrt();
            [s1 * z[0], s2 * (0.5 * z[0] + half * z[1]), s3 * (0.5 * z[1] + half * z[2])]
        })
        .collect();
    let rows = trees * seasons;
    let mut out = Columns {
        y: Vec::with_capacity(rows),
        x: vec![Vec::with_capacity(rows); columns],
        factors: ["tree", "block", "cell", "region"]
            .into_iter()
            .zip([trees, blocks, sites * seasons, regions])
            .map(|(name, levels)| (name, levels, Vec::with_capacity(rows)))
            .collect(),
        slopes: vec![1, 2, 3],
    };
    for (tree, effect) in tree_effect.iter().enumerate() {
        let block = tree * blocks / trees;
        let site = block * sites / blocks;
        let region = site * regions / sites;
        for season in 0..seasons {
            let cell = site * seasons + season;
            let mut y = 5.0 + effect + block_effect[block] + cell_effect[cell];
            out.x[0].push(1.0);
            for j in 1..columns {
                let x = rng.random::<f64>() - 0.5;
                y += x * (0.1 * j as f64);
                if j <= 3 {
                    y += x * slopes[region][j - 1];
                }
                out.x[j].push(x);
            }
            out.y.push(y + residual * normal(&mut rng));
            for ((_, _, codes), code) in out.factors.iter_mut().zip([tree, block, cell, region]) {
                codes.push(code as u32);
            }
        }
    }
    out
}

/// Standard deviations of the crossed design: rater, subject, group, residual.
pub const CROSSED_TRUTH: [f64; 4] = [0.35, 0.5, 0.2, 1.2];

/// Ratings by 3000 raters of 1100 subjects in 14 groups, crossed at random,
/// with an intercept and one more fixed column.
pub fn crossed(rows: usize, seed: u64) -> Columns {
    let (raters, subjects, groups) = (3000, 1100, 14);
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let effect = [
        effects(&mut rng, raters, CROSSED_TRUTH[0]),
        effects(&mut rng, subjects, CROSSED_TRUTH[1]),
        effects(&mut rng, groups, CROSSED_TRUTH[2]),
    ];
    let mut out = Columns {
        y: Vec::new(),
        x: vec![vec![1.0; rows], Vec::new()],
        factors: vec![
            ("rater", raters, Vec::new()),
            ("subject", subjects, Vec::new()),
            ("group", groups, Vec::new()),
        ],
        slopes: Vec::new(),
    };
    for row in 0..rows {
        // Every level is met; subjects have unequal numbers of ratings.
        let rater = if row < raters { row } else { rng.random_range(0..raters) };
        let u: f64 = rng.random();
        let subject = if row < subjects {
            row
        } else {
            ((u * u * subjects as f64) as usize).min(subjects - 1)
        };
        let group = rng.random_range(0..groups);
        let x = f64::from(u8::from(rng.random::<f64>() < 0.4));
        out.x[1].push(x);
        let mut y = 3.2 - 0.1 * x + CROSSED_TRUTH[3] * normal(&mut rng);
        for ((_, _, codes), (code, effect)) in
            out.factors.iter_mut().zip([rater, subject, group].into_iter().zip(&effect))
        {
            codes.push(code as u32);
            y += effect[code];
        }
        out.y.push(y);
    }
    out
}
