//! The curve as a page for the vet: all of it in a few figures, cycle by cycle, day by day, each day drawn. In the
//! language, unit and clock of the reader.

use super::agreement::{Beside, agreement};
use super::curve::{Curve, Cycle, Day, History, plan_range};
use super::figures::{Bound, Figures};
use super::html::Page;
use super::meter::meter_word;
use super::picture::{cycles_picture, day_picture};
use super::sheet::text;
use crate::glucose::pairs::Compared;
use crate::tell::{Reader, caution};
use crate::words::{Arg, CatSettings, Moment, Telling, Value};

/// The whole page.
#[must_use]
pub fn curve_page(cat: &CatSettings, history: &History, curve: &Curve, reader: &Reader<'_>) -> String {
    let desk = Desk { cat, history, curve, reader };
    let mut page = Page::default();
    let (from, until) = (reader.date(curve.from), reader.date(curve.until));
    let title = desk
        .say("curve-title", &[("cat", text(&cat.called)), ("from", text(&from)), ("until", text(&until))]);
    page.title(&title);
    desk.preamble(&mut page);
    if desk.shown().next().is_none() {
        page.paragraph(&desk.say("curve-no-readings", &[]));
    } else {
        desk.whole(&mut page);
    }
    desk.cycles(&mut page);
    desk.days(&mut page);
    desk.extras(&mut page);
    page.small(&caution(reader));
    page.document(reader.language, &title)
}

struct Desk<'a> {
    cat: &'a CatSettings,
    history: &'a History,
    curve: &'a Curve,
    reader: &'a Reader<'a>,
}

impl Desk<'_> {
    fn say(&self, key: &str, args: &[(&str, Arg)]) -> String {
        let telling =
            args.iter().fold(Telling::new(key), |telling, (name, arg)| telling.with(name, arg.clone()));
        self.reader.line(&telling)
    }

    fn shown(&self) -> impl Iterator<Item = Moment> + use<'_> {
        let times = self.history.readings.iter().map(|reading| reading.measured_at);
        times.filter(|at| *at >= self.curve.from && *at < self.curve.until)
    }

    fn preamble(&self, page: &mut Page) {
        let args = [
            ("time", text(&self.reader.stamp(self.reader.now))),
            ("zone", text(self.reader.zone.name())),
            ("unit", text(self.reader.units.code())),
        ];
        page.small(&format!("{} {}", self.say("curve-made", &args), self.say("curve-tissue", &[])));
        let range = plan_range(self.cat);
        page.paragraph(&match range.high {
            Some(high) => {
                self.say("curve-range", &[("low", Arg::Glucose(range.low)), ("high", Arg::Glucose(high))])
            }
            None => self.say("curve-range-low", &[("low", Arg::Glucose(range.low))]),
        });
        if self.cat.plan.sglt2_inhibitor {
            page.paragraph(&self.say("sheet-plan-sglt2", &[("cat", text(&self.cat.called))]));
        }
    }

    fn heads(&self, first: &[&str]) -> Vec<String> {
        let rest = [
            "curve-nadir",
            "curve-highest",
            "curve-mean",
            "curve-below",
            "curve-inside",
            "curve-above",
            "curve-held",
        ];
        first.iter().chain(&rest).map(|key| self.reader.word(key)).collect()
    }

    /// First, because on a phone the tables that follow are long.
    fn whole(&self, page: &mut Page) {
        let doses = self.curve.days.iter().map(|day| day.doses).sum::<usize>();
        let mut whole = vec![self.say("curve-whole", &[]), doses.to_string()];
        whole.extend(self.figures(&self.curve.whole, None));
        page.table(&self.heads(&["", "curve-doses"]), &[whole]);
        if self.curve.whole.held < HELD_ENOUGH {
            page.paragraph(&self.say("curve-few", &[("share", Arg::Share(self.curve.whole.held))]));
        }
        page.small(&self.say("curve-mean-note", &[]));
    }

    fn cycles(&self, page: &mut Page) {
        page.heading(&self.say("curve-cycles", &[]));
        if self.curve.cycles.is_empty() {
            page.paragraph(&self.say("curve-no-cycles", &[]));
            return;
        }
        let drawn =
            cycles_picture(self.cat, self.history, &self.curve.cycles, plan_range(self.cat), self.reader);
        page.figure(&self.say("curve-overlay", &[]), &drawn);
        let rows: Vec<Vec<String>> = self.curve.cycles.iter().map(|cycle| self.cycle(cycle)).collect();
        page.table(&self.heads(&["curve-cycle", "curve-pre-dose"]), &rows);
    }

    fn cycle(&self, cycle: &Cycle) -> Vec<String> {
        let dose = &cycle.dose;
        let mut name = self.reader.stamp(dose.given_at);
        if let Some(units) = dose.units {
            let decimals = (0..2).find(|places| (units * 10_f64.powi(*places)).fract() == 0.0).unwrap_or(2);
            name = format!(
                "{name}, {} {}",
                self.reader.number(units, decimals as usize),
                self.say("curve-units", &[])
            );
        }
        if !cycle.closed {
            name = format!("{name} ({})", self.say("curve-open-cycle", &[]));
        }
        let pre_dose = cycle.pre_dose.map_or_else(|| self.none(), |reading| self.value(reading.value));
        let mut row = vec![name, pre_dose];
        row.extend(self.figures(&cycle.figures, cycle.nadir_after_minutes()));
        row
    }

    fn none(&self) -> String {
        self.say("curve-none", &[])
    }

    fn value(&self, value: Value) -> String {
        let [floor, ceiling] = self.cat.sensor.range;
        match value {
            Value::Level(mg_dl) => self.bare(mg_dl),
            Value::Below => self.say("curve-below-floor", &[("floor", text(&self.bare(floor)))]),
            Value::Above => self.say("curve-above-ceiling", &[("ceiling", text(&self.bare(ceiling)))]),
        }
    }

    /// A level without its unit, which stands above.
    fn bare(&self, mg_dl: f64) -> String {
        self.reader.number(self.reader.units.of_mg_dl(mg_dl), self.reader.units.decimals())
    }

    /// Lowest, highest, mean, time below, inside and above, and how much is held.
    fn figures(&self, figures: &Figures, nadir_after: Option<f64>) -> Vec<String> {
        let lowest = figures.lowest.map_or_else(
            || self.none(),
            |lowest| {
                let value = self.value(lowest.value);
                match nadir_after {
                    Some(after) => {
                        format!("{value}, {} {}", self.say("curve-nadir-after", &[]), self.reader.span(after))
                    }
                    None => value,
                }
            },
        );
        let highest = figures.highest.map_or_else(|| self.none(), |highest| self.value(highest.value));
        let mean = figures.mean.map_or_else(|| self.none(), |(mg_dl, bound)| self.mean(mg_dl, bound));
        let seen = figures.below_minutes + figures.inside_minutes + figures.above_minutes;
        let share = |minutes: f64| {
            let share = format!("{} %", self.reader.number(minutes / seen * 100.0, 0));
            if minutes < 0.5 { share } else { format!("{share}, {}", self.reader.span(minutes)) }
        };
        let share = |minutes: f64| if seen > 0.0 { share(minutes) } else { self.none() };
        let above = if self.cat.plan.high.is_some() { share(figures.above_minutes) } else { self.none() };
        let held = format!("{} %", self.reader.number((figures.held * 100.0).floor(), 0));
        vec![lowest, highest, mean, share(figures.below_minutes), share(figures.inside_minutes), above, held]
    }

    fn mean(&self, mg_dl: f64, bound: Bound) -> String {
        let value = self.bare(mg_dl);
        let key = match bound {
            Bound::Exact => return value,
            Bound::AtMost => "curve-at-most",
            Bound::AtLeast => "curve-at-least",
            Bound::About => "curve-about",
        };
        self.say(key, &[("value", text(&value))])
    }

    fn days(&self, page: &mut Page) {
        page.heading(&self.say("curve-days", &[]));
        page.small(&self.say("curve-legend", &[]));
        for day in &self.curve.days {
            let (from, until) = (day.figures.from, day.figures.until);
            if self.shown().any(|at| at >= from && at < until) {
                let drawn = day_picture(self.cat, self.history, day.whole, plan_range(self.cat), self.reader);
                page.figure(&self.reader.date(from), &drawn);
            }
        }
        let rows: Vec<Vec<String>> = self.curve.days.iter().map(|day| self.day(day)).collect();
        page.table(&self.heads(&["curve-day", "curve-doses"]), &rows);
    }

    fn day(&self, day: &Day) -> Vec<String> {
        let mut row = vec![self.reader.date(day.figures.from), day.doses.to_string()];
        row.extend(self.figures(&day.figures, None));
        row
    }

    /// When, what the meter showed, and what the sensor said of the same blood.
    fn check(&self, check: &Compared) -> Vec<String> {
        let shown = |value: Value| match value {
            Value::Level(mg_dl) => self.reader.level(mg_dl),
            other => self.reader.value(other),
        };
        let meter = text(&self.reader.word(meter_word(check.meter)));
        let args = [("value", text(&shown(check.reference))), ("meter", meter)];
        let sensor =
            check.sensor.map(|value| self.say("curve-check-sensor", &[("value", text(&shown(value)))]));
        vec![self.reader.stamp(check.at), self.say("curve-check", &args), sensor.unwrap_or_default()]
    }

    fn extras(&self, page: &mut Page) {
        let beside = Beside::of(self.cat, self.history, self.curve, self.reader.now);
        let checks: Vec<Vec<String>> = beside.checks.iter().map(|check| self.check(check)).collect();
        if !checks.is_empty() {
            page.heading(&self.say("curve-checks", &[]));
            page.table(&[const { String::new() }; 3], &checks);
        }
        agreement(page, &beside, self.reader);
        let within = |at: Moment| at >= self.curve.from && at < self.curve.until;
        let notes: Vec<Vec<String>> = self
            .history
            .notes
            .iter()
            .filter(|note| within(note.at))
            .map(|note| vec![self.reader.stamp(note.at), note.text.clone()])
            .collect();
        if !notes.is_empty() {
            page.heading(&self.say("curve-notes", &[]));
            page.table(&[String::new(), String::new()], &notes);
        }
    }
}

/// Under this share of the readings that were due, the page says that figures may mislead. 70 % is what the
/// consensus on sensors for people asks for (Battelino et al., Diabetes Care 2019;42:1593-1603); there is none for cats.
const HELD_ENOUGH: f64 = 0.7;
