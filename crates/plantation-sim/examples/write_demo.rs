//! Writes an example book: `write_demo DIR [demo|first|trial|untidy]`.

use plantation_sim::{Example, simulate, write_book};
use std::io;
use std::path::Path;

fn main() -> io::Result<()> {
    let wrong = |what: &str| io::Error::new(io::ErrorKind::InvalidInput, what.to_owned());
    let mut words = std::env::args().skip(1);
    let dir = words.next().ok_or_else(|| wrong("name a folder to write into"))?;
    let kind = words.next().unwrap_or_else(|| Example::Demo.as_str().to_owned());
    let example = Example::ALL
        .into_iter()
        .find(|example| example.as_str() == kind)
        .ok_or_else(|| wrong("no example book of that name"))?;
    let plantation = example.plantation();
    let records = simulate(&plantation, example.seed());
    write_book(&records, &plantation, Path::new(&dir), example.tidiness())
}
