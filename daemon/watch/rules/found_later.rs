//! `low-found-later`: a low that only shows in readings that came late: brought off the sensor by a scan, or delivered
//! after a bridge was away, all at once or one by one.
//!
//! A notice with its bounds and its lowest value, never an alarm about the past dressed up as now. Needs 15 minutes
//! under the plan's `low` (as Danne et al., Diabetes Care 2017;40:1631-1640, count a low), or one reading under its
//! `danger`. The newest reading, while it is fresh, is for `low-now` and raises nothing here. What `low-now` has told is
//! not told again, unless it went under `danger` unseen. If nothing is known of what came after, or it is low still, it is
//! a warning that says so.
//!
//! Readings that come after the first word of it, and make it longer or deeper, are told together once no more come,
//! and at once only if it went under `danger` for the first time. Several lows that come in one go are one message: that of
//! the one that may still go on, else of the deepest, which names the others. A low older than a day is for the report.

use super::{Ruling, See};
use crate::watch::holding::Holding;
use crate::watch::state::{Low, Memory};
use crate::words::{
    Arg, Basis, Event, Finding, Moment, Reading, ReadingKind, Severity, Span, Telling, Value, Watch, minutes,
};

/// A time under the plan's low.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    from: Moment,
    until: Moment,
    nadir: Reading,
    /// How long it was under the limit for certain: between readings that both were.
    under: Span,
}

impl Stretch {
    fn new(reading: Reading) -> Self {
        Self { from: reading.measured_at, until: reading.measured_at, nadir: reading, under: Span::zero() }
    }

    /// What was told last.
    fn of(finding: &Finding) -> Option<Self> {
        let time = |key: &str| match finding.telling.args.get(key) {
            Some(Arg::Time(at)) => Some(*at),
            _ => None,
        };
        let Basis { value, measured_at } = finding.basis?;
        let nadir = Reading { measured_at, value, kind: ReadingKind::History };
        Some(Self { from: time("from")?, until: time("until")?, ..Self::new(nadir) })
    }

    fn counts(&self, danger: f64) -> bool {
        self.under >= long() || self.nadir.value.under(danger)
    }

    fn meets(&self, other: &Self) -> bool {
        self.from <= other.until && other.from <= self.until
    }

    fn joined(self, other: &Self) -> Self {
        let nadir = if self.depth() <= other.depth() { self.nadir } else { other.nadir };
        Self { from: self.from.min(other.from), until: self.until.max(other.until), nadir, ..self }
    }

    fn depth(&self) -> f64 {
        match self.nadir.value {
            Value::Below => 0.0,
            Value::Level(mg_dl) => mg_dl,
            Value::Above => f64::MAX,
        }
    }
}

impl From<Low> for Stretch {
    fn from((from, until, nadir): Low) -> Self {
        Self { from, until, nadir, under: Span::zero() }
    }
}

/// The rule.
pub(super) fn rule(see: &See<'_>, memory: &mut Memory) -> Ruling {
    let late = late(see, memory);
    let around = around(see, memory, &late);
    match see.state.open(Watch::LowFoundLater) {
        Some(was) => again(see, memory, was, (&late, &around)),
        None => {
            let news: Vec<Stretch> =
                around.into_iter().filter(|stretch| is_news(see, memory, &late, stretch)).collect();
            let Some(stretch) = foremost(see, &news) else { return Ruling::none() };
            memory.found_too = beside(&news, &stretch);
            let ended = ended(see, &stretch);
            let holding = holding(see, memory, &stretch, (ended, false));
            Ruling::hold(holding.look_again(see.now + minutes(HELD_MINUTES)))
        }
    }
}

/// Of lows that come in one go one that may go on stands before one that is over, else the deepest; the others are named
/// with it.
fn foremost(see: &See<'_>, lows: &[Stretch]) -> Option<Stretch> {
    let open = lows.iter().filter(|stretch| !ended(see, stretch));
    deepest(open).or_else(|| deepest(lows.iter()))
}

/// The lows beside one of them.
fn beside(lows: &[Stretch], one: &Stretch) -> Vec<Low> {
    let others = lows.iter().filter(|low| !low.meets(one));
    others.map(|low| (low.from, low.until, low.nadir)).collect()
}

/// What becomes of a finding that is open.
fn again(
    see: &See<'_>,
    memory: &mut Memory,
    was: &Finding,
    (late, around): (&[Reading], &[Stretch]),
) -> Ruling {
    let danger = see.settings.plan.danger;
    let ends = was.look_again.unwrap_or(see.now);
    let unsaid = was.telling.args.contains_key(UNSAID);
    let gathers = see.now < was.opened_at + minutes(see.home.gather_seconds / 60.0);
    let before = Stretch::of(was);
    let mine = |stretch: &&Stretch| before.is_some_and(|before| before.meets(stretch));
    let wider = before.map(|before| {
        let more = around.iter().filter(mine).filter(|stretch| !is_told(see, memory, late, stretch));
        more.fold(before, Stretch::joined)
    });
    let others = around.iter().filter(|stretch| !mine(stretch));
    let mut lows: Vec<Stretch> =
        others.filter(|stretch| is_news(see, memory, late, stretch)).copied().collect();
    let beside_before = memory.found_too.clone();
    if gathers {
        // What comes before the first word goes out is one message with it.
        let known = beside_before.iter().map(|low| Stretch::from(*low));
        let known =
            known.map(|known| around.iter().filter(|low| known.meets(low)).fold(known, Stretch::joined));
        let known: Vec<Stretch> = known.collect();
        lows.retain(|low| !known.iter().any(|known| known.meets(low)));
        lows.extend(known.into_iter().chain(wider));
    }
    let other = foremost(see, &lows).filter(|low| wider.is_none_or(|wider| !wider.meets(low)));
    let Some(stretch) = other.or(wider) else { return kept(see, was, ends) };
    if gathers || other.is_some() {
        memory.found_too = beside(&lows, &stretch);
    }
    let had_ended = was.severity == Severity::Notice;
    // `low-now` has taken over and says how it goes on.
    let over_to_now = other.is_none() && is_told(see, memory, late, &stretch);
    let looks = !over_to_now && (unsaid || gathers || !late.is_empty());
    let ended = match before {
        Some(before) if had_ended && before.until == stretch.until => true,
        _ if looks => ended(see, &stretch),
        _ => had_ended,
    };
    let changed = before != Some(Stretch { under: Span::zero(), ..stretch })
        || ended != had_ended
        || memory.found_too != beside_before;
    let deeper = stretch.nadir.value.under(danger) && before.is_some_and(|b| !b.nadir.value.under(danger));
    // While the first word of it gathers, a further one costs no message: the two are one.
    let more = other.is_some() || deeper || changed && gathers || unsaid && !over_to_now && ends <= see.now;
    if !changed && !more && !unsaid {
        return kept(see, was, ends);
    }
    let waits = !more && !over_to_now;
    let look_again = match waits {
        true if changed => see.now + patience(see),
        true => ends.min(see.now + patience(see)),
        false => see.now + minutes(HELD_MINUTES),
    };
    let holding = holding(see, memory, &stretch, (ended, waits));
    Ruling::hold(holding.more(more).look_again(look_again))
}

/// Nothing new: it stays for a while, and goes without a word.
fn kept(see: &See<'_>, was: &Finding, ends: Moment) -> Ruling {
    if ends <= see.now {
        return Ruling::none();
    }
    let mut telling = was.telling.clone();
    // Earlier programs named no others.
    telling.args.entry(ALSO.into()).or_insert(Arg::Word("nothing".into()));
    let kept = Holding::new(was.severity, was.since, telling).glucose().basis(was.basis);
    Ruling::hold(kept.look_again(ends))
}

/// How long no further late reading has to come until they are all here. While the newest one is old there may be more
/// on their way, or each one comes late; then it takes longer than one sample.
fn patience(see: &See<'_>) -> Span {
    if see.fresh().is_some() { minutes(CAUGHT_UP_MINUTES) } else { see.fresh_for() }
}

fn holding(see: &See<'_>, memory: &Memory, stretch: &Stretch, (ended, unsaid): (bool, bool)) -> Holding {
    let (key, severity) = match ended {
        true => ("low-found-later", Severity::Notice),
        false if still(see) => ("low-found-later-now", Severity::Warning),
        false => ("low-found-later-open", Severity::Warning),
    };
    let nadir = &stretch.nadir;
    let telling = see
        .telling(key)
        .with("low", Arg::Glucose(see.settings.plan.low))
        .with("from", Arg::Time(stretch.from))
        .with("until", Arg::Time(stretch.until))
        .with("nadir", Arg::Value(nadir.value))
        .with("nadir_time", Arg::Time(nadir.measured_at))
        .with(ALSO, also(memory));
    let telling = if unsaid { telling.with(UNSAID, Arg::Count(1)) } else { telling };
    let basis = Basis { value: nadir.value, measured_at: nadir.measured_at };
    Holding::new(severity, stretch.from, telling).glucose().basis(Some(basis))
}

/// The lows that came with it: the deepest one whole, and how many there were.
fn also(memory: &Memory) -> Arg {
    let others: Vec<Stretch> = memory.found_too.iter().map(|low| Stretch::from(*low)).collect();
    let Some(low) = deepest(others.iter()) else { return Arg::Word("nothing".into()) };
    let telling = Telling::new("low-found-also")
        .with("count", Arg::Count(others.len() as i64))
        .with("from", Arg::Time(low.from))
        .with("until", Arg::Time(low.until))
        .with("nadir", Arg::Value(low.nadir.value));
    Arg::Phrase(Box::new(telling))
}

/// Whether a fresh reading shows that it is low even now: `low-now` says how it is.
fn still(see: &See<'_>) -> bool {
    see.state.open(Watch::LowNow).is_some() && see.fresh().is_some()
}

/// Whether it is known to have been higher again.
fn ended(see: &See<'_>, stretch: &Stretch) -> bool {
    let low = see.settings.plan.low;
    let mut newer = see.state.tracker.recent().iter().rev().take_while(|r| r.measured_at > stretch.until);
    newer.any(|reading| !reading.value.under(low))
}

/// The samples of this batch that came late: all but the newest one if that is fresh; and those of a low that was over
/// before `low-now` could say a word of it.
fn late(see: &See<'_>, memory: &mut Memory) -> Vec<Reading> {
    let unsaid = memory.low_unsaid.take();
    let Event::Readings(batch) = see.event else { return Vec::new() };
    let live = see.fresh().map(|reading| reading.measured_at);
    let unsaid = see.state.tracker.recent().iter().filter(|reading| {
        unsaid.is_some_and(|(since, until)| (since..=until).contains(&reading.measured_at))
    });
    let late = batch.readings.iter().chain(unsaid);
    let late = late.filter(|r| is_recent_sample(see, r) && Some(r.measured_at) != live);
    let mut late: Vec<Reading> = late.copied().collect();
    late.sort_by_key(|reading| reading.measured_at);
    late.dedup_by_key(|reading| reading.measured_at);
    late
}

fn is_recent_sample(see: &See<'_>, reading: &Reading) -> bool {
    let oldest = see.now - minutes(TOLD_MINUTES_MAX);
    reading.kind == ReadingKind::History && reading.measured_at >= oldest && reading.measured_at <= see.now
}

/// The lows of the last day that late readings belong to, as far as `low-now` has not told them before.
fn around(see: &See<'_>, memory: &Memory, late: &[Reading]) -> Vec<Stretch> {
    let low = see.settings.plan.low;
    let lows: Vec<&Reading> = late.iter().filter(|reading| reading.value.under(low)).collect();
    if lows.is_empty() {
        return Vec::new();
    }
    let all = stretches(see, held(see, memory, late, true));
    let mine =
        |stretch: &Stretch, r: &Reading| stretch.from <= r.measured_at && r.measured_at <= stretch.until;
    all.into_iter().filter(|stretch| lows.iter().any(|reading| mine(stretch, reading))).collect()
}

/// The samples of the last day, with or without the late ones. What `low-now` has told counts only if it comes again.
fn held(see: &See<'_>, memory: &Memory, late: &[Reading], with: bool) -> Vec<Reading> {
    let told = |at: Moment| memory.low_told.is_some_and(|(since, until, _)| since <= at && at <= until);
    let is_late = |at: Moment| late.binary_search_by_key(&at, |reading| reading.measured_at).is_ok();
    let held = see.state.tracker.recent().iter().filter(|r| is_recent_sample(see, r)).copied();
    let known = held.filter(|r| !is_late(r.measured_at) && !told(r.measured_at));
    // More may have come at once than the series keeps.
    let mut readings: Vec<Reading> = known.chain(late.iter().filter(|_| with).copied()).collect();
    readings.sort_by_key(|reading| reading.measured_at);
    readings
}

/// Whether a low is one that nobody could be told of before: not by `low-now`, and not from the readings held.
fn is_news(see: &See<'_>, memory: &Memory, late: &[Reading], stretch: &Stretch) -> bool {
    let danger = see.settings.plan.danger;
    let same = |known: &Stretch| {
        let deeper = stretch.nadir.value.under(danger) && !known.nadir.value.under(danger);
        known.counts(danger) && known.meets(stretch) && !deeper
    };
    stretch.counts(danger)
        && !is_told(see, memory, late, stretch)
        && !stretches(see, held(see, memory, late, false)).iter().any(same)
}

/// Whether `low-now` has told it, and as low as it was. A low that keeps coming back is held over the limit, too: of
/// that only what meets a reading under the limit was told.
fn is_told(see: &See<'_>, memory: &Memory, late: &[Reading], stretch: &Stretch) -> bool {
    let loosely = memory.low_told_loosely;
    memory.low_told.is_some_and(|(since, until, worst)| {
        let apart = stretch.until + see.sample() * 2 < since || stretch.from > until;
        let danger = see.settings.plan.danger;
        let deeper = worst < Severity::Critical && stretch.nadir.value.under(danger);
        !apart && !deeper && (!loosely || was_seen(see, late, stretch))
    })
}

/// Whether a reading under the limit that did not come late lies in a stretch or beside it.
fn was_seen(see: &See<'_>, late: &[Reading], stretch: &Stretch) -> bool {
    let span = stretch.from - see.sample() * 2..=stretch.until + see.sample() * 2;
    let seen = see.state.tracker.recent().iter().filter(|reading| span.contains(&reading.measured_at));
    let is_late = |at: Moment| late.binary_search_by_key(&at, |reading| reading.measured_at).is_ok();
    seen.filter(|reading| !is_late(reading.measured_at)).any(|r| r.value.under(see.settings.plan.low))
}

/// The stretches under the plan's low. A reading stands until the next one, but not for longer than two samples and a
/// quarter of an hour; less than 15 minutes over the limit end nothing.
fn stretches(see: &See<'_>, readings: Vec<Reading>) -> Vec<Stretch> {
    let low = see.settings.plan.low;
    let stands = (see.sample() * 2).max(minutes(LOW_MINUTES));
    let mut found: Vec<Stretch> = Vec::new();
    let mut last: Option<Moment> = None;
    let mut over_since: Option<Moment> = None;
    let mut going = false;
    for reading in readings {
        let at = reading.measured_at;
        going &= last.is_some_and(|last| at - last <= stands);
        last = Some(at);
        if !reading.value.under(low) {
            over_since.get_or_insert(at);
            continue;
        }
        let over = over_since.take();
        going &= over.is_none_or(|since| at - since < long());
        match found.last_mut().filter(|_| going) {
            Some(stretch) => {
                let under = if over.is_none() { at - stretch.until } else { Span::zero() };
                *stretch = Stretch { under: stretch.under + under, ..stretch.joined(&Stretch::new(reading)) };
            }
            None => found.push(Stretch::new(reading)),
        }
        going = true;
    }
    found
}

fn deepest<'a>(stretches: impl Iterator<Item = &'a Stretch>) -> Option<Stretch> {
    stretches.min_by(|a, b| a.depth().total_cmp(&b.depth())).copied()
}

/// So long under the limit is a low. Stamps are often whole minutes, so that a quarter of an hour may look like 14.
fn long() -> Span {
    minutes(LOW_MINUTES - STAMP_MINUTES)
}

/// Marks a finding that holds more than was said of it; no text shows it.
const UNSAID: &str = "unsaid";
/// What is said of the lows that came with it.
const ALSO: &str = "also";
const TOLD_MINUTES_MAX: f64 = 24.0 * 60.0;
const HELD_MINUTES: f64 = 12.0 * 60.0;
const LOW_MINUTES: f64 = 15.0;
const STAMP_MINUTES: f64 = 1.0;
const CAUGHT_UP_MINUTES: f64 = 5.0;
