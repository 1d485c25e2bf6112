//! Who may look: what belongs to the daemon's user is refused with the name of that user, not with an empty answer.

use std::fs;
use std::io::{self, ErrorKind};
use std::os::unix::fs::MetadataExt;
use std::os::unix::net::UnixStream;
use std::path::Path;

use super::Failure;
use crate::config::Config;
use crate::run::socket::path;

/// Fails if the record is there and only somebody else may read it, and for root where it is somebody else's.
pub(super) fn to_the_record(config: &Config) -> Result<(), Failure> {
    if let Err(no) = not_as_root(&config.data)
        && UnixStream::connect(path(&config.data)).is_err()
    {
        return Err(no);
    }
    let journal = config.data.join("journal");
    match fs::read_dir(&journal) {
        Err(error) if error.kind() == ErrorKind::PermissionDenied => {
            Err(Failure::Failed(format!("the record in {} {}", config.data.display(), others(&journal))))
        }
        _ => Ok(()),
    }
}

/// Fails if the configuration is there and only somebody else may read it.
pub(super) fn to_the_configuration(file: &Path) -> Result<(), Failure> {
    match fs::File::open(file) {
        Err(error) if error.kind() == ErrorKind::PermissionDenied => {
            Err(Failure::Unreadable(format!("{} {}", file.display(), others(file))))
        }
        _ => Ok(()),
    }
}

/// Fails if no configuration was named and there is none where one is looked for.
pub(super) fn to_some_configuration(file: &Path) -> Result<(), Failure> {
    // What cannot be seen may be there: that is said otherwise.
    match file.try_exists() {
        Ok(false) => Err(Failure::Unreadable(format!(
            "there is no lowtide.toml in this folder, and no {}: name yours with --config FILE. For a first one, copy \
             config/lowtide.example.toml",
            file.display()
        ))),
        _ => Ok(()),
    }
}

/// Why a file could not be written; the daemon's user may write in few folders, and rarely in that of whoever types.
pub(super) fn cannot_write(path: &Path, error: &io::Error) -> Failure {
    let name = path.file_name().unwrap_or(path.as_os_str()).display();
    let hint = match error.kind() {
        ErrorKind::PermissionDenied => {
            format!(". This user may not write there: write it to /tmp/{name}, and take it from there")
        }
        _ => String::new(),
    };
    Failure::Failed(format!("cannot write {}: {error}{hint}", path.display()))
}

/// Why a file could not be read, likewise.
pub(super) fn cannot_read(path: &Path, error: &io::Error) -> Failure {
    let name = path.file_name().unwrap_or(path.as_os_str()).display();
    let hint = match error.kind() {
        ErrorKind::PermissionDenied => {
            format!(". This user may not read there: copy it to /tmp/{name}, and take that")
        }
        _ => String::new(),
    };
    Failure::Failed(format!("cannot read {}: {error}{hint}", path.display()))
}

/// Fails for root if the data folder, or the folder that it will be made in, is another user's: what root makes there
/// the daemon could not write to, and would not start. Owners without a name, as in a container, are let be.
pub(super) fn not_as_root(data: &Path) -> Result<(), Failure> {
    let root = fs::metadata("/proc/self").is_ok_and(|process| process.uid() == 0);
    match owner(data).filter(|owner| root && *owner != 0).and_then(name) {
        Some(_) => Err(Failure::Failed(format!("the record in {} {}", data.display(), others(data)))),
        None => Ok(()),
    }
}

/// Whose a file is. What lies in a closed folder, or is not there yet, has no owner that we could see; the folder has.
fn owner(path: &Path) -> Option<u32> {
    let path = std::path::absolute(path).ok()?;
    path.ancestors().find_map(|path| fs::metadata(path).ok()).map(|seen| seen.uid())
}

fn others(path: &Path) -> String {
    match owner(path).and_then(name) {
        Some(name) => format!("is for the user {name} only: sudo -u {name} lowtide ..."),
        None => "is for another user only: run this as the one that the daemon runs as".to_owned(),
    }
}

/// The name that goes with a number, by `passwd(5)`.
fn name(uid: u32) -> Option<String> {
    let users = fs::read_to_string("/etc/passwd").ok()?;
    let named = |line: &str| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(uid)).then(|| name.to_owned())
    };
    users.lines().find_map(named)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_is_closed_to_the_daemons_user_is_said_with_one_that_is_not() {
        let denied = io::Error::from(ErrorKind::PermissionDenied);
        let said = |failure: Failure| match failure {
            Failure::Failed(why) | Failure::Unreadable(why) => why,
        };
        let written = said(cannot_write(Path::new("pages/sheet.html"), &denied));
        assert!(written.starts_with("cannot write pages/sheet.html: "), "{written}");
        assert!(written.contains("write it to /tmp/sheet.html"), "{written}");
        assert!(said(cannot_read(Path::new("all.ndjson"), &denied)).contains("copy it to /tmp/all.ndjson"));
        let missing = io::Error::from(ErrorKind::NotFound);
        assert!(!said(cannot_write(Path::new("no/sheet.html"), &missing)).contains("/tmp"));
    }

    #[test]
    fn a_number_becomes_the_name_that_the_machine_has_for_it() {
        assert_eq!(name(0).as_deref(), Some("root"));
        assert_eq!(name(4_294_967_290), None);
    }
}
