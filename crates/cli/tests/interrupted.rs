//! A run that is killed leaves a whole report: the last one, or the new one.
// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used)]

#[path = "support/folder.rs"]
mod folder;

use folder::contents;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Instant;

fn start(out: &Path, seed: u32) -> Child {
    let book = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/books/oats");
    Command::new(env!("CARGO_BIN_EXE_anacurve"))
        .arg("run")
        .arg(book)
        .arg("--out")
        .arg(out)
        .args(["--seed", &seed.to_string()])
        .stdout(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn a_killed_run_leaves_a_whole_report_and_equal_seeds_give_equal_bytes() {
    let temporary = tempfile::tempdir().unwrap();
    let report = |out: &Path| out.join("oats-of-1935").join("1936");
    let whole: Vec<_> = [1, 2]
        .map(|seed| {
            let out = temporary.path().join(format!("whole-{seed}"));
            assert!(start(&out, seed).wait().unwrap().success());
            contents(&report(&out))
        })
        .into();
    assert_ne!(whole[0], whole[1], "the seed changes the draws");

    let out = temporary.path().join("killed");
    assert!(start(&out, 1).wait().unwrap().success());
    assert_eq!(contents(&report(&out)), whole[0], "same records and seed, same bytes");
    let mut killed = 0;
    // Moments over the length of a whole run, in an order without a pattern (37 is coprime to 100).
    let begun = Instant::now();
    assert!(start(&out, 1).wait().unwrap().success());
    let whole_run = begun.elapsed();
    for attempt in 0..100 {
        let mut child = start(&out, 2 - attempt % 2);
        std::thread::sleep(whole_run * (attempt * 37 % 100) / 95);
        child.kill().unwrap();
        killed += u32::from(!child.wait().unwrap().success());
        // A run that died between its two renames is mended by the next one; a reader in between
        // finds the last report beside the target.
        let target = report(&out);
        let target = if target.exists() { target } else { target.with_file_name(".1936.previous") };
        assert!(whole.contains(&contents(&target)), "attempt {attempt} left a broken report");
    }
    assert!(killed >= 50, "only {killed} runs were killed in time");
    // What the dead runs left is cleared away by the next.
    assert!(start(&out, 1).wait().unwrap().success());
    assert_eq!(contents(&report(&out)), whole[0]);
    let left: Vec<_> = std::fs::read_dir(out.join("oats-of-1935"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .filter(|name| name != "1936" && name != ".1936.lock")
        .collect();
    assert!(left.is_empty(), "{left:?}");
}
