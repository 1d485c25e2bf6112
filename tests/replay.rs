//! Recorded histories become findings and messages, word for word as kept beside them in `tests/data/replay`.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};

use lowtide::config::{Config, Surroundings, examine};
use lowtide::replay::{ReplayError, ReplayJob, ReplaySummary, Writers, load, replay, replay_files};
use lowtide::simulate::cat;
use lowtide::words::{Batch, Event, Moment, Reading, ReadingKind, SensorKind, Value, Via, minutes};
use serde_json::Value as Json;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/replay").join(name)
}

fn config(name: &str) -> Config {
    let examined = examine(&data(name), &Surroundings::default()).unwrap();
    assert!(examined.is_sound(), "{name}: {:?}", examined.problems);
    examined.config.unwrap()
}

struct Played {
    summary: ReplaySummary,
    out: String,
    estimates: String,
}

fn played(config: &Config, files: &[&str]) -> Played {
    let files: Vec<PathBuf> = files.iter().map(|name| data(name)).collect();
    let history = load(&config.household, &config.layouts, &files).unwrap();
    assert!(history.unread.is_empty(), "{:?}", history.unread);
    of_events(config, history.events)
}

fn of_events(config: &Config, events: Vec<(Moment, Event)>) -> Played {
    let mut sink = Writers::new(Some(Vec::new()), Some(Vec::new())).unwrap();
    let mut steps = Vec::new();
    let summary =
        replay(&config.household, events, &mut sink, &mut |done, total| steps.push((done, total))).unwrap();
    assert!(steps.windows(2).all(|pair| pair[0].0 < pair[1].0), "progress goes on");
    assert!(steps.last().is_none_or(|(done, total)| done == total), "progress comes to its end");
    let (out, estimates) = sink.finish().unwrap();
    let text = |bytes: Option<Vec<u8>>| String::from_utf8(bytes.unwrap()).unwrap();
    Played { summary, out: text(out), estimates: text(estimates) }
}

impl Played {
    fn lines(&self) -> Vec<Json> {
        self.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    /// Lines of one watch and kind of change.
    fn of(&self, watch: &str, change: &str) -> Vec<Json> {
        self.lines().into_iter().filter(|l| l["watch"] == watch && l["change"] == change).collect()
    }

    /// Rows of the estimates, without the header.
    fn rows(&self) -> Vec<Vec<String>> {
        self.estimates.lines().skip(1).map(|row| row.split(',').map(str::to_owned).collect()).collect()
    }

    fn is_as_kept(&self, name: &str) {
        let path = data(name);
        if std::env::var_os("REWRITE").is_some() {
            fs::write(&path, &self.out).unwrap();
        }
        let kept = fs::read_to_string(&path).unwrap_or_default();
        for (number, (now, then)) in self.out.lines().zip(kept.lines()).enumerate() {
            assert_eq!(now, then, "{name}, line {}; REWRITE=1 keeps the new one", number + 1);
        }
        assert_eq!(self.out.lines().count(), kept.lines().count(), "{name}: more or fewer lines than kept");
    }
}

#[test]
fn two_weeks_of_a_streamed_sensor() {
    let config = config("streamed.toml");
    let played = played(&config, &["two_weeks.csv", "two_weeks.doses.csv", "two_weeks.sensor.csv"]);
    played.is_as_kept("two_weeks.ndjson");
    assert_eq!(played.summary.readings as usize, played.rows().len());
    assert!(played.of("low-now", "changed").iter().any(|line| line["severity"] == "critical"));
    assert!(!played.of("sensor-silent", "message").is_empty());
    // The last reading is followed by a day of simulated time.
    let last = played.lines().last().unwrap()["at"].as_str().and_then(Moment::parse).unwrap();
    assert!(last > played.summary.span.unwrap().1);
}

#[test]
fn the_names_of_the_lines_are_the_contract() {
    let played = played(&config("streamed.toml"), &["out_of_range.csv"]);
    for line in played.out.lines() {
        let keys: Vec<&str> = line.split('"').skip(1).step_by(2).collect();
        let starts = |names: &[&str]| names.iter().all(|name| keys.contains(name));
        assert!(starts(&["at", "cat", "watch", "change", "text"]), "{line}");
        let parsed: Json = serde_json::from_str(line).unwrap();
        let count = parsed.as_object().unwrap().len();
        match parsed["change"].as_str().unwrap() {
            "message" => assert!(count == 7 && starts(&["person", "channel"]), "{line}"),
            "opened" | "changed" | "cleared" => assert!(count == 6 && starts(&["severity"]), "{line}"),
            other => panic!("{other}"),
        }
    }
    assert_eq!(
        played.estimates.lines().next(),
        Some("cat,measured_at,received_at,glucose,blood,blood_sd,rate_per_min,p_low")
    );
}

#[test]
fn out_of_range_is_information_and_stays_text() {
    let played = played(&config("streamed.toml"), &["out_of_range.csv"]);
    played.is_as_kept("out_of_range.ndjson");
    let rows = played.rows();
    assert_eq!(rows.len(), 30);
    assert_eq!(rows.iter().filter(|row| row[3] == "LO").count(), 3);
    assert_eq!(rows.iter().filter(|row| row[3] == "HI").count(), 3);
    // Below what the sensor reads (40) blood is not put far over it.
    let blood_at_low: Vec<f64> =
        rows.iter().filter(|row| row[3] == "LO").map(|row| row[4].parse().unwrap()).collect();
    assert!(blood_at_low.iter().all(|blood| *blood < 50.0), "{blood_at_low:?}");
    let opened = played.of("low-now", "opened");
    assert_eq!(opened.len(), 1, "one fall is one finding");
    assert!(!played.of("low-now", "cleared").is_empty());
    assert!(
        played.of("low-now", "message").iter().any(|line| line["person"] == "sitter"),
        "unanswered, it goes on"
    );
}

#[test]
fn millimoles_and_local_times_are_understood() {
    let played = played(&config("streamed.toml"), &["mmol.csv"]);
    played.is_as_kept("mmol.ndjson");
    let rows = played.rows();
    // 9.8 mmol/L times 18.0156 is 176.55 mg/dL; 09:00 in Vienna in June is 07:00 UTC.
    assert!((rows[0][3].parse::<f64>().unwrap() - 176.55).abs() < 0.01, "{:?}", rows[0]);
    assert!(rows.iter().all(|row| row[3].len() <= 6), "two digits after the point are enough");
    assert_eq!((rows[0][1].as_str(), rows[0][2].as_str()), ("2026-06-10T07:00:00Z", "2026-06-10T07:00:00Z"));
    assert!(!played.of("low-ahead", "opened").is_empty(), "a fall is seen before it is a low");
}

#[test]
fn the_window_keeps_its_hours_over_both_clock_changes() {
    let config = config("scanned.toml");
    let spring = played(&config, &["spring.csv"]);
    spring.is_as_kept("spring.ndjson");
    let autumn = played(&config, &["autumn.csv"]);
    autumn.is_as_kept("autumn.ndjson");
    for (played, newest) in [(&spring, "2026-03-28T21:00:00Z"), (&autumn, "2026-10-24T20:00:00Z")] {
        // Eight hours are eight hours, whatever the clock on the wall does meanwhile. The night's reminder comes
        // before bed; the window of the last evening scan never closes before eight hours are over.
        let newest = Moment::parse(newest).unwrap();
        for closed in played.of("window-closed", "opened") {
            let at = Moment::parse(closed["at"].as_str().unwrap()).unwrap();
            assert!(at >= newest + minutes(480.0), "{closed}");
        }
        let last_scan = played.summary.span.unwrap().1;
        let after = played.of("window-closed", "opened").pop().unwrap();
        let at = Moment::parse(after["at"].as_str().unwrap()).unwrap();
        let waited = at.minutes_since(last_scan);
        assert!((465.0..=480.0).contains(&waited), "{waited} min after the last scan");
    }
}

#[test]
fn a_scan_that_brings_nothing_new_is_a_silent_sensor() {
    let played = played(&config("scanned.toml"), &["scan_evening.json", "scan_noon.json"]);
    played.is_as_kept("nothing_new.ndjson");
    let silent = played.of("sensor-silent", "opened");
    assert_eq!(silent.len(), 1);
    assert_eq!(silent[0]["at"], "2026-06-10T15:07:00Z", "at the scan, whatever the order of the files");
    assert_eq!((played.summary.readings, played.summary.repeated), (32, 32));
}

#[test]
fn the_same_history_twice_over_changes_nothing() {
    let config = config("streamed.toml");
    let once = played(&config, &["out_of_range.csv"]);
    let twice = played(&config, &["out_of_range.csv", "out_of_range.csv"]);
    assert_eq!(once.out, twice.out);
    assert_eq!(once.estimates, twice.estimates);
    assert_eq!(twice.summary.repeated, 30);
}

#[test]
fn files_go_in_and_files_come_out_and_nothing_else_is_left() {
    let folder = tempfile::tempdir().unwrap();
    let config = config("streamed.toml");
    let (out, estimates) = (folder.path().join("f.ndjson"), folder.path().join("e.csv"));
    let source = folder.path().join("h.csv");
    let mut text = fs::read_to_string(data("out_of_range.csv")).unwrap();
    text.push_str("2026-06-10T06:00:00+02:00,many,mg/dL,\n");
    fs::write(&source, text).unwrap();
    let files = [source.clone()];
    let job = |out| ReplayJob {
        household: &config.household,
        layouts: &[],
        files: &files,
        out: Some(out),
        estimates: Some(&estimates),
    };
    let (summary, unread) = replay_files(&job(&out), &mut |_, _| ()).unwrap();
    assert_eq!(summary.readings, 30);
    assert_eq!((unread.len(), unread[0].reject.line), (1, 32));
    assert_eq!(fs::read_to_string(&out).unwrap(), played(&config, &["out_of_range.csv"]).out);
    let error = replay_files(&job(&source), &mut |_, _| ()).unwrap_err();
    assert!(matches!(error, ReplayError::Overwrites { .. }), "{error}");
    assert!(fs::read_to_string(&source).unwrap().contains("many"), "the history is still there");
    let mut left: Vec<_> =
        fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    left.sort();
    assert_eq!(left, ["e.csv", "f.ndjson", "h.csv"]);
}

fn batch(config: &Config, reading: Reading) -> Batch {
    Batch {
        cat: config.household.cats[0].name.clone(),
        via: Via::Replay,
        source: "invented".into(),
        sensor: None,
        scanned_at: None,
        readings: vec![reading],
        repeated: 0,
        conflicts: Vec::new(),
        newest: Some(reading.measured_at),
    }
}

fn stream(config: &Config, days: u32) -> Vec<(Moment, Event)> {
    let settings = &config.household.cats[0];
    assert_eq!(settings.sensor.kind, SensorKind::Streamed);
    let trace = cat::simulate(5, days, &cat::Options::default());
    let event =
        |reading: &Reading| (reading.measured_at + minutes(0.5), Event::Readings(batch(config, *reading)));
    trace.readings.iter().map(event).collect()
}

#[test]
fn two_months_of_an_invented_cat_are_taken_whole() {
    let config = config("streamed.toml");
    let events = stream(&config, 60);
    let sent = events.len() as u64;
    let played = of_events(&config, events);
    // How fast that is, is measured by the benchmarks.
    assert!(sent > 5000);
    assert_eq!(played.summary.readings, sent);
}

#[test]
fn an_estimate_leads_a_falling_sensor_by_rate_times_lag() {
    let mut config = config("streamed.toml");
    config.household.cats[0].sensor.lag_minutes = 8.0;
    let begins = Moment::parse("2026-06-10T08:00:00Z").unwrap();
    let fall: Vec<(Moment, Event)> = (0..12)
        .map(|n| {
            let measured_at = begins + minutes(15.0 * f64::from(n));
            let value = Value::Level(350.0 - 22.5 * f64::from(n));
            let reading = Reading { measured_at, value, kind: ReadingKind::History };
            (measured_at, Event::Readings(batch(&config, reading)))
        })
        .collect();
    let played = of_events(&config, fall);
    let rows = played.rows();
    let number = |row: &Vec<String>, column: usize| row[column].parse::<f64>().unwrap();
    let last = rows.last().unwrap();
    // A steady fall of 1.5 mg/dL a minute behind a lag of 8 minutes is read 12 mg/dL too high (dI/dt = (B - I)/tau:
    // Rebrin et al., Am J Physiol 1999;277:E561). The filter shrinks rates a little, so it may see less, not more.
    assert!((-1.6..-0.8).contains(&number(last, 6)), "{last:?}");
    assert!((6.0..13.0).contains(&(number(last, 3) - number(last, 4))), "{last:?}");
    assert!(rows.iter().all(|row| (0.0..=1.0).contains(&number(row, 7))));
}

#[test]
fn a_scans_readings_are_each_judged_by_what_was_measured_up_to_them() {
    let scanned = config("scanned.toml");
    let together = played(&scanned, &["scan_noon.json"]);
    let mut alone = load(&scanned.household, &[], &[data("scan_noon.json")]).unwrap().events;
    let Event::Readings(scan) = alone.remove(0).1 else { panic!("a scan is readings") };
    let one_by_one = scan.readings.iter().map(|reading| {
        (reading.measured_at, Event::Readings(Batch { readings: vec![*reading], ..scan.clone() }))
    });
    let alone = of_events(&scanned, one_by_one.collect());
    let figures = |played: &Played| -> Vec<Vec<String>> {
        played.rows().into_iter().map(|row| [&row[..2], &row[3..]].concat()).collect()
    };
    assert_eq!(figures(&together).len(), 32);
    assert_eq!(figures(&together), figures(&alone));
}
