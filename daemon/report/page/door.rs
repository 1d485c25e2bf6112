//! Two small pages that ask for one thing: whether a dose near another one was given too, and the password.

use chrono_tz::Tz;

use super::{Ask, Desk, PageSeat, told, unsettled};
use crate::report::html::{Field, Page};
use crate::tell::Reader;
use crate::words::{Arg, Moment, Telling, Unit};

/// A dose was to be recorded, and one near it is recorded already: nobody records a second one by a slip of the hand.
#[must_use]
pub fn ask_page(seat: &PageSeat<'_>, ask: &Ask) -> String {
    let (Some(desk), Some(cat)) = (Desk::of(seat), cat_of(seat, ask)) else { return unsettled(seat) };
    let reader = &desk.reader;
    let heading = desk.say_of(cat, "page-ask-title", &[]);
    let mut page = desk.begin(&heading);
    page.framed("open warning", |page| {
        page.paragraph(&desk.say_of(cat, "page-ask", &[("time", Arg::Time(ask.held))]));
        page.strong(&reader.word("page-ask-do"));
        if let Some(phone) = &cat.plan.vet_phone {
            page.phone(&desk.say_of(cat, "sheet-vet", &[]), phone);
        }
        if let Some(phone) = &cat.plan.out_of_hours_phone {
            page.phone(&desk.say_of(cat, "sheet-out-of-hours", &[]), phone);
        }
        page.way("/", &reader.word("page-ask-back"));
        let again = [("cat", ask.cat.as_str()), ("at", &ask.at), ("units", &ask.units), ("again", "1")];
        desk.form(page, "/dose", "", &again, |page| page.button(&reader.word("button-given-too")));
    });
    desk.end(page, &heading, None)
}

fn cat_of<'a>(seat: &PageSeat<'a>, ask: &Ask) -> Option<&'a crate::words::CatSettings> {
    seat.house.household.as_ref()?.cat(&ask.cat)
}

/// `GET /enter`: asks for the password.
#[must_use]
pub fn password_page(language: &str, household_called: Option<&str>, wrong: Option<Telling>) -> String {
    let now = Moment::default();
    let reader = Reader { language, units: Unit::MgDl, zone: Tz::UTC, now, household: None };
    let heading = household_called.unwrap_or("Lowtide");
    let mut page = Page::default();
    page.title(heading);
    if let Some(wrong) = wrong {
        page.notice(&told(&reader, &wrong));
    }
    page.form("/enter", "", &[], |page| {
        let label = reader.word("page-field-password");
        let takes = "type=\"password\" autocomplete=\"current-password\" required autofocus";
        page.field(&Field { label: &label, name: "password", takes });
        page.button(&reader.word("page-enter"));
    });
    page.web(language, heading, None)
}
