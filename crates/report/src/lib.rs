//! Everything a run writes for people: page, plots, tables, work plan and calendar; computes no statistics.

mod cells;
mod content;
mod dictionary;
mod error;
mod escape;
mod files;
mod how;
mod laterals;
mod layout;
mod manifest;
mod names;
mod number;
mod outputs;
mod page;
mod plan;
mod plots;
mod publish;
mod review;
mod sentence;
mod summary;
mod text;
mod trials;
mod what_if;

pub use content::{
    BesideTrial, CoefficientRow, FileLine, LinkLine, Method, MethodItem, Quality, Report, SpreadRow,
};
pub use dictionary::{
    Field, advice_fields, laterals_fields, page_fields, plan_table_fields, quarantine_fields,
    review_fields, trial_fields, work_plan_fields,
};
pub use error::ReportError;
pub use files::csv_line;
pub use laterals::{CountMean, Effects, Path, PathSlope, RegionLaterals};
pub use layout::{new_field_words, write_layout, write_sheets_again};
pub use manifest::{InputFile, Origin, seal};
pub use names::{is_reserved, stem};
pub use outputs::write_outputs;
pub use plan::{PLAN_FILES, PlanCell, PlanOf, Sheet, sheets, write_plan};
pub use publish::{
    PublishError, Standing, Writer, publish, publish_into, publish_new, replaceable, standing,
};
pub use review::{
    BlockMap, IntervalRow, Intervals, MappedTree, PartsPlot, PartsRow, ReviewFigure, ReviewReport,
    ReviewSection, TreeFlag, write_review,
};
pub use sentence::{gain_subject, sentence};
pub use summary::summary_text;
pub use trials::{
    TrialCell, TrialHead, TrialPart, TrialPlot, TrialPoint, TrialReport, TrialSection, TrialSeries,
    TrialTable, write_size, write_trials,
};
pub use what_if::{Supposed, WhatIfRow, no_advice, what_if_rows};
