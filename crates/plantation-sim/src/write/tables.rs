//! Typed rows as sheets, one file per table or one per region office.

use super::BookFile;
use super::dialect::{FileFormat, PLAIN, format_of, unit};
use super::sheet::{Cell, Sheet};
use crate::rows::{PickRow, Records, VisitRow};
use crate::{Plantation, RecordStyle, RegionPlan};
use records::{MeasuredAs, RawIntensity, Table};

const HARVEST: [&str; 4] = ["tree", "date", "nut_kg", "moisture_pct"];
const PRUNING: [&str; 4] = ["tree", "date", "intensity", "measured_as"];
const SHOOTS: [&str; 2] = ["shoots_cut", "shoots_total"];
const WORK: [&str; 7] = [
    "cuts_to_3cm",
    "cuts_3_to_5cm",
    "cuts_5_to_10cm",
    "cuts_over_10cm",
    "minutes",
    "tool",
    "dressed",
];

/// What a region's office keeps.
#[derive(Clone, Copy)]
struct Office {
    /// `None` for all regions together.
    region: Option<usize>,
    style: RecordStyle,
    shoots: bool,
    work: bool,
    moisture: bool,
}

/// One plain CSV per table, with every column.
pub(super) fn plain_files(records: &Records, plantation: &Plantation) -> Vec<BookFile> {
    let all = Office {
        region: None,
        style: RecordStyle::Plain,
        shoots: true,
        work: true,
        moisture: true,
    };
    one_office(records, plantation, all)
}

/// One plain CSV per table, with the columns that some region fills.
pub(super) fn lean_files(records: &Records, plantation: &Plantation) -> Vec<BookFile> {
    let any = |holds: fn(&RegionPlan) -> bool| plantation.regions.iter().any(holds);
    let lean = Office {
        region: None,
        style: RecordStyle::Plain,
        shoots: any(counts_shoots),
        work: any(|region| region.work_recorded),
        moisture: any(weighs_wet),
    };
    one_office(records, plantation, lean)
}

fn counts_shoots(region: &RegionPlan) -> bool {
    region.shoots_blocks > 0
}

fn weighs_wet(region: &RegionPlan) -> bool {
    matches!(region.moisture, crate::Moisture::Wet { .. })
}

fn one_office(records: &Records, plantation: &Plantation, all: Office) -> Vec<BookFile> {
    let mut files = common_files(records);
    files.push(plain(Table::Prunings, prunings(records, plantation, all)));
    files.push(plain(Table::Harvests, harvests(records, plantation, all)));
    files
}

/// Blocks, trees, frame counts and trials in one file each, prunings and harvests per region.
pub(super) fn office_files(records: &Records, plantation: &Plantation) -> Vec<BookFile> {
    let mut files = common_files(records);
    for table in [Table::Prunings, Table::Harvests] {
        for (index, region) in plantation.regions.iter().enumerate() {
            let office = Office {
                region: Some(index),
                style: region.style,
                shoots: counts_shoots(region),
                work: region.work_recorded,
                moisture: weighs_wet(region),
            };
            let sheet = match table {
                Table::Prunings => prunings(records, plantation, office),
                _ => harvests(records, plantation, office),
            };
            let (format, ending) = format_of(region.style, table);
            let path = format!("{table}_{}.{ending}", region.id);
            files.push(BookFile { path, table, sheet, format, style: region.style });
        }
    }
    files
}

fn common_files(records: &Records) -> Vec<BookFile> {
    let mut files =
        vec![plain(Table::Blocks, blocks(records)), plain(Table::Trees, trees(records))];
    if !records.laterals.is_empty() {
        files.push(plain(Table::Laterals, laterals(records)));
    }
    if !records.trials.is_empty() {
        files.push(plain(Table::Trials, trials(records)));
    }
    files
}

fn plain(table: Table, sheet: Sheet) -> BookFile {
    let path = format!("{table}.csv");
    let format = FileFormat::Delimited(PLAIN);
    BookFile { path, table, sheet, format, style: RecordStyle::Plain }
}

fn tree_cell(records: &Records, tree: usize) -> Cell {
    records.trees.get(tree).map_or(Cell::Empty, |row| Cell::text(&row.id))
}

fn blocks(records: &Records) -> Sheet {
    let header = [
        "block",
        "site",
        "region",
        "row_spacing_m",
        "tree_spacing_m",
        "variety",
        "planted",
        "training",
        "area_ha",
    ];
    let mut sheet = Sheet::new("Blocks", &header);
    sheet.rows = records
        .blocks
        .iter()
        .map(|row| {
            vec![
                Cell::text(&row.id),
                Cell::text(&row.site),
                Cell::text(&row.region_id),
                Cell::Number(row.row_spacing_m, 2),
                Cell::Number(row.tree_spacing_m, 2),
                Cell::text(&row.variety),
                Cell::Date(row.planted),
                Cell::text(row.training),
                Cell::Number(row.area_ha, 2),
            ]
        })
        .collect();
    sheet
}

fn trees(records: &Records) -> Sheet {
    let header = [
        "tree",
        "block",
        "row",
        "column",
        "girth_cm",
        "height_m",
        "spread_ns_m",
        "spread_ew_m",
        "status",
    ];
    let mut sheet = Sheet::new("Trees", &header);
    sheet.rows = records
        .trees
        .iter()
        .map(|row| {
            let block =
                records.blocks.get(row.block).map_or(Cell::Empty, |block| Cell::text(&block.id));
            vec![
                Cell::text(&row.id),
                block,
                Cell::Number(row.row as f64, 0),
                Cell::Number(row.column as f64, 0),
                Cell::Number(row.girth_cm, 1),
                Cell::Number(row.height_m, 1),
                Cell::Number(row.spread_ns_m, 1),
                Cell::Number(row.spread_ew_m, 1),
                Cell::text("alive"),
            ]
        })
        .collect();
    sheet
}

fn laterals(records: &Records) -> Sheet {
    let header = ["tree", "date", "frame_m2", "laterals", "flowering_laterals", "side"];
    let mut sheet = Sheet::new("Frame counts", &header);
    sheet.rows = records
        .laterals
        .iter()
        .map(|row| {
            vec![
                tree_cell(records, row.tree),
                Cell::Date(row.date),
                Cell::Number(row.frame_m2, 2),
                Cell::count(row.laterals),
                Cell::count(row.flowering),
                Cell::text(row.side),
            ]
        })
        .collect();
    sheet
}

fn trials(records: &Records) -> Sheet {
    let mut factors: Vec<&str> = Vec::new();
    for row in &records.trials {
        for column in row.levels.keys().map(String::as_str) {
            if !factors.contains(&column) {
                factors.push(column);
            }
        }
    }
    let main_plots = records.trials.iter().any(|row| row.main_plot.is_some());
    let plots = records.trials.iter().any(|row| row.plot.is_some());
    let mut header = vec!["trial", "tree", "replicate"];
    header.extend(main_plots.then_some("main_plot"));
    header.extend(plots.then_some("plot"));
    header.extend(&factors);
    let mut sheet = Sheet::new("Trials", &header);
    let optional = |text: Option<&String>| text.map_or(Cell::Empty, Cell::text);
    sheet.rows = records
        .trials
        .iter()
        .map(|row| {
            let mut cells = vec![
                Cell::text(&row.trial),
                tree_cell(records, row.tree),
                Cell::text(&row.replicate),
            ];
            cells.extend(main_plots.then(|| optional(row.main_plot.as_ref())));
            cells.extend(plots.then(|| optional(row.plot.as_ref())));
            cells.extend(factors.iter().map(|&factor| optional(row.levels.get(factor))));
            cells
        })
        .collect();
    sheet
}

fn belongs(records: &Records, tree: usize, office: Office) -> bool {
    office.region.is_none_or(|own| records.trees.get(tree).is_some_and(|row| row.region == own))
}

fn title(plantation: &Plantation, office: Office, what: &str) -> String {
    let region = office.region.and_then(|index| plantation.regions.get(index));
    region.map_or_else(|| what.to_owned(), |region| format!("{}: {what}", region.name))
}

/// A number in the office's unit.
fn in_unit(office: Office, column: &str, value: f64, decimals: usize) -> Cell {
    match unit(office.style, column) {
        Some((_, factor)) => {
            // A factor of 1000 or 100 leaves whole numbers of these rounded values.
            let whole = (value * factor).round();
            Cell::Number(whole, 0)
        }
        None => Cell::Number(value, decimals),
    }
}

fn harvests(records: &Records, plantation: &Plantation, office: Office) -> Sheet {
    let columns = if office.moisture { &HARVEST[..] } else { &HARVEST[..3] };
    let mut sheet = Sheet::new(&title(plantation, office, "picks"), columns);
    let row = |pick: &PickRow| {
        let mut cells = vec![
            tree_cell(records, pick.tree),
            Cell::Date(pick.date),
            in_unit(office, "nut_kg", pick.nut_kg, 2),
        ];
        if office.moisture {
            cells.push(pick.moisture_pct.map_or(Cell::Empty, |pct| Cell::Number(pct, 1)));
        }
        cells
    };
    sheet.rows = records
        .harvests
        .iter()
        .filter(|pick| belongs(records, pick.tree, office))
        .map(row)
        .collect();
    sheet
}

fn prunings(records: &Records, plantation: &Plantation, office: Office) -> Sheet {
    let mut columns = PRUNING.to_vec();
    if office.shoots {
        columns.extend(SHOOTS);
    }
    if office.work {
        columns.extend(WORK);
    }
    let mut sheet = Sheet::new(&title(plantation, office, "pruning visits"), &columns);
    let row = |visit: &VisitRow| {
        let (fraction, basis, shoots) = match visit.intensity {
            RawIntensity::Shoots { cut, total } => {
                (Cell::Empty, MeasuredAs::Shoots, [Cell::Number(cut, 0), Cell::Number(total, 0)])
            }
            raw => {
                let value = raw.fraction().unwrap_or(0.0);
                let cell = in_unit(office, "intensity", value, 2);
                (cell, MeasuredAs::CanopyFraction, [Cell::Empty, Cell::Empty])
            }
        };
        let mut cells = vec![
            tree_cell(records, visit.tree),
            Cell::Date(visit.date),
            fraction,
            Cell::text(basis.as_str()),
        ];
        if office.shoots {
            cells.extend(shoots);
        }
        if office.work {
            cells.extend(work_cells(visit));
        }
        cells
    };
    sheet.rows = records
        .prunings
        .iter()
        .filter(|visit| belongs(records, visit.tree, office))
        .map(row)
        .collect();
    sheet
}

fn work_cells(visit: &VisitRow) -> Vec<Cell> {
    let Some(work) = &visit.work else { return vec![Cell::Empty; WORK.len()] };
    let mut cells: Vec<Cell> = work.cuts.iter().map(|&cuts| Cell::count(cuts)).collect();
    cells.push(Cell::Number(work.minutes, 1));
    cells.push(Cell::text(work.tool));
    cells.push(Cell::text(if work.dressed { "yes" } else { "no" }));
    cells
}
