//! One generalised mixed model of frame counts on the design of the yield model.
//!
//! The fixed columns, habit columns and random factors are those of the yield model, so that what
//! separates cause from habit there does so here; besides, the side of the tree is a fixed factor
//! and the tree-season a random one, because several frames share it.

use super::LateralsError;
use super::pooling::{self, Exchangeable};
use crate::curve::{COLUMNS, IntensityShape, Knots};
use crate::design::{BLOCK_SEASON, Column, Design, Group, RegionCurves, Role, Source};
use crate::frames::FrameRows;
use crate::table::Labelled;
use ::words::say;
use mixed::{Error, Factor, Family, FixedColumn, GeneralisedData, GeneralisedFit, Status};

/// Name of the random factor that frames of one tree in one season share.
pub(crate) const TREE_SEASON: &str = "tree x season";
/// Name of the random factor of trees.
pub(crate) const TREE: &str = "tree";
/// Scale of the half-normal prior on how far regions differ in a shape: on the log scale, 0.3 is a
/// difference of a third in the effect of removing a quarter of the canopy.
const REGION_SPREAD_SCALE: f64 = 0.3;
/// Fewest pairs of frames, each counted in both orders, for a variance from pairs.
const LEAST_PAIRS: f64 = 60.0;
/// Refits after leaving out a term that the engine refuses.
const TRIES: usize = 12;

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Count {
    /// Laterals per m2: negative binomial, log of the frame area as offset.
    Laterals,
    /// Flowering laterals per m2: likewise.
    Flowering,
    /// Flowering laterals among laterals: binomial, logit link.
    Share,
}

/// A fitted count model with the columns behind it.
#[derive(Debug, Clone)]
pub(crate) struct CountFit {
    pub fit: GeneralisedFit,
    pub design: Design,
    pub rows: FrameRows,
}

/// Fits one count model to frames; `Share` and `Flowering` need rows with flowering counted.
pub(crate) fn fit(rows: FrameRows, what: Count) -> Result<CountFit, LateralsError> {
    let mut table = rows.table.clone();
    let share = |row: usize| rows.flowering[row] / rows.laterals[row];
    let (family, response): (Family, Vec<f64>) = match what {
        Count::Laterals => (Family::NegativeBinomial, rows.laterals.clone()),
        Count::Flowering => (Family::NegativeBinomial, rows.flowering.clone()),
        Count::Share => {
            // A frame without laterals has no share: its weight of no trials sets it aside.
            let share = |row| if rows.laterals[row] > 0.0 { share(row) } else { 0.0 };
            (Family::Binomial, (0..rows.len()).map(share).collect())
        }
    };
    table.yield_kg.clone_from(&response);
    let mut design =
        Design::new(&table, RegionCurves::Separate, (IntensityShape::Quadratic, Knots::default()));
    add_sides(&mut design, &rows.side);
    // Frames of a block in a season are of few trees: tree-seasons carry what they share.
    design.groups.retain(|group| group.name != BLOCK_SEASON);
    crate::yield_model::identify(&table, &mut design)?;
    add_tree_seasons(&mut design, &rows.tree_season);
    let offset: Vec<f64> = rows.frame_m2.iter().map(|area| area.ln()).collect();
    let mut last = Error::NoResidualVariation;
    for _ in 0..TRIES {
        let data = match what {
            Count::Share => data(&design, &response).weights(&rows.laterals),
            _ => data(&design, &response).offset(&offset),
        };
        match mixed::fit_generalised(&data, family) {
            Ok(fit) => {
                return match fit.status() {
                    Status::NotConverged { reason } => {
                        Err(LateralsError::NotConverged(reason.clone()))
                    }
                    _ => Ok(CountFit { fit, design, rows }),
                };
            }
            Err(Error::DependentColumns { columns }) => {
                design.remove_columns(&columns);
                last = Error::DependentColumns { columns };
            }
            Err(Error::TooFewLevels { factor, observed }) => {
                design.groups.retain(|group| group.name != factor);
                last = Error::TooFewLevels { factor, observed };
            }
            Err(error) => return Err(error.into()),
        }
    }
    Err(last.into())
}

fn add_sides(design: &mut Design, side: &Labelled) {
    for (code, label) in (0_u32..).zip(&side.labels).skip(1) {
        design.columns.push(Column {
            name: format!("side {label}"),
            values: side.codes.iter().map(|&c| f64::from(u8::from(c == code))).collect(),
            role: Role::Nuisance,
            source: Source::Given,
            centre: 0.0,
            scale: 1.0,
        });
    }
}

fn add_tree_seasons(design: &mut Design, tree_season: &Labelled) {
    let tree = design.groups.iter().find(|group| group.name == TREE);
    let trees = tree.map_or(0, |tree| tree.labels.len());
    let left_out = if tree_season.len() == tree_season.codes.len() {
        say!(
            "no spread between tree-seasons: each has a single frame, so it is part of the frames' own"
        )
    } else if tree_season.len() == trees {
        say!(
            "no spread between tree-seasons: each tree has frames in a single season, so it is that of the trees"
        )
    } else {
        design.groups.push(Group {
            name: TREE_SEASON.to_owned(),
            codes: tree_season.codes.clone(),
            labels: tree_season.labels.clone(),
            slopes: Vec::new(),
            loading: Vec::new(),
        });
        return;
    };
    design.left_out.push(left_out);
}

fn data<'a>(design: &'a Design, response: &'a [f64]) -> GeneralisedData<'a> {
    let mut data = GeneralisedData::new(response);
    for column in &design.columns {
        data = data.column(
            FixedColumn::new(column.name.clone(), column.values.as_slice())
                .units(column.centre, column.scale),
        );
    }
    for group in &design.groups {
        data = data.factor(Factor::intercept(group.name.clone(), &group.codes, group.labels.len()));
    }
    data
}

impl CountFit {
    /// Draws of the fixed coefficients with the regions' hump and tilt partially pooled.
    pub(crate) fn coefficient_draws(&self, n: usize, seed: u64) -> Option<Vec<Vec<f64>>> {
        let pools: Vec<Exchangeable> = (0..COLUMNS)
            .map(|shape| Exchangeable {
                positions: self
                    .positions(|role| matches!(role, Role::RegionShape(s, _) if s == shape)),
                scale: REGION_SPREAD_SCALE,
            })
            .filter(|pool| pool.positions.len() > 1)
            .collect();
        pooling::draws(self.fit.estimates(), self.fit.covariance(), &pools, n, seed)
    }

    fn positions(&self, wanted: impl Fn(Role) -> bool) -> Vec<usize> {
        let columns = self.design.columns.iter().enumerate();
        columns.filter(|(_, column)| wanted(column.role)).map(|(k, _)| k).collect()
    }

    /// Standard deviation of every random factor on the link scale, in the model's order: with
    /// random intercepts alone these are theta itself.
    pub(crate) fn spreads(&self) -> Vec<f64> {
        self.fit.theta().iter().map(|theta| theta.value.abs()).collect()
    }

    /// Variance of all random effects together on the link scale.
    pub(crate) fn variance(&self) -> f64 {
        self.spreads().iter().map(|spread| spread * spread).sum()
    }

    /// Variance between tree-seasons on the log scale from pairs of frames, beside that of the other
    /// factors at their estimates: E(y_i y_j) / (E y_i E y_j) = exp(variance) for two frames of a
    /// tree-season, whatever a frame's own distribution (moments as in Zeger, 1988, Biometrika
    /// 75:621-629). Laplace's approximation makes the spread too small when a level has few counts;
    /// this does not. `None` with too few pairs or when nothing is left for the tree-seasons.
    pub(crate) fn pair_variance(&self, response: &[f64]) -> Option<f64> {
        let group = self.design.groups.iter().find(|group| group.name == TREE_SEASON)?;
        let estimates = self.fit.estimates();
        let mut ratio: Vec<f64> = (0..self.rows.len())
            .map(|row| {
                let columns = self.design.columns.iter().zip(estimates);
                let eta: f64 = columns.map(|(column, b)| column.values[row] * b).sum();
                response[row] / (eta.exp() * self.rows.frame_m2[row])
            })
            .collect();
        // The level of the means drops out, and with it half the variance of all factors.
        let mean = ratio.iter().sum::<f64>() / ratio.len().max(1) as f64;
        ratio.iter_mut().for_each(|ratio| *ratio = *ratio / mean - 1.0);
        let mut sums = vec![[0.0; 3]; group.labels.len()];
        for (&code, ratio) in group.codes.iter().zip(&ratio) {
            let sum = &mut sums[code as usize];
            *sum = [sum[0] + ratio, sum[1] + ratio * ratio, sum[2] + 1.0];
        }
        let products: f64 = sums.iter().map(|[sum, square, _]| sum * sum - square).sum();
        let pairs: f64 = sums.iter().map(|[_, _, n]| n * (n - 1.0)).sum();
        let others: f64 = self
            .design
            .groups
            .iter()
            .zip(self.spreads())
            .filter(|(group, _)| group.name != TREE_SEASON)
            .map(|(_, spread)| spread * spread)
            .sum();
        let variance = (1.0 + products / pairs.max(1.0)).max(0.0).ln() - others;
        (pairs >= LEAST_PAIRS && variance > 0.0).then_some(variance)
    }

    /// Whether the region's curve has both of its shapes in the model.
    pub(crate) fn has_curve(&self, region: u32) -> bool {
        (0..2).all(|shape| {
            self.design.columns.iter().any(|column| match column.role {
                Role::Shape(s) => s == shape,
                Role::RegionShape(s, code) => s == shape && code == region,
                _ => false,
            })
        })
    }
}
