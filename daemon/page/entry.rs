//! Who is let in: the password, how often it may be tried, and the pass that a browser keeps. In: what a browser sent.
//! Out: yes or no.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

use crate::words::{Moment, Span};

/// Wrong passwords, by who sent them.
#[derive(Default)]
pub(super) struct Attempts(Mutex<BTreeMap<IpAddr, Wrong>>);

/// How often somebody was wrong.
#[derive(Clone, Copy)]
struct Wrong {
    times: u32,
    last: Moment,
}

impl Attempts {
    /// How long whoever this is has to wait before the next try; `None` if not at all.
    pub(super) fn wait(&self, who: IpAddr, now: Moment) -> Option<Span> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let wrong = held.get(&who)?;
        let doublings = wrong.times.checked_sub(FREE_TRIES)?.min(DOUBLINGS_MOST);
        let whole = Span::seconds(1 << doublings);
        let left = wrong.last + whole - now;
        // More than all of it is left where the clock was set back since: nobody waits for the day to come again.
        (left > Span::zero() && left <= whole).then_some(left)
    }

    /// Notes a wrong password.
    pub(super) fn wrong(&self, who: IpAddr, now: Moment) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let wrong = held.entry(who).or_insert(Wrong { times: 0, last: now });
        *wrong = Wrong { times: wrong.times.saturating_add(1), last: now };
        while held.len() > HELD_MOST {
            let oldest = held.iter().min_by_key(|(_, wrong)| wrong.last).map(|(who, _)| *who);
            oldest.map(|who| held.remove(&who));
        }
    }

    /// Forgets what was wrong before the right one.
    pub(super) fn right(&self, who: IpAddr) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&who);
    }
}

/// The value of a cookie that a browser sent.
pub(super) fn cookie<'a>(header: &'a str, name: &str) -> Option<&'a str> {
    let mut pairs = header.split(';').filter_map(|pair| pair.trim().split_once('='));
    pairs.find_map(|(key, value)| (key == name).then_some(value))
}

/// The password of an `Authorization: Basic` header (RFC 7617), whatever the name before it; for what reads the figures.
pub(super) fn basic_password(header: &str) -> Option<String> {
    let (scheme, text) = header.split_once(' ')?;
    let bytes = scheme.eq_ignore_ascii_case("basic").then(|| from_base64(text.trim()))??;
    let text = String::from_utf8(bytes).ok()?;
    text.split_once(':').map(|(_, password)| password.to_owned())
}

/// RFC 4648 section 4; padding may be missing.
fn from_base64(text: &str) -> Option<Vec<u8>> {
    let (mut bytes, mut word, mut bits) = (Vec::new(), 0_u32, 0_u32);
    for letter in text.trim_end_matches('=').bytes() {
        let value = match letter {
            b'A'..=b'Z' => letter - b'A',
            b'a'..=b'z' => letter - b'a' + 26,
            b'0'..=b'9' => letter - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => return None,
        };
        word = (word << 6 | u32::from(value)) & 0x00ff_ffff;
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((word >> bits) as u8);
        }
    }
    Some(bytes)
}

/// So often the password may be wrong before waiting begins; the wait then doubles each time.
const FREE_TRIES: u32 = 5;
/// About eight and a half minutes at most.
const DOUBLINGS_MOST: u32 = 9;
const HELD_MOST: usize = 256;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::minutes;

    #[test]
    fn who_is_wrong_again_and_again_waits_longer_and_nobody_else_does() {
        let attempts = Attempts::default();
        let (guest, owner): (IpAddr, IpAddr) = ([192, 0, 2, 7].into(), [192, 0, 2, 8].into());
        let now = Moment::parse("2026-03-01T06:15:00Z").unwrap();
        for _ in 0..FREE_TRIES {
            assert_eq!(attempts.wait(guest, now), None);
            attempts.wrong(guest, now);
        }
        assert_eq!(attempts.wait(guest, now), Some(Span::seconds(1)));
        attempts.wrong(guest, now);
        assert_eq!(attempts.wait(guest, now), Some(Span::seconds(2)));
        assert_eq!(attempts.wait(guest, now + Span::seconds(2)), None);
        for _ in 0..50 {
            attempts.wrong(guest, now);
        }
        assert_eq!(attempts.wait(guest, now + minutes(9.0)), None);
        assert_eq!(attempts.wait(owner, now), None);
        assert_eq!(attempts.wait(guest, now - minutes(1440.0)), None, "the clock was set back");
        attempts.right(guest);
        assert_eq!(attempts.wait(guest, now), None);
    }

    #[test]
    fn strangers_do_not_fill_the_memory() {
        let attempts = Attempts::default();
        let now = Moment::parse("2026-03-01T06:15:00Z").unwrap();
        for number in 0..2000_u32 {
            attempts.wrong(IpAddr::from(number.to_be_bytes()), now + Span::seconds(i64::from(number)));
        }
        assert!(attempts.0.lock().unwrap().len() <= HELD_MOST);
    }

    #[test]
    fn cookies_and_passwords_are_read_as_the_standards_write_them() {
        assert_eq!(cookie("a=1; lowtide=x-_y ; b=2", "lowtide"), Some("x-_y"));
        assert_eq!(cookie("notlowtide=1", "lowtide"), None);
        // RFC 7617 section 2 and 2.1: "Aladdin" with "open sesame", "test" with "123£" in UTF-8.
        assert_eq!(basic_password("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==").as_deref(), Some("open sesame"));
        assert_eq!(basic_password("basic dGVzdDoxMjPCow==").as_deref(), Some("123£"));
        for odd in ["Basic", "Bearer QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "Basic !!!!", "Basic QWxh"] {
            assert_eq!(basic_password(odd), None, "{odd}");
        }
    }
}
