//! Dates and crews: which block is worked on which day, and what to drop when a window is too short.

mod alarm;
mod crew;
mod flow;
mod plan;

pub use alarm::{Alarm, Dropped};
pub use crew::{Crew, RestDate, WorkDay};
pub use plan::{BlockWork, DayWork, Schedule, Scheduled, Share, delay_loss_per_day, schedule};
