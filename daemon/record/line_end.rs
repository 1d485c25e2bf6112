//! Takes one line from an input that may have no line ends at all. Comes in: any reader. Goes out: the line, or, of a
//! line that is longer than any entry, its beginning and its length; the rest is passed over and never held in memory.

use std::io::{self, BufRead, Read};

/// How a line ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Taken {
    /// Its bytes, the line end included; 0 at the end of the input.
    pub(super) bytes: u64,
    /// Whether a line end was there.
    pub(super) ended: bool,
    /// Whether only its beginning was kept.
    pub(super) too_long: bool,
}

/// Takes a line, without its end, into `text`. Of one with more than `most` bytes only the beginning is kept.
///
/// # Errors
/// What the input says.
pub(super) fn take_line(input: &mut impl BufRead, text: &mut Vec<u8>, most: u64) -> io::Result<Taken> {
    text.clear();
    let mut bytes = input.by_ref().take(most.saturating_add(1)).read_until(b'\n', text)? as u64;
    let mut ended = text.last() == Some(&b'\n');
    if ended {
        text.pop();
    }
    let too_long = text.len() as u64 > most;
    if too_long {
        text.truncate(BEGINNING_BYTES);
        text.shrink_to_fit();
        let mut piece = Vec::new();
        while !ended {
            piece.clear();
            let more = input.by_ref().take(PIECE_BYTES).read_until(b'\n', &mut piece)?;
            if more == 0 {
                break;
            }
            bytes += more as u64;
            ended = piece.last() == Some(&b'\n');
        }
    }
    Ok(Taken { bytes, ended, too_long })
}

/// Enough to see which entry a line was.
const BEGINNING_BYTES: usize = 64;
const PIECE_BYTES: u64 = 64 * 1024;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_comes_whole_and_of_one_that_is_too_long_only_the_beginning() {
        let long = "x".repeat(200_000);
        let text = format!("one\n\n{long}\nafter\n{long}");
        let mut input = io::BufReader::with_capacity(100, text.as_bytes());
        let mut line = Vec::new();
        let mut next = || {
            let taken = take_line(&mut input, &mut line, 1000).unwrap();
            (String::from_utf8(line.clone()).unwrap(), taken)
        };
        let whole = |bytes| Taken { bytes, ended: true, too_long: false };
        assert_eq!(next(), ("one".to_owned(), whole(4)));
        assert_eq!(next(), (String::new(), whole(1)));
        let beginning = "x".repeat(BEGINNING_BYTES);
        assert_eq!(next(), (beginning.clone(), Taken { bytes: 200_001, ended: true, too_long: true }));
        assert_eq!(next(), ("after".to_owned(), whole(6)));
        assert_eq!(next(), (beginning, Taken { bytes: 200_000, ended: false, too_long: true }));
        assert_eq!(next().1.bytes, 0);
    }

    #[test]
    fn the_longest_line_is_still_whole() {
        let mut line = Vec::new();
        for (text, bytes, too_long) in [("abc\nd", 4, false), ("abcd\n", 5, true), ("abc", 3, false)] {
            let taken = take_line(&mut text.as_bytes(), &mut line, 3).unwrap();
            assert_eq!((taken.bytes, taken.too_long), (bytes, too_long), "{text}");
        }
    }
}
