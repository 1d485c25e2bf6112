//! Tokens: each bit turned, each letter put for another, each cut, each part of another token put in. Nothing but the
//! token itself is believed.

use lowtide::token::{Claim, Key, LIFE};
use lowtide::words::{FindingId, Moment, PersonName, Span, Verdict};
use proptest::prelude::*;

use crate::mutate::{mutated, rounds};

const LETTERS: &str = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

fn now() -> Moment {
    Moment::parse("2026-03-01T06:15:00Z").unwrap()
}

fn key() -> Key {
    Key::new([7; 32])
}

fn claim() -> Claim {
    Claim {
        finding: FindingId("pepper/low-now/1772345700".to_owned()),
        person: PersonName::new("owner").unwrap(),
        verdict: Verdict::Taken,
        expires: now() + LIFE,
    }
}

/// One thing changed in each: the cat, the finding, the person, the verdict, the end.
fn others() -> Vec<Claim> {
    let finding = |text: &str| Claim { finding: FindingId(text.to_owned()), ..claim() };
    vec![
        finding("mint/low-now/1772345700"),
        finding("pepper/low-ahead/1772345700"),
        finding("pepper/low-now/1772345701"),
        finding("pepper/low-now/177234570"),
        Claim { person: PersonName::new("sitter").unwrap(), ..claim() },
        Claim {
            person: PersonName::new("owne").unwrap(),
            finding: FindingId("rpepper/low-now/1772345700".to_owned()),
            ..claim()
        },
        Claim { verdict: Verdict::Later, ..claim() },
        Claim { expires: claim().expires + Span::seconds(1), ..claim() },
    ]
}

#[test]
fn no_letter_of_a_token_can_be_another_one_and_none_can_be_missing() {
    let token = key().sign(&claim());
    for place in 0..token.len() {
        for letter in LETTERS.chars().chain(['=', ' ', '\u{e9}']) {
            // A letter carries six bits, so this turns each bit, and all of them together, in every way.
            let changed = format!("{}{letter}{}", &token[..place], &token[place + 1..]);
            assert!(changed == token || key().verify(&changed, now()).is_err(), "letter {place}: {changed}");
        }
        assert!(key().verify(&token[..place], now()).is_err(), "cut to {place}");
        assert!(key().verify(&token[place + 1..], now()).is_err(), "without the first {place}");
        assert!(key().verify(&format!("{}{}", &token[..place], &token[place + 1..]), now()).is_err());
    }
    assert_eq!(key().verify(&token, now()), Ok(claim()));
    assert!(key().verify(&(token + "AAAA"), now()).is_err());
}

#[test]
fn the_parts_of_two_tokens_make_no_third() {
    let token = key().sign(&claim());
    for other in others() {
        let other = key().sign(&other);
        assert_ne!(other, token);
        for place in 0..token.len().min(other.len()) {
            for spliced in [
                format!("{}{}", &token[..place], &other[place..]),
                format!("{}{}", &other[..place], &token[place..]),
            ] {
                let own = spliced == token || spliced == other;
                assert!(own || key().verify(&spliced, now()).is_err(), "{spliced} is believed");
            }
        }
    }
}

proptest! {
    #![proptest_config(rounds(2000))]
    #[test]
    fn a_spoilt_token_is_none(spoilt in mutated(vec![key().sign(&claim()).into_bytes()])) {
        let spoilt = String::from_utf8_lossy(&spoilt);
        prop_assert!(spoilt == key().sign(&claim()) || key().verify(&spoilt, now()).is_err(), "{spoilt}");
    }
}
