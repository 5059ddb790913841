//! Adds the bad rows that real record books hold. Each is a spoiled copy of a good row, so the
//! good rows still carry the truth.

use super::dialect::unit;
use super::sheet::{Cell, Sheet};
use super::{BadRows, BookFile};
use crate::dice::Dice;
use crate::rows::Records;
use crate::{Plantation, RegionPlan};
use jiff::ToSpan;
use jiff::civil::Date;
use records::Table;
use std::collections::BTreeMap;

/// Seed of the spoiling, apart from that of the records.
const SEED: u64 = 4_000;
/// Bad rows per good row, in files of at least `LEAST_ROWS`.
const SHARE: f64 = 0.01;
const LEAST_ROWS: usize = 100;

/// What is wrong with a bad row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fault {
    UnknownTree,
    BeforePlanting,
    NoSeason,
    GramsForKilograms,
    TextInNumber,
    UnreadableDate,
    Duplicate,
    Ragged,
    NegativeWeight,
    IntensityAboveOne,
    MoreCutThanPresent,
    UnknownBlock,
}

const HARVEST_FAULTS: &[Fault] = &[
    Fault::UnknownTree,
    Fault::BeforePlanting,
    Fault::NoSeason,
    Fault::GramsForKilograms,
    Fault::TextInNumber,
    Fault::UnreadableDate,
    Fault::Duplicate,
    Fault::Ragged,
    Fault::NegativeWeight,
];
const PRUNING_FAULTS: &[Fault] = &[
    Fault::IntensityAboveOne,
    Fault::MoreCutThanPresent,
    Fault::UnknownTree,
    Fault::UnreadableDate,
    Fault::TextInNumber,
    Fault::Duplicate,
];
const LATERAL_FAULTS: &[Fault] =
    &[Fault::UnknownTree, Fault::TextInNumber, Fault::UnreadableDate, Fault::Ragged];
const TREE_FAULTS: &[Fault] = &[Fault::Duplicate, Fault::UnknownBlock];

impl Fault {
    fn word(self) -> &'static str {
        match self {
            Self::UnknownTree => "unknown_tree",
            Self::BeforePlanting => "before_planting",
            Self::NoSeason => "date_in_no_season",
            Self::GramsForKilograms => "grams_for_kilograms",
            Self::TextInNumber => "text_in_number",
            Self::UnreadableDate => "unreadable_date",
            Self::Duplicate => "duplicate",
            Self::Ragged => "ragged",
            Self::NegativeWeight => "negative_weight",
            Self::IntensityAboveOne => "intensity_above_one",
            Self::MoreCutThanPresent => "more_cut_than_present",
            Self::UnknownBlock => "unknown_block",
        }
    }
}

/// Spoils the files in place and tells how many rows of each kind were added.
pub(super) fn spoil(files: &mut [BookFile], records: &Records, plantation: &Plantation) -> BadRows {
    let orchard = Orchard::new(records, plantation);
    let mut told = BadRows::new();
    for (stream, file) in (0_u64..).zip(files) {
        let faults = match file.table {
            Table::Harvests => HARVEST_FAULTS,
            Table::Prunings => PRUNING_FAULTS,
            Table::Laterals => LATERAL_FAULTS,
            Table::Trees => TREE_FAULTS,
            Table::Blocks | Table::Trials => continue,
        };
        let rows = file.sheet.rows.len();
        if rows < LEAST_ROWS {
            continue;
        }
        let wanted = if file.table == Table::Trees { 2 } else { (rows as f64 * SHARE) as usize };
        let mut dice = Dice::stream(SEED, stream);
        let mut bad = Vec::new();
        for fault in faults.iter().cycle().take(wanted) {
            let from = dice.index(rows);
            if let Some(good) = file.sheet.rows.get(from)
                && let Some(row) = orchard.spoiled(file, good, *fault)
            {
                bad.push((from + 1 + dice.index(20), row));
                let kinds = told.entry(file.path.clone()).or_default();
                *kinds.entry(fault.word()).or_insert(0) += 1;
            }
        }
        insert(&mut file.sheet, bad);
    }
    told
}

/// Puts rows before the given positions of the unspoiled sheet.
fn insert(sheet: &mut Sheet, mut bad: Vec<(usize, Vec<Cell>)>) {
    bad.sort_by_key(|(position, _)| *position);
    let mut bad = bad.into_iter().peekable();
    let good = std::mem::take(&mut sheet.rows);
    for (position, row) in good.into_iter().enumerate() {
        while let Some((_, spoiled)) = bad.next_if(|(own, _)| *own <= position) {
            sheet.rows.push(spoiled);
        }
        sheet.rows.push(row);
    }
    sheet.rows.extend(bad.map(|(_, spoiled)| spoiled));
}

/// Planting days and regions by tree id.
struct Orchard<'a> {
    trees: BTreeMap<&'a str, (Date, &'a RegionPlan)>,
}

impl<'a> Orchard<'a> {
    fn new(records: &'a Records, plantation: &'a Plantation) -> Self {
        let trees = records
            .trees
            .iter()
            .filter_map(|tree| {
                let planted = records.blocks.get(tree.block)?.planted;
                Some((tree.id.as_str(), (planted, plantation.regions.get(tree.region)?)))
            })
            .collect();
        Self { trees }
    }

    /// A spoiled copy of a row; `None` when the row has no cell to spoil that way.
    fn spoiled(&self, file: &BookFile, good: &[Cell], fault: Fault) -> Option<Vec<Cell>> {
        let mut row = good.to_vec();
        let position = |name: &str| file.sheet.position(name);
        match fault {
            Fault::Duplicate => {}
            Fault::Ragged => {
                row.pop();
            }
            Fault::UnknownTree => {
                let at = position("tree")?;
                let Cell::Text(id) = good.get(at)? else { return None };
                *row.get_mut(at)? = Cell::text(format!("{id}9"));
            }
            Fault::UnknownBlock => {
                *row.get_mut(position("tree")?)? = Cell::text("ZZ99-001");
                *row.get_mut(position("block")?)? = Cell::text("ZZ99");
            }
            Fault::BeforePlanting | Fault::NoSeason => {
                let Cell::Text(id) = good.get(position("tree")?)? else { return None };
                let at = position("date")?;
                let Cell::Date(day) = good.get(at)? else { return None };
                let (planted, region) = self.trees.get(id.as_str())?;
                let moved = if fault == Fault::BeforePlanting {
                    Date::new(planted.year() - 8, day.month(), day.day().min(28)).ok()?
                } else {
                    let season = region.calendar.season_of_pick(*day, 0)?;
                    region.calendar.flush_start(season).saturating_add(20.days())
                };
                *row.get_mut(at)? = Cell::Date(moved);
            }
            Fault::GramsForKilograms | Fault::NegativeWeight => {
                let at = position("nut_kg")?;
                let Cell::Number(weight, decimals) = *good.get(at)? else { return None };
                let one_kg = unit(file.style, "nut_kg").map_or(1.0, |(_, factor)| factor);
                let value = if fault == Fault::NegativeWeight {
                    -weight.max(0.1 * one_kg)
                } else {
                    (weight * 1000.0).max(350.0 * one_kg)
                };
                *row.get_mut(at)? = Cell::Number(value, decimals);
            }
            Fault::TextInNumber => {
                let names = ["nut_kg", "intensity", "laterals"];
                let at = names.iter().find_map(|name| position(name))?;
                let Cell::Number(..) = good.get(at)? else { return None };
                *row.get_mut(at)? = Cell::text("about three");
            }
            Fault::UnreadableDate => {
                *row.get_mut(position("date")?)? = Cell::text("after the rains");
            }
            Fault::IntensityAboveOne => {
                let at = position("intensity")?;
                let Cell::Number(_, decimals) = *good.get(at)? else { return None };
                let whole = unit(file.style, "intensity").map_or(1.0, |(_, factor)| factor);
                *row.get_mut(at)? = Cell::Number(1.3 * whole, decimals);
            }
            Fault::MoreCutThanPresent => {
                let Cell::Number(total, _) = *good.get(position("shoots_total")?)? else {
                    return None;
                };
                *row.get_mut(position("shoots_cut")?)? = Cell::Number(total + 12.0, 0);
            }
        }
        Some(row)
    }
}
