//! The record of advice and scores, kept in the folder `kept` of the record book.

use crate::console::Failure;
use review::{KEPT_FORMAT, KeptAdvice, KeptRegion, ScoreRecord, ScoreRow};
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
        let rows = scores.rows.into_iter().map(|row| ScoreRow { telling: row.tells(), ..row });
        let scores = ScoreRecord { rows: rows.collect() };
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

/// What of a run's advice is to be kept, and where.
#[derive(Debug)]
pub struct ToKeep {
    /// The file: that to be written, or that which holds the advice already.
    pub path: PathBuf,
    /// Advice for the regions and seasons for which none is kept yet; no region where all are.
    pub advice: KeptAdvice,
    /// Regions and seasons whose advice stands as it was kept before.
    pub stands: Vec<(String, i32)>,
}

impl ToKeep {
    /// Advice once given does not change: what stands in the record stays. Regions harvested at other times
    /// of the year are advised at other times: those for which nothing is kept yet have a file of their own
    /// beside that of the season.
    ///
    /// # Errors
    /// When other advice is kept for all regions and seasons.
    pub fn of(book: &Path, record: &Record, advice: &KeptAdvice) -> Result<Self, Failure> {
        let held = |own: &KeptRegion| record.of(&own.region, own.season);
        let regions: Vec<KeptRegion> =
            advice.regions.iter().filter(|own| held(own).is_none()).cloned().collect();
        let mut path = kept_path(book, advice.season);
        if regions.is_empty() {
            let pairs = advice.regions.iter().filter_map(|own| Some((held(own)?, own)));
            if let Some(what) = difference(pairs) {
                return Err(Failure::new(
                    format!("{}: other advice is kept for this season ({what})", path.display()),
                    "advice once given stays, so that its score means something; if it was never handed \
                     out, delete the file and run again",
                ));
            }
        } else {
            let more = (2..).map(|number| {
                book.join(FOLDER).join(format!("advice-{}-{number}.json", advice.season))
            });
            let mut places = std::iter::once(path.clone()).chain(more);
            path = places.find(|path| !path.exists()).unwrap_or(path);
        }
        let stands = advice.regions.iter().filter(|own| held(own).is_some());
        let stands = stands.map(|own| (own.region.clone(), own.season)).collect();
        Ok(Self { path, advice: KeptAdvice { regions, ..advice.clone() }, stands })
    }

    /// Writes it, where there is any.
    ///
    /// # Errors
    /// When the file cannot be written, or another run wrote it meanwhile.
    pub fn write(&self) -> Result<(), Failure> {
        if self.advice.regions.is_empty() {
            return Ok(());
        }
        if self.path.exists() {
            // The name was free when the run settled what to keep.
            return Err(Failure::new(
                format!("{}: another run kept advice meanwhile", self.path.display()),
                "run again: what was kept stays, and what is missing is added",
            ));
        }
        write(&self.path, &self.advice)
    }
}

/// The file of the advice kept for a season.
fn kept_path(book: &Path, season: i32) -> PathBuf {
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

/// The first difference between kept and new advice of a region that a reader of it would notice.
fn difference<'a>(
    mut pairs: impl Iterator<Item = (&'a KeptRegion, &'a KeptRegion)>,
) -> Option<String> {
    // What an earlier version did not keep is no other advice.
    let differs = |held: &KeptRegion, new: &KeptRegion| {
        let mut new = new.clone();
        new.present = new.present.filter(|_| held.present.is_some());
        *held != new
    };
    pairs.find(|(a, b)| differs(a, b)).map(|(a, b)| {
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
