//! A symmetric matrix in independent blocks: the columns that no group joins factor apart.

use super::design::Design;
use crate::Error;
use crate::layout::check_cells;
use faer::MatMut;
use faer::Par;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::{factor, inverse};

/// Largest block that is factored in place without the algebra library.
const SMALL: usize = 24;

/// Blocks of a positive definite matrix over the columns of the other factors.
#[derive(Debug, Clone)]
pub(crate) struct Blocks {
    /// Block of each column.
    block_of: Vec<u32>,
    /// Place of each column within its block.
    pub place: Vec<u32>,
    /// Size and first entry of each block.
    shape: Vec<(usize, usize)>,
    /// Columns by block.
    members: Vec<Vec<u32>>,
    /// Lower triangles, by column within a block; after factoring, L.
    pub lower: Vec<f64>,
    /// Full inverses, by column within a block.
    pub inverse: Vec<f64>,
}

impl Blocks {
    /// Joins the columns that share a group.
    ///
    /// # Errors
    /// [`Error::TooManyCells`].
    pub fn new(design: &Design) -> Result<Blocks, Error> {
        let mut parent: Vec<usize> = (0..design.q).collect();
        for g in 0..design.groups() {
            let met = design.met(g);
            if let Some(first) = met.first() {
                for column in met {
                    let root = find(&mut parent, *first as usize);
                    let other = find(&mut parent, *column as usize);
                    parent[root.max(other)] = root.min(other);
                }
            }
        }
        let mut name = vec![u32::MAX; design.q];
        let mut members: Vec<Vec<u32>> = Vec::new();
        let (mut block_of, mut place) = (vec![0; design.q], vec![0; design.q]);
        for column in 0..design.q {
            let root = find(&mut parent, column);
            if name[root] == u32::MAX {
                name[root] = members.len() as u32;
                members.push(Vec::new());
            }
            let block = name[root];
            block_of[column] = block;
            place[column] = members[block as usize].len() as u32;
            members[block as usize].push(column as u32);
        }
        let mut start = 0;
        let shape = members
            .iter()
            .map(|m| {
                let here = (m.len(), start);
                start += m.len() * m.len();
                here
            })
            .collect();
        check_cells(start)?;
        Ok(Blocks {
            block_of,
            place,
            shape,
            members,
            lower: vec![0.0; start],
            inverse: vec![0.0; start],
        })
    }

    /// Blocks.
    pub fn count(&self) -> usize {
        self.shape.len()
    }

    /// Number of the block of a column.
    pub fn name(&self, column: u32) -> usize {
        self.block_of[column as usize] as usize
    }

    /// Size and first entry of the block of a column.
    pub fn of(&self, column: u32) -> (usize, usize) {
        self.shape[self.block_of[column as usize] as usize]
    }

    /// Sets the matrix to the identity.
    pub fn reset(&mut self) {
        self.lower.fill(0.0);
        for (size, start) in &self.shape {
            for j in 0..*size {
                self.lower[start + j * (size + 1)] = 1.0;
            }
        }
    }

    /// Replaces every block by its Cholesky factor; returns the log-determinant.
    pub fn factor(&mut self) -> Result<f64, Error> {
        let mut log_det = 0.0;
        for (size, start) in &self.shape {
            let block = &mut self.lower[*start..start + size * size];
            if *size <= SMALL {
                small_factor(block, *size)?;
            } else {
                let scratch =
                    factor::cholesky_in_place_scratch::<f64>(*size, Par::Seq, Default::default());
                factor::cholesky_in_place(
                    MatMut::from_column_major_slice_mut(block, *size, *size),
                    Default::default(),
                    Par::Seq,
                    MemStack::new(&mut MemBuffer::new(scratch)),
                    Default::default(),
                )
                .map_err(|_| NOT_DEFINITE)?;
            }
            log_det += (0..*size).map(|j| 2.0 * block[j * (size + 1)].ln()).sum::<f64>();
        }
        Ok(log_det)
    }

    /// Solves in place against the factors.
    pub fn solve(&self, x: &mut [f64]) {
        let mut local = Vec::new();
        for ((size, start), members) in self.shape.iter().zip(&self.members) {
            let l = &self.lower[*start..start + size * size];
            if let ([column], [root]) = (members.as_slice(), l) {
                x[*column as usize] /= root * root;
                continue;
            }
            local.clear();
            local.extend(members.iter().map(|c| x[*c as usize]));
            substitute(l, *size, &mut local);
            for (c, v) in members.iter().zip(&local) {
                x[*c as usize] = *v;
            }
        }
    }

    /// Fills the inverses from the factors.
    pub fn invert(&mut self) {
        for (size, start) in &self.shape {
            let l = &self.lower[*start..start + size * size];
            let out = &mut self.inverse[*start..start + size * size];
            if *size <= SMALL {
                for j in 0..*size {
                    let column = &mut out[j * size..(j + 1) * size];
                    column.fill(0.0);
                    column[j] = 1.0;
                    substitute(l, *size, column);
                }
                continue;
            }
            let scratch = inverse::inverse_scratch::<f64>(*size, Par::Seq);
            inverse::inverse(
                MatMut::from_column_major_slice_mut(out, *size, *size),
                faer::MatRef::from_column_major_slice(l, *size, *size),
                Par::Seq,
                MemStack::new(&mut MemBuffer::new(scratch)),
            );
            for j in 0..*size {
                for i in j + 1..*size {
                    out[i * size + j] = out[j * size + i];
                }
            }
        }
    }
}

const NOT_DEFINITE: Error =
    Error::Numerical { what: "the curvature of a generalised model is not positive" };

fn find(parent: &mut [usize], mut at: usize) -> usize {
    while parent[at] != at {
        parent[at] = parent[parent[at]];
        at = parent[at];
    }
    at
}

fn small_factor(a: &mut [f64], n: usize) -> Result<(), Error> {
    for j in 0..n {
        for m in 0..j {
            let x = a[m * n + j];
            for i in j..n {
                a[j * n + i] -= x * a[m * n + i];
            }
        }
        let pivot = a[j * n + j];
        // Written so that NaN fails.
        if !(pivot > 0.0 && pivot.is_finite()) {
            return Err(NOT_DEFINITE);
        }
        let root = pivot.sqrt();
        for x in &mut a[j * n + j..(j + 1) * n] {
            *x /= root;
        }
    }
    Ok(())
}

/// Solves L L' x = b in place, L by column.
fn substitute(l: &[f64], n: usize, x: &mut [f64]) {
    for j in 0..n {
        let column = &l[j * n..(j + 1) * n];
        x[j] /= column[j];
        let v = x[j];
        for (t, c) in x[j + 1..].iter_mut().zip(&column[j + 1..]) {
            *t -= v * c;
        }
    }
    for j in (0..n).rev() {
        let column = &l[j * n..(j + 1) * n];
        let rest = crate::small::dot(&column[j + 1..], &x[j + 1..]);
        x[j] = (x[j] - rest) / column[j];
    }
}
