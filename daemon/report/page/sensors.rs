//! How long sensors last: each one that is recorded, what a day costs, and how long the present one may stay on.

use super::{Desk, PageSeat, unsettled};
use crate::report::html::Page;
use crate::report::{SensorLife, Worn, cost_per_day, wears};
use crate::words::{Arg, CatName, CatSettings, SensorEvent, SensorNote, minutes};

/// `GET /sensors`: the wears of each cat, out of what is recorded of its sensors.
#[must_use]
pub fn sensors_page(seat: &PageSeat<'_>, notes: &[(CatName, Vec<SensorNote>)]) -> String {
    let Some(desk) = Desk::of(seat) else { return unsettled(seat) };
    let heading = desk.reader.word("page-sensors");
    let mut page = desk.begin(&heading);
    for cat in &desk.household.cats {
        let own = notes.iter().filter(|(name, _)| *name == cat.name).flat_map(|(_, notes)| notes.clone());
        page.heading(&cat.called);
        desk.sensors(&mut page, cat, &wears(own, seat.now));
    }
    desk.end(page, &heading, None)
}

impl Desk<'_> {
    fn sensors(&self, page: &mut Page, cat: &CatSettings, worn: &[Worn]) {
        let now = self.seat.now;
        if let Some(count) = self.seat.house.cats.get(&cat.name).and_then(|state| state.spares) {
            page.paragraph(&self.say("sheet-now-spares", &[("count", Arg::Count(i64::from(count)))]));
        }
        if worn.is_empty() {
            page.paragraph(&self.say_of(cat, "page-wear-none", &[]));
            return;
        }
        let columns = ["page-wear-on", "page-wear-end", "page-wear-days"].map(|key| self.reader.word(key));
        let rows: Vec<Vec<String>> = worn.iter().rev().map(|wear| self.wear(wear)).collect();
        page.table(&columns, &rows);
        page.list(&self.cost(cat, worn));
        let lives: Vec<_> = worn.iter().map(|wear| wear.lifetime(now)).collect();
        let life = SensorLife::new(&lives, cat.sensor.wear_days);
        let basis = if life.is_borrowed() { "page-life-borrowed" } else { "page-life-own" };
        page.paragraph(&self.say(basis, &[("count", Arg::Count(life.wears as i64))]));
        page.list(&self.lasting(cat, &life));
        page.list(&self.present(cat, worn, &life));
    }

    fn wear(&self, wear: &Worn) -> Vec<String> {
        let ended = match wear.ended {
            None => self.reader.word("page-wear-still"),
            Some((at, how)) => {
                let how = match how {
                    SensorEvent::Failed => "how-failed",
                    SensorEvent::CameOff => "how-came-off",
                    SensorEvent::Removed => "how-removed",
                    _ => "how-expired",
                };
                let how = ("how", Arg::Word(how.to_owned()));
                self.say("page-wear-ended", &[("time", Arg::Text(self.reader.stamp(at))), how])
            }
        };
        vec![self.reader.stamp(wear.applied), ended, self.reader.number(wear.days(self.seat.now), 1)]
    }

    /// What a day costs, if it is known what a sensor costs.
    fn cost(&self, cat: &CatSettings, worn: &[Worn]) -> Vec<String> {
        let Some(price) = cat.sensor.price else { return Vec::new() };
        let money = |amount: f64| {
            let currency = cat.sensor.currency.as_deref().unwrap_or_default();
            Arg::Text(format!("{} {currency}", self.reader.number(amount, 2)).trim_end().to_owned())
        };
        let full = [
            ("price", money(price)),
            ("full", money(price / cat.sensor.wear_days)),
            ("days", Arg::Text(self.reader.number(cat.sensor.wear_days, 0))),
        ];
        let so_far = cost_per_day(price, worn, self.seat.now);
        let so_far = so_far.map(|day| self.say("page-cost", &[("day", money(day))]));
        so_far.into_iter().chain([self.say("page-cost-full", &full)]).collect()
    }

    /// Which share of this household's sensors lasts longer than some days.
    fn lasting(&self, cat: &CatSettings, life: &SensorLife) -> Vec<String> {
        let looks = [5.0, 7.0, 10.0, 12.0].into_iter().filter(|days| *days < cat.sensor.wear_days);
        let lasting = looks.filter_map(|days| life.lasting(days).map(|found| (days, found)));
        lasting
            .map(|(days, (share, [low, high]))| {
                let args = [
                    ("span", Arg::Minutes(days * 1440.0)),
                    ("share", Arg::Share(share)),
                    ("from", Arg::Share(low)),
                    ("to", Arg::Share(high)),
                ];
                self.say("page-life-lasting", &args)
            })
            .collect()
    }

    /// The chance that the sensor that is on stays on some days more.
    fn present(&self, cat: &CatSettings, worn: &[Worn], life: &SensorLife) -> Vec<String> {
        let Some(wear) = worn.last().filter(|wear| wear.ended.is_none()) else { return Vec::new() };
        let age = wear.days(self.seat.now);
        let looks = [2.0, 5.0].into_iter().filter(|more| age + more < cat.sensor.wear_days);
        looks
            .map(|more| {
                let at = Arg::Time(self.seat.now + minutes(more * 1440.0));
                let chance = Arg::Chance(life.chance_lasts(age, age + more));
                self.say("page-life-present", &[("time", at), ("chance", chance)])
            })
            .collect()
    }
}
