//! What has happened, day by day, the newest first: what was found, who was told and how that went, who answered what,
//! and what was recorded. Told as it was when it happened, with the times of then.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::record::sensor_word;
use super::{Desk, Happened, PageSeat, unsettled};
use crate::duty::addressed;
use crate::report::meter::meter_word;
use crate::tell::{Reader, act, title, what};
use crate::words::{
    Answer, Arg, Became, Change, Dose, Event, FindingId, Message, MessageId, Moment, Note, Outcome, Telling,
    Verdict,
};

/// `GET /history`: what happened within so many days.
#[must_use]
pub fn history_page(seat: &PageSeat<'_>, happened: &[Happened<'_>], days: u32) -> String {
    let Some(desk) = Desk::of(seat) else { return unsettled(seat) };
    let heading = desk.reader.word("page-history");
    let mut page = desk.begin(&heading);
    page.paragraph(&desk.say("page-history-of", &[("span", Arg::Minutes(f64::from(days) * 1440.0))]));
    let (mut lines, cut) = Story::of(&desk, happened).lines(happened);
    if cut {
        page.paragraph(&desk.say("page-history-cut", &[("count", Arg::Count(LINES_MAX as i64))]));
    }
    if lines.is_empty() {
        page.paragraph(&desk.reader.word("page-history-none"));
    }
    while let Some((at, _)) = lines.first() {
        let day = desk.day(*at);
        let rest = lines.iter().position(|(at, _)| desk.day(*at) != day).unwrap_or(lines.len());
        page.heading(&desk.reader.date(*at));
        let shown = lines.drain(..rest).map(|(at, line)| (clock(&desk, at), line));
        page.diary(&shown.collect::<Vec<_>>());
    }
    desk.end(page, &heading, None)
}

fn clock(desk: &Desk<'_>, at: Moment) -> String {
    at.at(desk.reader.zone).format("%H:%M").to_string()
}

/// What became of a message.
#[derive(Clone, Copy)]
enum Fate<'a> {
    Taken { by: &'static str, at: Moment },
    Failed { why: &'a str },
}

/// What is known of everything that happened before one line of it is written.
struct Story<'a> {
    desk: &'a Desk<'a>,
    fates: BTreeMap<&'a MessageId, Fate<'a>>,
    withdrawn: BTreeSet<&'a MessageId>,
    matters: BTreeMap<&'a FindingId, &'a Telling>,
}

impl<'a> Story<'a> {
    fn of(desk: &'a Desk<'a>, happened: &'a [Happened<'a>]) -> Self {
        let (fates, withdrawn, matters) = (BTreeMap::new(), BTreeSet::new(), BTreeMap::new());
        let mut story = Self { desk, fates, withdrawn, matters };
        for one in happened {
            story.withdrawn.extend(&one.said.withdrawn);
            for change in &one.said.changes {
                story.matters.insert(&change.finding.id, &change.finding.telling);
            }
            if let Event::Outcome { parcel, outcome } = one.event {
                let fate = match outcome {
                    Outcome::Delivered { .. } => Fate::Taken { by: parcel.channel.kind.word(), at: one.at },
                    Outcome::Later { why, .. } | Outcome::Refused { why } => Fate::Failed { why },
                };
                // The first server that took it counts; until then the last that did not.
                let taken = matches!(story.fates.get(&parcel.message), Some(Fate::Taken { .. }));
                if !taken {
                    story.fates.insert(&parcel.message, fate);
                }
            }
        }
        story
    }

    /// The newest lines, at most so many as one can look through, and whether there were more.
    fn lines(&self, happened: &[Happened<'_>]) -> (Vec<(Moment, String)>, bool) {
        let mut lines = Vec::new();
        // Of what happened in the same moment the last comes first too; what followed from it stays under it.
        for one in happened.iter().rev() {
            let reader = Reader { now: one.at, ..self.desk.reader.clone() };
            let then = Desk { reader, ..*self.desk };
            let own = then.recorded_of(one.event).into_iter().chain(self.answered(&then, one.event));
            let found = one.said.changes.iter().map(|change| then.changed(change));
            let sent = one.said.messages.iter().map(|message| self.sent(message));
            lines.extend(own.chain(found).chain(sent).map(|line| (one.at, line)));
        }
        lines.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
        let cut = lines.len() > LINES_MAX;
        lines.truncate(LINES_MAX);
        (lines, cut)
    }

    /// To whom a message went, what it was called, and how that ended.
    fn sent(&self, message: &Message) -> String {
        let desk = self.desk;
        let fate = match self.fates.get(&message.id) {
            Some(Fate::Taken { by, at }) => {
                let channel = ("channel", Arg::Word(format!("channel-{by}")));
                desk.say("page-fate-taken", &[("time", Arg::Text(clock(desk, *at))), channel])
            }
            _ if self.withdrawn.contains(&message.id) => desk.reader.word("page-fate-withdrawn"),
            Some(Fate::Failed { why }) => {
                desk.say("page-fate-failed", &[("reason", Arg::Text((*why).to_owned()))])
            }
            None => desk.reader.word("page-fate-waiting"),
        };
        let words = [
            ("person", Arg::Person(message.person.clone())),
            ("title", Arg::Text(message.title.clone())),
            ("fate", Arg::Text(fate)),
        ];
        desk.say("page-was-message", &words)
    }

    fn answered(&self, then: &Desk<'_>, event: &Event) -> Option<String> {
        let Event::Answer(answer) = event else { return None };
        let said = then.verdict(answer);
        let words = [("person", Arg::Person(answer.person.clone())), ("answer", Arg::Text(said))];
        let matter = answer.finding.as_ref().and_then(|id| self.matters.get(id));
        Some(match matter {
            Some(telling) => {
                let [person, answer] = words;
                let matter = title(&then.reader, &addressed(telling, then.seat.person));
                then.say("page-was-answer-to", &[person, answer, ("matter", Arg::Text(matter))])
            }
            None => then.say("page-was-answer", &words),
        })
    }
}

impl Desk<'_> {
    fn day(&self, at: Moment) -> NaiveDate {
        at.at(self.reader.zone).date_naive()
    }

    /// What somebody recorded, and of which cat where there are several.
    fn recorded_of(&self, event: &Event) -> Option<String> {
        let line = self.recorded(event)?;
        let cat = event.cat().and_then(|cat| self.household.cat(cat));
        let Some(cat) = cat.filter(|_| self.household.cats.len() > 1) else { return Some(line) };
        Some(self.say_of(cat, "page-was-of", &[("line", Arg::Text(line))]))
    }

    /// What somebody recorded.
    fn recorded(&self, event: &Event) -> Option<String> {
        Some(match event {
            Event::Dose(dose) if dose.not_given => {
                self.say("page-was-dose-undone", &[("time", Arg::Time(dose.given_at))])
            }
            Event::Dose(dose) => self.say("page-was-dose", &[("dose", Arg::Text(self.dose_and_units(dose)))]),
            Event::Meter(check) => {
                let meter = Arg::Text(self.reader.word(meter_word(check.meter)));
                let value = [("value", Arg::Value(check.glucose)), ("meter", meter)];
                let check_words = Arg::Text(self.say("curve-check", &value));
                self.say("page-was-check", &[("time", Arg::Time(check.measured_at)), ("check", check_words)])
            }
            Event::MeterUndone { measured_at, .. } => {
                self.say("page-was-check-undone", &[("time", Arg::Time(*measured_at))])
            }
            Event::Sensor(note) => {
                let event = Arg::Word(sensor_word(note.event).to_owned());
                self.say("page-was-sensor", &[("time", Arg::Time(note.at)), ("event", event)])
            }
            Event::Spare(spare) => {
                self.say("sheet-now-spares", &[("count", Arg::Count(i64::from(spare.count)))])
            }
            Event::Note(Note { text, by, .. }) => {
                let text = ("text", Arg::Text(text.clone()));
                match by {
                    Some(by) => self.say("page-was-note-by", &[text, ("person", self.named(by))]),
                    None => self.say("page-was-note", &[text]),
                }
            }
            _ => return None,
        })
    }

    fn dose_and_units(&self, dose: &Dose) -> String {
        let given = self.dose(dose);
        let Some(units) = dose.units else { return given };
        let decimals = (0..2).find(|places| (units * 10_f64.powi(*places)).fract() == 0.0).unwrap_or(2);
        let number = self.reader.number(units, decimals as usize);
        format!("{given}, {number} {}", self.reader.word("curve-units"))
    }

    /// What was found, as it was told then. That nothing more is known is not called over.
    fn changed(&self, change: &Change) -> String {
        let telling = addressed(&change.finding.telling, self.seat.person);
        let key = match change.became {
            Became::Opened => "page-was-opened",
            Became::Changed => "page-was-changed",
            Became::Cleared if change.unsure => "page-was-unsure",
            Became::Cleared => "page-was-cleared",
        };
        let matter = self.say(key, &[("matter", Arg::Heading(Box::new(telling.clone())))]);
        let told = match change.became {
            Became::Opened | Became::Changed => Some(&telling),
            Became::Cleared => change.over.as_ref(),
        };
        let text = told.map(|told| what(&self.reader, told));
        let doing = change.over.as_ref().filter(|_| change.unsure).and_then(|over| act(&self.reader, over));
        std::iter::once(matter).chain(text).chain(doing).collect::<Vec<_>>().join(" ")
    }

    /// What somebody answered, in the words of the button.
    fn verdict(&self, answer: &Answer) -> String {
        let limit = || {
            let cats = &self.household.cats;
            let cat = match &answer.finding {
                Some(id) => cats.iter().find(|cat| id.is_of(&cat.name)),
                None => cats.first(),
            };
            cat.map_or(0.0, |cat| cat.plan.meter_low)
        };
        let key = match answer.verdict {
            Verdict::Taken => "button-taken",
            Verdict::SensorFine => "button-sensor-fine",
            Verdict::Later => "button-later",
            Verdict::Given => "button-given",
            Verdict::NotGiven => "button-not-given",
            Verdict::GivenToo => "button-given-too",
            Verdict::MeterLow => return self.reader.phrase_with_level("button-meter-low", limit()),
            Verdict::MeterFine => return self.reader.phrase_with_level("button-meter-fine", limit()),
        };
        self.reader.word(key)
    }
}

/// More than this nobody looks through.
const LINES_MAX: usize = 400;
