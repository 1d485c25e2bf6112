//! Values as a reader sees them: levels, rates, times, spans, chances.

use chrono::{Datelike, Timelike};
use chrono_tz::Tz;
use fluent_bundle::{FluentArgs, FluentValue};
use std::borrow::Cow;

use super::catalogue::phrase;
use crate::words::{Arg, FALLING_MG_DL_PER_MIN, Household, Moment, Person, Telling, Unit, Value};

/// Who reads, and when.
#[derive(Clone, Debug)]
pub struct Reader<'a> {
    /// Language code.
    pub language: &'a str,
    /// Unit for levels and rates.
    pub units: Unit,
    /// Zone of the clock they look at.
    pub zone: Tz,
    /// The present, for "tomorrow" and the like.
    pub now: Moment,
    /// For people's names; none shows the name of the configuration.
    pub household: Option<&'a Household>,
}

impl<'a> Reader<'a> {
    /// A person of the household.
    #[must_use]
    pub fn person(person: &'a Person, household: &'a Household, now: Moment) -> Self {
        Self {
            language: &person.language,
            units: person.units,
            zone: person.timezone,
            now,
            household: Some(household),
        }
    }

    /// Whoever reads the record at home.
    #[must_use]
    pub fn home(household: &'a Household, now: Moment) -> Self {
        let home = &household.home;
        Self {
            language: &home.language,
            units: home.units,
            zone: home.timezone,
            now,
            household: Some(household),
        }
    }

    /// Whoever types a command at home: in the house's unit and clock, and in English like the rest of what is printed.
    #[must_use]
    pub fn typed(household: &'a Household, now: Moment) -> Self {
        Self { language: "en", ..Self::home(household, now) }
    }

    /// A word of the catalogue; its key if the catalogue has none.
    #[must_use]
    pub fn word(&self, key: &str) -> String {
        phrase(self.language, key, None, &FluentArgs::new()).unwrap_or_else(|| key.to_owned())
    }

    fn phrase(&self, key: &str, args: &[(&'static str, FluentValue<'static>)]) -> String {
        let mut fluent = FluentArgs::new();
        for (name, value) in args {
            fluent.set(*name, value.clone());
        }
        phrase(self.language, key, None, &fluent).unwrap_or_else(|| key.to_owned())
    }

    /// A phrase of the catalogue with one level in it, as `level`.
    #[must_use]
    pub fn phrase_with_level(&self, key: &str, mg_dl: f64) -> String {
        self.phrase(key, &[("level", self.level(mg_dl).into())])
    }

    /// A number with so many decimals, with the language's decimal sign.
    #[must_use]
    pub fn number(&self, number: f64, decimals: usize) -> String {
        let scale = 10_f64.powi(decimals as i32);
        let text = format!("{:.*}", decimals, (number * scale).round() / scale);
        let text = if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        };
        text.replace('.', &self.word("decimal-sign"))
    }

    /// A level with its unit: "72 mg/dL", "4.0 mmol/L".
    #[must_use]
    pub fn level(&self, mg_dl: f64) -> String {
        format!("{} {}", self.number(self.units.of_mg_dl(mg_dl), self.units.decimals()), self.units)
    }

    /// What a sensor said: a level, or that it is out of range.
    #[must_use]
    pub fn value(&self, value: Value) -> String {
        match value {
            Value::Level(mg_dl) => self.level(mg_dl),
            Value::Below => self.word("below-range"),
            Value::Above => self.word("above-range"),
        }
    }

    /// A rate without its sign, in the reader's unit: per minute in mg/dL, per hour in mmol/L, where a minute's
    /// change is too small a number to read.
    #[must_use]
    pub fn rate(&self, mg_dl_per_minute: f64) -> String {
        let size = mg_dl_per_minute.abs();
        match self.units {
            Unit::MgDl => self.phrase(
                "rate-per-minute",
                &[("rate", self.number(size, 1).into()), ("unit", "mg/dL".into())],
            ),
            Unit::MmolL => {
                let per_hour = Unit::MmolL.of_mg_dl(size * 60.0);
                self.phrase(
                    "rate-per-hour",
                    &[("rate", self.number(per_hour, 1).into()), ("unit", "mmol/L".into())],
                )
            }
        }
    }

    /// Where it is heading, in words. "A little" has no number: that would be smaller than its error. There is no such
    /// word for a rise: wrong, it would let somebody lie down again.
    #[must_use]
    pub fn trend(&self, mg_dl_per_minute: f64) -> String {
        let key = match mg_dl_per_minute {
            r if r <= -2.0 => "trend-falling-fast",
            r if r <= FALLING_MG_DL_PER_MIN => "trend-falling",
            r if r <= FALLING_A_LITTLE => "trend-falling-a-little",
            r if r >= 2.0 => "trend-rising-fast",
            r if r >= 0.5 => "trend-rising",
            _ => "trend-steady",
        };
        self.phrase(key, &[("rate", self.rate(mg_dl_per_minute).into())])
    }

    /// A local time of day, with the day where it is neither today nor within six hours: at half past midnight nobody
    /// takes "23:50" for tonight's.
    #[must_use]
    pub fn time(&self, at: Moment) -> String {
        let (local, today) = (at.at(self.zone), self.now.at(self.zone));
        let clock = format!("{:02}:{:02}", local.hour(), local.minute());
        let days = local.date_naive().signed_duration_since(today.date_naive()).num_days();
        let near = at.minutes_since(self.now).abs() <= NEAR_MINUTES;
        match days {
            _ if near => clock,
            0 => clock,
            1 => self.phrase("time-tomorrow", &[("clock", clock.into())]),
            -1 => self.phrase("time-yesterday", &[("clock", clock.into())]),
            _ => {
                let far = if days.abs() > 180 { "time-date-year" } else { "time-date" };
                self.dated(far, at)
            }
        }
    }

    /// A local time with its date, whatever day it is: for paper, which is read on another day.
    #[must_use]
    pub fn stamp(&self, at: Moment) -> String {
        self.dated(
            if at.minutes_since(self.now).abs() > 180.0 * 1440.0 { "time-date-year" } else { "time-date" },
            at,
        )
    }

    /// A local date alone.
    #[must_use]
    pub fn date(&self, at: Moment) -> String {
        self.dated("date-year", at)
    }

    fn dated(&self, key: &str, at: Moment) -> String {
        let local = at.at(self.zone);
        let weekday = self.word(WEEKDAYS[local.weekday().num_days_from_monday() as usize]);
        let month = self.word(MONTHS[local.month0() as usize]);
        let clock = format!("{:02}:{:02}", local.hour(), local.minute());
        self.phrase(
            key,
            &[
                ("weekday", weekday.into()),
                ("day", i64::from(local.day()).into()),
                ("month", month.into()),
                ("year", local.year().to_string().into()),
                ("clock", clock.into()),
            ],
        )
    }

    /// A length of time: minutes up to two hours, then hours and minutes, then days.
    #[must_use]
    pub fn span(&self, minutes: f64) -> String {
        let minutes = minutes.abs().round() as i64;
        if minutes < 120 {
            return self.phrase("span-minutes", &[("count", minutes.into())]);
        }
        if minutes < 48 * 60 {
            let (hours, rest) = (minutes / 60, minutes % 60);
            return if rest == 0 {
                self.phrase("span-hours", &[("count", hours.into())])
            } else {
                self.phrase("span-hours-minutes", &[("hours", hours.into()), ("minutes", rest.into())])
            };
        }
        self.phrase("span-days", &[("count", ((minutes as f64) / 1440.0).round().into())])
    }

    /// A probability in tenths: "about 7 in 10"; the ends are never called certain.
    #[must_use]
    pub fn chance(&self, chance: f64) -> String {
        let tenths = (chance * 10.0).round() as i64;
        match tenths {
            i64::MIN..=0 => self.word("chance-under-one"),
            10.. => self.word("chance-over-nine"),
            _ => self.phrase("chance-tenths", &[("tenths", tenths.into())]),
        }
    }

    /// The text of a telling that has neither title nor attributes; its key if the catalogue has none.
    #[must_use]
    pub fn line(&self, telling: &Telling) -> String {
        self.inner(telling, None)
    }

    fn inner(&self, telling: &Telling, attribute: Option<&str>) -> String {
        let args = telling.args.iter().map(|(name, arg)| (name.clone(), self.arg(arg))).collect();
        phrase(self.language, &telling.key, attribute, &args).unwrap_or_else(|| telling.key.clone())
    }

    pub(super) fn arg(&self, arg: &Arg) -> FluentValue<'static> {
        match arg {
            Arg::Glucose(mg_dl) => self.level(*mg_dl).into(),
            Arg::Value(value) => self.value(*value).into(),
            Arg::Rate(rate) => self.trend(*rate).into(),
            Arg::Time(at) => self.time(*at).into(),
            Arg::Times(times) => {
                let shown: Vec<String> = times.iter().map(|at| self.time(*at)).collect();
                shown.join(", ").into()
            }
            Arg::Minutes(minutes) => self.span(*minutes).into(),
            Arg::Ago(at) => self.span(self.now.minutes_since(*at).max(0.0)).into(),
            Arg::Count(count) => (*count).into(),
            Arg::Chance(chance) => self.chance(*chance).into(),
            Arg::Share(share) => format!("{} %", self.number(share * 100.0, 0)).into(),
            Arg::Person(name) => {
                let person = self.household.and_then(|house| house.person(name));
                person.map_or_else(|| name.to_string(), |person| person.called.clone()).into()
            }
            Arg::Text(text) => one_line(text).into(),
            Arg::Word(key) => self.word(key).into(),
            Arg::Phrase(inner) => self.inner(inner, None).into(),
            Arg::Heading(inner) => self.inner(inner, Some("title")).into(),
        }
    }
}

/// Text from outside must not be able to start a new line in a message or a mail header.
fn one_line(text: &str) -> String {
    let text = shortened(text);
    let text = text.as_ref();
    text.chars().map(|letter| if is_obeyed(letter) { ' ' } else { letter }).collect()
}

/// Letters that programs obey instead of showing them: control characters, line and paragraph ends, and Unicode's
/// embeddings, overrides and isolates of the writing direction (UAX 9, table 1), which make a text read as another one.
#[must_use]
pub fn is_obeyed(letter: char) -> bool {
    letter.is_control()
        || matches!(letter, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text from outside, at most so long that the rest of the message is still read.
fn shortened(text: &str) -> Cow<'_, str> {
    match text.char_indices().nth(TEXT_CHARS_MAX) {
        None => text.into(),
        Some((end, _)) => format!("{}\u{2026}", text[..end].trim_end()).into(),
    }
}

/// The vet's words fit; the row of a file that somebody made to be long does not.
const TEXT_CHARS_MAX: usize = 600;

/// A fall from which "steady" is not said any more, mg/dL per minute: 12 mg/dL an hour. Chosen by us: where this is said near
/// the limit, invented cats of every kind fell about twice as often as they rose, or more (`tests/core/trend.rs`).
const FALLING_A_LITTLE: f64 = -0.2;
const NEAR_MINUTES: f64 = 6.0 * 60.0;
const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
const MONTHS: [&str; 12] = [
    "month-1", "month-2", "month-3", "month-4", "month-5", "month-6", "month-7", "month-8", "month-9",
    "month-10", "month-11", "month-12",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn reader(units: Unit) -> Reader<'static> {
        let now = Moment::parse("2026-03-28T22:00:00Z").unwrap();
        Reader { language: "en", units, zone: chrono_tz::Europe::Vienna, now, household: None }
    }

    #[test]
    fn levels_and_rates_read_in_both_units() {
        let mg = reader(Unit::MgDl);
        let mmol = reader(Unit::MmolL);
        assert_eq!((mg.level(70.0).as_str(), mmol.level(70.0).as_str()), ("70 mg/dL", "3.9 mmol/L"));
        assert_eq!(mg.trend(-2.04), "falling fast, 2.0 mg/dL a minute");
        assert_eq!(mmol.trend(-2.0), "falling fast, 6.7 mmol/L an hour");
        assert_eq!(mg.trend(-0.02), "steady");
        // 25 mg/dL an hour, at night and near the limit, is not steady.
        assert_eq!(mg.trend(-25.0 / 60.0), "falling a little");
        assert_eq!((mg.trend(-0.19).as_str(), mg.trend(0.45).as_str()), ("steady", "steady"));
        assert_eq!(mg.number(-0.04, 1), "0.0");
    }

    /// Decimal signs and the order of dates as Unicode CLDR has them for the languages (from memory): a comma and
    /// "10. Juni" in German, a comma and "10 juin" in French.
    #[test]
    fn numbers_and_dates_are_written_as_the_language_writes_them() {
        let at = Moment::parse("2026-06-10T05:05:00Z").unwrap();
        for (language, level, negative, stamp, date) in [
            ("en", "3.9 mmol/L", "-1.5", "07:05 on Wed 10 Jun", "Wed 10 Jun 2026"),
            ("de", "3,9 mmol/L", "-1,5", "07:05 am Mi 10. Juni", "Mi, 10. Juni 2026"),
            ("fr", "3,9 mmol/L", "-1,5", "07:05 le mer. 10 juin", "mer. 10 juin 2026"),
        ] {
            let reader = Reader { language, ..reader(Unit::MmolL) };
            assert_eq!(reader.level(70.0), level);
            assert_eq!(reader.number(-1.5, 1), negative);
            assert_eq!((reader.stamp(at).as_str(), reader.date(at).as_str()), (stamp, date));
        }
        let first = Moment::parse("2026-04-01T05:05:00Z").unwrap();
        let french = Reader { language: "fr", ..reader(Unit::MmolL) };
        assert_eq!(
            (french.stamp(first), french.date(first)),
            ("07:05 le mer. 1er avril".into(), "mer. 1er avril 2026".into())
        );
    }

    #[test]
    fn a_time_on_paper_has_its_date_even_today() {
        let reader = reader(Unit::MgDl);
        assert_eq!(reader.stamp(reader.now), "23:00 on Sat 28 Mar");
        let far = Moment::parse("2027-03-01T11:00:00Z").unwrap();
        assert_eq!(reader.stamp(far), "12:00 on 1 Mar 2027");
    }

    #[test]
    fn times_follow_the_readers_own_clock_over_the_change() {
        // 22:00 UTC is 23:00 in Vienna on 28 March; at 01:00 UTC the clocks go from 02:00 to 03:00.
        let reader = reader(Unit::MgDl);
        let at = |text: &str| reader.time(Moment::parse(text).unwrap());
        assert_eq!(at("2026-03-28T22:30:00Z"), "23:30");
        assert_eq!(at("2026-03-29T00:59:00Z"), "01:59");
        assert_eq!(at("2026-03-29T01:00:00Z"), "03:00");
        assert_eq!(at("2026-03-29T05:00:00Z"), "07:00 tomorrow");
        assert_eq!(at("2026-03-27T22:30:00Z"), "23:30 yesterday");
        assert_eq!(at("2026-04-03T05:00:00Z"), "07:00 on Fri 3 Apr");
    }

    #[test]
    fn spans_and_chances_are_words() {
        let reader = reader(Unit::MgDl);
        assert_eq!(reader.span(1.0), "1 minute");
        assert_eq!(reader.span(119.0), "119 minutes");
        assert_eq!(reader.span(480.0), "8 hours");
        assert_eq!(reader.span(500.0), "8 h 20 min");
        assert_eq!(reader.span(4.0 * 1440.0), "4 days");
        assert_eq!(reader.chance(0.72), "about 7 in 10");
        assert_eq!(reader.chance(0.999), "more than 9 in 10");
        assert_eq!(reader.chance(0.01), "less than 1 in 10");
    }

    #[test]
    fn text_from_outside_stays_on_its_line() {
        let FluentValue::String(text) = reader(Unit::MgDl).arg(&Arg::Text("a\r\nBcc: x".into())) else {
            panic!("text stays text");
        };
        assert_eq!(text, "a  Bcc: x");
        let FluentValue::String(text) = reader(Unit::MgDl).arg(&Arg::Text("ü".repeat(70_000))) else {
            panic!("text stays text");
        };
        assert_eq!(text.chars().count(), 601);
    }
}
