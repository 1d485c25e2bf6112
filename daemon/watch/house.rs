//! The daemon's own health: troubles that edges report and that duty sees, held as findings of the house.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::holding::{Holding, Ruling};
use super::step::{Slot, settle};
use crate::words::{Audience, Change, Finding, Health, Moment, Severity, Telling, Watch, minutes};

/// What is held of the daemon itself.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct HouseState {
    /// Open findings, by watch and subject.
    #[serde(with = "as_list")]
    pub open: BTreeMap<(Watch, String), Finding>,
}

impl HouseState {
    /// Takes a report of health in.
    pub fn report(&mut self, health: &Health, now: Moment) -> Vec<Change> {
        let ruling = match &health.trouble {
            None => {
                let held = self.open.get(&(health.watch, health.about.clone()));
                Ruling { over: held.and_then(over), ..Ruling::none() }
            }
            Some(telling) => {
                let mut holding =
                    Holding::new(severity(health.watch), now, telling.clone()).to(Audience::Owner);
                if unwritten(health.watch, &health.about) {
                    // Doses are not kept, and with a worn card the next thing to go is the watch: it wakes like a low.
                    holding = holding.to(Audience::OwnerAndDuty).glucose().repeating();
                }
                holding.about.clone_from(&health.about);
                if one_shot(health.watch, &health.about) {
                    // Two bad files of one name are two things to hear of.
                    holding = holding.more(true).look_again(now + minutes(ONE_SHOT_MINUTES));
                }
                Ruling::hold(holding)
            }
        };
        let slot = Slot { cat: None, watch: health.watch, about: &health.about };
        settle(&mut self.open, slot, ruling, now).into_iter().collect()
    }

    /// Lets what was only said once go after a while.
    pub fn expire(&mut self, now: Moment) -> Vec<Change> {
        let gone: Vec<(Watch, String)> = self
            .open
            .iter()
            .filter(|((watch, about), finding)| {
                one_shot(*watch, about) && finding.look_again.is_some_and(|at| at <= now)
            })
            .map(|(key, _)| key.clone())
            .collect();
        gone.into_iter()
            .filter_map(|(watch, about)| {
                settle(&mut self.open, Slot { cat: None, watch, about: &about }, Ruling::none(), now)
            })
            .collect()
    }

    /// When [`Self::expire`] has something to do.
    #[must_use]
    pub fn wake(&self) -> Option<Moment> {
        self.open
            .iter()
            .filter(|((watch, about), _)| one_shot(*watch, about))
            .filter_map(|(_, finding)| finding.look_again)
            .min()
    }
}

fn severity(watch: Watch) -> Severity {
    match watch {
        Watch::FileRejected => Severity::Notice,
        _ => Severity::Warning,
    }
}

/// Said once and then over by itself: nothing will ever report that a bad file, a mended journal or a clock that was
/// set back is well again.
fn one_shot(watch: Watch, about: &str) -> bool {
    match watch {
        Watch::FileRejected => true,
        Watch::DatabaseError => about == "damage",
        Watch::ClockWrong => about == "set-back",
        _ => false,
    }
}

/// Whether nothing can be recorded, so that nothing that comes is kept.
fn unwritten(watch: Watch, about: &str) -> bool {
    watch == Watch::DatabaseError && about == "record"
}

/// The one who was told of it wants to know that it is over, where it does not show by itself.
fn over(held: &Finding) -> Option<Telling> {
    let key = match held.watch {
        Watch::DeliveryFailing => "delivery-over",
        Watch::SourceRefused => "source-back",
        watch if unwritten(watch, &held.about) => "record-back",
        _ => return None,
    };
    Some(Telling { key: key.to_owned(), args: held.telling.args.clone() })
}

const ONE_SHOT_MINUTES: f64 = 24.0 * 60.0;

/// JSON has no maps with structured keys: findings know their watch and subject, so the list is enough.
pub(super) mod as_list {
    use std::collections::BTreeMap;

    use serde::{Deserialize, Deserializer, Serializer};

    use crate::words::{Finding, Watch};

    pub(crate) fn serialize<S: Serializer>(
        map: &BTreeMap<(Watch, String), Finding>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(map.values())
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<BTreeMap<(Watch, String), Finding>, D::Error> {
        let list = Vec::<Finding>::deserialize(deserializer)?;
        Ok(list.into_iter().map(|finding| ((finding.watch, finding.about.clone()), finding)).collect())
    }
}
