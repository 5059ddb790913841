//! A problem with a record: where it is, what is wrong and what to do about it.

use serde::{Deserialize, Serialize};
use std::fmt;
use words::text;

/// How serious a problem is, from mere information to a run that cannot go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Something read and understood by a stated rule (a decimal comma, a serial date); the row is kept.
    Repaired,
    /// Kept, but a person should look at it.
    Warning,
    /// The row was set aside into `quarantine.csv`.
    Quarantined,
    /// The run cannot go on.
    Fatal,
}

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident = $text:literal,)*) => {
        /// Stable identifier of a kind of problem, printed with every message.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Code { $($(#[$doc])* #[serde(rename = $text)] $name,)* }

        impl Code {
            /// Every code, in the order of the documentation.
            pub const ALL: &'static [Code] = &[$(Code::$name,)*];

            /// The code as printed, for example `tree-unknown`.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Code::$name => $text,)* }
            }
        }
    };
}

codes! {
    // Files and tables.
    /// A file could not be opened or read.
    FileUnreadable = "file-unreadable",
    /// A file holds no bytes.
    FileEmpty = "file-empty",
    /// A file exceeds a stated limit of size, as it is or unpacked.
    FileTooLarge = "file-too-large",
    /// A file of the book changed while it was being used.
    FileChanged = "file-changed",
    /// A file named after a table that is not read, because `book.toml` names others.
    FileLeftOut = "file-left-out",
    /// A table has a header and no rows.
    TableHeaderOnly = "table-header-only",
    /// A required table has no file.
    TableMissing = "table-missing",
    /// A required column is absent.
    ColumnMissing = "column-missing",
    /// A column has no meaning here and was left out.
    ColumnUnknown = "column-unknown",
    /// Two columns of a file claim the same meaning.
    ColumnTwice = "column-twice",
    /// A row has more or fewer cells than the header.
    RowRagged = "row-ragged",
    /// A row holds NUL bytes.
    RowNul = "row-nul",
    /// A row or cell exceeds the stated size limit.
    RowTooLong = "row-too-long",
    /// Text that is not valid in the file's encoding.
    TextEncoding = "text-encoding",
    /// A line of titles or blanks above the header was passed over.
    TitleSkipped = "title-skipped",
    // Cells.
    /// A required cell is empty.
    CellMissing = "cell-missing",
    /// Text where a number is expected.
    NumberUnreadable = "number-unreadable",
    /// A decimal comma was read as a decimal point.
    DecimalComma = "decimal-comma",
    /// A number with thousands separators was read.
    ThousandsMark = "thousands-mark",
    /// Text that is no date in the declared form.
    DateUnreadable = "date-unreadable",
    /// A date that could be read two ways.
    DateAmbiguous = "date-ambiguous",
    /// Dates of a file that another order of day and month reads.
    DateOrder = "date-order",
    /// Dates of a sheet that a spreadsheet read in another order of day and month, where it could.
    DatesSwapped = "dates-swapped",
    /// A spreadsheet serial was read as a date.
    DateSerial = "date-serial",
    /// A year of two digits was read as one of this century.
    YearShort = "year-short",
    /// A value outside what is possible.
    RangeImpossible = "range-impossible",
    /// A value that is possible but unusual.
    RangeUnusual = "range-unusual",
    /// A value that looks like another unit (grams for kilograms).
    UnitSuspect = "unit-suspect",
    /// A unit declared in `book.toml` was converted.
    UnitConverted = "unit-converted",
    /// A word was read as `book.toml` says.
    ValueStated = "value-stated",
    /// An empty cell was read as the one above it, as `book.toml` says.
    FilledDown = "filled-down",
    /// Zeros before a number in an id were dropped, as `book.toml` says.
    ZerosDropped = "zeros-dropped",
    /// A row is none of the table's, as `book.toml` says.
    RowNotOne = "row-not-one",
    /// A row holds an id and nothing of a visit.
    RowUnfilled = "row-unfilled",
    /// A factor of a trial was filled into a row that begins another plot, as `book.toml` says.
    FilledAnewPlot = "filled-anew-plot",
    /// A cell that a row can do without was unreadable and left out.
    CellLeftOut = "cell-left-out",
    /// Nothing says what an intensity is a fraction of.
    BasisAssumed = "basis-assumed",
    /// A word outside the column's list.
    WordUnknown = "word-unknown",
    /// Intensity cannot be computed from what the row gives.
    IntensityUnreadable = "intensity-unreadable",
    // Rows against each other.
    /// A row repeats another.
    RowDuplicate = "row-duplicate",
    /// A tree that the tree table does not list.
    TreeUnknown = "tree-unknown",
    /// A tree listed in two blocks.
    TreeInTwoBlocks = "tree-in-two-blocks",
    /// A tree listed in two plots of one trial.
    TreeInTwoPlots = "tree-in-two-plots",
    /// A declared trial without rows in the trial table.
    TrialWithoutRows = "trial-without-rows",
    /// A declared trial, or one of its traits, that cannot be analysed as it stands.
    TrialNotAnalysed = "trial-not-analysed",
    /// Rows of a declared trial that look mistyped, though its design does not contradict them.
    TrialSlip = "trial-slip",
    /// Two trials on the same trees whose seasons are not told apart.
    TrialsOverlap = "trials-overlap",
    /// A block that the block table does not list.
    BlockUnknown = "block-unknown",
    /// A region that `book.toml` does not declare.
    RegionUnknown = "region-unknown",
    /// A date before the tree was planted.
    BeforePlanting = "before-planting",
    /// A pick outside every harvest window.
    DateInNoSeason = "date-in-no-season",
    /// Picks without a moisture, beside others that have one.
    MoistureMissing = "moisture-missing",
    /// Trees left unlike the advice kept for a season, which are no present practice.
    ControlsApart = "controls-apart",
    /// More trees treated unlike the kept advice than are left to compare with.
    ControlsMany = "controls-many",
    /// A season of a handful of trees, or after the coming one: a slip of the year, most likely.
    SeasonStray = "season-stray",
    /// A season in which trees were picked far less often than usual.
    SeasonThin = "season-thin",
    /// A harvest before which nothing was pruned at a site that was pruned before every other.
    PruningsAbsent = "prunings-absent",
    /// A pruning after the flush began.
    PrunedAfterFlush = "pruned-after-flush",
    /// A pruning while the nuts of its region are picked.
    PrunedInHarvest = "pruned-in-harvest",
    /// A tree pruned twice before one harvest, where once is the habit.
    PruningTwice = "pruning-twice",
    /// Advice is asked for a season whose harvests are recorded.
    SeasonOver = "season-over",
    /// Advice is asked for a season later than the one after the last recorded.
    SeasonAhead = "season-ahead",
    /// Years between two seasons of a region.
    SeasonsApart = "seasons-apart",
    /// Sites of a region whose trees bear very unlike each other.
    SitesUnlike = "sites-unlike",
    /// Harvests of one season that fit other trees better than those they are written for.
    WeightsMoved = "weights-moved",
    /// Picks of a tree that never fall, or one that is the sum of those before it.
    TotalsAsPicks = "totals-as-picks",
    /// A file or sheet read twice, or two files of the same bytes.
    FileTwice = "file-twice",
    /// A pruning whose harvest is not recorded.
    PruningWithoutHarvest = "pruning-without-harvest",
    /// A tree-season of which a pick or a pruning was set aside.
    TreeSeasonIncomplete = "tree-season-incomplete",
    /// Records of trees that were not drawn, where a share was asked for.
    TreesNotDrawn = "trees-not-drawn",
    /// A tree with no harvest at all.
    TreeWithoutHarvest = "tree-without-harvest",
    /// Trees with 0 kg in their last seasons that bore before.
    TreeBearsNoMore = "tree-bears-no-more",
    /// Two ids that differ only in what the eye cannot see or hardly sees.
    IdsAlike = "ids-alike",
    /// A text with characters that have no shape of their own.
    TextInvisible = "text-invisible",
    // The book.
    /// `book.toml` cannot be read as TOML or has an unknown key.
    BookUnreadable = "book-unreadable",
    /// A region without harvest and flush windows.
    RegionWithoutCalendar = "region-without-calendar",
    /// Harvest and flush (or rest) windows overlap.
    WindowsOverlap = "windows-overlap",
    /// A setting outside its range.
    SettingImpossible = "setting-impossible",
    /// A setting that is needed and absent.
    SettingMissing = "setting-missing",
    /// A spray ten times as strong as is usual, or a tenth.
    DoseUnlikely = "dose-unlikely",
    // Too little to learn from.
    /// Fewer than two seasons.
    SeasonsTooFew = "seasons-too-few",
    /// Too few trees.
    TreesTooFew = "trees-too-few",
    /// Pruning does not vary.
    PruningConstant = "pruning-constant",
    /// Nothing could be linked.
    NothingLinked = "nothing-linked",
}

impl Code {
    /// Whether it counts what was read as the author of `book.toml` stated, which repairs nothing.
    #[must_use]
    pub const fn is_stated(self) -> bool {
        matches!(self, Self::ValueStated | Self::FilledDown | Self::ZerosDropped | Self::RowNotOne)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// Where a problem is. Lines and columns count from 1; columns are cells, not characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Place {
    /// File name relative to the book folder, with `#sheet` for a spreadsheet.
    pub file: String,
    /// Line of the file or row of the sheet.
    pub line: Option<u64>,
    /// Cell within the row.
    pub column: Option<u32>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), line: None, column: None }
    }

    /// A line of a file.
    pub fn line(file: impl Into<String>, line: u64) -> Self {
        Self { file: file.into(), line: Some(line), column: None }
    }

    /// A cell of a file.
    pub fn cell(file: impl Into<String>, line: u64, column: u32) -> Self {
        Self { file: file.into(), line: Some(line), column: Some(column) }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        Ok(())
    }
}

/// One problem, displayed as `file:line:column: what` followed by a `hint:` line with the remedy.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Problem {
    /// Where.
    #[serde(flatten)]
    pub place: Place,
    /// How serious.
    pub severity: Severity,
    /// Which kind.
    pub code: Code,
    /// What is wrong, one sentence, with the offending value.
    pub what: String,
    /// What to do about it, one sentence.
    pub remedy: String,
}

impl Problem {
    /// A problem of the given kind.
    pub fn new(
        place: Place,
        severity: Severity,
        code: Code,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self { place, severity, code, what: what.into(), remedy: remedy.into() }
    }
}

impl Problem {
    /// Where and what, in one line, without the remedy.
    #[must_use]
    pub fn line(&self) -> String {
        format!("{}: {} [{}]", self.place, self.what, self.code)
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.line())?;
        if !self.remedy.is_empty() {
            write!(f, "\n  {}: {}", text!("hint"), self.remedy)?;
        }
        Ok(())
    }
}
