//! `sql` and `fit-moments` through the real program: what is written, and sums that do not fit it.
//! The queries themselves are run by `tests/query-engine`.
#![allow(
    clippy::unwrap_used,
    dead_code,
    reason = "helpers of a test may fail as loudly as the test itself, and not all are used here"
)]

#[path = "support/simulated.rs"]
mod simulated;

use std::path::Path;
use std::process::{Command, Output};

fn anacurve(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_anacurve")).args(args).output().unwrap()
}

fn refused(sums: &Path, design: &Path) -> String {
    let args = ["fit-moments", sums.to_str().unwrap(), "--design", design.to_str().unwrap()];
    let output = anacurve(&args);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(output.stdout.is_empty());
    said
}

const HEADER: &str =
    "kind,n_whole,n_part,part_class,factor_a,level_a,factor_b,level_b,cell,amount,n_lines\n";

#[test]
fn queries_are_written_and_sums_of_anything_else_are_refused_by_name() {
    let temporary = tempfile::tempdir().unwrap();
    let (book, out) = (temporary.path().join("book"), temporary.path().join("out"));
    simulated::write(&book);
    let paths = [book.to_str().unwrap(), out.to_str().unwrap()];
    let written = anacurve(&["sql", paths[0], "--out", paths[1]]);
    let said = String::from_utf8_lossy(&written.stderr);
    assert_eq!(written.status.code(), Some(0), "{said}");
    let read = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    assert!(read("rows.sql").contains("tree_seasons"));
    assert!(read("moments.sql").contains("model_rows"));
    let local: serde_json::Value = serde_json::from_str(&read("local.json")).unwrap();
    let rows = local["rows"].as_u64().unwrap();
    // How the fit ended is told in words.
    let status = local["status"].as_str().unwrap();
    assert!(status.starts_with("the ") && !status.contains(['{', '[']), "{status}");
    let steps = String::from_utf8_lossy(&written.stdout);
    assert!(rows > 0 && steps.contains(&format!("{rows} tree-seasons")), "{steps}");

    // A second time into the same folder gives the same files.
    let before = ["rows.sql", "moments.sql", "design.json", "local.json"].map(read);
    assert_eq!(anacurve(&["sql", paths[0], "--out", paths[1]]).status.code(), Some(0));
    assert_eq!(before, ["rows.sql", "moments.sql", "design.json", "local.json"].map(read));

    let (design, sums) = (out.join("design.json"), temporary.path().join("sums.csv"));
    let said = refused(&sums, &design);
    assert!(said.contains("sums.csv") && said.contains("moments.sql"), "{said}");
    std::fs::write(&sums, "kind,amount\nrows,1\n").unwrap();
    let said = refused(&sums, &design);
    assert!(said.contains("there is no column n_whole"), "{said}");
    std::fs::write(&sums, format!("{HEADER}rows,0,0,0,0,,0,,0,many,1\n")).unwrap();
    let said = refused(&sums, &design);
    assert!(said.contains("sums.csv:2: amount is 'many'"), "{said}");
    std::fs::write(&sums, HEADER).unwrap();
    let said = refused(&sums, &design);
    assert!(said.contains("rows.sql and moments.sql"), "{said}");
    std::fs::write(&sums, format!("{HEADER}of another query,0,0,0,0,,0,,0,1,1\n")).unwrap();
    let said = refused(&sums, &design);
    assert!(said.contains("rows.sql and moments.sql"), "{said}");
    std::fs::write(&design, "{}").unwrap();
    let said = refused(&sums, &design);
    assert!(said.contains("design.json") && said.contains("anacurve sql"), "{said}");
}
