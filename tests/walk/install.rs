//! What `deploy/install.sh` lays out is a household that the program understands; a second run touches nothing of it.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

use crate::stands::house::program;

fn install(root: &Path, binary: &str) -> Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/install.sh");
    Command::new("bash").arg(script).arg(binary).env("DESTDIR", root).output().unwrap()
}

#[test]
fn the_installer_lays_out_a_household_and_leaves_one_that_is_there_alone() {
    let root = tempfile::tempdir().unwrap();
    let output = install(root.path(), env!("CARGO_BIN_EXE_lowtide"));
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    for command in ["check", "try", "enable --now lowtide"] {
        assert!(said.contains(command), "{said}");
    }
    let config = root.path().join("etc/lowtide/lowtide.toml");
    let checked = program().args(["check", "--config"]).arg(&config).output().unwrap();
    let checked = String::from_utf8(checked.stdout).unwrap();
    assert!(checked.contains("Everything is kept in /var/lib/lowtide/data."), "{checked}");
    assert!(checked.contains("Files in /var/lib/lowtide/inbox;"), "{checked}");
    let mode = |path: &str| fs::metadata(root.path().join(path)).unwrap().permissions().mode() & 0o7777;
    assert_eq!(mode("etc/lowtide/secret"), 0o700);
    assert_eq!(mode("var/lib/lowtide/inbox"), 0o2770);
    assert_eq!(mode("usr/local/bin/lowtide"), 0o755);
    let unit = fs::read_to_string(root.path().join("etc/systemd/system/lowtide.service")).unwrap();
    assert!(unit.contains("ExecStart=/usr/local/bin/lowtide run --config /etc/lowtide/lowtide.toml"));

    fs::write(&config, "mine").unwrap();
    assert!(install(root.path(), env!("CARGO_BIN_EXE_lowtide")).status.success());
    assert_eq!(fs::read_to_string(&config).unwrap(), "mine");
}

#[test]
fn a_program_beside_whoever_installs_it_is_found_by_its_name_alone() {
    let root = tempfile::tempdir().unwrap();
    let here = tempfile::tempdir().unwrap();
    fs::copy(env!("CARGO_BIN_EXE_lowtide"), here.path().join("lowtide")).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/install.sh");
    let mut command = Command::new("bash");
    command.arg(script).arg("lowtide").current_dir(here.path()).env("DESTDIR", root.path());
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(root.path().join("usr/local/bin/lowtide").exists());
}

/// The old program goes on: after a restart that fails nobody would watch.
#[test]
fn a_newer_program_that_does_not_understand_the_settings_is_not_put_in_place() {
    let root = tempfile::tempdir().unwrap();
    assert!(install(root.path(), env!("CARGO_BIN_EXE_lowtide")).status.success());
    let newer = root.path().join("newer");
    fs::write(&newer, "#!/bin/sh\n[ \"$1\" = --version ] || { echo an unknown key; exit 1; }\n").unwrap();
    fs::set_permissions(&newer, fs::Permissions::from_mode(0o755)).unwrap();
    let output = install(root.path(), newer.to_str().unwrap());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!output.status.success() && said.contains("an unknown key"), "{said}");
    assert!(said.contains("nothing was changed"), "{said}");
    let kept = root.path().join("usr/local/bin/lowtide");
    assert!(fs::metadata(&kept).unwrap().len() > 1000, "the old one is still there");
}

#[test]
fn without_the_compiler_for_the_board_it_is_said_where_that_comes_from() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/build-for-pi.sh");
    let output = Command::new("/bin/bash").arg(script).env("PATH", "/nonexistent").output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("this needs rustup"), "{said}");
}

#[test]
fn the_installer_says_what_is_wrong_with_a_program_that_does_not_run_here() {
    let root = tempfile::tempdir().unwrap();
    for (binary, why) in
        [("", "say where the program is"), ("none", "no such file"), ("/etc/passwd", "does not run")]
    {
        let output = install(root.path(), binary);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(!output.status.success() && said.contains(why), "{said}");
    }
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 0, "nothing was laid out");
}
