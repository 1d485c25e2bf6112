//! What a configuration means, in words for the household. In: settings and the present. Out: text. Pure apart
//! from [`check`], which reads the file, and from where relative paths begin.

mod ways;

use std::fmt::Write as _;
use std::path::Path;

use super::{
    Config, ConfigError, Problem, ProblemSeverity, Surroundings, absolute, examine, missing_parts, next_times,
};
use crate::almanac::hours_text;
use crate::duty::{duty_changes, holder, order};
use crate::tell::{Reader, caution, is_obeyed};
use crate::words::{
    CatSettings, DoseSettings, Household, Moment, Person, PersonName, SensorKind, SensorSettings, Severity,
};

/// What `lowtide check` has to say, and how it ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// What was understood, and every problem with its line.
    pub text: String,
    /// 0 sound, 1 problems, 2 unreadable.
    pub exit_code: u8,
}

/// Reads a configuration and says in words what it means and what is wrong with it.
#[must_use]
pub fn check(path: &Path, surroundings: &Surroundings, now: Moment) -> Checked {
    let Checked { text, exit_code } = checked(path, surroundings, now);
    // A text copied from somewhere may carry what a terminal obeys.
    let shown = |letter: char| if letter != '\n' && is_obeyed(letter) { ' ' } else { letter };
    Checked { text: text.chars().map(shown).collect(), exit_code }
}

fn checked(path: &Path, surroundings: &Surroundings, now: Moment) -> Checked {
    let surroundings = Surroundings { now: Some(now), ..surroundings.clone() };
    let examined = match examine(path, &surroundings) {
        Ok(examined) => examined,
        Err(error) => return Checked { text: unreadable(&error), exit_code: 2 },
    };
    let mut text = String::new();
    if let Some(config) = &examined.config {
        text.push_str(&describe(config, now));
        text.push('\n');
    }
    let (errors, advice): (Vec<_>, Vec<_>) = examined.problems.iter().partition(|problem| problem.is_error());
    list(&mut text, path, &advice, "Worth knowing");
    list(&mut text, path, &errors, "To be put right before the daemon starts");
    if errors.is_empty() && advice.iter().any(|advice| advice.severity == ProblemSeverity::Still) {
        text.push_str("The daemon can start with it, but some of it is still the example's and not yours.\n");
    } else if errors.is_empty() {
        text.push_str("The configuration is sound.\n");
    } else if examined.config.is_some() {
        text.push_str("Where something is wrong, the usual value stands in what is written above.\n");
    }
    Checked { text, exit_code: u8::from(!examined.is_sound()) }
}

fn unreadable(error: &ConfigError) -> String {
    format!("Nothing could be understood:\n{error}\n")
}

fn list(text: &mut String, path: &Path, problems: &[&Problem], heading: &str) {
    if problems.is_empty() {
        return;
    }
    let _ = writeln!(text, "{heading}:");
    for problem in problems {
        let _ = writeln!(text, "  {}", problem.shown(path));
    }
    text.push('\n');
}

/// What sound settings mean, in words: the cats and their plans, who is told what and when, the ways in and out.
#[must_use]
pub fn describe(config: &Config, now: Moment) -> String {
    let household = &config.household;
    let reader = Reader::typed(household, now);
    let mut page = Page::default();
    page.part("Home", home(config, &reader));
    for cat in &household.cats {
        page.part(&cat.called, about_cat(cat, household, &reader));
    }
    page.part("Who has the cat", duty(household, &reader));
    page.part("Who is told what", people(household, &reader));
    page.part("How readings come in", ways::inward(config));
    page.part("How messages go out", ways::outward(config));
    page.part("The page", ways::page(config));
    page.text
        + &caution(&Reader::home(household, now))
        + "
"
}

/// Headed parts, each line set in a little.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn part(&mut self, heading: &str, lines: Vec<String>) {
        let _ = writeln!(self.text, "{heading}");
        for line in lines {
            let _ = writeln!(self.text, "  {line}");
        }
        self.text.push('\n');
    }
}

fn home(config: &Config, reader: &Reader<'_>) -> Vec<String> {
    let home = &config.household.home;
    vec![
        format!(
            "Clock of {}, where it is {} on {}. Values in {}.",
            home.timezone,
            reader.time(reader.now),
            reader.now.at(home.timezone).format("%Y-%m-%d"),
            home.units
        ),
        format!(
            "{} looks after the daemon and hears of its troubles.",
            called(&config.household, &home.owner)
        ),
        format!("Everything is kept in {}.", absolute(&config.data).display()),
    ]
}

fn about_cat(cat: &CatSettings, household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let mut lines = vec![sensor(&cat.sensor, reader)];
    lines.extend(reminders(cat, reader));
    lines.extend(plan(cat, reader));
    lines.extend(doses(&cat.doses, household, reader));
    lines
}

fn sensor(sensor: &SensorSettings, reader: &Reader<'_>) -> String {
    let kind = match sensor.kind {
        SensorKind::Scanned => {
            format!("scanned by hand, keeps {}", reader.span(sensor.memory_hours * 60.0))
        }
        SensorKind::Streamed => "sends its readings by itself".to_owned(),
    };
    format!(
        "Sensor: {kind}; a reading every {}, {} to {}; {} after blood; lasts {}, of which the first {} without readings.",
        reader.span(sensor.sample_minutes),
        reader.units.show(sensor.range[0]),
        reader.level(sensor.range[1]),
        reader.span(sensor.lag_minutes),
        reader.span(sensor.wear_days * 1440.0),
        reader.span(sensor.warm_up_minutes)
    )
}

fn reminders(cat: &CatSettings, reader: &Reader<'_>) -> Vec<String> {
    let (sensor, watch) = (&cat.sensor, &cat.watch);
    let spans = |minutes: Vec<f64>| {
        minutes.into_iter().map(|minutes| reader.span(minutes)).collect::<Vec<_>>().join(" and ")
    };
    let mut lines = Vec::new();
    if sensor.kind == SensorKind::Scanned && !watch.window_remind_minutes.is_empty() {
        let before = spans(watch.window_remind_minutes.clone());
        lines.push(format!(
            "Reminders to scan: {before} before readings would be lost, earlier if that falls into the night."
        ));
    }
    if !watch.ending_hours.is_empty() {
        let before = spans(watch.ending_hours.iter().map(|hours| hours * 60.0).collect());
        lines.push(format!("Reminders of the sensor's end: {before} before."));
    }
    lines
}

fn plan(cat: &CatSettings, reader: &Reader<'_>) -> Vec<String> {
    let plan = &cat.plan;
    let mut lines = vec![format!(
        "Plan: warns under {}, is urgent under {}; by a hand meter, low is under {}.",
        reader.level(plan.low),
        reader.level(plan.danger),
        reader.level(plan.meter_low)
    )];
    if let Some(high) = plan.high {
        let hours = reader.span(cat.watch.high_hours * 60.0);
        lines.push(format!("Plan: high is over {}, said after {hours} without a dose.", reader.level(high)));
    }
    if let Some(hold) = plan.hold_dose_under {
        lines.push(format!("Plan: before a dose, under {}: do not inject, call.", reader.level(hold)));
    }
    if let Some(text) = &plan.on_low {
        lines.push(format!("At a low, messages say: \"{text}\""));
    }
    if let Some(phone) = &plan.vet_phone {
        lines.push(format!("Vet: {phone}"));
    }
    if let Some(phone) = &plan.out_of_hours_phone {
        lines.push(format!("When the vet is closed: {phone}"));
    }
    if let Some(text) = &plan.in_words {
        lines.push(format!(
            "On the sitter's sheet: \"{}\"",
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        ));
    }
    if plan.sglt2_inhibitor {
        lines.push(
            "Gets an SGLT2 inhibitor: glucose in range is no reassurance, and is never shown as one."
                .to_owned(),
        );
    }
    lines.extend(missing_parts(plan).iter().map(|part| format!("Missing from the plan: {part}.")));
    lines
}

fn doses(doses: &DoseSettings, household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let twice = format!(
        "A second dose within {} is reported to everyone.",
        reader.span(doses.min_hours_between * 60.0)
    );
    if doses.times.is_empty() {
        return vec![format!("Doses: no times given, so none is waited for. {twice}")];
    }
    let next = next_times(&doses.times, household.home.timezone, reader.now, 2);
    let next: Vec<String> = next.into_iter().map(|at| reader.time(at)).collect();
    vec![format!("Doses: {}. Next: {}. {twice}", doses.times.join(", "), next.join(", then "))]
}

fn duty(household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let now = reader.now;
    let holder = holder(household, now);
    let why = if holder.since.is_some() { "" } else { ", because no duty says otherwise" };
    let mut lines = vec![format!("Now: {}{why}.", called(household, holder.person))];
    let changes = duty_changes(household, now);
    for (at, person) in changes.iter().take(CHANGES_SHOWN) {
        lines.push(format!("From {}: {}.", reader.time(*at), called(household, person)));
    }
    let over = |until: Moment| until <= now;
    for round in household.rounds.iter().filter(|round| !round.until.is_some_and(over)) {
        let told = if round.hand_over { "both are told each time" } else { "without a message each time" };
        let hours = hours_text(&round.hours);
        lines.push(format!("Week by week: {} {hours}, {told}.", called(household, &round.person)));
    }
    if changes.len() > CHANGES_SHOWN {
        lines.push(format!("And {} changes after that.", changes.len() - CHANGES_SHOWN));
    }
    // A year that was mistyped makes a duty that nobody has.
    let ends = household.duty.iter().map(|span| span.until);
    let ends = ends.chain(household.rounds.iter().filter_map(|round| round.until)).filter(|at| over(*at));
    let ends: Vec<Moment> = ends.collect();
    if let Some(last) = ends.iter().max() {
        let last = last.at(household.home.timezone).format("%Y-%m-%d %H:%M");
        lines.push(match ends.len() {
            1 => format!("One duty is over and changes nothing any more; it ended {last}."),
            count => {
                format!("{count} duties are over and change nothing any more; the last one ended {last}.")
            }
        });
    }
    lines
}

fn people(household: &Household, reader: &Reader<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for person in &household.persons {
        let receives = match person.receives {
            Severity::Notice => "notices, warnings and critical messages",
            Severity::Warning => "warnings and critical messages",
            Severity::Critical => "critical messages only",
        };
        lines.push(format!("{} ({}): {receives}, {}.", person.called, person.name, ways::channels(person)));
        lines.push(format!("  {}", habits(person)));
    }
    let asked: Vec<&str> = order(household, reader.now).iter().map(|person| person.called.as_str()).collect();
    lines.push(match asked.as_slice() {
        [only] => format!("Critical messages go to {only} until answered: nobody else is there to ask."),
        [first, rest @ ..] => format!(
            "Critical messages go to {first} at once; unanswered, to {}, then to everyone again until answered.",
            rest.join(", then to ")
        ),
        [] => "Nobody is told anything.".to_owned(),
    });
    lines
}

fn habits(person: &Person) -> String {
    let quiet = match person.quiet {
        None => "no quiet hours".to_owned(),
        Some(quiet) => format!(
            "quiet {} to {} ({} come through, and warnings about a low while having the cat)",
            quiet.from.format("%H:%M"),
            quiet.until.format("%H:%M"),
            if person.wake_for_warnings { "critical messages and all warnings" } else { "critical messages" }
        ),
    };
    let meter = if person.meter { "can do a meter check" } else { "cannot do a meter check" };
    let private = if person.private { "; values stay off the lock screen" } else { "" };
    let phone = person.phone.as_ref().map_or_else(String::new, |phone| format!("; phone {phone}"));
    format!("{}, {}; {quiet}; {meter}{private}{phone}.", person.timezone, person.units)
}

/// A person by the name they go by.
fn called(household: &Household, name: &PersonName) -> String {
    household.person(name).map_or_else(|| name.to_string(), |person| person.called.clone())
}

/// More changes than this do not fit on a screen.
const CHANGES_SHOWN: usize = 6;
