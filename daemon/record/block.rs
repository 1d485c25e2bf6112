//! One cat's readings of one day, as the store holds them: sorted, and packed to about five bytes each.
//!
//! Days are UTC days; they only cut the history into pieces of bounded size. Packed, a reading is the time since
//! the one before it, a byte that says kind and sort of value, and the value.

use crate::words::{Moment, Reading, ReadingKind, Value};

/// Number of a UTC day since 1970-01-01.
pub(super) type Day = i32;

/// The day in which an instant lies.
pub(super) fn day_of(moment: Moment) -> Day {
    i32::try_from(moment.millis().div_euclid(DAY_MILLIS)).expect("moments end with the year 9999")
}

/// Readings of one day, sorted by time and kind. Where the source contradicted itself there are several for the
/// same time and kind; the first of them came first and is the one that counts.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Block(Vec<Reading>);

/// How a reading compares with what is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Fit {
    /// Nothing is held for that time and kind.
    New,
    /// It is held.
    Repeated,
    /// Another value came first.
    Conflict(Value),
}

impl Block {
    /// Compares a reading with what is held.
    pub(super) fn fit(&self, reading: &Reading) -> Fit {
        let (start, end) = self.place(reading);
        match self.0.get(start..end) {
            None | Some([]) => Fit::New,
            Some(held) if held.iter().any(|held| held.value == reading.value) => Fit::Repeated,
            Some([first, ..]) => Fit::Conflict(first.value),
        }
    }

    /// Takes a reading in, unless it is held already. Gives how it compared.
    pub(super) fn put(&mut self, reading: Reading) -> Fit {
        let fit = self.fit(&reading);
        if fit != Fit::Repeated {
            let (_, end) = self.place(&reading);
            self.0.insert(end, reading);
        }
        fit
    }

    /// The readings that count: the first that came for each time and kind.
    pub(super) fn held(&self) -> impl Iterator<Item = &Reading> {
        let first = |place: &usize| *place == 0 || key(&self.0[place - 1]) != key(&self.0[*place]);
        (0..self.0.len()).filter(first).map(|place| &self.0[place])
    }

    /// From where to where the readings of the same time and kind stand.
    fn place(&self, reading: &Reading) -> (usize, usize) {
        let start = self.0.partition_point(|held| key(held) < key(reading));
        (start, start + self.0[start..].partition_point(|held| key(held) == key(reading)))
    }

    /// Packs the readings.
    pub(super) fn pack(&self, day: Day) -> Vec<u8> {
        let mut out = Vec::with_capacity(self.0.len() * 6);
        let mut before = i64::from(day) * DAY_MILLIS;
        for reading in &self.0 {
            let since = (reading.measured_at.millis() - before) as u64;
            before = reading.measured_at.millis();
            // Most sources speak in whole seconds.
            put_number(&mut out, if since.is_multiple_of(1000) { since / 1000 * 2 } else { since * 2 + 1 });
            let kind = u8::from(reading.kind == ReadingKind::Spot);
            match reading.value {
                Value::Below => out.push(BELOW | kind),
                Value::Above => out.push(ABOVE | kind),
                Value::Level(level) if level.fract() == 0.0 && (0.0..65536.0).contains(&level) => {
                    out.push(WHOLE | kind);
                    put_number(&mut out, level as u64);
                }
                Value::Level(level) => {
                    out.push(EXACT | kind);
                    out.extend_from_slice(&level.to_le_bytes());
                }
            }
        }
        out
    }

    /// Unpacks what `pack` gave. `None` if it is something else.
    pub(super) fn unpack(day: Day, mut bytes: &[u8]) -> Option<Self> {
        let mut readings = Vec::with_capacity(bytes.len() / 4);
        let mut at = i64::from(day) * DAY_MILLIS;
        while !bytes.is_empty() {
            let since = take_number(&mut bytes)?;
            let since = if since.is_multiple_of(2) { (since / 2).checked_mul(1000)? } else { since / 2 };
            at = at.checked_add(i64::try_from(since).ok()?)?;
            let (tag, rest) = bytes.split_first()?;
            bytes = rest;
            let value = match tag & !1 {
                BELOW => Value::Below,
                ABOVE => Value::Above,
                WHOLE => Value::Level(take_number(&mut bytes)? as f64),
                EXACT => {
                    let (level, rest) = bytes.split_first_chunk::<8>()?;
                    bytes = rest;
                    Value::Level(f64::from_le_bytes(*level))
                }
                _ => return None,
            };
            let kind = if tag & 1 == 1 { ReadingKind::Spot } else { ReadingKind::History };
            let measured_at = Moment::from_millis(at);
            readings.push(Reading { measured_at, value, kind });
        }
        let sorted = readings.is_sorted_by(|a, b| key(a) <= key(b));
        let inside = readings.iter().all(|reading| day_of(reading.measured_at) == day);
        let finite = readings.iter().all(|reading| reading.value.level().is_none_or(f64::is_finite));
        (sorted && inside && finite).then_some(Self(readings))
    }
}

fn key(reading: &Reading) -> (Moment, ReadingKind) {
    (reading.measured_at, reading.kind)
}

/// Seven bits a byte, the lowest first, the top bit set while more follow (as in LEB128).
fn put_number(out: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        out.push((number & 0x7f) as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

fn take_number(bytes: &mut &[u8]) -> Option<u64> {
    let mut number = 0_u64;
    for place in 0..9 {
        let (byte, rest) = bytes.split_first()?;
        *bytes = rest;
        number |= u64::from(byte & 0x7f) << (7 * place);
        if byte & 0x80 == 0 {
            return Some(number);
        }
    }
    None
}

const DAY_MILLIS: i64 = 86_400_000;
const BELOW: u8 = 0;
const ABOVE: u8 = 2;
const WHOLE: u8 = 4;
const EXACT: u8 = 6;

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(seconds: i64, value: Value) -> Reading {
        Reading { measured_at: Moment::from_millis(seconds * 1000), value, kind: ReadingKind::History }
    }

    #[test]
    fn numbers_are_packed_as_the_published_example_of_leb128_says() {
        // DWARF Debugging Information Format 4, section 7.6, figure 22: 127, 128, 12857.
        for (number, bytes) in [(127, vec![0x7f]), (128, vec![0x80, 1]), (12857, vec![0xb9, 0x64])] {
            let mut out = Vec::new();
            put_number(&mut out, number);
            assert_eq!(out, bytes);
            assert_eq!(take_number(&mut out.as_slice()), Some(number));
        }
    }

    #[test]
    fn a_day_comes_back_as_it_was_packed() {
        let mut block = Block::default();
        for (seconds, value) in [
            (-10, Value::Level(95.48268)),
            (-86_400, Value::Below),
            (-900, Value::Above),
            (-900, Value::Level(0.5)),
            (-901, Value::Level(2000.0)),
        ] {
            block.put(reading(seconds, value));
        }
        let spot = Reading {
            measured_at: Moment::from_millis(-899_999),
            value: Value::Level(81.0),
            kind: ReadingKind::Spot,
        };
        block.put(spot);
        assert_eq!(Block::unpack(-1, &block.pack(-1)), Some(block.clone()));
        assert_eq!(block.held().count(), 5);
    }

    #[test]
    fn a_usual_day_packs_to_under_six_bytes_a_reading() {
        let mut block = Block::default();
        for sample in 0..96 {
            block.put(reading(sample * 900, Value::Level(60.0 + sample as f64 * 3.0)));
        }
        assert!(block.pack(0).len() < 96 * 6, "{}", block.pack(0).len());
    }

    #[test]
    fn what_came_first_counts_and_the_rest_is_kept() {
        let mut block = Block::default();
        assert_eq!(block.put(reading(0, Value::Level(100.0))), Fit::New);
        assert_eq!(block.put(reading(0, Value::Level(101.0))), Fit::Conflict(Value::Level(100.0)));
        assert_eq!(block.put(reading(0, Value::Level(101.0))), Fit::Repeated);
        assert_eq!(block.held().copied().collect::<Vec<_>>(), [reading(0, Value::Level(100.0))]);
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_unpacking_panic(bytes: Vec<u8>, day in -700_000..2_900_000) {
            if let Some(block) = Block::unpack(day, &bytes) {
                assert_eq!(Block::unpack(day, &block.pack(day)), Some(block));
            }
        }
    }
}
