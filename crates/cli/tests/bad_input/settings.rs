//! A book.toml that cannot be used.

use crate::support::Book;

#[test]
fn no_book_toml() {
    let book = Book::tidy();
    book.remove("book.toml");
    book.check().fails("book.toml", "book-unreadable");
}

#[test]
fn a_book_toml_that_is_no_toml() {
    let book = Book::tidy();
    let line = book.replace("book.toml", "price_per_kg = 1.2", "price per kg: 1.2");
    book.check().fails(&format!("book.toml:{line}"), "book-unreadable");
}

#[test]
fn a_book_toml_that_is_no_text() {
    let book = Book::tidy();
    book.put("book.toml", b"[book]\nname = \"\xff\"\n");
    book.check().fails("book.toml", "book-unreadable");
    book.put("book.toml", "");
    book.check().fails("book.toml:1", "book-unreadable");
}

#[test]
fn a_region_without_calendar() {
    let book = Book::tidy();
    book.replace("book.toml", "flush = [\"09-01\", \"11-30\"]\n", "");
    let line = book.replace("book.toml", "[regions.plain]", "[regions.plain]");
    book.check().fails(&format!("book.toml:{line}"), "region-without-calendar");
}

#[test]
fn overlapping_harvest_and_flush() {
    let book = Book::tidy();
    book.replace("book.toml", "rest = [\"06-01\", \"08-31\"]\n", "");
    let line = book.replace("book.toml", "flush = [\"09-01\"", "flush = [\"05-01\"");
    book.check().fails(&format!("book.toml:{line}"), "windows-overlap");
}

#[test]
fn a_file_of_the_book_that_is_not_there() {
    let book = Book::tidy();
    let end = "\n[[files.harvests]]\npath = \"harvests_north.csv\"\n";
    book.put("book.toml", book.text("book.toml") + end);
    let line = book.text("book.toml").lines().count();
    book.check().fails(&format!("book.toml:{line}"), "file-unreadable");
}

/// In the words of the book, not in those of the program's parser.
#[test]
fn a_holiday_that_is_no_day() {
    let book = Book::tidy();
    let end =
        "\n[work]\ncrew_size = 2\nrest_dates = [\n  \"12-25\", # Christmas\n  \"2026-13-01\",\n]\n";
    book.put("book.toml", book.text("book.toml") + end);
    let line = book.text("book.toml").lines().count() - 1;
    let ran = book.check();
    ran.fails(&format!("book.toml:{line}"), "book-unreadable");
    assert!(
        ran.stderr.contains("rest_dates: \"2026-13-01\" is no day of the calendar"),
        "{}",
        ran.stderr
    );
    assert!(ran.stderr.contains("hint: write each date in quotation marks"), "{}", ran.stderr);
    assert!(!ran.stderr.contains("variant"), "{}", ran.stderr);
}

#[test]
fn a_run_on_a_spoilt_book_writes_nothing() {
    let book = Book::tidy();
    book.remove("book.toml");
    let out = book.file("reports");
    book.run(&out).fails("book.toml", "book-unreadable");
    assert!(!out.exists());
}
