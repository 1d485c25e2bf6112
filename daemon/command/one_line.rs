//! What is written to the log and listed from the record: one line for each thing that happened, whatever file names,
//! topics and servers put into it. Line ends, escape codes and letters that turn the writing direction are shown, not
//! obeyed, so that nobody outside can make the log say what Lowtide did not.

use std::io::{self, Write};

use crate::tell::is_obeyed;

/// A place for lines that come whole, one with each write.
pub(super) struct OneLine<W>(pub(super) W);

impl<W: Write> Write for OneLine<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let text = String::from_utf8_lossy(bytes);
        let mut line = shown(text.strip_suffix('\n').unwrap_or(&text));
        line.push('\n');
        self.0.write_all(line.as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// The text on one line, without anything that a terminal or a pager obeys.
pub(super) fn shown(text: &str) -> String {
    let mut line = String::with_capacity(text.len() + 1);
    for letter in text.chars() {
        if is_obeyed(letter) {
            line.extend(letter.escape_default());
        } else {
            line.push(letter);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_from_outside_cannot_begin_a_line_of_its_own_or_move_the_cursor() {
        let mut out = Vec::new();
        let mut log = OneLine(&mut out);
        log.write_all(
            "WARN file=a\r\nERROR all is well\u{1b}[2J\u{202e}vsc.\u{9b}1m\0 \u{2028}é\n".as_bytes(),
        )
        .unwrap();
        log.write_all(b"next \xff\n").unwrap();
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "WARN file=a\\r\\nERROR all is well\\u{1b}[2J\\u{202e}vsc.\\u{9b}1m\\u{0} \\u{2028}é\nnext \u{fffd}\n"
        );
    }
}
