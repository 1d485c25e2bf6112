//! The stream's bytes become lines, and lines become posts. Nothing that comes from outside can make it grow: a line
//! longer than [`LINE_BYTES_MAX`] is passed over to its end.

use serde::Deserialize;

/// One line of the topic.
#[derive(Debug, Deserialize)]
pub(super) struct Post {
    pub(super) id: String,
    pub(super) event: String,
    /// When the server took it, seconds since the epoch.
    #[serde(default)]
    pub(super) time: i64,
    #[serde(default)]
    pub(super) message: String,
}

impl Post {
    /// `None` for what is no line of an ntfy server.
    pub(super) fn read(line: &[u8]) -> Option<Self> {
        serde_json::from_slice(line).ok().filter(|post: &Self| post.id.len() <= ID_BYTES_MAX)
    }
}

/// What has come of a line that is not whole yet.
#[derive(Debug, Default)]
pub(super) struct Lines {
    held: Vec<u8>,
    too_long: bool,
}

impl Lines {
    /// The lines that are whole with these bytes.
    pub(super) fn take(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let mut whole = Vec::new();
        for byte in bytes {
            match byte {
                b'\n' => {
                    let line = std::mem::take(&mut self.held);
                    if !std::mem::take(&mut self.too_long) && !line.is_empty() {
                        whole.push(line);
                    }
                }
                _ if self.held.len() < LINE_BYTES_MAX => self.held.push(*byte),
                _ => self.too_long = true,
            }
        }
        whole
    }
}

/// A message of 4096 bytes, each escaped to six, and what stands around it.
const LINE_BYTES_MAX: usize = 32 * 1024;
const ID_BYTES_MAX: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_come_whole_however_the_bytes_are_cut_and_endless_ones_do_not() {
        let mut text = b"{\"a\":1}\n\n".to_vec();
        text.extend(vec![b'x'; LINE_BYTES_MAX + 1]);
        text.extend(b"\n{\"b\":2}\n{\"c\"");
        for step in [1, 7, 4096, 100_000] {
            let mut lines = Lines::default();
            let whole: Vec<_> = text.chunks(step).flat_map(|part| lines.take(part)).collect();
            assert_eq!(whole, [b"{\"a\":1}".to_vec(), b"{\"b\":2}".to_vec()], "by {step}");
        }
    }

    #[test]
    fn what_is_no_post_is_passed_over() {
        for line in ["", "[]", "{}", "{\"id\":7,\"event\":\"message\"}", "<html>"] {
            assert!(Post::read(line.as_bytes()).is_none(), "{line}");
        }
        assert!(Post::read(b"{\"id\":\"open\",\"event\":\"open\",\"topic\":\"t\"}").is_some());
    }
}
