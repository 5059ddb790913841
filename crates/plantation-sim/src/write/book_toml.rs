//! `book.toml`, commented as an example for people who write their own.

use super::dialect::{Dialect, FileFormat, PLAIN, header_word, unit};
use super::{BookFile, Tidiness, spreadsheet};
use crate::{Plantation, RecordStyle, RegionPlan};
use records::Window;
use std::fmt::Write as _;

/// The text of `book.toml`.
pub(super) fn text(plantation: &Plantation, files: &[BookFile], tidiness: Tidiness) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = write_all(&mut text, plantation, files, tidiness);
    text
}

fn write_all(
    out: &mut String,
    plantation: &Plantation,
    files: &[BookFile],
    tidiness: Tidiness,
) -> std::fmt::Result {
    write_book(out, plantation)?;
    if tidiness == Tidiness::Demo {
        out.push_str(
            "# Files of this folder that are no table.\nnot_tables = [\"climate_normals.csv\"]\n",
        );
    }
    write_economics(out, plantation)?;
    write_options(out, plantation)?;
    for region in &plantation.regions {
        write_region(out, region)?;
    }
    write_trials(out, plantation)?;
    out.push_str(plantation.work);
    match tidiness {
        Tidiness::Clean | Tidiness::Tidy => Ok(()),
        Tidiness::Untidy | Tidiness::Demo => write_files(out, files),
    }
}

fn write_book(out: &mut String, plantation: &Plantation) -> std::fmt::Result {
    let (name, reference) = (&plantation.name, plantation.reference_moisture_pct);
    write!(
        out,
        r#"# A record book: this file says how to read the tables beside it. Lines that begin with #
# are remarks. Every table is a CSV file, a spreadsheet or a Parquet file.

[book]
name = {name:?}
# Yields are brought to this moisture, per cent of wet weight.
reference_moisture_pct = {reference:?}
# Moisture of picks that carry none. Remove the line to take them as weighed at the reference.
default_moisture_pct = {reference:?}
# Dates that are not like 2024-07-15: "iso" (none), "day_first" or "month_first".
dates = "iso"
# Decimal mark: "point" or "comma". A file may differ, see [[files...]] below.
decimal = "point"
"#
    )
}

fn write_economics(out: &mut String, plantation: &Plantation) -> std::fmt::Result {
    let economics = &plantation.economics;
    write!(
        out,
        r#"
[economics]
currency = {:?}
# Raw nuts in shell at the reference moisture.
price_per_kg = {:?}
wage_per_hour = {:?}
# Dressing and tool wear per pruned tree.
materials_per_pruned_tree = {:?}
"#,
        economics.currency,
        economics.price_per_kg,
        economics.wage_per_hour,
        economics.materials_per_pruned_tree
    )?;
    if let (Some(own), Some(quoted)) = (economics.outturn_lb, economics.price_outturn_lb) {
        write!(
            out,
            "# Outturn of the nuts and the one the price is quoted at, lb of kernel per 80 kg bag.\n\
             outturn_lb = {own:?}\nprice_outturn_lb = {quoted:?}\n"
        )?;
    }
    if let Some(time) = economics.pruning_time {
        write!(
            out,
            r"
# Minutes per pruned tree = minutes_per_tree + minutes_full_canopy x intensity. Used where the
# pruning records carry no minutes.
[economics.pruning_time]
minutes_per_tree = {:?}
minutes_full_canopy = {:?}
",
            time.minutes_per_tree, time.minutes_full_canopy
        )?;
    }
    if let Some(wood) = economics.cut_wood {
        write!(
            out,
            r"
# Stacked m3 from 1 m3 of canopy, and money per stacked m3.
[economics.cut_wood]
stacked_per_canopy = {:?}
haulage_per_m3 = {:?}
value_per_m3 = {:?}
",
            wood.stacked_per_canopy, wood.haulage_per_m3, wood.value_per_m3
        )?;
        if let Some(load) = wood.load_m3 {
            writeln!(out, "load_m3 = {load:?}")?;
        }
    }
    Ok(())
}

fn write_options(out: &mut String, plantation: &Plantation) -> std::fmt::Result {
    let options = records::Options::default();
    write!(
        out,
        r#"
# Every option may be left out; these are the defaults, but for the season.
[options]
# Season to advise for; the one after the last recorded when left out.
season = {}
# Level of intervals.
level = {:?}
# Loss that does not make a change worth while, per cent of the best net return.
tolerance_pct = {:?}
# Younger trees get training tasks, not an intensity.
training_age_years = {:?}
# Days by which a pick may miss the harvest window.
harvest_grace_days = {}
# Scale of the yield model: "auto", "log", "square_root" or "identity".
response_scale = "auto"
# Crew hours per working day, for the work plan.
hours_per_day = {:?}
# Seasons over which a repeated practice is accounted, with what each cut leaves to the next.
horizon_seasons = {}
# Uncomment to use only prunings recorded on one basis: "canopy_fraction", "shoots", "spread" or
# "headed_length".
# only_measured_as = "canopy_fraction"
"#,
        plantation.advise_season,
        options.level,
        plantation.tolerance_pct,
        options.training_age_years,
        options.harvest_grace_days,
        options.hours_per_day,
        options.horizon_seasons
    )
}

fn window(window: Window) -> String {
    format!("[\"{}\", \"{}\"]", window.start, window.end)
}

fn write_region(out: &mut String, region: &RegionPlan) -> std::fmt::Result {
    let calendar = region.calendar;
    writeln!(out, "\n[regions.{}]\nname = {:?}", region.id, region.name)?;
    if calendar.harvest.crosses_new_year() {
        writeln!(out, "# Across New Year; the season takes the year in which the window opens.")?;
    }
    writeln!(out, "harvest = {}", window(calendar.harvest))?;
    if let Some(rest) = calendar.rest {
        writeln!(out, "rest = {}", window(rest))?;
    }
    writeln!(out, "flush = {}", window(calendar.flush))?;
    if region.blocks_per_site == 0 && region.young_block.is_none() {
        writeln!(
            out,
            "# A trial field has no routine to read the present practice from: it is stated.\n\
             present = {{ intensity = 0.0, lead_days = 0 }}"
        )?;
    }
    if let Some(wage) = region.wage_per_hour {
        writeln!(out, "# Instead of the book's wage.\nwage_per_hour = {wage:?}")?;
    }
    Ok(())
}

fn write_trials(out: &mut String, plantation: &Plantation) -> std::fmt::Result {
    let mut trials = plantation.regions.iter().flat_map(|region| &region.designed).peekable();
    if trials.peek().is_some() {
        writeln!(
            out,
            "\n# How trials were laid out: columns of the trial table by their role. A trial without a\n\
             # section counts as evidence, and is not analysed by itself."
        )?;
    }
    for trial in trials {
        write!(out, "\n{}", trial.declaration().snippet(&trial.id))?;
    }
    Ok(())
}

fn write_files(out: &mut String, files: &[BookFile]) -> std::fmt::Result {
    writeln!(
        out,
        "\n# Files are found by their stem (trees.csv, trees.xlsx); name them here when a table has\n\
         # several files or a file has habits of its own."
    )?;
    for file in files {
        writeln!(out, "\n[[files.{}]]\npath = {:?}", file.table, file.path)?;
        match file.format {
            FileFormat::Spreadsheet => {
                writeln!(out, "# A title above the header and dates as day numbers.")?;
                writeln!(out, "sheet = {:?}", spreadsheet::SHEET_NAME)?;
            }
            FileFormat::Delimited(dialect) => write_dialect(out, dialect)?,
        }
        write_header_and_units(out, file)?;
    }
    Ok(())
}

fn write_dialect(out: &mut String, dialect: Dialect) -> std::fmt::Result {
    if dialect.separator != PLAIN.separator {
        writeln!(out, "separator = {:?}", dialect.separator.to_string())?;
    }
    if dialect.decimal_comma {
        writeln!(out, "decimal = \"comma\"")?;
    }
    if dialect.day_first {
        writeln!(out, "dates = \"day_first\"")?;
    }
    if dialect.latin1 {
        writeln!(out, "encoding = \"latin1\"")?;
    }
    Ok(())
}

fn write_header_and_units(out: &mut String, file: &BookFile) -> std::fmt::Result {
    // Spelling and case are understood without help; other words need the map.
    let needs_map = file.style != RecordStyle::Spreadsheet;
    let words: Vec<String> = file
        .sheet
        .header
        .iter()
        .map(|column| (header_word(file.style, file.table, column), column))
        .filter(|(word, column)| needs_map && word != column)
        .map(|(word, column)| format!("{word:?} = {column:?}"))
        .collect();
    if !words.is_empty() {
        writeln!(out, "# Words of the header and the columns they mean.")?;
        writeln!(out, "header = {{ {} }}", words.join(", "))?;
    }
    let units: Vec<String> = file
        .sheet
        .header
        .iter()
        .filter_map(|column| {
            unit(file.style, column).map(|(word, _)| format!("{column} = {word:?}"))
        })
        .collect();
    if !units.is_empty() {
        writeln!(out, "# Units that differ from kg and fraction.")?;
        writeln!(out, "units = {{ {} }}", units.join(", "))?;
    }
    Ok(())
}
