//! Folders named with --out and --cache in which something else stands already.

use crate::support::{Book, anacurve};
use std::collections::BTreeMap;
use std::path::Path;

/// Every file below a folder with its content.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.insert(path.display().to_string(), std::fs::read(&path).unwrap());
        }
    }
    found
}

/// The commands that write a folder of their own, each with its arguments before --out.
fn commands(book: &Book) -> Vec<(&'static str, Vec<String>)> {
    book.put("normals.csv", "site,altitude_m\na,100\nb,150\nc,900\nd,950\n");
    book.put("cv.toml", "tree = 30\ntree_season = 25\n");
    let file = |name: &str| book.file(name).display().to_string();
    let own = book.arg().to_owned();
    vec![
        ("review", vec![own.clone()]),
        ("plan", vec![own.clone()]),
        ("sql", vec![own]),
        ("zones", vec![file("normals.csv")]),
        (
            "size",
            ["--components", &file("cv.toml"), "--difference", "25", "--treatments", "3"]
                .map(str::to_owned)
                .into(),
        ),
    ]
}

#[test]
fn no_command_replaces_the_folder_of_another() {
    let book = Book::tidy();
    let home = tempfile::tempdir().unwrap();
    let reports = home.path().join("reports");
    assert_eq!(book.run(&reports).code, 0);
    let report = reports.join("small-book/2025");
    let mut places = vec![("run", report.display().to_string())];
    for (command, arguments) in commands(&book) {
        let place = home.path().join(command).display().to_string();
        let mut line = vec![command];
        line.extend(arguments.iter().map(String::as_str));
        line.extend(["--out", place.as_str()]);
        let written = anacurve(&line);
        assert!(Path::new(&place).is_dir(), "{command}: {}", written.stderr);
        places.push((command, place));
    }
    let before = files(home.path());
    for (command, arguments) in commands(&book) {
        for (other, place) in places.iter().filter(|(other, _)| *other != command) {
            let mut line = vec![command];
            line.extend(arguments.iter().map(String::as_str));
            line.extend(["--out", place.as_str()]);
            let holds = format!("holds what anacurve {other} wrote");
            anacurve(&line).fails_saying(&[place, &holds, "nothing was written", "--out"]);
        }
    }
    for (_, place) in &places {
        let ran = anacurve(&["check", book.arg(), "--out", place]);
        ran.fails_saying(&[place, "holds what anacurve", "nothing was written", "--out"]);
        let ran = anacurve(&["check", book.arg(), "--cache", place]);
        ran.fails_saying(&[place, "holds what anacurve", "nothing was written", "--cache"]);
    }
    assert_eq!(files(home.path()), before);
    // The report of a season stands where a review was put.
    let moved = home.path().join("season/small-book");
    std::fs::create_dir_all(&moved).unwrap();
    std::fs::rename(home.path().join("review"), moved.join("2025")).unwrap();
    let before = files(home.path());
    let out = home.path().join("season");
    let ran = anacurve(&["run", book.arg(), "--out", out.to_str().unwrap()]);
    ran.fails_saying(&["2025 holds what anacurve review wrote", "nothing was written"]);
    assert_eq!(files(home.path()), before);
    // Each replaces its own.
    assert_eq!(book.run(&reports).code, 0);
}

#[test]
fn no_report_and_no_cache_is_put_into_a_record_book() {
    let book = Book::tidy();
    let before = files(book.path());
    for arguments in [
        ["run", book.arg(), "--out", book.arg()],
        ["run", book.arg(), "--cache", book.arg()],
        ["check", book.arg(), "--out", book.arg()],
        ["check", book.arg(), "--cache", book.arg()],
    ] {
        let option = arguments[2];
        let told = [book.arg(), "is a record book", "nothing was written", option];
        anacurve(&arguments).fails_saying(&told);
    }
    assert_eq!(files(book.path()), before);
    // A folder within it is passed over when the book is read.
    assert_eq!(book.run(&book.file("reports")).code, 0);
}
