//! Yields, prunings, frame counts and trees joined into the linked table.

use crate::frame::{PLANTED, REGION_NO, TREE_NO, floats, left_join, sorted};
use crate::other_treatments;
use crate::places::Places;
use crate::prunings::{MEAN_DAY, OTHER_BASIS, UNPRUNED};
use crate::seasons::{CLOSES, FLUSH_START, OPENS, PREVIOUS_CLOSE, season_days};
use crate::trials::{FROM, TrialTree, UNTIL};
use polars::prelude::*;
use records::Book;
use records::tree_season as ts;

/// Mean days of a year in the Gregorian calendar.
pub(crate) const DAYS_PER_YEAR: f64 = 365.2425;
/// Marks tree-seasons of which a row was set aside.
pub(crate) const INCOMPLETE: &str = "incomplete";
const TREE_SEASON: [&str; 2] = [TREE_NO, ts::SEASON];

/// The parts of the linked table, one row per tree and season each.
#[derive(Debug)]
pub(crate) struct Parts<'a> {
    /// From [`crate::picks::yields`].
    pub(crate) yields: &'a DataFrame,
    /// From [`crate::prunings::combined`].
    pub(crate) prunings: &'a DataFrame,
    /// From [`crate::laterals::densities`]; nothing without the table.
    pub(crate) laterals: Option<&'a DataFrame>,
    /// From [`crate::trials::plots`]; nothing without the table.
    pub(crate) plots: Option<&'a DataFrame>,
    /// The trees of these; none without the table.
    pub(crate) trial_trees: &'a [TrialTree],
    /// From [`crate::incomplete::tree_seasons`].
    pub(crate) incomplete: &'a DataFrame,
}

/// The linked table with `tree_no`, `region_no` and `frames`, sorted by tree and season.
/// Tree-seasons with a cut on another basis than the book asks for, and those of which a row was set
/// aside, are left out.
pub(crate) fn tree_seasons(
    parts: &Parts<'_>,
    places: &Places,
    book: &Book,
) -> PolarsResult<DataFrame> {
    let days = season_days(parts.yields, places)?;
    let seasons = left_join(parts.yields.clone().lazy(), days.lazy(), &[REGION_NO, ts::SEASON]);
    let seasons = with_prunings(whole(seasons, parts.incomplete), parts.prunings);
    let seasons = with_laterals(seasons, parts.laterals);
    let seasons = with_trees(seasons, parts, places, book);
    let linked = sorted(with_previous(seasons.collect()?)?, &TREE_SEASON).collect()?;
    with_pruned_on(other_treatments::marked(linked, parts.trial_trees, book)?)
}

fn whole(seasons: LazyFrame, incomplete: &DataFrame) -> LazyFrame {
    if incomplete.height() == 0 {
        return seasons;
    }
    let marked = incomplete.clone().lazy().with_column(lit(true).alias(INCOMPLETE));
    left_join(seasons, marked, &TREE_SEASON).filter(col(INCOMPLETE).is_null()).drop(by_name(
        [INCOMPLETE],
        true,
        false,
    ))
}

fn with_prunings(seasons: LazyFrame, prunings: &DataFrame) -> LazyFrame {
    let prunings = prunings.clone().lazy().select(
        [
            TREE_NO,
            ts::SEASON,
            ts::INTENSITY,
            ts::PRUNINGS,
            ts::BASIS,
            ts::MINUTES,
            MEAN_DAY,
            OTHER_BASIS,
        ]
        .map(col),
    );
    let day = |name: &str| col(name).cast(DataType::Float64);
    left_join(seasons, prunings, &TREE_SEASON)
        .filter(col(OTHER_BASIS).fill_null(lit(false)).not())
        .with_columns([
            col(ts::INTENSITY).fill_null(lit(0.0)),
            col(ts::PRUNINGS).fill_null(lit(0_i32)),
            col(ts::BASIS).fill_null(lit(UNPRUNED)),
            (day(FLUSH_START) - col(MEAN_DAY)).alias(ts::LEAD_DAYS),
            (col(MEAN_DAY) - day(PREVIOUS_CLOSE)).alias(ts::REST_DAY),
        ])
}

fn with_laterals(seasons: LazyFrame, laterals: Option<&DataFrame>) -> LazyFrame {
    use crate::laterals::FRAMES;
    match laterals {
        Some(laterals) => {
            let columns = [TREE_NO, ts::SEASON, FRAMES, ts::LATERALS_PER_M2, ts::FLOWERING_PER_M2];
            left_join(seasons, laterals.clone().lazy().select(columns.map(col)), &TREE_SEASON)
        }
        None => seasons.with_columns([
            lit(NULL).cast(DataType::Int32).alias(FRAMES),
            lit(NULL).cast(DataType::Float64).alias(ts::LATERALS_PER_M2),
            lit(NULL).cast(DataType::Float64).alias(ts::FLOWERING_PER_M2),
        ]),
    }
}

fn with_trees(seasons: LazyFrame, parts: &Parts<'_>, places: &Places, book: &Book) -> LazyFrame {
    let trees = places.trees.clone().lazy();
    let age = (col(OPENS) - col(PLANTED)).cast(DataType::Float64) / lit(DAYS_PER_YEAR);
    let joined = left_join(seasons.drop(by_name([REGION_NO], true, false)), trees, &[TREE_NO]);
    with_plots(joined, parts)
        .with_columns([
            age.alias(ts::AGE_YEARS),
            when(col(ts::TRIAL).is_null())
                .then(lit("routine"))
                .otherwise(lit("trial"))
                .alias(ts::EVIDENCE),
        ])
        .with_column(
            col(ts::AGE_YEARS)
                .lt(lit(book.options.training_age_years))
                .fill_null(lit(false))
                .alias(ts::YOUNG),
        )
}

/// Trial and replicate of each tree-season. Before the first of a trial's declared seasons its trees
/// were pruned like all others.
fn with_plots(seasons: LazyFrame, parts: &Parts<'_>) -> LazyFrame {
    let Some(plots) = parts.plots else {
        return seasons.with_columns([
            lit(NULL).cast(DataType::String).alias(ts::TRIAL),
            lit(NULL).cast(DataType::String).alias(ts::REPLICATE),
        ]);
    };
    // A tree may stand in several trials; the spans of their seasons do not meet.
    let on = || vec![col(TREE_NO)];
    let yields = parts.yields.clone().lazy();
    let of_seasons = yields
        .select(TREE_SEASON.map(col))
        .join(plots.clone().lazy(), on(), on(), JoinArgs::new(JoinType::Inner))
        .filter(col(ts::SEASON).gt_eq(col(FROM)).and(col(ts::SEASON).lt(col(UNTIL))))
        .select([TREE_NO, ts::SEASON, ts::TRIAL, ts::REPLICATE].map(col));
    left_join(seasons, of_seasons, &TREE_SEASON)
}

/// Yield and intensity of the season before, where the table has it.
fn with_previous(seasons: DataFrame) -> PolarsResult<LazyFrame> {
    let before = seasons.clone().lazy().select([
        col(TREE_NO),
        (col(ts::SEASON) + lit(1_i32)).alias(ts::SEASON),
        col(ts::YIELD_KG).alias(ts::PREVIOUS_YIELD_KG),
        col(ts::INTENSITY).alias(ts::PREVIOUS_INTENSITY),
    ]);
    Ok(left_join(seasons.lazy(), before, &TREE_SEASON))
}

/// The mean pruning day as a date, half a day rounded to the earlier day.
fn with_pruned_on(mut linked: DataFrame) -> PolarsResult<DataFrame> {
    let dates: Int32Chunked = floats(&linked, MEAN_DAY)?
        .iter()
        .map(|day| day.map(|day| (day - 0.5).ceil() as i32))
        .collect();
    let dates = dates.with_name(ts::PRUNED_ON.into()).into_column().cast(&DataType::Date)?;
    linked.with_column(dates)?;
    Ok(linked)
}

/// Tree-seasons that a block picked and one of its trees, picked in other seasons, did not:
/// number per `region_no`. They are not in the table, because not picked is not a crop of nothing.
pub(crate) fn without_a_pick(yields: &DataFrame, places: &Places) -> PolarsResult<Vec<(u32, u64)>> {
    let days = season_days(yields, places)?;
    let blocks = places.trees.clone().lazy().select([col(TREE_NO), col(PLANTED), col(ts::BLOCK)]);
    let picked = yields.clone().lazy().select([TREE_NO, REGION_NO, ts::SEASON].map(col));
    let picked = left_join(picked, days.lazy(), &[REGION_NO, ts::SEASON]);
    let picked = left_join(picked, blocks, &[TREE_NO]);
    let trees = picked
        .clone()
        .select([TREE_NO, REGION_NO, ts::BLOCK, PLANTED].map(col))
        .unique(None, UniqueKeepStrategy::Any);
    let seasons = picked
        .clone()
        .select([ts::BLOCK, ts::SEASON, CLOSES].map(col))
        .unique(None, UniqueKeepStrategy::Any);
    let expected = trees
        .inner_join(seasons, col(ts::BLOCK), col(ts::BLOCK))
        // A tree planted later could not be picked then.
        .filter(col(PLANTED).is_null().or(col(PLANTED).lt_eq(col(CLOSES))));
    let seen = picked.select([col(TREE_NO), col(ts::SEASON), lit(true).alias("seen")]);
    let missing = left_join(expected, seen, &TREE_SEASON)
        .filter(col("seen").is_null())
        .group_by([col(REGION_NO)])
        .agg([len().cast(DataType::Int64).alias("n")])
        .collect()?;
    let counts = missing.column("n")?.i64()?.iter();
    Ok(crate::frame::indices(&missing, REGION_NO)?
        .iter()
        .zip(counts)
        .filter_map(|(region, n)| Some((region?, u64::try_from(n?).ok()?)))
        .collect())
}
