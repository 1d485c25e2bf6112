//! How things stand: what is open and what to do first, then each cat, then what comes and who has the cats.

use super::{ANEW_SECONDS, Desk, PageSeat, unsettled};
use crate::duty::{duty_changes, on_duty};
use crate::report::html::Page;
use crate::report::status::{HouseStatus, house_status};
use crate::tell::title;
use crate::words::{Arg, Person};

/// `GET /`: how things stand.
#[must_use]
pub fn now_page(seat: &PageSeat<'_>) -> String {
    let (Some(desk), Some(status)) = (Desk::of(seat), house_status(seat.house, seat.now)) else {
        return unsettled(seat);
    };
    let open = desk.open();
    // With the time: a page that could not show itself anew must not pass for the present.
    let at = ("time", Arg::Time(seat.now));
    let heading = desk.say("page-now-title", &[("cat", Arg::Text(desk.cats())), at]);
    let mut page = desk.begin(&heading);
    for finding in &open {
        desk.finding(&mut page, finding);
    }
    for shown in &status.cats {
        desk.cat(&mut page, shown);
    }
    page.way("/record", &desk.reader.word("page-record-link"));
    desk.hands(&mut page, &status);
    // What is worst stands in the tab as well; a title never holds a value.
    let worst = open.first().map(|finding| title(&desk.reader, &desk.words(finding)));
    desk.end(page, &worst.unwrap_or(heading), Some(ANEW_SECONDS))
}

impl Desk<'_> {
    /// Who has the cats, until when and who then; whom one can call; what is still on its way.
    fn hands(&self, page: &mut Page, status: &HouseStatus) {
        let (household, now) = (self.household, self.seat.now);
        let holder = on_duty(household, now);
        page.heading(&self.reader.word("page-hands"));
        let has = [("person", Arg::Person(holder.clone())), ("cat", Arg::Text(self.cats()))];
        let mut lines = vec![self.say("sheet-has-cat-now", &has)];
        for (at, name) in duty_changes(household, now).into_iter().take(CHANGES_SHOWN) {
            let from = [("time", Arg::Time(at)), ("person", Arg::Person(name.clone()))];
            lines.push(self.say("sheet-has-cat-from", &from));
        }
        page.paragraph(&lines.join(" "));
        let mut others: Vec<&Person> =
            household.persons.iter().filter(|person| person.name != self.seat.person.name).collect();
        others.sort_by_key(|person| person.name != *holder);
        for person in others {
            if let Some(phone) = &person.phone {
                page.phone(&person.called, phone);
            }
        }
        if status.outbox > 0 {
            page.paragraph(&self.say("page-outbox", &[("count", Arg::Count(status.outbox as i64))]));
        }
    }
}

const CHANGES_SHOWN: usize = 2;
