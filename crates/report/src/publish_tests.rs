//! Publishing against writers that fail and runs that die between steps.

use super::*;
use std::io::Error;

fn write_page(text: &'static str) -> impl FnOnce(&Path) -> Result<(), Error> {
    move |dir| fs::write(dir.join("index.html"), text)
}

fn page(target: &Path) -> String {
    fs::read_to_string(target.join("index.html")).unwrap()
}

fn hidden_folders(parent: &Path) -> usize {
    fs::read_dir(parent)
        .unwrap()
        .filter(|e| {
            let e = e.as_ref().unwrap();
            e.path().is_dir() && e.file_name().to_string_lossy().starts_with('.')
        })
        .count()
}

#[test]
fn replaces_the_folder_whole() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("book/2026");
    publish(&target, Writer::Plan, |dir| {
        fs::write(dir.join("old.txt"), "x")?;
        write_page("first")(dir)
    })
    .unwrap();
    publish(&target, Writer::Plan, write_page("second")).unwrap();
    assert_eq!(page(&target), "second");
    assert!(!target.join("old.txt").exists());
    assert_eq!(hidden_folders(target.parent().unwrap()), 0);
}

#[test]
fn failing_writer_leaves_the_previous_report() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("2026");
    publish(&target, Writer::Plan, write_page("good")).unwrap();
    let failed = publish(&target, Writer::Plan, |dir| {
        fs::write(dir.join("index.html"), "half")?;
        Err(Error::other("disk full"))
    });
    assert!(matches!(failed, Err(PublishError::Write(_))));
    assert_eq!(page(&target), "good");
    assert_eq!(hidden_folders(home.path()), 0);
}

#[test]
fn died_between_the_renames() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("2026");
    publish(&target, Writer::Plan, write_page("good")).unwrap();
    // The state a kill leaves after the first rename: target aside, new folder not yet in place.
    fs::rename(&target, home.path().join(".2026.previous")).unwrap();
    fs::create_dir(home.path().join(".2026.writing-1")).unwrap();
    fs::write(home.path().join(".2026.writing-1/index.html"), "unfinished").unwrap();
    let failed = publish(&target, Writer::Plan, |_| Err(Error::other("next run fails too")));
    assert!(failed.is_err());
    assert_eq!(page(&target), "good");
    assert_eq!(hidden_folders(home.path()), 0);
}

#[test]
fn died_before_the_clean_up() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("2026");
    publish(&target, Writer::Plan, write_page("new")).unwrap();
    fs::create_dir(home.path().join(".2026.previous")).unwrap();
    fs::write(home.path().join(".2026.previous/index.html"), "old").unwrap();
    assert!(publish(&target, Writer::Plan, |_| Err(Error::other("no"))).is_err());
    assert_eq!(page(&target), "new");
    assert_eq!(hidden_folders(home.path()), 0);
}

#[test]
fn a_live_run_is_not_disturbed() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("2026");
    publish(&target, Writer::Plan, |dir| {
        let second = publish(&target, Writer::Plan, write_page("second"));
        let Err(error @ PublishError::Busy { .. }) = second else { panic!("not refused") };
        let own = format!("another run (process {}) is writing to", std::process::id());
        assert!(error.to_string().starts_with(&own), "{error}");
        write_page("first")(dir)
    })
    .unwrap();
    assert_eq!(page(&target), "first");
}

#[test]
fn a_folder_of_somebody_else_is_refused() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("documents");
    fs::create_dir(&target).unwrap();
    publish(&target, Writer::Plan, write_page("into an empty folder")).unwrap();
    fs::remove_file(target.join(MARKER)).unwrap();
    let refused = publish(&target, Writer::Plan, write_page("over my files"));
    assert!(matches!(refused, Err(PublishError::NotAReport(_))));
    assert_eq!(page(&target), "into an empty folder");
}

/// A marker of before names no command: the files tell which it was, those of a whole report first.
#[test]
fn a_folder_of_another_command_is_refused() {
    let home = tempfile::tempdir().unwrap();
    for (n, (own, file)) in Writer::ALL.into_iter().enumerate() {
        for named in [true, false] {
            let target = home.path().join(format!("{n}-{named}"));
            publish(&target, own, |dir| fs::write(dir.join(file), "own")).unwrap();
            if !named {
                fs::write(target.join(MARKER), "This folder is replaced whole by the next run.\n")
                    .unwrap();
            }
            for (other, _) in Writer::ALL.into_iter().filter(|(other, _)| *other != own) {
                let refused = publish(&target, other, write_page("other"));
                let Err(PublishError::OfAnother { writer, .. }) = refused else {
                    panic!("{other:?} over {own:?}")
                };
                assert_eq!(writer, Some(own));
            }
            let refused = publish_into(&target, write_page("tables"));
            assert!(matches!(refused, Err(PublishError::OfAnother { .. })));
            assert!(!target.join("index.html").exists());
            publish(&target, own, write_page("again")).unwrap();
            assert_eq!(page(&target), "again");
        }
    }
    let whole = home.path().join("whole");
    publish(&whole, Writer::Run, |dir| {
        fs::write(dir.join("review.json"), "{}")?;
        fs::write(dir.join("advice.json"), "{}")
    })
    .unwrap();
    fs::write(whole.join(MARKER), "").unwrap();
    assert_eq!(standing(&whole).unwrap(), Standing::Written(Some(Writer::Run)));
}

#[test]
fn a_new_folder_appears_whole_and_replaces_nothing() {
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("some/where");
    assert!(publish_new(&target, |_| Err(Error::other("disk full"))).is_err());
    assert!(!target.exists());
    fs::create_dir(&target).unwrap();
    publish_new(&target, write_page("first")).unwrap();
    assert!(!target.join(MARKER).exists());
    let refused = publish_new(&target, write_page("second"));
    assert!(matches!(refused, Err(PublishError::Io { .. })));
    assert_eq!(page(&target), "first");
    assert_eq!(hidden_folders(target.parent().unwrap()), 0);
}

/// Many runs at once on one target: never two inside, and nothing is left beside it.
#[cfg(unix)]
#[test]
fn the_lock_goes_away_and_still_lets_one_run_in() {
    use std::sync::atomic::{AtomicUsize, Ordering};
    let home = tempfile::tempdir().unwrap();
    let target = home.path().join("2026");
    let (inside, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|threads| {
        for _ in 0..4 {
            threads.spawn(|| {
                for _ in 0..25 {
                    let ran = publish(&target, Writer::Plan, |dir| {
                        assert_eq!(inside.fetch_add(1, Ordering::SeqCst), 0);
                        let written = write_page("whole")(dir);
                        inside.fetch_sub(1, Ordering::SeqCst);
                        written
                    });
                    match ran {
                        Ok(()) => done.fetch_add(1, Ordering::SeqCst),
                        Err(PublishError::Busy { .. }) => 0,
                        Err(error) => panic!("{error}"),
                    };
                }
            });
        }
    });
    assert!(done.into_inner() > 0);
    assert_eq!(page(&target), "whole");
    let names: Vec<_> =
        fs::read_dir(home.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["2026"]);
}
