//! The way from typed rows to tree-seasons, in the order in which it is walked.

use crate::assemble::{Parts, tree_seasons};
use crate::differing::Differing;
use crate::frame::DATE;
use crate::outcome::{Outcome, SourceFile, TableLinks};
use crate::places::Places;
use crate::summary::LinkSummary;
use crate::{
    TrialTree, bare, fates, gaps, holdings, incomplete, laterals, listed, missed_rounds,
    moved_weights, picks, practice, prunings, renamed, scarcity, to_arrow, trials, unlike,
};
use arrow::error::ArrowError;
use arrow::record_batch::RecordBatch;
use ingest_tables::{BookTables, FileReport, IngestError, SetAside};
use polars::prelude::{BooleanChunked, DataFrame, PolarsError, PolarsResult};
use records::tree_season::TREE;
use records::{Book, Code, Practice, Problem, Severity, Table, counted, frame_count, tree_season};
use std::collections::BTreeMap;
use thiserror::Error;
use words::{say, text};

/// A linked record book.
#[derive(Debug, Clone)]
pub struct Linked {
    /// The columns of [`records::tree_season::COLUMNS`], sorted by region, site, block, tree and season.
    pub tree_seasons: RecordBatch,
    /// The frames of these tree-seasons, with the columns of [`records::frame_count::COLUMNS`],
    /// sorted alike; no rows without counts.
    pub frame_counts: RecordBatch,
    /// Trees of trials, each once for every trial that it is in, sorted by region, site, block and tree.
    pub trial_trees: Vec<TrialTree>,
    /// Present practice of each region where it is stated or can be seen, by region id.
    pub practice: Vec<Practice>,
    /// Counts.
    pub summary: LinkSummary,
    /// What a person should look at, sorted by place.
    pub problems: Vec<Problem>,
}

/// Why a book could not be linked.
#[derive(Debug, Error)]
pub enum LinkError {
    /// No tree-season came out; the problem says what became of the rows.
    #[error("{problem}")]
    NothingLinked {
        /// Fatal problem with the reasons.
        problem: Box<Problem>,
        /// Where every row went.
        summary: Box<LinkSummary>,
    },
    /// A required table is absent; reading refuses such books.
    #[error("internal error: the table {0} is missing")]
    TableMissing(Table),
    /// Rows got lost or were counted twice.
    #[error("internal error: rows of {} are not conserved: {} kept, {} linked, {:?} not linked", .0.table, .0.kept, .0.linked, .0.not_linked)]
    NotConserved(Box<TableLinks>),
    /// The table engine refused a step.
    #[error("internal error: {0}")]
    Table(#[from] PolarsError),
    /// The result broke its own schema.
    #[error("internal error: {0}")]
    Schema(#[from] ArrowError),
    /// Rows could not be moved to quarantine.
    #[error(transparent)]
    SetAside(#[from] IngestError),
}

/// Links the rows of a book into tree-seasons; rows that name unknown places or impossible days
/// move from their table into quarantine.
///
/// # Errors
/// [`LinkError::NothingLinked`] when no tree-season comes out (rows are set aside all the same),
/// the others when the program broke a promise.
pub fn link(tables: &mut BookTables) -> Result<Linked, LinkError> {
    let mut outcome = outcome_of(tables);
    outcome.lost = incomplete::visits(tables);
    let drawn = drawn(tables)?;
    let frames = drawn.as_ref().unwrap_or(&tables.frames);
    let linked = link_frames(&tables.book, frames, &mut outcome);
    set_aside(tables, &mut outcome)?;
    // Of two reasons why nothing can be learnt, the one that comes first.
    match (linked, no_visit_left(&tables.files, &outcome)) {
        (Ok(Linked { summary, .. }), Some(problem)) => {
            Err(LinkError::NothingLinked { problem: Box::new(problem), summary: Box::new(summary) })
        }
        (Err(LinkError::NothingLinked { summary, .. }), Some(problem)) => {
            Err(LinkError::NothingLinked { problem: Box::new(problem), summary })
        }
        (linked, _) => linked,
    }
}

/// The trees of trials in a book that may be without visits; rows of blocks, trees and trials that
/// name unknown places move from their table into quarantine, as when the book is linked.
///
/// # Errors
/// When the program broke a promise.
pub fn link_places(tables: &mut BookTables) -> Result<Vec<TrialTree>, LinkError> {
    let mut outcome = outcome_of(tables);
    let plots = plots_alone(&tables.book, &tables.frames, &mut outcome)?;
    set_aside(tables, &mut outcome)?;
    Ok(plots.map(|plots| plots.trees).unwrap_or_default())
}

fn plots_alone(
    book: &Book,
    frames: &BTreeMap<Table, DataFrame>,
    outcome: &mut Outcome,
) -> Result<Option<trials::Plots>, LinkError> {
    let needed = |table| frames.get(&table).ok_or(LinkError::TableMissing(table));
    let trees = needed(Table::Trees)?;
    let places = Places::join(needed(Table::Blocks)?, trees, book, outcome)?;
    let (trees, _) = &Differing::settled(trees)?;
    let frame = frames.get(&Table::Trials);
    Ok(frame.map(|frame| trials::plots(frame, trees, &places, book, outcome)).transpose()?)
}

fn outcome_of(tables: &BookTables) -> Outcome {
    let files = (0..).zip(&tables.files).map(|(index, file)| SourceFile {
        table: file.table,
        name: file.file.clone(),
        date_cell: tables.cell_of(index, DATE),
    });
    let mut outcome = Outcome::new(files.collect());
    outcome.lost_places = incomplete::places(tables);
    outcome.prunings_unread = incomplete::prunings_unread(tables);
    outcome.trees_unread = incomplete::trees_unread(tables);
    outcome
}

/// Moves the rejected rows into quarantine.
fn set_aside(tables: &mut BookTables, outcome: &mut Outcome) -> Result<(), IngestError> {
    outcome.rejected.sort_unstable();
    let rejected = std::mem::take(&mut outcome.rejected).into_iter().map(|row| SetAside {
        file: row.stands.0,
        line: row.stands.1,
        column: Some(row.column),
        code: row.code,
        reason: row.reason,
        remedy: row.remedy,
    });
    tables.set_aside(rejected.collect())
}

/// The tables with the trees drawn alone, where a share was asked for: the others have no records
/// here, which says nothing of them.
fn drawn(tables: &BookTables) -> PolarsResult<Option<BTreeMap<Table, DataFrame>>> {
    let (Some(draw), Some(trees)) = (&tables.draw, tables.frames.get(&Table::Trees)) else {
        return Ok(None);
    };
    let drawn: BooleanChunked =
        trees.column(TREE)?.str()?.iter().map(|tree| tree.is_some_and(|id| draw.has(id))).collect();
    let mut frames = tables.frames.clone();
    frames.insert(Table::Trees, trees.filter(&drawn)?);
    Ok(Some(frames))
}

/// Prunings were recorded and every row was set aside: all trees would count as never pruned.
fn no_visit_left(files: &[FileReport], outcome: &Outcome) -> Option<Problem> {
    let visits = || files.iter().filter(|file| file.table == Table::Prunings);
    let read: u64 = visits().map(|file| file.rows_read).sum();
    let files = counted(visits().count() as u64, text!("file or sheet"), text!("files and sheets"));
    (read > 0 && visits().all(|file| file.rows_kept == 0)).then(|| {
        Problem::new(
            outcome.place_of(Table::Prunings),
            Severity::Fatal,
            Code::NothingLinked,
            say!("no pruning visit could be used: all {read} rows of {files} were set aside"),
            text!("mend the rows set aside: without them every tree would count as never pruned"),
        )
    })
}

/// Links frames; rejected rows and problems gather in the outcome.
pub(crate) fn link_frames(
    book: &Book,
    frames: &BTreeMap<Table, DataFrame>,
    outcome: &mut Outcome,
) -> Result<Linked, LinkError> {
    let needed = |table| frames.get(&table).ok_or(LinkError::TableMissing(table));
    let places = Places::join(needed(Table::Blocks)?, needed(Table::Trees)?, book, outcome)?;
    let yields = picks::yields(needed(Table::Harvests)?, &places, book, outcome)?;
    let visits = needed(Table::Prunings)?;
    let prunings = prunings::combined(visits, &yields.frame, &places, book, outcome)?;
    let counts = frames
        .get(&Table::Laterals)
        .map(|frame| laterals::counts(frame, &places, outcome))
        .transpose()?;
    let laterals = counts.as_ref().map(laterals::densities).transpose()?;
    let (trees, _) = &Differing::settled(needed(Table::Trees)?)?;
    let plots = frames
        .get(&Table::Trials)
        .map(|frame| trials::plots(frame, trees, &places, book, outcome))
        .transpose()?;
    renamed::warn(outcome);
    let incomplete = incomplete::tree_seasons(&places, book, outcome)?;
    let parts = Parts {
        yields: &yields.frame,
        prunings: &prunings,
        laterals: laterals.as_ref(),
        plots: plots.as_ref().map(|plots| &plots.frame),
        trial_trees: plots.as_ref().map_or(&[], |plots| &plots.trees),
        incomplete: &incomplete,
    };
    let linked = tree_seasons(&parts, &places, book)?;

    fates::pass_over(&parts, &linked, (trees, &places), book, outcome)?;
    let kept = frames.iter().map(|(&table, frame)| (table, frame.height() as u64)).collect();
    let summary = LinkSummary::of(&parts, &linked, &kept, &yields, &places, book, outcome)?;
    if let Some(lost) = summary.tables.iter().find(|table| !table.is_conserved()) {
        return Err(LinkError::NotConserved(Box::new(lost.clone())));
    }
    if linked.height() == 0 {
        return Err(nothing_linked(summary, outcome));
    }
    let practice = practice::of_regions(&linked, &places, book, outcome)?;
    scarcity::warn(&summary, outcome);
    scarcity::warn_of_seasons(&summary, book, outcome);
    scarcity::warn_of_doses(book, outcome);
    let thin = scarcity::warn_of_thin_seasons(&linked, outcome)?;
    gaps::warn(&linked, &thin, &missed_rounds::tree_seasons(&yields.missed), outcome)?;
    missed_rounds::warn(&yields.missed, &linked, &places, outcome)?;
    unlike::warn(&linked, outcome)?;
    moved_weights::warn(&linked, outcome)?;
    bare::warn(&linked, trees, outcome)?;
    scarcity::warn_of_unknown_sites(book, &places, outcome)?;
    holdings::warn_of_words(trees, outcome)?;
    listed::warn(trees, &yields.frame, &places, outcome)?;
    scarcity::warn_of_unknown_time(book, &linked, outcome)?;
    let mut problems = std::mem::take(&mut outcome.problems);
    problems.sort();
    let arrays = to_arrow::arrays(&linked, tree_season::COLUMNS)?;
    let tree_seasons = to_arrow::batch(to_arrow::schema(), arrays)?;
    let frame_counts = frame_counts(counts.as_ref(), &linked, &summary)?;
    let trial_trees = plots.map(|plots| plots.trees).unwrap_or_default();
    Ok(Linked { tree_seasons, frame_counts, trial_trees, practice, summary, problems })
}

/// The frames behind the linked table; as many as the summary counted.
fn frame_counts(
    counts: Option<&DataFrame>,
    linked: &DataFrame,
    summary: &LinkSummary,
) -> Result<RecordBatch, LinkError> {
    let schema = to_arrow::frame_schema();
    let Some(counts) = counts else { return Ok(RecordBatch::new_empty(schema)) };
    let counts = laterals::linked_counts(counts, linked)?;
    let arrays = to_arrow::arrays(&counts, frame_count::COLUMNS)?;
    let links = summary.tables.iter().find(|links| links.table == Table::Laterals);
    match links.filter(|links| links.linked != counts.height() as u64) {
        Some(links) => Err(LinkError::NotConserved(Box::new(links.clone()))),
        None => Ok(to_arrow::batch(schema, arrays)?),
    }
}

fn nothing_linked(summary: LinkSummary, outcome: &Outcome) -> LinkError {
    let mut fates = Vec::new();
    for table in &summary.tables {
        fates.extend(
            table.not_linked.iter().map(|part| {
                say!("{} of {} {}: {}", part.rows, table.kept, table.table, part.reason)
            }),
        );
    }
    let fates = if fates.is_empty() { say!("the tables have no rows") } else { fates.join("; ") };
    let problem = Problem::new(
        outcome.place_of(Table::Harvests),
        Severity::Fatal,
        Code::NothingLinked,
        say!("no pick could be joined to a tree and a season ({fates})"),
        text!(
            "mend the rows set aside; picks need a tree of the tree table and a day in a harvest window \
         of book.toml"
        ),
    );
    LinkError::NothingLinked { problem: Box::new(problem), summary: Box::new(summary) }
}
