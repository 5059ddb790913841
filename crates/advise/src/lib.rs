//! From fitted response to decision: verdicts and economics.

mod cost;
mod decide;
mod outcome;
mod picture;

pub use cost::{Cost, TimeSource};
pub use decide::{Evidences, decide, without_records};
pub use outcome::{
    Advice, Advised, Evidence, Horizon, Interval, InversionKind, InversionSet, Lateness,
    MoneyInterval, Optimum, OtherDates, Present, RegionAdvice, RegionReturns, Verdict,
};
pub use picture::{AsPlanned, ClassMean, CurvePoint, OddsBar, RegionPicture, Surface};
