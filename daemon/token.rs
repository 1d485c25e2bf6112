//! What a button sends back, and what a browser shows to be let in again: a short signed text. A button's fits one
//! finding, one person and one verdict, and expires.
//!
//! Comes in: an answer and until when it may be given, or a text that came from outside. Goes out: the text, or the
//! answer in it if this house signed it. It keeps no list of what was used and asks no clock; `intake` does. The
//! signature is HMAC-SHA256 (RFC 2104), cut to its left half as RFC 2104 section 5 allows.

use std::fmt;

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::words::{FindingId, Moment, PersonName, Span, Verdict};

/// The house's own key. Never shown.
#[derive(Clone, PartialEq, Eq)]
pub struct Key([u8; KEY_BYTES]);

/// What a token says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Claim {
    /// Which finding is answered.
    pub finding: FindingId,
    /// Who may answer with it.
    pub person: PersonName,
    /// What they say.
    pub verdict: Verdict,
    /// Not good after this; to the second.
    pub expires: Moment,
}

/// Why a text is no answer. Says nothing of the text itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenError {
    /// Not the form of a token: cut short, or something else altogether.
    #[error("it is not an answer that a button sends")]
    Form,
    /// The form is right, the signature is not.
    #[error("its signature is not ours")]
    Forged,
    /// Ours, but too old.
    #[error("it has expired")]
    Expired,
}

impl Key {
    /// From bytes that nobody can guess.
    #[must_use]
    pub const fn new(bytes: [u8; KEY_BYTES]) -> Self {
        Self(bytes)
    }

    /// The text for a button: letters, digits, `-` and `_`, about 100 of them.
    ///
    /// ```
    /// use lowtide::token::{Claim, Key, LIFE};
    /// use lowtide::words::{FindingId, Moment, PersonName, Verdict};
    /// let key = Key::new([7; 32]);
    /// let now = Moment::parse("2026-03-01T06:15:00Z").unwrap();
    /// let claim = Claim {
    ///     finding: FindingId("pepper/low-now/1772345700".to_owned()),
    ///     person: PersonName::new("owner").unwrap(),
    ///     verdict: Verdict::Taken,
    ///     expires: now + LIFE,
    /// };
    /// assert_eq!(key.verify(&key.sign(&claim), now), Ok(claim));
    /// ```
    #[must_use]
    pub fn sign(&self, claim: &Claim) -> String {
        let mut bytes = packed(claim);
        let signature = self.mac(&bytes).finalize().into_bytes();
        bytes.extend_from_slice(&signature[..SIGNATURE_BYTES]);
        to_text(&bytes)
    }

    /// What a text from outside says, if this key signed it and it is still good.
    ///
    /// # Errors
    /// [`TokenError`]: not a token, not ours, or too old.
    pub fn verify(&self, text: &str, now: Moment) -> Result<Claim, TokenError> {
        if text.len() > TEXT_BYTES_MAX {
            return Err(TokenError::Form);
        }
        let bytes = from_text(text).ok_or(TokenError::Form)?;
        let at = bytes.len().checked_sub(SIGNATURE_BYTES).ok_or(TokenError::Form)?;
        let (said, signature) = bytes.split_at(at);
        // Compares in constant time, whatever the first byte that differs.
        self.mac(said).verify_truncated_left(signature).map_err(|_| TokenError::Forged)?;
        let claim = unpacked(said).ok_or(TokenError::Form)?;
        if claim.expires < now { Err(TokenError::Expired) } else { Ok(claim) }
    }

    /// The text that a browser shows to be let in until `until`, to the second. It fits this password only: with another
    /// one everybody has to enter it anew.
    ///
    /// ```
    /// use lowtide::token::Key;
    /// use lowtide::words::{Moment, minutes};
    /// let key = Key::new([7; 32]);
    /// let now = Moment::parse("2026-03-01T06:15:00Z").unwrap();
    /// let pass = key.pass("a long password", now + minutes(60.0));
    /// assert!(key.admits(&pass, "a long password", now));
    /// assert!(!key.admits(&pass, "a long password", now + minutes(61.0)));
    /// assert!(!key.admits(&pass, "another password", now));
    /// ```
    #[must_use]
    pub fn pass(&self, password: &str, until: Moment) -> String {
        let mut bytes = (until.millis() / 1000).to_be_bytes().to_vec();
        let signature = self.pass_mac(&bytes, password).finalize().into_bytes();
        bytes.extend_from_slice(&signature[..SIGNATURE_BYTES]);
        to_text(&bytes)
    }

    /// Whether a text from outside is such a pass and still good.
    #[must_use]
    pub fn admits(&self, text: &str, password: &str, now: Moment) -> bool {
        let Some(bytes) = Some(text).filter(|text| text.len() <= TEXT_BYTES_MAX).and_then(from_text) else {
            return false;
        };
        let Some((until, signature)) = bytes.split_first_chunk::<8>() else { return false };
        let good = i64::from_be_bytes(*until).checked_mul(1000).is_some_and(|until| until >= now.millis());
        self.pass_mac(until, password).verify_truncated_left(signature).is_ok()
            && signature.len() == SIGNATURE_BYTES
            && good
    }

    /// Whether two texts are the same, in a time that does not tell where they differ.
    #[must_use]
    pub fn same(&self, one: &str, other: &str) -> bool {
        let signature = self.mac(one.as_bytes()).finalize().into_bytes();
        self.mac(other.as_bytes()).verify_slice(&signature).is_ok()
    }

    /// Over another first byte than a button's text has, so that neither passes for the other.
    fn pass_mac(&self, until: &[u8], password: &str) -> Hmac<Sha256> {
        self.mac(&[&[PASS], until, password.as_bytes()].concat())
    }

    fn mac(&self, bytes: &[u8]) -> Hmac<Sha256> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes a key of any length");
        mac.update(bytes);
        mac
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(secret)")
    }
}

/// Version, expiry in seconds, verdict, length of the name, name, finding.
fn packed(claim: &Claim) -> Vec<u8> {
    let name = claim.person.as_str().as_bytes();
    let mut bytes = vec![VERSION];
    bytes.extend_from_slice(&(claim.expires.millis() / 1000).to_be_bytes());
    bytes.push(match claim.verdict {
        Verdict::Taken => b't',
        Verdict::SensorFine => b's',
        Verdict::Later => b'l',
        Verdict::Given => b'g',
        Verdict::GivenToo => b'h',
        Verdict::NotGiven => b'u',
        Verdict::MeterLow => b'm',
        Verdict::MeterFine => b'n',
    });
    bytes.push(u8::try_from(name.len()).unwrap_or(u8::MAX));
    bytes.extend_from_slice(name);
    bytes.extend_from_slice(claim.finding.0.as_bytes());
    bytes
}

fn unpacked(bytes: &[u8]) -> Option<Claim> {
    let (head, rest) = bytes.split_at_checked(HEAD_BYTES)?;
    let seconds = i64::from_be_bytes(head[1..9].try_into().ok()?);
    let verdict = match head[9] {
        b't' => Verdict::Taken,
        b's' => Verdict::SensorFine,
        b'l' => Verdict::Later,
        b'g' => Verdict::Given,
        b'h' => Verdict::GivenToo,
        b'u' => Verdict::NotGiven,
        b'm' => Verdict::MeterLow,
        b'n' => Verdict::MeterFine,
        _ => return None,
    };
    let (name, finding) = rest.split_at_checked(usize::from(head[10]))?;
    (head[0] == VERSION).then_some(())?;
    Some(Claim {
        finding: FindingId(String::from_utf8(finding.to_vec()).ok()?),
        person: PersonName::new(std::str::from_utf8(name).ok()?).ok()?,
        verdict,
        expires: Moment::from_millis(seconds.checked_mul(1000)?),
    })
}

/// base64url without padding, RFC 4648 section 5.
fn to_text(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word =
            chunk.iter().enumerate().fold(0_u32, |word, (at, b)| word | u32::from(*b) << (16 - 8 * at));
        for at in 0..=chunk.len() {
            text.push(char::from(LETTERS[(word >> (18 - 6 * at) & 63) as usize]));
        }
    }
    text
}

/// `None` for letters outside the alphabet, an impossible length, or bits left over that are not zero: one text per
/// token, so that a used one cannot be written otherwise.
fn from_text(text: &str) -> Option<Vec<u8>> {
    let (mut bytes, mut word, mut bits) = (Vec::new(), 0_u32, 0_u32);
    for letter in text.bytes() {
        let value = LETTERS.iter().position(|known| *known == letter)?;
        word = word << 6 | u32::try_from(value).ok()?;
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push((word >> bits) as u8);
            word &= (1 << bits) - 1;
        }
    }
    (bits < 6 && word == 0).then_some(bytes)
}

/// How long a button works after its message was written.
pub const LIFE: Span = Span::hours(24);
/// Bytes of a key.
pub const KEY_BYTES: usize = 32;
const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
const VERSION: u8 = 1;
const PASS: u8 = b'p';
const HEAD_BYTES: usize = 11;
const SIGNATURE_BYTES: usize = 16;
const TEXT_BYTES_MAX: usize = 1024;

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn now() -> Moment {
        Moment::parse("2026-03-01T06:15:00Z").unwrap()
    }

    fn claim() -> Claim {
        Claim {
            finding: FindingId("pepper/low-now/1772345700".to_owned()),
            person: PersonName::new("owner").unwrap(),
            verdict: Verdict::Taken,
            expires: now() + LIFE,
        }
    }

    #[test]
    fn the_text_is_that_of_rfc_4648() {
        // Section 10, test vectors, without the padding; section 5 for the last two letters.
        let known = [
            ("", ""),
            ("f", "Zg"),
            ("fo", "Zm8"),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg"),
            ("foobar", "Zm9vYmFy"),
        ];
        for (bytes, text) in known {
            assert_eq!(to_text(bytes.as_bytes()), text);
            assert_eq!(from_text(text).unwrap(), bytes.as_bytes());
        }
        assert_eq!(to_text(&[0xfb, 0xff]), "-_8");
        for bad in ["Z", "Zh", "Zm9", "Zg==", "Zm 9", "+/8"] {
            assert_eq!(from_text(bad), None, "{bad}");
        }
    }

    #[test]
    fn the_signature_is_that_of_rfc_4231() {
        // RFC 4231 section 4.3, test case 2 has a shorter key; 4.2, padded with zeros as HMAC itself pads it.
        let mut bytes = [0; KEY_BYTES];
        bytes[..20].fill(0x0b);
        let signature = Key::new(bytes).mac(b"Hi There").finalize().into_bytes();
        assert_eq!(signature[..8], [0xb0, 0x34, 0x4c, 0x61, 0xd8, 0xdb, 0x38, 0x53]);
    }

    #[test]
    fn a_token_lasts_until_its_end_and_no_longer() {
        let key = Key::new([7; 32]);
        let token = key.sign(&claim());
        assert!(token.len() < 120, "{} letters", token.len());
        assert_eq!(key.verify(&token, now() + LIFE), Ok(claim()));
        assert_eq!(key.verify(&token, now() + LIFE + Span::seconds(1)), Err(TokenError::Expired));
        assert_eq!(Key::new([8; 32]).verify(&token, now()), Err(TokenError::Forged));
        assert_eq!(format!("{key:?}"), "(secret)");
    }

    #[test]
    fn a_pass_cannot_be_made_longer_or_out_of_a_button() {
        let key = Key::new([7; 32]);
        let pass = from_text(&key.pass("secret words", now())).unwrap();
        let longer =
            [(now() + LIFE).millis().wrapping_div(1000).to_be_bytes().as_slice(), &pass[8..]].concat();
        let cut = &pass[..pass.len() - 1];
        for forged in [to_text(&longer), to_text(cut), to_text(&pass[..8]), key.sign(&claim()), String::new()]
        {
            assert!(!key.admits(&forged, "secret words", now()), "{forged}");
        }
        assert!(key.admits(&to_text(&pass), "secret words", now()));
        assert!(!Key::new([8; 32]).admits(&to_text(&pass), "secret words", now()));
        assert_eq!(key.verify(&to_text(&pass), now()), Err(TokenError::Forged));
        assert!(key.same("secret words", "secret words") && !key.same("secret words", "secret word"));
    }

    #[test]
    fn the_end_of_one_token_does_not_fit_another_persons_or_findings() {
        let key = Key::new([7; 32]);
        let mine = from_text(&key.sign(&claim())).unwrap();
        let signature = &mine[mine.len() - SIGNATURE_BYTES..];
        let sitter = Claim { person: PersonName::new("sitter").unwrap(), ..claim() };
        let other = Claim { finding: FindingId("pepper/low-now/1772345701".to_owned()), ..claim() };
        let later = Claim { verdict: Verdict::Later, ..claim() };
        let longer = Claim { expires: now() + LIFE + LIFE, ..claim() };
        for swapped in [sitter, other, later, longer] {
            let forged = to_text(&[&packed(&swapped), signature].concat());
            assert_eq!(key.verify(&forged, now()), Err(TokenError::Forged), "{swapped:?}");
        }
    }

    proptest! {
        #[test]
        fn nothing_from_outside_is_believed_or_breaks_it(text in ".{0,200}", letters in "[A-Za-z0-9_-]{0,200}") {
            let key = Key::new([7; 32]);
            prop_assert!(key.verify(&text, now()).is_err());
            prop_assert!(key.verify(&letters, now()).is_err());
        }

        #[test]
        fn what_was_signed_is_what_is_read(finding in ".{0,80}", name in "[a-z]{1,20}", seconds in 0_i64..4_000_000_000) {
            let key = Key::new([7; 32]);
            let claim = Claim {
                finding: FindingId(finding),
                person: PersonName::new(&name).unwrap(),
                verdict: Verdict::SensorFine,
                expires: Moment::from_millis(seconds * 1000),
            };
            let token = key.sign(&claim);
            prop_assert_eq!(key.verify(&token, claim.expires), Ok(claim));
        }
    }
}
