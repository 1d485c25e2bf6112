//! Checkpoints: the state after some entry, kept in the store together with everything else the store should
//! hold at that entry, as one batch. Comes in: the state. Goes out: the state and the rest of the journal.

use std::io::Read;
use std::path::Path;

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::reader::{Place, Reader};
use super::sift::Index;
use super::store::{Change, Key, Store};
use super::{RecordError, at_path};

/// Where a checkpoint stands, and how to put its state together.
#[derive(Debug, Serialize, Deserialize)]
struct Head {
    place: Place,
    pieces: u16,
    crc: u32,
}

/// What the store had.
pub(super) enum Loaded<S> {
    /// A state, and the journal after it.
    Usable {
        /// The state.
        state: S,
        /// The journal after it.
        rest: Box<Reader>,
    },
    /// Nothing, or something that was never finished.
    Empty,
    /// A checkpoint of another version of the program.
    Outdated,
    /// A checkpoint that should be usable but is not.
    Unusable {
        /// What is wrong with it.
        why: &'static str,
    },
}

/// Everything that the store is to be given at a checkpoint.
pub(super) fn changes<S: Serialize>(
    state: &S,
    place: &Place,
    index: &Index,
) -> Result<Vec<Change>, RecordError> {
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::fast());
    serde_json::to_writer(&mut packed, state)?;
    let packed = packed.finish().map_err(serde_json::Error::io)?;
    // Small pieces, because sled puts values of more than about 128 KiB into files of their own.
    let pieces: Vec<&[u8]> = packed.chunks(PIECE_BYTES).collect();
    let head = Head {
        place: place.clone(),
        pieces: u16::try_from(pieces.len()).map_err(|_| too_big(packed.len()))?,
        crc: crc32fast::hash(&packed),
    };
    let mut changes: Vec<_> = vec![
        (Key::Version, Some(version().into_bytes())),
        (Key::Checkpoint, Some(serde_json::to_vec(&head)?)),
    ];
    let state = (0_u16..).zip(&pieces).map(|(number, piece)| (Key::State(number), Some(piece.to_vec())));
    changes.extend(state);
    // What a larger state left behind.
    let before = head_of(&index.store).map_or(0, |head| head.pieces);
    changes.extend((head.pieces..before).map(|number| (Key::State(number), None)));
    changes.extend(index.unsaved().into_iter().map(|(key, value)| (key, Some(value))));
    Ok(changes)
}

/// Loads the newest checkpoint and finds its place in the journal.
pub(super) fn load<S: DeserializeOwned>(store: &Store, journal: &Path) -> Result<Loaded<S>, RecordError> {
    match store.value(&Key::Version) {
        None => return Ok(Loaded::Empty),
        // What another version derived may not be what this one derives, so it is derived anew.
        Some(found) if found != version().as_bytes() => return Ok(Loaded::Outdated),
        Some(_) => {}
    }
    let Some(head) = head_of(store) else {
        return Ok(Loaded::Unusable { why: "it has no usable checkpoint" });
    };
    let Some(state) = state_of(store, &head) else {
        return Ok(Loaded::Unusable { why: "the state in it cannot be read" });
    };
    Ok(match Reader::after(journal, &head.place).map_err(at_path("read", journal))? {
        Some(rest) => Loaded::Usable { state, rest: Box::new(rest) },
        None => {
            Loaded::Unusable { why: "it does not go with this journal, which may have been restored or cut" }
        }
    })
}

fn head_of(store: &Store) -> Option<Head> {
    serde_json::from_slice(&store.value(&Key::Checkpoint)?).ok()
}

fn state_of<S: DeserializeOwned>(store: &Store, head: &Head) -> Option<S> {
    let mut packed = Vec::new();
    for number in 0..head.pieces {
        packed.extend(store.value(&Key::State(number))?);
    }
    if crc32fast::hash(&packed) != head.crc {
        return None;
    }
    let mut text = Vec::new();
    ZlibDecoder::new(packed.as_slice()).read_to_end(&mut text).ok()?;
    serde_json::from_slice(&text).ok()
}

fn version() -> String {
    format!("{STORE_FORMAT} {}", env!("CARGO_PKG_VERSION"))
}

fn too_big(bytes: usize) -> RecordError {
    RecordError::Store(format!("the state takes {bytes} bytes, more than a checkpoint can hold"))
}

/// Version of what the keys and values of the store mean.
const STORE_FORMAT: u32 = 2;
const PIECE_BYTES: usize = 16 * 1024;
