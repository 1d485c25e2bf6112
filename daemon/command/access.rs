//! Who may look: what belongs to the daemon's user is refused with the name of that user, not with an empty answer.

use std::fs;
use std::io::ErrorKind;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use super::Failure;
use crate::config::Config;

/// Fails if the record is there and only somebody else may read it.
pub(super) fn to_the_record(config: &Config) -> Result<(), Failure> {
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

fn others(path: &Path) -> String {
    // What lies in a closed folder has no owner that we could see; the folder has.
    let owner = path.ancestors().find_map(|path| fs::metadata(path).ok()).map(|seen| seen.uid());
    match owner.and_then(name) {
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
    fn a_number_becomes_the_name_that_the_machine_has_for_it() {
        assert_eq!(name(0).as_deref(), Some("root"));
        assert_eq!(name(4_294_967_290), None);
    }
}
