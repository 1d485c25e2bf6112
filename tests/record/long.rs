//! A long run through the real turn and the real record: memory, handles and the kept state stay bounded, the journal goes on
//! from month to month, and an export that is taken meanwhile restores what was there, to the byte.
//!
//! A year of twenty cats: `CATS=20 DAYS=365 cargo test --release --test record a_long_run -- --nocapture`.

use std::fs::{self, File};
use std::io::{BufReader, BufWriter};
use std::path::Path;

use lowtide::config::load;
use lowtide::record::{Record, export, import};
use lowtide::round::enter;
use lowtide::simulate::cat::{self, Options};
use lowtide::turn::{House, recall};
use lowtide::words::{Batch, CatName, Event, Household, Moment, Outcome, Reading, Via, minutes};

fn number(name: &str, usual: u32) -> u32 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

fn household(cats: u32) -> Household {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lowtide.toml");
    let cats: String = (0..cats)
        .map(|cat| format!("[[cat]]\nname = \"cat{cat}\"\n[cat.sensor]\nkind = \"streamed\"\n[cat.plan]\nlow = 70\ndanger = 50\n"))
        .collect();
    let text = format!(
        "[home]\ntimezone = \"Europe/Vienna\"\n{cats}[notify.ntfy]\nserver = \"https://ntfy.example\"\n[[person]]\nname = \"owner\"\n\
         ntfy = \"a-topic-Kq93\"\n[[person]]\nname = \"sitter\"\nntfy = \"another-topic\"\n"
    );
    fs::write(&file, text).unwrap();
    load(&file).unwrap().household
}

/// Kilobytes that this process holds.
fn memory() -> u64 {
    let text = fs::read_to_string("/proc/self/status").unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}

/// Open files of this process inside `folder`.
fn handles(folder: &Path) -> usize {
    let links =
        fs::read_dir("/proc/self/fd").unwrap().filter_map(|entry| fs::read_link(entry.ok()?.path()).ok());
    links.filter(|link| link.starts_with(folder)).count()
}

struct Home {
    house: House,
    record: Record,
    wake: Option<Moment>,
}

impl Home {
    fn take(&mut self, event: Event, now: Moment) {
        let Some(event) = self.record.sift(event) else { return };
        let at = now.max(self.house.now);
        let entered = enter(&mut self.house, event, at);
        self.wake = entered.wake;
        if entered.kept {
            self.record.append(entered.at, entered.event, entered.said);
        }
        for parcel in self.house.due(self.house.now) {
            self.take(Event::Outcome { parcel, outcome: Outcome::Delivered { receipt: None } }, now);
        }
    }

    /// Looks whenever the house asked for it, until `until`.
    fn pass(&mut self, until: Moment) {
        while let Some(wake) = self.wake.filter(|wake| *wake < until) {
            self.take(Event::Tick, wake);
        }
    }
}

fn readings(cat: u32, days: u32, start: Moment) -> Vec<Reading> {
    cat::simulate(u64::from(cat), days, &Options { start, ..Options::default() }).readings
}

#[test]
fn a_long_run_stays_small_and_can_be_taken_along() {
    let (cats, days) = (number("CATS", 3), number("DAYS", 6));
    let start = Moment::parse("2026-01-28T00:00:00Z").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let follow = |house: &mut House, entry: &lowtide::record::Entry| {
        recall(house, &entry.event, &entry.said, entry.at)
    };
    let opened = Record::open(folder.path(), House::default, follow).unwrap();
    let mut home = Home { house: opened.state, record: opened.record, wake: None };
    let settings = Event::Household { program: "test".into(), household: Box::new(household(cats)) };
    home.take(settings, start);
    let mut all: Vec<(Moment, CatName, Reading)> = (0..cats)
        .flat_map(|cat| readings(cat, days, start).into_iter().map(move |reading| (cat, reading)))
        .map(|(cat, reading)| (reading.measured_at, CatName::new(&format!("cat{cat}")).unwrap(), reading))
        .collect();
    all.sort_by_key(|(at, ..)| *at);
    let count = all.len();
    let half = start + minutes(f64::from(days) * 720.0);
    let (mut at_half, mut taken_along) = (None, None);
    for (at, cat, reading) in all {
        if at > half && at_half.is_none() {
            home.record.sync().unwrap();
            home.record.checkpoint(&home.house).unwrap();
            at_half =
                Some((serde_json::to_string(&home.house).unwrap().len(), memory(), handles(folder.path())));
            // Taken while the record is open and in use; kept in files, so that it does not count as memory.
            let aside = tempfile::tempdir().unwrap();
            let mut out = BufWriter::new(File::create(aside.path().join("export")).unwrap());
            export(folder.path(), &mut out, |_, _| ()).unwrap();
            out.into_inner().unwrap();
            fs::create_dir(aside.path().join("journal")).unwrap();
            for (name, text) in journal(folder.path()) {
                fs::write(aside.path().join("journal").join(name), text).unwrap();
            }
            taken_along = Some(aside);
        }
        let now = at + minutes(0.3);
        home.pass(now);
        let batch = Batch {
            cat,
            via: Via::Mqtt,
            source: "bridge".into(),
            sensor: None,
            scanned_at: None,
            readings: vec![reading],
            repeated: 0,
            conflicts: vec![],
            newest: Some(at),
        };
        home.take(Event::Readings(batch), now);
        if home.record.checkpoint_due(now) {
            home.record.sync().unwrap();
            home.record.checkpoint(&home.house).unwrap();
        }
    }
    home.record.sync().unwrap();
    let (state, held, open) = at_half.unwrap();
    let state_now = serde_json::to_string(&home.house).unwrap().len();
    let (held_now, open_now) = (memory(), handles(folder.path()));
    println!(
        "{count} readings of {cats} cats in {days} days: state {state} then {state_now} bytes, memory {held} then {held_now} kB, \
         open files {open} then {open_now}, journal {} bytes",
        journal_bytes(folder.path()),
    );
    assert!(state_now < state * 3 / 2 + 20_000, "the state grows: {state} then {state_now} bytes");
    assert!(open_now <= open + 1, "files are left open");
    assert!(held_now < held + held / 2 + 40_000, "memory grows: {held} then {held_now} kB");
    assert!(journal(folder.path()).len() >= 2, "a month is a file");
    // What was taken along is what was there, on another machine too.
    let aside = taken_along.unwrap();
    let elsewhere = tempfile::tempdir().unwrap();
    let text = BufReader::new(File::open(aside.path().join("export")).unwrap());
    import(elsewhere.path(), text, |_| ()).unwrap();
    assert!(journal(elsewhere.path()) == journal(aside.path()), "the restored journal differs");
    // And a new start knows what the old one knew.
    let (house, last) = (home.house.clone(), home.record.last_seq());
    drop(home);
    let again = Record::open(folder.path(), House::default, follow).unwrap();
    assert_eq!((again.damage.len(), again.record.last_seq()), (0, last));
    let open = |house: &House| house.open().iter().map(|finding| finding.id.clone()).collect::<Vec<_>>();
    assert_eq!(open(&again.state), open(&house));
}

fn journal_bytes(folder: &Path) -> u64 {
    let files = fs::read_dir(folder.join("journal")).unwrap();
    files.map(|entry| entry.unwrap().metadata().unwrap().len()).sum()
}

fn journal(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let files = fs::read_dir(folder.join("journal")).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> = files
        .filter(|path| path.extension().is_some_and(|ending| ending == "log"))
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(path).unwrap()))
        .collect();
    files.sort();
    files
}
