//! The sensor beside the meter, on the page for the vet: a table with a row for each kind of meter, and for each sensor
//! where there were several. The record comes in; rows and sentences go out. It corrects nothing and judges nothing.

use super::curve::{Curve, History};
use super::html::Page;
use super::meter::meter_word;
use super::sheet::text;
use super::wears::wears;
use crate::glucose::agreement::Agreement;
use crate::glucose::pairs::{Compared, KindTally, Matching, PAIRS_MIN, Series, Tally};
use crate::tell::Reader;
use crate::words::{Arg, CatSettings, MeterKind, Moment, Telling};

/// The checks of the report's time beside the sensor, and when the sensors were put on.
pub(super) struct Beside {
    /// The checks, oldest first.
    pub(super) checks: Vec<Compared>,
    put_on: Vec<Moment>,
    lag_minutes: f64,
}

impl Beside {
    /// Out of the record; a sensor that was put on after `now` is not known.
    pub(super) fn of(cat: &CatSettings, history: &History, curve: &Curve, now: Moment) -> Self {
        let put_on: Vec<Moment> =
            wears(history.sensors.iter().cloned(), now).iter().map(|wear| wear.applied).collect();
        let series = Series { before: None, readings: &history.readings, wears: &put_on };
        let matching = Matching::of(&cat.sensor);
        let within = |at: Moment| at >= curve.from && at < curve.until;
        let checks = history.checks.iter().filter(|check| within(check.measured_at));
        let checks = checks.map(|check| Compared::of(check, &matching, &series)).collect();
        Self { checks, put_on, lag_minutes: cat.sensor.lag_minutes }
    }
}

/// Writes the part; nothing where no check was made in the time of the report.
pub(super) fn agreement(page: &mut Page, beside: &Beside, reader: &Reader<'_>) {
    if beside.checks.is_empty() {
        return;
    }
    let desk = Desk { reader, beside };
    let tally = Tally::of(&beside.checks);
    page.heading(&desk.say("agreement-title", &[]));
    if !tally.kinds.is_empty() {
        let rows: Vec<Vec<String>> = tally.kinds.iter().flat_map(|kind| desk.rows(kind)).collect();
        page.table(&COLUMNS.map(|key| reader.word(key)), &rows);
    }
    page.small(&desk.notes(&tally));
}

struct Desk<'a> {
    reader: &'a Reader<'a>,
    beside: &'a Beside,
}

impl Desk<'_> {
    fn say(&self, key: &str, args: &[(&str, Arg)]) -> String {
        let telling =
            args.iter().fold(Telling::new(key), |telling, (name, arg)| telling.with(name, arg.clone()));
        self.reader.line(&telling)
    }

    /// The row of a kind of meter, and one for each sensor if it was held beside several.
    fn rows(&self, kind: &KindTally) -> Vec<Vec<String>> {
        let mut rows = vec![self.row(self.reader.word(meter_word(kind.meter)), kind)];
        let own = self.beside.checks.iter().filter(|check| check.meter == kind.meter);
        let mut sensors: Vec<(Option<Moment>, Vec<&Compared>)> = Vec::new();
        for check in own {
            let worn = self.beside.put_on.iter().rev().find(|worn| **worn <= check.at).copied();
            match sensors.last_mut().filter(|(known, _)| *known == worn) {
                Some((_, checks)) => checks.push(check),
                None => sensors.push((worn, vec![check])),
            }
        }
        let each: Vec<(String, KindTally)> = sensors
            .into_iter()
            .filter_map(|(worn, checks)| {
                let found = *Tally::of(checks).kinds.first()?;
                Some((self.sensor(kind.meter, worn), found))
            })
            .collect();
        if each.len() > 1 {
            rows.extend(each.into_iter().map(|(name, found)| self.row(name, &found)));
        }
        rows
    }

    fn sensor(&self, meter: MeterKind, worn: Option<Moment>) -> String {
        let meter = ("meter", text(&self.reader.word(meter_word(meter))));
        match worn {
            Some(at) => self.say("agreement-sensor", &[meter, ("date", text(&self.reader.date(at)))]),
            None => self.say("agreement-sensor-unknown", &[meter]),
        }
    }

    fn row(&self, name: String, kind: &KindTally) -> Vec<String> {
        let mut row = vec![name, kind.pairs.to_string(), self.difference(kind.bias)];
        row.extend(kind.figures.map_or_else(|| [const { String::new() }; 5], |found| self.figures(&found)));
        row
    }

    fn figures(&self, found: &Agreement) -> [String; 5] {
        let share = |share: f64| format!("{} %", self.reader.number(share * 100.0, 0));
        let limits = found.limits.map(|[low, high]| {
            let args = [("low", text(&self.difference(low))), ("high", text(&self.difference(high)))];
            self.say("agreement-limits", &args)
        });
        [
            format!("{} %", self.reader.number(found.mard * 100.0, 1)),
            limits.unwrap_or_default(),
            share(found.within_iso),
            share(found.clarke_ab),
            share(found.parkes_ab),
        ]
    }

    /// A difference with its sign, without the unit that stands above.
    fn difference(&self, mg_dl: f64) -> String {
        let units = self.reader.units;
        let number = self.reader.number(units.of_mg_dl(mg_dl), units.decimals());
        if mg_dl > 0.0 && number.contains(|c: char| c.is_ascii_digit() && c != '0') {
            format!("+{number}")
        } else {
            number
        }
    }

    fn notes(&self, tally: &Tally) -> String {
        let mut notes = Vec::new();
        if !tally.kinds.is_empty() {
            notes.push(self.say("agreement-pair", &[("lag", Arg::Minutes(self.beside.lag_minutes))]));
        }
        if tally.kinds.iter().any(|kind| kind.figures.is_some()) {
            let args = [("near", Arg::Glucose(15.0)), ("from", Arg::Glucose(100.0))];
            notes.push(self.say("agreement-figures", &args));
            notes.push(self.say("agreement-grids", &[]));
        }
        if tally.kinds.iter().any(|kind| kind.figures.is_none()) {
            notes.push(self.say("agreement-few", &[("count", Arg::Count(PAIRS_MIN as i64))]));
        }
        let people = |kind: &KindTally| matches!(kind.meter, MeterKind::Human | MeterKind::WholeBlood);
        if tally.kinds.iter().any(people) {
            notes.push(self.say("agreement-people", &[]));
        }
        for (key, count) in
            [("agreement-out-of-range", tally.out_of_range), ("agreement-unmatched", tally.unmatched)]
        {
            if count > 0 {
                notes.push(self.say(key, &[("count", Arg::Count(count as i64))]));
            }
        }
        notes.join(" ")
    }
}

const COLUMNS: [&str; 8] = [
    "agreement-meter",
    "agreement-pairs",
    "agreement-bias",
    "agreement-mard",
    "agreement-limits-title",
    "agreement-iso",
    "agreement-clarke",
    "agreement-parkes",
];
