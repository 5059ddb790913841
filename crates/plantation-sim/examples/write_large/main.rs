//! Writes a programme of about so many tree-seasons: `write_large DIR TREE_SEASONS csv|parquet`.
//!
//! One file per season of prunings, harvests and frame counts, as a book grows from year to year.
//! Regions are simulated one after the other, so that memory stays that of one region.

mod files;
mod tables;

use files::{Files, Kind};
use plantation_sim::{Plantation, large, simulate, tidy_settings};
use std::io;
use std::path::Path;

/// Seed of the first region; each further one takes the next.
const SEED: u64 = 20_261_126;

fn main() -> io::Result<()> {
    let mut args = std::env::args().skip(1);
    let (Some(dir), Some(count), Some(kind)) = (args.next(), args.next(), args.next()) else {
        return Err(usage());
    };
    let count: usize = count.replace('_', "").parse().map_err(|_| usage())?;
    let kind = match kind.as_str() {
        "csv" => Kind::Csv,
        "parquet" => Kind::Parquet,
        _ => return Err(usage()),
    };
    let plantation = large(count);
    let dir = Path::new(&dir);
    std::fs::create_dir_all(dir)?;
    std::fs::write(dir.join("book.toml"), tidy_settings(&plantation))?;
    let mut files = Files::new(dir, kind);
    for (seed, region) in (SEED..).zip(&plantation.regions) {
        let alone = Plantation { regions: vec![region.clone()], ..plantation.clone() };
        let records = simulate(&alone, seed);
        for (name, batch) in tables::batches(&records).map_err(io::Error::other)? {
            files.append(&name, &batch)?;
        }
    }
    files.finish()
}

fn usage() -> io::Error {
    let what = "say where, how many tree-seasons and how: write_large DIR 1000000 csv|parquet";
    io::Error::new(io::ErrorKind::InvalidInput, what)
}
