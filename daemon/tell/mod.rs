//! The words a person reads. A telling (a key and values) comes in with its reader; plain text in the reader's
//! language, unit and time zone goes out. What is told, to whom and when is decided elsewhere.
//!
//! Two files per language in Fluent syntax: `daemon/tell/<code>.ftl` for messages, `daemon/tell/paper.<code>.ftl` for
//! what is printed or shown as a page. Each telling has a `title`, says `what` happened and, where somebody can act, what
//! to `do`.

mod catalogue;
mod compose;
mod show;

pub use catalogue::{LANGUAGES, problems};
pub use compose::{Told, Words, act, answer_ways, caution, lines, message_words, plain, title, what};
pub use show::{Reader, is_obeyed};
