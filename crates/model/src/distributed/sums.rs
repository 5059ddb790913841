//! The table of sums, read and handed to the engine.

use super::declared::{DeclaredFactor, DeclaredModel};
use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type};
use mixed::{
    Covariance, Data, Factor, Fit, FixedColumn, Place, PooledMoments, RandomEffect, Settings,
};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use thiserror::Error;

/// Columns of the table of sums, in order.
pub const SUM_COLUMNS: [&str; 11] = [
    "kind",
    "n_whole",
    "n_part",
    "part_class",
    "factor_a",
    "level_a",
    "factor_b",
    "level_b",
    "cell",
    "amount",
    "n_lines",
];

/// Cells of the lines of kind `count`.
pub(super) mod count {
    pub const CHECKSUM: usize = 0;
    pub const READ: usize = 1;
    pub const APART: usize = 2;
    pub const UNWEIGHED: usize = 3;
    pub const ZERO_ON_LOG: usize = 4;
    pub const UNKNOWN_LABEL: usize = 5;
    /// Number of them.
    pub const OF_SOURCE: usize = 6;
}

/// One line of the table of sums.
#[derive(Debug, Clone, PartialEq)]
pub struct SumLine {
    /// What the amount is: count, used, split, groups, sum or pooled.
    pub kind: String,
    /// Rows of each pooled group that carry all of its effect.
    pub n_whole: f64,
    /// Rows that carry a part of it.
    pub n_part: f64,
    /// Class of these rows.
    pub part_class: f64,
    /// First factor by position; -1 for the fixed columns and the response.
    pub factor_a: f64,
    /// Its level.
    pub level_a: String,
    /// Second factor.
    pub factor_b: f64,
    /// Its level.
    pub level_b: String,
    /// Which product.
    pub cell: f64,
    /// The sum.
    pub amount: f64,
    /// Lines that the query gave of this kind and these two factors.
    pub n_lines: f64,
}

/// Why a table of sums cannot be fitted.
#[derive(Debug, Error)]
pub enum SumsError {
    /// A file that is no Parquet.
    #[error("the file cannot be read as Parquet: {0}")]
    Unreadable(String),
    /// A column is absent or of a type that holds no such value.
    #[error(
        "the table of sums has no usable column {0}; it is the result of moments.sql, unchanged"
    )]
    Column(&'static str),
    /// An empty cell.
    #[error("line {line} of the table of sums: {column} is empty")]
    Empty {
        /// Line, from 1.
        line: usize,
        /// Column.
        column: &'static str,
    },
    /// A line that the design does not have.
    #[error(
        "line {line} of the table of sums does not belong to this design; sums and design come from one run of anacurve sql"
    )]
    Foreign {
        /// Line, from 1.
        line: usize,
    },
    /// The sums were made with the queries of another design.
    #[error(
        "the sums come from the queries of another design ({found}, not {expected}); run rows.sql and moments.sql of this one"
    )]
    OtherDesign {
        /// Of the table.
        found: u64,
        /// Of the design.
        expected: u64,
    },
    /// Lines of a kind that every table has.
    #[error("the table of sums has no line of kind {0}; it is incomplete")]
    Missing(&'static str),
    /// Lines lost, or there twice.
    #[error(
        "the table of sums has {found} lines of kind {kind}{of}, and the query gave {expected}; lines are missing or stand there twice"
    )]
    Lines {
        /// Kind.
        kind: &'static str,
        /// ` for FACTOR`, or ` for FACTOR by FACTOR`, where the kind has lines of several.
        of: String,
        /// Lines of the table.
        found: u64,
        /// Lines of the query's result.
        expected: u64,
    },
    /// Rows that the design cannot take.
    #[error(
        "{rows} of the tree-seasons have a region, variety or basis of intensity that the book did not have when the design was settled; settle it with a book that has them"
    )]
    UnknownLabel {
        /// How many.
        rows: u64,
    },
    /// Zeros without a logarithm.
    #[error(
        "{rows} of the yields are 0 and have no logarithm; set the response scale in book.toml to square_root and settle the design again"
    )]
    ZeroOnLog {
        /// How many.
        rows: u64,
    },
    /// Trees in two regions.
    #[error("{groups} of the trees have rows in two regions; give each tree one id")]
    TwoRegions {
        /// How many.
        groups: u64,
    },
    /// Rows read are not those used and left out.
    #[error(
        "{read} tree-seasons were read, but {used} used and {left_out} left out: model_rows and tree_seasons do not belong together"
    )]
    Conservation {
        /// Rows of `tree_seasons`.
        read: u64,
        /// Rows of `model_rows`.
        used: u64,
        /// Rows with a reason to be left out.
        left_out: u64,
    },
    /// The engine refused.
    #[error("the sums could not be fitted: {0}")]
    Engine(#[from] mixed::Error),
}

/// Lines of a record batch whose columns are those of [`SUM_COLUMNS`], numbers of any type.
///
/// # Errors
/// [`SumsError::Column`] and [`SumsError::Empty`].
pub fn sum_lines(batch: &RecordBatch) -> Result<Vec<SumLine>, SumsError> {
    let cast = |name: &'static str, to: &DataType| {
        let column = batch.column_by_name(name).ok_or(SumsError::Column(name))?;
        let values = cast(column, to).map_err(|_| SumsError::Column(name))?;
        match (0..values.len()).find(|row| values.is_null(*row)) {
            Some(row) => Err(SumsError::Empty { line: row + 1, column: name }),
            None => Ok(values),
        }
    };
    let numbers = |name: &'static str| -> Result<Vec<f64>, SumsError> {
        Ok(cast(name, &DataType::Float64)?.as_primitive::<Float64Type>().values().to_vec())
    };
    let texts = |name: &'static str| -> Result<Vec<String>, SumsError> {
        let values = cast(name, &DataType::Utf8)?;
        Ok(values.as_string::<i32>().iter().flatten().map(str::to_owned).collect())
    };
    let [kind, whole, partial, class, fa, la, fb, lb, cell, amount, n_lines] = SUM_COLUMNS;
    let (kind, la, lb) = (texts(kind)?, texts(la)?, texts(lb)?);
    let (whole, partial, class) = (numbers(whole)?, numbers(partial)?, numbers(class)?);
    let (fa, fb, cell, amount) = (numbers(fa)?, numbers(fb)?, numbers(cell)?, numbers(amount)?);
    let n_lines = numbers(n_lines)?;
    let line = |row: usize| SumLine {
        kind: kind[row].clone(),
        n_whole: whole[row],
        n_part: partial[row],
        part_class: class[row],
        factor_a: fa[row],
        level_a: la[row].clone(),
        factor_b: fb[row],
        level_b: lb[row].clone(),
        cell: cell[row],
        amount: amount[row],
        n_lines: n_lines[row],
    };
    Ok((0..batch.num_rows()).map(line).collect())
}

/// Lines of a Parquet file of sums.
///
/// # Errors
/// [`SumsError::Unreadable`] and those of [`sum_lines`].
pub fn sum_lines_of_parquet(file: File) -> Result<Vec<SumLine>, SumsError> {
    let unreadable = |error: &dyn std::fmt::Display| SumsError::Unreadable(error.to_string());
    let reader = ParquetRecordBatchReaderBuilder::try_new(file)
        .and_then(ParquetRecordBatchReaderBuilder::build)
        .map_err(|error| unreadable(&error))?;
    let mut lines = Vec::new();
    for batch in reader {
        lines.extend(sum_lines(&batch.map_err(|error| unreadable(&error))?)?);
    }
    Ok(lines)
}

/// Design of pooled groups: rows with all and with a part of the effect, and the class of the part.
type Key = (u64, u64, usize);

/// Lines that one SELECT of the query gives: kind and factors, -1 for none.
type Block = (&'static str, i64, i64);

/// Kinds of lines that do not differ by factors.
const COUNTS: [&str; 4] = ["count", "used", "split", "groups"];

/// Kinds of lines that do.
const PRODUCTS: [&str; 2] = ["sum", "pooled"];

/// Counts of a table of sums.
#[derive(Debug, Default)]
struct Tally {
    /// Lines of each block, by the number that they say it has: tables of parts say their own.
    lines: BTreeMap<Block, BTreeMap<u64, u64>>,
    /// Tables that follow one another.
    tables: u64,
    counts: BTreeMap<usize, f64>,
    used: Option<f64>,
    split: f64,
    groups: BTreeMap<Key, f64>,
    levels: Vec<BTreeMap<String, usize>>,
}

impl DeclaredModel {
    /// Fits a table of sums, whose lines may come in any order.
    ///
    /// # Errors
    /// [`SumsError`] when the sums are not those of this design, or of rows that it cannot take.
    pub fn fit(&self, lines: &[SumLine], settings: &Settings) -> Result<Fit, SumsError> {
        let tally = self.tally(lines)?;
        let used = self.check(&tally)?;
        self.check_lines(&tally)?;
        let levels: Vec<usize> = self
            .factors
            .iter()
            .zip(&tally.levels)
            .map(|(factor, levels)| {
                if factor.name == self.pooled {
                    tally.groups.values().sum::<f64>() as usize
                } else {
                    levels.len()
                }
            })
            .collect();
        let mut moments = PooledMoments::new(&self.shape(&levels), &self.pooled, &self.basis)?;
        moments.add_rows(used);
        let mut pools = BTreeMap::new();
        for ((whole, partial, class), count) in &tally.groups {
            // Only a part has a class.
            let share = self.loadings.get(*class).copied().unwrap_or(1.0);
            let zz = *whole as f64 + *partial as f64 * share * share;
            pools.insert((*whole, *partial, *class), moments.add_groups(zz, *count as u64));
        }
        for (at, line) in lines.iter().enumerate() {
            let foreign = SumsError::Foreign { line: at + 1 };
            if line.kind != "sum" && line.kind != "pooled" {
                continue;
            }
            let Some((a, b)) = self.places(line, &tally.levels) else { return Err(foreign) };
            // Two levels of one factor come in both orders.
            if order(a) < order(b) {
                continue;
            }
            if line.kind == "sum" {
                moments.add(a, b, line.amount)?;
            } else {
                let pool = key(line).and_then(|key| pools.get(&key)).ok_or(foreign)?;
                moments.add_pooled(*pool, a, b, line.amount)?;
            }
        }
        Ok(moments.fit(settings)?)
    }

    fn tally(&self, lines: &[SumLine]) -> Result<Tally, SumsError> {
        let mut tally =
            Tally { levels: vec![BTreeMap::new(); self.factors.len()], ..Tally::default() };
        let blocks: BTreeSet<Block> = self.blocks().into_iter().collect();
        for (at, line) in lines.iter().enumerate() {
            let foreign = || SumsError::Foreign { line: at + 1 };
            if !line.amount.is_finite() {
                return Err(SumsError::Empty { line: at + 1, column: "amount" });
            }
            let own = block(line).filter(|own| blocks.contains(own)).ok_or_else(foreign)?;
            let said = whole(line.n_lines).filter(|said| *said > 0).ok_or_else(foreign)?;
            *tally.lines.entry(own).or_default().entry(said).or_insert(0) += 1;
            match line.kind.as_str() {
                "count" => {
                    let cell = whole(line.cell).ok_or_else(foreign)?;
                    let own = tally.counts.entry(cell as usize).or_insert(0.0);
                    // Tables of parts follow one another, and have the same checksum.
                    if cell as usize == count::CHECKSUM {
                        *own = line.amount;
                        tally.tables += 1;
                    } else {
                        *own += line.amount;
                    }
                }
                "used" => *tally.used.get_or_insert(0.0) += line.amount,
                "split" => tally.split += line.amount,
                "groups" => {
                    let key = key(line).ok_or_else(foreign)?;
                    *tally.groups.entry(key).or_insert(0.0) += line.amount;
                }
                "sum" => {
                    for (factor, level) in
                        [(line.factor_a, &line.level_a), (line.factor_b, &line.level_b)]
                    {
                        if factor >= 0.0 {
                            let levels = whole(factor)
                                .and_then(|factor| tally.levels.get_mut(factor as usize));
                            levels.ok_or_else(foreign)?.insert(level.clone(), 0);
                        }
                    }
                }
                "pooled" => {}
                _ => return Err(foreign()),
            }
        }
        for levels in &mut tally.levels {
            levels.values_mut().zip(0..).for_each(|(code, place)| *code = place);
        }
        Ok(tally)
    }

    /// Rows used, after every count has been looked at.
    fn check(&self, tally: &Tally) -> Result<u64, SumsError> {
        let count = |cell: usize| tally.counts.get(&cell).map(|count| *count as u64);
        let found = count(count::CHECKSUM).ok_or(SumsError::Missing("count"))?;
        if found != self.checksum {
            return Err(SumsError::OtherDesign { found, expected: self.checksum });
        }
        let of = |cell: usize| count(cell).ok_or(SumsError::Missing("count"));
        let (read, apart, unweighed) = (of(count::READ)?, of(count::APART)?, of(count::UNWEIGHED)?);
        if of(count::UNKNOWN_LABEL)? > 0 {
            return Err(SumsError::UnknownLabel { rows: of(count::UNKNOWN_LABEL)? });
        }
        if of(count::ZERO_ON_LOG)? > 0 {
            return Err(SumsError::ZeroOnLog { rows: of(count::ZERO_ON_LOG)? });
        }
        if tally.split > 0.0 {
            return Err(SumsError::TwoRegions { groups: tally.split as u64 });
        }
        let used = tally.used.ok_or(SumsError::Missing("used"))? as u64;
        let left_out = apart + unweighed;
        if read != used + left_out {
            return Err(SumsError::Conservation { read, used, left_out });
        }
        Ok(used)
    }

    /// Holds the lines of every block against the number that they say it has.
    fn check_lines(&self, tally: &Tally) -> Result<(), SumsError> {
        for block in self.blocks() {
            let lines = tally.lines.get(&block).ok_or(SumsError::Missing(block.0))?;
            let mut expected = 0;
            let mut tables = 0;
            for (said, found) in lines {
                tables += found.div_ceil(*said);
                expected += found.next_multiple_of(*said);
            }
            // A table whose lines of this block are all gone, or are there twice.
            let each = lines.keys().next().copied().unwrap_or_default();
            let expected = (expected + tally.tables * each).saturating_sub(tables * each);
            let found = lines.values().sum();
            if found != expected || tables != tally.tables {
                let of = self.factors_of(block);
                return Err(SumsError::Lines { kind: block.0, of, found, expected });
            }
        }
        Ok(())
    }

    /// Every block of the query of this design.
    fn blocks(&self) -> Vec<Block> {
        let own = |(place, factor): (usize, &DeclaredFactor)| {
            (factor.name != self.pooled).then_some(place as i64)
        };
        let others: Vec<i64> = self.factors.iter().enumerate().filter_map(own).collect();
        let mut blocks: Vec<Block> = COUNTS.map(|kind| (kind, -1, -1)).to_vec();
        for kind in PRODUCTS {
            blocks.push((kind, -1, -1));
            for (at, a) in others.iter().enumerate() {
                blocks.push((kind, *a, -1));
                blocks.extend(others[at..].iter().map(|b| (kind, *a, *b)));
            }
        }
        blocks
    }

    /// The factors of a block in words.
    fn factors_of(&self, (_, a, b): Block) -> String {
        let name = |place: i64| {
            usize::try_from(place).ok().and_then(|at| self.factors.get(at)).map(|f| f.name.as_str())
        };
        match (name(a), name(b)) {
            (None, _) => String::new(),
            (Some(a), None) => format!(" for {a}"),
            (Some(a), Some(b)) => format!(" for {a} by {b}"),
        }
    }

    /// The model without rows.
    fn shape(&self, levels: &[usize]) -> Data<'static> {
        let [centre, scale] = self.response_units;
        let mut data = Data::new(&[]).response_units(centre, scale);
        for name in &self.fixed {
            data = data.column(FixedColumn::new(name.clone(), Vec::new()));
        }
        for (factor, levels) in self.factors.iter().zip(levels) {
            let effect = |name: &String| RandomEffect::Slope { name: name.clone(), values: &[] };
            data = data.factor(Factor {
                name: factor.name.clone(),
                codes: &[],
                levels: *levels,
                effects: factor.effects.iter().map(effect).collect(),
                covariance: if factor.independent {
                    Covariance::Independent
                } else {
                    Covariance::Correlated
                },
            });
        }
        data
    }

    /// The two columns whose product a line sums.
    fn places(&self, line: &SumLine, levels: &[BTreeMap<String, usize>]) -> Option<(Place, Place)> {
        let cell = whole(line.cell)? as usize;
        let width = self.fixed.len() + 1;
        let fixed = |j: usize| if j + 1 == width { Place::Response } else { Place::Fixed(j) };
        let own = |factor: f64, level: &str| {
            let factor = whole(factor)? as usize;
            let effects = self.factors.get(factor)?.effects.len();
            Some((factor, *levels.get(factor)?.get(level)?, effects))
        };
        if line.factor_a < 0.0 {
            return (cell < width * width).then(|| (fixed(cell / width), fixed(cell % width)));
        }
        let (factor, level, effects) = own(line.factor_a, &line.level_a)?;
        let effect = |across: usize| Place::Effect { factor, level, effect: cell / across };
        if line.factor_b < 0.0 {
            (cell < effects * width).then(|| (fixed(cell % width), effect(width)))
        } else {
            let (other, other_level, across) = own(line.factor_b, &line.level_b)?;
            let second = Place::Effect { factor: other, level: other_level, effect: cell % across };
            let pair = if other >= factor { (second, effect(across)) } else { return None };
            (cell < effects * across).then_some(pair)
        }
    }
}

/// Order of the columns, in which a product is given once.
fn order(place: Place) -> (usize, usize, usize) {
    match place {
        Place::Effect { factor, level, effect } => (factor, level, effect),
        Place::Fixed(j) => (usize::MAX - 1, j, 0),
        Place::Response => (usize::MAX, 0, 0),
    }
}

fn block(line: &SumLine) -> Option<Block> {
    let kind = COUNTS.into_iter().chain(PRODUCTS).find(|kind| *kind == line.kind)?;
    let factor = |place: f64| if place < 0.0 { Some(-1) } else { whole(place).map(|at| at as i64) };
    Some((kind, factor(line.factor_a)?, factor(line.factor_b)?))
}

fn key(line: &SumLine) -> Option<Key> {
    let class = if line.n_part > 0.0 { whole(line.part_class)? as usize } else { 0 };
    Some((whole(line.n_whole)?, whole(line.n_part)?, class))
}

/// A number that is whole and at least 0.
fn whole(x: f64) -> Option<u64> {
    (x >= 0.0 && x.fract() == 0.0 && x < 9e15).then_some(x as u64)
}
