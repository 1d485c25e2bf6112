//! One entry of the journal, and the one line of text that it is on disk.
//!
//! A line is `SEQ CRC AT JSON`, separated by single blanks: the sequence number; the CRC-32 (ISO-HDLC, as in
//! zip files) of `SEQ AT JSON` as eight hexadecimal digits; the time in RFC 3339; and the event with what was
//! said about it. It can be read with a pager and checked with any CRC-32 program.

use serde::de::IgnoredAny;
use serde::{Deserialize, Serialize};

use crate::words::{Event, Moment, Said};

/// Version of the journal's format, in the first line of each file.
pub(super) const FORMAT: u32 = 1;
/// No line is as long as this: an event holds at most a thousand readings, and texts from outside are cut.
pub(super) const LINE_BYTES_MAX: u64 = 16 * 1024 * 1024;

/// One thing that happened, and what the house said to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its place in the journal: 1, 2, 3 and so on without holes.
    pub seq: u64,
    /// The house's time when it was taken in.
    pub at: Moment,
    /// What happened.
    pub event: Event,
    /// What was found and said in that turn, as fact.
    #[serde(default, skip_serializing_if = "Said::is_empty")]
    pub said: Said,
}

/// The JSON part of a line.
#[derive(Serialize)]
struct Body<'a> {
    event: &'a Event,
    #[serde(skip_serializing_if = "Said::is_empty")]
    said: &'a Said,
}

#[derive(Deserialize)]
struct OwnedBody<S> {
    event: Event,
    #[serde(default)]
    said: S,
}

/// A line whose checksum fits, with the JSON not yet looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Line<'a> {
    pub(super) seq: u64,
    pub(super) crc: u32,
    pub(super) at: Moment,
    pub(super) body: &'a str,
}

/// Why a line cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadLine {
    /// It does not have the four parts of an entry.
    #[error("it is not a journal line")]
    Shape,
    /// Some of it changed after it was written.
    #[error("its checksum does not fit, so something in it changed after it was written")]
    Checksum,
    /// It has so many bytes: more than any entry.
    #[error("it has {0} bytes, and no entry is that long")]
    TooLong(u64),
    /// It is as it was written, but this program does not know what it means.
    #[error("this version of the program does not understand it ({0})")]
    Meaning(String),
    /// As above, but only what was said; what happened is understood and used.
    #[error("this version of the program does not understand what was said in it ({0})")]
    SaidMeaning(String),
}

/// The JSON part of an entry.
pub(super) fn body(event: &Event, said: &Said) -> String {
    serde_json::to_string(&Body { event, said }).expect("events have text keys and no fallible parts")
}

/// The first line of the file of a month, without its end.
pub(super) fn header(month: &str) -> String {
    let text = format!("lowtide-journal {FORMAT} {month}");
    format!("{text} {:08x}", crc32fast::hash(text.as_bytes()))
}

/// The format version in a first line; `None` if the line is damaged.
pub(super) fn header_version(line: &[u8]) -> Option<u32> {
    let (text, crc) = std::str::from_utf8(line).ok()?.rsplit_once(' ')?;
    let version = text.strip_prefix("lowtide-journal ")?.split(' ').next()?.parse().ok()?;
    (crc.len() == 8 && u32::from_str_radix(crc, 16).ok()? == crc32fast::hash(text.as_bytes()))
        .then_some(version)
}

impl<'a> Line<'a> {
    /// The line for these parts.
    pub(super) fn new(seq: u64, at: Moment, body: &'a str) -> Self {
        let mut crc = crc32fast::Hasher::new();
        crc.update(format!("{seq} {at} ").as_bytes());
        crc.update(body.as_bytes());
        Self { seq, crc: crc.finalize(), at, body }
    }

    /// The text of the line, with its end.
    pub(super) fn text(&self) -> String {
        format!("{} {:08x} {} {}\n", self.seq, self.crc, self.at, self.body)
    }

    /// Takes a line apart (without its end) and checks it.
    pub(super) fn parse(bytes: &'a [u8]) -> Result<Self, BadLine> {
        let text = std::str::from_utf8(bytes).map_err(|_| BadLine::Shape)?;
        let mut parts = text.splitn(4, ' ');
        let mut part = || parts.next().ok_or(BadLine::Shape);
        let (seq, crc, at, body) = (part()?, part()?, part()?, part()?);
        let found = Some(crc).filter(|crc| crc.len() == 8).and_then(|crc| u32::from_str_radix(crc, 16).ok());
        let mut due = crc32fast::Hasher::new();
        for piece in [seq, " ", at, " ", body] {
            due.update(piece.as_bytes());
        }
        if found.ok_or(BadLine::Shape)? != due.finalize() {
            return Err(BadLine::Checksum);
        }
        let seq = seq.parse().map_err(|_| BadLine::Shape)?;
        let at = Moment::parse(at).ok_or(BadLine::Shape)?;
        Ok(Self { seq, crc: found.unwrap_or_default(), at, body })
    }

    /// The entry that the line holds. If only what was said is not understood, the entry comes without it, and
    /// with the reason: what happened must not be lost over it.
    pub(super) fn entry(&self) -> Result<(Entry, Option<BadLine>), BadLine> {
        let whole = serde_json::from_str::<OwnedBody<Said>>(self.body);
        let (event, said, missed) = match whole {
            Ok(OwnedBody { event, said }) => (event, said, None),
            Err(error) => {
                let part = serde_json::from_str::<OwnedBody<IgnoredAny>>(self.body);
                let event = part.map_err(|_| BadLine::Meaning(error.to_string()))?.event;
                (event, Said::default(), Some(BadLine::SaidMeaning(error.to_string())))
            }
        };
        Ok((Entry { seq: self.seq, at: self.at, event, said }, missed))
    }
}

/// The sequence number that a damaged line seems to have, to name it by.
pub(super) fn likely_seq(bytes: &[u8]) -> Option<u64> {
    let digits = bytes.iter().take(20).take_while(|b| b.is_ascii_digit()).count();
    std::str::from_utf8(&bytes[..digits]).ok()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::{Batch, CatName, Reading, ReadingKind, Value, Via};

    fn entry() -> Entry {
        let at = Moment::parse("2026-11-25T08:30:00.250Z").unwrap();
        let batch = Batch {
            cat: CatName::new("pepper").unwrap(),
            via: Via::Folder,
            source: "näme with blanks.csv".into(),
            sensor: None,
            scanned_at: None,
            readings: vec![Reading {
                measured_at: at,
                value: Value::Level(95.48268),
                kind: ReadingKind::History,
            }],
            repeated: 0,
            conflicts: vec![],
            newest: Some(at),
        };
        Entry { seq: 7, at, event: Event::Readings(batch), said: Said::default() }
    }

    #[test]
    fn an_entry_comes_back_from_its_line_and_any_changed_byte_is_noticed() {
        let entry = entry();
        let body = body(&entry.event, &entry.said);
        let text = Line::new(entry.seq, entry.at, &body).text();
        let bytes = text.trim_end().as_bytes();
        assert_eq!(Line::parse(bytes).unwrap().entry().unwrap(), (entry.clone(), None));
        for place in 0..bytes.len() {
            for bit in [1_u8, 0x20, 0x80] {
                let mut changed = bytes.to_vec();
                changed[place] ^= bit;
                // Upper-case hexadecimal digits say the same number.
                let same = Line::parse(&changed).is_ok_and(|line| line.entry() == Ok((entry.clone(), None)));
                assert!(Line::parse(&changed).is_err() || same, "byte {place} bit {bit}");
            }
        }
    }

    #[test]
    fn the_checksum_is_the_common_crc_32() {
        // The check value of CRC-32/ISO-HDLC over "123456789" is cbf43926 (Koopman and others; catalogue of
        // parametrised CRC algorithms, from memory).
        assert_eq!(crc32fast::hash(b"123456789"), 0xcbf4_3926);
        assert_eq!(header_version(header("2026-11").as_bytes()), Some(FORMAT));
        assert_eq!(header_version(b"lowtide-journal 3 2026-11 00000000"), None);
    }
}
