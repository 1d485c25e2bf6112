//! Valid input, spoilt: cut off, with pieces taken out, put in twice, or replaced by what tends to break readers. The
//! same each time; `LOWTIDE_ROUNDS=20 LOWTIDE_SEED=7 cargo test --test hostile` goes on with twenty times as many others.

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{RngSeed, TestRunner};

fn number(name: &str, usual: u32) -> u32 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

/// As many rounds as usual, or as many times more as somebody asked for; always the same ones for the same seed.
pub fn rounds(usual: u32) -> ProptestConfig {
    ProptestConfig {
        cases: usual * number("LOWTIDE_ROUNDS", 1),
        rng_seed: RngSeed::Fixed(number("LOWTIDE_SEED", 1).into()),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// So many draws, for a door that is opened once for all of them.
pub fn drawn<S: Strategy>(strategy: S, usual: u32) -> Vec<S::Value> {
    let config = rounds(usual);
    let mut runner = TestRunner::new(config.clone());
    (0..config.cases).map(|_| strategy.new_tree(&mut runner).unwrap().current()).collect()
}

/// What tends to break readers: numbers at their ends, times that do not exist, control characters, deep nesting, what
/// shells, tables, mail and HTTP take as commands.
pub fn nasty() -> impl Strategy<Value = Vec<u8>> {
    let pieces: Vec<Vec<u8>> = [
        "",
        "0",
        "-0",
        "-1",
        "1e999",
        "-1e999",
        "1e-400",
        "NaN",
        "Infinity",
        "null",
        "true",
        "\"\"",
        "{}",
        "[]",
        "18446744073709551616",
        "-9223372036854775808",
        "9007199254740993",
        "0x7fffffff",
        "0.000000000000000000000000000000000000000000000000000000001",
        "2026-02-30T00:00:00Z",
        "9999-12-31T23:59:60Z",
        "+262142-12-31T23:59:59Z",
        "-262143-01-01T00:00:00Z",
        "0000-00-00T00:00:00Z",
        "0001-01-01T00:00:00Z",
        "1970-01-01T00:00:00+99:99",
        "2026-03-29 02:30",
        "=1+1",
        "@SUM(A1)",
        "+cmd|' /C calc'!A0",
        "-2+3",
        "\t=1",
        "\r\nBcc: a@b.example\r\n\r\n",
        "%0d%0aX: y",
        "\0",
        "\u{feff}",
        "\u{202e}",
        "\u{1F408}",
        "\"",
        "'",
        "\\",
        "\\u0000",
        "\\ud800",
        ",",
        ";",
        ":",
        "\n",
        "\r",
        "../../etc/passwd",
        "/dev/zero",
        "$(reboot)",
        "`reboot`",
        "{{",
        "}}",
        "<script>",
        "lowtide/in/#",
        "+/+/+",
    ]
    .into_iter()
    .map(|text| text.as_bytes().to_vec())
    .chain([
        vec![0xff, 0xfe],
        vec![0xc3, 0x28],
        vec![0xf0, 0x80, 0x80, 0x80],
        vec![0x1f, 0x8b, 8, 0],
        vec![b'['; 5_000],
        vec![b'9'; 3_000],
        vec![b'a'; 70_000],
        b"{\"a\":".repeat(2_000),
    ])
    .collect();
    prop::sample::select(pieces)
}

/// One change. Places are shares of the length.
#[derive(Clone, Debug)]
enum Change {
    Cut(f64),
    Without(f64, usize),
    Twice(f64, usize),
    Put(f64, Vec<u8>),
    Instead(f64, usize, Vec<u8>),
    Bit(f64, u8),
}

fn change() -> impl Strategy<Value = Change> {
    let place = || 0.0..1.0_f64;
    prop_oneof![
        1 => place().prop_map(Change::Cut),
        2 => (place(), 1..20_usize).prop_map(|(at, count)| Change::Without(at, count)),
        2 => (place(), 1..200_usize).prop_map(|(at, count)| Change::Twice(at, count)),
        4 => (place(), nasty()).prop_map(|(at, piece)| Change::Put(at, piece)),
        4 => (place(), 1..24_usize, nasty()).prop_map(|(at, count, piece)| Change::Instead(at, count, piece)),
        2 => (place(), any::<u8>()).prop_map(|(at, bit)| Change::Bit(at, bit)),
    ]
}

fn apply(bytes: &mut Vec<u8>, change: &Change) {
    let length = bytes.len();
    let at = |share: f64| ((share * length as f64) as usize).min(length);
    match change {
        Change::Cut(share) => bytes.truncate(at(*share)),
        Change::Without(share, count) => drop(bytes.drain(at(*share)..(at(*share) + count).min(length))),
        Change::Twice(share, count) => {
            let piece = bytes[at(*share)..(at(*share) + count).min(length)].to_vec();
            bytes.splice(at(*share)..at(*share), piece);
        }
        Change::Put(share, piece) => drop(bytes.splice(at(*share)..at(*share), piece.iter().copied())),
        Change::Instead(share, count, piece) => {
            drop(bytes.splice(at(*share)..(at(*share) + count).min(length), piece.iter().copied()));
        }
        Change::Bit(share, bit) => {
            if let Some(byte) = bytes.get_mut(at(*share)) {
                *byte ^= 1 << (bit % 8);
            }
        }
    }
}

/// One of the samples with one to six changes.
pub fn mutated(samples: Vec<Vec<u8>>) -> impl Strategy<Value = Vec<u8>> {
    let changes = prop::collection::vec(change(), 1..6);
    (prop::sample::select(samples), changes).prop_map(|(mut bytes, changes)| {
        changes.iter().for_each(|change| apply(&mut bytes, change));
        bytes
    })
}
