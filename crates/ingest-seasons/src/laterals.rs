//! Frame counts pooled per tree and season: laterals over frame area.

use crate::frame::{DATE, REGION_NO, TREE_NO, sorted};
use crate::outcome::Outcome;
use crate::places::Places;
use crate::rows::at_their_trees;
use crate::seasons::on_days;
use jiff::civil::Date;
use polars::prelude::*;
use records::tree_season as ts;
use records::{Calendar, Table};

/// Number of frame counts pooled.
pub(crate) const FRAMES: &str = "frames";

const LATERALS: &str = "laterals";
const FLOWERING: &str = "flowering_laterals";
const FRAME_M2: &str = "frame_m2";
const UNCOUNTED: &str = "uncounted";

/// One row per tree and season with a frame count: `tree_no`, `region_no`, `season`, `frames`,
/// `laterals_per_m2` and `flowering_laterals_per_m2` (null unless every frame counted them).
pub(crate) fn densities(
    frame: &DataFrame,
    places: &Places,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let wanted = [FRAME_M2, LATERALS, FLOWERING];
    let rows = at_their_trees(Table::Laterals, frame, &wanted, places, outcome)?;
    let rows = on_days(rows, places, &[(ts::SEASON, &season_of_count)])?;
    let per_m2 = |column: &str| col(column).cast(DataType::Float64) / col(FRAME_M2);
    sorted(rows.lazy(), &[TREE_NO, ts::SEASON, DATE, FRAME_M2])
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

/// The season whose harvest is the first to close on or after the day of the count, so that shoots
/// counted from the flush to the end of picking belong to the crop they bear.
fn season_of_count(calendar: &Calendar, day: Date) -> Option<i32> {
    let year = day.year();
    (year - 2..=year + 1).find(|&season| calendar.harvest.close_of(season) >= day).map(i32::from)
}
