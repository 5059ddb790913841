//! What following the advice brought: trees that did against trees that did not.

use crate::columns::TreeSeasons;
use crate::decomposition::SeasonReview;
use crate::error::{ReviewError, same_length};
use crate::scale::Scale;
use mixed::{Data, Factor, FixedColumn, Settings};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use words::text;

/// Trees needed on each side of the comparison.
pub(crate) const LEAST_TREES: usize = 5;

/// On which side of a comparison a tree stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// It followed the advice: within tolerance of the advised intensity and window.
    Followed,
    /// It was treated as the comparison demands: the group, by its place in the shares.
    Beside(usize),
}

/// What is compared with what.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Side of each row of the table; `None` for a tree-season on neither.
    pub sides: Vec<Option<Side>>,
    /// Share of the trees that each group stands for. What they leave to 1 are trees that would be
    /// treated as advised anyway, to which following it brings nothing.
    pub shares: Vec<f64>,
}

/// A realised value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Realised {
    /// Region.
    pub region: String,
    /// Season.
    pub season: i32,
    /// Difference, kg per tree.
    pub gain_kg: f64,
    /// Mean yield of the trees that followed, kg per tree.
    pub followed_kg: f64,
    /// Its standard error.
    pub std_error_kg: f64,
    /// Its degrees of freedom (Satterthwaite).
    pub df: f64,
    /// Trees that followed.
    pub followed: usize,
    /// Trees that did not.
    pub not_followed: usize,
    /// Blocks with trees of both kinds: where there are none the blocks themselves are compared.
    pub blocks_with_both: usize,
}

/// Difference in the closed season between trees of a region that followed the advice and trees that
/// did not, kg per tree: what the groups beside the advice fall short of it, each by its share, in
/// yield = constant + group + b x (yield predicted from level, age, earlier crop and season with
/// pruning as before) + block + error, blocks random, by REML. The prediction takes up that the trees
/// which followed may have been better ones or due for an on-year; the block effect, that whole blocks
/// follow together. Unless who followed was drawn by lot it remains an observed difference, not proof
/// of cause.
///
/// # Errors
/// Columns of unequal length, fewer than five trees on either side, engine failures.
pub fn realised_gain(
    review: &SeasonReview,
    table: &TreeSeasons<'_>,
    region: &str,
    comparison: &Comparison,
) -> Result<Realised, ReviewError> {
    table.check()?;
    let Comparison { sides, shares } = comparison;
    same_length("sides", table.len(), sides.len())?;
    let rows: Vec<_> = review
        .trees
        .iter()
        .filter(|tree| table.region.label(tree.row) == region)
        .filter_map(|tree| Some((tree, sides[tree.row]?)))
        .collect();
    let count = rows.iter().filter(|(_, side)| *side == Side::Followed).count();
    let least = count.min(rows.len() - count);
    if least < LEAST_TREES {
        let what = text!("a realised gain");
        return Err(ReviewError::TooFew { what, least: LEAST_TREES, found: least });
    }
    let response: Vec<f64> = rows.iter().map(|(tree, _)| tree.observed_kg).collect();
    let predicted: Vec<f64> = rows.iter().map(|(tree, _)| tree.predicted_kg).collect();
    let n = rows.len() as f64;
    let centre = response.iter().sum::<f64>() / n;
    let spread = (response.iter().map(|y| (y - centre).powi(2)).sum::<f64>() / n).sqrt();
    let middle = predicted.iter().sum::<f64>() / n;
    let width = (predicted.iter().map(|y| (y - middle).powi(2)).sum::<f64>() / n).sqrt();
    if spread <= 0.0 {
        return Err(mixed::Error::NoResidualVariation.into());
    }
    let mut data = Data::new(&response).response_units(centre, spread).intercept();
    // The constant is that of the trees that followed; a group without a tree has no column.
    let mut against = vec![0.0];
    for (group, share) in shares.iter().enumerate() {
        let of_it = rows.iter().map(|(_, side)| *side == Side::Beside(group));
        let of_it: Vec<f64> = of_it.map(|own| f64::from(u8::from(own))).collect();
        if of_it.contains(&1.0) {
            data = data.column(FixedColumn::new(format!("beside {group}"), of_it));
            against.push(-share);
        }
    }
    if width > 0.0 {
        data = data.column(FixedColumn::new("predicted", predicted).units(middle, width));
    }
    let codes: Vec<u32> = rows.iter().map(|(tree, _)| table.block.codes[tree.row]).collect();
    let blocks: BTreeSet<u32> = codes.iter().copied().collect();
    let (block, levels) = compact(&codes, &blocks);
    if blocks.len() > 1 && blocks.len() < rows.len() {
        data = data.factor(Factor::intercept("block", &block, levels));
    }
    let fit = mixed::fit(&data, &Settings::default())?;
    against.resize(data.fixed.len(), 0.0);
    let contrast = fit.contrast(&against, 0.95)?;
    let estimate = contrast.estimated().ok_or_else(|| ReviewError::NotFinite {
        what: "realised gain".into(),
        label: region.to_owned(),
    })?;
    let with = |wanted: bool| -> BTreeSet<u32> {
        let is = |side: Side| (side == Side::Followed) == wanted;
        rows.iter().zip(&codes).filter(|((_, side), _)| is(*side)).map(|(_, c)| *c).collect()
    };
    Ok(Realised {
        region: region.to_owned(),
        season: review.seasons.get(region).copied().unwrap_or_default(),
        gain_kg: estimate.estimate,
        followed_kg: rows
            .iter()
            .filter(|(_, side)| *side == Side::Followed)
            .map(|(tree, _)| tree.observed_kg)
            .sum::<f64>()
            / count as f64,
        std_error_kg: estimate.std_error,
        df: estimate.df,
        followed: count,
        not_followed: rows.len() - count,
        blocks_with_both: with(true).intersection(&with(false)).count(),
    })
}

/// Codes from 0 without gaps.
fn compact(codes: &[u32], present: &BTreeSet<u32>) -> (Vec<u32>, usize) {
    let present: Vec<u32> = present.iter().copied().collect();
    let place = |code: &u32| present.binary_search(code).unwrap_or(0) as u32;
    (codes.iter().map(place).collect(), present.len())
}

impl Realised {
    /// What the trees that followed would have given in the season otherwise, kg per tree.
    #[must_use]
    pub fn otherwise_kg(&self) -> f64 {
        self.followed_kg - self.gain_kg
    }

    /// The gain as it would be over another yield than these trees would have given, kg per tree: its effect adds on
    /// the scale, so that a season of half the crop shows half the kilograms on the logarithmic one. Its standard
    /// error by the delta method, the yield of the trees that followed being what it is:
    /// d gain(over) / d gain = s'(otherwise) / s'(over + gain), s' being the slope of the scale.
    #[must_use]
    pub fn over(&self, over_kg: f64, scale: Scale) -> Realised {
        let effect = scale.forward(self.followed_kg) - scale.forward(self.otherwise_kg());
        let gain_kg = scale.difference_kg(over_kg, effect);
        let stretch = scale.slope(self.otherwise_kg()) / scale.slope(over_kg + gain_kg);
        let (followed_kg, std_error_kg) = (over_kg + gain_kg, self.std_error_kg * stretch);
        Realised { gain_kg, followed_kg, std_error_kg, ..self.clone() }
    }

    /// Mean yield of a region in the closed season with its standard error over blocks (over trees
    /// where there is one block), to hold a predicted mean yield against.
    ///
    /// # Errors
    /// Columns of unequal length; fewer than two trees of the region in the closed season.
    pub fn mean_yield(
        review: &SeasonReview,
        table: &TreeSeasons<'_>,
        region: &str,
    ) -> Result<Realised, ReviewError> {
        table.check()?;
        let block = table.block;
        let rows: Vec<_> =
            review.trees.iter().filter(|tree| table.region.label(tree.row) == region).collect();
        let n = rows.len() as f64;
        let mean = rows.iter().map(|tree| tree.observed_kg).sum::<f64>() / n;
        let blocks: BTreeSet<usize> = rows.iter().map(|tree| block.code(tree.row)).collect();
        // Sums of deviations by unit: the variance of a mean of clusters of unequal size.
        let sums: Vec<f64> = if blocks.len() > 1 {
            blocks
                .iter()
                .map(|own| {
                    let of_block = rows.iter().filter(|tree| block.code(tree.row) == *own);
                    of_block.map(|tree| tree.observed_kg - mean).sum::<f64>()
                })
                .collect()
        } else {
            rows.iter().map(|tree| tree.observed_kg - mean).collect()
        };
        let units = sums.len() as f64;
        if sums.len() < 2 {
            let what = text!("a mean yield with its standard error");
            return Err(ReviewError::TooFew { what, least: 2, found: sums.len() });
        }
        let squares = sums.iter().map(|sum| sum * sum).sum::<f64>();
        Ok(Realised {
            region: region.to_owned(),
            season: review.seasons.get(region).copied().unwrap_or_default(),
            gain_kg: mean,
            followed_kg: mean,
            std_error_kg: (units / (units - 1.0) * squares).sqrt() / n,
            df: units - 1.0,
            followed: rows.len(),
            not_followed: 0,
            blocks_with_both: 0,
        })
    }
}
