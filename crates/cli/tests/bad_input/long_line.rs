//! A line of 200 MB, as a lost line end or a binary file makes them.

use crate::support::{Book, Ran, command};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::process::Child;
use std::time::Duration;

const MEGABYTES: usize = 200;

#[test]
fn a_line_of_200_megabytes_costs_no_other_row() {
    let book = Book::tidy();
    let text = book.text("harvests.csv");
    let lines: Vec<&str> = text.lines().collect();
    let mut file = BufWriter::new(File::create(book.file("harvests.csv")).unwrap());
    let chunk = vec![b'7'; 1 << 20];
    for line in &lines[..20] {
        writeln!(file, "{line}").unwrap();
    }
    write!(file, "T01,2024-03-30,").unwrap();
    for _ in 0..MEGABYTES {
        file.write_all(&chunk).unwrap();
    }
    writeln!(file).unwrap();
    for line in &lines[20..] {
        writeln!(file, "{line}").unwrap();
    }
    file.into_inner().unwrap();

    let out = tempfile::tempdir().unwrap();
    let dir = out.path().to_str().unwrap();
    let child = command(&["check", book.arg(), "--out", dir]).spawn().unwrap();
    let (ran, peak) = watched(child);
    ran.finds("harvests.csv:21", "row-too-long");
    assert!(ran.stdout.contains("missing line ends within this row"), "{}", ran.stdout);
    assert!(ran.stdout.contains("37 =        36 +      1"), "{}", ran.stdout);
    let csv = std::fs::read_to_string(out.path().join("quarantine.csv")).unwrap();
    assert!(csv.contains("\"T01,2024-03-30,777"), "{csv}");
    // Cut to its start, or the quarantine would be as unwieldy as the file.
    assert!(csv.len() < 2000, "{}", csv.len());
    if let Some(peak) = peak {
        assert!(peak < 3 * MEGABYTES, "{peak} MB at the peak");
    }
}

/// The child's output and the greatest memory it was seen to hold, MB, where the system tells.
fn watched(mut child: Child) -> (Ran, Option<usize>) {
    let status = format!("/proc/{}/status", child.id());
    let mut peak = None;
    while child.try_wait().unwrap().is_none() {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<usize>().ok());
        peak = peak.max(kilobytes.map(|kb| kb >> 10));
        std::thread::sleep(Duration::from_millis(2));
    }
    (Ran::of(child.wait_with_output().unwrap()), peak)
}
