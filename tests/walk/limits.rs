//! A disk that takes nothing more and a process without file handles, with the real program: readings stay where they
//! are, somebody is told, and it goes on by itself once it can.

use std::os::unix::fs::{PermissionsExt as _, chown};
use std::process::Command;
use std::time::Duration;

use crate::stands::house::{House, csv, ntfy};
use crate::stands::ntfy::{Ntfy, Options};

const PERSON: &str = "[[person]]\nname = \"owner\"\nntfy = \"a-topic-nobody-guesses-7f3k\"\n";
const LOW: &str = "Dangerously low: Pepper";

fn titles(server: &Ntfy) -> Vec<String> {
    server.stored().iter().map(|push| push["title"].as_str().unwrap().to_owned()).collect()
}

/// Sets a limit of the running daemon.
fn limit(house: &House, what: &str) {
    let id = house.id().to_string();
    assert!(Command::new("prlimit").args(["--pid", &id, what]).status().unwrap().success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_disk_that_takes_nothing_keeps_files_where_they_are_and_lows_are_told_all_the_same() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    // No file may grow any more; a full disk sends no signal, so neither does this.
    house.begin("trap '' XFSZ;");
    house.until("it runs", || house.path("data/lowtide.sock").exists()).await;
    house.drop_file("first.csv", &csv(&[(35.0, "120")]));
    house.until("the first file", || house.path("done/first.csv").exists()).await;
    limit(&house, "--fsize=10:unlimited");
    house.drop_file("low.csv", &csv(&[(20.0, "70"), (5.0, "45")]));
    let told = |title: &str| titles(&server).iter().any(|told| told == title);
    let count = |title: &str| titles(&server).iter().filter(|told| *told == title).count();
    house.until("the low is told", || told(LOW)).await;
    house.until("the owner is told", || told("Nothing can be recorded: Lowtide")).await;
    // The file is offered again and again meanwhile. To look, nothing has to be written: that ends no trouble.
    for _ in 0..10 {
        assert!(house.said(&["status"]).contains("database-error"), "{}", house.log());
        tokio::time::sleep(Duration::from_secs(2)).await;
    }
    assert_eq!(
        (count(LOW), count("Nothing can be recorded: Lowtide"), count("Recording works again: Lowtide")),
        (1, 1, 0),
        "{:?}",
        titles(&server)
    );
    assert!(house.path("inbox/low.csv").exists(), "it was acknowledged and is not on disk");
    assert_eq!(house.measured().len(), 1);
    limit(&house, "--fsize=unlimited:unlimited");
    house.until("the file is taken", || house.path("done/low.csv").exists()).await;
    assert_eq!(house.measured().len(), 3);
    house.until("the trouble is over", || !house.said(&["status"]).contains("database-error")).await;
    assert_eq!(count(LOW), 1, "{:?}", titles(&server));
    house.stop();
    assert!(lowtide::record::Record::verify(&house.path("data")).is_sound());
}

#[tokio::test(flavor = "multi_thread")]
async fn without_file_handles_nothing_is_lost_or_thrown_out_and_it_goes_on_by_itself() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    house.drop_file("first.csv", &csv(&[(35.0, "120")]));
    house.until("the first file", || house.path("done/first.csv").exists()).await;
    limit(&house, "--nofile=5:4096");
    house.drop_file("low.csv", &csv(&[(20.0, "70"), (5.0, "45")]));
    tokio::time::sleep(Duration::from_secs(6)).await;
    assert!(house.path("inbox/low.csv").exists(), "{}", house.log());
    let thrown_out = std::fs::read_dir(house.path("rejected")).map_or(0, Iterator::count);
    assert_eq!(thrown_out, 0, "a good file was thrown out: {}", house.log());
    limit(&house, "--nofile=1024:4096");
    house.until("the file is taken", || house.path("done/low.csv").exists()).await;
    house.until("the low is told", || titles(&server).iter().any(|title| title == LOW)).await;
    assert_eq!(house.measured().len(), 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_data_folder_that_may_only_be_read_ends_the_start_with_its_name_and_costs_nothing() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    house.start().await;
    house.drop_file("first.csv", &csv(&[(35.0, "120")]));
    house.until("the first file", || house.path("done/first.csv").exists()).await;
    house.stop();
    // To the superuser nothing is read-only, so the program runs as nobody.
    let nobody = give_away(house.folder.path());
    let allow = |name: &str, mode| {
        std::fs::set_permissions(house.path(name), std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let journal = std::fs::read_dir(house.path("data/journal")).unwrap().next().unwrap().unwrap().path();
    let journal = journal.strip_prefix(house.folder.path()).unwrap().to_str().unwrap().to_owned();
    for (name, mode) in [(&*journal, 0o444), ("data/journal", 0o555), ("data/lock", 0o444), ("data", 0o555)] {
        allow(name, mode);
    }
    let before = std::fs::read(house.path(&journal)).unwrap();
    let ended = house.run_behind(nobody);
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert!(!ended.status.success() && said.contains("data/") && said.contains("denied"), "{said}");
    assert_eq!(std::fs::read(house.path(&journal)).unwrap(), before);
    for (name, mode) in [("data", 0o755), ("data/lock", 0o644), ("data/journal", 0o755), (&journal, 0o644)] {
        allow(name, mode);
    }
    house.start().await;
    assert_eq!(house.measured().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_may_not_be_read_is_told_stays_and_is_read_once_it_may() {
    let server = Ntfy::start(Options::default()).await;
    let mut house = House::new(&format!("{}{PERSON}", ntfy(&server.url)));
    let low = house.path("inbox/low.csv");
    std::fs::write(&low, csv(&[(20.0, "70"), (5.0, "45")])).unwrap();
    // The superuser may read everything, so the program runs as nobody.
    let nobody = give_away(house.folder.path());
    std::fs::set_permissions(&low, std::fs::Permissions::from_mode(0o000)).unwrap();
    house.begin(&format!("exec {nobody} \"$0\" run --config \"$1\";"));
    house.until("it runs", || house.path("data/lowtide.sock").exists()).await;
    house.until("it is told", || house.said(&["status"]).contains("file-rejected")).await;
    let status = house.said(&["status"]);
    let place = format!("It is still there, as \"{}\"", low.display());
    assert!(status.contains(&place) && !status.contains("the folder \"rejected\""), "{status}");
    assert!(low.exists() && !house.path("rejected").exists(), "a good file was thrown out: {}", house.log());
    std::fs::set_permissions(&low, std::fs::Permissions::from_mode(0o644)).unwrap();
    house.until("the file is taken", || house.path("done/low.csv").exists()).await;
    house.until("the low is told", || titles(&server).iter().any(|title| title == LOW)).await;
    house.stop();
}

/// Gives the folder to nobody if we are the superuser; what to put before the program then.
fn give_away(folder: &std::path::Path) -> &'static str {
    fn walk(path: &std::path::Path) {
        chown(path, Some(65534), Some(65534)).unwrap();
        if path.is_dir() {
            std::fs::read_dir(path).unwrap().for_each(|entry| walk(&entry.unwrap().path()));
        }
    }
    use std::os::unix::fs::MetadataExt as _;
    if std::fs::metadata(folder).unwrap().uid() != 0 {
        return "";
    }
    walk(folder);
    "setpriv --reuid=65534 --regid=65534 --clear-groups"
}
