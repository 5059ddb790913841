//! Rows read before, kept typed: a file is not parsed again while its bytes, its settings and the
//! files read before it are the same.
//!
//! An entry is named by a fingerprint of everything that reading the file depends on, and carries a
//! fingerprint of its own content: one that is damaged, cut short or of another layout is passed
//! over and written again.

mod columns;

use crate::QuarantinedRow;
use crate::discover::Source;
use crate::report::fingerprint;
use crate::summary::Summary;
use crate::table::FileOutcome;
use polars::prelude::DataFrame;
use records::{Book, TableSpec};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io;
use std::path::{Path, PathBuf};

/// Raised whenever the same bytes are read differently or entries are laid out differently.
const LAYOUT: u32 = 7;
const MAGIC: &[u8; 8] = b"anacache";
/// Digits of a fingerprint.
const DIGITS: usize = 16;

/// A folder of entries.
#[derive(Debug)]
pub(crate) struct Cache {
    folder: PathBuf,
}

/// A file as it was read.
pub(crate) struct ReadFile {
    /// Every column of the table's schema and `.line`.
    pub(crate) rows: DataFrame,
    /// The hashes by which repeated rows are noticed: key and rest of each row.
    pub(crate) hashes: Vec<(u64, u64)>,
    pub(crate) outcome: FileOutcome,
}

/// What an entry holds beside the rows.
#[derive(Serialize, Deserialize)]
struct Told {
    key: String,
    header_line: Option<u64>,
    cells: BTreeMap<String, u32>,
    rows_read: u64,
    summary: Summary,
    quarantine: Vec<QuarantinedRow>,
}

/// A borrowed [`Told`].
#[derive(Serialize)]
struct Telling<'a> {
    key: &'a str,
    header_line: Option<u64>,
    cells: &'a BTreeMap<String, u32>,
    rows_read: u64,
    summary: &'a Summary,
    quarantine: &'a [QuarantinedRow],
}

/// The name of a file's entry, from all that its rows depend on: the program, the file's bytes and
/// declaration, the book's way of writing, and the files of its table read before, whose rows it may
/// repeat.
pub(crate) fn key(source: &Source, book: &Book, bytes: &str, before: &str) -> String {
    let Source { table, name, sheet, format, options, .. } = source;
    // Rows are told apart by hashes that another build of the program may compute otherwise.
    let mut probe = DefaultHasher::new();
    "anacurve".hash(&mut probe);
    let text = format!(
        "{LAYOUT}\n{}\n{:x}\n{table}\n{name}\n{sheet:?}\n{format:?}\n{options:?}\n{:?}\n{:?}\n{bytes}\n{before}\n",
        env!("CARGO_PKG_VERSION"),
        probe.finish(),
        book.book.decimal,
        book.book.dates,
    );
    fingerprint(text.as_bytes())
}

impl Cache {
    /// Opens a folder, which is made if absent.
    ///
    /// # Errors
    /// When it cannot be made.
    pub(crate) fn open(folder: &Path) -> io::Result<Self> {
        std::fs::create_dir_all(folder)?;
        Ok(Self { folder: folder.to_owned() })
    }

    /// Where the entries are.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    fn path(&self, key: &str) -> PathBuf {
        self.folder.join(format!("{key}.rows"))
    }

    /// The entry of a key; `None` when there is none or it is not whole.
    pub(crate) fn get(&self, key: &str, spec: &TableSpec) -> Option<ReadFile> {
        let bytes = std::fs::read(self.path(key)).ok()?;
        let (hash, content) = bytes.strip_prefix(MAGIC)?.split_at_checked(DIGITS)?;
        if hash != fingerprint(content).as_bytes() {
            return None;
        }
        let (length, content) = content.split_first_chunk::<8>()?;
        let length = usize::try_from(u64::from_le_bytes(*length)).ok()?;
        let (told, rows) = content.split_at_checked(length)?;
        let told: Told = serde_json::from_slice(told).ok()?;
        if told.key != key {
            return None;
        }
        let (rows, hashes) = columns::read(rows, spec)?;
        let Told { header_line, cells, rows_read, summary, quarantine, .. } = told;
        // No cache is used where trees are drawn.
        let rows_not_drawn = 0;
        let outcome =
            FileOutcome { header_line, cells, rows_read, rows_not_drawn, summary, quarantine };
        Some(ReadFile { rows, hashes, outcome })
    }

    /// Writes the entry of a key, beside its place and then renamed into it.
    ///
    /// # Errors
    /// When the folder refuses.
    pub(crate) fn put(&self, key: &str, spec: &TableSpec, file: &ReadFile) -> io::Result<()> {
        let FileOutcome { header_line, cells, rows_read, summary, quarantine, .. } = &file.outcome;
        let (header_line, rows_read) = (*header_line, *rows_read);
        let told = Telling { key, header_line, cells, rows_read, summary, quarantine };
        let told = serde_json::to_vec(&told).map_err(io::Error::other)?;
        let mut content = (told.len() as u64).to_le_bytes().to_vec();
        content.extend(told);
        content.extend(columns::write(&file.rows, &file.hashes, spec).map_err(io::Error::other)?);
        let mut bytes = MAGIC.to_vec();
        bytes.extend(fingerprint(&content).into_bytes());
        bytes.append(&mut content);
        let beside = self.folder.join(format!("{key}.writing-{}", std::process::id()));
        let written =
            std::fs::write(&beside, bytes).and_then(|()| std::fs::rename(&beside, self.path(key)));
        // What a full disk let through is worth nothing; the error that stopped it is told.
        written.inspect_err(|_| drop(std::fs::remove_file(&beside)))
    }
}
