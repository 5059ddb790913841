//! Writes the demo book into the folder given as the only argument.

use plantation_sim::{DEMO_SEED, Tidiness, demo, simulate, write_book};
use std::io;
use std::path::Path;

fn main() -> io::Result<()> {
    let dir = std::env::args_os().nth(1).ok_or_else(|| {
        io::Error::new(io::ErrorKind::InvalidInput, "name a folder to write into")
    })?;
    let plantation = demo();
    let records = simulate(&plantation, DEMO_SEED);
    write_book(&records, &plantation, Path::new(&dir), Tidiness::Demo)
}
