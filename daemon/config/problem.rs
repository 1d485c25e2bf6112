//! What is wrong with a configuration, in a form that a person can act on: where, what was found, what would be
//! right. In: findings of the readers in this room. Out: lines of text. Decides nothing.

use std::fmt;
use std::path::{Path, PathBuf};

/// How much a problem matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ProblemSeverity {
    /// The daemon does not start with this.
    Error,
    /// The daemon starts; the owner should know.
    Advice,
    /// The daemon starts; this is still the example's.
    Still,
}

/// One thing that is wrong, or worth knowing, about a configuration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Line in the file, from 1; `None` where the file as a whole lacks something.
    pub line: Option<u32>,
    /// The key with its section, as in `[cat.plan] low`.
    pub key: String,
    /// What was found. Never a secret.
    pub found: String,
    /// What would be right.
    pub want: String,
    /// Whether the daemon can start with it.
    pub severity: ProblemSeverity,
}

impl Problem {
    /// Whether the daemon must not start with it.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.severity == ProblemSeverity::Error
    }

    /// One line: `lowtide.toml:12: [cat.plan] low: found 4; expected ...`.
    #[must_use]
    pub fn shown(&self, file: &Path) -> String {
        let line = self.line.map(|line| format!(":{line}")).unwrap_or_default();
        let kind = if self.is_error() { "" } else { "advice: " };
        format!("{}{line}: {kind}{}: found {}; {}", file.display(), self.key, self.found, self.want)
    }
}

/// Why no settings came out of a configuration.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfigError {
    /// The file cannot be read, or is not TOML; nothing is known about what it says.
    Unreadable {
        /// The file.
        file: PathBuf,
        /// Each reason, with its line if it has one.
        why: Vec<String>,
    },
    /// The file was read and says something that cannot be right.
    Wrong {
        /// The file.
        file: PathBuf,
        /// Every error, by line.
        problems: Vec<Problem>,
    },
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines: Vec<String> = match self {
            Self::Unreadable { file, why } => {
                why.iter().map(|why| format!("{}{why}", file.display())).collect()
            }
            Self::Wrong { file, problems } => problems.iter().map(|problem| problem.shown(file)).collect(),
        };
        f.write_str(&lines.join("\n"))
    }
}
