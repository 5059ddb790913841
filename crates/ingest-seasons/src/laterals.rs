//! Frame counts: frame by frame, and pooled per tree and season as laterals over frame area.

use crate::frame::{DATE, REGION_NO, TREE_NO, left_join, sorted};
use crate::outcome::Outcome;
use crate::places::Places;
use crate::rows::at_their_trees;
use crate::seasons::on_days;
use jiff::civil::Date;
use polars::prelude::*;
use records::frame_count as fc;
use records::tree_season as ts;
use records::{Calendar, Table};

/// Number of frame counts pooled.
pub(crate) const FRAMES: &str = "frames";

const LATERALS: &str = "laterals";
const FLOWERING: &str = "flowering_laterals";
const FRAME_M2: &str = "frame_m2";
const SIDE: &str = "side";
const UNCOUNTED: &str = "uncounted";

/// One row per frame whose tree is known: `tree_no`, `region_no`, `season`, `date`, area, counts
/// and side, in an order that does not depend on that of the files.
pub(crate) fn counts(
    frame: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let wanted = [FRAME_M2, LATERALS, FLOWERING, SIDE];
    let rows = at_their_trees(Table::Laterals, frame, &wanted, places, outcome)?;
    let rows = on_days(rows, places, &[(ts::SEASON, &season_of_count)])?;
    sorted(rows.lazy(), &[TREE_NO, ts::SEASON, DATE, FRAME_M2, SIDE, LATERALS, FLOWERING]).collect()
}

/// One row per tree and season with a frame count: `tree_no`, `region_no`, `season`, `frames`,
/// `laterals_per_m2` and `flowering_laterals_per_m2` (null unless every frame counted them).
pub(crate) fn densities(counts: &DataFrame) -> PolarsResult<DataFrame> {
    let per_m2 = |column: &str| col(column).cast(DataType::Float64) / col(FRAME_M2);
    counts
        .clone()
        .lazy()
        .group_by_stable([col(TREE_NO), col(REGION_NO), col(ts::SEASON)])
        .agg([
            len().cast(DataType::Int32).alias(FRAMES),
            col(FRAME_M2).sum(),
            col(LATERALS).sum(),
            col(FLOWERING).sum(),
            col(FLOWERING).null_count().alias(UNCOUNTED),
        ])
        .select([
            col(TREE_NO),
            col(REGION_NO),
            col(ts::SEASON),
            col(FRAMES),
            per_m2(LATERALS).alias(ts::LATERALS_PER_M2),
            when(col(UNCOUNTED).eq(lit(0)))
                .then(per_m2(FLOWERING))
                .otherwise(lit(NULL))
                .alias(ts::FLOWERING_PER_M2),
        ])
        .collect()
}

/// The frames of the linked tree-seasons, with the columns of [`records::frame_count::COLUMNS`].
pub(crate) fn linked_counts(counts: &DataFrame, linked: &DataFrame) -> PolarsResult<DataFrame> {
    let seasons = linked.clone().lazy().select([
        col(TREE_NO),
        col(ts::SEASON),
        col(ts::REGION),
        col(ts::SITE),
        col(ts::BLOCK),
        col(ts::TREE),
        col(ts::INTENSITY),
        col(ts::LEAD_DAYS),
        col(ts::EVIDENCE).neq(lit("routine")).alias(fc::IN_TRIAL),
    ]);
    let whole = |column: &str| col(column).cast(DataType::Int32);
    left_join(counts.clone().lazy(), seasons, &[TREE_NO, ts::SEASON])
        .filter(col(ts::TREE).is_not_null())
        .with_columns([whole(LATERALS), whole(FLOWERING)])
        .collect()
}

/// The season whose harvest is the first to close on or after the day of the count, so that shoots
/// counted from the flush to the end of picking belong to the crop they bear.
fn season_of_count(calendar: &Calendar, day: Date) -> Option<i32> {
    let year = day.year();
    (year - 2..=year + 1).find(|&season| calendar.harvest.close_of(season) >= day).map(i32::from)
}
