//! The record of advice and scores, kept in the folder `kept` of the record book.

use crate::console::Failure;
use review::{KEPT_FORMAT, KeptAdvice, KeptRegion, ScoreRecord};
use serde::{Deserialize, Serialize};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

const FOLDER: &str = "kept";
const SCORES: &str = "scores.json";

/// The scores file.
#[derive(Debug, Serialize, Deserialize)]
struct Scores {
    format: u32,
    rows: ScoreRecord,
}

/// What the book holds from earlier runs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Record {
    /// Advice kept, oldest first.
    pub advice: Vec<KeptAdvice>,
    /// Scores kept.
    pub scores: ScoreRecord,
}

/// What became of something to be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// Written.
    New,
    /// It stood there already.
    Already,
}

impl Record {
    /// Reads the record of a book; empty where nothing was kept.
    ///
    /// # Errors
    /// When a file cannot be read, is no kept file, or was written by a newer program.
    pub fn read(book: &Path) -> Result<Self, Failure> {
        let folder = book.join(FOLDER);
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Self::default());
            }
            Err(error) => return Err(unreadable(&folder, &error)),
        };
        let mut files: Vec<PathBuf> = Vec::new();
        for entry in entries {
            let path = entry.map_err(|error| unreadable(&folder, &error))?.path();
            let name = path.file_name().and_then(|name| name.to_str()).unwrap_or("");
            if name.starts_with("advice-") && name.ends_with(".json") {
                files.push(path);
            }
        }
        files.sort();
        let mut advice: Vec<KeptAdvice> =
            files.iter().map(|path| of_file(path)).collect::<Result<_, _>>()?;
        advice.sort_by_key(|kept| kept.season);
        let scores = folder.join(SCORES);
        let scores =
            if scores.exists() { of_file::<Scores>(&scores)?.rows } else { ScoreRecord::default() };
        Ok(Self { advice, scores })
    }

    /// The advice kept for a region and season.
    #[must_use]
    pub fn of(&self, region: &str, season: i32) -> Option<&KeptRegion> {
        self.advice
            .iter()
            .rev()
            .flat_map(|kept| &kept.regions)
            .find(|kept| kept.region == region && kept.season == season)
    }
}

/// Keeps advice for its season. Advice once given does not change: what stands there stays.
///
/// # Errors
/// When other advice is kept for the season, or the file cannot be written.
pub fn keep_advice(book: &Path, advice: &KeptAdvice) -> Result<Kept, Failure> {
    let path = kept_path(book, advice.season);
    if path.exists() {
        let held: KeptAdvice = of_file(&path)?;
        return match difference(&held, advice) {
            None => Ok(Kept::Already),
            Some(what) => Err(Failure::new(
                format!("{}: other advice is kept for this season ({what})", path.display()),
                "advice once given stays, so that its score means something; if it was never handed \
                 out, delete the file and run again",
            )),
        };
    }
    write(&path, advice).map(|()| Kept::New)
}

/// The file of the advice kept for a season.
#[must_use]
pub fn kept_path(book: &Path, season: i32) -> PathBuf {
    book.join(FOLDER).join(format!("advice-{season}.json"))
}

/// Keeps the scores.
///
/// # Errors
/// When the file cannot be written.
pub fn keep_scores(book: &Path, scores: &ScoreRecord) -> Result<(), Failure> {
    let file = Scores { format: KEPT_FORMAT, rows: scores.clone() };
    write(&book.join(FOLDER).join(SCORES), &file)
}

/// The first difference that a reader of the advice would notice.
fn difference(held: &KeptAdvice, new: &KeptAdvice) -> Option<String> {
    let ids = |advice: &KeptAdvice| -> Vec<(String, i32)> {
        advice.regions.iter().map(|own| (own.region.clone(), own.season)).collect()
    };
    if ids(held) != ids(new) {
        return Some("it is for other regions or seasons".to_owned());
    }
    // What an earlier version did not keep is no other advice.
    let differs = |held: &KeptRegion, new: &KeptRegion| {
        let mut new = new.clone();
        new.present = new.present.filter(|_| held.present.is_some());
        *held != new
    };
    held.regions.iter().zip(&new.regions).find(|(a, b)| differs(a, b)).map(|(a, b)| {
        let practice = |own: &KeptRegion| {
            own.practice
                .map_or_else(|| "none".to_owned(), |p| format!("{:.0} %", 100.0 * p.intensity))
        };
        if (&a.verdict, practice(a)) == (&b.verdict, practice(b)) {
            return format!(
                "region {}: its predicted gains, its plan or present practice were others",
                a.region
            );
        }
        format!(
            "region {}: {} {} kept, {} {} now",
            a.region,
            a.verdict,
            practice(a),
            b.verdict,
            practice(b)
        )
    })
}

fn of_file<T: serde::de::DeserializeOwned>(path: &Path) -> Result<T, Failure> {
    #[derive(Deserialize)]
    struct Layout {
        format: u32,
    }
    let text = fs::read_to_string(path).map_err(|error| unreadable(path, &error))?;
    let odd = |error: serde_json::Error| {
        Failure::new(
            format!("{}:{}:{}: {error}", path.display(), error.line(), error.column()),
            "the file was changed by hand or is damaged; restore it from a copy, or move it away to \
             go on without it",
        )
    };
    let layout: Layout = serde_json::from_str(&text).map_err(odd)?;
    if layout.format > KEPT_FORMAT {
        return Err(Failure::new(
            format!(
                "{}: written in layout {} by a newer anacurve; this one reads up to {KEPT_FORMAT}",
                path.display(),
                layout.format
            ),
            "use the newer anacurve for this book",
        ));
    }
    serde_json::from_str(&text).map_err(odd)
}

/// Writes beside the file and renames, so that an interruption leaves the old file whole.
fn write<T: Serialize>(path: &Path, value: &T) -> Result<(), Failure> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let failed = |error: &dyn std::error::Error| {
        Failure::new(
            format!("{}: {error}", path.display()),
            "check free space and permissions of the record book; without --keep nothing is written \
             into it",
        )
    };
    fs::create_dir_all(folder).map_err(|error| failed(&error))?;
    let mut text = serde_json::to_string_pretty(value).map_err(|error| failed(&error))?;
    text.push('\n');
    let beside = path.with_extension("json.writing");
    let written = fs::File::create(&beside)
        .and_then(|mut file| file.write_all(text.as_bytes()).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&beside, path));
    // What a full disk let through is worth nothing; the error that stopped it is told.
    written.inspect_err(|_| drop(fs::remove_file(&beside))).map_err(|error| failed(&error))
}

fn unreadable(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new(
        format!("{}: {error}", path.display()),
        "check the permissions of the folder in which advice and scores are kept",
    )
}
