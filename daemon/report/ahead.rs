//! The next hours as the outlook sees them: for `lowtide status --ahead`, as data and as a table that fits on a phone.

use serde::{Deserialize, Serialize};

use super::status::{CatStatus, HouseStatus, blood_line, rounded};
use crate::glucose::Tracker;
use crate::tell::Reader;
use crate::words::{Household, Moment, Watch, minutes};

/// What may be so many minutes on. Levels in mg/dL.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ahead {
    /// How far ahead, minutes.
    pub minutes: f64,
    /// When that is.
    pub at: Moment,
    /// Blood then lies in here in 8 cases of 10.
    pub interval80: [f64; 2],
    /// Chance of having been under the plan's low at any time until then, 0 to 1.
    pub low_chance: f64,
}

/// What is looked at, minutes, and how that is written.
const LOOKS: [(f64, &str); 6] =
    [(30.0, "30m"), (60.0, "1h"), (90.0, "1h30"), (120.0, "2h"), (180.0, "3h"), (240.0, "4h")];
/// Columns of a phone held upright.
const COLUMNS: usize = 40;

/// The next hours from `now` on, against the plan's `low`, mg/dL.
pub(super) fn ahead(tracker: &Tracker, low: f64, now: Moment) -> Vec<Ahead> {
    let spans = LOOKS.map(|(span, _)| span);
    let outlooks = tracker.outlooks(now, &spans, low);
    let one = |(span, outlook): (&f64, &crate::glucose::Outlook)| Ahead {
        minutes: *span,
        at: now + minutes(*span),
        interval80: outlook.interval80.map(|end| rounded(end, 1)),
        low_chance: rounded(outlook.chance, 3),
    };
    spans.iter().zip(&outlooks).map(one).collect()
}

/// The next hours of each cat, for a terminal.
#[must_use]
pub fn ahead_text(status: &HouseStatus, household: &Household) -> String {
    let reader = Reader::typed(household, status.at);
    let mut lines = Vec::new();
    for cat in &status.cats {
        lines.extend(cat_lines(cat, household, &reader));
        lines.push(String::new());
    }
    lines.extend(wrapped(CAUTION));
    lines.join("\n")
}

/// Said under every table: what the outlook rests on, and what it is not for.
const CAUTION: &str = "A filter's guess, much less sure further ahead. It knows nothing of food or doses to \
    come. It is no advice about doses. A sensor can be wrong: check a low with a meter.";

fn cat_lines(cat: &CatStatus, household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let settings = household.cat(&cat.cat);
    let called = settings.map_or(cat.cat.to_string(), |settings| settings.called.clone());
    let Some((settings, (newest_at, newest))) = settings.zip(cat.newest_at.zip(cat.newest)) else {
        return wrapped(&format!("{called}: no look ahead, no reading yet."));
    };
    let read = format!("{} at {}", reader.value(newest), reader.time(newest_at));
    let mut lines = if cat.ahead.is_empty() {
        let why = blood_line(cat, household, reader).unwrap_or_default();
        wrapped(&format!("{called}: no look ahead, {} (newest reading: {read}).", why.trim()))
    } else {
        let mut lines = wrapped(&format!("{called}: {read}"));
        // The table is the sensor's: beside a low by the meter its chances would comfort.
        if cat.open.iter().any(|finding| finding.watch == Watch::LowNow) {
            lines.extend(wrapped("A low is open: what to do now, `lowtide status` says."));
        }
        lines.extend(table(&cat.ahead, settings.plan.low, reader));
        lines.extend(wrapped("In 8 of 10 cases blood is in the range."));
        lines
    };
    lines.extend(cat.scan_again.map(|at| {
        let due = at > cat.at;
        let since = if due { "Worth another scan by" } else { "Worth another scan since" };
        format!("{since} {}.", reader.time(at))
    }));
    lines
}

/// A row for each look, under a heading.
fn table(looks: &[Ahead], low: f64, reader: &Reader<'_>) -> Vec<String> {
    let number = |mg_dl: f64| reader.number(reader.units.of_mg_dl(mg_dl), reader.units.decimals());
    let heading =
        ["in".into(), "at".into(), reader.units.to_string(), format!("under {} by then", number(low))];
    let row = |look: &Ahead| {
        let written = LOOKS.iter().find(|(span, _)| *span == look.minutes);
        let [from, to] = look.interval80.map(number);
        [
            written.map_or_else(|| reader.span(look.minutes), |(_, written)| (*written).to_owned()),
            reader.time(look.at),
            format!("{from}-{to}"),
            reader.chance(look.low_chance),
        ]
    };
    let rows: Vec<[String; 4]> = std::iter::once(heading).chain(looks.iter().map(row)).collect();
    let wide = |k: usize| rows.iter().map(|row| row[k].chars().count()).max().unwrap_or(0);
    let [span, at, range] = [wide(0), wide(1), wide(2)];
    let line = |[a, b, c, d]: &[String; 4]| format!("{a:span$} {b:at$}  {c:range$}  {d}");
    rows.iter().map(line).collect()
}

/// A text in lines of a phone's width; a longer word has a line of its own.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= COLUMNS => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
