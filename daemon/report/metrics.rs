//! The present as figures for a monitoring system, in the text format of Prometheus (exposition format 0.0.4). In: the
//! status. Out: the text.

use std::fmt::Write as _;

use super::status::{CatStatus, HouseStatus};
use crate::words::{Moment, Severity, Value};

/// All figures. Levels in mg/dL, times in seconds since 1970, shares from 0 to 1; what is not known is left out.
#[must_use]
pub fn metrics_text(status: &HouseStatus) -> String {
    let mut sheet = Sheet { text: String::new() };
    sheet.family(
        "lowtide_info",
        "The program that runs.",
        [(vec![("version", status.version.as_str())], 1.0)],
    );
    sheet.family("lowtide_outbox_messages", "Messages on their way.", [(vec![], status.outbox as f64)]);
    type Figure = fn(&CatStatus) -> Option<f64>;
    let figures: [(&str, &str, Figure); 10] = [
        ("newest_reading_timestamp_seconds", "When the newest reading was measured.", |cat| {
            seconds(cat.newest_at)
        }),
        ("newest_reading_mg_dl", "The newest reading, if the sensor gave a level.", |cat| {
            cat.newest.and_then(Value::level)
        }),
        ("blood_mg_dl", "Blood estimate, while the newest reading is fresh.", |cat| cat.blood),
        ("blood_sd_mg_dl", "Standard deviation of the blood estimate.", |cat| cat.blood_sd),
        ("rate_mg_dl_per_minute", "Rate of the blood estimate.", |cat| cat.rate_per_min),
        ("low_chance_ratio", "Chance of a low within the horizon.", |cat| cat.low_ahead_chance),
        ("completeness_day_ratio", "Share of due readings held of the last day.", |cat| cat.completeness_day),
        ("last_dose_timestamp_seconds", "The last dose recorded.", |cat| seconds(cat.last_dose)),
        ("sensor_ends_timestamp_seconds", "When the sensor ends by itself.", |cat| seconds(cat.wear_ends)),
        ("spare_sensors", "Unused sensors.", |cat| cat.spares.map(f64::from)),
    ];
    for (name, help, figure) in figures {
        let samples =
            status.cats.iter().filter_map(|cat| Some((vec![("cat", cat.cat.as_str())], figure(cat)?)));
        sheet.family(&format!("lowtide_{name}"), help, samples);
    }
    let open = status.cats.iter().flat_map(|cat| {
        let count = |severity: Severity| cat.open.iter().filter(|open| open.severity == severity).count();
        SEVERITIES.map(|severity| {
            (vec![("cat", cat.cat.as_str()), ("severity", severity.word())], count(severity) as f64)
        })
    });
    sheet.family("lowtide_open_findings", "Findings that are open.", open);
    let own =
        |severity: Severity| status.house.iter().filter(|open| open.severity == severity).count() as f64;
    let own = SEVERITIES.map(|severity| (vec![("severity", severity.word())], own(severity)));
    sheet.family("lowtide_own_troubles", "Troubles of Lowtide itself.", own);
    sheet.text
}

fn seconds(at: Option<Moment>) -> Option<f64> {
    at.map(|at| at.millis() as f64 / 1000.0)
}

struct Sheet {
    text: String,
}

impl Sheet {
    fn family<'a>(
        &mut self,
        name: &str,
        help: &str,
        samples: impl IntoIterator<Item = (Vec<(&'a str, &'a str)>, f64)>,
    ) {
        let _ = writeln!(self.text, "# HELP {name} {help}\n# TYPE {name} gauge");
        for (labels, value) in samples {
            let labels: Vec<String> =
                labels.iter().map(|(key, text)| format!("{key}=\"{}\"", escaped(text))).collect();
            let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
            let _ = writeln!(self.text, "{name}{labels} {value}");
        }
    }
}

/// As the format asks for inside of quotation marks.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

const SEVERITIES: [Severity; 3] = [Severity::Critical, Severity::Warning, Severity::Notice];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_cannot_end_its_line() {
        let mut sheet = Sheet { text: String::new() };
        sheet.family("x", "Help.", [(vec![("cat", "a\"} 1\nb \\")], 2.5)]);
        assert_eq!(sheet.text, "# HELP x Help.\n# TYPE x gauge\nx{cat=\"a\\\"} 1\\nb \\\\\"} 2.5\n");
    }
}
