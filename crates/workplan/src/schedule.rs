//! Dates and crews: which block is worked on which day, and what to drop when a window is too short.

mod alarm;
mod flow;
mod plan;
mod together;

pub use alarm::{Alarm, Dropped};
pub use plan::{BlockWork, DayWork, Schedule, Scheduled, Share, delay_loss_per_day, schedule};
pub use records::work::{Crew, RestDate, WorkDay};
