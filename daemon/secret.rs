//! One text that must not be shown: a password, a token. What comes in is the text, what goes out is that text to
//! the one who asks for it by name, and `(secret)` to everyone else. It reads no files; `config` does.

use std::fmt;

/// A password or token. Printing it shows `(secret)`.
///
/// ```
/// use lowtide::secret::Secret;
/// let token = Secret::new("tk_abc\n");
/// assert_eq!(token.expose(), "tk_abc");
/// assert_eq!(format!("{token} {token:?}"), "(secret) (secret)");
/// ```
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Keeps a text, without the line ends that editors leave at the end of a file.
    #[must_use]
    pub fn new(text: &str) -> Self {
        Self(text.trim_end_matches(['\r', '\n']).to_owned())
    }

    /// The text itself; for the line that hands it to a server, nowhere else.
    #[must_use]
    pub fn expose(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(SHOWN)
    }
}

impl fmt::Display for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(SHOWN)
    }
}

const SHOWN: &str = "(secret)";
