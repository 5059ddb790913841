//! Vocabulary of the project: units, calendars, table schemas, the record book and row problems; no I/O.

mod book;
mod calendar;
mod counted;
mod explain;
pub mod frame_count;
mod intensity;
pub mod limits;
mod lookalike;
mod natural;
mod practice;
mod problem;
mod published;
mod quantities;
mod schema;
pub mod tree_season;
pub mod units;
pub mod work;

pub use book::{
    BOOK_FORMAT, Book, BookError, BookMeta, DateOrder, DecimalMark, Economics, FileOptions,
    Options, PresentPractice, PruningTime, Region, ReportLanguage, ResponseScale, SeenTrials,
    StatedValue, TableFiles, TrialControl, TrialDeclaration, TrialDesign, TrialRoles, TrialTrait,
    written_amount, written_number,
};
pub use calendar::{Calendar, CalendarError, MonthDay, Window};
pub use counted::{counted, noun};
pub use explain::{Example, Explanation};
pub use intensity::{IntensityError, MeasuredAs, RawIntensity, combine_prunings};
pub use lookalike::{
    common_form, differ_by_one, is_invisible, reads_as_empty, spelled, turns_direction, with_mark,
    without_zeros,
};
pub use natural::{natural_order, plain_name};
pub use practice::{
    ABOUT_AS_HARD, Practice, PracticeBefore, PracticePoint, YoungestTrees, one_season, youngest_cut,
};
pub use problem::{Code, Place, Problem, Severity};
pub use published::PublishedSchema;
pub use quantities::{
    alternate_bearing_index, at_reference_moisture, canopy_ground_projection_m2,
    half_ellipsoid_volume_m3, trees_per_ha, trunk_section_cm2,
};
pub use schema::{ColumnKind, ColumnSpec, Table, TableSpec};
pub use units::is_per_cent;
