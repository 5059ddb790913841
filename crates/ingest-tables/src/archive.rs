//! Looks at the sizes inside a workbook before anything of it is unpacked into memory.

mod references;
mod repeats;

use crate::rows::Fault;
use records::limits::{self, Limit};
use records::{Code, counted};
use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;
use words::{say, text};
use zip::ZipArchive;

/// The part of an ODS workbook that holds the sheets.
const ODS_CONTENT: &str = "content.xml";

/// A file that is larger, packed or unpacked, than what is read.
pub(crate) fn too_large(what: impl Into<String>) -> Fault {
    Fault::new(
        Code::FileTooLarge,
        what,
        text!("a record table is never so large: export the sheet again as CSV, or split the file"),
    )
}

fn unreadable(error: impl std::fmt::Display) -> Fault {
    Fault::new(
        Code::FileUnreadable,
        say!("the spreadsheet cannot be read: {error}"),
        text!("open it, save it again as .xlsx or .ods, or export the sheet as CSV"),
    )
}

/// Checks a workbook on disk: its size, the number of its parts, their size as the archive declares
/// it, their size as it is (an archive can lie), what the repeated cells of ODS come to, and whether
/// the cells of XLSX lie on a sheet.
///
/// # Errors
/// When a limit is exceeded or the archive cannot be read.
pub(crate) fn check(path: &Path) -> Result<(), Fault> {
    let file = File::open(path).map_err(unreadable)?;
    let packed = file.metadata().map_err(unreadable)?.len();
    if !limits::WORKBOOK.holds(packed) {
        let most = limits::WORKBOOK.words();
        return Err(too_large(say!("the workbook has {packed} bytes; at most {most} are read")));
    }
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(unreadable)?;
    check_declared(&mut archive, limits::UNPACKED)?;
    check_real(&mut archive, limits::UNPACKED)?;
    if archive.index_for_name(ODS_CONTENT).is_some() {
        let content = archive.by_name(ODS_CONTENT).map_err(unreadable)?;
        repeats::check(BufReader::new(content))?;
        return Ok(());
    }
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(unreadable)?;
        if part.name().map_err(unreadable)?.ends_with(".xml") {
            references::check(BufReader::new(part))?;
        }
    }
    Ok(())
}

/// What the archive says of itself; nothing is unpacked.
fn check_declared<R: Read + Seek>(archive: &mut ZipArchive<R>, most: Limit) -> Result<(), Fault> {
    if !limits::WORKBOOK_PARTS.holds(archive.len() as u64) {
        return Err(too_large(say!(
            "the workbook holds {}; at most {} are read",
            counted(archive.len() as u64, text!("part"), text!("parts")),
            limits::WORKBOOK_PARTS.most
        )));
    }
    let mut declared = 0_u64;
    for index in 0..archive.len() {
        declared = declared.saturating_add(archive.by_index_raw(index).map_err(unreadable)?.size());
    }
    unpacked(declared, most, text!("would have"))
}

/// What the archive comes to, unpacked through a small room and thrown away.
fn check_real<R: Read + Seek>(archive: &mut ZipArchive<R>, most: Limit) -> Result<(), Fault> {
    let (mut real, mut room) = (0_u64, vec![0_u8; 1 << 16]);
    for index in 0..archive.len() {
        let mut part = archive.by_index(index).map_err(unreadable)?;
        loop {
            match part.read(&mut room) {
                Ok(0) => break,
                Ok(bytes) => real = real.saturating_add(bytes as u64),
                Err(error) => return Err(unreadable(error)),
            }
            unpacked(real, most, text!("has more than"))?;
        }
    }
    Ok(())
}

fn unpacked(bytes: u64, most: Limit, verb: &str) -> Result<(), Fault> {
    if most.holds(bytes) {
        return Ok(());
    }
    Err(too_large(say!(
        "the workbook {verb} {bytes} bytes unpacked; at most {} are read",
        most.words()
    )))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Cursor, Write};
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    const SMALL: Limit = Limit { what: "a test", most: 100_000, unit: "bytes" };

    /// An archive of two parts of zeros.
    fn zeros(bytes: usize) -> Vec<u8> {
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        for name in ["one.xml", "two.xml"] {
            writer.start_file(name, SimpleFileOptions::default()).unwrap();
            writer.write_all(&vec![0; bytes]).unwrap();
        }
        writer.finish().unwrap().into_inner()
    }

    fn open(bytes: Vec<u8>) -> ZipArchive<Cursor<Vec<u8>>> {
        ZipArchive::new(Cursor::new(bytes)).unwrap()
    }

    #[test]
    fn a_bomb_is_refused_before_it_is_unpacked() {
        let packed = zeros(60_000);
        assert!(packed.len() < 1000, "{}", packed.len());
        let refused = check_declared(&mut open(packed), SMALL).unwrap_err();
        assert_eq!(refused.code, Code::FileTooLarge);
        assert_eq!(
            refused.what,
            "the workbook would have 120000 bytes unpacked; at most 100000 bytes are read"
        );
        let mut fits = open(zeros(50_000));
        assert!(check_declared(&mut fits, SMALL).is_ok() && check_real(&mut fits, SMALL).is_ok());
    }

    #[test]
    fn a_bomb_that_lies_about_its_size_is_refused_while_it_unpacks() {
        let mut packed = zeros(60_000);
        // Bytes 22 to 25 of a local header and 24 to 27 of a central one hold the unpacked size.
        for (mark, at) in [(b"PK\x03\x04", 22), (b"PK\x01\x02", 24)] {
            let starts: Vec<usize> =
                (0..packed.len() - 4).filter(|&i| &packed[i..i + 4] == mark).collect();
            assert_eq!(starts.len(), 2);
            for start in starts {
                packed[start + at..start + at + 4].copy_from_slice(&10_u32.to_le_bytes());
            }
        }
        let mut archive = open(packed);
        assert!(check_declared(&mut archive, SMALL).is_ok());
        let refused = check_real(&mut archive, SMALL).unwrap_err();
        // A reader may stop at the lie by itself; it must not hand on the rest.
        assert!(matches!(refused.code, Code::FileTooLarge | Code::FileUnreadable), "{refused:?}");
    }
}
