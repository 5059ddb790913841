//! Cross-products of groups that share a design, summed by someone else: a fit from a small table.

use crate::Error;
use crate::basis::Basis;
use crate::data::Data;
use crate::declared::DeclaredBasis;
use crate::fit::{Fit, fit_system};
use crate::gram::Gram;
use crate::group_list::GroupList;
use crate::layout::Layout;
use crate::matrix::Matrix;
use crate::moments::Groups;
use crate::record::RowCounts;
use crate::settings::Settings;
use crate::shape::Pattern;
use crate::system::{Parts, System};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Lower triangle of a symmetric matrix over [Z_other | X | y], the cells met.
type Cells = BTreeMap<(u32, u32), f64>;

/// A column of [Z_other | X' | y'], where X' and y' are those of a [`DeclaredBasis`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// An effect of a level of a factor, all by position.
    Effect {
        /// Factor, not the pooled one.
        factor: usize,
        /// Level.
        level: usize,
        /// Effect.
        effect: usize,
    },
    /// Fixed column, by position.
    Fixed(usize),
    /// The response.
    Response,
}

/// Sums from which a model is fitted without its rows and without the groups of its largest factor.
///
/// With S_g = Z_g'R for R = [Z_other | X | y], a fit reads R'R, and of the groups of the largest
/// factor no more than, for each distinct Z_g'Z_g, their number and the sum of S_g'S_g. Both are
/// additive, over rows and over groups: any engine that can group and join can sum them. Adding to
/// a cell twice adds, so that tables of parts that share no group can follow one another.
///
/// What needs each group's own sums (its conditional mode, Kenward-Roger, the influence of a group)
/// is refused with [`Error::PooledGroups`].
#[derive(Debug, Clone)]
pub struct PooledMoments {
    layout: Layout,
    basis: Basis,
    rows: RowCounts,
    ones: Vec<bool>,
    seen: Vec<Vec<bool>>,
    gram: Cells,
    groups: PooledGroups,
}

/// Pools of the groups of one factor with one effect each.
#[derive(Debug, Clone, Default)]
pub(crate) struct PooledGroups {
    pub pools: Vec<PooledGroup>,
}

/// Groups with the same design.
#[derive(Debug, Clone)]
pub(crate) struct PooledGroup {
    /// Z_g'Z_g of each.
    pub zz: f64,
    /// Number of them.
    pub count: u64,
    /// Sum of S_g'S_g by pairs of columns, the first not the smaller.
    pub cross: Cells,
}

impl PooledGroups {
    pub fn count(&self) -> usize {
        self.pools.iter().map(|pool| pool.count as usize).sum()
    }
}

impl PooledMoments {
    /// Sums of the model whose names, units, factors and levels `data` has (it needs no rows), with
    /// the groups of `pooled` collapsed and the columns of `basis` in place of the declared ones.
    /// The first fixed column is taken for a column of ones when it is named `intercept`.
    ///
    /// # Errors
    /// What [`crate::Moments::accumulate`] says of names and units; a factor that is not there or has more than
    /// one effect; a basis of another size.
    pub fn new(
        data: &Data<'_>,
        pooled: &str,
        basis: &DeclaredBasis,
    ) -> Result<PooledMoments, Error> {
        let layout = Layout::eliminating(data, Some(pooled))?;
        if layout.k() != 1 {
            return Err(Error::PooledGroups { factor: pooled.to_owned() });
        }
        let ones = layout.fixed.iter().enumerate();
        let ones = ones.map(|(j, units)| j == 0 && units.name == "intercept").collect();
        Ok(PooledMoments {
            basis: basis.checked(layout.p())?,
            rows: RowCounts::default(),
            ones,
            seen: layout.factors.iter().map(|f| vec![false; f.levels]).collect(),
            gram: Cells::new(),
            groups: PooledGroups::default(),
            layout,
        })
    }

    /// Counts rows.
    pub fn add_rows(&mut self, used: u64) {
        self.rows.read += used;
        self.rows.used += used;
    }

    /// Adds a sum over rows of the product of two columns.
    ///
    /// # Errors
    /// [`Error::Unknown`] for a column that the model does not have.
    pub fn add(&mut self, a: Place, b: Place, sum: f64) -> Result<(), Error> {
        let pair = (self.column(a)?, self.column(b)?);
        for place in [a, b] {
            if let Place::Effect { factor, level, .. } = place {
                self.seen[factor][level] = true;
            }
        }
        *self.gram.entry(ordered(pair)).or_insert(0.0) += sum;
        Ok(())
    }

    /// Adds groups whose effect has the sum of squares `zz` over their rows; the result names them
    /// for [`PooledMoments::add_pooled`].
    pub fn add_groups(&mut self, zz: f64, count: u64) -> usize {
        self.groups.pools.push(PooledGroup { zz, count, cross: Cells::new() });
        self.groups.pools.len() - 1
    }

    /// Adds, for groups with the same design, the sum of the products of each group's sums with two
    /// columns.
    ///
    /// # Errors
    /// [`Error::Unknown`] for groups or a column that were not named before.
    pub fn add_pooled(&mut self, groups: usize, a: Place, b: Place, sum: f64) -> Result<(), Error> {
        let pair = ordered((self.column(a)?, self.column(b)?));
        let pool = self.groups.pools.get_mut(groups);
        let pool = pool.ok_or_else(|| Error::Unknown { what: format!("groups {groups}") })?;
        *pool.cross.entry(pair).or_insert(0.0) += sum;
        Ok(())
    }

    /// Fits as [`crate::fit_moments`] does.
    ///
    /// # Errors
    /// Those of [`crate::fit_moments`].
    pub fn fit(mut self, settings: &Settings) -> Result<Fit, Error> {
        if let Some(f) = self.layout.eliminated {
            let met = self.groups.count().min(self.seen[f].len());
            self.seen[f][..met].fill(true);
        }
        let p = self.layout.p();
        let groups = Arc::new(self.groups);
        let arena = Arc::new(Groups::new(0, 1, (p + 1).next_multiple_of(4)));
        let (q, gram) = (self.layout.q, &self.gram);
        let fixed = (0..p).collect::<Vec<_>>();
        let whole = |kept: &[usize]| {
            let place = |column: u32| kept_place(column as usize, q, p, kept);
            let cells = gram.iter().filter_map(|((a, b), x)| Some(((place(*a)?, place(*b)?), *x)));
            Gram::of_cells(cells, q, q + kept.len() + 1)
        };
        let list = |kept: &[usize]| {
            (GroupList::pooled(Arc::clone(&arena), Arc::clone(&groups), kept, (q, p)), Vec::new())
        };
        let fixed_gram = {
            let all = whole(&fixed);
            let mut out = Matrix::zeros(p, p);
            for i in 0..p {
                out.row_mut(i).copy_from_slice(&all.dense.row(i)[q..q + p]);
            }
            out
        };
        let parts = Parts {
            layout: self.layout.clone(),
            rows: &self.rows,
            finite: gram.values().all(|x| x.is_finite()),
            sum_log_weight: 0.0,
            ones: &self.ones,
            seen: &self.seen,
            fixed_gram,
            gram: &whole,
            groups: &list,
        };
        let system = System::of(parts, settings, true, Pattern::Cheapest)?;
        fit_system(system.with_basis(self.basis), settings)
    }

    fn column(&self, place: Place) -> Result<u32, Error> {
        let layout = &self.layout;
        let found = match place {
            Place::Effect { factor, level, effect } => {
                layout.factors.get(factor).and_then(|shape| {
                    let inside = level < shape.levels && effect < shape.k();
                    Some(shape.column_start? + level * shape.k() + effect).filter(|_| inside)
                })
            }
            Place::Fixed(j) => (j < layout.p()).then_some(layout.q + j),
            Place::Response => Some(layout.q + layout.p()),
        };
        let found = found.ok_or_else(|| Error::Unknown { what: format!("column {place:?}") })?;
        Ok(found as u32)
    }
}

fn ordered((a, b): (u32, u32)) -> (u32, u32) {
    (a.max(b), a.min(b))
}

/// Place of a column of [Z_other | X | y] in [Z_other | kept X | y].
pub(crate) fn kept_place(column: usize, q: usize, p: usize, kept: &[usize]) -> Option<usize> {
    if column < q {
        Some(column)
    } else if column == q + p {
        Some(q + kept.len())
    } else {
        kept.iter().position(|j| q + j == column).map(|at| q + at)
    }
}
