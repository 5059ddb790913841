//! What each kind of problem means, why it matters and what to do about it.

use crate::problem::Code;

/// A row or line as it should not and as it should be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Example {
    /// File it belongs to.
    pub file: &'static str,
    /// As it should not be.
    pub wrong: &'static str,
    /// As it should be.
    pub right: &'static str,
}

/// A kind of problem, explained.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Explanation {
    /// What it means.
    pub means: &'static str,
    /// Why it matters.
    pub matters: &'static str,
    /// What to do.
    pub remedy: &'static str,
    /// An example; `None` where a line cannot show it.
    pub example: Option<Example>,
}

const fn told(means: &'static str, matters: &'static str, remedy: &'static str) -> Explanation {
    Explanation { means, matters, remedy, example: None }
}

const fn shown(
    [means, matters, remedy]: [&'static str; 3],
    file: &'static str,
    [wrong, right]: [&'static str; 2],
) -> Explanation {
    Explanation { means, matters, remedy, example: Some(Example { file, wrong, right }) }
}

const SET_ASIDE: &str = "The row is set aside into quarantine.csv with its text and place; it counts for nothing until it is mended.";
const KEPT: &str = "The row is kept and used as it stands.";
const REPAIRED: &str =
    "The row is kept; every such reading is counted, so that nothing is changed unseen.";
const NO_RUN: &str = "The run stops before anything is written.";

impl Code {
    /// The code of a text as printed.
    #[must_use]
    pub fn from_text(text: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|code| code.as_str() == text)
    }

    /// What the code means, why it matters and what to do. A new code does not compile without it.
    #[must_use]
    pub const fn explanation(self) -> Explanation {
        match self {
            Self::FileUnreadable => told(
                "A file named in book.toml or found in the book could not be opened or read.",
                NO_RUN,
                "Check the file's name, its permissions, and that no other program holds it open; save a damaged spreadsheet anew.",
            ),
            Self::FileEmpty => told(
                "A file holds no bytes.",
                NO_RUN,
                "Write the table again, or delete the file and its [[files.TABLE]] entry.",
            ),
            Self::FileTooLarge => told(
                "A file, or what is packed into it, is larger than what is read; anacurve check --help lists the limits.",
                NO_RUN,
                "A record table is never so large by honest means: save the sheet anew or export it as CSV, and split a table of many seasons into several files.",
            ),
            Self::FileChanged => told(
                "A file of the book changed, vanished or was added between the first look at it and the end of the run.",
                "Results computed from two states of a book belong to neither. Nothing is written, and the last report stays as it was.",
                "Close the file where it is being edited, wait until it is copied or synchronised, and run again.",
            ),
            Self::FileLeftOut => told(
                "A file of the folder, or a sheet of a workbook, is read as no table: nothing names it, or book.toml names other files of its table under [[files.TABLE]], and then only those are read.",
                "What stands in it counts for nothing; a season may be missing.",
                "Add a further [[files.TABLE]] with its path (and sheet). If it is no table, add it to not_tables under [book], a sheet as FILE#SHEET, or move it out of the folder.",
            ),
            Self::TableHeaderOnly => told(
                "A table has a header and no rows.",
                "What the table would tell is missing from the analysis.",
                "Add the rows; a file of a table that the book can do without (laterals, trials) may be deleted instead.",
            ),
            Self::TableMissing => told(
                "A table that every book needs (blocks, trees, prunings, harvests) has no file.",
                NO_RUN,
                "Save it under its name (for example harvests.csv) in the book's folder, or name its files under [[files.harvests]] in book.toml.",
            ),
            Self::ColumnMissing => shown(
                [
                    "A column that the table needs is not in the file.",
                    NO_RUN,
                    "Add the column, or say which of yours it is: header = { \"your word\" = \"column\" } under [[files.TABLE]]; an id of several columns is joined = { tree = [\"Row\", \"No\"] }.",
                ],
                "harvests.csv",
                ["tree,day,kg", "tree,date,nut_kg"],
            ),
            Self::ColumnUnknown => told(
                "A column has no meaning here and was left out.",
                "Its contents are not used; a misspelt optional column would be lost this way.",
                "Map it under header in [[files.TABLE]]; a column that means nothing here goes into not_columns there, and is not told again. Of a sheet that is read for several tables, a column that another of them reads is not told.",
            ),
            Self::ColumnTwice => told(
                "Two columns of a file claim the same meaning.",
                NO_RUN,
                "Rename or delete one of them, or map the right one under header in [[files.TABLE]].",
            ),
            Self::RowRagged => shown(
                [
                    "A row has more or fewer cells than the header.",
                    SET_ASIDE,
                    "Give the row one cell per column; quote cells that hold the separator and close every quotation mark.",
                ],
                "harvests.csv",
                ["A1-01,2024-02-11", "A1-01,2024-02-11,1.6"],
            ),
            Self::RowNul => told(
                "A row holds NUL bytes, as a damaged or binary file does.",
                SET_ASIDE,
                "Restore the file from a copy or export it again.",
            ),
            Self::RowTooLong => told(
                "A row or a cell is longer than the stated limit.",
                SET_ASIDE,
                "Look for a quotation mark that is opened and never closed; shorten the cell.",
            ),
            Self::TextEncoding => told(
                "Text that is not valid in the file's encoding.",
                SET_ASIDE,
                "Save the file as UTF-8, or name its encoding under [[files.TABLE]] in book.toml.",
            ),
            Self::TitleSkipped => told(
                "A line of titles or blanks above the header was passed over.",
                REPAIRED,
                "Nothing to do if the header found is the right one.",
            ),
            Self::CellMissing => shown(
                [
                    "A cell that every row must fill is empty.",
                    SET_ASIDE,
                    "Fill it in; a tree that bore nothing has 0 kg, not an empty cell. Where empty cells all mean one thing, say it: values = { nut_kg = { \"\" = 0 } } under the file for nothing borne, { \"\" = \"\" } for no pick, as of trees that are dead or not there yet.",
                ],
                "harvests.csv",
                ["A1-01,2024-02-11,", "A1-01,2024-02-11,0"],
            ),
            Self::NumberUnreadable => shown(
                [
                    "Text where a number is expected.",
                    SET_ASIDE,
                    "Write digits only, or digits and their unit such as 2.4 kg; put remarks into a column of their own. Where the file writes words such as light and hard, say what they mean under values in [[files.TABLE]].",
                ],
                "harvests.csv",
                ["A1-01,2024-02-11,about three", "A1-01,2024-02-11,3"],
            ),
            Self::DecimalComma => told(
                "A decimal comma was read as a decimal point.",
                REPAIRED,
                "Nothing to do; declare decimal = \",\" under [[files.TABLE]] if the whole file is written so.",
            ),
            Self::ThousandsMark => told(
                "A number with thousands separators was read.",
                REPAIRED,
                "Nothing to do if the number read is the one meant.",
            ),
            Self::DateUnreadable => shown(
                [
                    "Text that is no date in the declared form.",
                    SET_ASIDE,
                    "Write dates as year-month-day, or declare the file's form (dates = \"day_first\") under [[files.TABLE]].",
                ],
                "harvests.csv",
                ["A1-01,after the rains,1.6", "A1-01,2024-02-11,1.6"],
            ),
            Self::DateAmbiguous => shown(
                [
                    "A date such as 03/04/2024 that could be read two ways, or 25/04/2024 in a file of which nothing says that the day comes first.",
                    SET_ASIDE,
                    "Say how the file writes dates: dates = \"day_first\" or \"month_first\" under [[files.TABLE]]; nothing is guessed.",
                ],
                "harvests.csv",
                ["A1-01,03/04/2024,1.6", "A1-01,2024-04-03,1.6"],
            ),
            Self::DateOrder => told(
                "Dates of a file cannot be read in the order of day and month that book.toml says, and the other order reads every one of them.",
                "Rows whose date cannot be read are set aside; those that both orders read, such as 03/04/2024, are taken with day and month swapped, and may count for another season.",
                "Write dates = \"day_first\" or \"month_first\", as the message says, under [[files.TABLE]] of that file, or under [book] where all files are written so.",
            ),
            Self::DatesSwapped => told(
                "A column holds dates as text where the day is over 12, and dates of the spreadsheet's own where it is not, none of which has a day over 12. A file opened under another order of day and month is left so.",
                "All are read as they stand. Those that the spreadsheet turned into dates have day and month swapped, and may count for another season or none.",
                "Import the original file anew with the right order, or as text; a column of one kind is read as book.toml says.",
            ),
            Self::DateSerial => told(
                "A spreadsheet's day number was read as a date.",
                REPAIRED,
                "Compare a few dates with the field book: two spreadsheet calendars lie four years apart.",
            ),
            Self::YearShort => told(
                "A year of two digits was read as 20yy.",
                REPAIRED,
                "Nothing to do if all are of this century; else write years with four digits.",
            ),
            Self::RangeImpossible => shown(
                [
                    "A value outside what is possible, such as a negative weight, or more flowering laterals than laterals.",
                    SET_ASIDE,
                    "Correct the value, or declare the unit it is written in under units in [[files.TABLE]].",
                ],
                "harvests.csv",
                ["A1-01,2024-02-11,-2", "A1-01,2024-02-11,2"],
            ),
            Self::RangeUnusual => told(
                "A value that is possible but unusual.",
                KEPT,
                "Compare it with the field book; leave it if it is right.",
            ),
            Self::UnitSuspect => shown(
                [
                    "A value that looks as if written in another unit, such as grams for kilograms.",
                    "An impossible value sets its row aside. A value that is possible but a thousand times smaller than those around it, a file whose values as a whole are so much smaller than those of the other files, or whose intensities are all one per cent at most, or most of whose cuts take more than half of the canopy (what was left taken for what was cut?), or a heading with a unit that is not known, is kept and told: check it.",
                    "If the file is in that unit declare it (units = { nut_kg = \"g\" }, or { intensity = \"pct_left\" } for what was left of the canopy) under [[files.TABLE]]; else correct the value. units = { intensity = \"pct_cut\" } says that hard cuts were cuts.",
                ],
                "harvests.csv",
                ["A1-01,2024-02-11,1620", "A1-01,2024-02-11,1.62"],
            ),
            Self::UnitConverted => told(
                "A unit declared in book.toml, or named in the heading as in nut_kg (g), was converted.",
                REPAIRED,
                "Nothing to do.",
            ),
            Self::ValueStated => told(
                "A word of the file was read as what values under [[files.TABLE]] in book.toml says it means, or a cell as every_row states. A heading that reads as another day than the one that every_row states is told: one of the two is mistyped.",
                "The value stated is used, and the values so read are counted.",
                "Nothing to do; where a heading says another day, correct it, or the day under every_row.",
            ),
            Self::FilledDown => told(
                "An empty cell was read as the one above it, because fill_down under [[files.TABLE]] in book.toml names its column.",
                "The row is kept with that value, and the cells are counted. Rows that look like totals are not filled.",
                "Nothing to do where the column is written once for a group of rows; else take it out of fill_down.",
            ),
            Self::ZerosDropped => told(
                "An id, or a part of a joined one, has zeros before a number, and drop_zeros under [[files.TABLE]] in book.toml names its column.",
                "Read without the zeros, 'B1-007' as 'B1-7', so that files that write one tree in both ways meet.",
                "Nothing to do; take the column out of drop_zeros if '07' and '7' are two trees.",
            ),
            Self::RowNotOne => told(
                "A cell of the row holds a text that not_rows under [[files.TABLE]] in book.toml names, such as Total.",
                "The row is passed over: it is neither read nor set aside, and the rows so passed over are counted; what it says of a group (fill_down) holds for the rows below. A row in which nothing that a row needs is missing is told: it may be a pick with a remark.",
                "Nothing to do; narrow not_rows if the row is a visit or a tree.",
            ),
            Self::RowUnfilled => told(
                "A row of a sheet of prunings, frames or picks holds a tree's id and nothing else that is read, as on a field sheet that is not filled in yet, or of trees that had nothing to pick.",
                "The row is passed over: it is neither read nor set aside, and the rows so passed over are counted. A row with a day and no weight is set aside: the weight is missing.",
                "Nothing to do; fill in day and weight if the tree was visited. Where an empty weight means that nothing was borne, write values = { nut_kg = { \"\" = 0 } } under the file, with the day in every row; where it means that the tree was not picked, { \"\" = \"\" }.",
            ),
            Self::FilledAnewPlot => told(
                "A trial's factor is empty in a row that begins another plot, and fill_down under [[files.trials]] in book.toml names its column.",
                "The plot has the level of the plot above: right where a level stands once for several plots, wrong where the plot has none, as a control beside a factorial.",
                "Nothing to do in the first case. In the second write a word such as none into the cell, or take the column out of fill_down, and declare control = { factor = \"FACTOR\", level = \"none\", beside_factorial = true } in the trial's section.",
            ),
            Self::CellLeftOut => told(
                "A cell that cannot be read, such as 'about 60', in a column that a row can do without: working minutes, cuts, counts of nuts, measures of a tree.",
                "The row is kept without that cell. Columns that a row cannot do without set the whole row aside.",
                "Correct the cell, or declare how the file writes it: units (also h:mm and m:ss), values, decimal under [[files.TABLE]].",
            ),
            Self::BasisAssumed => told(
                "Prunings state an intensity and not what it is a fraction of: canopy, shoots, spread or length headed back.",
                "The rows are kept and counted as fractions of the canopy; if they were shoots, the advised intensity would be one of shoots too, and read otherwise.",
                "Write measured_as = \"canopy_fraction\" (or shoots, spread, headed_length) under [[files.prunings]] in book.toml, or fill in the column measured_as.",
            ),
            Self::WordUnknown => shown(
                [
                    "A word outside the column's list.",
                    SET_ASIDE,
                    "Use one of the words named in the message, or say what the file's own words mean: values = { COLUMN = { \"word\" = \"its meaning\" } } under [[files.TABLE]] in book.toml.",
                ],
                "prunings.csv",
                ["A1-01,2023-07-01,0.2,guess", "A1-01,2023-07-01,0.2,canopy_fraction"],
            ),
            Self::IntensityUnreadable => told(
                "The intensity cannot be computed from what the row gives.",
                SET_ASIDE,
                "Give intensity and measured_as, or one complete raw pair: shoots_cut and shoots_total, removed_cm and length_cm, or height and spreads before and after.",
            ),
            Self::RowDuplicate => shown(
                [
                    "A row repeats another: the same tree, day and values, an id that stands already, or a tree of a declared trial again with the same plot and treatment; or a tree stands at the row and position of another of its block.",
                    "The row is set aside into quarantine.csv and counts for nothing. Where a tree is listed again in its block with other values, what the two rows say differently is unknown: of two planting dates neither is taken, nor that of the block. Two trees at one place are kept and told, and so are picks or prunings of a tree and day that differ: the second may be a visit or a correction.",
                    "Keep one of the two; if both visits were made give them their own days or weights. Where trees are picked twice a day, several_a_day = true under [[files.harvests]] says that rows which differ are visits.",
                ],
                "trees.csv",
                ["A1-01,A1", "A1-09,A1"],
            ),
            Self::TreeUnknown => shown(
                [
                    "A row names a tree that the tree table does not list.",
                    SET_ASIDE,
                    "Correct the id letter by letter, or add the tree to the tree table.",
                ],
                "harvests.csv",
                ["A1-99,2024-02-11,1.6", "A1-01,2024-02-11,1.6"],
            ),
            Self::TreeInTwoBlocks => told(
                "A tree is listed in two blocks.",
                "Both rows are set aside: which block it stands in decides its region and spacing, and is not guessed.",
                "Keep the right row; give another tree an id of its own. Where numbers begin anew in every block, write block and number together in all tables, such as A-17.",
            ),
            Self::TreeInTwoPlots => told(
                "A tree is listed in two plots of one trial.",
                "Both rows are set aside: it cannot have had two treatments.",
                "Keep the right row, or give the second trial an id of its own.",
            ),
            Self::TrialWithoutRows => told(
                "A trial declared in book.toml has no rows in the trial table, or all its rows were set aside.",
                "The trial is not analysed.",
                "Correct the id (letter by letter), add its rows, or mend those set aside.",
            ),
            Self::TrialNotAnalysed => told(
                "A declared trial, or one of its traits, cannot be analysed: its seasons have no harvests, nothing was recorded of the trait, or the rows contradict the design that book.toml declares.",
                "The trial's page says so in place of a result. Its rows are kept and count as evidence in the yield model.",
                "Correct the row or the declaration that the message names; anacurve trial --help explains the entries of [trials.ID].",
            ),
            Self::TrialSlip => told(
                "Rows of a declared trial look mistyped: a level that stands in one complete block only, a block with few of the treatments, two levels or blocks that look alike, a block that lacks treatments of the others, or a check of an augmented design, a block of one plot or of plots too many beside one with as many too few, a replicate without a row, a plot with trees too many beside one with as many too few (without blocks, treatments with plots too many and too few), a control beside a factorial that is not declared, levels or replicates of which no tree has a value, plots without a round of picks that others have, prunings that are not those of the treatment, rows under an id that looks like the trial's, dead trees that count with 0 kg, trees at several sites without the role that names them, rows that state another site than their tree's block, levels that are hundredths of the prunings on record, a covariate ten times that of the others, a season without a harvest whose picks may stand under another year, or a season in which whole replicates or most plots lack a value of a trait that another season has.",
                "The trial is analysed as its rows stand, with the treatment or the block that they make; a season of one replicate alone, or of fewer than half the plots, is left out of the trait's analysis.",
                "Correct the rows that the message names; those of plots that were lost are best kept in the trial table, without harvests.",
            ),
            Self::TrialsOverlap => told(
                "Two trials stand on the same trees, and book.toml does not tell their seasons apart: a season is declared for both, or one of them declares none.",
                "Every row is kept and each trial is analysed from its own rows; but a season of both holds the treatments of both, and in the linked table it carries the id of the trial that began last (of two that began together, the first by id).",
                "Write seasons = [YEAR, ..] under [trials.ID] of each, every season under one of them.",
            ),
            Self::BlockUnknown => shown(
                [
                    "A tree names a block that the block table does not list.",
                    SET_ASIDE,
                    "Correct the id or add the block.",
                ],
                "trees.csv",
                ["A1-09,A7", "A1-09,A1"],
            ),
            Self::RegionUnknown => shown(
                [
                    "A block names a region that book.toml does not declare.",
                    SET_ASIDE,
                    "Add [regions.ID] with its harvest and flush windows, or correct the id; `anacurve zones` proposes regions from climate normals.",
                ],
                "blocks.csv",
                ["A9,Home,coasst,2012", "A9,Home,coast,2012"],
            ),
            Self::BeforePlanting => shown(
                [
                    "A visit dated before the tree was planted.",
                    SET_ASIDE,
                    "Correct the date, or the planting date; give a replanted tree an id of its own.",
                ],
                "harvests.csv",
                ["A1-01,1999-02-11,1.6", "A1-01,2024-02-11,1.6"],
            ),
            Self::DateInNoSeason => shown(
                [
                    "A pick outside every harvest window of its region.",
                    SET_ASIDE,
                    "Correct the date, widen the window, or allow for stragglers with harvest_grace_days under [options].",
                ],
                "harvests.csv",
                ["A1-01,2024-09-11,1.6", "A1-01,2024-02-11,1.6"],
            ),
            Self::MoistureMissing => told(
                "Some picks of the book carry a moisture and others do not.",
                "Those without are taken at default_moisture_pct of book.toml, else as weighed at the reference moisture: fresh nuts would count for more than dry ones.",
                "Fill in moisture_pct, or set default_moisture_pct under [book] to what such nuts usually have when they are weighed.",
            ),
            Self::SeasonStray => told(
                "A season in which a region has picks of a handful of trees, beside seasons of many; prunings of a handful of trees before a harvest that nobody recorded; a few prunings of a block for a season in which it was not pruned, of trees that alone lack one for a season in which it was; picks of another season in the midst of a file's picks of one, or picks or prunings in a file of one season of another that has files of its own; a whole round that stands among picks of the season after or before, into which it fits with the year changed; or a block, a site or a region without a pruning before one harvest and with those of two before the one beside it; or many before one after the coming harvest; or a round more of a block's trees in one season and one less in the season beside it than in all others; or half as many picks again or more of a block's trees as in every other season. A last season that comes three years or more after every other, with less than half the usual trees or picks, counts as a handful does. Most likely the year is mistyped.",
                "Picks of such a season are set aside: otherwise one of them would make the last season, and with it present practice and the season that advice is for. A handful of prunings is set aside too, and the tree-season that it most likely is of, in which the tree would count as unpruned, is left out; where that cannot be told, it is said so. Picks and prunings in the midst of those of another season, and a block's few prunings or a whole round of another, are kept and told. Other prunings and frame counts after the coming season are in no tree-season.",
                "Correct the year. If the season is real, add its other picks, or set least_season_pct = 0 under [options], which takes every season as written.",
            ),
            Self::ControlsApart => told(
                "Some trees of the last season were treated unlike the advice that the book keeps for it, a quarter of the region's at most and by more than a tenth of the canopy: trees left unpruned or as before, to compare with.",
                "They count in the fit and in the review, and not in present practice: counted with it, leaving none of them would look like a change worth advising.",
                "Nothing to do. If they are what the region does, state it: present = { intensity = .., lead_days = .. } under [regions.ID] in book.toml.",
            ),
            Self::ControlsMany => told(
                "More than a quarter of a region's trees, and less than three quarters, were treated in the last season unlike the advice that the book keeps for it.",
                "All of them count as present practice: trees left to compare with, blocks that were not reached and those that followed alike. The gain of the same advice over that mixture looks like one still to be made.",
                "Nothing to do if that is what the region does. Else, where nearly all trees are cut alike, state how: present = { intensity = .., lead_days = .. } under [regions.ID] in book.toml. A mixture of trees left, cut lightly and cut hard cannot be stated so: trees all cut by its mean yield another crop, most often a larger one, and the gain over them looks smaller than it is.",
            ),
            Self::SeasonThin => told(
                "Trees of a season have half the picks that are usual in their region, or fewer: a round whose year is a slip, files that are missing, or a harvest that is not over. Or those of a block have fewer than in every other season, in which nearly all have as many each; or a site has no harvest of a season that its region's other sites have; or single trees lack a round that nearly all of their block have, between picks of their own, or half of the rounds. Several weights of a tree on one day are one round.",
                "The season counts as a whole harvest: its yields are too low, and where it is the last, advice is for the one after it.",
                "Correct the year, or add the other picks, 0 where a tree bore nothing. Leave a harvest that is not over out of the book until it is.",
            ),
            Self::PruningsAbsent => told(
                "Nothing was pruned at a site before one harvest, while half of its trees or more were before every other, two at the least; or in one block of a region or a few, where nearly all trees were before two others, or half or more before three others and half of every other block's in that season.",
                "Its trees count as unpruned in that season. Were they pruned and the diary is not typed yet, the season of a crop that pruning made stands against pruning, or, where it was a good one, for leaving trees alone; and present practice of the last season is that of nothing done.",
                "Add the prunings if they were not entered yet. Nothing to do where the trees were left unpruned.",
            ),
            Self::PrunedAfterFlush => told(
                "A pruning after the flush began.",
                KEPT,
                "Compare the date with the field book: cuts in the flush remove the shoots that carry the flowers.",
            ),
            Self::PrunedInHarvest => told(
                "A pruning dated within the harvest window of its region.",
                "The row is kept and counts for the harvest after. Where trees are pruned after the harvest alone, the month is most likely mistyped, and so is the timing that the curves see.",
                "Compare the date with the field book; correct it, or the harvest window under [regions.ID]. Nothing to do where trees are pruned while others are picked.",
            ),
            Self::PruningTwice => told(
                "A tree with two prunings on different days before one harvest, in a region where nearly every pruned tree has one: they lie a month or more apart, or the tree lacks a pruning in another season in which its region pruned. Where second prunings are many in one season, and not in most, those are told whose trees lack one in another season far more often than trees with one do.",
                "Both are kept and combined. If the month or the year of one is mistyped, this season counts more pruning than there was, and the season that is meant less.",
                "Compare both dates with the field book and correct the wrong one; leave them if both visits were made.",
            ),
            Self::SeasonOver => told(
                "`season` under [options] names a season whose harvests are recorded.",
                "Advice is then for a season that is over, dates of work among it.",
                "Set season to the coming one, or take the line out: without it advice is for the season after the last recorded.",
            ),
            Self::SeasonAhead => told(
                "`season` under [options] names a season later than the one after the last with harvests on record.",
                "Advice and dates of work are then for that season, as if nothing were to happen in those between.",
                "Set season to the coming one, or take the line out: without it advice is for the season after the last recorded. Nothing to do where a harvest was lost or not written down.",
            ),
            Self::SeasonsApart => told(
                "Three years or more lie between two recorded seasons of a region that follow each other.",
                "Every season is taken as written. A mistyped year, as in every_row or a file's name for a month, makes a season of its own, and if it is the last one, present practice and the season that advice is for.",
                "Correct the year, or add the seasons between; nothing to do if nothing was recorded in them.",
            ),
            Self::SitesUnlike => told(
                "Trees of one site bear five times what those of another site of the same region do, or more; or, in one season alone, trees of a site or a block nearly twice or half of what their other seasons and the other sites, or the site's other blocks, lead to expect.",
                "All are taken as written. Tins, bags or another unit that was not declared would look so, and bend every curve.",
                "Compare with the field books; declare the unit, as in units = { nut_kg = \"20 kg\" } or \"lb\" under [[files.harvests]]. Nothing to do where trees or seasons differ so much.",
            ),
            Self::WeightsMoved => told(
                "In one season the harvests of a block's trees go with what other trees bear in the other seasons: those beside them in the list, or those of another block of the site in the order of ids. A tree that bears more than its block in one season does so in most, so a list that slipped by a line shows.",
                "All are taken as written. Weights beside the wrong tree hide what pruning did to each, and draw every curve towards a flat one.",
                "Compare with the field book and put the weights beside their trees: look for a line left out or written twice, or for two blocks whose sheets were interchanged. Nothing to do where the field book says the same.",
            ),
            Self::TotalsAsPicks => told(
                "In one season the picks of nearly every tree never fall from one to the next, or the last of each tree is the sum of those before it: running totals, or a column of totals read as a round.",
                "They are added up as picks. A crop summed from running totals counts its first nuts again with every round, and one with its total counts twice.",
                "Where they are totals, write what each round alone weighed, or name the column of totals in not_columns under [[files.harvests]]. Nothing to do where every round was heavier than the one before.",
            ),
            Self::FileTwice => told(
                "A file or sheet is read twice for one table, or two files hold the same bytes; or the trees of a file have in one season the very weights of another, pick by pick, those of other trees day by day, or in one round those of the round before.",
                "Both are read. If one was copied by mistake, its rows count twice under another day or place.",
                "Correct the path or sheet of one of the two, or take it out of the folder and of book.toml.",
            ),
            Self::PruningWithoutHarvest => told(
                "Prunings before a harvest in which their trees have no pick.",
                "They tell nothing about yield.",
                "Mend first the rows set aside that may be their picks, as under an id mistyped. Then add the picks of these trees, with 0 kg where a tree was picked and bore nothing. Nothing to do where trees were lost before their harvest; a status such as dead in the tree table says so.",
            ),
            Self::TreeSeasonIncomplete => shown(
                [
                    "A pick or a pruning was set aside, and what else is recorded of that tree in that season is not the whole.",
                    "The tree-season is left out: its yield would be too low, or its pruning too light. A day that cannot be read is of the season of nearly all others in its file; where nothing tells the season, nothing is left out.",
                    "Mend the rows set aside; quarantine.csv lists them with what to do. Leave in the file what cannot be mended: without the row the tree-season would count as whole.",
                ],
                "harvests.csv",
                ["A1-01,2023-03-10,many", "A1-01,2023-03-10,1.9"],
            ),
            Self::TreesNotDrawn => told(
                "The run was asked with --draw-trees to use the records of a share of the trees.",
                "Prunings, laterals and harvests of the others are counted and passed over. Curves and verdicts rest on the trees drawn, with intervals as wide as those say; the work plan holds all trees.",
                "Nothing is wrong. Leave --draw-trees out, or give a larger share, where memory and time allow.",
            ),
            Self::IdsAlike => shown(
                [
                    "Two ids or names differ only in what the eye can hardly see: case, spaces, a letter O for a zero, a letter of another alphabet.",
                    "They are kept apart as written, and records of one tree, or of one treatment, may be counted as those of two.",
                    "If both mean one thing, write it in one way everywhere; if they are two, give one of them a name that looks different.",
                ],
                "trees.csv",
                ["AI-01,A1", "A1-03,A1"],
            ),
            Self::TextInvisible => shown(
                [
                    "A text holds characters that have no shape of their own, such as a zero-width space.",
                    "It looks like another id and is none, so that its records would not be found.",
                    "Type the text again where it was written; copying it copies the character.",
                ],
                "trees.csv",
                ["A1-\u{200b}03,A1", "A1-03,A1"],
            ),
            Self::TreeWithoutHarvest => told(
                "Trees without a pick in any season. Those of blocks without any pick, in the first two years after the training age, are told apart: they begin to bear. The finding stands at the file of the first that it names.",
                "They tell nothing about yield.",
                "Nothing to do for trees that are not recorded or do not bear yet; else check their ids in the harvest table.",
            ),
            Self::TreeBearsNoMore => told(
                "Trees that bore have 0 kg in every pick of their last two seasons or more, or of the last one where the tree table calls them dead; or trees that it calls dead and that have picks after a season without any.",
                "Each such season counts as a harvest of nothing. Of a dead tree it is none: nobody prunes it, and its zeros would pass for what leaving a tree unpruned costs. Picks of a dead tree are most likely a neighbour's.",
                "Where a tree is dead, take its picks out from then on (no row, or an empty cell that values = { nut_kg = { \"\" = \"\" } } under its file calls no pick) and write status = dead in the tree table; nothing to do where it lives and bore nothing.",
            ),
            Self::BookUnreadable => told(
                "book.toml cannot be read as TOML or has an unknown key.",
                NO_RUN,
                "Correct the line named; `anacurve demo DIR` writes a book.toml with every key and remarks.",
            ),
            Self::RegionWithoutCalendar => told(
                "A region has no harvest or no flush window.",
                NO_RUN,
                "Add harvest = [\"MM-DD\", \"MM-DD\"] and flush = [\"MM-DD\", \"MM-DD\"] to it: they decide which pruning belongs to which crop.",
            ),
            Self::WindowsOverlap => told(
                "Harvest and flush (or rest) windows of a region overlap.",
                NO_RUN,
                "Correct the windows: harvest, rest and flush follow one another through the year.",
            ),
            Self::SettingImpossible => told(
                "A setting outside its range.",
                NO_RUN,
                "Correct the setting named; the message gives the range.",
            ),
            Self::SettingMissing => told(
                "A setting that is needed here and absent.",
                "What depends on it is left out and said to be missing.",
                "Add the setting named to book.toml.",
            ),
            Self::DoseUnlikely => shown(
                [
                    "A product's `target_pct` is ten times its `usual_pct` or more, or a tenth of it or less.",
                    "The dose follows the target, so every litre would hold ten times too much or too little; above ten times no dose is computed. Either number may be the wrong one.",
                    "Compare both with the product's label: per cent of what, and where the decimal point is.",
                ],
                "book.toml",
                [
                    "[products.guard]\nkind = \"insect_protection\"\nstrength_pct = 5\ntarget_pct = 0.03\nusual_pct = 0.003",
                    "[products.guard]\nkind = \"insect_protection\"\nstrength_pct = 5\ntarget_pct = 0.003\nusual_pct = 0.003",
                ],
            ),
            Self::SeasonsTooFew => told(
                "Fewer than two seasons with yields.",
                "Seasons cannot be told from what pruning did; verdicts will be trial.",
                "Record further seasons, or add those of earlier years.",
            ),
            Self::TreesTooFew => told(
                "Too few trees to learn from.",
                "The region's verdict will be trial.",
                "Record more trees, of more blocks.",
            ),
            Self::PruningConstant => told(
                "Intensity does not vary in a region.",
                "Nothing tells what another intensity would bring; the verdict will be trial.",
                "Lay out a trial: `anacurve layout --help`.",
            ),
            Self::NothingLinked => told(
                "No pick could be joined to a tree and a season, or no pruning visit could be used.",
                NO_RUN,
                "Mend the rows set aside; picks need a tree of the tree table and a day in a harvest window of book.toml. If all visits are set aside, one setting for the whole file (units, dates, decimal) is usually wrong.",
            ),
        }
    }
}
