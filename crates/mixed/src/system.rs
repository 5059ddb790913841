//! The reduced least-squares system of a model, ready for any theta.

use crate::Error;
use crate::basis::Basis;
use crate::gram::Gram;
use crate::group_list::GroupList;
use crate::layout::{Layout, ThetaEntry, check_cells};
use crate::matrix::Matrix;
use crate::moments::Moments;
use crate::pool::{Pools, pools};
use crate::record::RowCounts;
use crate::scratch::Scratch;
use crate::screen::{Screen, screen};
use crate::settings::{Criterion, Settings};
use crate::shape::{Pattern, Shape};
use crate::units::UserUnits;
use std::sync::Arc;

/// Groups, and the place of each level among them where it has one.
pub type PlacedGroups = (GroupList, Vec<Option<usize>>);

/// Everything that an evaluation of the criterion reads; no rows.
#[derive(Debug, Clone)]
pub(crate) struct System {
    pub layout: Layout,
    pub entries: Vec<ThetaEntry>,
    pub rows: RowCounts,
    pub screen: Screen,
    pub units: UserUnits,
    pub criterion: Criterion,
    pub groups: GroupList,
    /// Position in `groups` of each level of the eliminated factor.
    pub group_of_level: Vec<Option<usize>>,
    pub pools: Pools,
    /// Blocks and border of the reduced system.
    pub shape: Arc<Shape>,
    /// R'WR over [Z_other | kept X | y].
    pub gram: Gram,
    /// The same in the packed storage of the shape.
    pub packed: Vec<f64>,
    /// Memory of evaluations.
    pub scratch: Scratch,
    pub sum_log_weight: f64,
    /// Root mean square of the column behind each row of Lambda, by theta entry.
    pub column_rms: Vec<f64>,
}

/// Sums that a system is made of.
pub(crate) struct Parts<'a> {
    pub layout: Layout,
    pub rows: &'a RowCounts,
    /// Whether all sums are finite.
    pub finite: bool,
    pub sum_log_weight: f64,
    /// Whether a fixed column is 1 in every used row.
    pub ones: &'a [bool],
    /// Whether a level of a factor was met, by factor.
    pub seen: &'a [Vec<bool>],
    /// X'WX, lower triangle.
    pub fixed_gram: Matrix,
    /// [Z_other | X | y]'W[Z_other | X | y] for the columns kept of X.
    pub gram: &'a dyn Fn(&[usize]) -> Gram,
    /// Groups, and the place of each level among them, for the columns kept of X.
    pub groups: &'a dyn Fn(&[usize]) -> PlacedGroups,
}

impl System {
    /// An error when the groups of the eliminated factor came pooled.
    pub fn each_group(&self) -> Result<(), Error> {
        match self.layout.eliminated {
            Some(f) if self.groups.pooled.is_some() => {
                Err(Error::PooledGroups { factor: self.layout.factors[f].name.clone() })
            }
            _ => Ok(()),
        }
    }

    pub fn new(moments: &Moments, settings: &Settings, pooling: bool) -> Result<System, Error> {
        System::with_pattern(moments, settings, pooling, Pattern::Cheapest)
    }

    /// A system whose blocks and pools the tests can choose.
    pub fn with_pattern(
        moments: &Moments,
        settings: &Settings,
        pooling: bool,
        pattern: Pattern,
    ) -> Result<System, Error> {
        let parts = Parts {
            layout: moments.layout.clone(),
            rows: moments.rows(),
            finite: moments.is_finite(),
            sum_log_weight: moments.sum_log_weight(),
            ones: moments.ones(),
            seen: moments.seen(),
            fixed_gram: moments.fixed_gram(),
            gram: &|kept| moments.gram(kept),
            groups: &|kept| GroupList::new(moments, kept),
        };
        System::of(parts, settings, pooling, pattern)
    }

    /// A system of sums, wherever they come from.
    pub fn of(
        parts: Parts<'_>,
        settings: &Settings,
        pooling: bool,
        pattern: Pattern,
    ) -> Result<System, Error> {
        settings.check()?;
        let Parts { layout, rows, .. } = parts;
        if rows.used == 0 {
            return Err(Error::NoRows { read: rows.read, dropped: rows.dropped_total() });
        }
        if !parts.finite {
            return Err(Error::Numerical {
                what: "cross-products overflow; declare centres and scales",
            });
        }
        for (f, factor) in layout.factors.iter().enumerate() {
            let observed = parts.seen[f].iter().filter(|s| **s).count();
            if observed < 2 {
                return Err(Error::TooFewLevels { factor: factor.name.clone(), observed });
            }
        }
        let units = UserUnits::new(&layout, parts.ones)?;
        let screen = screen(&parts.fixed_gram, settings.pivot_tolerance);
        if rows.used <= screen.kept.len() as u64 {
            return Err(Error::TooFewRows { rows: rows.used, columns: screen.kept.len() });
        }
        let gram = (parts.gram)(&screen.kept);
        let (groups, group_of_level) = (parts.groups)(&screen.kept);
        let mut shape = Shape::of(&layout, &groups, screen.kept.len(), pattern);
        check_cells(shape.panels_len)?;
        let pools = pools(&groups, &shape, pooling);
        let packed = shape.pack(&gram);
        shape.note_met(&packed, &groups);
        let mut system = System {
            entries: layout.theta_entries(),
            rows: rows.clone(),
            screen,
            units,
            criterion: settings.criterion,
            groups,
            group_of_level,
            pools,
            shape: Arc::new(shape),
            gram,
            packed,
            scratch: Scratch::default(),
            sum_log_weight: parts.sum_log_weight,
            column_rms: Vec::new(),
            layout,
        };
        system.column_rms = system.standard_sizes();
        system.check_variation()?;
        Ok(system)
    }

    /// Says that columns and response are those of `basis`, not the declared ones.
    pub fn with_basis(mut self, basis: Basis) -> System {
        self.units.response_scale *= basis.response_scale;
        self.units.basis = Some(basis);
        self
    }

    /// Columns of the reduced system without the response.
    pub fn m(&self) -> usize {
        self.gram.width() - 1
    }

    /// Estimable fixed columns.
    pub fn rank(&self) -> usize {
        self.screen.kept.len()
    }

    /// Residual degrees of freedom n - rank(X).
    pub fn df_residual(&self) -> f64 {
        self.rows.used as f64 - self.rank() as f64
    }

    /// Divisor of the profiled residual variance: n - p under REML, n under ML.
    pub fn divisor(&self) -> f64 {
        match self.criterion {
            Criterion::Reml => self.df_residual(),
            Criterion::Ml => self.rows.used as f64,
        }
    }

    fn standard_sizes(&self) -> Vec<f64> {
        let sizes: Vec<Vec<f64>> = self
            .layout
            .factors
            .iter()
            .map(|factor| {
                let k = factor.k();
                let mut sums = vec![0.0; k];
                for (r, sum) in sums.iter_mut().enumerate() {
                    *sum = match factor.column_start {
                        Some(start) => (0..factor.levels)
                            .map(|l| start + l * k + r)
                            .map(|c| self.gram.at(c, c))
                            .sum(),
                        None => self.groups.squares(r),
                    };
                }
                sums
            })
            .collect();
        self.entries
            .iter()
            .map(|e| {
                let rms = (sizes[e.factor][e.row] / self.rows.used as f64).sqrt();
                if rms > 0.0 { rms } else { 1.0 }
            })
            .collect()
    }

    /// The fixed columns must leave something to explain.
    fn check_variation(&self) -> Result<(), Error> {
        let y = self.m();
        let xx: Vec<usize> = self.gram.fixed().collect();
        let mut rest = self.gram.at(y, y);
        let mut factor: Vec<Vec<f64>> = Vec::new();
        for i in &xx {
            let mut line: Vec<f64> = Vec::new();
            for (j, other) in factor.iter().enumerate() {
                let x = self.gram.at(*i, xx[j]) - crate::small::dot(&line, &other[..j]);
                line.push(x / other[j]);
            }
            let pivot = self.gram.at(*i, *i) - crate::small::dot(&line, &line);
            rest = pivot;
            line.push(pivot.max(0.0).sqrt());
            factor.push(line);
        }
        if rest > 1e-13 * self.gram.at(y, y) { Ok(()) } else { Err(Error::NoResidualVariation) }
    }
}
