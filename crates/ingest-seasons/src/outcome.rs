//! What became of the rows of every table: linked, left out for a stated reason, or set aside.

use crate::incomplete::LostVisit;
use crate::picks::{Pick, season_of};
use crate::renamed::RenamedFiles;
use records::{Code, Place, Problem, Severity, Table};
use serde::Serialize;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;
use words::{say, text};

/// Why a row is in no tree-season.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// Moved to quarantine under this code.
    SetAside(Code),
    /// A tree, trial plot or block whose trees have no harvest in any season.
    NoHarvest,
    /// A pruning or frame count whose season has no harvest of the tree.
    NoHarvestInSeason,
    /// A pruning or frame count after the last recorded harvest of its region.
    ComingSeason,
    /// A tree-season pruned on another basis than `only_measured_as`.
    OtherBasis,
    /// A tree-season of which another row was set aside.
    Incomplete,
}

/// Rows of one table left out for one reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct NotLinked {
    /// Why.
    pub reason: Reason,
    /// How many rows.
    pub rows: u64,
}

/// Where the rows of one table went; `kept` = `linked` + all of `not_linked`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TableLinks {
    /// The table.
    pub table: Table,
    /// Rows handed over by reading.
    pub kept: u64,
    /// Rows behind at least one tree-season.
    pub linked: u64,
    /// The others, by reason.
    pub not_linked: Vec<NotLinked>,
}

/// A row that linking refuses.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Rejected {
    pub(crate) table: Table,
    /// File index and line.
    pub(crate) stands: (u32, u32),
    /// Column whose cell is at fault.
    pub(crate) column: Cow<'static, str>,
    pub(crate) code: Code,
    pub(crate) reason: String,
    pub(crate) remedy: String,
}

/// A pruning rejected because its year is a slip, and the season that it most likely is of; `None`
/// where several may be meant.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct StrayPruning {
    pub(crate) place: Place,
    pub(crate) tree: u32,
    pub(crate) season: Option<i32>,
}

/// A file that rows were read from.
#[derive(Debug)]
pub(crate) struct SourceFile {
    pub(crate) table: Table,
    pub(crate) name: String,
    /// Cell of the dates of visits, from 1, where the file has one.
    pub(crate) date_cell: Option<u32>,
}

/// Collects rejections, counts and problems while the tables are linked.
#[derive(Debug)]
pub(crate) struct Outcome {
    /// The files by index.
    files: Vec<SourceFile>,
    pub(crate) rejected: Vec<Rejected>,
    pub(crate) problems: Vec<Problem>,
    /// Visits whose rows were set aside while reading, or because their tree is unknown.
    pub(crate) lost: Vec<LostVisit>,
    /// Picks in no season: `tree_no`, `region_no`, day number and place.
    pub(crate) out_of_season: Vec<(u32, u32, i32, Place)>,
    /// Prunings of stray seasons, of which a tree-season with picks may be short.
    pub(crate) stray: Vec<StrayPruning>,
    /// Where the rows of blocks and trees stand that were set aside while reading, by id.
    pub(crate) lost_places: BTreeMap<(Table, String), Place>,
    /// Rows of prunings set aside while reading.
    pub(crate) prunings_unread: u64,
    /// Rows of trees set aside while reading that hold no id, and the first of them.
    pub(crate) trees_unread: Option<(u64, Place)>,
    /// Where the first pick of a region's season stands, by region id.
    pub(crate) first_picks: BTreeMap<(String, i32), (u32, u32)>,
    /// Picks of stray seasons: `tree_no`, and file and line.
    pub(crate) stray_picks: Vec<(u32, (u32, u32))>,
    /// The season of nearly all visits of a file, by its name: that of a visit whose day cannot be read.
    pub(crate) seasons_of_files: BTreeMap<String, i32>,
    /// Rows of unknown trees whose ids begin otherwise than those they may mean.
    pub(crate) renamed: RenamedFiles,
    not_linked: BTreeMap<(Table, Reason), u64>,
}

impl Outcome {
    pub(crate) fn new(files: Vec<SourceFile>) -> Self {
        Self {
            files,
            rejected: Vec::new(),
            problems: Vec::new(),
            lost: Vec::new(),
            out_of_season: Vec::new(),
            stray: Vec::new(),
            lost_places: BTreeMap::new(),
            prunings_unread: 0,
            trees_unread: None,
            first_picks: BTreeMap::new(),
            stray_picks: Vec::new(),
            seasons_of_files: BTreeMap::new(),
            renamed: RenamedFiles::new(),
            not_linked: BTreeMap::new(),
        }
    }

    /// Marks a row for quarantine.
    pub(crate) fn reject(&mut self, row: Rejected) {
        self.pass_over(row.table, Reason::SetAside(row.code), 1);
        self.rejected.push(row);
    }

    /// Counts rows that stay in their table but are in no tree-season.
    pub(crate) fn pass_over(&mut self, table: Table, reason: Reason, rows: u64) {
        if rows > 0 {
            *self.not_linked.entry((table, reason)).or_default() += rows;
        }
    }

    pub(crate) fn warn(
        &mut self,
        place: Place,
        code: Code,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        self.problems.push(Problem::new(place, Severity::Warning, code, what, remedy));
    }

    /// Notes the season of a file's visits, where nearly all are of one; `visits` are all of the file.
    pub(crate) fn note_season_of_file(&mut self, visits: &[Pick]) {
        if let (Some(&(at, _)), Some(season)) = (visits.first(), season_of(visits)) {
            self.seasons_of_files.insert(self.place(at).file, season);
        }
    }

    /// The line a row was read from.
    pub(crate) fn place(&self, (file, line): (u32, u32)) -> Place {
        let name = self.files.get(file as usize).map_or("", |file| file.name.as_str());
        Place::line(name, u64::from(line))
    }

    /// The table that a row was read for.
    pub(crate) fn table_of(&self, (file, _): (u32, u32)) -> &'static str {
        self.files.get(file as usize).map_or("", |file| file.table.as_str())
    }

    /// The date of the line a row was read from.
    pub(crate) fn date_place(&self, stands: (u32, u32)) -> Place {
        let column = self.files.get(stands.0 as usize).and_then(|file| file.date_cell);
        Place { column, ..self.place(stands) }
    }

    /// The first pick of a region's season, or the first file of picks.
    pub(crate) fn place_of_season(&self, region: &str, season: i32) -> Place {
        let at = self.first_picks.get(&(region.to_owned(), season));
        at.map_or_else(|| self.place_of(Table::Harvests), |at| self.date_place(*at))
    }

    /// The first file of a table, or the table's name when it has none.
    pub(crate) fn place_of(&self, table: Table) -> Place {
        let name = self.files.iter().find(|file| file.table == table);
        Place::file(name.map_or(table.as_str(), |file| file.name.as_str()))
    }

    /// Counts of one table.
    pub(crate) fn links(&self, table: Table, kept: u64, linked: u64) -> TableLinks {
        let not_linked = self
            .not_linked
            .iter()
            .filter(|((of, _), _)| *of == table)
            .map(|(&(_, reason), &rows)| NotLinked { reason, rows })
            .collect();
        TableLinks { table, kept, linked, not_linked }
    }
}

impl TableLinks {
    /// Whether every row is accounted for exactly once.
    #[must_use]
    pub fn is_conserved(&self) -> bool {
        self.kept == self.linked + self.not_linked.iter().map(|part| part.rows).sum::<u64>()
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SetAside(code) => f.write_str(&say!("set aside, {code}")),
            Self::NoHarvest => f.write_str(text!("no harvest in any season")),
            Self::NoHarvestInSeason => f.write_str(text!("no harvest of the tree in that season")),
            Self::ComingSeason => {
                f.write_str(text!("after the last recorded harvest of its region"))
            }
            Self::OtherBasis => f.write_str(text!("pruned on another basis than only_measured_as")),
            Self::Incomplete => f.write_str(text!("another row of the tree-season was set aside")),
        }
    }
}
