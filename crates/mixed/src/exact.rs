//! Moments summed to about 32 digits, for columns and responses whose information lies in their last digits.

use crate::Error;
use crate::basis::{Basis, Orthogonal, orthogonalise};
use crate::data::Data;
use crate::double::Double;
use crate::fit::{Fit, fit_system};
use crate::layout::{Layout, Units, effect_value};
use crate::matrix::Matrix;
use crate::moments::{Moments, drop_reason};
use crate::record::RowCounts;
use crate::settings::Settings;
use crate::system::System;
use crate::units::intercept_of;

/// Share of a sum of squares left beside earlier columns, under which plain
/// sums are given up: seven digits are lost.
const PLAIN_SHARE: f64 = 1e-7;
/// The same where extended sums take no noticeable time.
const PLAIN_SHARE_SMALL: f64 = 0.1;
/// Products of two columns (rows x columns squared) that take no noticeable
/// time: a twentieth of a second or so.
const SMALL: f64 = 5e6;
/// Shares below this are rounding of plain sums, and count as 0.
const ROUNDING_SHARE: f64 = 1e-14;
/// The same by the number of rows: sums of many products round more, at the worst by a unit of the
/// last place (2.2e-16) per row, of which a tenth is ample.
const ROUNDING_PER_ROW: f64 = 2.2e-17;
/// Residual share below which extended sums see no variation.
const EXACT_SHARE: f64 = 1e-28;

/// [`Moments`] whose cross-products with the fixed columns and the response
/// are kept in extended precision (two numbers each), and are made orthogonal
/// in it before they are rounded. About seven times the time of plain moments.
#[derive(Debug, Clone)]
pub struct ExactMoments {
    /// Counts and sums without fixed columns; its layout holds the origins.
    plain: Moments,
    /// Layout as declared.
    declared: Layout,
    /// [X | y]'W[X | y], lower triangle by row.
    gram: Vec<Double>,
    /// Z_other'W[X | y], one row per column of Z_other.
    other: Vec<Double>,
    /// Z_g'W[X | y] by level of the eliminated factor, k rows each.
    groups: Vec<Option<Vec<Double>>>,
}

impl ExactMoments {
    /// Collapses the rows of `data`, as [`Moments::accumulate`] does.
    ///
    /// # Errors
    /// Those of [`Moments::accumulate`].
    pub fn accumulate(data: &Data<'_>) -> Result<ExactMoments, Error> {
        Ok(ExactMoments::beside(Moments::accumulate(data)?, data))
    }

    /// The same about the values of the first complete row, when a column of
    /// ones can absorb them: squares of what rows have in common would use up
    /// the digits. For rows that come at once, since chunks must agree.
    pub(crate) fn about_first_row(mut plain: Moments, data: &Data<'_>) -> ExactMoments {
        let declared = plain.layout.clone();
        let weight = |row: usize| data.weights.map_or(1.0, |w| w[row]);
        let mut rows = 0..data.response.len();
        let first = rows.find(|row| drop_reason(data, *row, weight(*row)).is_none());
        if let (Some(row), Some(ones)) = (first, intercept_of(&plain.layout, plain.ones())) {
            let columns = plain.layout.fixed.iter_mut().zip(&data.fixed).enumerate();
            for (_, (units, column)) in columns.filter(|(j, _)| *j != ones) {
                units.centre = column.values[row];
            }
            plain.layout.response.centre = data.response[row];
        }
        ExactMoments { declared, ..ExactMoments::beside(plain, data) }
    }

    /// Adds the extended sums of the rows that `plain` has collapsed already.
    fn beside(plain: Moments, data: &Data<'_>) -> ExactMoments {
        let size = plain.layout.p() + 1;
        let mut out = ExactMoments {
            gram: vec![Double::ZERO; size * size],
            other: vec![Double::ZERO; plain.layout.q * size],
            groups: vec![None; plain.groups().levels()],
            declared: plain.layout.clone(),
            plain,
        };
        let mut values = vec![Double::ZERO; size];
        for row in 0..data.response.len() {
            let weight = data.weights.map_or(1.0, |w| w[row]);
            if drop_reason(data, row, weight).is_none() {
                out.add_row(data, row, weight, &mut values);
            }
        }
        out
    }

    fn add_row(&mut self, data: &Data<'_>, row: usize, weight: f64, values: &mut [Double]) {
        let layout = &self.plain.layout;
        let size = values.len();
        for ((v, column), units) in values.iter_mut().zip(&data.fixed).zip(&layout.fixed) {
            *v = declared(column.values[row], units);
        }
        values[size - 1] = declared(data.response[row], &layout.response);
        let weight = Double::from(weight);
        for i in 0..size {
            let x = weight * values[i];
            let line = &mut self.gram[i * size..=i * size + i];
            for (s, v) in line.iter_mut().zip(values.iter()) {
                *s += x * *v;
            }
        }
        let k = layout.k();
        for (f, (factor, shape)) in data.factors.iter().zip(&layout.factors).enumerate() {
            let level = factor.codes[row] as usize;
            let sums: &mut [Double] = match shape.column_start {
                Some(start) => &mut self.other[(start + level * shape.k()) * size..],
                None if layout.eliminated == Some(f) => self.groups[level]
                    .get_or_insert_with(|| vec![Double::ZERO; k * size])
                    .as_mut_slice(),
                None => continue,
            };
            for (line, effect) in sums.chunks_exact_mut(size).zip(&factor.effects) {
                let z = weight * Double::from(effect_value(effect, row));
                for (s, v) in line.iter_mut().zip(values.iter()) {
                    *s += z * *v;
                }
            }
        }
    }

    /// Adds the moments of another chunk of the same model.
    ///
    /// # Errors
    /// [`Error::Incompatible`] when names, units, factors or levels differ.
    pub fn merge(&mut self, other: &ExactMoments) -> Result<(), Error> {
        self.plain.merge(&other.plain)?;
        add(&mut self.gram, &other.gram);
        add(&mut self.other, &other.other);
        for (mine, theirs) in self.groups.iter_mut().zip(&other.groups) {
            match (mine, theirs) {
                (Some(a), Some(b)) => add(a, b),
                (slot @ None, Some(b)) => *slot = Some(b.clone()),
                (_, None) => {}
            }
        }
        Ok(())
    }

    /// Rows read, used and dropped so far.
    pub fn rows(&self) -> &RowCounts {
        self.plain.rows()
    }

    /// Fits as [`crate::fit_moments`] does. A column is left out when its
    /// distance from earlier ones is under `pivot_tolerance` of its length
    /// (with plain moments: under the root of it).
    ///
    /// # Errors
    /// Those of [`crate::fit_moments`].
    pub fn fit(&self, settings: &Settings) -> Result<Fit, Error> {
        fit_system(self.system(settings)?, settings)
    }

    /// Orthogonal columns in the place of the declared ones, when all are independent.
    pub(crate) fn basis(&self, settings: &Settings) -> Result<Basis, Error> {
        let rows = self.plain.rows();
        if rows.used == 0 {
            return Err(Error::NoRows { read: rows.read, dropped: rows.dropped_total() });
        }
        let p = self.plain.layout.p();
        let tolerance = settings.pivot_tolerance.powi(2);
        let found = orthogonalise(&self.gram, p + 1, tolerance, rows.used as f64);
        let names = (0..p).filter(|j| !found.kept.contains(j));
        let columns: Vec<String> = names.map(|j| self.plain.layout.fixed[j].name.clone()).collect();
        if columns.is_empty() { Ok(found.basis) } else { Err(Error::DependentColumns { columns }) }
    }

    pub(crate) fn system(&self, settings: &Settings) -> Result<System, Error> {
        settings.check()?;
        let plain = &self.plain;
        if plain.rows().used == 0 || !plain.is_finite() {
            // The plain path names what is wrong.
            return System::new(plain, settings, true);
        }
        let size = plain.layout.p() + 1;
        let tolerance = settings.pivot_tolerance.powi(2);
        let found = orthogonalise(&self.gram, size, tolerance, plain.rows().used as f64);
        if plain.rows().used <= found.kept.len() as u64 {
            return Err(Error::TooFewRows { rows: plain.rows().used, columns: found.kept.len() });
        }
        if found.residual_share.is_nan() || found.residual_share <= EXACT_SHARE {
            return Err(Error::NoResidualVariation);
        }
        let mut system = System::new(&self.rounded(&found), settings, true)?;
        let mut basis = found.basis;
        self.undo_origins(&mut basis.from_declared);
        system.layout = self.declared.clone();
        Ok(system.with_basis(basis))
    }

    /// Internal columns from the declared ones: what was subtracted beyond the
    /// declared centres goes into the row of the intercept.
    fn undo_origins(&self, from_declared: &mut Matrix) {
        let Some(ones) = intercept_of(&self.declared, self.plain.ones()) else { return };
        let columns = |l: &Layout| l.fixed.iter().chain([&l.response]).cloned().collect();
        let (declared, used): (Vec<Units>, Vec<Units>) =
            (columns(&self.declared), columns(&self.plain.layout));
        for a in 0..used.len() {
            let shifts = declared.iter().zip(&used).map(|(d, u)| (u.centre - d.centre) / d.scale);
            let moved: f64 = shifts.enumerate().map(|(j, s)| s * from_declared[(j, a)]).sum();
            from_declared[(ones, a)] -= moved;
        }
    }

    /// Plain moments in the orthogonal columns.
    fn rounded(&self, found: &Orthogonal) -> Moments {
        let mut out = self.plain.clone();
        let size = out.layout.p() + 1;
        let rows = out.rows().used as f64;
        let kept = |j: usize| j + 1 == size || found.kept.contains(&j);
        for i in 0..size {
            // Orthogonal by construction; the residual's mean square is 1.
            for j in 0..=i {
                out.set_fixed_product(i, j, if i == j && kept(i) { rows } else { 0.0 });
            }
        }
        for (column, sums) in self.other.chunks_exact(size).enumerate() {
            out.set_cross(column, &turned(sums, found));
        }
        for (level, sums) in self.groups.iter().enumerate() {
            for (a, line) in sums.iter().flat_map(|s| s.chunks_exact(size)).enumerate() {
                out.set_group(level, a, &turned(line, found));
            }
        }
        out
    }
}

/// One line of sums over [X | y] in the orthogonal columns.
fn turned(sums: &[Double], found: &Orthogonal) -> Vec<f64> {
    let size = sums.len();
    (0..size)
        .map(|j| {
            let terms = sums.iter().enumerate();
            let sum =
                terms.fold(Double::ZERO, |s, (i, x)| s + *x * found.from_declared[i * size + j]);
            sum.round()
        })
        .collect()
}

fn declared(value: f64, units: &Units) -> Double {
    let centred = Double::difference(value, units.centre);
    if units.scale == 1.0 { centred } else { centred / Double::from(units.scale) }
}

fn add(into: &mut [Double], from: &[Double]) {
    for (a, b) in into.iter_mut().zip(from) {
        *a += *b;
    }
}

/// Fits `data` from [`ExactMoments`].
///
/// # Errors
/// Those of [`crate::fit`].
pub fn fit_exact(data: &Data<'_>, settings: &Settings) -> Result<Fit, Error> {
    ExactMoments::about_first_row(Moments::accumulate(data)?, data).fit(settings)
}

/// Fits plain moments, or exact ones of the same rows when the plain ones have
/// lost more than seven digits to cancellation (one digit where the rows are few).
pub(crate) fn fit_guarded(
    moments: Moments,
    data: &Data<'_>,
    settings: &Settings,
) -> Result<Fit, Error> {
    if cancels(&moments) {
        ExactMoments::about_first_row(moments, data).fit(settings)
    } else {
        crate::fit_moments(&moments, settings)
    }
}

/// Whether a fixed column or the response keeps too small a share of its sum
/// of squares beside earlier columns for plain sums to tell it well. A share
/// within rounding is a column that depends on others, no loss of digits; the
/// response has no such excuse.
pub(crate) fn cancels(moments: &Moments) -> bool {
    let p = moments.layout.p();
    let rows = moments.rows().used as f64;
    let work = rows * ((p + 1) as f64).powi(2);
    let rounding = ROUNDING_SHARE.max(ROUNDING_PER_ROW * rows);
    let least = if work < SMALL { PLAIN_SHARE_SMALL } else { PLAIN_SHARE };
    let at = |i: usize, j: usize| moments.fixed_product(i, j);
    let mut factor: Vec<Vec<f64>> = Vec::new();
    let mut kept: Vec<usize> = Vec::new();
    for j in 0..=p {
        let mut line: Vec<f64> = Vec::new();
        for (i, other) in kept.iter().enumerate() {
            let done = crate::small::dot(&line, &factor[i][..i]);
            line.push((at(j, *other) - done) / factor[i][i]);
        }
        let share = 1.0 - crate::small::dot(&line, &line) / at(j, j);
        if share < least && (j == p || share > rounding) {
            return true;
        }
        if share > rounding {
            line.push((share * at(j, j)).sqrt());
            factor.push(line);
            kept.push(j);
        }
    }
    false
}
