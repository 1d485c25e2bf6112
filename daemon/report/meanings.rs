//! What each message means and what to do, for whoever has never seen one: rows for the sitter's sheet, out of the
//! catalogue. Which messages there are is taken from the watches, so that a new one cannot be forgotten.

use super::status::OpenFinding;
use crate::tell::{Reader, act, title, what};
use crate::words::{Arg, CatSettings, Household, SensorKind, Severity, Telling, Watch};

/// A row: the message as its title reads, and the key that explains it.
struct Row {
    severity: Severity,
    title: &'static str,
    key: &'static str,
}

const fn row(severity: Severity, title: &'static str, key: &'static str) -> Row {
    Row { severity, title, key }
}

/// The rows that explain a watch; the first one names it. A watch of the daemon itself has the common row.
fn explained(watch: Watch) -> Vec<Row> {
    use Severity::{Critical, Notice, Warning};
    match watch {
        Watch::LowNow => vec![
            row(Critical, "low-now-danger", "sheet-low-now-danger"),
            row(Critical, "low-now-meter", "sheet-low-now-meter"),
            row(Warning, "low-now", "sheet-low-now"),
            row(Warning, "low-eases", "sheet-low-now"),
            row(Warning, "low-now-old", "sheet-low-now-old"),
            row(Warning, "low-over-unknown", "sheet-low-now-old"),
            row(Warning, "low-now-meter-stands", "sheet-low-now-meter-stands"),
            row(Notice, "low-now-meter-above", "sheet-low-now-meter-above"),
        ],
        Watch::LowAhead => {
            vec![row(Warning, "low-ahead", "sheet-low-ahead"), row(Warning, "scan-again", "sheet-scan-again")]
        }
        Watch::FallingFast => vec![row(Warning, "falling-fast", "sheet-falling-fast")],
        Watch::DoseTwice => vec![
            row(Critical, "dose-twice", "sheet-dose-twice-row"),
            row(Warning, "dose-twice-maybe", "sheet-dose-twice-row"),
        ],
        Watch::DoseStop => vec![row(Warning, "dose-stop", "sheet-before-dose")],
        Watch::BeforeDose => vec![
            row(Warning, "before-dose-hold", "sheet-before-dose"),
            row(Notice, "before-dose", "sheet-before-dose"),
        ],
        Watch::DoseDue => vec![row(Notice, "dose-due", "sheet-dose-late")],
        Watch::DoseLate => vec![row(Warning, "dose-late", "sheet-dose-late")],
        Watch::WindowClosing => vec![row(Warning, "window-closing", "sheet-window-closing")],
        Watch::WindowClosed => vec![row(Warning, "window-closed", "sheet-window-closed")],
        Watch::LowFoundLater => vec![row(Notice, "low-found-later", "sheet-low-found-later")],
        Watch::HighLong => vec![row(Warning, "high-long", "sheet-high-long")],
        Watch::SensorSilent => vec![
            row(Warning, "sensor-silent", "sheet-sensor-silent"),
            row(Warning, "sensor-ended", "sheet-sensor-silent"),
        ],
        Watch::SensorSuspect => vec![row(Warning, "sensor-suspect", "sheet-sensor-suspect")],
        Watch::SensorNotStarted => vec![row(Warning, "sensor-not-started", "sheet-sensor-not-started")],
        Watch::SensorEnding => vec![row(Notice, "sensor-ending", "sheet-sensor-ending")],
        Watch::HandOver => vec![row(Notice, "hand-over-you", "sheet-hand-over")],
        Watch::SparesLow
        | Watch::FileRejected
        | Watch::SourceRefused
        | Watch::DeliveryFailing
        | Watch::ClockWrong
        | Watch::DiskLow
        | Watch::DatabaseError => vec![row(Warning, "sheet-lowtide-title", "sheet-lowtide")],
    }
}

/// In the order in which they matter.
const ORDER: [Watch; 18] = [
    Watch::LowNow,
    Watch::DoseTwice,
    Watch::LowAhead,
    Watch::FallingFast,
    Watch::HighLong,
    Watch::DoseStop,
    Watch::BeforeDose,
    Watch::DoseLate,
    Watch::DoseDue,
    Watch::WindowClosing,
    Watch::WindowClosed,
    Watch::SensorSilent,
    Watch::SensorSuspect,
    Watch::SensorNotStarted,
    Watch::SensorEnding,
    Watch::LowFoundLater,
    Watch::HandOver,
    Watch::DatabaseError,
];

/// A telling with everything that a row of the sheet may name.
pub(super) fn common(key: &str, household: &Household, cat: &CatSettings) -> Telling {
    // Where a title names a time, the paper cannot know it.
    let open = Arg::Text("…".to_owned());
    Telling::new(key)
        .with("cat", Arg::Text(cat.called.clone()))
        .with("owner", Arg::Person(household.home.owner.clone()))
        .with("person", open.clone())
        .with("closes", open.clone())
        .with("due", open)
        .with("low", Arg::Glucose(cat.plan.low))
        .with("danger", Arg::Glucose(cat.plan.danger))
        .with("meter_low", Arg::Glucose(cat.plan.meter_low))
        .with("ahead", Arg::Minutes(cat.watch.low_ahead_minutes))
        .with("apart", Arg::Minutes(cat.doses.min_hours_between * 60.0))
}

/// What the message about an open finding is called: by what it says, or else by how severe it is.
pub(super) fn heading(
    reader: &Reader<'_>,
    household: &Household,
    cat: &CatSettings,
    open: &OpenFinding,
) -> String {
    let rows = explained(open.watch);
    let row = rows.iter().find(|row| row.title == open.key);
    let row = row.or_else(|| rows.iter().find(|row| row.severity == open.severity)).or_else(|| rows.first());
    named(reader, household, cat, row.map_or("sheet-lowtide-title", |row| row.title))
}

fn named(reader: &Reader<'_>, household: &Household, cat: &CatSettings, key: &str) -> String {
    if key == "sheet-lowtide-title" { reader.word(key) } else { title(reader, &common(key, household, cat)) }
}

/// The rows of the table: the message, what it means, what to do.
pub(super) fn rows(reader: &Reader<'_>, household: &Household, cat: &CatSettings) -> Vec<Vec<String>> {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for watch in ORDER.into_iter().filter(|watch| concerns(*watch, cat)) {
        for row in explained(watch) {
            let telling = common(row.key, household, cat);
            let name = named(reader, household, cat, row.title);
            let meaning = what(reader, &telling);
            let doing = act(reader, &telling).unwrap_or_default();
            match rows.last_mut() {
                // Two messages that mean the same share a row.
                Some(before) if before[1].ends_with(&meaning) => before[0] = format!("{}\n{name}", before[0]),
                _ => {
                    let severity = reader.word(severity_key(row.severity));
                    rows.push(vec![name, format!("({severity}) {meaning}"), doing]);
                }
            }
        }
    }
    let prefix = ["again", "escalated", "returned", "worse"]
        .map(|key| reader.line(&Telling::new(key).with("title", Arg::Text("…".to_owned()))));
    let explained = |name: String, key: &str| {
        let telling = common(key, household, cat);
        vec![name, what(reader, &telling), act(reader, &telling).unwrap_or_default()]
    };
    rows.push(explained(prefix.join("\n"), "sheet-prefix"));
    rows.push(explained(named(reader, household, cat, "taken"), "sheet-taken"));
    rows
}

/// What a severity asks of whoever reads, as a key.
pub(super) const fn severity_key(severity: Severity) -> &'static str {
    match severity {
        Severity::Critical => "sheet-critical",
        Severity::Warning => "sheet-warning",
        Severity::Notice => "sheet-notice",
    }
}

/// Whether this cat's settings let a watch speak.
fn concerns(watch: Watch, cat: &CatSettings) -> bool {
    match watch {
        Watch::WindowClosing | Watch::WindowClosed => cat.sensor.kind == SensorKind::Scanned,
        Watch::DoseStop | Watch::BeforeDose | Watch::DoseDue | Watch::DoseLate => !cat.doses.times.is_empty(),
        Watch::HighLong => cat.plan.high.is_some(),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_watch_has_a_row_on_the_sheet() {
        for watch in Watch::ALL {
            let key = explained(*watch)[0].key;
            let shown = ORDER.iter().any(|shown| explained(*shown)[0].key == key);
            assert!(shown, "{watch} has no row");
        }
    }
}
