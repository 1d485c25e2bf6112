//! The key that answers are signed with: a file in the data folder, made once, readable by its owner only.

use std::fs::File;
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use crate::token::{KEY_BYTES, Key};

/// Reads the key, or makes one from the system's randomness. A file that is not whole is made anew: buttons sent
/// before then no longer work, and say so in the record.
pub(super) fn load(data: &Path) -> io::Result<Key> {
    let file = data.join("answer-key");
    if let Ok(bytes) = std::fs::read(&file)
        && let Ok(bytes) = <[u8; KEY_BYTES]>::try_from(bytes)
    {
        return Ok(Key::new(bytes));
    }
    let mut bytes = [0; KEY_BYTES];
    File::open("/dev/urandom")?.read_exact(&mut bytes)?;
    let beside = data.join("answer-key.new");
    let _ = std::fs::remove_file(&beside);
    let mut out = File::options().write(true).create_new(true).mode(0o600).open(&beside)?;
    out.write_all(&bytes)?;
    out.sync_all()?;
    std::fs::rename(beside, file)?;
    Ok(Key::new(bytes))
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn the_key_is_made_once_and_is_nobody_elses() {
        let folder = tempfile::tempdir().unwrap();
        let first = load(folder.path()).unwrap();
        assert!(load(folder.path()).unwrap() == first);
        let file = folder.path().join("answer-key");
        assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        std::fs::write(&file, "short").unwrap();
        assert!(load(folder.path()).unwrap() != first);
    }
}
