//! Measures the record. `cargo bench --bench record` prints everything in one run; ratios are of that run, so that
//! a busy machine slows both sides. Needs `sqlite3` for the comparison, and Linux for the counters.
#![allow(clippy::unwrap_used, clippy::disallowed_methods)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use lowtide::record::{Entry, Opened, Record};
use lowtide::words::{Batch, CatName, Event, Moment, Reading, ReadingKind, Said, Unit, Value, Via, minutes};

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(place) = arguments.iter().position(|argument| argument == OPEN) {
        return open_and_tell(Path::new(&arguments[place + 1]));
    }
    against_sqlite();
    starting();
    writing();
}

/// The state of these measurements: a count, since what it costs is measured elsewhere.
fn open(folder: &Path) -> Opened<u64> {
    Record::open(folder, || 0, |count: &mut u64, _: &Entry| *count += 1).unwrap()
}

fn beginning() -> Moment {
    Moment::parse("2021-01-01T00:00:00Z").unwrap()
}

fn sample(quarter: u32) -> Reading {
    Reading {
        measured_at: beginning() + minutes(15.0 * f64::from(quarter)),
        value: Value::Level(f64::from(60 + quarter * 7919 % 240)),
        kind: ReadingKind::History,
    }
}

fn batch(cat: &str, readings: Vec<Reading>) -> Event {
    let newest = readings.last().map(|reading| reading.measured_at);
    Event::Readings(Batch {
        cat: CatName::new(cat).unwrap(),
        via: Via::Folder,
        source: "scan-2021-01-01.csv".into(),
        sensor: None,
        scanned_at: newest,
        readings,
        repeated: 0,
        conflicts: vec![],
        newest,
    })
}

fn against_sqlite() {
    let folder = tempfile::tempdir().unwrap();
    let csv = folder.path().join("readings.csv");
    let mut text = String::from("measured_at,glucose\n");
    for quarter in 0..ROWS {
        let reading = sample(quarter);
        text += &format!("{},{}\n", reading.measured_at, Unit::MgDl.show(reading.value.level().unwrap()));
    }
    fs::write(&csv, text).unwrap();
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for round in 0..5 {
        ours.push(into_the_journal(&csv, &folder.path().join(format!("ours-{round}"))));
        theirs.push(into_sqlite(&csv, &folder.path().join(format!("theirs-{round}.db"))));
    }
    let (ours, theirs) = (median(ours), median(theirs));
    let rate = |time: Duration| f64::from(ROWS) / time.as_secs_f64();
    println!("{ROWS} rows of CSV, median of 5:");
    println!("  parsed, sifted, into the journal, one sync  {:9.0} rows/s", rate(ours));
    println!("  sqlite3 .import, unique index, FULL         {:9.0} rows/s", rate(theirs));
    println!(
        "  ratio                                       {:9.2} (aim: not under 1)",
        rate(ours) / rate(theirs)
    );
}

fn into_the_journal(csv: &Path, folder: &Path) -> Duration {
    let start = Instant::now();
    let mut record = open(folder).record;
    let mut rows = csv::Reader::from_path(csv).unwrap();
    let mut readings = Vec::new();
    for row in rows.records() {
        let row = row.unwrap();
        let measured_at = Moment::parse(&row[0]).unwrap();
        let value = Value::parse(&row[1], Unit::MgDl).unwrap();
        readings.push(Reading { measured_at, value, kind: ReadingKind::History });
    }
    let event = record.sift(batch("pepper", readings)).unwrap();
    record.append(beginning(), event, Said::default());
    record.sync().unwrap();
    let time = start.elapsed();
    assert_eq!(Record::verify(folder).readings, u64::from(ROWS));
    time
}

fn into_sqlite(csv: &Path, database: &Path) -> Duration {
    let start = Instant::now();
    let commands = format!(
        "PRAGMA synchronous=FULL;\nCREATE TABLE readings(measured_at TEXT, glucose REAL);\n\
         CREATE UNIQUE INDEX by_time ON readings(measured_at);\n.import --csv --skip 1 {} readings\n",
        csv.display()
    );
    let mut child = Command::new("sqlite3")
        .arg(database)
        .stdin(std::process::Stdio::piped())
        .spawn()
        .expect("sqlite3 is installed");
    std::io::Write::write_all(&mut child.stdin.take().unwrap(), commands.as_bytes()).unwrap();
    assert!(child.wait().unwrap().success());
    let time = start.elapsed();
    let count = Command::new("sqlite3").arg(database).arg("SELECT count(*) FROM readings").output().unwrap();
    assert_eq!(String::from_utf8(count.stdout).unwrap().trim(), ROWS.to_string());
    time
}

fn starting() {
    println!("start with scans of 32 every 8 hours (median of 5; memory is of the whole process):");
    println!(
        "  cats years  entries  journal KiB  store KiB  open ms  rebuild ms  resident KiB (without a record)"
    );
    for (cats, years) in [(1, 1), (1, 5), (5, 1), (5, 5), (20, 1)] {
        let folder = tempfile::tempdir().unwrap();
        let mut opened = open(folder.path());
        for scan in 0..years * 365 * 3 {
            for cat in 0..cats {
                let event = batch(&format!("cat-{cat}"), (scan * 32..scan * 32 + 32).map(sample).collect());
                let at = sample(scan * 32 + 32).measured_at;
                opened.state = opened.record.append(at, event, Said::default());
            }
            if scan % 100 == 0 {
                opened.record.checkpoint(&opened.state).unwrap();
            }
        }
        opened.record.checkpoint(&opened.state).unwrap();
        let entries = opened.record.last_seq();
        drop(opened);
        let opens: Vec<(Duration, u64)> = (0..5).map(|_| opened_elsewhere(folder.path())).collect();
        let resident = opens.iter().map(|(_, kib)| *kib).max().unwrap();
        let open = median(opens.into_iter().map(|(time, _)| time).collect());
        let empty = tempfile::tempdir().unwrap();
        let bare = opened_elsewhere(&empty.path().join("none")).1;
        let (journal, store) = (size(&folder.path().join("journal")), size(&folder.path().join("store")));
        fs::remove_dir_all(folder.path().join("store")).unwrap();
        let rebuild = opened_elsewhere(folder.path()).0;
        println!(
            "  {cats:4} {years:5} {entries:8} {:12} {:10} {:8.1} {:11.1} {resident:13} ({bare})",
            journal / 1024,
            store / 1024,
            open.as_secs_f64() * 1e3,
            rebuild.as_secs_f64() * 1e3,
        );
    }
    println!("  aim: under 300 ms to watching with five cat-years");
}

/// In another process, so that its memory is only this.
fn opened_elsewhere(folder: &Path) -> (Duration, u64) {
    let program = std::env::current_exe().unwrap();
    let told = Command::new(program).arg(OPEN).arg(folder).output().unwrap();
    let told = String::from_utf8(told.stdout).unwrap();
    let (micros, kib) = told.trim().split_once(' ').unwrap();
    (Duration::from_micros(micros.parse().unwrap()), kib.parse().unwrap())
}

fn open_and_tell(folder: &Path) {
    let start = Instant::now();
    let opened = folder.exists().then(|| {
        let opened = open(folder);
        // The first thing a daemon asks: is this new?
        let Some(Event::Readings(sifted)) = opened.record.sift(batch("cat-0", (0..32).map(sample).collect()))
        else {
            panic!("a scan from long ago is not known as a batch any more")
        };
        assert_eq!((sifted.readings.len(), sifted.repeated), (0, 32));
        opened
    });
    let micros = start.elapsed().as_micros();
    println!("{micros} {}", counter("/proc/self/status", "VmRSS:"));
    drop(opened);
}

fn writing() {
    println!(
        "bytes written to the disk, by /proc/self/io (pages of 4 KiB; the file system's own journal not counted):"
    );
    let folder = tempfile::tempdir().unwrap();
    let mut record = open(folder.path()).record;
    let mut quarter = 0;
    let mut written = |record: &mut Record, entries: u32, readings: u32| {
        let (before, start) = (counter("/proc/self/io", "write_bytes:"), Instant::now());
        for _ in 0..entries {
            let event = batch("pepper", (quarter..quarter + readings).map(sample).collect());
            record.append(sample(quarter + readings).measured_at, event, Said::default());
            record.sync().unwrap();
            quarter += readings;
        }
        let bytes = counter("/proc/self/io", "write_bytes:") - before;
        (bytes as f64 / f64::from(entries * readings), start.elapsed() / entries)
    };
    let (scanned, time) = written(&mut record, 200, 32);
    println!(
        "  a reading in a scan of 32, synced           {scanned:6.0} B (aim: under 1024); {time:?} a scan"
    );
    let (streamed, time) = written(&mut record, 500, 1);
    println!(
        "  a reading streamed, synced alone            {streamed:6.0} B (aim: under 12288); {time:?} each"
    );
    let before = counter("/proc/self/io", "write_bytes:");
    let rounds = 20;
    for _ in 0..rounds {
        written(&mut record, 1, 1);
        record.checkpoint(&vec!["some state"; 2000]).unwrap();
    }
    let checkpoint = (counter("/proc/self/io", "write_bytes:") - before) / rounds;
    println!(
        "  a checkpoint (and one reading)              {checkpoint:6} B; at most one in 6 hours or 256 entries"
    );
}

/// A number after a word in one of Linux's own files.
fn counter(file: &str, word: &str) -> u64 {
    let text = fs::read_to_string(file).unwrap();
    let line = text.lines().find_map(|line| line.strip_prefix(word)).unwrap();
    line.split_whitespace().next().unwrap().parse().unwrap()
}

fn size(path: &PathBuf) -> u64 {
    let inside = fs::read_dir(path).unwrap().map(|item| item.unwrap().path());
    inside.map(|path| if path.is_dir() { size(&path) } else { fs::metadata(path).unwrap().len() }).sum()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

const ROWS: u32 = 100_000;
const OPEN: &str = "--open-and-tell";
