//! Passwords and tokens, from where they may stand: a file, the environment, a systemd credential. In: a section
//! and the word (`password`, `token`, `url`). Out: the secret. Never shows one.

use std::fs;
use std::path::{Path, PathBuf};

use super::Surroundings;
use super::known::inline_secret;
use super::section::{Section, quoted};
use crate::secret::Secret;

/// What readers of sections need to follow a path or find a secret.
#[derive(Clone, Copy, Debug)]
pub(super) struct Beside<'a> {
    /// Folder of the configuration file.
    pub(super) folder: &'a Path,
    pub(super) surroundings: &'a Surroundings,
}

impl Beside<'_> {
    /// A path as the file means it.
    pub(super) fn path(&self, text: &str) -> PathBuf {
        self.folder.join(text)
    }
}

/// The secret called `word`, if one is named. One that is named and cannot be had is a problem, and stands as an
/// empty one, so that the rest of the section is still judged as having it.
pub(super) fn secret(section: &Section<'_>, word: &str, beside: Beside<'_>) -> Option<Secret> {
    let sources: [(&str, Source); 3] =
        [("file", from_file), ("env", from_environment), ("credential", from_credential)];
    let named: Vec<(String, Source)> = sources
        .into_iter()
        .map(|(ending, source)| (format!("{word}_{ending}"), source))
        .filter(|(key, _)| section.has(key))
        .collect();
    let (key, source) = named.first()?;
    if let Some((second, _)) = named.get(1) {
        section.wrong(second, &format!("{key} and {second}"), "expected one of them");
    }
    let found = section.text(key).and_then(|text| source(section, key, text.value, beside));
    Some(found.map_or_else(|| Secret::new(""), |text| Secret::new(&text)))
}

type Source = fn(&Section<'_>, &str, &str, Beside<'_>) -> Option<String>;

fn from_file(section: &Section<'_>, key: &str, name: &str, beside: Beside<'_>) -> Option<String> {
    let path = beside.path(name);
    let text = read(section, key, &path)?;
    warn_if_others_can_read(section, key, &path);
    Some(text)
}

fn from_environment(section: &Section<'_>, key: &str, name: &str, beside: Beside<'_>) -> Option<String> {
    let Some(text) = beside.surroundings.variables.get(name) else {
        section.wrong(key, &quoted(name), "there is no environment variable of that name here");
        return None;
    };
    one_line(section, key, &format!("the variable {name}"), text)
}

fn from_credential(section: &Section<'_>, key: &str, name: &str, beside: Beside<'_>) -> Option<String> {
    let Some(folder) = beside.surroundings.variables.get("CREDENTIALS_DIRECTORY") else {
        section.wrong(
            key,
            &quoted(name),
            "systemd gives credentials to its services only, and CREDENTIALS_DIRECTORY is not set here; to check \
             from a shell, set it to a folder with a file of that name",
        );
        return None;
    };
    if name.contains('/') || name.starts_with('.') {
        section.wrong(key, &quoted(name), "expected the name of a credential, without a path");
        return None;
    }
    read(section, key, &Path::new(folder).join(name))
}

fn read(section: &Section<'_>, key: &str, path: &Path) -> Option<String> {
    match fs::read_to_string(path) {
        Ok(text) => one_line(section, key, &path.display().to_string(), &text),
        Err(error) => {
            section.wrong(key, &path.display().to_string(), &format!("this file cannot be read: {error}"));
            None
        }
    }
}

/// A secret is one line; the file may end in a line end, as editors make it.
fn one_line(section: &Section<'_>, key: &str, place: &str, text: &str) -> Option<String> {
    let secret = text.trim_end_matches(['\r', '\n']);
    if secret.trim().is_empty() {
        section.wrong(key, place, "it is empty");
        return None;
    }
    if secret.contains(['\r', '\n', '\0']) || secret.len() > SECRET_BYTES_MAX {
        section.wrong(key, place, "expected the secret alone, on one line");
        return None;
    }
    Some(secret.to_owned())
}

#[cfg(unix)]
fn warn_if_others_can_read(section: &Section<'_>, key: &str, path: &Path) {
    use std::os::unix::fs::PermissionsExt as _;
    let mode = fs::metadata(path).map_or(0, |metadata| metadata.permissions().mode());
    if mode & 0o077 != 0 {
        let found = format!("{} with mode {:03o}", path.display(), mode & 0o777);
        let who = if mode & 0o007 != 0 { "everybody on this machine" } else { "its group" };
        section.advise(key, &found, &format!("{who} can open it: chmod 600 it, owned by the daemon's user"));
    }
}

#[cfg(not(unix))]
fn warn_if_others_can_read(_section: &Section<'_>, _key: &str, _path: &Path) {}

/// Notes a secret inside a server's address.
pub(super) fn no_login_inside(section: &Section<'_>, key: &str, address: &str) -> bool {
    let login = address.split_once("://").is_some_and(|(_, rest)| {
        rest.split(['/', '?', '#']).next().is_some_and(|authority| authority.contains('@'))
    });
    if login {
        section.wrong(key, "an address with a login in it", &inline_secret("password"));
    }
    !login
}

/// Far over any password or token in use.
const SECRET_BYTES_MAX: usize = 4096;
