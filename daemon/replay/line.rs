//! What a replay writes: one JSON object a line for findings and messages, one CSV row for each reading.
//! The names are the contract; `docs/formats.md` describes them for people.

use std::io::{self, Write};

use serde::Serialize;

use crate::words::{CatName, Moment, PersonName, Severity, Value, Watch};

/// A finding that opened, changed or cleared, or a message that was sent.
#[derive(Clone, Debug, Serialize)]
pub struct Line<'a> {
    /// When.
    pub at: Moment,
    /// About which cat; null for the daemon itself.
    pub cat: Option<&'a CatName>,
    /// Which rule; for a message that of the worst finding in it.
    pub watch: Watch,
    /// `opened`, `changed`, `cleared` or `message`.
    pub change: &'static str,
    /// Of a finding: how bad.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    /// Of a message: to whom.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub person: Option<&'a PersonName>,
    /// Of a message: over which way, `ntfy` or `email`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<&'static str>,
    /// What is told: of a finding in the home's language and units, of a message as its person reads it, the
    /// title in the first line.
    pub text: &'a str,
}

/// One accepted reading with what was known of blood glucose at that reading when it was received.
#[derive(Clone, Debug, PartialEq)]
pub struct EstimateLine<'a> {
    /// Whose.
    pub cat: &'a CatName,
    /// When the sensor measured it.
    pub measured_at: Moment,
    /// When it was received.
    pub received_at: Moment,
    /// The reading: mg/dL, `LO` or `HI`.
    pub glucose: Value,
    /// What follows from it; `None` if the reading was set aside (dated in the future, or too old to matter).
    pub known: Option<KnownThen>,
}

/// Where blood glucose was at a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownThen {
    /// Expected blood glucose at the reading's time, mg/dL.
    pub blood: f64,
    /// Its standard deviation, mg/dL.
    pub blood_sd: f64,
    /// Its rate, mg/dL per minute.
    pub rate_per_min: f64,
    /// Chance that blood is or goes under the plan's low within the outlook's horizon after the reading, 0 to 1;
    /// `None` for a reading that came after a newer one, where the outlook was no longer asked for.
    pub p_low: Option<f64>,
}

/// Where the lines go.
pub trait Sink {
    /// A finding or a message.
    ///
    /// # Errors
    /// If it cannot be written.
    fn line(&mut self, line: &Line<'_>) -> io::Result<()>;

    /// Whether estimates are wanted at all; they cost time.
    fn wants_estimates(&self) -> bool;

    /// An accepted reading.
    ///
    /// # Errors
    /// If it cannot be written.
    fn estimate(&mut self, line: &EstimateLine<'_>) -> io::Result<()>;
}

/// Writes NDJSON and CSV, each if wanted.
pub struct Writers<O, E> {
    out: Option<O>,
    estimates: Option<E>,
}

impl<O: Write, E: Write> Writers<O, E> {
    /// Begins; writes the CSV's header.
    ///
    /// # Errors
    /// If that cannot be written.
    pub fn new(out: Option<O>, mut estimates: Option<E>) -> io::Result<Self> {
        if let Some(estimates) = &mut estimates {
            writeln!(estimates, "cat,measured_at,received_at,glucose,blood,blood_sd,rate_per_min,p_low")?;
        }
        Ok(Self { out, estimates })
    }

    /// Ends, with everything written out.
    ///
    /// # Errors
    /// If the last of it cannot be written.
    pub fn finish(mut self) -> io::Result<(Option<O>, Option<E>)> {
        if let Some(out) = &mut self.out {
            out.flush()?;
        }
        if let Some(estimates) = &mut self.estimates {
            estimates.flush()?;
        }
        Ok((self.out, self.estimates))
    }
}

impl<O: Write, E: Write> Sink for Writers<O, E> {
    fn line(&mut self, line: &Line<'_>) -> io::Result<()> {
        let Some(out) = &mut self.out else { return Ok(()) };
        serde_json::to_writer(&mut *out, line)?;
        out.write_all(b"\n")
    }

    fn wants_estimates(&self) -> bool {
        self.estimates.is_some()
    }

    /// No field can hold a comma or a quote, so the row needs no quoting (RFC 4180).
    fn estimate(&mut self, line: &EstimateLine<'_>) -> io::Result<()> {
        let Some(out) = &mut self.estimates else { return Ok(()) };
        write!(out, "{},{},{},", line.cat, line.measured_at, line.received_at)?;
        match line.glucose {
            Value::Below => write!(out, "LO,")?,
            Value::Above => write!(out, "HI,")?,
            // What came as mmol/L is no round number of mg/dL.
            Value::Level(mg_dl) => write!(out, "{},", (mg_dl * 100.0).round() / 100.0)?,
        }
        match line.known {
            None => writeln!(out, ",,,"),
            Some(known) => {
                write!(out, "{:.2},{:.2},{:.4},", known.blood, known.blood_sd, known.rate_per_min)?;
                match known.p_low {
                    Some(chance) => writeln!(out, "{chance:.4}"),
                    None => writeln!(out),
                }
            }
        }
    }
}
