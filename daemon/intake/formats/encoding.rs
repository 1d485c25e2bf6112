//! Bytes become text. A byte order mark decides; without one, the layout does; without that, it is UTF-8.

use std::borrow::Cow;

use super::FileError;

/// How letters are written as bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoding {
    Utf8,
    Utf16Le,
    Utf16Be,
    /// Latin-1 as the WHATWG Encoding Standard reads that label: windows-1252, which has it all and the euro sign.
    Latin1,
}

impl Encoding {
    /// Reads the word used in the configuration.
    pub(super) fn parse(word: &str) -> Option<Self> {
        match word.trim().to_ascii_lowercase().as_str() {
            "utf-8" | "utf8" => Some(Self::Utf8),
            "utf-16le" | "utf-16" | "utf16le" | "utf16" => Some(Self::Utf16Le),
            "utf-16be" | "utf16be" => Some(Self::Utf16Be),
            "latin-1" | "latin1" | "iso-8859-1" | "windows-1252" => Some(Self::Latin1),
            _ => None,
        }
    }
}

/// The bytes as UTF-8, without a byte order mark. What is UTF-8 already stays as it is, even where it is
/// broken: a wrong letter in a note must not cost the reading beside it.
///
/// # Errors
/// If there is nothing, or it is not text.
pub(super) fn text(bytes: &[u8], encoding: Encoding) -> Result<Cow<'_, [u8]>, FileError> {
    let (encoding, rest) = match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => (Encoding::Utf8, rest),
        [0xFF, 0xFE, rest @ ..] => (Encoding::Utf16Le, rest),
        [0xFE, 0xFF, rest @ ..] => (Encoding::Utf16Be, rest),
        _ => (encoding, bytes),
    };
    let out = match encoding {
        Encoding::Utf8 => Cow::Borrowed(rest),
        Encoding::Utf16Le => decoded(encoding_rs::UTF_16LE, rest),
        Encoding::Utf16Be => decoded(encoding_rs::UTF_16BE, rest),
        Encoding::Latin1 => decoded(encoding_rs::WINDOWS_1252, rest),
    };
    if out.iter().all(u8::is_ascii_whitespace) {
        return Err(FileError::Empty);
    }
    not_binary(&out, encoding)?;
    Ok(out)
}

fn decoded<'a>(encoding: &'static encoding_rs::Encoding, bytes: &[u8]) -> Cow<'a, [u8]> {
    Cow::Owned(encoding.decode_without_bom_handling(bytes).0.into_owned().into_bytes())
}

/// Text holds no NUL; nearly everything else that is not text holds one early on.
fn not_binary(text: &[u8], encoding: Encoding) -> Result<(), FileError> {
    let start = &text[..text.len().min(LOOK_BYTES)];
    let Some(at) = start.iter().position(|byte| *byte == 0) else { return Ok(()) };
    let zeros = start.iter().filter(|byte| **byte == 0).count();
    let hint = if encoding == Encoding::Utf8 && zeros * 3 > start.len() {
        "; if it is UTF-16, say encoding = \"utf-16le\" in an [[intake.layout]]"
    } else {
        ""
    };
    Err(FileError::Binary(format!("byte {} is zero{hint}", at + 1)))
}

const LOOK_BYTES: usize = 8192;

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, order: fn(u16) -> [u8; 2], mark: bool) -> Vec<u8> {
        let mark = if mark { vec![0xFEFF] } else { vec![] };
        mark.into_iter().chain(text.encode_utf16()).flat_map(order).collect()
    }

    #[test]
    fn a_byte_order_mark_decides() {
        for bytes in [
            b"\xEF\xBB\xBFTag,\xC3\x84".to_vec(),
            utf16("Tag,\u{c4}", u16::to_le_bytes, true),
            utf16("Tag,\u{c4}", u16::to_be_bytes, true),
        ] {
            assert_eq!(&*text(&bytes, Encoding::Latin1).unwrap(), "Tag,\u{c4}".as_bytes());
        }
    }

    #[test]
    fn without_a_mark_the_layout_decides() {
        let le = utf16("a,b", u16::to_le_bytes, false);
        assert_eq!(&*text(&le, Encoding::Utf16Le).unwrap(), b"a,b");
        assert_eq!(&*text(b"Z\xFCrich", Encoding::Latin1).unwrap(), "Z\u{fc}rich".as_bytes());
        let error = text(&le, Encoding::Utf8).unwrap_err().to_string();
        assert!(error.contains("utf-16le"), "{error}");
    }

    #[test]
    fn what_is_not_text_is_refused() {
        assert_eq!(text(b"", Encoding::Utf8), Err(FileError::Empty));
        assert_eq!(text(b" \r\n\t\n", Encoding::Utf8), Err(FileError::Empty));
        assert_eq!(text(b"\xEF\xBB\xBF", Encoding::Utf8), Err(FileError::Empty));
        assert!(matches!(text(b"\x7FELF\x02\x01\x01\0\0", Encoding::Utf8), Err(FileError::Binary(_))));
    }
}
