//! The present: for `lowtide status`, for the retained MQTT state, and for the page.

use serde::{Deserialize, Serialize};

use super::ahead::{Ahead, ahead};
use super::meter::{MeterChecks, correction_words};
use super::scans::next_scans;
use crate::duty;
use crate::tell::{Reader, plain};
use crate::turn::House;
use crate::watch::planner::ScanPlan;
use crate::watch::{BloodPlace, CatState, completeness};
use crate::words::{
    CatName, CatSettings, FindingId, Household, Moment, OutOfRange, PersonName, SensorKind, Severity, Value,
    Watch, minutes,
};

/// One open finding, as shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OpenFinding {
    /// Its name; an answer names it.
    pub id: FindingId,
    /// Which watch.
    pub watch: Watch,
    /// How bad.
    pub severity: Severity,
    /// Since when.
    pub since: Moment,
    /// When it is looked at again.
    pub look_again: Option<Moment>,
    /// What kind of thing is said of it: the key of its text.
    #[serde(default)]
    pub key: String,
    /// In the home's words.
    pub text: String,
    /// Who has taken it on.
    pub answered_by: Option<PersonName>,
}

/// One cat now. Levels in mg/dL, rates in mg/dL per minute; what is not known is `null`, and blood is only given
/// while the newest reading is fresh, in the sensor's range, and follows from those before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CatStatus {
    /// Which cat.
    pub cat: CatName,
    /// When this was true.
    pub at: Moment,
    /// Newest reading: when.
    pub newest_at: Option<Moment>,
    /// Newest reading: what the sensor said.
    pub newest: Option<Value>,
    /// Whether that is fresh enough to be called "now".
    pub fresh: bool,
    /// Blood estimate.
    pub blood: Option<f64>,
    /// Its standard deviation.
    pub blood_sd: Option<f64>,
    /// Its rate.
    pub rate_per_min: Option<f64>,
    /// Chance of going under the plan's low within the horizon, 0 to 1.
    pub low_ahead_chance: Option<f64>,
    /// The horizon, minutes.
    pub low_ahead_minutes: f64,
    /// What the next hours may bring, the nearest first; empty while blood is not given.
    #[serde(default)]
    pub ahead: Vec<Ahead>,
    /// How its sensor was found to differ from the usual, and on what that rests; empty before anything was tried.
    #[serde(default)]
    pub fit: Vec<String>,
    /// Meter checks beside the sensor, and what the estimate makes of them.
    #[serde(default)]
    pub meter_checks: MeterChecks,
    /// When another scan is wise.
    pub scan_again: Option<Moment>,
    /// When the sensor starts to forget.
    pub window_closes: Option<Moment>,
    /// The next scans that leave no gap over a day, and what is lost even so; for a scanned sensor that is on.
    pub scans: Option<ScanPlan>,
    /// Share of due readings held over the last 24 hours, 0 to 1.
    pub completeness_day: Option<f64>,
    /// When the present sensor was put on.
    pub applied: Option<Moment>,
    /// When it ends by itself.
    pub wear_ends: Option<Moment>,
    /// Unused sensors.
    pub spares: Option<u32>,
    /// The last dose recorded.
    pub last_dose: Option<Moment>,
    /// What is open, the worst first.
    pub open: Vec<OpenFinding>,
}

impl CatStatus {
    /// Whether the newest reading is fresh and out of the sensor's range.
    pub(super) fn out_of_range(&self, household: &Household) -> Option<OutOfRange> {
        let newest = self.newest.filter(|_| self.fresh && self.blood.is_none())?;
        household.cat(&self.cat)?.sensor.out_of_range(newest)
    }
}

/// The house now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HouseStatus {
    /// Version of the program.
    pub version: String,
    /// When this was true.
    pub at: Moment,
    /// Who has the cats.
    pub on_duty: PersonName,
    /// The next change of that, and to whom.
    pub next_duty: Option<(Moment, PersonName)>,
    /// The cats.
    pub cats: Vec<CatStatus>,
    /// The daemon's own troubles.
    pub house: Vec<OpenFinding>,
    /// Messages still on their way.
    pub outbox: usize,
}

/// The house at `now`; `None` before it has settings.
#[must_use]
pub fn house_status(house: &House, now: Moment) -> Option<HouseStatus> {
    let household = house.household.as_deref()?;
    let cats = household.cats.iter().filter_map(|settings| cat_status(house, &settings.name, now)).collect();
    let next_duty = duty::duty_changes(household, now).first().map(|(at, name)| (*at, (*name).clone()));
    Some(HouseStatus {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        at: now,
        on_duty: duty::on_duty(household, now).clone(),
        next_duty,
        cats,
        house: open_findings(house, household, house.health.open.values(), now),
        outbox: house.ledger.outbox.len(),
    })
}

fn open_findings<'a>(
    house: &House,
    household: &Household,
    findings: impl Iterator<Item = &'a crate::words::Finding>,
    now: Moment,
) -> Vec<OpenFinding> {
    let reader = Reader::home(household, now);
    let mut open: Vec<OpenFinding> = findings
        .map(|finding| OpenFinding {
            id: finding.id.clone(),
            watch: finding.watch,
            severity: finding.severity,
            since: finding.since,
            look_again: finding.look_again,
            key: finding.telling.key.clone(),
            text: plain(&reader, &finding.telling),
            answered_by: house
                .ledger
                .spoken
                .get(&finding.id)
                .and_then(|spoken| spoken.answered.as_ref())
                .map(|answered| answered.by.clone()),
        })
        .collect();
    open.sort_by_key(|finding| (std::cmp::Reverse(finding.severity), finding.since));
    open
}

/// One cat at `now`; `None` if the house does not know it.
#[must_use]
pub fn cat_status(house: &House, name: &CatName, now: Moment) -> Option<CatStatus> {
    let household = house.household.as_deref()?;
    let (settings, cat) = (household.cat(name)?, house.cats.get(name)?);
    Some(status_of(house, household, settings, cat, now))
}

fn status_of(
    house: &House,
    household: &Household,
    settings: &CatSettings,
    cat: &CatState,
    now: Moment,
) -> CatStatus {
    let sensor = &settings.sensor;
    let fresh_for = minutes(2.0 * sensor.sample_minutes + sensor.lag_minutes);
    let newest = cat.newest;
    let fresh = newest.filter(|reading| now - reading.measured_at <= fresh_for);
    let place = fresh.and_then(|reading| cat.place(settings, now.max(reading.measured_at)));
    let estimate = match place {
        Some(BloodPlace::About(estimate)) => Some(estimate),
        _ => None,
    };
    let outlook = fresh
        // That it is low already is no chance of it, and an estimate that does not know of it gives none.
        .filter(|reading| match place {
            Some(BloodPlace::About(_)) => true,
            Some(BloodPlace::Stuck) => false,
            _ => !reading.value.under(settings.plan.low),
        })
        .and_then(|_| cat.tracker.outlook(now, settings.watch.low_ahead_minutes, settings.plan.low));
    let scanned = sensor.kind == SensorKind::Scanned;
    let over = cat.wear_over(settings, now);
    let wear = cat.wear.as_ref().filter(|wear| wear.ended.is_none() || !over);
    let day = minutes(24.0 * 60.0);
    let ends = wear.map(|wear| wear.full(settings));
    let scans = newest
        .filter(|_| scanned && !over)
        .map(|newest| next_scans(household, settings, newest.measured_at, &[], now + day, now));
    CatStatus {
        cat: settings.name.clone(),
        at: now,
        newest_at: newest.map(|reading| reading.measured_at),
        newest: newest.map(|reading| reading.value),
        fresh: fresh.is_some(),
        blood: estimate.map(|e| rounded(e.blood, 1)),
        blood_sd: estimate.map(|e| rounded(e.blood_sd, 1)),
        rate_per_min: estimate.map(|e| rounded(e.rate_per_min, 3)),
        low_ahead_chance: outlook.map(|o| rounded(o.chance, 3)),
        low_ahead_minutes: settings.watch.low_ahead_minutes,
        ahead: estimate.map(|_| ahead(&cat.tracker, settings.plan.low, now)).unwrap_or_default(),
        fit: cat.tracker.fit_in_words(),
        meter_checks: MeterChecks::of(cat, settings, now),
        scan_again: cat.memory.scan_again.filter(|_| scanned),
        window_closes: newest
            .filter(|_| scanned)
            .map(|r| r.measured_at + minutes(sensor.memory_hours * 60.0)),
        scans,
        completeness_day: newest
            .map(|_| rounded(completeness(cat.tracker.recent(), now - day, now, sensor.sample_minutes), 3)),
        applied: wear.map(|wear| wear.applied),
        wear_ends: ends,
        spares: cat.spares,
        last_dose: cat.doses.last().map(|dose| dose.given_at),
        open: open_findings(house, household, cat.open.values(), now),
    }
}

pub(super) fn rounded(number: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (number * scale).round() / scale
}

/// How each cat's sensor was found to differ from the usual, and on what that rests, in words.
#[must_use]
pub fn fit_text(status: &HouseStatus, household: &Household) -> String {
    let called = |cat: &CatStatus| household.cat(&cat.cat).map_or(cat.cat.to_string(), |c| c.called.clone());
    let lines = status.cats.iter().map(|cat| match cat.fit.as_slice() {
        [] => format!("{}: too few readings yet to tell its sensor from the usual one.", called(cat)),
        fit => format!("{}:\n  {}", called(cat), fit.join("\n  ")),
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// The status in words, for a terminal.
#[must_use]
pub fn status_text(status: &HouseStatus, household: &Household) -> String {
    let reader = Reader::typed(household, status.at);
    let called = |name: &PersonName| household.person(name).map_or(name.to_string(), |p| p.called.clone());
    let mut lines = vec![format!("{} has the cat{}.", called(&status.on_duty), plural(status.cats.len()))];
    if let Some((at, next)) = &status.next_duty {
        lines.push(format!("From {}: {}.", reader.time(*at), called(next)));
    }
    for cat in &status.cats {
        lines.push(String::new());
        lines.extend(cat_lines(cat, household, &reader));
    }
    if !status.house.is_empty() {
        lines.push(String::new());
        lines.push("Lowtide itself:".to_owned());
        lines.extend(status.house.iter().map(|finding| finding_line(finding, &called)));
    }
    if status.outbox > 0 {
        lines.push(format!("Messages on their way: {}.", status.outbox));
    }
    lines.push(String::new());
    lines.push(crate::tell::caution(&Reader::home(household, status.at)));
    lines.join("\n")
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

fn cat_lines(cat: &CatStatus, household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let called = |name: &PersonName| household.person(name).map_or(name.to_string(), |p| p.called.clone());
    let mut lines = vec![household.cat(&cat.cat).map_or(cat.cat.to_string(), |c| c.called.clone())];
    let age = |at: Moment| reader.span(cat.at.minutes_since(at));
    match (cat.newest_at, cat.newest) {
        (Some(at), Some(value)) => {
            lines.push(format!(
                "  newest reading: {} at {}, {} old",
                reader.value(value),
                reader.time(at),
                age(at)
            ));
        }
        _ => lines.push("  no reading yet".to_owned()),
    }
    lines.extend(blood_line(cat, household, reader));
    lines.extend(correction_words(&cat.meter_checks, reader).iter().map(|sentence| format!("  {sentence}")));
    // That it is low already is no chance of it: a small one beside a low by the meter would comfort.
    let low = cat.open.iter().any(|finding| finding.watch == Watch::LowNow);
    if let Some(chance) = cat.low_ahead_chance.filter(|_| !low) {
        let span = reader.span(cat.low_ahead_minutes);
        lines.push(format!("  chance of a low within {span}: {}", reader.chance(chance)));
    }
    let mut time = |label: &str, at: Option<Moment>| {
        if let Some(at) = at {
            lines.push(format!("  {label} {}", reader.time(at)));
        }
    };
    time("scan again by", cat.scan_again);
    time("the sensor keeps everything until", cat.window_closes);
    if let Some(plan) = &cat.scans {
        lines.extend(scan_lines(plan, reader));
    }
    let mut time = |label: &str, at: Option<Moment>| {
        if let Some(at) = at {
            lines.push(format!("  {label} {}", reader.time(at)));
        }
    };
    time("last dose recorded:", cat.last_dose);
    time("sensor put on:", cat.applied);
    time("sensor ends:", cat.wear_ends);
    if let Some(share) = cat.completeness_day {
        lines.push(format!("  readings held of the last 24 hours: {} %", reader.number(share * 100.0, 0)));
    }
    if let Some(spares) = cat.spares {
        lines.push(format!("  spare sensors: {spares}"));
    }
    if cat.open.is_empty() {
        lines.push("  nothing is open".to_owned());
    }
    lines.extend(cat.open.iter().map(|finding| finding_line(finding, &called)));
    lines
}

/// Where blood is, as far as that is known; `None` before the first reading.
pub(super) fn blood_line(cat: &CatStatus, household: &Household, reader: &Reader<'_>) -> Option<String> {
    if let (Some(blood), Some(rate)) = (cat.blood, cat.rate_per_min) {
        let (blood, sd) = (reader.level(blood), reader.level(cat.blood_sd.unwrap_or_default()));
        return Some(format!("  blood about {blood} (give or take {sd}), {}", reader.trend(rate)));
    }
    cat.newest_at?;
    Some(match cat.out_of_range(household) {
        Some(OutOfRange::Below(floor)) => {
            let floor = reader.level(floor);
            format!("  blood is under what the sensor can read ({floor}): how low is not known")
        }
        Some(OutOfRange::Above(ceiling)) => {
            let ceiling = reader.level(ceiling);
            format!("  blood is over what the sensor can read ({ceiling}): how high is not known")
        }
        None if cat.fresh => {
            "  where blood is now is not known: the newest readings do not look right".to_owned()
        }
        None => "  where blood is now is not known: the newest reading is too old".to_owned(),
    })
}

fn scan_lines(plan: &ScanPlan, reader: &Reader<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    if !plan.scans.is_empty() {
        let times: Vec<String> = plan.scans.iter().map(|at| reader.time(*at)).collect();
        let what = if plan.lost.is_empty() { "scans that leave no gap" } else { "scans that lose least" };
        lines.push(format!("  {what}: {}", times.join(", ")));
    }
    for lost in &plan.lost {
        lines.push(format!(
            "  lost whatever you do: {} to {}",
            reader.time(lost.from),
            reader.time(lost.until)
        ));
    }
    lines
}

fn finding_line(finding: &OpenFinding, called: &impl Fn(&PersonName) -> String) -> String {
    let answered =
        finding.answered_by.as_ref().map_or(String::new(), |by| format!(" (taken by {})", called(by)));
    format!("  {} {}: {}{answered}", finding.severity.word(), finding.watch, finding.text)
}
