//! What can be recorded, cat by cat: doses, meter checks, sensors, spares, notes. A form suggests nothing: no units and
//! no level stand in it before somebody has written them.

use super::{Desk, PageSeat, unsettled, zone};
use crate::report::html::{Choice, Field, Page};
use crate::report::meter::meter_word;
use crate::watch::CatState;
use crate::words::{Arg, CatSettings, MeterKind, SensorEvent, minutes};

/// `GET /record`: the forms.
#[must_use]
pub fn record_page(seat: &PageSeat<'_>) -> String {
    let Some(desk) = Desk::of(seat) else { return unsettled(seat) };
    let heading = desk.reader.word("page-record");
    let mut page = desk.begin(&heading);
    let whose = ("person", Arg::Person(seat.person.name.clone()));
    page.paragraph(&desk.say("page-record-how", &[whose, ("zone", zone(seat.person))]));
    for cat in &desk.household.cats {
        if let Some(state) = seat.house.cats.get(&cat.name) {
            desk.forms(&mut page, cat, state);
        }
    }
    desk.end(page, &heading, None)
}

impl Desk<'_> {
    fn forms(&self, page: &mut Page, cat: &CatSettings, state: &CatState) {
        page.framed("part", |page| self.doses(page, cat, state));
        page.framed("part", |page| self.checks(page, cat, state));
        page.details(&self.say_of(cat, "page-form-sensor", &[]), |page| self.sensor(page, cat));
        page.details(&self.say_of(cat, "page-form-spare", &[]), |page| self.spare(page, cat));
        page.details(&self.say_of(cat, "page-form-note", &[]), |page| self.note(page, cat));
    }

    fn at(&self, page: &mut Page) {
        page.field(&Field { label: &self.reader.word("page-field-at"), name: "at", takes: "type=\"time\"" });
    }

    fn doses(&self, page: &mut Page, cat: &CatSettings, state: &CatState) {
        let heading = self.say_of(cat, "page-form-dose", &[]);
        let named = ("cat", cat.name.as_str());
        page.heading(&heading);
        self.form(page, "/dose", &heading, &[named], |page| {
            self.at(page);
            let label = self.reader.word("page-field-units");
            let takes = "type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" maxlength=\"8\"";
            page.field(&Field { label: &label, name: "units", takes });
            page.button(&self.reader.word("page-save-dose"));
        });
        match state.doses.last() {
            Some(dose) => {
                let last = self.say("page-dose-last", &[("dose", Arg::Text(self.dose(dose)))]);
                page.paragraph(&last);
                if self.seat.now - dose.given_at < minutes(TAKEN_BACK_MINUTES) {
                    let at = dose.given_at.to_string();
                    self.form(page, "/undose", &last, &[named, ("given_at", &at)], |page| {
                        page.button(&self.reader.word("page-undose"));
                    });
                }
            }
            None => page.paragraph(&self.reader.word("sheet-dose-last-none")),
        }
    }

    fn checks(&self, page: &mut Page, cat: &CatSettings, state: &CatState) {
        let heading = self.say_of(cat, "page-form-meter", &[]);
        let named = ("cat", cat.name.as_str());
        page.heading(&heading);
        let held = state.tracker.pairs().checks();
        self.form(page, "/meter", &heading, &[named], |page| {
            let label = self.say("page-field-glucose", &[("unit", Arg::Text(self.reader.units.to_string()))]);
            let takes = "type=\"text\" autocomplete=\"off\" maxlength=\"8\" required";
            page.field(&Field { label: &label, name: "glucose", takes });
            // The same meter as last time, which is a fact and no guess of a value.
            let last = held.last().map_or(MeterKind::Unknown, |check| check.meter);
            let labels = METERS.map(|(meter, _)| self.reader.word(meter_word(meter)));
            let choices: Vec<Choice<'_>> = METERS
                .iter()
                .zip(&labels)
                .map(|((meter, value), label)| Choice { value, label, chosen: *meter == last })
                .collect();
            page.choice(&self.reader.word("page-field-meter"), "meter", &choices);
            self.at(page);
            page.button(&self.reader.word("page-save-meter"));
        });
        let young = |at| self.seat.now - at < minutes(TAKEN_BACK_MINUTES);
        for check in held.iter().rev().filter(|check| young(check.at)) {
            let meter = Arg::Text(self.reader.word(meter_word(check.meter)));
            let value = self.say("curve-check", &[("value", Arg::Value(check.reference)), ("meter", meter)]);
            let shown = self.say("page-check", &[("time", Arg::Time(check.at)), ("check", Arg::Text(value))]);
            page.paragraph(&shown);
            let at = check.at.to_string();
            self.form(page, "/unmeter", &shown, &[named, ("measured_at", &at)], |page| {
                page.button(&self.reader.word("page-unmeter"));
            });
        }
    }

    fn sensor(&self, page: &mut Page, cat: &CatSettings) {
        let about = self.say_of(cat, "page-form-sensor", &[]);
        self.form(page, "/sensor", &about, &[("cat", cat.name.as_str())], |page| {
            let labels = SENSOR_EVENTS.map(|(event, _)| self.reader.word(sensor_word(event)));
            let choices: Vec<Choice<'_>> = SENSOR_EVENTS
                .iter()
                .zip(&labels)
                .map(|((_, value), label)| Choice { value, label, chosen: false })
                .collect();
            page.choice(&self.reader.word("page-field-event"), "event", &choices);
            self.at(page);
            page.button(&self.reader.word("page-save-sensor"));
        });
    }

    fn spare(&self, page: &mut Page, cat: &CatSettings) {
        let about = self.say_of(cat, "page-form-spare", &[]);
        self.form(page, "/spare", &about, &[("cat", cat.name.as_str())], |page| {
            let label = self.reader.word("page-field-count");
            let takes = "type=\"text\" inputmode=\"numeric\" autocomplete=\"off\" maxlength=\"3\" required";
            page.field(&Field { label: &label, name: "count", takes });
            page.button(&self.reader.word("page-save-spare"));
        });
    }

    fn note(&self, page: &mut Page, cat: &CatSettings) {
        let about = self.say_of(cat, "page-form-note", &[]);
        self.form(page, "/note", &about, &[("cat", cat.name.as_str())], |page| {
            let label = self.reader.word("page-field-text");
            page.long_field(&Field {
                label: &label,
                name: "text",
                takes: "rows=\"4\" maxlength=\"500\" required",
            });
            page.button(&self.reader.word("page-save-note"));
        });
    }
}

/// What happened to a sensor, in a word of the catalogue.
pub(super) const fn sensor_word(event: SensorEvent) -> &'static str {
    match event {
        SensorEvent::Applied => "page-sensor-applied",
        SensorEvent::Error => "page-sensor-error",
        SensorEvent::Ok => "page-sensor-ok",
        SensorEvent::Expired => "page-sensor-expired",
        SensorEvent::Failed => "page-sensor-failed",
        SensorEvent::CameOff => "page-sensor-came-off",
        SensorEvent::Removed => "page-sensor-removed",
    }
}

/// In the order in which they are likely.
const SENSOR_EVENTS: [(SensorEvent, &str); 7] = [
    (SensorEvent::Applied, "applied"),
    (SensorEvent::CameOff, "came-off"),
    (SensorEvent::Failed, "failed"),
    (SensorEvent::Expired, "expired"),
    (SensorEvent::Removed, "removed"),
    (SensorEvent::Error, "error"),
    (SensorEvent::Ok, "ok"),
];
const METERS: [(MeterKind, &str); 4] = [
    (MeterKind::Pet, "pet"),
    (MeterKind::Human, "human"),
    (MeterKind::WholeBlood, "whole-blood"),
    (MeterKind::Unknown, "unknown"),
];
/// What is older is no slip of the hand any more.
const TAKEN_BACK_MINUTES: f64 = 12.0 * 60.0;
