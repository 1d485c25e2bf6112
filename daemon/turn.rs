//! One turn of the house: the one place where the pure rooms meet. Live, replay, demo and simulation all call
//! [`turn`]; there is no other way for anything to happen.
//!
//! ```text
//! event ─> watch (what is true) ─> duty (who must hear it) ─> findings, messages, when to be woken
//! ```

mod press;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::duty::{self, Ledger, Noted, Present};
use crate::watch::{self, CatState, HouseState, Night, OnHand, Place};
use crate::words::{
    Answer, Arg, Became, CatName, CatSettings, Change, Event, Finding, Health, Household, Moment, Parcel,
    Said, Telling, Watch,
};
use press::Press;

/// Everything the house knows between two turns. Follows from the journal; bounded. Cheap to clone: cats are shared
/// until they change.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct House {
    /// The settings in force.
    pub household: Option<Arc<Household>>,
    /// By cat.
    pub cats: BTreeMap<CatName, Arc<CatState>>,
    /// The daemon itself.
    pub health: HouseState,
    /// What has been said.
    pub ledger: Ledger,
    /// The latest moment seen; the house goes back only with [`Event::ClockSet`].
    pub now: Moment,
}

/// What one turn brought.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Turned {
    /// What the event counts as, where that is something else: a press of "dose given" is a dose. This is what the
    /// record keeps in its place.
    pub counts_as: Option<Event>,
    /// What was found and said.
    pub said: Said,
    /// When to turn again if nothing happens before.
    pub wake: Option<Moment>,
}

impl House {
    /// Every open finding.
    #[must_use]
    pub fn open(&self) -> Vec<&Finding> {
        self.cats.values().flat_map(|cat| cat.open.values()).chain(self.health.open.values()).collect()
    }

    /// The parcels to be carried now.
    #[must_use]
    pub fn due(&self, now: Moment) -> Vec<Parcel> {
        duty::due(&self.ledger, now)
    }
}

/// Takes one event in, at `now`, and says what follows.
///
/// `now` never goes back: an earlier one counts as the latest seen. Only [`Event::ClockSet`] takes the house back, and
/// everything in it with it. Until settings have come, events change
/// nothing.
pub fn turn(house: &mut House, event: &Event, now: Moment) -> Turned {
    let now = present(house, event, now);
    let pressed = match event {
        Event::Answer(answer) => press::press(house, answer, now).map(|press| (answer, press)),
        _ => None,
    };
    let counts_as = pressed.as_ref().and_then(|(_, press)| press.event());
    let event = counts_as.as_ref().unwrap_or(event);
    let Some((household, changes)) = look(house, event, now) else {
        return Turned::default();
    };
    let mut ledger = std::mem::take(&mut house.ledger);
    let noted = pressed.and_then(|(answer, press)| noted(&household, answer, press));
    let present =
        Present { household: &household, open: &house.open(), changes: &changes, noted: noted.as_ref() };
    let decided = duty::decide(&mut ledger, present, event, now);
    house.ledger = ledger;
    let wakes = house.cats.values().filter_map(|cat| cat.wake).chain(house.health.wake()).chain(decided.wake);
    Turned {
        wake: wakes.min(),
        counts_as,
        said: Said { changes, messages: decided.messages, withdrawn: decided.withdrawn },
    }
}

/// The event that an answer counts as, if it is more than an answer: a dose, or that one was not given.
#[must_use]
pub fn counts_as(house: &House, answer: &Answer, now: Moment) -> Option<Event> {
    press::press(house, answer, now).and_then(|press| press.event())
}

/// What whoever pressed "dose given" is to hear.
fn noted(household: &Household, answer: &Answer, press: Press) -> Option<Noted> {
    let cat = match &press {
        Press::Dose(dose) | Press::Undo(dose) | Press::Already(dose) => household.cat(&dose.cat),
        Press::Stale(id) => household.cats.iter().find(|cat| id.is_of(&cat.name)),
    }?;
    let telling = |key: &str| Telling::new(key).with("cat", Arg::Text(cat.called.clone()));
    let (telling, ask) = match press {
        Press::Dose(dose) => (telling("dose-noted").with("time", Arg::Time(dose.given_at)), false),
        Press::Undo(dose) => (telling("dose-undone").with("time", Arg::Time(dose.given_at)), false),
        Press::Already(dose) if press::is_of_another_time(answer, &dose) => {
            let apart = Arg::Minutes(cat.doses.min_hours_between * 60.0);
            (telling("dose-recent").with("time", Arg::Time(dose.given_at)).with("apart", apart), true)
        }
        Press::Already(dose) => {
            let by = dose.by.map_or(Arg::Word("somebody".into()), |by| watch::who(&by));
            (telling("dose-already").with("time", Arg::Time(dose.given_at)).with("person", by), true)
        }
        Press::Stale(_) => (telling("dose-stale"), false),
    };
    // Without a finding there is nothing a further button could name.
    let finding = answer.finding.clone();
    Some(Noted { person: answer.person.clone(), cat: cat.name.clone(), finding, telling, ask })
}

/// Enters a turn of the past: what was found and said is taken from the record, everything else follows anew.
///
/// Looks at which nothing was found are not in the record, and another version of the rules may find other things:
/// what is open is what the record says, so that nothing is told again under another name.
pub fn recall(house: &mut House, event: &Event, said: &Said, now: Moment) {
    let now = present(house, event, now);
    let before = house.clone();
    if look(house, event, now).is_none() {
        return;
    }
    keep_to_the_record(house, &before, &said.changes);
    let mut ledger = std::mem::take(&mut house.ledger);
    if let Some(household) = house.household.clone() {
        let present =
            Present { household: &household, open: &house.open(), changes: &said.changes, noted: None };
        duty::recall(&mut ledger, present, event, said, now);
    }
    house.ledger = ledger;
}

/// The present of a turn. If the clock was set back, the house has gone back with it when this returns.
fn present(house: &mut House, event: &Event, now: Moment) -> Moment {
    let Event::ClockSet(step) = event else {
        return house.now.max(now);
    };
    house.now = step.to;
    for (name, cat) in &mut house.cats {
        let settings = house.household.as_ref().and_then(|household| household.cat(name));
        Arc::make_mut(cat).set_back(settings, *step);
    }
    house.health.set_back(*step);
    step.to
}

/// Puts back the findings that were open `before`, and enters the recorded changes.
fn keep_to_the_record(house: &mut House, before: &House, changes: &[Change]) {
    for (name, cat) in &mut house.cats {
        let was = before.cats.get(name).map(|cat| cat.open.clone()).unwrap_or_default();
        let own = changes.iter().filter(|change| change.finding.cat.as_ref() == Some(name));
        let recorded = recorded(&cat.open, was, own);
        if recorded != cat.open {
            Arc::make_mut(cat).open = recorded;
        }
    }
    let own = changes.iter().filter(|change| change.finding.cat.is_none());
    house.health.open = recorded(&house.health.open, before.health.open.clone(), own);
}

type Open = BTreeMap<(Watch, String), Finding>;

fn recorded<'a>(derived: &Open, mut open: Open, changes: impl Iterator<Item = &'a Change>) -> Open {
    for (key, finding) in &mut open {
        // The same finding, seen anew: its wording and its next look are fresh.
        let same = |new: &&Finding| {
            new.id == finding.id && (new.severity, new.step) == (finding.severity, finding.step)
        };
        if let Some(new) = derived.get(key).filter(same) {
            finding.clone_from(new);
        }
    }
    for change in changes {
        let key = (change.finding.watch, change.finding.about.clone());
        match change.became {
            Became::Opened | Became::Changed => open.insert(key, change.finding.clone()),
            Became::Cleared => open.remove(&key),
        };
    }
    open
}

/// Everything of a turn that follows from the event alone: what is true now, of the cats and of the daemon.
fn look(house: &mut House, event: &Event, now: Moment) -> Option<(Arc<Household>, Vec<Change>)> {
    let before = std::mem::replace(&mut house.now, now);
    if let Event::Household { household, .. } = event {
        settle_in(house, household);
    }
    let household = house.household.clone()?;
    let mut changes = house.health.expire(now);
    if let Event::Health(health) = event {
        changes.extend(house.health.report(health, now));
    }
    let duty = duty::on_duty(&household, now);
    let on_duty = household.person(duty);
    let night = on_duty.and_then(|person| duty::quiet(person.quiet, person.timezone, now));
    let night = night.map(|quiet| Night { from: quiet.from, until: quiet.until });
    let meter = on_duty.is_some_and(|person| person.meter);
    let holder = duty::holder(&household, now);
    let until = duty::duty_changes(&household, now).first().map(|(at, _)| *at);
    let on_hand = OnHand { person: holder.person, until, tell: holder.hand_over };
    // Whoever takes over sleeps at other hours and may have a meter: every rule has to look again.
    let all = matches!(event, Event::Household { .. } | Event::ClockSet(_))
        || duty::on_duty(&household, before) != duty;
    for settings in &household.cats {
        let Some(cat) = house.cats.get_mut(&settings.name) else { continue };
        let own = is_about(event, settings, &household);
        if all || own || cat.wake.is_some_and(|at| at <= now) {
            let event = if own { event } else { &Event::Tick };
            let place = Place { settings, home: &household.home, night, meter, duty: on_hand };
            changes.extend(watch::step(Arc::make_mut(cat), place, event, now));
        }
    }
    duty::hear_back(&mut house.ledger, &household, event, now);
    // An outcome can show that a channel is in trouble, or well again: that is a finding of its own.
    changes.extend(channel_troubles(house, &household, now));
    Some((household, changes))
}

/// Whether an event is about a cat: it names it, answers one of its findings, or brings new settings. An answer without
/// a finding is about the only cat there is.
fn is_about(event: &Event, cat: &CatSettings, household: &Household) -> bool {
    match event {
        Event::Household { .. } => true,
        Event::Answer(Answer { finding: Some(id), .. }) => id.is_of(&cat.name),
        Event::Answer(Answer { finding: None, .. }) => household.cats.len() == 1,
        _ => event.cat() == Some(&cat.name),
    }
}

/// New settings: new cats begin, cats that are gone leave with what was open about them.
fn settle_in(house: &mut House, household: &Household) {
    house.cats.retain(|name, _| household.cat(name).is_some());
    for settings in &household.cats {
        house.cats.entry(settings.name.clone()).or_insert_with(|| Arc::new(CatState::new(settings)));
    }
    house.household = Some(Arc::new(household.clone()));
    let open: Vec<_> = house.open().iter().map(|finding| finding.id.clone()).collect();
    house.ledger.spoken.retain(|id, _| open.contains(id));
}

/// Holds `delivery-failing` findings in step with the ledger.
fn channel_troubles(house: &mut House, household: &Household, now: Moment) -> Vec<Change> {
    let mut changes = Vec::new();
    let troubles = duty::troubles(&house.ledger, household, now);
    let about = |trouble: &duty::Trouble| format!("{}-{}", trouble.person, trouble.kind.word());
    let held: Vec<String> = house
        .health
        .open
        .keys()
        .filter(|(watch, _)| *watch == Watch::DeliveryFailing)
        .map(|(_, about)| about.clone())
        .collect();
    for trouble in troubles.iter().filter(|trouble| !held.contains(&about(trouble))) {
        let telling = Telling::new("delivery-failing")
            .with("channel", Arg::Word(format!("channel-{}", trouble.kind.word())))
            .with("person", Arg::Person(trouble.person.clone()))
            .with("time", Arg::Time(trouble.since))
            .with("reason", Arg::Text(trouble.why.clone()));
        let health = Health { watch: Watch::DeliveryFailing, about: about(trouble), trouble: Some(telling) };
        changes.extend(house.health.report(&health, now));
    }
    for gone in held.into_iter().filter(|name| !troubles.iter().any(|trouble| about(trouble) == *name)) {
        let health = Health { watch: Watch::DeliveryFailing, about: gone, trouble: None };
        changes.extend(house.health.report(&health, now));
    }
    changes
}
