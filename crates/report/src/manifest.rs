//! `manifest.json`: what a folder of results was computed from, and every file of it with its hash.

use crate::error::ReportError;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

const MANIFEST: &str = "manifest.json";
/// Where the fingerprint of the inputs goes into a page.
const HEAD: &str = "<meta charset=\"utf-8\">";

/// What results were computed from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// Version of the program.
    pub version: String,
    /// Seed of every random draw, where there are any.
    pub seed: Option<u64>,
    /// One fingerprint of all input files.
    pub inputs_fingerprint: String,
    /// Every input file with its own fingerprint (64-bit FNV-1a), `book.toml` first.
    pub inputs: Vec<InputFile>,
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InputFile {
    /// Name relative to the book, with `#sheet` for a spreadsheet.
    pub file: String,
    /// Fingerprint of its bytes.
    pub fingerprint: String,
}

#[derive(Serialize)]
struct OutputFile {
    file: String,
    bytes: u64,
    sha256: String,
}

#[derive(Serialize)]
struct Manifest<'a> {
    #[serde(flatten)]
    origin: &'a Origin,
    outputs: Vec<OutputFile>,
}

/// Writes the fingerprint of the inputs into the head of every page of a finished folder, then
/// `manifest.json` with the size and SHA-256 of every file beside it, sorted by name.
///
/// # Errors
/// When a file cannot be read or written.
pub fn seal(dir: &Path, origin: &Origin) -> Result<(), ReportError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| ReportError::Write { path, source }
    };
    let mut files = Vec::new();
    list(dir, &mut files).map_err(failed(dir))?;
    files.sort();
    let mut outputs = Vec::with_capacity(files.len());
    for path in files {
        let mut bytes = fs::read(&path).map_err(failed(&path))?;
        if path.extension().is_some_and(|extension| extension == "html") {
            bytes = stamped(bytes, &origin.inputs_fingerprint);
            fs::write(&path, &bytes).map_err(failed(&path))?;
        }
        let name = path.strip_prefix(dir).unwrap_or(&path);
        let parts: Vec<_> = name.iter().map(|part| part.to_string_lossy()).collect();
        let hash = Sha256::digest(&bytes);
        outputs.push(OutputFile {
            file: parts.join("/"),
            bytes: bytes.len() as u64,
            sha256: hash.iter().map(|byte| format!("{byte:02x}")).collect(),
        });
    }
    let text = serde_json::to_string_pretty(&Manifest { origin, outputs })? + "\n";
    let path = dir.join(MANIFEST);
    fs::write(&path, text).map_err(failed(&path))
}

/// A page with the fingerprint behind its first head line.
fn stamped(page: Vec<u8>, fingerprint: &str) -> Vec<u8> {
    match String::from_utf8(page) {
        Ok(text) => {
            let meta = format!("{HEAD}\n<meta name=\"anacurve-inputs\" content=\"{fingerprint}\">");
            text.replacen(HEAD, &meta, 1).into_bytes()
        }
        Err(error) => error.into_bytes(),
    }
}

fn list(dir: &Path, found: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(dir)? {
        let path = entry?.path();
        if path.is_dir() {
            list(&path, found)?;
        } else {
            found.push(path);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_listed_with_its_hash_and_pages_name_their_inputs() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("plots")).unwrap();
        // FIPS 180-4's own example: the SHA-256 of "abc".
        fs::write(dir.path().join("plots/a.svg"), "abc").unwrap();
        fs::write(dir.path().join("index.html"), "<head>\n<meta charset=\"utf-8\">\n</head>")
            .unwrap();
        let origin = Origin {
            version: "1".to_owned(),
            seed: Some(7),
            inputs_fingerprint: "00ff".to_owned(),
            inputs: vec![InputFile { file: "book.toml".to_owned(), fingerprint: "11".to_owned() }],
        };
        seal(dir.path(), &origin).unwrap();
        let text = fs::read_to_string(dir.path().join(MANIFEST)).unwrap();
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(json["inputs_fingerprint"], "00ff");
        assert_eq!(json["inputs"][0]["file"], "book.toml");
        assert_eq!(json["outputs"][0]["file"], "index.html");
        assert_eq!(json["outputs"][1]["file"], "plots/a.svg");
        assert_eq!(
            json["outputs"][1]["sha256"],
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        let page = fs::read_to_string(dir.path().join("index.html")).unwrap();
        assert!(page.contains("<meta name=\"anacurve-inputs\" content=\"00ff\">"), "{page}");
        assert_eq!(json["outputs"][0]["bytes"], page.len());
    }
}
