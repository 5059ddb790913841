//! `manifest.json`: what a folder of results was computed from, and every file of it with its hash.

use crate::error::ReportError;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

const MANIFEST: &str = "manifest.json";
/// Name under which outputs carry the fingerprint of the inputs.
pub(crate) const INPUTS: &str = "anacurve-inputs";
/// Column and field of the same.
const FIELD: &str = "inputs_fingerprint";
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

/// Writes the fingerprint of the inputs into every page, drawing, JSON file and CSV row of a finished
/// folder (the other kinds carry it already), then
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
        let kind = path.extension().and_then(|extension| extension.to_str()).unwrap_or_default();
        if let "html" | "json" | "svg" | "csv" = kind {
            bytes = stamped(kind, bytes, &origin.inputs_fingerprint);
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

/// A page with the fingerprint behind its first head line, a drawing with it as metadata, a JSON
/// object, or each object of a list, with it as first field, a table with it as last column; objects
/// and tables that hold it stay as they are.
fn stamped(kind: &str, bytes: Vec<u8>, fingerprint: &str) -> Vec<u8> {
    let text = match String::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return error.into_bytes(),
    };
    let behind = |head: &str, stamp: &str| text.replacen(head, &format!("{head}{stamp}"), 1);
    let stamped = match kind {
        "html" => behind(HEAD, &format!("\n<meta name=\"{INPUTS}\" content=\"{fingerprint}\">")),
        "svg" => {
            let stamp = format!("<metadata>{INPUTS} {fingerprint}</metadata>");
            match text.find('>').filter(|_| text.starts_with("<svg")) {
                Some(end) => format!("{}{stamp}{}", &text[..=end], &text[end + 1..]),
                None => text,
            }
        }
        "csv" if !text.contains(FIELD) => with_column(&text, fingerprint),
        "json" if text.starts_with("{\n") && !text.contains(fingerprint) => {
            behind("{", &format!("\n  \"{FIELD}\": \"{fingerprint}\","))
        }
        // An element of an indented list begins so, and no text holds a line end.
        "json" if text.starts_with("[\n") => {
            text.replace("\n  {\n", &format!("\n  {{\n    \"{FIELD}\": \"{fingerprint}\",\n"))
        }
        _ => text,
    };
    stamped.into_bytes()
}

/// A table with one more column that holds the fingerprint in every row.
fn with_column(text: &str, fingerprint: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 4);
    let (mut quoted, mut cell) = (false, FIELD);
    for letter in text.chars() {
        match letter {
            '"' => quoted = !quoted,
            '\n' if !quoted => {
                out.push(',');
                out.push_str(cell);
                cell = fingerprint;
            }
            _ => {}
        }
        out.push(letter);
    }
    out
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
        for (name, text) in [
            ("b.svg", "<svg width=\"1\">\n<title>t</title></svg>"),
            ("c.json", "{\n  \"a\": 1\n}\n"),
            ("d.json", "{\n  \"inputs\": \"00ff\"\n}\n"),
            ("e.json", "[\n  {\n    \"a\": \"{\"\n  }\n]\n"),
            ("f.csv", "name,kg\n\"two\nlines, \"\"so\"\"\",1\nb,2\n"),
            ("g.csv", "inputs_fingerprint\n00ff\n"),
        ] {
            fs::write(dir.path().join(name), text).unwrap();
        }
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
        let files: Vec<&str> = json["outputs"]
            .as_array()
            .unwrap()
            .iter()
            .map(|output| output["file"].as_str().unwrap())
            .collect();
        let expected = ["b.svg", "c.json", "d.json", "e.json", "f.csv", "g.csv", "index.html"];
        assert_eq!(files[..7], expected);
        assert_eq!(files[7..], ["plots/a.svg"]);
        assert_eq!(
            json["outputs"][7]["sha256"],
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        let page = fs::read_to_string(dir.path().join("index.html")).unwrap();
        assert!(page.contains("<meta name=\"anacurve-inputs\" content=\"00ff\">"), "{page}");
        assert_eq!(json["outputs"][6]["bytes"], page.len());
        let read = |name: &str| fs::read_to_string(dir.path().join(name)).unwrap();
        assert_eq!(
            read("b.svg"),
            "<svg width=\"1\"><metadata>anacurve-inputs 00ff</metadata>\n<title>t</title></svg>"
        );
        assert_eq!(read("c.json"), "{\n  \"inputs_fingerprint\": \"00ff\",\n  \"a\": 1\n}\n");
        assert_eq!(read("d.json"), "{\n  \"inputs\": \"00ff\"\n}\n");
        assert_eq!(
            read("e.json"),
            "[\n  {\n    \"inputs_fingerprint\": \"00ff\",\n    \"a\": \"{\"\n  }\n]\n"
        );
        assert_eq!(
            read("f.csv"),
            "name,kg,inputs_fingerprint\n\"two\nlines, \"\"so\"\"\",1,00ff\nb,2,00ff\n"
        );
        assert_eq!(read("g.csv"), "inputs_fingerprint\n00ff\n");
    }
}
