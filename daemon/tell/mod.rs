//! The words a person reads. A telling (a key and values) comes in with its reader; plain text in the reader's
//! language, unit and time zone goes out. What is told, to whom and when is decided elsewhere.
//!
//! One file per language, `daemon/tell/<code>.ftl`, in Fluent syntax. Each telling has a `title`, says `what`
//! happened and, where somebody can act, what to `do`.

mod catalogue;
mod compose;
mod show;

pub use catalogue::{LANGUAGES, problems};
pub use compose::{Told, Words, answer_ways, caution, lines, message_words, plain, title, what};
pub use show::Reader;
