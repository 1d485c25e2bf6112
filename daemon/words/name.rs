//! Names of cats and persons: used in topics, file names and links, so their letters are limited once, here.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Why a text cannot be a name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "'{0}' cannot be a name here: use 1 to 40 lower-case letters, digits, '-' or '_', starting with a letter or digit"
)]
pub struct NameError(pub String);

fn checked(text: &str) -> Result<String, NameError> {
    let letters = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_';
    let starts_well = text.starts_with(|c: char| c.is_ascii_lowercase() || c.is_ascii_digit());
    if starts_well && text.len() <= 40 && text.chars().all(letters) {
        Ok(text.to_owned())
    } else {
        Err(NameError(text.chars().take(60).collect()))
    }
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(String);

        impl $name {
            /// Checks the letters.
            ///
            /// # Errors
            /// If the text is not 1 to 40 of `a-z 0-9 - _`, or starts with `-` or `_`.
            pub fn new(text: &str) -> Result<Self, NameError> {
                checked(text).map(Self)
            }

            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl TryFrom<String> for $name {
            type Error = NameError;
            fn try_from(text: String) -> Result<Self, NameError> {
                checked(&text).map(Self)
            }
        }

        impl From<$name> for String {
            fn from(name: $name) -> Self {
                name.0
            }
        }
    };
}

name! {
    /// A cat, as named in the configuration, in topics and in files.
    CatName
}
name! {
    /// A person, as named in the configuration.
    PersonName
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_cannot_leave_its_folder_or_its_topic() {
        for bad in ["", "../etc", "a/b", "#", "+", "Pepper", "-x", "a b", "pepper\n", &"a".repeat(41)] {
            assert!(CatName::new(bad).is_err(), "{bad:?}");
        }
        assert_eq!(CatName::new("pepper-2").unwrap().as_str(), "pepper-2");
    }
}
