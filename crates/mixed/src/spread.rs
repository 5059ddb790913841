//! The factor T = blockdiag(Lambda of each level, I) applied to panels of the reduced system.

use crate::shape::{Part, Shape};
use crate::small::transpose;
use crate::vector::{add_scaled, multiply_each};

/// T or T', ready to multiply columns and rows of panels in place.
pub(crate) struct Spread {
    /// Multiplier by position; 1 where levels have several effects, and for
    /// fixed columns and the response.
    diagonal: Vec<f64>,
    /// k x k block of one level by factor.
    blocks: Vec<Vec<f64>>,
    /// Whether blocks are lower triangular (T) or upper triangular (T').
    lower: bool,
}

impl Spread {
    /// v -> T v.
    pub fn forward(shape: &Shape, lambdas: &[Vec<f64>]) -> Spread {
        Spread::new(shape, lambdas.to_vec(), true)
    }

    /// v -> T'v.
    pub fn transposed(shape: &Shape, lambdas: &[Vec<f64>]) -> Spread {
        let turned = lambdas.iter().map(|l| transpose(l, l.len().isqrt())).collect();
        Spread::new(shape, turned, false)
    }

    fn new(shape: &Shape, blocks: Vec<Vec<f64>>, lower: bool) -> Spread {
        let diagonal = shape.single.iter().map(|f| f.map_or(1.0, |f| blocks[f][0])).collect();
        Spread { diagonal, blocks, lower }
    }

    /// A panel P -> P with its columns combined: columns of (S P')'.
    pub fn columns(&self, part: &Part, panel: &mut [f64]) {
        for (column, x) in panel.chunks_exact_mut(part.height).zip(&self.diagonal[part.start..]) {
            if *x != 1.0 {
                column.iter_mut().for_each(|v| *v *= x);
            }
        }
        for (first, factor) in &part.wide {
            let block = &self.blocks[*factor];
            let k = block.len().isqrt();
            let from = first * part.height;
            let level = &mut panel[from..from + k * part.height];
            for i in self.order(k) {
                let (before, rest) = level.split_at_mut(i * part.height);
                let (mine, after) = rest.split_at_mut(part.height);
                mine.iter_mut().for_each(|v| *v *= block[i * k + i]);
                // Columns not yet overwritten: before under T, after under T'.
                let (others, offset) = if self.lower { (&*before, 0) } else { (&*after, i + 1) };
                for (j, other) in others.chunks_exact(part.height).enumerate() {
                    add_scaled(mine, block[i * k + offset + j], other);
                }
            }
        }
    }

    /// One column of a panel -> S times it.
    pub fn rows(&self, shape: &Shape, part: &Part, column: &mut [f64]) {
        let border = shape.border();
        let (own, rest) = column.split_at_mut(part.size);
        self.segment(part, own);
        if !rest.is_empty() {
            self.segment(border, rest);
        }
    }

    /// S v for a whole vector by position, without the response or with it.
    pub fn vector(&self, shape: &Shape, v: &mut [f64]) {
        for part in &shape.parts {
            let end = (part.start + part.size).min(v.len());
            self.segment(part, &mut v[part.start..end]);
        }
    }

    fn segment(&self, part: &Part, values: &mut [f64]) {
        multiply_each(values, &self.diagonal[part.start..]);
        for (first, factor) in &part.wide {
            let block = &self.blocks[*factor];
            let k = block.len().isqrt();
            let level = &mut values[*first..first + k];
            for i in self.order(k) {
                let others = if self.lower { 0..i } else { i + 1..k };
                let sum: f64 = others.map(|j| block[i * k + j] * level[j]).sum();
                level[i] = block[i * k + i] * level[i] + sum;
            }
        }
    }

    /// The order that reads only entries not yet overwritten.
    fn order(&self, k: usize) -> impl Iterator<Item = usize> + use<> {
        let lower = self.lower;
        (0..k).map(move |i| if lower { k - 1 - i } else { i })
    }
}
