//! What a report is made of; every number is computed before it gets here.

use crate::laterals::RegionLaterals;
use crate::review::ReviewReport;
use crate::trials::TrialReport;
use advise::{Advice, RegionPicture};
use records::Problem;
use workplan::plan::Plan;

/// One run, ready to be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Advice per region.
    pub advice: Advice,
    /// Figures per region, matched to the advice by region id.
    pub pictures: Vec<RegionPicture>,
    /// Shoots, flowers and the path to yield, matched by region id; empty when the book has no frame
    /// counts.
    pub laterals: Vec<RegionLaterals>,
    /// Designed trials that the book declares, by id.
    pub trials: Vec<TrialReport>,
    /// What trials say of the best intensity, beside the advice for their region.
    pub beside: Vec<BesideTrial>,
    /// The season just closed.
    pub review: ReviewReport,
    /// Plan of work, those blocks first whose delay costs most.
    pub plan: Plan,
    /// State of the records.
    pub quality: Quality,
    /// How the numbers were computed.
    pub method: Method,
}

/// What a trial says of the best intensity, beside the advice for its region.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BesideTrial {
    /// Region id.
    pub region: String,
    /// Trial id.
    pub trial: String,
    /// What the advice rests on, the same for every trial beside it.
    pub basis: String,
    /// What the trial says, how far apart the two are, and whether their intervals overlap.
    pub words: String,
    /// How the advice's records and the trials' hang together, the same for every trial beside it; may be empty.
    pub together: String,
}

impl BesideTrial {
    /// All of it, as where the trial stands by itself.
    #[must_use]
    pub fn alone(&self) -> String {
        let all = [&self.basis, &self.words, &self.together].map(String::as_str);
        all.into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(" ")
    }
}

/// What was read, kept, repaired, set aside and linked.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quality {
    /// One line per input file or sheet.
    pub files: Vec<FileLine>,
    /// One line per table linked into tree-seasons.
    pub linked: Vec<LinkLine>,
    /// Every problem found, in order of discovery.
    pub findings: Vec<Problem>,
    /// Rows in `quarantine.csv`.
    pub quarantine_rows: u64,
}

/// Row counts of one input file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileLine {
    /// File name relative to the book.
    pub file: String,
    /// Table it holds.
    pub table: String,
    /// Data rows in the file.
    pub rows_read: u64,
    /// Rows used.
    pub rows_kept: u64,
    /// Rows set aside.
    pub rows_quarantined: u64,
    /// Rows of trees that were not drawn.
    pub rows_not_drawn: u64,
    /// Repairs as (code, column, cells).
    pub repairs: Vec<(String, String, u64)>,
    /// Fingerprint of the file's bytes.
    pub fingerprint: String,
}

/// What became of the kept rows of one table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LinkLine {
    /// Table.
    pub table: String,
    /// Rows kept by ingest.
    pub kept: u64,
    /// Rows that are part of a tree-season.
    pub linked: u64,
    /// Rows that are not, as (reason, rows).
    pub not_linked: Vec<(String, u64)>,
}

/// How the numbers were computed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Method {
    /// Plain statements, in the order of the computation.
    pub sentences: Vec<MethodItem>,
    /// Fixed effects of the yield model.
    pub coefficients: Vec<CoefficientRow>,
    /// Standard deviations of its random effects.
    pub spreads: Vec<SpreadRow>,
    /// How the fit ended, in words.
    pub status: String,
    /// What the run does not know.
    pub limits: Vec<String>,
    /// Degrees of freedom method.
    pub df_method: String,
    /// Scale on which the model is linear, for example `square root of kg per tree`.
    pub scale: String,
    /// Tree-seasons used by the fit.
    pub rows_used: u64,
    /// Tree-seasons left out, as (reason, tree-seasons).
    pub rows_dropped: Vec<(String, u64)>,
}

/// One statement of the method.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MethodItem {
    /// Part of its anchor on the page: lower-case letters and hyphens, the same in every language.
    pub id: &'static str,
    /// What it is about.
    pub heading: String,
    /// The statement.
    pub text: String,
}

/// One fixed effect, on the model's scale.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CoefficientRow {
    /// Name of the term.
    pub term: String,
    /// Estimate.
    pub estimate: Option<f64>,
    /// Standard error.
    pub std_error: Option<f64>,
    /// Degrees of freedom.
    pub df: Option<f64>,
    /// Test statistic.
    pub statistic: Option<f64>,
    /// Two-sided p value.
    pub p_value: Option<f64>,
    /// Lower confidence limit.
    pub conf_low: Option<f64>,
    /// Upper confidence limit.
    pub conf_high: Option<f64>,
}

/// Standard deviation of one random effect, on the model's scale.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpreadRow {
    /// Grouping factor.
    pub group: String,
    /// Term within it.
    pub term: String,
    /// Standard deviation.
    pub sd: Option<f64>,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// Remark, for example that the estimate lies on the boundary.
    pub note: String,
}
