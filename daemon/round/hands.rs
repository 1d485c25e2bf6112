//! What carriers have in their hands: one parcel at a time for each address, so that the worst of what is due comes first
//! and nothing overtakes it.

use std::collections::BTreeMap;

use crate::words::{Channel, MessageId, Parcel};

/// The parcels that carriers have now, by address.
///
/// ```
/// use lowtide::round::Hands;
/// use lowtide::words::{Channel, ChannelKind, MessageId, Parcel};
/// let channel = Channel { kind: ChannelKind::Ntfy, address: "topic".into() };
/// let parcel = |id: &str| Parcel { message: MessageId(id.into()), channel: channel.clone(), attempt: 1 };
/// let mut hands = Hands::default();
/// assert!(hands.take(&parcel("low")));
/// assert!(!hands.take(&parcel("spares")), "one after the other");
/// hands.back(&parcel("low"));
/// assert!(hands.take(&parcel("spares")));
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hands(BTreeMap<Channel, MessageId>);

impl Hands {
    /// Whether nothing is on its way to an address, so that the next parcel may go.
    #[must_use]
    pub fn are_free(&self, channel: &Channel) -> bool {
        !self.0.contains_key(channel)
    }

    /// A parcel goes to its carrier; false, and nothing changes, if another one is on its way to the same address.
    pub fn take(&mut self, parcel: &Parcel) -> bool {
        let free = self.are_free(&parcel.channel);
        if free {
            self.0.insert(parcel.channel.clone(), parcel.message.clone());
        }
        free
    }

    /// A carrier has answered: the address is free for the next one. An answer to another parcel frees nothing.
    pub fn back(&mut self, parcel: &Parcel) {
        if self.0.get(&parcel.channel) == Some(&parcel.message) {
            self.0.remove(&parcel.channel);
        }
    }

    /// Whoever carried is gone, and with them what they had.
    pub fn clear(&mut self) {
        self.0.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::ChannelKind;

    fn parcel(address: &str, id: &str) -> Parcel {
        let channel = Channel { kind: ChannelKind::Ntfy, address: address.to_owned() };
        Parcel { message: MessageId(id.to_owned()), channel, attempt: 1 }
    }

    #[test]
    fn of_what_is_due_the_first_goes_to_each_address() {
        let mut hands = Hands::default();
        let due = [parcel("a", "worst"), parcel("a", "mild"), parcel("b", "mild"), parcel("a", "old")];
        let gone: Vec<&Parcel> = due.iter().filter(|parcel| hands.take(parcel)).collect();
        assert_eq!(gone, [&due[0], &due[2]]);
        hands.back(&due[0]);
        assert!(hands.are_free(&due[0].channel) && !hands.are_free(&due[2].channel));
    }

    #[test]
    fn a_late_answer_to_another_parcel_frees_no_address() {
        let mut hands = Hands::default();
        assert!(hands.take(&parcel("a", "one")));
        hands.back(&parcel("a", "another"));
        assert!(!hands.take(&parcel("a", "two")));
        hands.clear();
        assert!(hands.take(&parcel("a", "two")));
    }
}
