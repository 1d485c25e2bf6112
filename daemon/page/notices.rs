//! What came of a form, kept until the page that follows shows it: a browser that is shown a page anew must not send a
//! form twice, so every form is answered with a way to another page.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use crate::words::Telling;

/// What is still to be shown, by number.
#[derive(Default)]
pub(super) struct Notices(Mutex<(u64, BTreeMap<u64, Telling>)>);

impl Notices {
    /// Keeps one; gives its number.
    pub(super) fn keep(&self, telling: Telling) -> u64 {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.0 += 1;
        let number = held.0;
        held.1.insert(number, telling);
        while held.1.len() > HELD_MOST {
            held.1.pop_first();
        }
        number
    }

    /// Takes one out, if it is there (still).
    pub(super) fn take(&self, number: u64) -> Option<Telling> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).1.remove(&number)
    }
}

const HELD_MOST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notice_is_shown_once_and_the_oldest_make_room() {
        let notices = Notices::default();
        let first = notices.keep(Telling::new("first"));
        let second = notices.keep(Telling::new("second"));
        assert_eq!(notices.take(second), Some(Telling::new("second")));
        assert_eq!(notices.take(second), None);
        for _ in 0..HELD_MOST {
            notices.keep(Telling::new("more"));
        }
        assert_eq!(notices.take(first), None);
    }
}
