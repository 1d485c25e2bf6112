//! The web page: how things stand, what can be answered and recorded, what has happened. The house comes in with who
//! looks at it; whole documents go out, in that person's words, unit and clock. Nothing runs in them; their style is
//! [`PAGE_STYLE`], which lies beside them as `/page.css`.
//!
//! The page repeats the vet's plan and never adds to it. It says where nothing is known, and never that all is well.

mod cat;
mod door;
mod history;
mod now;
mod open;
mod record;
mod sensors;
mod style;

use super::html::Page;
use super::meanings::common;
use crate::tell::{Reader, act, caution, title, what};
use crate::turn::House;
use crate::words::{
    Arg, CatName, CatSettings, Dose, Event, Household, Moment, Person, PersonName, Said, Telling,
};

pub use door::{ask_page, password_page};
pub use history::history_page;
pub use now::now_page;
pub use record::record_page;
pub use sensors::sensors_page;
pub use style::PAGE_STYLE;

/// Who looks, at what.
#[derive(Clone, Copy, Debug)]
pub struct PageSeat<'a> {
    /// The house, a copy of the present.
    pub house: &'a House,
    /// In whose language, unit and zone it is shown; who answers and records.
    pub person: &'a Person,
    /// The present.
    pub now: Moment,
    /// What just came of a form; shown on top.
    pub notice: Option<&'a Telling>,
    /// Whether a password was asked for: then whoever looks can leave.
    pub locked: bool,
}

/// Something that happened, with what was found and said of it.
#[derive(Clone, Copy, Debug)]
pub struct Happened<'a> {
    /// When.
    pub at: Moment,
    /// What.
    pub event: &'a Event,
    /// What followed.
    pub said: &'a Said,
}

/// A dose that was not recorded, because one near it is recorded already.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ask {
    /// Whose.
    pub cat: CatName,
    /// When the one was given that is recorded already.
    pub held: Moment,
    /// The time that was typed.
    pub at: String,
    /// The units that were typed.
    pub units: String,
}

/// What every page is written from.
struct Desk<'a> {
    seat: &'a PageSeat<'a>,
    household: &'a Household,
    reader: Reader<'a>,
}

impl<'a> Desk<'a> {
    /// `None` before the house has settings.
    fn of(seat: &'a PageSeat<'a>) -> Option<Self> {
        let household = seat.house.household.as_deref()?;
        Some(Self { seat, household, reader: Reader::person(seat.person, household, seat.now) })
    }

    /// A line of the catalogue.
    fn say(&self, key: &str, args: &[(&str, Arg)]) -> String {
        self.reader.line(&with(Telling::new(key), args))
    }

    /// A line of the catalogue that may name the cat, the owner and the plan's limits.
    fn say_of(&self, cat: &CatSettings, key: &str, args: &[(&str, Arg)]) -> String {
        self.reader.line(&with(common(key, self.household, cat), args))
    }

    /// The cats' names.
    fn cats(&self) -> String {
        let names: Vec<&str> = self.household.cats.iter().map(|cat| cat.called.as_str()).collect();
        names.join(", ")
    }

    /// When a dose was given, and by whom if that is known.
    fn dose(&self, dose: &Dose) -> String {
        let Some(by) = &dose.by else { return self.reader.time(dose.given_at) };
        self.say("sheet-dose-by", &[("time", Arg::Time(dose.given_at)), ("person", self.named(by))])
    }

    /// Somebody as they are called, by a name of the household or any other.
    fn named(&self, by: &str) -> Arg {
        let known = PersonName::new(by).ok().filter(|name| self.household.person(name).is_some());
        known.map_or_else(|| Arg::Text(by.to_owned()), Arg::Person)
    }

    /// The top of a page: its title, and what just came of a form.
    fn begin(&self, title: &str) -> Page {
        let mut page = Page::default();
        page.title(title);
        if let Some(notice) = self.seat.notice {
            page.notice(&told(&self.reader, notice));
        }
        page
    }

    /// The foot of a page: the other pages, in whose eyes this one is, and the usual caution.
    fn end(&self, mut page: Page, title: &str, anew_seconds: Option<u32>) -> String {
        let word = |key: &str| self.reader.word(key);
        let mut links = vec![
            ("/".to_owned(), word("page-now")),
            ("/record".to_owned(), word("page-record")),
            ("/history".to_owned(), word("page-history")),
            ("/sensors".to_owned(), word("page-sensors")),
        ];
        for cat in &self.household.cats {
            links.push((format!("/curve?cat={}", cat.name), self.say_of(cat, "page-curve-link", &[])));
            links.push((format!("/sheet?cat={}", cat.name), self.say_of(cat, "page-sheet-link", &[])));
        }
        page.nav(&links);
        page.framed("people", |page| self.people(page));
        page.small(&caution(&self.reader));
        let shown = [("time", Arg::Text(self.reader.stamp(self.seat.now))), ("zone", zone(self.seat.person))];
        page.small(&match anew_seconds {
            Some(_) => format!("{} {}", self.say("page-as-of", &shown), word("page-anew")),
            None => self.say("page-as-of", &shown),
        });
        page.web(&self.seat.person.language, title, anew_seconds)
    }

    /// A form that records something: as that of whoever this page is shown to.
    fn form(
        &self,
        page: &mut Page,
        action: &'static str,
        about: &str,
        hidden: &[(&'static str, &str)],
        inside: impl FnOnce(&mut Page),
    ) {
        let whose = ("person", self.seat.person.name.as_str());
        let hidden: Vec<_> = hidden.iter().copied().chain([whose]).collect();
        page.form(action, about, &hidden, inside);
    }

    fn people(&self, page: &mut Page) {
        if self.household.persons.len() > 1 {
            let label = self.reader.word("page-you-are");
            page.paragraph(&label);
            page.form("/person", &label, &[], |page| {
                for person in &self.household.persons {
                    let mine = person.name == self.seat.person.name;
                    let shown = if mine {
                        self.say("page-you", &[("person", Arg::Person(person.name.clone()))])
                    } else {
                        person.called.clone()
                    };
                    page.answer("person", person.name.as_str(), &shown, mine);
                }
            });
        }
        if self.seat.locked {
            page.form("/leave", "", &[], |page| page.button(&self.reader.word("page-leave")));
        }
    }
}

fn with(telling: Telling, args: &[(&str, Arg)]) -> Telling {
    args.iter().fold(telling, |telling, (name, arg)| telling.with(name, arg.clone()))
}

/// The clock that a person looks at.
fn zone(person: &Person) -> Arg {
    Arg::Text(person.timezone.name().to_owned())
}

/// What a telling says in a line: its text, or that of a message, with its title in front.
fn told(reader: &Reader<'_>, telling: &Telling) -> String {
    let line = reader.line(telling);
    if line != telling.key {
        return line;
    }
    let what = what(reader, telling);
    let heading = title(reader, telling);
    let heading = (heading != telling.key).then(|| format!("{heading}."));
    heading.into_iter().chain([what]).chain(act(reader, telling)).collect::<Vec<_>>().join(" ")
}

/// What there is to see before there are settings.
fn unsettled(seat: &PageSeat<'_>) -> String {
    let zone = seat.person.timezone;
    let (language, units) = (seat.person.language.as_str(), seat.person.units);
    let reader = Reader { language, units, zone, now: seat.now, household: None };
    let mut page = Page::default();
    page.title("Lowtide");
    page.paragraph(&reader.word("page-no-settings"));
    page.web(language, "Lowtide", Some(ANEW_SECONDS))
}

/// The present is shown anew after so many seconds.
const ANEW_SECONDS: u32 = 60;
