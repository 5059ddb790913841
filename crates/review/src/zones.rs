//! Agro-climatic zones proposed for blocks that have no region.

mod gap;
mod indices;
mod k_means;
mod linkage;
mod points;
mod proposal;
mod stability;

use crate::error::ReviewError;
use serde::{Deserialize, Serialize};
use words::text;

pub use gap::{GapPoint, gap_statistic};
pub use indices::{adjusted_rand_index, silhouette};
pub use k_means::{Groups, k_means};
pub use linkage::average_linkage;
pub use points::{FeatureKind, Features};
pub use proposal::{Zone, ZoneFeature};

/// Mean silhouette up to which no substantial structure was found (Kaufman and Rousseeuw 1990,
/// Finding Groups in Data, table 4), and Jaccard similarity under which a group is not to be trusted
/// (Hennig 2007).
const NO_STRUCTURE: f64 = 0.25;
const UNSTABLE: f64 = 0.6;

/// Settings of a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ZoneSettings {
    /// Most groups tried.
    pub most: usize,
    /// Number of groups asked for; chosen from the features when `None`.
    pub groups: Option<usize>,
    /// Starts of each k-means.
    pub starts: usize,
    /// Reference sets of the gap statistic.
    pub references: usize,
    /// Resamples of the stability check.
    pub resamples: usize,
    /// Seed.
    pub seed: u64,
}

impl Default for ZoneSettings {
    fn default() -> Self {
        Self { most: 8, groups: None, starts: 25, references: 50, resamples: 100, seed: 1 }
    }
}

/// Evidence for a number of groups.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ZoneCount {
    /// Number of groups.
    pub groups: usize,
    /// Sum of squared distances to the centres.
    pub within: f64,
    /// Mean silhouette; `None` for one group.
    pub silhouette: Option<f64>,
    /// Gap statistic.
    pub gap: f64,
    /// Its standard error, simulation included.
    pub gap_std_error: f64,
}

/// A group of another method that is not one of the zones.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OtherGroup {
    /// Zones most of whose places are in it: several are merged, none makes it a group of no zone.
    pub zones: Vec<String>,
    /// Places in it whose zone is, for the most part, elsewhere.
    pub places: Vec<String>,
}

/// A proposal of zones, for the user to confirm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Zones {
    /// The zones, by first block.
    pub zones: Vec<Zone>,
    /// Blocks with a missing feature, in no zone.
    pub unassigned: Vec<String>,
    /// Features that are the same everywhere and tell nothing.
    pub constant_features: Vec<String>,
    /// Distinct places: blocks with the same features count once.
    pub places: usize,
    /// Evidence by number of groups.
    pub counts: Vec<ZoneCount>,
    /// Number of groups with the highest mean silhouette.
    pub by_silhouette: usize,
    /// Least number of groups whose gap is within a standard error of that of the next.
    pub by_gap: usize,
    /// Why this number of groups was taken, in one sentence.
    pub reason: String,
    /// Adjusted Rand index of the zones with groups of the same number by average linkage: 1 when
    /// both agree, near 0 by chance; `None` for one zone.
    pub linkage_agreement: Option<f64>,
    /// Groups by average linkage that are not one of the zones; with the zones they tell its grouping whole.
    pub otherwise: Vec<OtherGroup>,
    /// Settings used.
    pub settings: ZoneSettings,
}

/// Proposes zones: features standardised (`Features`), distinct places grouped by k-means, the number
/// of groups by mean silhouette (Rousseeuw 1987, J. Comput. Appl. Math. 20:53-65), one group when the
/// gap statistic (Tibshirani, Walther and Hastie 2001) finds no more and the silhouette is weak. A
/// proposal only: nothing may use it before the user put it into the book.
///
/// # Errors
/// Fewer than three distinct places, settings out of range, a failure of the clustering library.
pub fn propose(features: &Features, settings: &ZoneSettings) -> Result<Zones, ReviewError> {
    features.check()?;
    for (name, value) in
        [("starts", settings.starts), ("references", settings.references), ("most", settings.most)]
    {
        if value == 0 {
            return Err(ReviewError::Setting { name, value: 0.0, need: "at least 1" });
        }
    }
    let points = points::Points::of(features);
    let places = points.values.len();
    if places < 3 {
        return Err(ReviewError::TooFew {
            what: text!("a proposal of zones"),
            least: 3,
            found: places,
        });
    }
    let most = settings.most.min(places - 1);
    if let Some(groups) = settings.groups
        && !(1..places).contains(&groups)
    {
        let (name, value) = ("groups", groups as f64);
        return Err(ReviewError::Setting { name, value, need: "from 1 to the distinct places" });
    }
    let gaps = gap_statistic(&points.values, most, settings)?;
    let mut counts = Vec::new();
    for gap in &gaps {
        let grouped = k_means(&points.values, gap.groups, settings.starts, settings.seed)?;
        counts.push(ZoneCount {
            groups: gap.groups,
            within: grouped.within,
            silhouette: silhouette(&points.values, &grouped.codes).map(|(mean, _)| mean),
            gap: gap.gap,
            gap_std_error: gap.std_error,
        });
    }
    let by_gap = gap::choice(&gaps);
    let mut best: (usize, f64) = (1, f64::NEG_INFINITY);
    for count in &counts {
        if let Some(mean) = count.silhouette
            && mean > best.1
        {
            best = (count.groups, mean);
        }
    }
    let (chosen, reason) = match settings.groups {
        Some(groups) => (groups, format!("{groups} groups were asked for.")),
        None if by_gap == 1 && best.1 <= NO_STRUCTURE => (
            1,
            format!(
                "One zone: the gap statistic finds no groups and the best mean silhouette, {:.2}, shows no substantial structure.",
                best.1
            ),
        ),
        None => (
            best.0,
            format!(
                "{} zones have the highest mean silhouette, {:.2}; the gap statistic takes {by_gap}.",
                best.0, best.1
            ),
        ),
    };
    let grouped = k_means(&points.values, chosen, settings.starts, settings.seed)?;
    let stability = stability::jaccard(&points.values, &grouped.codes, chosen, settings)?;
    let (linkage_agreement, otherwise) = if chosen > 1 {
        let other = average_linkage(&points.values, chosen);
        let agreement = adjusted_rand_index(&grouped.codes, &other);
        (Some(agreement), proposal::otherwise(features, &points, &grouped.codes, &other))
    } else {
        (None, Vec::new())
    };
    Ok(Zones {
        zones: proposal::zones(features, &points, &grouped, &stability),
        unassigned: points.missing.iter().map(|&block| features.blocks[block].clone()).collect(),
        constant_features: points.constant.clone(),
        places,
        counts,
        by_silhouette: best.0,
        by_gap,
        reason,
        linkage_agreement,
        otherwise,
        settings: *settings,
    })
}

#[cfg(test)]
mod tests;
