//! The watched folder with real files: whole files only, nothing lost, nothing written over, no file moved before
//! the driver has said that it is on disk.

use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use lowtide::config::load;
use lowtide::intake::folder::{FolderSettings, watch};
use lowtide::intake::formats::Context;
use lowtide::intake::{Inbound, Kept};
use lowtide::record::Record;
use lowtide::turn::{House as Core, recall, turn};
use lowtide::words::{Arg, CatName, Event, Health, Moment, Unit, Value, Watch};
use tokio::sync::mpsc;

const ROWS: &str = "measured_at,glucose\n2026-03-01T06:00:00Z,112\n2026-03-01T06:15:00Z,108\n";

/// A household's folder, watched, with a driver that keeps readings in a map.
struct House {
    dir: tempfile::TempDir,
    came: mpsc::Receiver<Inbound>,
    held: BTreeMap<Moment, Value>,
    health: Vec<Health>,
    unread: Vec<String>,
    events: usize,
    disk_full: bool,
}

impl House {
    fn new() -> Self {
        Self::with(|_| {})
    }

    fn with(change: impl FnOnce(&mut FolderSettings)) -> Self {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("inbox")).unwrap();
        Self::at(dir, change)
    }

    fn at(dir: tempfile::TempDir, change: impl FnOnce(&mut FolderSettings)) -> Self {
        let mut settings = FolderSettings::beside(&dir.path().join("inbox"));
        settings.rescan = Duration::from_millis(300);
        settings.still = Duration::from_millis(250);
        settings.unfinished = Duration::from_millis(700);
        change(&mut settings);
        let context = Context {
            zone: chrono_tz::Europe::Vienna,
            cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
            ranges: Vec::new(),
            layouts: Vec::new(),
        };
        let (door, came) = mpsc::channel(16);
        tokio::spawn(watch(settings, context, door));
        Self {
            dir,
            came,
            held: BTreeMap::new(),
            health: Vec::new(),
            unread: Vec::new(),
            events: 0,
            disk_full: false,
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn drop_in(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path("inbox").join(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    /// Lets the driver work until `done` holds; fails after a minute.
    async fn until(&mut self, what: &str, done: impl Fn(&Self) -> bool) {
        for _ in 0..6000 {
            if done(self) {
                return;
            }
            self.drive(Duration::from_millis(10)).await;
        }
        panic!("not within a minute: {what}; held {:?}, health {:?}", self.held, self.health);
    }

    /// Lets the driver work for a while.
    async fn drive(&mut self, time: Duration) {
        let _ = tokio::time::timeout(time, async {
            while let Some(inbound) = self.came.recv().await {
                self.events += 1;
                let kept = if self.disk_full {
                    Kept::Failed("no space left on device".to_owned())
                } else {
                    match inbound.event {
                        Event::Readings(batch) => {
                            assert!(batch.readings.len() <= 1000);
                            self.held.extend(batch.readings.iter().map(|r| (r.measured_at, r.value)));
                        }
                        Event::Health(health) => self.health.push(health),
                        Event::Unread(unread) => self.unread.push(unread.shown),
                        other => panic!("{other:?}"),
                    }
                    Kept::Synced
                };
                if let Some(done) = inbound.done {
                    let _ = done.send(kept);
                }
            }
        })
        .await;
    }

    /// What was said of a file: rows and reason.
    fn said_of(&self, name: &str) -> Vec<(i64, String)> {
        self.health
            .iter()
            .filter(|health| health.watch == Watch::FileRejected && health.about == name)
            .filter_map(|health| health.trouble.as_ref())
            .map(|telling| match (&telling.args["rows"], &telling.args["reason"]) {
                (Arg::Count(rows), Arg::Text(reason)) => (*rows, reason.clone()),
                other => panic!("{other:?}"),
            })
            .collect()
    }
}

fn names(path: &Path) -> Vec<String> {
    let Ok(entries) = fs::read_dir(path) else { return Vec::new() };
    let mut names: Vec<_> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_dropped_in_is_read_and_moved_to_done() {
    let mut house = House::new();
    house.drop_in("a.csv", ROWS);
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    assert_eq!(house.held.len(), 2);
    assert_eq!(fs::read_to_string(house.path("done/a.csv")).unwrap(), ROWS);
    assert!(names(&house.path("inbox")).is_empty() && house.health.is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_were_there_before_are_read_oldest_first() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("inbox")).unwrap();
    fs::write(dir.path().join("inbox/b.csv"), ROWS).unwrap();
    std::thread::sleep(Duration::from_millis(20));
    // The later file says something else of the same instant; it must come second.
    fs::write(dir.path().join("inbox/a.csv"), ROWS.replace("112", "99")).unwrap();
    let mut house = House::at(dir, |_| {});
    house.until("both", |h| names(&h.path("done")).len() == 2).await;
    assert_eq!(house.held.values().next(), Some(&Value::Level(99.0)));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_still_being_written_is_left_until_it_is_whole() {
    let mut house = House::with(|settings| settings.unfinished = Duration::from_secs(30));
    let mut file = File::create(house.path("inbox/a.csv")).unwrap();
    file.write_all(b"measured_at,glucose\n2026-03-01T06:00:00Z,11").unwrap();
    house.drive(Duration::from_millis(500)).await;
    assert!(house.held.is_empty(), "112 must not be read as 11: {:?}", house.held);
    file.write_all(b"2\n").unwrap();
    drop(file);
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    assert_eq!(house.held.values().collect::<Vec<_>>(), [&Value::Level(112.0)]);
    assert!(house.health.is_empty(), "{:?}", house.health);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_nobody_closes_is_read_once_it_is_still() {
    let mut house = House::new();
    let mut file = File::create(house.path("inbox/a.csv")).unwrap();
    file.write_all(ROWS.as_bytes()).unwrap();
    house.until("read", |h| h.held.len() == 2).await;
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    // It goes on being written to, now in done: nothing of it is lost.
    file.write_all(b"2026-03-01T06:30:00Z,104\n").unwrap();
    house.until("the late row", |h| h.held.len() == 3).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_renamed_in_is_read_at_once_and_names_of_unfinished_files_are_not() {
    let mut house = House::with(|settings| {
        // Only the hint can make it quick.
        settings.still = Duration::from_secs(30);
        settings.rescan = Duration::from_secs(30);
    });
    house.drive(Duration::from_millis(200)).await;
    for name in [".a.csv", "a.csv.tmp", "a.csv.part", "a.csv~"] {
        house.drop_in(name, ROWS);
    }
    house.drive(Duration::from_millis(400)).await;
    assert!(house.held.is_empty());
    fs::rename(house.path("inbox/a.csv.tmp"), house.path("inbox/a.csv")).unwrap();
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    assert_eq!(names(&house.path("inbox")), [".a.csv", "a.csv.part", "a.csv~"]);
    assert!(house.health.is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn compressed_files_are_read_and_damaged_ones_set_aside_with_the_reason() {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(ROWS.as_bytes()).unwrap();
    let packed = packer.finish().unwrap();
    let mut house = House::new();
    house.drop_in("a.csv.gz", &packed);
    house.drop_in("cut.csv.gz", &packed[..packed.len() - 9]);
    house.until("read", |h| h.path("done/a.csv.gz").exists()).await;
    assert_eq!(house.held.len(), 2);
    house.until("set aside", |h| h.path("rejected/cut.csv.gz").exists()).await;
    let reason = fs::read_to_string(house.path("rejected/cut.csv.gz.reason.txt")).unwrap();
    assert!(reason.contains("damaged or cut off"), "{reason}");
    house.until("told", |h| h.said_of("cut.csv.gz").len() == 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_local_time_of_the_hour_that_comes_twice_is_read_by_when_its_file_was_written() {
    let mut house = House::new();
    for (name, time, written) in
        [("a", "02:20", "2026-10-25T00:21:00Z"), ("b", "02:25", "2026-10-25T01:26:00Z")]
    {
        let path = house
            .drop_in(&format!("{name}.csv.tmp"), format!("measured_at,glucose\n2026-10-25 {time},112\n"));
        let since_1970 = Duration::from_millis(Moment::parse(written).unwrap().millis().unsigned_abs());
        let file = OpenOptions::new().append(true).open(&path).unwrap();
        file.set_modified(std::time::SystemTime::UNIX_EPOCH + since_1970).unwrap();
        drop(file);
        fs::rename(&path, house.path("inbox").join(format!("{name}.csv"))).unwrap();
    }
    house.until("both", |h| h.held.len() == 2).await;
    let held: Vec<String> = house.held.keys().map(ToString::to_string).collect();
    assert_eq!(held, ["2026-10-25T00:20:00Z", "2026-10-25T01:25:00Z"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_moved_before_it_is_on_disk() {
    let mut house = House::new();
    house.disk_full = true;
    house.drop_in("a.csv", ROWS);
    house.until("offered twice", |h| h.events >= 2).await;
    assert_eq!(names(&house.path("inbox")), ["a.csv"]);
    assert!(names(&house.path("done")).is_empty());
    house.disk_full = false;
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    assert_eq!(house.held.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_taken_name_in_done_is_not_written_over() {
    let mut house = House::new();
    house.drop_in("a.csv", ROWS);
    house.until("first", |h| h.path("done/a.csv").exists()).await;
    house.drop_in("a.csv", ROWS.replace("2026-03-01", "2026-03-02"));
    house.until("second", |h| h.path("done/a-2.csv").exists()).await;
    assert_eq!(fs::read_to_string(house.path("done/a.csv")).unwrap(), ROWS);
    assert_eq!(house.held.len(), 4);
}

#[tokio::test(flavor = "multi_thread")]
async fn bad_rows_are_written_down_with_line_and_reason_and_good_rows_kept() {
    let mut house = House::new();
    house.drop_in("a.csv", format!("{ROWS}yesterday,100\n2026-03-01T07:00:00Z,soon\n"));
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    assert_eq!(house.held.len(), 2);
    let mut rejects = csv::Reader::from_path(house.path("rejected/a.csv.rejects.csv")).unwrap();
    let rows: Vec<(usize, String, String)> = rejects.deserialize().map(Result::unwrap).collect();
    assert_eq!((rows[0].0, rows[0].2.as_str()), (4, "yesterday,100"));
    assert_eq!((rows[1].0, rows[1].2.as_str()), (5, "2026-03-01T07:00:00Z,soon"));
    house.until("told", |h| !h.health.is_empty()).await;
    assert_eq!(house.unread, ["soon"], "the newest value is none");
    let said = house.said_of("a.csv");
    assert_eq!(said.len(), 1);
    assert!(said[0].0 == 2 && said[0].1.starts_with("line 4: 'yesterday' is not a time"), "{said:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn files_in_which_nothing_can_be_read_are_set_aside_each_with_its_reason() {
    let mut house = House::with(|settings| settings.bytes_max = 1000);
    let cases: [(&str, &[u8], &str); 7] = [
        ("empty.csv", b"", "empty"),
        ("binary.csv", b"\x7FELF\x02\x01\0\0\0", "not text"),
        ("photo.jpg", b"\xFF\xD8\xFF\xE0", "no known type"),
        ("header.csv", b"Zeit,Wert\n1,2\n", "'Zeit', 'Wert'"),
        ("cut.json", b"{\"measured_at\":\"2026", "cut off"),
        ("bad.csv", b"measured_at,glucose\nx,y\n", ""),
        ("big.csv", &[b'1'; 1001], "too big"),
    ];
    for (name, bytes, _) in cases {
        house.drop_in(name, bytes);
    }
    house.until("all set aside", |h| names(&h.path("inbox")).is_empty()).await;
    for (name, bytes, reason) in cases {
        assert_eq!(fs::read(house.path("rejected").join(name)).unwrap(), bytes, "{name}");
        if reason.is_empty() {
            assert!(house.path("rejected/bad.csv.rejects.csv").exists());
        } else {
            let text = fs::read_to_string(house.path(&format!("rejected/{name}.reason.txt"))).unwrap();
            assert!(text.contains(reason), "{name}: {text}");
        }
        let said = house.said_of(name);
        assert_eq!((said.len(), said[0].0), (1, i64::from(reason.is_empty())), "{name}");
    }
    assert!(house.held.is_empty() && names(&house.path("done")).is_empty());
}

/// A program that drops a bad file every minute of a night must not fill the record, nor what is waiting to be told.
#[tokio::test(flavor = "multi_thread")]
async fn a_flood_of_bad_files_is_counted_and_each_is_set_aside_with_its_reason() {
    let mut house = House::new();
    for number in 0..FLOOD {
        house.drop_in(&format!("dump-{number}.csv"), "Zeit,Wert\n1,2\n");
    }
    let set_aside = |house: &House| names(&house.path("rejected")).len();
    for _ in 0..300 {
        house.drive(Duration::from_secs(1)).await;
        if set_aside(&house) == 2 * FLOOD {
            break;
        }
    }
    house.drop_in("good.csv", format!("{ROWS}yesterday,100\n"));
    house.until("something else is told all the same", |h| h.said_of("good.csv").len() == 1).await;
    assert_eq!(set_aside(&house), 2 * FLOOD + 1, "each file with its reason, and the row");
    let bytes = journal_of(&house.health);
    println!("{FLOOD} bad files: {bytes} bytes of journal");
    assert!(bytes < 500_000, "{bytes} bytes of journal");
    let counts: Vec<&Arg> =
        house.health.iter().filter_map(|health| health.trouble.as_ref()?.args.get("count")).collect();
    assert_eq!(counts, [6, 50, 500].map(Arg::Count).iter().collect::<Vec<_>>());
}

/// What goes wrong anew on a bad day is told though many files before it were wrong in another way.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_fault_among_many_files_with_another_one_is_told_with_its_own_reason() {
    let mut house = House::new();
    for number in 0..8 {
        house.drop_in(&format!("odd-{number}.csv"), format!("measured_at,glucose\n2026-03-0{number},112\n"));
    }
    house.until("they are put away", |h| names(&h.path("inbox")).is_empty()).await;
    let alone = |h: &House| (0..8).filter(|n| h.said_of(&format!("odd-{n}.csv")).len() == 1).count();
    assert_eq!(alone(&house), 5);
    house.drop_in("new.csv", format!("{ROWS}2026-03-01T07:00:00Z,-7\n"));
    house.until("the new fault is told", |h| !h.said_of("new.csv").is_empty()).await;
    assert!(house.said_of("new.csv")[0].1.contains("-7 mg/dL cannot be"), "{:?}", house.said_of("new.csv"));
}

/// The bytes that a journal takes with these reports of a minute each in it.
fn journal_of(health: &[Health]) -> u64 {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lowtide.toml");
    let text = "[home]\ntimezone = \"Europe/Vienna\"\n[[cat]]\nname = \"pepper\"\ncalled = \"Pepper\"\n[cat.plan]\n\
                low = 70\ndanger = 50\n[notify.ntfy]\nserver = \"https://ntfy.example\"\n[[person]]\nname = \"owner\"\n\
                ntfy = \"a-topic\"\nquiet = \"22:00-07:00\"\n";
    fs::write(&file, text).unwrap();
    let household = Box::new(load(&file).unwrap().household);
    let data = folder.path().join("data");
    let mut opened =
        Record::open(&data, Core::default, |house, e| recall(house, &e.event, &e.said, e.at)).unwrap();
    let mut now = Moment::parse("2026-03-01T21:30:00Z").unwrap();
    let settings = Event::Household { program: "test".into(), household };
    for event in std::iter::once(settings).chain(health.iter().cloned().map(Event::Health)) {
        let said = turn(&mut opened.state, &event, now).said;
        opened.record.append(now, event, said);
        now = now + lowtide::words::minutes(1.0);
    }
    opened.record.sync().unwrap();
    fs::read_dir(data.join("journal")).unwrap().map(|e| e.unwrap().metadata().unwrap().len()).sum()
}

#[tokio::test(flavor = "multi_thread")]
async fn with_keep_files_stay_and_are_read_again_when_they_grow() {
    let mut house = House::with(|settings| settings.keep = true);
    let path = house.drop_in("phone.csv", ROWS);
    house.until("read", |h| h.held.len() == 2).await;
    house.drive(Duration::from_millis(800)).await;
    let events = house.events;
    assert_eq!(events, 1, "an unchanged file is read once");
    let mut file = OpenOptions::new().append(true).open(&path).unwrap();
    file.write_all(b"2026-03-01T06:30:00Z,104\nbad,row\n").unwrap();
    drop(file);
    house.until("grown", |h| h.held.len() == 3 && !h.health.is_empty()).await;
    fs::write(&path, format!("{ROWS}2026-03-01T06:30:00Z,104\n")).unwrap();
    house.until("put right", |h| h.health.last().is_some_and(|health| health.trouble.is_none())).await;
    assert!(path.exists() && names(&house.path("done")).is_empty());
    assert_eq!(names(&house.path("rejected")), ["phone.csv.rejects.csv"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn with_keep_a_restart_repeats_no_complaint_and_other_files_are_passed_over() {
    let mut house = House::with(|settings| settings.keep = true);
    house.drop_in("phone.csv", format!("{ROWS}bad,row\n"));
    house.drop_in("broken.json", "{");
    house.drop_in("photo.jpg", b"\xFF\xD8\xFF\xE0");
    house.until("told", |h| h.health.len() == 2).await;
    let House { dir, came, .. } = house;
    drop(came);
    let mut again = House::at(dir, |settings| settings.keep = true);
    again.until("read again", |h| h.held.len() == 2).await;
    again.drive(Duration::from_millis(1500)).await;
    assert!(again.health.is_empty(), "{:?}", again.health);
    assert_eq!(names(&again.path("rejected")), ["broken.json.reason.txt", "phone.csv.rejects.csv"]);
    fs::write(again.path("inbox/broken.json"), "{ and still").unwrap();
    again.until("a new complaint", |h| h.said_of("broken.json").len() == 1).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn links_folders_pipes_and_odd_names_are_left_alone_and_told_once() {
    let mut house = House::new();
    let outside = house.path("outside.csv");
    fs::write(&outside, ROWS).unwrap();
    std::os::unix::fs::symlink(&outside, house.path("inbox/link.csv")).unwrap();
    fs::create_dir(house.path("inbox/older")).unwrap();
    fs::write(house.path("inbox/older/a.csv"), ROWS).unwrap();
    let odd = house.path("inbox").join(std::ffi::OsStr::from_bytes(b"caf\xE9.csv"));
    fs::write(&odd, ROWS).unwrap();
    let pipe = std::process::Command::new("mkfifo").arg(house.path("inbox/pipe.csv")).status().unwrap();
    assert!(pipe.success());
    house.drop_in("good.csv", ROWS);
    house.until("the good one", |h| h.path("done/good.csv").exists()).await;
    house.drive(Duration::from_millis(900)).await;
    assert_eq!(house.health.len(), 4, "{:?}", house.health);
    for (name, part) in
        [("link.csv", "link"), ("older", "folder"), ("caf\u{fffd}.csv", "UTF-8"), ("pipe.csv", "ordinary")]
    {
        let said = house.said_of(name);
        assert!(said.len() == 1 && said[0].1.contains(part), "{name}: {said:?}");
    }
    assert!(outside.exists() && odd.exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_that_is_missing_removed_and_made_again_is_watched_again() {
    let dir = tempfile::tempdir().unwrap();
    let mut house = House::at(dir, |settings| settings.rescan = Duration::from_millis(200));
    house.until("told", |h| h.health.len() == 1).await;
    let telling = house.health[0].trouble.clone().unwrap();
    assert_eq!((house.health[0].watch, telling.key.as_str()), (Watch::SourceRefused, "source-folder"));
    for round in 1..=2_usize {
        fs::create_dir(house.path("inbox")).unwrap();
        house
            .until("back", |h| h.health.len() == 2 * round && h.health.last().unwrap().trouble.is_none())
            .await;
        house.drop_in("a.csv", ROWS.replace("2026-03-01", &format!("2026-03-0{round}")));
        house.until("read", |h| h.held.len() == 2 * round).await;
        house.until("moved", |h| names(&h.path("done")).len() == round).await;
        fs::remove_dir(house.path("inbox")).unwrap();
        house.until("gone", |h| h.health.len() == 2 * round + 1).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn hints_are_heard_again_after_the_folder_was_made_again() {
    let mut house = House::with(|settings| settings.still = Duration::from_secs(30));
    house.drive(Duration::from_millis(200)).await;
    fs::remove_dir(house.path("inbox")).unwrap();
    fs::create_dir(house.path("inbox")).unwrap();
    house.drive(Duration::from_millis(600)).await;
    house.drop_in("a.csv", ROWS);
    // Without a hint it would be taken after thirty seconds only.
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_done_folder_that_cannot_be_written_is_told_and_costs_no_reading() {
    let mut house = House::new();
    fs::write(house.path("done"), "a file where a folder should be").unwrap();
    house.drop_in("a.csv", ROWS);
    house.until("told", |h| h.health.iter().any(|health| health.watch == Watch::SourceRefused)).await;
    assert_eq!(house.held.len(), 2);
    assert!(house.path("inbox/a.csv").exists());
    house.drive(Duration::from_millis(900)).await;
    assert_eq!(house.events, 2, "it is not read again and again: {:?}", house.health);
    fs::remove_file(house.path("done")).unwrap();
    house.until("moved", |h| h.path("done/a.csv").exists()).await;
    house.until("over", |h| h.health.last().unwrap().trouble.is_none()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_may_not_be_read_stays_and_is_tried_again() {
    let mut house = House::new();
    let path = house.path("inbox/a.csv.tmp");
    fs::write(&path, ROWS).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    if File::open(&path).is_ok() {
        // Whoever may read everything (root) cannot be refused; the check of the message then makes no sense.
        fs::rename(&path, house.path("inbox/a.csv")).unwrap();
        house.until("read all the same", |h| h.held.len() == 2).await;
        return;
    }
    fs::rename(&path, house.path("inbox/a.csv")).unwrap();
    house.until("told", |h| h.said_of("a.csv").len() == 1).await;
    fs::set_permissions(house.path("inbox/a.csv"), fs::Permissions::from_mode(0o644)).unwrap();
    house.until("read", |h| h.path("done/a.csv").exists()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hundred_thousand_rows_come_in_batches_and_all_of_them_arrive() {
    let mut text = "measured_at,glucose\n".to_owned();
    let start = Moment::parse("2023-01-01T00:00:00Z").unwrap();
    for row in 0..100_000 {
        let at = start + lowtide::words::minutes(15.0 * f64::from(row));
        text += &format!("{at},{}\n", 60 + row % 200);
    }
    let mut house = House::new();
    house.drop_in("years.csv", text);
    house.until("moved", |h| h.path("done/years.csv").exists()).await;
    assert_eq!(house.held.len(), 100_000);
    assert_eq!(house.events, 100);
}

/// Files of a flood: one a minute for a day.
const FLOOD: usize = 1500;
