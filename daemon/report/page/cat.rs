//! A cat now: what is known of where blood is, the last day and what may come, what is due next.

use super::Desk;
use crate::almanac::next_times;
use crate::report::curve::History;
use crate::report::figures::{Figures, figures};
use crate::report::html::Page;
use crate::report::meter::correction_words;
use crate::report::picture::{Present, present_picture};
use crate::report::status::CatStatus;
use crate::report::{Ahead, plan_range};
use crate::watch::CatState;
use crate::words::{Arg, CatSettings, MeterCheck, Moment, OutOfRange, Watch, minutes};

impl Desk<'_> {
    /// Everything of one cat.
    pub(super) fn cat(&self, page: &mut Page, shown: &CatStatus) {
        let (Some(cat), Some(state)) = (self.household.cat(&shown.cat), self.seat.house.cats.get(&shown.cat))
        else {
            return;
        };
        page.heading(&self.say_of(cat, "page-cat", &[]));
        if shown.open.is_empty() {
            page.paragraph(&self.quiet(cat, shown));
        }
        if cat.plan.sglt2_inhibitor {
            page.strong(&self.say_of(cat, "sheet-plan-sglt2", &[]));
        }
        self.glucose(page, cat, shown);
        self.picture(page, cat, shown, state);
        self.ahead(page, cat, shown);
        page.subheading(&self.reader.word("page-next"));
        page.list(&self.next(cat, shown, state));
    }

    /// That nothing is open, with what that rests on: without a fresh reading it is no comfort.
    fn quiet(&self, cat: &CatSettings, shown: &CatStatus) -> String {
        let Some(at) = shown.newest_at else { return self.say_of(cat, "page-quiet-none", &[]) };
        let key = match (shown.fresh, shown.blood) {
            (false, _) => "page-quiet-blind",
            (true, None) => "page-quiet-unsure",
            (true, Some(_)) => "page-quiet",
        };
        self.say_of(cat, key, &[("age", Arg::Ago(at))])
    }

    fn glucose(&self, page: &mut Page, cat: &CatSettings, shown: &CatStatus) {
        let (Some(at), Some(value)) = (shown.newest_at, shown.newest) else {
            page.paragraph(&self.say_of(cat, "sheet-now-no-reading", &[]));
            return;
        };
        let read = [("value", Arg::Value(value)), ("time", Arg::Time(at)), ("age", Arg::Ago(at))];
        page.paragraph(&self.say("page-reading", &read));
        match (shown.blood, shown.blood_sd, shown.rate_per_min) {
            (Some(blood), Some(doubt), Some(rate)) => {
                let about = [
                    ("blood", Arg::Glucose(blood)),
                    ("doubt", Arg::Glucose(doubt)),
                    ("trend", Arg::Rate(rate)),
                ];
                page.strong(&self.say("page-blood", &about));
                for sentence in correction_words(&shown.meter_checks, &self.reader) {
                    page.small(&sentence);
                }
            }
            _ => page.strong(&self.unknown(cat, shown)),
        }
        if let Some(chance) = chance(cat, shown) {
            let span = ("span", Arg::Minutes(shown.low_ahead_minutes));
            page.paragraph(&self.say_of(cat, "page-chance", &[("chance", Arg::Chance(chance)), span]));
        }
        if let Some(at) = shown.scan_again {
            let key = if at > self.seat.now { "page-scan-by" } else { "page-scan-since" };
            page.strong(&self.say(key, &[("time", Arg::Time(at))]));
        }
    }

    /// Why it is not known where blood is.
    fn unknown(&self, cat: &CatSettings, shown: &CatStatus) -> String {
        match shown.out_of_range(self.household) {
            Some(OutOfRange::Below(level)) => {
                self.say_of(cat, "sheet-now-below", &[("level", Arg::Glucose(level))])
            }
            Some(OutOfRange::Above(level)) => {
                self.say_of(cat, "sheet-now-above", &[("level", Arg::Glucose(level))])
            }
            None if shown.fresh => self.reader.word("page-blood-odd"),
            None => self.reader.word("page-blood-old"),
        }
    }

    /// The last day as a picture, with where blood may be in the next hours.
    fn picture(&self, page: &mut Page, cat: &CatSettings, shown: &CatStatus, state: &CatState) {
        let now = self.seat.now;
        let from = now - minutes(24.0 * 60.0);
        let readings = state.tracker.recent().iter();
        let readings = readings.filter(|r| r.measured_at >= from && r.measured_at <= now).copied().collect();
        let checks = state.tracker.pairs().checks().iter().map(|check| MeterCheck {
            cat: cat.name.clone(),
            measured_at: check.at,
            glucose: check.reference,
            meter: check.meter,
        });
        let history =
            History { readings, doses: state.doses.clone(), checks: checks.collect(), ..History::default() };
        let seen = figures(&history.readings, from, now, plan_range(cat), &cat.sensor);
        if seen.lowest.is_none() {
            page.paragraph(&self.reader.word("page-curve-none"));
            return;
        }
        let ahead = band(shown, now);
        let word = self.reader.word("page-picture-now");
        let label = self.label(cat, &seen, &shown.ahead);
        let present = Present { now, ahead: &ahead, word: &word, label: &label };
        let drawn = present_picture(cat, &history, &present, &self.reader);
        let caption = if ahead.is_empty() { "page-curve-past" } else { "page-curve" };
        page.figure(&self.reader.word(caption), &drawn);
        page.details(&self.reader.word("page-legend-title"), |page| {
            page.paragraph(&label);
            page.paragraph(&self.say_of(cat, "page-legend", &[]));
            if !cat.plan.sglt2_inhibitor {
                page.paragraph(&self.reader.word("page-legend-band"));
            }
            if !ahead.is_empty() {
                page.paragraph(&self.reader.word("page-legend-ahead"));
            }
        });
    }

    /// What the picture shows, in words.
    fn label(&self, cat: &CatSettings, seen: &Figures, ahead: &[Ahead]) -> String {
        let mut lines = Vec::new();
        if let (Some(lowest), Some(highest)) = (seen.lowest, seen.highest) {
            let ends = [
                ("lowest", Arg::Value(lowest.value)),
                ("lowest_time", Arg::Time(lowest.measured_at)),
                ("highest", Arg::Value(highest.value)),
                ("highest_time", Arg::Time(highest.measured_at)),
            ];
            lines.push(self.say_of(cat, "page-curve-seen", &ends));
        }
        if let Some(last) = ahead.last() {
            let [from, to] = last.interval80.map(Arg::Glucose);
            let at = ("time", Arg::Time(last.at));
            lines.push(self.say("page-curve-seen-ahead", &[at, ("from", from), ("to", to)]));
        }
        lines.join(" ")
    }

    /// The next hours, look by look.
    fn ahead(&self, page: &mut Page, cat: &CatSettings, shown: &CatStatus) {
        if shown.ahead.is_empty() {
            return;
        }
        let units = self.reader.units;
        let number = |mg_dl: f64| Arg::Text(self.reader.number(units.of_mg_dl(mg_dl), units.decimals()));
        let range = self.say("page-ahead-range", &[("unit", Arg::Text(units.to_string()))]);
        let mut columns = vec![self.reader.word("page-ahead-at"), range];
        let chances = chance(cat, shown).is_some();
        columns.extend(chances.then(|| self.say_of(cat, "page-ahead-under", &[])));
        let row = |look: &Ahead| {
            let [from, to] = look.interval80.map(number);
            let mut row =
                vec![self.reader.time(look.at), self.say("page-ahead-span", &[("from", from), ("to", to)])];
            row.extend(chances.then(|| self.reader.chance(look.low_chance)));
            row
        };
        let rows: Vec<Vec<String>> = shown.ahead.iter().map(row).collect();
        page.details(&self.reader.word("page-ahead"), |page| {
            page.table(&columns, &rows);
            page.small(&self.reader.word("page-ahead-caution"));
        });
    }

    /// Doses, scans, the sensor and its spares.
    fn next(&self, cat: &CatSettings, shown: &CatStatus, state: &CatState) -> Vec<String> {
        let now = self.seat.now;
        let mut lines = vec![match state.doses.last() {
            Some(dose) => self.say("page-dose-last", &[("dose", Arg::Text(self.dose(dose)))]),
            None => self.reader.word("sheet-dose-last-none"),
        }];
        let due = next_times(&cat.doses.times, self.household.home.timezone, now, 2);
        if !due.is_empty() {
            lines.push(self.say("page-dose-next", &[("times", Arg::Times(due))]));
        }
        if let Some(at) = shown.window_closes.filter(|_| shown.scans.is_some()) {
            let key = if at > now { "sheet-now-window" } else { "page-window-past" };
            lines.push(self.say_of(cat, key, &[("time", Arg::Time(at))]));
        }
        if let Some(plan) = &shown.scans {
            let key = if plan.lost.is_empty() { "page-scans" } else { "page-scans-least" };
            if !plan.scans.is_empty() {
                lines.push(self.say(key, &[("times", Arg::Times(plan.scans.clone()))]));
            }
            for lost in &plan.lost {
                let ends = [("from", Arg::Time(lost.from)), ("until", Arg::Time(lost.until))];
                lines.push(self.say("sheet-scan-lost", &ends));
            }
        }
        lines.push(match (shown.applied, shown.wear_ends) {
            (Some(applied), Some(ends)) => {
                let wear = [("applied", Arg::Time(applied)), ("ends", Arg::Time(ends))];
                self.say_of(cat, "sheet-now-wear", &wear)
            }
            _ => self.say_of(cat, "sheet-now-no-wear", &[]),
        });
        if let Some(count) = shown.spares {
            lines.push(self.say("sheet-now-spares", &[("count", Arg::Count(i64::from(count)))]));
        }
        if let Some(share) = shown.completeness_day {
            lines.push(self.say("page-held", &[("share", Arg::Share(share))]));
        }
        lines
    }
}

/// The chance of a low, where there is one to speak of: that it is low already is no chance of it, and where nobody knows
/// where blood is, a small one would comfort.
fn chance(cat: &CatSettings, shown: &CatStatus) -> Option<f64> {
    let low = shown.open.iter().any(|finding| finding.watch == Watch::LowNow);
    let known = shown.blood.is_some_and(|blood| blood >= cat.plan.low);
    shown.low_ahead_chance.filter(|_| known && !low)
}

/// Where blood may be from now on, in 8 cases of 10; empty while it is not known where it is.
fn band(shown: &CatStatus, now: Moment) -> Vec<(Moment, [f64; 2])> {
    let (Some(blood), Some(doubt), false) = (shown.blood, shown.blood_sd, shown.ahead.is_empty()) else {
        return Vec::new();
    };
    let here = [blood - OF_EIGHTY * doubt, blood + OF_EIGHTY * doubt];
    std::iter::once((now, here)).chain(shown.ahead.iter().map(|look| (look.at, look.interval80))).collect()
}

/// 80 % of a normal distribution lie within so many deviations.
const OF_EIGHTY: f64 = 1.2816;
