//! How fast tables are read, against the bare csv crate going over the same bytes in the same run.
//!
//! `cargo test --release --test doors speed -- --ignored --nocapture`

use std::time::{Duration, Instant};

use lowtide::intake::formats::{Context, Layout, LayoutText, parse};
use lowtide::words::{CatName, Moment, Unit, minutes};

const ROWS: usize = 100_000;

#[expect(clippy::disallowed_methods, reason = "a measurement needs the machine's clock")]
fn best_of_five(mut work: impl FnMut()) -> Duration {
    let mut best = Duration::MAX;
    for _ in 0..5 {
        let start = Instant::now();
        work();
        best = best.min(start.elapsed());
    }
    best
}

#[test]
#[ignore = "a measurement"]
fn speed_of_reading_a_hundred_thousand_rows() {
    let layout: LayoutText = toml::from_str(
        "files = '*.txt'\ndelimiter = ';'\ndecimal_comma = true\nunit = 'mmol/L'\ndate_format = '%d.%m.%Y %H:%M'\n\
         columns = { measured_at = 'Zeit', glucose = 'Wert' }",
    )
    .unwrap();
    let context = Context {
        zone: chrono_tz::Europe::Vienna,
        cats: vec![(CatName::new("pepper").unwrap(), Unit::MgDl)],
        ranges: Vec::new(),
        layouts: vec![Layout::new(&layout).unwrap()],
    };
    let start = Moment::parse("2023-01-01T00:00:00Z").unwrap();
    let at = |row: usize| start + minutes(15.0 * row as f64);
    let local = |row: usize, format: &str| at(row).utc().format(format).to_string();
    let mut files = [
        ("offset.csv", "measured_at,glucose\n".to_owned()),
        ("local.csv", "measured_at,glucose\n".to_owned()),
        ("layout.txt", "Zeit;Wert\n".to_owned()),
        ("lines.ndjson", String::new()),
    ];
    for row in 0..ROWS {
        let level = 60 + row % 200;
        files[0].1 += &format!("{},{level}\n", at(row));
        files[1].1 += &format!("{},{level}\n", local(row, "%Y-%m-%d %H:%M"));
        files[2].1 += &format!("{};{},5\n", local(row, "%d.%m.%Y %H:%M"), 3 + row % 20);
        files[3].1 += &format!("{{\"measured_at\":\"{}\",\"glucose\":{level}}}\n", at(row));
    }
    let bare = best_of_five(|| {
        let mut reader = csv::Reader::from_reader(files[0].1.as_bytes());
        let mut record = csv::ByteRecord::new();
        let mut count = 0;
        while reader.read_byte_record(&mut record).unwrap() {
            count += 1;
        }
        assert_eq!(count, ROWS);
    });
    println!("bare csv crate: {:.0} rows/s", ROWS as f64 / bare.as_secs_f64());
    for (name, text) in &files {
        let ours = best_of_five(|| {
            let parsed = parse(name, text.as_bytes(), &context).unwrap();
            // Local times in the hours left out in spring are rejected.
            assert!(parsed.records.len() + parsed.rejects.len() == ROWS && parsed.rejects.len() < 20);
        });
        println!(
            "{name}: {:.0} rows/s, {:.1} times the bare csv crate's time",
            ROWS as f64 / ours.as_secs_f64(),
            ours.as_secs_f64() / bare.as_secs_f64()
        );
    }
}
