//! What the meter checks say of a sensor: what the estimate makes of it, and the pairs behind it. A cat comes in; data
//! and words go out. It says nothing about a dose.

use serde::{Deserialize, Serialize};

use super::status::rounded;
use crate::glucose::agreement::Agreement;
use crate::glucose::pairs::{Compared, Correction, KindTally, Tally, Taught};
use crate::tell::Reader;
use crate::watch::CatState;
use crate::words::{Arg, CatSettings, MeterKind, Moment, Telling};

/// Meter checks beside the sensor. Levels in mg/dL, differences are sensor minus meter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MeterChecks {
    /// By what share the sensor that is on seems to read too high (negative: too low), as the blood estimate reckons
    /// with it; `null` before a check has told.
    pub correction: Option<Correction>,
    /// Of the checks since the present or last sensor was put on: those with a whole-blood meter, or out of a range.
    /// The estimate does not reckon with them.
    pub left_out: LeftOut,
    /// The pairs since then, by kind of meter.
    pub wear: Tally,
    /// The pairs of all that is kept: the newest checks of some months.
    pub all: Tally,
}

/// Checks that the estimate does not reckon with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// Made with a whole-blood meter.
    pub whole_blood: usize,
    /// The meter, of another kind, was out of its range.
    pub meter_out_of_range: usize,
}

impl MeterChecks {
    /// Of a cat at `now`.
    #[must_use]
    pub(super) fn of(cat: &CatState, settings: &CatSettings, now: Moment) -> Self {
        let worn = cat.wear.as_ref();
        let on = worn.is_none_or(|wear| wear.ended.is_none()) || !cat.wear_over(settings, now);
        let held = cat.tracker.pairs().checks();
        let own = held.partition_point(|check| worn.is_some_and(|wear| check.at < wear.applied));
        let own = &held[own..];
        Self {
            correction: cat.tracker.correction(now).filter(|_| on).map(shown_correction),
            left_out: LeftOut::of(own),
            wear: shown_tally(Tally::of(own)),
            all: shown_tally(Tally::of(held)),
        }
    }
}

impl LeftOut {
    fn of(checks: &[Compared]) -> Self {
        let whole = |check: &&Compared| check.meter == MeterKind::WholeBlood;
        let (whole, rest): (Vec<&Compared>, Vec<&Compared>) = checks.iter().partition(whole);
        let out = rest.iter().filter(|check| check.reference.level().is_none());
        Self { whole_blood: whole.len(), meter_out_of_range: out.count() }
    }
}

/// What the estimate makes of the checks, and which it does not use; a sentence each; none without any check.
pub(super) fn correction_words(checks: &MeterChecks, reader: &Reader<'_>) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(correction) = &checks.correction {
        let count = Arg::Count(i64::from(correction.taught.checks()));
        let told = Telling::new("correction")
            .with("count", count)
            .with("kinds", Arg::Text(kinds(&correction.taught, reader)))
            .with("off", off(correction.error))
            .with("doubt", Arg::Share(correction.error_sd));
        words.push(reader.line(&told));
        if correction.taught.human > 0 {
            words.push(reader.word("correction-people"));
        }
        if correction.taught.unknown > 0 {
            words.push(reader.word("correction-unknown"));
        }
    }
    let LeftOut { whole_blood, meter_out_of_range } = checks.left_out;
    for (key, count) in
        [("correction-whole-blood", whole_blood), ("correction-out-of-range", meter_out_of_range)]
    {
        if count > 0 {
            words.push(reader.line(&Telling::new(key).with("count", Arg::Count(count as i64))));
        }
    }
    words
}

/// The kinds of meter, with how many checks of each where there are several.
fn kinds(taught: &Taught, reader: &Reader<'_>) -> String {
    let all = [
        (MeterKind::Pet, taught.pet),
        (MeterKind::Human, taught.human),
        (MeterKind::Unknown, taught.unknown),
    ];
    let some: Vec<(String, u32)> = all
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .map(|(kind, count)| (reader.word(meter_word(kind)), count))
        .collect();
    if let [(word, _)] = some.as_slice() {
        return word.clone();
    }
    let each = some.into_iter().map(|(word, count)| {
        let told = Telling::new("correction-kind").with("meter", Arg::Text(word));
        reader.line(&told.with("count", Arg::Count(i64::from(count))))
    });
    each.collect::<Vec<_>>().join(", ")
}

fn off(error: f64) -> Arg {
    if error.abs() < SAME {
        return Arg::Word("correction-right".into());
    }
    let key = if error > 0.0 { "correction-high" } else { "correction-low" };
    Arg::Phrase(Box::new(Telling::new(key).with("share", Arg::Share(error.abs()))))
}

/// The catalogue's word for a kind of meter.
pub(super) fn meter_word(kind: MeterKind) -> &'static str {
    match kind {
        MeterKind::Pet => "curve-meter-pet",
        MeterKind::Human => "curve-meter-human",
        MeterKind::WholeBlood => "curve-meter-whole-blood",
        MeterKind::Unknown => "curve-meter-unknown",
    }
}

fn shown_correction(correction: Correction) -> Correction {
    let Correction { error, error_sd, taught } = correction;
    Correction { error: rounded(error, 3), error_sd: rounded(error_sd, 3), taught }
}

fn shown_tally(tally: Tally) -> Tally {
    let kinds = tally.kinds.into_iter().map(|kind| KindTally {
        bias: rounded(kind.bias, 1),
        figures: kind.figures.map(shown_figures),
        ..kind
    });
    Tally { kinds: kinds.collect(), ..tally }
}

fn shown_figures(figures: Agreement) -> Agreement {
    Agreement {
        count: figures.count,
        bias: rounded(figures.bias, 1),
        mard: rounded(figures.mard, 3),
        mean_absolute: rounded(figures.mean_absolute, 1),
        limits: figures.limits.map(|ends| ends.map(|end| rounded(end, 1))),
        within_iso: rounded(figures.within_iso, 3),
        clarke_ab: rounded(figures.clarke_ab, 3),
        parkes_ab: rounded(figures.parkes_ab, 3),
    }
}

/// A sensor that is off by less than this is shown as right: it would be 0 %.
const SAME: f64 = 0.005;
