//! How a family of comparisons is adjusted: p-values and critical values.

use super::CompareError;
use crate::distributions::{Dunnett, NoncentralF, Sides, StudentisedRange};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, btree_map::Entry};
use words::text;

/// Adjustment for the number of comparisons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Adjustment {
    /// None: each comparison alone errs with the stated probability (least significant
    /// difference, critical difference).
    Unadjusted,
    /// Tukey-Kramer, for all pairs: exact with equal replication, conservative without (Hayter
    /// 1984, Ann. Stat. 12:61-75).
    Tukey,
    /// Dunnett, for comparisons with a control.
    Dunnett(Sides),
    /// Bonferroni.
    Bonferroni,
    /// Holm's sequential Bonferroni (1979, Scand. J. Stat. 6:65-70) for the p-values; Bonferroni
    /// for the intervals, because no simple intervals go with the sequence.
    Holm,
}

impl Adjustment {
    /// Name for tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Adjustment::Unadjusted => text!("none (least significant difference)"),
            Adjustment::Tukey => text!("Tukey-Kramer"),
            Adjustment::Dunnett(Sides::Both) => text!("Dunnett, two-sided"),
            Adjustment::Dunnett(Sides::Above) => text!("Dunnett, one-sided (above the control)"),
            Adjustment::Dunnett(Sides::Below) => text!("Dunnett, one-sided (below the control)"),
            Adjustment::Bonferroni => text!("Bonferroni"),
            Adjustment::Holm => text!("Holm (intervals by Bonferroni)"),
        }
    }
}

/// The family: what the adjustment needs beside a statistic.
pub(super) struct Family {
    pub(super) adjustment: Adjustment,
    /// Means in the family, for Tukey.
    pub(super) means: usize,
    /// Comparisons in the family.
    pub(super) comparisons: usize,
    /// Loadings of the comparisons, for Dunnett.
    pub(super) loadings: Vec<f64>,
    /// Error level of the family.
    pub(super) level: f64,
}

/// The family's reference distribution at one number of degrees of freedom.
pub(super) struct Reference {
    kind: Kind,
    /// Factor of a single comparison's two-sided p-value.
    times: f64,
    /// Critical value of the statistic.
    pub(super) critical: f64,
}

enum Kind {
    Single(NoncentralF),
    Range(StudentisedRange),
    Control(Dunnett, Sides),
}

impl Family {
    /// Reference distributions by degrees of freedom (keyed by their bits, so that equal degrees
    /// of freedom are integrated once).
    pub(super) fn references(
        &self,
        dfs: impl Iterator<Item = f64>,
    ) -> Result<BTreeMap<u64, Reference>, CompareError> {
        let mut found = BTreeMap::new();
        for df in dfs {
            if let Entry::Vacant(place) = found.entry(df.to_bits()) {
                place.insert(self.reference(df)?);
            }
        }
        Ok(found)
    }

    fn reference(&self, df: f64) -> Result<Reference, CompareError> {
        let (kind, times, critical) = match self.adjustment {
            Adjustment::Tukey => {
                let range = StudentisedRange::new(self.means, df)?;
                let critical = range.upper_quantile(self.level)? / 2.0_f64.sqrt();
                (Kind::Range(range), 1.0, critical)
            }
            Adjustment::Dunnett(sides) => {
                let control = Dunnett::new(&self.loadings, df, sides)?;
                let critical = control.upper_quantile(self.level)?;
                (Kind::Control(control, sides), 1.0, critical)
            }
            Adjustment::Unadjusted => single(df, self.level, 1.0)?,
            Adjustment::Bonferroni | Adjustment::Holm => {
                single(df, self.level, self.comparisons as f64)?
            }
        };
        Ok(Reference { kind, times, critical })
    }
}

fn single(df: f64, level: f64, times: f64) -> Result<(Kind, f64, f64), CompareError> {
    let f = NoncentralF::new(1.0, df, 0.0)?;
    let critical = f.upper_quantile(level / times)?.sqrt();
    Ok((Kind::Single(f), times, critical))
}

impl Reference {
    /// Adjusted p-value of a t statistic, before any sequence over the family.
    pub(super) fn p_value(&self, t: f64) -> f64 {
        let p = match &self.kind {
            Kind::Single(f) => f.upper_tail(t * t),
            Kind::Range(range) => range.upper_tail(t.abs() * 2.0_f64.sqrt()),
            Kind::Control(control, Sides::Both) => control.upper_tail(t.abs()),
            Kind::Control(control, Sides::Above) => control.upper_tail(t),
            Kind::Control(control, Sides::Below) => control.upper_tail(-t),
        };
        (p * self.times).min(1.0)
    }
}

/// Holm's sequence over unadjusted p-values.
pub(super) fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    let of = |i: &usize| p.get(*i).copied().unwrap_or(1.0);
    order.sort_by(|a, b| of(a).total_cmp(&of(b)));
    let mut adjusted = vec![1.0; p.len()];
    let mut largest = 0.0_f64;
    for (rank, i) in order.iter().enumerate() {
        largest = largest.max((of(i) * (p.len() - rank) as f64).min(1.0));
        if let Some(entry) = adjusted.get_mut(*i) {
            *entry = largest;
        }
    }
    adjusted
}
