//! From fitted response to decision: verdicts, economics and the work plan.

mod cost;
mod decide;
mod outcome;
mod picture;
mod plan;
mod work;

pub use cost::{Cost, TimeSource};
pub use decide::{Evidences, decide, without_records};
pub use outcome::{
    Advice, Advised, Evidence, Horizon, Interval, InversionKind, InversionSet, Lateness,
    MoneyInterval, Optimum, Present, RegionAdvice, Verdict,
};
pub use picture::{ClassMean, CurvePoint, OddsBar, RegionPicture, Surface};
pub use plan::work_plan;
pub use work::{WorkAction, WorkLine};
