//! What a crash leaves is what was there: the house that is rebuilt from the journal says the same and knows the same.

use std::sync::Arc;

use super::{Checks, must};
use crate::simulate::clock::Truth;
use crate::simulate::driver::Driver;
use crate::turn::{House, turn};
use crate::watch::{CatState, Memory};
use crate::words::{Became, Event, FindingId, Moment, PersonName, Reason};

impl Checks {
    /// What a crash would leave is what is there.
    pub(in crate::simulate) fn rebuilt(
        &mut self,
        driver: &Driver,
        truth: Truth,
        all: bool,
    ) -> Result<(), String> {
        self.look("a restart says the same and knows the same");
        let (mut live, mut rebuilt) = (driver.house.clone(), driver.rebuilt(all)?);
        // Looks at which nothing was said are not journaled; a full look at everything makes up for them.
        let now = driver.present(truth.time);
        let said = (look_at_everything(&mut live, now), look_at_everything(&mut rebuilt, now));
        must(said.0 == said.1, || {
            format!("after a restart the house says something else: {:?} instead of {:?}", said.1, said.0)
        })?;
        match difference(&live, &rebuilt) {
            None => Ok(()),
            Some(what) => Err(format!("after a restart {what}")),
        }
    }

    /// The house after a crash still has everything on its way.
    pub(in crate::simulate) fn after_restart(&mut self, driver: &Driver) -> Result<(), String> {
        self.look("a restart loses no message");
        self.outbox(&driver.house)?;
        must(driver.house.now <= self.last, || "the house went ahead at a restart".to_owned())?;
        // Silent looks are not in the record: the house may know of a little less time than before.
        self.last = driver.house.now;
        Ok(())
    }
}

/// What was found, and who was told why; without the wording.
type Spoken = (Vec<(Became, FindingId)>, Vec<(PersonName, Reason)>);

/// Has every rule of every cat asked; gives what is said then, without its wording.
fn look_at_everything(house: &mut House, now: Moment) -> Spoken {
    for cat in house.cats.values_mut() {
        Arc::make_mut(cat).wake = Some(now);
    }
    let said = turn(house, &Event::Tick, now).said;
    let changes = said.changes.into_iter().map(|change| (change.became, change.finding.id)).collect();
    (changes, said.messages.into_iter().map(|message| (message.person, message.reason)).collect())
}

/// Where two houses differ in what matters; `None` if they do not.
///
/// Not compared: wordings and looks that a look at the clock refreshes, and when exactly a way was opened.
fn difference(live: &House, rebuilt: &House) -> Option<String> {
    let of = |house: &House| -> Vec<_> {
        let open = house.open();
        open.iter().map(|f| (f.id.clone(), f.severity, f.step, f.opened_at)).collect()
    };
    if of(live) != of(rebuilt) {
        return Some(format!("other findings are open: {:?} instead of {:?}", of(rebuilt), of(live)));
    }
    for (name, cat) in &live.cats {
        let other = rebuilt.cats.get(name)?;
        if cat.newest != other.newest || cat.wear != other.wear {
            let (there, here) = ((other.newest, &other.wear), (cat.newest, &cat.wear));
            return Some(format!("another sensor of {name} is known: {there:?} instead of {here:?}"));
        }
        if cat.tracker != other.tracker {
            return Some(format!(
                "other readings of {name} are known: {}",
                apart(&cat.tracker, &other.tracker)
            ));
        }
        // When to ask for the next scan is worked out anew at every look.
        let memory = |cat: &CatState| Memory { scan_again: None, ..cat.memory.clone() };
        if cat.doses != other.doses || cat.meter != other.meter || memory(cat) != memory(other) {
            let (there, here) = (memory(other), memory(cat));
            return Some(format!("{name} is remembered otherwise: {there:?} instead of {here:?}"));
        }
    }
    if live.ledger.spoken != rebuilt.ledger.spoken {
        return Some(format!(
            "something else was said: {:?} instead of {:?}",
            rebuilt.ledger.spoken, live.ledger.spoken
        ));
    }
    let ways = |house: &House| -> Vec<_> {
        let all = house.ledger.outbox.values();
        all.map(|p| {
            let ways = p.ways.iter().map(|way| (way.channel.clone(), way.attempts, way.refused));
            (p.message.clone(), ways.collect::<Vec<_>>())
        })
        .collect()
    };
    if ways(live) != ways(rebuilt) {
        return Some("other messages are on their way".to_owned());
    }
    (live.ledger.missed != rebuilt.ledger.missed).then(|| "other messages were missed".to_owned())
}

/// The first words in which two states differ as text.
fn apart(live: &impl serde::Serialize, rebuilt: &impl serde::Serialize) -> String {
    let live = serde_json::to_string(live).unwrap_or_default();
    let rebuilt = serde_json::to_string(rebuilt).unwrap_or_default();
    let same = live.bytes().zip(rebuilt.bytes()).take_while(|(a, b)| a == b).count();
    let from = (0..=same.saturating_sub(60)).rev().find(|at| live.is_char_boundary(*at)).unwrap_or(0);
    let shown = |text: &str| text.get(from..).unwrap_or_default().chars().take(160).collect::<String>();
    format!("{} instead of {}", shown(&rebuilt), shown(&live))
}
