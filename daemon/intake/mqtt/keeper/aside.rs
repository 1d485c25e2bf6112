//! What becomes of a message that cannot be read: it is put aside and told, each trouble once and of many only how many.

use rumqttc::Publish;
use tokio::time::Instant;

use super::super::payload::Wrong;
use super::{End, Keeper, broken};
use crate::intake::flood::{Worth, brief};
use crate::words::{Arg, Event, Health, Telling, Watch};

impl Keeper {
    /// Puts aside what cannot be read, and says what is to be told of it.
    pub(super) async fn put_aside(&mut self, message: &Publish, wrong: Wrong) -> Result<Option<Event>, End> {
        let Wrong { reason, rows, stranger } = wrong;
        let count = rows.len();
        let told = stranger.as_ref().is_some_and(|name| self.strangers.contains(name));
        if stranger.is_some() && !told && self.strangers.len() >= STRANGERS_MAX {
            return Ok(None);
        }
        tracing::warn!(topic = message.topic, reason, "an MQTT message cannot be read");
        let kept = self.letters.keep(&message.topic, &message.payload, &reason, rows, (self.now)()).await;
        let file = match kept {
            Ok(Some(file)) => file,
            Ok(None) => return Ok(None),
            Err(error) => {
                // Not acknowledged, it comes again; and if this lasts, somebody is told.
                let folder = self.mqtt.settings.rejected.display();
                return Err(broken(&format!(
                    "a message that cannot be read cannot be put into {folder}: {error}"
                )));
            }
        };
        // Whose name is wrong is told once; what they said after that is kept all the same, a dose for one.
        if told {
            return Ok(None);
        }
        let mut about = message.topic.clone();
        let mut many = None;
        match stranger {
            // Of its own: a good answer on the same topic does not make this name a right one.
            Some(name) => {
                about = format!("{} {name}", message.topic);
                self.strangers.insert(name);
            }
            None => {
                // Topics without number are one: no message may make a finding more for ever.
                if !self.flood.has_room_for(&about, Instant::now()) {
                    about = "other topics".to_owned();
                }
                match self.flood.count(about.clone(), Instant::now()) {
                    Worth::Alone => {}
                    Worth::Together(count) => many = Some(count),
                    Worth::Nothing => return Ok(None),
                }
                self.bad_topics.insert(about.clone());
            }
        }
        let telling = match many {
            None => Telling::new("message-rejected").with("rows", Arg::Count(count as i64)),
            Some(many) => Telling::new("messages-rejected")
                .with("count", Arg::Count(i64::try_from(many).unwrap_or(i64::MAX))),
        };
        let telling = telling
            .with("file", Arg::Text(self.mqtt.settings.rejected.join(file).display().to_string()))
            .with("reason", Arg::Text(brief(&format!("{}: {reason}", message.topic))));
        Ok(Some(rejected(&about, Some(telling))))
    }
}

/// That what came on a topic, or about a name, cannot be used, or can again.
pub(super) fn rejected(about: &str, trouble: Option<Telling>) -> Event {
    Event::Health(Health { watch: Watch::FileRejected, about: about.to_owned(), trouble })
}

/// So many names that nobody has are told of and kept; one more says nothing new.
const STRANGERS_MAX: usize = 20;
