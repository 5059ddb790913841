//! Trees in blocks in regions: which tree stands where, and which rows name an unknown place.

use crate::differing::{Difference, Differing};
use crate::frame::{
    FILE, LINE, PLANTED, REGION_NO, TREE_NO, floats, indices, left_join, only, sorted, stands,
    texts,
};
use crate::near::NearMisses;
use crate::outcome::{Outcome, Rejected};
use polars::prelude::*;
use records::tree_season as ts;
use records::{
    Book, Calendar, Code, Place, Table, canopy_ground_projection_m2, counted, trees_per_ha,
};
use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};
use words::{say, text};

/// A region of the book with its calendar.
#[derive(Debug)]
pub(crate) struct RegionPlace {
    pub(crate) id: String,
    pub(crate) calendar: Calendar,
}

/// Trees, blocks and regions that agree with each other.
#[derive(Debug)]
pub(crate) struct Places {
    /// Regions with a calendar, by id; `region_no` is the position here.
    pub(crate) regions: Vec<RegionPlace>,
    /// One row per tree sorted by region, site, block and tree, `tree_no` counting them, with the
    /// columns of the linked table that do not change with the season.
    pub(crate) trees: DataFrame,
    /// Blocks that joined a region.
    pub(crate) blocks: u64,
    /// Trees whose own row was set aside.
    lost: Lost,
    /// Rows of trees set aside that hold no id, and the first of them.
    unread: Option<(u64, Place)>,
    near: OnceCell<NearMisses>,
}

/// Why nothing can be joined to a block or tree, and what to do about it.
#[derive(Debug, Clone)]
struct Loss {
    why: String,
    remedy: String,
}

/// Blocks or trees by id that nothing can be joined to.
type Lost = BTreeMap<String, Loss>;

const BLOCK_PLANTED: &str = "block_planted";
/// Marks trees whose rows agree on when they were planted.
const AGE_KNOWN: &str = "age_known";

impl Places {
    /// Joins trees to blocks and blocks to regions; rows that cannot be joined are rejected.
    pub(crate) fn join(
        blocks: &DataFrame,
        trees: &DataFrame,
        book: &Book,
        outcome: &mut Outcome,
    ) -> PolarsResult<Self> {
        let regions: Vec<RegionPlace> = book
            .regions
            .iter()
            .filter_map(|(id, region)| {
                Some(RegionPlace { id: id.clone(), calendar: region.calendar()? })
            })
            .collect();
        let (blocks, lost_blocks) = known_blocks(blocks, &regions, outcome)?;
        let (trees, lost) = known_trees(trees, &blocks, &lost_blocks, outcome)?;
        let unread = outcome.trees_unread.clone();
        let blocks = blocks.height() as u64;
        Ok(Self { regions, trees, blocks, lost, unread, near: OnceCell::new() })
    }

    pub(crate) fn calendar(&self, region_no: u32) -> Option<&Calendar> {
        self.regions.get(region_no as usize).map(|region| &region.calendar)
    }

    pub(crate) fn region_id(&self, region_no: u32) -> &str {
        self.regions.get(region_no as usize).map_or("", |region| region.id.as_str())
    }

    /// Why a tree is unknown, and what to do about it.
    pub(crate) fn unknown(&self, tree: &str) -> PolarsResult<(String, String)> {
        if let Some(Loss { why, remedy }) = self.lost.get(tree) {
            return Ok((say!("tree '{tree}': {why}"), remedy.clone()));
        }
        let otherwise = match &self.unread {
            None => text!("add the tree to the tree table, or correct the id").to_owned(),
            Some((rows, place)) => say!(
                "{} of the tree table set aside without an id, first {place}: mend these first, it may be among them; else add it to the tree table, or correct the id",
                counted(*rows, text!("row"), text!("rows"))
            ),
        };
        Ok((
            say!("tree '{tree}' is not in the tree table"),
            self.near()?.remedy_in(tree, ts::TREE, &otherwise),
        ))
    }

    /// The known trees that an unknown id may mean, where one or two are written so alike. Its records
    /// stay set aside; that they are missing from one of these is known.
    pub(crate) fn meant(&self, tree: &str) -> PolarsResult<Vec<&str>> {
        if self.lost.contains_key(tree) { Ok(Vec::new()) } else { Ok(self.near()?.meant(tree)) }
    }

    fn near(&self) -> PolarsResult<&NearMisses> {
        match self.near.get() {
            Some(near) => Ok(near),
            None => {
                let near = NearMisses::of(texts(&self.trees, ts::TREE)?.iter().flatten());
                Ok(self.near.get_or_init(|| near))
            }
        }
    }
}

/// The blocks or trees whose only rows were set aside while the files were read; `kept` are the ids
/// of rows that were not.
fn lost_while_reading<'a>(
    table: Table,
    kept: impl Iterator<Item = &'a str>,
    outcome: &Outcome,
) -> Lost {
    if outcome.lost_places.is_empty() {
        return Lost::new();
    }
    let kept: BTreeSet<&str> = kept.collect();
    let of_table = outcome
        .lost_places
        .iter()
        .filter(|((of, id), _)| *of == table && !kept.contains(id.as_str()));
    of_table
        .map(|((_, id), place)| {
            let why = match table {
                Table::Blocks => say!("the row of its block '{id}' was set aside"),
                _ => text!("its row in the tree table was set aside").to_owned(),
            };
            (id.clone(), Loss { why, remedy: say!("mend that row first ({place})") })
        })
        .collect()
}

/// Rows of one block id, in file order: file and line, row, site and region.
type SameId<'a> = Vec<((u32, u32), usize, &'a str, &'a str)>;

/// Blocks with a known region; the others are rejected and come back with the reason.
fn known_blocks(
    frame: &DataFrame,
    regions: &[RegionPlace],
    outcome: &mut Outcome,
) -> PolarsResult<(DataFrame, Lost)> {
    let (blocks, sites) = (texts(frame, ts::BLOCK)?, texts(frame, ts::SITE)?);
    let mut by_id: BTreeMap<&str, SameId<'_>> = BTreeMap::new();
    let places = sites.iter().zip(texts(frame, ts::REGION)?.iter());
    for (row, ((block, at), (site, region))) in
        blocks.iter().zip(stands(frame)?).zip(places).enumerate()
    {
        let place = (at, row, site.unwrap_or(""), region.unwrap_or(""));
        by_id.entry(block.unwrap_or("")).or_default().push(place);
    }
    let near = NearMisses::of(regions.iter().map(|region| region.id.as_str()));
    let mut region_no: Vec<Option<u32>> = vec![None; frame.height()];
    let mut lost = lost_while_reading(Table::Blocks, blocks.iter().flatten(), outcome);
    for (block, mut rows) in by_id {
        rows.sort_unstable();
        let Some(&(first_at, row, site, region)) = rows.first() else { continue };
        let first_place = outcome.place(first_at);
        let mut reject = |stands, code, reason: String, remedy: String| {
            let column = if code == Code::RegionUnknown { ts::REGION } else { ts::BLOCK };
            let table = Table::Blocks;
            outcome.reject(Rejected { table, stands, column: column.into(), code, reason, remedy });
        };
        if rows.iter().any(|&(_, _, s, r)| (s, r) != (site, region)) {
            // Block ids are unique in a book; which of the places is meant cannot be known.
            for &(at, ..) in &rows {
                reject(
                    at,
                    Code::RowDuplicate,
                    say!("block '{block}' is listed at more than one site or region"),
                    say!(
                        "give every block of the book its own id, for example with the site in front"
                    ),
                );
            }
            lost.insert(
                block.to_owned(),
                Loss {
                    why: say!("its block '{block}' is listed at more than one site or region"),
                    remedy: say!("mend the rows of the block first ({first_place})"),
                },
            );
            continue;
        }
        for &(at, ..) in rows.iter().skip(1) {
            reject(
                at,
                Code::RowDuplicate,
                say!("block '{block}' is listed before, at {first_place}"),
                say!("keep one row for each block"),
            );
        }
        if let Some(number) = regions.iter().position(|known| known.id == region) {
            if let Some(slot) = region_no.get_mut(row) {
                *slot = u32::try_from(number).ok();
            }
        } else {
            reject(
                first_at,
                Code::RegionUnknown,
                say!("region '{region}' of block '{block}' is not declared in book.toml"),
                near.remedy(
                    region,
                    text!("add the region with its windows to book.toml, or correct it"),
                ),
            );
            lost.insert(
                block.to_owned(),
                Loss {
                    why: say!("the region '{region}' of its block '{block}' is not in book.toml"),
                    remedy: say!("mend the row of the block first ({first_place})"),
                },
            );
        }
    }
    let density: Float64Chunked = floats(frame, "row_spacing_m")?
        .iter()
        .zip(floats(frame, "tree_spacing_m")?.iter())
        .map(|(row, tree)| Some(trees_per_ha(row?, tree?)))
        .collect();
    let known = frame
        .clone()
        .with_column(Column::new(REGION_NO.into(), region_no))?
        .with_column(density.with_name(ts::TREES_PER_HA.into()).into_column())?
        .clone()
        .lazy()
        .filter(col(REGION_NO).is_not_null())
        .select([
            col(ts::BLOCK),
            col(ts::SITE),
            col(ts::REGION),
            col(REGION_NO),
            col(PLANTED).cast(DataType::Int32).alias(BLOCK_PLANTED),
            col(ts::TREES_PER_HA),
            col(ts::VARIETY),
            col(ts::TRAINING),
        ])
        .collect()?;
    Ok((known, lost))
}

/// Trees with a known block in the order of the linked table.
fn known_trees(
    frame: &DataFrame,
    blocks: &DataFrame,
    lost_blocks: &Lost,
    outcome: &mut Outcome,
) -> PolarsResult<(DataFrame, Lost)> {
    let mut lost =
        lost_while_reading(Table::Trees, texts(frame, ts::TREE)?.iter().flatten(), outcome);
    let differing = Differing::of(frame)?;
    let frame = &differing.blanked(frame)?;
    let canopy: Float64Chunked = floats(frame, "spread_ns_m")?
        .iter()
        .zip(floats(frame, "spread_ew_m")?.iter())
        .map(|(ns, ew)| Some(canopy_ground_projection_m2(ns?, ew?)))
        .collect();
    let listed = frame
        .clone()
        .with_column(canopy.with_name(ts::CANOPY_M2.into()).into_column())?
        .clone()
        .lazy()
        .select([
            col(ts::TREE),
            col(ts::BLOCK),
            col(PLANTED).cast(DataType::Int32),
            col(ts::GIRTH_CM),
            col(ts::CANOPY_M2),
            col(FILE),
            col(LINE),
        ]);
    let listed = sorted(listed, &[ts::TREE, FILE, LINE]).collect()?;
    let listed = once_each(&listed, &differing, &mut lost, outcome)?;
    let joined = left_join(listed.lazy(), blocks.clone().lazy(), &[ts::BLOCK]).collect()?;
    let near = OnceCell::new();
    let mut keep = Vec::with_capacity(joined.height());
    let ids = texts(&joined, ts::TREE)?.iter().zip(texts(&joined, ts::BLOCK)?.iter());
    for ((ids, at), region) in ids.zip(stands(&joined)?).zip(indices(&joined, REGION_NO)?.iter()) {
        keep.push(region.is_some());
        if region.is_some() {
            continue;
        }
        let (tree, block) = (ids.0.unwrap_or(""), ids.1.unwrap_or(""));
        let known = texts(blocks, ts::BLOCK)?;
        let near = near.get_or_init(|| NearMisses::of(known.iter().flatten()));
        let loss = match lost_blocks.get(block) {
            Some(loss) => loss.clone(),
            None => Loss {
                why: say!("its block '{block}' is not in the block table"),
                remedy: near.remedy_in(
                    block,
                    ts::BLOCK,
                    text!("add the block to the block table, or correct the id"),
                ),
            },
        };
        let Loss { why, remedy } = loss.clone();
        let reason = say!("tree '{tree}': {why}");
        let (table, column, code) = (Table::Trees, ts::BLOCK, Code::BlockUnknown);
        outcome.reject(Rejected { table, stands: at, column: column.into(), code, reason, remedy });
        lost.insert(tree.to_owned(), loss);
    }
    let is_known: Vec<bool> = texts(&joined, ts::TREE)?
        .iter()
        .map(|tree| !tree.is_some_and(|tree| differing.is_unknown(tree, PLANTED)))
        .collect();
    let trees = joined.clone().with_column(Column::new(AGE_KNOWN.into(), is_known))?.clone();
    // Where rows of a tree contradict each other, its block's day is no better a guess.
    let planted = when(col(AGE_KNOWN))
        .then(coalesce(&[col(PLANTED), col(BLOCK_PLANTED)]))
        .otherwise(lit(NULL))
        .alias(PLANTED);
    let trees = only(&trees, keep)?.lazy().with_column(planted);
    let trees = sorted(trees, &[ts::REGION, ts::SITE, ts::BLOCK, ts::TREE])
        .with_row_index(TREE_NO, None)
        .select([
            col(TREE_NO),
            col(REGION_NO),
            col(ts::REGION),
            col(ts::SITE),
            col(ts::BLOCK),
            col(ts::TREE),
            col(PLANTED),
            col(ts::TREES_PER_HA),
            col(ts::VARIETY),
            col(ts::TRAINING),
            col(ts::GIRTH_CM),
            col(ts::CANOPY_M2),
        ])
        .collect()?;
    Ok((trees, lost))
}

/// Drops repeated trees from rows sorted by tree, file and line: of rows in one block the first
/// stays; a tree listed in two blocks is lost with all its rows, because which is right cannot be
/// known.
fn once_each(
    listed: &DataFrame,
    differing: &Differing,
    lost: &mut Lost,
    outcome: &mut Outcome,
) -> PolarsResult<DataFrame> {
    let rows: Vec<(&str, &str, (u32, u32))> = texts(listed, ts::TREE)?
        .iter()
        .zip(texts(listed, ts::BLOCK)?.iter())
        .zip(stands(listed)?)
        .map(|((tree, block), at)| (tree.unwrap_or(""), block.unwrap_or(""), at))
        .collect();
    let mut keep = Vec::with_capacity(rows.len());
    for same in rows.chunk_by(|one, other| one.0 == other.0) {
        let Some((&(tree, block, first), more)) = same.split_first() else { continue };
        let elsewhere = more.iter().find(|row| row.1 != block);
        keep.push(elsewhere.is_none());
        keep.extend(more.iter().map(|_| false));
        let in_two = elsewhere.map(|&(_, other, at)| {
            let (here, there) = (outcome.place(first), outcome.place(at));
            say!("it is listed in block '{block}' ({here}) and in block '{other}' ({there})")
        });
        for (nth, &(_, block, stands)) in same.iter().enumerate() {
            let before = same.iter().take(nth).find(|row| row.1 == block);
            let (column, code, reason, remedy) = match (before, &in_two) {
                (Some(&(_, _, before)), _) => {
                    let before =
                        say!("tree '{tree}' is listed before, at {}", outcome.place(before));
                    let (column, reason, remedy) =
                        repeated(before, differing.of_row(stands), in_two.is_some());
                    (column, Code::RowDuplicate, reason, remedy)
                }
                (None, Some(why)) => (
                    ts::TREE,
                    Code::TreeInTwoBlocks,
                    say!("tree '{tree}': {why}"),
                    text!(
                        "keep the row that is right; where numbers begin anew in every block, write block and number together in all tables, such as A-17, so that each tree has its own id"
                    ),
                ),
                (None, None) => continue,
            };
            let (table, remedy) = (Table::Trees, remedy.to_owned());
            outcome.reject(Rejected { table, stands, column: column.into(), code, reason, remedy });
        }
        if let Some(why) = in_two {
            let remedy = say!("mend the rows of the tree first ({})", outcome.place(first));
            lost.insert(tree.to_owned(), Loss { why, remedy });
        }
    }
    only(listed, keep)
}

/// What is told of a row of a tree that stands before in the same block: the column at fault, the reason
/// and the remedy.
fn repeated(
    before: String,
    differences: &[Difference],
    is_lost: bool,
) -> (&'static str, String, &'static str) {
    let Some(first) = differences.first().filter(|_| !is_lost) else {
        let remedy =
            text!("keep one of the two rows; whatever else they hold, the first counts until then");
        return (
            ts::TREE,
            before,
            if is_lost { text!("keep one row for each tree") } else { remedy },
        );
    };
    let told: Vec<String> = differences
        .iter()
        .map(|Difference { column, first, own }| say!("{column} is {first} there and {own} here"))
        .collect();
    let reason = say!("{before}, with other values: {}", told.join(", "));
    let remedy = if differences.iter().any(|difference| difference.column == PLANTED) {
        text!(
            "keep the row that is right; until then the age of the tree is unknown, and so is whatever else the rows say differently"
        )
    } else {
        text!("keep the row that is right; until then what the rows say differently is unknown")
    };
    (first.column, reason, remedy)
}
