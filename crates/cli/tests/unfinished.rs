//! Runs that cannot finish: a full disk, a place that cannot be written, records that change, two at once.
// Helpers of a test may fail as loudly as the test itself.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

mod support;

use std::path::{Path, PathBuf};
use std::process::Stdio;
use support::{Book, anacurve, command};

/// Every file below a folder.
fn files(dir: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(dir).into_iter().flatten() {
        let path = entry.unwrap().path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found.sort();
    found
}

fn bytes(dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    files(dir).into_iter().map(|path| (path.clone(), std::fs::read(path).unwrap())).collect()
}

/// The report of a book below a folder.
fn report(out: &Path) -> PathBuf {
    out.join("small-book/2025")
}

/// A file that cannot grow past a limit fails like one on a full disk: the system refuses the write.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_the_last_report_and_says_so() {
    let book = Book::tidy();
    let out = tempfile::tempdir().unwrap();
    let first = book.run(out.path());
    assert_eq!(first.code, 0, "{}", first.stderr);
    let before = bytes(out.path());
    book.append("harvests.csv", "T01,2024-04-20,1.00");
    // Blocks of 512 bytes; the signal that goes with the refusal is ignored, as for a full disk.
    for blocks in [1, 8, 40] {
        let line = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let ran = std::process::Command::new("sh")
            .args(["-c", &line, env!("CARGO_BIN_EXE_anacurve"), "run", book.arg(), "--out"])
            .arg(out.path())
            .output()
            .unwrap();
        let stderr = String::from_utf8_lossy(&ran.stderr);
        assert_eq!(ran.status.code(), Some(2), "{blocks}: {stderr}");
        assert!(stderr.contains("File too large"), "{stderr}");
        assert!(
            stderr.contains("hint: what stood there, if anything, is as it was; check free space")
        );
        assert_eq!(bytes(out.path()).len(), before.len(), "something half-written remains");
        assert_eq!(bytes(&report(out.path())), bytes_of(&before, &report(out.path())));
    }
}

fn bytes_of(all: &[(PathBuf, Vec<u8>)], dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    all.iter().filter(|(path, _)| path.starts_with(dir)).cloned().collect()
}

/// What was written before standard output failed is there, and is named.
#[cfg(target_os = "linux")]
#[test]
fn output_that_nobody_can_take_is_a_failure() {
    let book = Book::tidy();
    let home = tempfile::tempdir().unwrap();
    let refused = |arguments: &[&str]| {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let ran = command(arguments).stdout(Stdio::from(full)).output().unwrap();
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert_eq!(ran.status.code(), Some(2), "{said}");
        assert!(said.contains("cannot write to standard output"), "{said}");
        said
    };
    assert!(!refused(&["check", book.arg()]).contains("written before"));
    for command in ["check", "run"] {
        let out = home.path().join(command);
        let said = refused(&[command, book.arg(), "--out", out.to_str().unwrap()]);
        let (_, written) = said.split_once("; written before: ").unwrap();
        assert!(Path::new(written.trim()).starts_with(&out), "{said}");
        assert!(Path::new(written.trim()).exists(), "{said}");
    }
}

#[test]
fn a_file_where_the_folder_should_be() {
    let book = Book::tidy();
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("reports");
    std::fs::write(&file, "mine").unwrap();
    let out = file.to_str().unwrap();
    for arguments in [["run", book.arg(), "--out", out], ["check", book.arg(), "--out", out]] {
        let ran = anacurve(&arguments);
        assert_eq!(ran.code, 2, "{}", ran.stderr);
        assert!(ran.stderr.contains(out) && ran.stderr.contains("hint:"), "{}", ran.stderr);
        assert_eq!(std::fs::read(&file).unwrap(), b"mine");
        assert_eq!(files(home.path()).len(), 1);
    }
}

/// A folder without permission to write, as another user than the super-user meets it.
#[cfg(unix)]
#[test]
fn a_place_without_permission() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    let home = tempfile::tempdir().unwrap();
    let mode = |path: &Path, bits| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(bits)).unwrap();
    };
    mode(home.path(), 0o755);
    let program = home.path().join("anacurve");
    std::fs::copy(env!("CARGO_BIN_EXE_anacurve"), &program).unwrap();
    mode(&program, 0o755);
    let book = Book::tidy();
    mode(book.path(), 0o755);
    let (out, secret) = (home.path().join("out"), book.file("harvests.csv"));
    std::fs::create_dir(&out).unwrap();
    mode(&out, 0o555);
    let run = || {
        let mut command = std::process::Command::new(&program);
        command.args(["run", book.arg(), "--out"]).arg(&out);
        // The super-user may write anywhere; nobody may not.
        if std::fs::write(out.join("probe"), "").is_ok() {
            std::fs::remove_file(out.join("probe")).unwrap();
            command.uid(65_534).gid(65_534);
        }
        let ran = command.output().unwrap();
        (ran.status.code(), String::from_utf8_lossy(&ran.stderr).into_owned())
    };
    let (code, stderr) = run();
    assert_eq!(code, Some(2), "{stderr}");
    assert!(
        stderr.contains("Permission denied") && stderr.contains("check free space and permissions")
    );
    mode(&secret, 0o000);
    let (code, stderr) = run();
    mode(&out, 0o755);
    assert_eq!(code, Some(2), "{stderr}");
    assert!(stderr.contains("harvests.csv: the file cannot be read"), "{stderr}");
    assert!(files(&out).is_empty());
}

/// Records edited while a run computes: refused by name, or the edit came too late to matter.
#[test]
fn records_that_change_under_a_run() {
    let (mut refused, mut done) = (0, 0);
    for attempt in 0..12 {
        let book = Book::tidy();
        let out = tempfile::tempdir().unwrap();
        let out_dir = out.path().to_str().unwrap();
        let child = command(&["run", book.arg(), "--out", out_dir]).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(attempt * 25));
        book.append("harvests.csv", "T01,2024-04-20,1.00");
        let ran = support::Ran::of(child.wait_with_output().unwrap());
        let edited = anacurve(&["check", book.arg(), "--format", "json"]).stdout;
        match ran.code {
            2 => {
                refused += 1;
                assert!(ran.stderr.contains("changed while it was being used [file-changed]"));
                assert!(ran.stderr.contains("run again when nothing writes to the book"));
                assert!(!report(out.path()).exists());
            }
            0 => {
                done += 1;
                // Either state of the book, never a mixture: the manifest names it.
                let text =
                    std::fs::read_to_string(report(out.path()).join("manifest.json")).unwrap();
                let manifest: serde_json::Value = serde_json::from_str(&text).unwrap();
                let edited: serde_json::Value = serde_json::from_str(&edited).unwrap();
                let new = edited["files"][3]["fingerprint"].as_str().unwrap();
                let used = manifest["inputs"].as_array().unwrap();
                let used = used.iter().find(|input| input["file"] == "harvests.csv").unwrap();
                assert!(used["fingerprint"] == new || attempt > 0, "attempt {attempt}");
            }
            code => panic!("exit code {code}: {}", ran.stderr),
        }
    }
    assert!(refused > 0, "no edit fell into a run; {done} were done");
}

#[test]
fn two_runs_on_one_target_do_not_mix() {
    let book = Book::tidy();
    let out = tempfile::tempdir().unwrap();
    let dir = out.path().to_str().unwrap();
    let start =
        |seed: &str| command(&["run", book.arg(), "--out", dir, "--seed", seed]).spawn().unwrap();
    let alone: Vec<_> = ["1", "2"]
        .map(|seed| {
            start(seed).wait().unwrap();
            bytes(&report(out.path()))
        })
        .into();
    for _ in 0..5 {
        let (one, two) = (start("1"), start("2"));
        for ran in [one, two].map(|child| support::Ran::of(child.wait_with_output().unwrap())) {
            assert!(ran.code == 0 || ran.code == 2);
            if ran.code == 2 {
                assert!(ran.stderr.contains("another run (process "), "{}", ran.stderr);
                assert!(ran.stderr.contains("hint: wait until it is done"), "{}", ran.stderr);
            }
        }
        assert!(alone.contains(&bytes(&report(out.path()))), "two runs mixed");
    }
}

/// Whether a file holds the fingerprint: as text, in its metadata, or in a part of a workbook.
fn carries(path: &Path, inputs: &str) -> bool {
    let bytes = std::fs::read(path).unwrap();
    if path.extension().is_some_and(|extension| extension == "xlsx") {
        let mut parts = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
        let mut part = parts.by_name("docProps/custom.xml").unwrap();
        let mut text = String::new();
        std::io::Read::read_to_string(&mut part, &mut text).unwrap();
        return text.contains(inputs);
    }
    // A table without rows has no cell for it, nor has a list without elements.
    let empty = bytes == b"[]\n"
        || path.extension().is_some_and(|extension| extension == "csv")
            && bytes.iter().filter(|byte| **byte == b'\n').count() == 1;
    empty || bytes.windows(inputs.len()).any(|window| window == inputs.as_bytes())
}

#[test]
fn the_manifest_and_the_outputs_name_the_same_inputs() {
    let book = Book::tidy();
    let out = tempfile::tempdir().unwrap();
    assert_eq!(book.run(out.path()).code, 0);
    let dir = report(out.path());
    let read = |name: &str| std::fs::read_to_string(dir.join(name)).unwrap();
    let manifest: serde_json::Value = serde_json::from_str(&read("manifest.json")).unwrap();
    let inputs = manifest["inputs_fingerprint"].as_str().unwrap();
    let advice: serde_json::Value = serde_json::from_str(&read("advice.json")).unwrap();
    let fit: serde_json::Value = serde_json::from_str(&read("fit.json")).unwrap();
    assert_eq!(advice["inputs"], inputs);
    assert_eq!(fit["inputs_fingerprint"], inputs);
    for page in ["index.html", "crew_sheets.html", "dictionary.html"] {
        assert!(
            read(page).contains(&format!("name=\"anacurve-inputs\" content=\"{inputs}\"")),
            "{page}"
        );
    }
    assert!(read("calendar.ics").contains(&format!("X-ANACURVE-INPUTS:{inputs}")));
    for table in ["advice.parquet", "tree_seasons.parquet"] {
        let file = std::fs::File::open(dir.join(table)).unwrap();
        let builder =
            parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder::try_new(file).unwrap();
        let pairs = builder.metadata().file_metadata().key_value_metadata().unwrap().clone();
        let pair = pairs.into_iter().find(|pair| pair.key == "anacurve.inputs").unwrap();
        assert_eq!(pair.value.as_deref(), Some(inputs), "{table}");
    }
    // Every file but the manifest and the marker of the folder is listed, and every one carries it.
    let listed = manifest["outputs"].as_array().unwrap();
    assert_eq!(listed.len() + 2, files(&dir).len());
    for file in listed.iter().map(|file| file["file"].as_str().unwrap()) {
        assert!(carries(&dir.join(file), inputs), "{file}");
    }
}

/// Two books may bear one name; the later one must not take the place of the other's report, but a
/// region that is added to a book is no other book.
#[test]
fn another_book_of_the_same_name_does_not_replace_a_report() {
    let (book, other) = (Book::tidy(), Book::tidy());
    let out = tempfile::tempdir().unwrap();
    assert_eq!(book.run(out.path()).code, 0);
    let before = bytes(out.path());
    let renamed = |text: String| text.replace("plain", "hills");
    for file in ["book.toml", "blocks.csv"] {
        other.put(file, renamed(other.text(file)));
    }
    let ran = other.run(out.path());
    assert_eq!(ran.code, 2, "{}", ran.stderr);
    assert!(ran.stderr.contains("of another book of the same name"), "{}", ran.stderr);
    assert!(ran.stderr.contains("(plain)"), "{}", ran.stderr);
    assert!(ran.stderr.contains("hint: give the two books different names"), "{}", ran.stderr);
    assert_eq!(bytes(out.path()), before);
    let toml = book.text("book.toml");
    let (_, region) = toml.split_once("[regions.plain]").unwrap();
    book.put("book.toml", format!("{toml}\n[regions.hills]{region}"));
    let ran = book.run(out.path());
    assert_eq!(ran.code, 0, "{}", ran.stderr);
}

/// A share of the trees gives advice on the trees drawn, says so, and plans the work for all.
#[test]
fn a_draw_of_trees_is_told_and_the_work_plan_holds_all() {
    let book = Book::of(support::Plan { trees: 80, ..support::TIDY });
    let out = tempfile::tempdir().unwrap();
    let run = |more: &[&str]| {
        let out = out.path().to_str().unwrap();
        let ran = anacurve(&[&["run", book.arg(), "--out", out], more].concat());
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        let read = |name: &str| std::fs::read_to_string(report(Path::new(out)).join(name)).unwrap();
        let fit: serde_json::Value = serde_json::from_str(&read("fit.json")).unwrap();
        (fit, read("workplan.csv"), read("index.html"))
    };
    let trees_of = |plan: &str| -> Vec<String> {
        let mut rows = csv::Reader::from_reader(plan.as_bytes());
        let at = rows.headers().unwrap().iter().position(|name| name == "trees").unwrap();
        rows.records().map(|row| row.unwrap()[at].to_owned()).collect()
    };
    let (whole, whole_plan, _) = run(&[]);
    let (half, half_plan, page) = run(&["--draw-trees", "0.5"]);
    assert!(whole["trees_drawn"].is_null());
    assert_eq!(half["trees_drawn"], 0.5);
    let rows = |fit: &serde_json::Value| fit["regions"][0]["trees"].as_u64().unwrap();
    assert_eq!(rows(&whole), 80);
    assert!((20..60).contains(&rows(&half)), "{}", rows(&half));
    assert_eq!(trees_of(&whole_plan), trees_of(&half_plan));
    assert!(page.contains("not drawn"), "the page says nothing");
    let (again, ..) = run(&["--draw-trees", "0.5"]);
    assert_eq!(again, half);
    for wrong in ["0", "1", "-0.1", "all"] {
        let ran = anacurve(&["run", book.arg(), &format!("--draw-trees={wrong}")]);
        assert_eq!(ran.code, 2);
        assert!(ran.stderr.contains("a share lies between 0 and 1"), "{}", ran.stderr);
    }
}
