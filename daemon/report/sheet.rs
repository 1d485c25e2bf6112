//! The sheet that a sitter gets: one printable page out of the configuration and the record, in the words, unit and
//! clock of the person who reads it. It repeats the vet's plan and never adds to it.

use chrono::Timelike;

use super::html::Page;
use super::meanings::{self, heading};
use super::meter::correction_words;
use super::status::CatStatus;
use crate::almanac::next_times;
use crate::duty::{duty_changes, on_duty, quiet};
use crate::tell::{Reader, caution};
use crate::watch::planner::{DailyScans, MARGIN_MINUTES, Stretch, daily_scans, plan_scans};
use crate::words::{
    Arg, CatSettings, ChannelKind, Dose, Household, Moment, OutOfRange, Person, PersonName, SensorKind,
    minutes,
};

/// What the sheet is made from.
#[derive(Clone, Copy, Debug)]
pub struct SheetFacts<'a> {
    /// The household.
    pub household: &'a Household,
    /// The cat.
    pub cat: &'a CatSettings,
    /// Who will read it.
    pub person: &'a Person,
    /// How things stand.
    pub status: &'a CatStatus,
    /// The last doses, oldest first.
    pub doses: &'a [Dose],
}

/// Whom a sheet is for if nobody is named: the next other person who gets the cat, else the first who does not keep
/// Lowtide, else the owner.
#[must_use]
pub fn sheet_reader(household: &Household, now: Moment) -> Option<&Person> {
    let owner = &household.home.owner;
    let changes = duty_changes(household, now);
    let next = std::iter::once(on_duty(household, now)).chain(changes.iter().map(|(_, name)| *name));
    let next = next.filter(|name| *name != owner).find_map(|name| household.person(name));
    let other = household.persons.iter().find(|person| &person.name != owner);
    next.or(other).or_else(|| household.person(owner))
}

/// The whole page.
#[must_use]
pub fn trip_sheet(facts: &SheetFacts<'_>, now: Moment) -> String {
    let reader = Reader::person(facts.person, facts.household, now);
    let desk = Desk { facts, reader: &reader, now };
    let mut page = Page::default();
    let title = desk.say("sheet-title", &[("person", text(&facts.person.called))]);
    page.title(&title);
    let zone = text(facts.person.timezone.name());
    let unit = text(facts.person.units.code());
    page.small(&desk.say("sheet-made", &[("time", stamp(&reader, now)), ("zone", zone), ("unit", unit)]));
    page.framed("box", |page| desk.emergency(page));
    desk.people(&mut page);
    page.framed("half", |page| desk.plan(page));
    page.framed("half", |page| desk.doses(page));
    page.framed("half", |page| desk.scans(page));
    page.framed("half", |page| desk.present(page));
    desk.messages(&mut page);
    page.small(&caution(&reader));
    page.document(&facts.person.language, &title)
}

pub(super) fn text(text: &str) -> Arg {
    Arg::Text(text.to_owned())
}

/// An instant that still means the same when the paper is days old.
pub(super) fn stamp(reader: &Reader<'_>, at: Moment) -> Arg {
    Arg::Text(reader.stamp(at))
}

struct Desk<'a> {
    facts: &'a SheetFacts<'a>,
    reader: &'a Reader<'a>,
    now: Moment,
}

impl Desk<'_> {
    /// A line of the catalogue; cat and owner are always known to it.
    fn say(&self, key: &str, args: &[(&str, Arg)]) -> String {
        let mut telling = meanings::common(key, self.facts.household, self.facts.cat);
        for (name, arg) in args {
            telling = telling.with(name, arg.clone());
        }
        self.reader.line(&telling)
    }

    fn emergency(&self, page: &mut Page) {
        let plan = &self.facts.cat.plan;
        page.heading(&self.say("sheet-emergency", &[]));
        page.paragraph(&self.say("sheet-act-first", &[]));
        let low = match &plan.on_low {
            Some(words) => words.clone(),
            None => self.reader.word("plan-none"),
        };
        page.named(&self.say("sheet-plan-on-low", &[]), &low);
        let vet = plan.vet_phone.clone().unwrap_or_else(|| self.say("sheet-no-vet-phone", &[]));
        page.phone(&self.say("sheet-vet", &[]), &vet);
        if let Some(phone) = &plan.out_of_hours_phone {
            page.phone(&self.say("sheet-out-of-hours", &[]), phone);
        }
    }

    fn people(&self, page: &mut Page) {
        let household = self.facts.household;
        page.heading(&self.say("sheet-people", &[]));
        let columns = ["sheet-person", "sheet-phone", "sheet-reached"].map(|key| self.say(key, &[]));
        let rows: Vec<Vec<String>> = household.persons.iter().map(|person| self.person(person)).collect();
        page.table_with_phones(&columns, &rows, Some(1));
        if rows.len() > 1 {
            page.small(&self.say("sheet-asked", &[]));
        }
        let mut spans =
            vec![self.say("sheet-has-cat-now", &[("person", self.called(on_duty(household, self.now)))])];
        for (at, name) in duty_changes(household, self.now).into_iter().take(CHANGES_SHOWN) {
            let from = [("time", stamp(self.reader, at)), ("person", self.called(name))];
            spans.push(self.say("sheet-has-cat-from", &from));
        }
        page.paragraph(&spans.join(" "));
    }

    fn person(&self, person: &Person) -> Vec<String> {
        let name = if person.name == self.facts.household.home.owner {
            self.say("sheet-owner", &[("person", text(&person.called))])
        } else {
            person.called.clone()
        };
        let mut ways: Vec<String> = Vec::new();
        for channel in &person.channels {
            ways.push(match channel.kind {
                // A topic is as good as a password: it never stands on paper.
                ChannelKind::Ntfy => self.reader.word("channel-ntfy"),
                ChannelKind::Email => format!("{} {}", self.reader.word("channel-email"), channel.address),
            });
        }
        vec![name, person.phone.clone().unwrap_or_default(), ways.join(", ")]
    }

    fn called(&self, name: &PersonName) -> Arg {
        Arg::Person(name.clone())
    }

    fn plan(&self, page: &mut Page) {
        let plan = &self.facts.cat.plan;
        page.heading(&self.say("sheet-plan", &[]));
        let mut lines = vec![self.say(
            "sheet-plan-limits",
            &[
                ("low", Arg::Glucose(plan.low)),
                ("danger", Arg::Glucose(plan.danger)),
                ("meter_low", Arg::Glucose(plan.meter_low)),
            ],
        )];
        if let Some(high) = plan.high {
            lines.push(self.say("sheet-plan-high", &[("high", Arg::Glucose(high))]));
        }
        page.paragraph(&lines.join(" "));
        let hold = plan.hold_dose_under.map_or_else(
            || self.say("sheet-plan-no-hold", &[]),
            |hold| self.say("sheet-plan-hold", &[("hold", Arg::Glucose(hold))]),
        );
        page.paragraph(&hold);
        if plan.sglt2_inhibitor {
            page.paragraph(&self.say("sheet-plan-sglt2", &[]));
        }
        if let Some(words) = &plan.in_words {
            page.named(&self.say("sheet-plan-in-words", &[]), words.trim());
        }
    }

    fn doses(&self, page: &mut Page) {
        let (household, cat) = (self.facts.household, self.facts.cat);
        page.heading(&self.say("sheet-doses", &[]));
        let plain: Vec<&str> = cat.doses.times.iter().map(|t| t.trim()).filter(|t| t.len() <= 5).collect();
        if !plain.is_empty() {
            let zone = text(household.home.timezone.name());
            page.paragraph(
                &self.say("sheet-dose-times", &[("times", text(&plain.join(", "))), ("zone", zone)]),
            );
        }
        let next = next_times(&cat.doses.times, household.home.timezone, self.now, DOSES_SHOWN);
        if next.is_empty() {
            page.paragraph(&self.say("sheet-dose-none", &[]));
        } else {
            page.paragraph(&self.say("sheet-dose-next", &[("times", self.stamps(&next))]));
        }
        let apart = Arg::Minutes(cat.doses.min_hours_between * 60.0);
        page.paragraph(&self.say("sheet-dose-twice", &[("apart", apart)]));
        page.paragraph(&if household.home.answers.buttons {
            self.say("sheet-dose-record", &[("given", text(&self.reader.word("button-given")))])
        } else {
            self.say("sheet-dose-write", &[])
        });
        let last: Vec<String> =
            self.facts.doses.iter().rev().take(DOSES_SHOWN).map(|dose| self.dose(dose)).collect();
        if last.is_empty() {
            page.paragraph(&self.say("sheet-dose-last-none", &[]));
        } else {
            page.named(&self.say("sheet-dose-last", &[]), &last.join("; "));
        }
    }

    fn dose(&self, dose: &Dose) -> String {
        let at = stamp(self.reader, dose.given_at);
        let Some(by) = &dose.by else { return self.reader.stamp(dose.given_at) };
        let known = PersonName::new(by).ok().filter(|name| self.facts.household.person(name).is_some());
        let by = known.map_or_else(|| text(by), Arg::Person);
        self.say("sheet-dose-by", &[("time", at), ("person", by)])
    }

    fn stamps(&self, times: &[Moment]) -> Arg {
        let shown: Vec<String> = times.iter().map(|at| self.reader.stamp(*at)).collect();
        Arg::Text(shown.join(", "))
    }

    fn scans(&self, page: &mut Page) {
        let sensor = &self.facts.cat.sensor;
        page.heading(&self.say("sheet-scan", &[]));
        if sensor.kind == SensorKind::Streamed {
            page.paragraph(&self.say("sheet-streamed", &[("sample", Arg::Minutes(sensor.sample_minutes))]));
            return;
        }
        let memory = sensor.memory_hours * 60.0;
        page.paragraph(&self.say("sheet-scan-how", &[("memory", Arg::Minutes(memory))]));
        page.paragraph(&self.daily(memory));
        if !self.facts.cat.doses.times.is_empty() {
            page.paragraph(&self.say("sheet-scan-dose", &[]));
        }
        let Some(newest) = self.facts.status.newest_at.filter(|_| self.facts.status.applied.is_some()) else {
            return;
        };
        let until = self.now + minutes(24.0 * 60.0);
        let night = quiet(self.facts.person.quiet, self.facts.person.timezone, self.now);
        let busy: Vec<Stretch> =
            night.into_iter().map(|night| Stretch { from: night.from, until: night.until }).collect();
        let plan = plan_scans(newest, self.now, until, minutes(memory), minutes(MARGIN_MINUTES), &busy);
        if !plan.scans.is_empty() {
            page.paragraph(&self.say("sheet-scan-next", &[("times", self.stamps(&plan.scans))]));
        }
        for lost in &plan.lost {
            let args = [("from", stamp(self.reader, lost.from)), ("until", stamp(self.reader, lost.until))];
            page.paragraph(&self.say("sheet-scan-lost", &args));
        }
    }

    fn daily(&self, memory: f64) -> String {
        let step = (memory - MARGIN_MINUTES).max(memory / 2.0);
        let Some(hours) = self.facts.person.quiet else {
            return self.say("sheet-scan-every", &[("span", Arg::Minutes(step))]);
        };
        let clock = |time: chrono::NaiveTime| format!("{:02}:{:02}", time.hour(), time.minute());
        let DailyScans { times, lost } = daily_scans(hours, memory, step);
        let times: Vec<String> = times.into_iter().map(clock).collect();
        let times = ("times", text(&times.join(", ")));
        match lost {
            None => self.say("sheet-scan-daily", &[times]),
            Some((from, until)) => {
                let args = [times, ("from", text(&clock(from))), ("until", text(&clock(until)))];
                self.say("sheet-scan-daily-lost", &args)
            }
        }
    }

    fn present(&self, page: &mut Page) {
        let status = self.facts.status;
        page.heading(&self.say("sheet-now", &[]));
        let mut lines = vec![match (status.newest, status.newest_at) {
            (Some(value), Some(at)) => self
                .say("sheet-now-reading", &[("value", Arg::Value(value)), ("time", stamp(self.reader, at))]),
            _ => self.say("sheet-now-no-reading", &[]),
        }];
        if let (Some(blood), Some(rate)) = (status.blood, status.rate_per_min) {
            let args = [("blood", Arg::Glucose(blood)), ("trend", Arg::Rate(rate))];
            lines.push(self.say("sheet-now-blood", &args));
        }
        // Where blood is not known nothing is corrected.
        if status.blood.is_some() {
            lines.extend(correction_words(&status.meter_checks, self.reader));
        }
        lines.extend(status.out_of_range(self.facts.household).map(|seen| match seen {
            OutOfRange::Below(floor) => self.say("sheet-now-below", &[("level", Arg::Glucose(floor))]),
            OutOfRange::Above(ceiling) => self.say("sheet-now-above", &[("level", Arg::Glucose(ceiling))]),
        }));
        if let Some(at) = status.window_closes.filter(|at| *at > self.now) {
            lines.push(self.say("sheet-now-window", &[("time", stamp(self.reader, at))]));
        }
        lines.push(match (status.applied, status.wear_ends) {
            (Some(applied), Some(ends)) => {
                let args = [("applied", stamp(self.reader, applied)), ("ends", stamp(self.reader, ends))];
                self.say("sheet-now-wear", &args)
            }
            _ => self.say("sheet-now-no-wear", &[]),
        });
        if let Some(count) = status.spares {
            lines.push(self.say("sheet-now-spares", &[("count", Arg::Count(i64::from(count)))]));
        }
        for open in &status.open {
            let matter = heading(self.reader, self.facts.household, self.facts.cat, open);
            let args = [("matter", text(&matter)), ("time", stamp(self.reader, open.since))];
            lines.push(self.say("sheet-now-open", &args));
        }
        if status.open.is_empty() {
            lines.push(self.say("sheet-now-quiet", &[]));
        }
        page.paragraph(&lines.join(" "));
    }

    fn messages(&self, page: &mut Page) {
        page.heading(&self.say("sheet-messages", &[]));
        let taken = text(&self.reader.word("button-taken"));
        page.paragraph(&self.say("sheet-answer", &[("taken", taken)]));
        page.paragraph(&self.say("sheet-silence", &[]));
        let columns = ["sheet-message", "sheet-means", "sheet-do"].map(|key| self.say(key, &[]));
        page.table(&columns, &meanings::rows(self.reader, self.facts.household, self.facts.cat));
    }
}

const CHANGES_SHOWN: usize = 6;
const DOSES_SHOWN: usize = 4;
