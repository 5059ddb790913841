//! Bytes of a text file to text.

use crate::rows::Fault;
use encoding_rs::{Encoding, UTF_8, WINDOWS_1252};
use records::Code;
use words::{say, text};

/// Text with what is known about its encoding.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Decoded {
    pub(crate) text: String,
    /// Some bytes mean nothing in the encoding and were replaced by U+FFFD.
    pub(crate) has_invalid: bool,
    /// Neither declared nor marked nor UTF-8: read as Windows-1252, which contains Latin-1.
    pub(crate) fell_back: bool,
}

/// Decodes a file: by its byte order mark, else as declared, else as UTF-8, else as Windows-1252.
///
/// A file with more well-formed multi-byte characters than stray bytes stays UTF-8, and the rows
/// with stray bytes are quarantined: reading it as Windows-1252 would garble every other name.
pub(crate) fn decode(bytes: Vec<u8>, declared: Option<&str>) -> Result<Decoded, Fault> {
    if bytes.starts_with(b"PK\x03\x04") {
        return Err(Fault::new(
            Code::FileUnreadable,
            text!("the file is a spreadsheet or archive, not text"),
            text!("give it its right extension (.xlsx or .ods), or export the sheet as CSV"),
        ));
    }
    let declared = match declared {
        None => None,
        Some(label) => Some(Encoding::for_label(label.as_bytes()).ok_or_else(|| {
            Fault::new(
                Code::SettingImpossible,
                say!("the encoding '{label}' in book.toml is not known"),
                text!("use a label such as utf-8, utf-16le, utf-16be, latin1 or windows-1252"),
            )
        })?),
    };
    if let Some((encoding, mark)) = Encoding::for_bom(&bytes) {
        return Ok(decode_as(encoding, bytes, mark));
    }
    if let Some(encoding) = declared {
        return Ok(decode_as(encoding, bytes, 0));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Decoded { text, has_invalid: false, fell_back: false }),
        Err(error) => {
            let bytes = error.into_bytes();
            if is_mostly_utf8(&bytes) {
                return Ok(decode_as(UTF_8, bytes, 0));
            }
            let (text, has_invalid) = WINDOWS_1252.decode_without_bom_handling(&bytes);
            Ok(Decoded { text: text.into_owned(), has_invalid, fell_back: true })
        }
    }
}

fn decode_as(encoding: &'static Encoding, bytes: Vec<u8>, mark: usize) -> Decoded {
    let body = bytes.get(mark..).unwrap_or_default();
    let (text, has_invalid) = encoding.decode_without_bom_handling(body);
    Decoded { text: text.into_owned(), has_invalid, fell_back: false }
}

fn is_mostly_utf8(bytes: &[u8]) -> bool {
    let (mut well_formed, mut stray) = (0_u64, 0_u64);
    for chunk in bytes.utf8_chunks() {
        well_formed += chunk.valid().chars().filter(|c| !c.is_ascii()).count() as u64;
        stray += u64::from(!chunk.invalid().is_empty());
    }
    well_formed > stray
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(bytes: &[u8], declared: Option<&str>) -> Decoded {
        decode(bytes.to_vec(), declared).unwrap()
    }

    #[test]
    fn marks_and_declarations_are_obeyed() {
        let plain = Decoded { text: "é,1".to_owned(), has_invalid: false, fell_back: false };
        assert_eq!(text("é,1".as_bytes(), None), plain);
        assert_eq!(text(b"\xef\xbb\xbf\xc3\xa9,1", None), plain);
        assert_eq!(text(b"\xff\xfe\xe9\0,\x001\0", None), plain);
        assert_eq!(text(b"\xfe\xff\0\xe9\0,\x001", None), plain);
        assert_eq!(text(b"\xe9\0,\x001\0", Some("utf-16le")), plain);
        assert_eq!(text(b"\xe9,1", Some("latin1")), plain);
        assert!(decode(b"x".to_vec(), Some("klingon")).is_err());
    }

    #[test]
    fn latin1_is_found_and_a_stray_byte_does_not_garble_utf8() {
        let found = text(b"\xe9,1", None);
        assert_eq!(found.text, "é,1");
        assert!(found.fell_back && !found.has_invalid);
        let stray = text("é,ö\n\u{fc}x".as_bytes().strip_suffix(b"\xbcx").unwrap(), None);
        assert!(stray.has_invalid && !stray.fell_back);
        assert!(stray.text.starts_with("é,ö\n"));
    }
}
