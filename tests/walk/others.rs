//! Another user of the machine, who may not read the record, is told whose it is, and never that nothing happened.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::path::Path;
use std::process::{Command, Output};

use crate::stands::house::{House, ntfy};

/// Runs a command of the program as somebody who may not read the record: as root, by becoming nobody.
fn as_another(house: &House, words: &[&str]) -> Output {
    let open = |path: &Path| fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
    let program = house.path("lowtide");
    if !program.exists() {
        fs::copy(env!("CARGO_BIN_EXE_lowtide"), &program).unwrap();
        open(&program);
        open(house.folder.path());
    }
    let root = fs::metadata("/proc/self").unwrap().uid() == 0;
    let mut command = if root {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(&program);
        command
    } else {
        fs::set_permissions(house.path("data/journal"), fs::Permissions::from_mode(0o000)).unwrap();
        Command::new(&program)
    };
    command.args(words).arg("--config").arg(house.path("lowtide.toml")).output().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn who_may_not_read_the_record_is_told_whose_it_is() {
    let person = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
    let mut house = House::new(&format!("{}{person}", ntfy("http://127.0.0.1:9")));
    house.start().await;
    let page = house.path("page.html");
    let report: [&str; 3] = ["report", "--out", page.to_str().unwrap()];
    for words in
        [&["status"][..], &["history"], &["log", "dose"], &["scans"], &["sensors"], &["export"], &report]
    {
        let output = as_another(&house, words);
        let (said, why) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert_eq!(output.status.code(), Some(1), "{words:?}: {said}{why}");
        assert!(
            said.is_empty() && why.contains("the record in ") && why.contains(" is for "),
            "{words:?}: {said}{why}"
        );
    }
    assert!(!page.exists());
    house.stop();
    fs::set_permissions(house.path("data/journal"), fs::Permissions::from_mode(0o700)).unwrap();
}

/// Whoever types `sudo lowtide status` before the first start must not make a record that the daemon may not write to.
#[tokio::test(flavor = "multi_thread")]
async fn root_makes_no_record_that_the_daemon_could_not_write_to() {
    let person = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
    let mut house = House::new(&format!("{}{person}", ntfy("http://127.0.0.1:9")));
    let folder = house.folder.path().to_owned();
    if fs::metadata("/proc/self").unwrap().uid() != 0 {
        assert!(house.run(&["status"]).status.success(), "in a folder of one's own");
        return;
    }
    let nobody = as_another(&house, &["check"]);
    assert!(nobody.status.success(), "it may be run by nobody");
    chown(&folder, Some(65534), Some(65534)).unwrap();
    for words in [&["status"][..], &["log", "dose"], &["run"]] {
        let output = house.run(words);
        let why = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{words:?}: {why}");
        assert!(why.contains("is for the user nobody only: sudo -u nobody lowtide"), "{words:?}: {why}");
        assert!(!house.path("data").exists(), "{words:?}");
    }
    // A daemon that runs writes itself, whoever asks it.
    for part in ["inbox", "lowtide.toml"] {
        chown(house.path(part), Some(65534), Some(65534)).unwrap();
    }
    let mut daemon = Command::new("setpriv");
    daemon.args(["--reuid=65534", "--regid=65534", "--clear-groups"]).arg(house.path("lowtide"));
    house.spawn(daemon.args(["run", "--config"]).arg(house.path("lowtide.toml")));
    house.until("root is answered by the daemon", || house.run(&["status"]).status.success()).await;
    house.stop();
}
