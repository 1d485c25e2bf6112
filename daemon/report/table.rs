//! The curve as a table for other programs: CSV by RFC 4180, decimal points, times in UTC, minutes and shares as
//! plain numbers. A text that a spreadsheet would take for a formula gets an apostrophe in front.

use super::curve::Curve;
use super::figures::Figures;
use crate::words::{CatSettings, Reading, Unit, Value};

/// Why a table could not be made; it never happens in memory.
#[derive(Debug, thiserror::Error)]
#[error("the table could not be written: {0}")]
pub struct TableError(String);

/// The rows: `cycle`, `day` and one `total`, levels in `unit`.
///
/// # Errors
/// If the library refuses a row, which it has no reason to.
pub fn curve_csv(cat: &CatSettings, curve: &Curve, unit: Unit) -> Result<String, TableError> {
    let failed = |error: &dyn std::fmt::Display| TableError(error.to_string());
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    let mut row = |fields: Vec<String>| writer.write_record(&fields).map_err(|error| failed(&error));
    row(HEAD.iter().map(|name| (*name).to_owned()).collect())?;
    for cycle in &curve.cycles {
        let own = Own {
            kind: "cycle",
            closed: if cycle.closed { "yes" } else { "no" },
            doses: 1,
            units: cycle.dose.units.map_or_else(String::new, |units| units.to_string()),
            by: cycle.dose.by.clone().unwrap_or_default(),
            pre_dose: shown(cycle.pre_dose.as_ref(), unit),
            after: cycle.nadir_after_minutes().map_or_else(String::new, |minutes| number(minutes, 0)),
        };
        row(fields(cat, own, &cycle.figures, unit))?;
    }
    for day in &curve.days {
        row(fields(cat, Own::plain("day", day.doses), &day.figures, unit))?;
    }
    let doses = curve.days.iter().map(|day| day.doses).sum();
    row(fields(cat, Own::plain("total", doses), &curve.whole, unit))?;
    let bytes = writer.into_inner().map_err(|error| failed(&error.error()))?;
    String::from_utf8(bytes).map_err(|error| failed(&error))
}

/// What the kinds of rows have besides the figures.
struct Own {
    kind: &'static str,
    closed: &'static str,
    doses: usize,
    units: String,
    by: String,
    pre_dose: String,
    after: String,
}

impl Own {
    fn plain(kind: &'static str, doses: usize) -> Self {
        let (units, by, pre_dose, after) = (String::new(), String::new(), String::new(), String::new());
        Self { kind, closed: "", doses, units, by, pre_dose, after }
    }
}

fn fields(cat: &CatSettings, own: Own, figures: &Figures, unit: Unit) -> Vec<String> {
    let above = cat.plan.high.map_or_else(String::new, |_| number(figures.above_minutes, 1));
    vec![
        own.kind.to_owned(),
        cat.name.to_string(),
        figures.from.to_string(),
        figures.until.to_string(),
        own.closed.to_owned(),
        own.doses.to_string(),
        own.units,
        harmless(&own.by),
        unit.code().to_owned(),
        own.pre_dose,
        shown(figures.lowest.as_ref(), unit),
        figures.lowest.map_or_else(String::new, |lowest| lowest.measured_at.to_string()),
        own.after,
        shown(figures.highest.as_ref(), unit),
        figures.mean.map_or_else(String::new, |(mean, _)| number(unit.of_mg_dl(mean), unit.decimals() + 1)),
        figures.mean.map_or_else(String::new, |(_, bound)| bound.word().to_owned()),
        number(figures.below_minutes, 1),
        number(figures.inside_minutes, 1),
        above,
        number(figures.held, 4),
    ]
}

fn number(number: f64, decimals: usize) -> String {
    format!("{number:.decimals$}")
}

fn shown(reading: Option<&Reading>, unit: Unit) -> String {
    match reading.map(|reading| reading.value) {
        None => String::new(),
        Some(Value::Below) => "LO".to_owned(),
        Some(Value::Above) => "HI".to_owned(),
        Some(Value::Level(mg_dl)) => unit.show(mg_dl),
    }
}

/// A text from outside that no spreadsheet takes for a formula: one that begins with `=`, `+`, `-`, `@`, a tab or a
/// line break gets an apostrophe in front (advice of the OWASP page "CSV Injection", from memory).
fn harmless(text: &str) -> String {
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let first = text.trim_start().chars().next();
    let formula = first.is_some_and(|c| "=+-@\u{ff1d}\u{ff0b}\u{ff0d}\u{ff20}".contains(c));
    if formula { format!("'{text}") } else { text }
}

const HEAD: [&str; 20] = [
    "kind",
    "cat",
    "from",
    "until",
    "closed",
    "doses",
    "units",
    "by",
    "unit",
    "pre_dose",
    "lowest",
    "lowest_at",
    "lowest_after_minutes",
    "highest",
    "mean",
    "mean_is",
    "below_minutes",
    "in_range_minutes",
    "above_minutes",
    "held_share",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_is_a_formula() {
        for bad in ["=1+1", "+1", "-1", "@x", "\t=1", " =1", "\r\n=1", "\u{ff1d}1"] {
            assert!(harmless(bad).starts_with('\''), "{bad:?}");
        }
        assert_eq!(harmless("Sam"), "Sam");
    }
}
