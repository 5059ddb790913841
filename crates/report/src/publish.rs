//! Puts a finished folder into place by renames, so that an interrupted run leaves the last good report whole.

use std::ffi::{OsStr, OsString};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Marks a folder as written here, so that nobody's own folder is ever replaced.
const MARKER: &str = ".anacurve-report";

/// What stands before the command's name in the marker.
const MARKER_COMMAND: &str = "Written by: anacurve ";

/// The command that writes a folder. Only the same command replaces it: the folder of another holds files that the
/// new one would not have, and they would be gone without a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Writer {
    /// `run`: the whole report.
    Run,
    /// `review`: the season review alone.
    Review,
    /// `trial`: designed trials alone.
    Trial,
    /// `plan`: the work plan alone.
    Plan,
    /// `layout`: a trial drawn by lot.
    Layout,
    /// `size`: how large a trial must be.
    Size,
    /// `sql`: the model as queries.
    Sql,
    /// `zones`: regions proposed.
    Zones,
}

impl Writer {
    /// Each with a file that it always writes; those of `run` come first, as it writes those of some others too.
    const ALL: [(Self, &str); 8] = [
        (Self::Run, "advice.json"),
        (Self::Review, "review.json"),
        (Self::Trial, "trials.json"),
        (Self::Plan, "crew_sheets.html"),
        (Self::Layout, "layout.json"),
        (Self::Size, "size.json"),
        (Self::Sql, "design.json"),
        (Self::Zones, "zones.csv"),
    ];

    /// As it is typed.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Review => "review",
            Self::Trial => "trial",
            Self::Plan => "plan",
            Self::Layout => "layout",
            Self::Size => "size",
            Self::Sql => "sql",
            Self::Zones => "zones",
        }
    }

    /// Who wrote a folder that bears the marker. Markers of before did not say: their files tell.
    fn of(folder: &Path, marker: &str) -> Option<Self> {
        let named = marker.lines().find_map(|line| line.strip_prefix(MARKER_COMMAND));
        let known = |(writer, file): &(Self, &str)| match named {
            Some(named) => writer.name() == named.trim(),
            None => folder.join(file).is_file(),
        };
        Self::ALL.iter().find(|own| known(own)).map(|(writer, _)| *writer)
    }
}

/// What stands where a folder is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Nothing, or an empty folder.
    Free,
    /// A folder written here, by a command where that is known.
    Written(Option<Writer>),
    /// Something else.
    Foreign,
}

/// What stands at a place.
///
/// # Errors
/// When the place cannot be read.
pub fn standing(target: &Path) -> io::Result<Standing> {
    if !target.exists() {
        return Ok(Standing::Free);
    }
    if !target.is_dir() {
        return Ok(Standing::Foreign);
    }
    match fs::read(target.join(MARKER)) {
        Ok(marker) => {
            let marker = String::from_utf8_lossy(&marker);
            Ok(Standing::Written(Writer::of(target, &marker)))
        }
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        Err(_) if fs::read_dir(target)?.next().is_none() => Ok(Standing::Free),
        Err(_) => Ok(Standing::Foreign),
    }
}

/// Why a folder was not published. The target is as it was before, whatever the reason.
#[derive(Debug, thiserror::Error)]
pub enum PublishError<E: std::error::Error + 'static> {
    /// The writer failed.
    #[error("the report could not be written")]
    Write(#[source] E),
    /// The file system refused a step.
    #[error("cannot {step} {path}")]
    Io {
        /// What was tried.
        step: &'static str,
        /// On which path.
        path: PathBuf,
        /// Why it failed.
        #[source]
        source: io::Error,
    },
    /// Another run is publishing to the same place; try again when it is done.
    #[error("another run{holder} is writing to {target}", target = target.display())]
    Busy {
        /// The place.
        target: PathBuf,
        /// The process in words, with a space in front; empty when it is not known.
        holder: String,
    },
    /// The target holds something that was not written here.
    #[error("{0} exists and is not a report folder: choose another place or move it away")]
    NotAReport(PathBuf),
    /// The target was written here, by another command.
    #[error("{folder} {}", of_another(*.writer), folder = folder.display())]
    OfAnother {
        /// The place.
        folder: PathBuf,
        /// Who wrote it, where that is known.
        writer: Option<Writer>,
    },
}

/// What a folder of another command is, in words.
fn of_another(writer: Option<Writer>) -> String {
    match writer {
        Some(writer) => format!("holds what anacurve {} wrote", writer.name()),
        None => "was written by another command".to_owned(),
    }
}

/// Where a target's temporary, previous and lock siblings live.
struct Siblings {
    parent: PathBuf,
    target: PathBuf,
    previous: PathBuf,
    temporary: PathBuf,
    temporary_prefix: OsString,
    lock: PathBuf,
}

impl Siblings {
    fn of(target: &Path) -> io::Result<Self> {
        let target = std::path::absolute(target)?;
        let (Some(parent), Some(name)) = (target.parent(), target.file_name()) else {
            return Err(io::Error::from(io::ErrorKind::InvalidInput));
        };
        let sibling = |suffix: &str| {
            let mut hidden = OsString::from(".");
            hidden.push(name);
            hidden.push(suffix);
            hidden
        };
        let temporary_prefix = sibling(".writing-");
        let mut temporary = temporary_prefix.clone();
        temporary.push(std::process::id().to_string());
        Ok(Self {
            parent: parent.to_owned(),
            previous: parent.join(sibling(".previous")),
            temporary: parent.join(temporary),
            temporary_prefix,
            lock: parent.join(sibling(".lock")),
            target,
        })
    }

    /// Brings back a report left aside by a run that died between its two renames, and removes
    /// what dead runs left. The lock is held, so whatever is found belongs to a dead run.
    fn recover(&self) -> io::Result<()> {
        if self.previous.exists() {
            if self.target.exists() {
                fs::remove_dir_all(&self.previous)?;
            } else {
                fs::rename(&self.previous, &self.target)?;
            }
        }
        for entry in fs::read_dir(&self.parent)? {
            let entry = entry?;
            if starts_with(&entry.file_name(), &self.temporary_prefix)
                && entry.file_type()?.is_dir()
            {
                fs::remove_dir_all(entry.path())?;
            }
        }
        Ok(())
    }

    fn swap(&self) -> io::Result<()> {
        if self.target.exists() {
            fs::rename(&self.target, &self.previous)?;
            if let Err(error) = fs::rename(&self.temporary, &self.target) {
                fs::rename(&self.previous, &self.target)?;
                return Err(error);
            }
            fs::remove_dir_all(&self.previous)
        } else {
            fs::rename(&self.temporary, &self.target)
        }
    }
}

fn starts_with(name: &OsStr, prefix: &OsStr) -> bool {
    name.as_encoded_bytes().starts_with(prefix.as_encoded_bytes())
}

/// What becomes of a step that the file system refuses.
fn refused<E: std::error::Error + 'static>(
    step: &'static str,
    path: &Path,
) -> impl FnOnce(io::Error) -> PublishError<E> {
    let path = path.to_owned();
    move |source| PublishError::Io { step, path, source }
}

/// Lets `write` fill the temporary folder of a place, down to the disk; it is removed again unless
/// it is moved away.
fn filled<'a, E: std::error::Error + 'static>(
    place: &'a Siblings,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<Temporary<'a>, PublishError<E>> {
    fs::create_dir(&place.temporary).map_err(refused("create", &place.temporary))?;
    let temporary = Temporary(&place.temporary);
    write(temporary.0).map_err(PublishError::Write)?;
    settle(temporary.0).map_err(refused("write", temporary.0))?;
    Ok(temporary)
}

/// The lock of a place. Its file goes away with it where that cannot let two runs in, see [`is_at`].
struct Lock<'a> {
    file: File,
    path: &'a Path,
}

impl Drop for Lock<'_> {
    fn drop(&mut self) {
        // Still locked: the file that is removed is the one that is held. One that stays is no harm.
        if is_at(&self.file, self.path) == Some(true) {
            let _ = fs::remove_file(self.path);
        }
    }
}

/// Whether an open file is the one that stands at a path; `None` where the system does not tell. A run that opened
/// a lock file before it was removed would otherwise hold a lock that nobody sees.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> Option<bool> {
    use std::os::unix::fs::MetadataExt;
    let own = file.metadata().ok()?;
    Some(fs::metadata(path).is_ok_and(|found| (found.dev(), found.ino()) == (own.dev(), own.ino())))
}

#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> Option<bool> {
    None
}

/// Takes the lock of a place for as long as the file lives. The system frees it when its process
/// ends, however it ends, so no lock outlives a run.
fn locked<E: std::error::Error + 'static>(place: &Siblings) -> Result<Lock<'_>, PublishError<E>> {
    // Not truncated: the number of the process that holds it stands in it, for people.
    let mut options = OpenOptions::new();
    let options = options.create(true).truncate(false).write(true);
    let mut file = loop {
        let file = options.open(&place.lock).map_err(refused("create", &place.lock))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let holder = holder(&place.lock);
                return Err(PublishError::Busy { target: place.target.clone(), holder });
            }
            Err(TryLockError::Error(e)) if e.kind() == io::ErrorKind::Unsupported => break file,
            Err(TryLockError::Error(e)) => return Err(refused("lock", &place.lock)(e)),
        }
        // The run that held it may have removed it after it was opened here.
        if is_at(&file, &place.lock) != Some(false) {
            break file;
        }
    };
    file.set_len(0)
        .and_then(|()| file.write_all(std::process::id().to_string().as_bytes()))
        .map_err(refused("write", &place.lock))?;
    Ok(Lock { file, path: &place.lock })
}

/// The process that holds a lock, in words. Its number is written just after the lock is taken, so
/// a file that is still empty is read again for a moment.
fn holder(lock: &Path) -> String {
    let number = || fs::read_to_string(lock).ok()?.trim().parse::<u32>().ok();
    let found = (0..40).find_map(|_| {
        number().or_else(|| {
            std::thread::sleep(std::time::Duration::from_millis(5));
            None
        })
    });
    found.map_or_else(String::new, |number| format!(" (process {number})"))
}

/// Waits until every file of a folder is on the disk: a power cut after the renames must not leave
/// a folder of empty files where the last good report was.
fn settle(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            settle(&path)?;
        } else {
            on_disk(&path)?;
        }
    }
    Ok(())
}

/// Waits until a file is on the disk. Opened for writing, which some systems ask for.
fn on_disk(file: &Path) -> io::Result<()> {
    OpenOptions::new().write(true).open(file)?.sync_all()
}

/// Removes the temporary folder unless it was moved into place.
struct Temporary<'a>(&'a Path);

impl Drop for Temporary<'_> {
    fn drop(&mut self) {
        // A folder that cannot be removed now is removed by the next run's recovery.
        let _ = fs::remove_dir_all(self.0);
    }
}

/// Whether a command may write a folder: it is free, or its own of before. Asked before long work, [`publish`] asks
/// again under its lock.
///
/// # Errors
/// With what stands there.
pub fn replaceable<E: std::error::Error + 'static>(
    target: &Path,
    writer: Writer,
) -> Result<(), PublishError<E>> {
    let folder = target.to_owned();
    match standing(target).map_err(refused("read", target))? {
        Standing::Foreign => Err(PublishError::NotAReport(folder)),
        Standing::Written(found) if found != Some(writer) => {
            Err(PublishError::OfAnother { folder, writer: found })
        }
        Standing::Free | Standing::Written(_) => Ok(()),
    }
}

/// Lets `write` fill a new folder beside `target`, then swaps it into place.
///
/// The folder is replaced whole. A left-over of an interrupted run is recovered first, even when
/// `write` fails afterwards. One run at a time may publish to a target, which a lock file ensures
/// where the file system has locks. A folder is replaced by the command that wrote it and by no other.
///
/// # Errors
/// [`PublishError`]; `target` then holds what it held before.
pub fn publish<E: std::error::Error + 'static>(
    target: &Path,
    writer: Writer,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<(), PublishError<E>> {
    let place = Siblings::of(target).map_err(refused("use as a folder", target))?;
    fs::create_dir_all(&place.parent).map_err(refused("create", &place.parent))?;
    let _lock = locked(&place)?;
    place.recover().map_err(refused("recover", &place.target))?;
    replaceable(&place.target, writer)?;
    let temporary = filled(&place, write)?;
    let marker = temporary.0.join(MARKER);
    let own = writer.name();
    let words = format!(
        "This folder is replaced whole by the next anacurve {own} that names it.\n{MARKER_COMMAND}{own}\n"
    );
    fs::write(&marker, words).and_then(|()| on_disk(&marker)).map_err(refused("write", &marker))?;
    place.swap().map_err(refused("replace", &place.target))
}

/// Lets `write` fill a new folder, which then appears whole under its name. Unlike [`publish`] it
/// never replaces anything: the folder must be absent or empty, and is nobody's report afterwards.
///
/// # Errors
/// [`PublishError`]; nothing is left of the folder then.
pub fn publish_new<E: std::error::Error + 'static>(
    target: &Path,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<(), PublishError<E>> {
    let place = Siblings::of(target).map_err(refused("use as a folder", target))?;
    fs::create_dir_all(&place.parent).map_err(refused("create", &place.parent))?;
    let temporary = filled(&place, write)?;
    // Refused by the system when somebody has put something there.
    match fs::remove_dir(&place.target) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            return Err(refused("replace", &place.target)(error));
        }
        _ => {}
    }
    fs::rename(temporary.0, &place.target).map_err(refused("create", &place.target))
}

/// Lets `write` fill a new folder, then moves its files into `target`, which may hold other things;
/// files of the same names are replaced. Each file appears whole or not at all, and no other run's
/// files come between them. A folder that [`publish`] wrote is refused: its files belong together.
///
/// # Errors
/// [`PublishError`]; until the first file is moved `target` holds what it held before.
pub fn publish_into<E: std::error::Error + 'static>(
    target: &Path,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<(), PublishError<E>> {
    let place = Siblings::of(target).map_err(refused("use as a folder", target))?;
    fs::create_dir_all(&place.target).map_err(refused("create", &place.target))?;
    let _lock = locked(&place)?;
    place.recover().map_err(refused("recover", &place.target))?;
    if let Standing::Written(writer) =
        standing(&place.target).map_err(refused("read", &place.target))?
    {
        return Err(PublishError::OfAnother { folder: place.target.clone(), writer });
    }
    let temporary = filled(&place, write)?;
    for entry in fs::read_dir(temporary.0).map_err(refused("read", temporary.0))? {
        let entry = entry.map_err(refused("read", temporary.0))?;
        let path = place.target.join(entry.file_name());
        fs::rename(entry.path(), &path).map_err(refused("replace", &path))?;
    }
    Ok(())
}

#[cfg(test)]
#[path = "publish_tests.rs"]
mod tests;
