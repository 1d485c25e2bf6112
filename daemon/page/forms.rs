//! What was typed or pressed becomes an event. In: the fields of a form, a copy of the house, and who sent it. Out: the
//! event and what to say of it, a question back, or what is wrong with what was typed, in words.

use std::collections::BTreeMap;

use serde::de::DeserializeOwned;

use super::Seen;
use crate::almanac::{EARLY_MINUTES, typed};
use crate::report::Ask;
use crate::turn::counts_as;
use crate::words::{
    Answer, Arg, CatName, CatSettings, Dose, Event, FindingId, MeterCheck, MeterKind, Moment, Note,
    POSSIBLE_UNITS, Person, SensorEvent, SensorNote, Spare, Telling, UNDONE_MINUTES, Value, Verdict, Via,
    minutes,
};

/// The fields of a form.
pub(super) type Fields = BTreeMap<String, String>;

/// What a form asks for.
#[derive(Debug, PartialEq)]
pub(super) enum Asked {
    /// To record this; and what to say once it is safe.
    Record(Event, Telling),
    /// To record a dose beside one that is recorded: whoever it is should say so once more.
    Sure(Ask),
}

/// What the form sent to `path` asks for.
///
/// # Errors
/// What is wrong with it, for the reader.
pub(super) fn asked(path: &str, fields: &Fields, seen: &Seen, person: &Person) -> Result<Asked, Telling> {
    let desk = Desk { fields, seen, person };
    match path {
        "/answer" => desk.answer(),
        "/dose" => desk.dose(),
        "/undose" => desk.undose(),
        "/meter" => desk.meter(),
        "/unmeter" => desk.unmeter(),
        "/sensor" => desk.sensor(),
        "/spare" => desk.spare(),
        "/note" => desk.note(),
        _ => Err(odd()),
    }
}

struct Desk<'a> {
    fields: &'a Fields,
    seen: &'a Seen,
    person: &'a Person,
}

impl Desk<'_> {
    fn field(&self, name: &str) -> &str {
        self.fields.get(name).map_or("", |text| text.trim())
    }

    fn cat(&self) -> Result<&CatSettings, Telling> {
        let household = self.seen.house.household.as_deref();
        let name = CatName::new(self.field("cat")).ok();
        household.zip(name).and_then(|(household, name)| household.cat(&name)).ok_or_else(odd)
    }

    /// When it was: as typed on the reader's clock, or now; nothing that is still to come.
    fn at(&self) -> Result<Moment, Telling> {
        let (text, now) = (self.field("at"), self.seen.now);
        if text.is_empty() {
            return Ok(now);
        }
        let at = typed(self.person.timezone, text, now)
            .ok_or_else(|| Telling::new("page-slip-time").with("text", Arg::Text(text.to_owned())))?;
        if at > now + minutes(EARLY_MINUTES) {
            return Err(Telling::new("page-slip-future").with("time", Arg::Time(at)));
        }
        Ok(at)
    }

    /// An instant that a page of ours had written into the form.
    fn instant(&self, name: &str) -> Result<Moment, Telling> {
        Moment::parse(self.field(name)).ok_or_else(odd)
    }

    fn answer(&self) -> Result<Asked, Telling> {
        let verdict: Verdict = word(self.field("verdict"))?;
        let finding = Some(self.field("finding")).filter(|id| !id.is_empty()).ok_or_else(odd)?;
        let finding = FindingId(finding.to_owned());
        let person = self.person.name.clone();
        let answer = Answer { finding: Some(finding.clone()), person, via: Via::Page, verdict, at: None };
        let said = match verdict {
            Verdict::Given | Verdict::GivenToo => self.given(&finding, &answer)?,
            _ if self.seen.house.open().iter().any(|open| open.id == finding) => {
                Telling::new("page-kept-answer")
            }
            // The page was an old one: nobody is to think that they have answered what is open now.
            _ => Telling::new("page-answer-over"),
        };
        Ok(Asked::Record(Event::Answer(answer), said))
    }

    /// What a button comes to that says that a dose is given now: it is one, or one is recorded already, or the button is
    /// so old that it is none.
    fn given(&self, finding: &FindingId, answer: &Answer) -> Result<Telling, Telling> {
        let household = self.seen.house.household.as_deref().ok_or_else(odd)?;
        let cat = household.cats.iter().find(|cat| finding.is_of(&cat.name)).ok_or_else(odd)?;
        let counts = counts_as(&self.seen.house, answer, self.seen.now);
        Ok(match (counts, self.held(cat, self.seen.now)) {
            (Some(Event::Dose(dose)), _) => of(cat, "page-kept-dose").with("time", Arg::Time(dose.given_at)),
            (_, Some(held)) => of(cat, "page-dose-already").with("time", Arg::Time(held)),
            (_, None) => of(cat, "dose-stale"),
        })
    }

    /// A dose that is recorded so near to `at` that a second one would be one too many.
    fn held(&self, cat: &CatSettings, at: Moment) -> Option<Moment> {
        let apart = cat.doses.min_hours_between * 60.0;
        let doses = &self.seen.house.cats.get(&cat.name)?.doses;
        let near = |dose: &&Dose| at.minutes_since(dose.given_at).abs() < apart;
        doses.iter().rev().find(near).map(|dose| dose.given_at)
    }

    fn dose(&self) -> Result<Asked, Telling> {
        let (cat, given_at) = (self.cat()?, self.at()?);
        let text = self.field("units");
        let units = match text {
            "" => None,
            text => {
                Some(number(text).filter(|units| POSSIBLE_UNITS.contains(units)).ok_or_else(|| {
                    Telling::new("page-slip-units").with("text", Arg::Text(text.to_owned()))
                })?)
            }
        };
        if let Some(held) = self.held(cat, given_at).filter(|_| self.field("again").is_empty()) {
            // The very instant: sent with the answer of the question back it must still mean the same.
            let at = given_at.to_string();
            return Ok(Asked::Sure(Ask { cat: cat.name.clone(), held, at, units: text.to_owned() }));
        }
        let by = Some(self.person.name.to_string());
        let dose = Dose { cat: cat.name.clone(), given_at, units, by, not_given: false };
        Ok(Asked::Record(Event::Dose(dose), of(cat, "page-kept-dose").with("time", Arg::Time(given_at))))
    }

    fn undose(&self) -> Result<Asked, Telling> {
        let (cat, given_at) = (self.cat()?, self.instant("given_at")?);
        let doses = self.seen.house.cats.get(&cat.name).map(|cat| cat.doses.as_slice()).unwrap_or_default();
        let is_it = |dose: &Dose| dose.given_at.minutes_since(given_at).abs() <= UNDONE_MINUTES;
        if !doses.iter().any(is_it) {
            return Err(Telling::new("page-slip-gone"));
        }
        let dose = Dose { cat: cat.name.clone(), given_at, units: None, by: None, not_given: true };
        Ok(Asked::Record(Event::Dose(dose), of(cat, "page-undone-dose").with("time", Arg::Time(given_at))))
    }

    fn meter(&self) -> Result<Asked, Telling> {
        let (cat, measured_at) = (self.cat()?, self.at()?);
        let (text, unit) = (self.field("glucose"), self.person.units);
        let slip = |key: &str| {
            let telling = Telling::new(key).with("text", Arg::Text(text.to_owned()));
            telling.with("unit", Arg::Text(unit.code().to_owned()))
        };
        // Typed by a person: a comma is the decimal one.
        let glucose = Value::parse(&text.replacen(',', ".", 1), unit).map_err(|_| slip("page-slip-level"))?;
        if glucose.is_unlikely() {
            return Err(slip("page-slip-unlikely"));
        }
        let meter = match self.field("meter") {
            "" => MeterKind::Unknown,
            text => word(text)?,
        };
        let check = MeterCheck { cat: cat.name.clone(), measured_at, glucose, meter };
        let said = of(cat, "page-kept-meter").with("value", Arg::Value(glucose));
        Ok(Asked::Record(Event::Meter(check), said.with("time", Arg::Time(measured_at))))
    }

    fn unmeter(&self) -> Result<Asked, Telling> {
        let (cat, measured_at) = (self.cat()?, self.instant("measured_at")?);
        let state = self.seen.house.cats.get(&cat.name).ok_or_else(odd)?;
        let near = |at: Moment| at.minutes_since(measured_at).abs() <= UNDONE_MINUTES;
        if !state.tracker.pairs().checks().iter().any(|check| near(check.at)) {
            return Err(Telling::new("page-slip-gone"));
        }
        let said = of(cat, "page-undone-meter").with("time", Arg::Time(measured_at));
        let (cat, at) = (cat.name.clone(), self.seen.now);
        Ok(Asked::Record(Event::MeterUndone { cat, measured_at, at }, said))
    }

    fn sensor(&self) -> Result<Asked, Telling> {
        let (cat, at) = (self.cat()?, self.at()?);
        let event: SensorEvent = word(self.field("event"))?;
        let note = SensorNote { cat: cat.name.clone(), at, event };
        Ok(Asked::Record(Event::Sensor(note), of(cat, "page-kept-sensor").with("time", Arg::Time(at))))
    }

    fn spare(&self) -> Result<Asked, Telling> {
        let (cat, text) = (self.cat()?, self.field("count"));
        let count: u32 = text
            .parse()
            .ok()
            .filter(|count| *count <= SPARES_MOST)
            .ok_or_else(|| Telling::new("page-slip-count").with("text", Arg::Text(text.to_owned())))?;
        let spare = Spare { cat: cat.name.clone(), at: self.seen.now, count };
        let said = of(cat, "page-kept-spare").with("count", Arg::Count(i64::from(count)));
        Ok(Asked::Record(Event::Spare(spare), said))
    }

    fn note(&self) -> Result<Asked, Telling> {
        let (cat, at) = (self.cat()?, self.at()?);
        let text: String = self.field("text").chars().take(NOTE_LETTERS_MOST).collect();
        if text.is_empty() {
            return Err(Telling::new("page-slip-empty"));
        }
        let by = Some(self.person.name.to_string());
        let note = Note { cat: cat.name.clone(), at, text, by };
        Ok(Asked::Record(Event::Note(note), of(cat, "page-kept-note")))
    }
}

/// With the cat: in a house with two, whoever used the form of the other one is to see it.
fn of(cat: &CatSettings, key: &str) -> Telling {
    Telling::new(key).with("cat", Arg::Text(cat.called.clone()))
}

/// Said of a form that no page of ours sends.
fn odd() -> Telling {
    Telling::new("page-slip-form")
}

fn word<T: DeserializeOwned>(text: &str) -> Result<T, Telling> {
    serde_json::from_value(serde_json::Value::String(text.to_owned())).map_err(|_| odd())
}

fn number(text: &str) -> Option<f64> {
    text.replacen(',', ".", 1).parse().ok()
}

const NOTE_LETTERS_MOST: usize = 500;
const SPARES_MOST: u32 = 100;
