//! Compressed files, by RFC 1952, several members one after another included. What they unpack to is bounded: a
//! few kilobytes can hold gigabytes of zeros.

use std::io::Read;

use flate2::read::MultiGzDecoder;

use super::FileError;

/// Whether the bytes start as a compressed file does.
pub(super) fn is_gzip(bytes: &[u8]) -> bool {
    bytes.starts_with(&[0x1F, 0x8B])
}

/// The bytes inside, at most `limit`.
///
/// # Errors
/// If it is damaged, cut off, or holds more.
pub(super) fn unpacked(bytes: &[u8], limit: u64) -> Result<Vec<u8>, FileError> {
    let mut out = Vec::new();
    // One byte more than allowed tells "just fits" from "too big".
    MultiGzDecoder::new(bytes)
        .take(limit.saturating_add(1))
        .read_to_end(&mut out)
        .map_err(|error| FileError::Broken(format!("the compressed file is damaged or cut off: {error}")))?;
    if out.len() as u64 > limit {
        return Err(FileError::TooBig { found: out.len() as u64, limit });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::Compression;
    use flate2::write::GzEncoder;
    use std::io::Write;

    fn packed(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    }

    /// Made by `printf 'a,b\n' | gzip -n9` (GNU gzip 1.12).
    const BY_GNU_GZIP: &[u8] = &[
        0x1f, 0x8b, 0x08, 0x00, 0x00, 0x00, 0x00, 0x00, 0x02, 0x03, 0x4b, 0xd4, 0x49, 0xe2, 0x02, 0x00, 0xc5,
        0x10, 0x97, 0x24, 0x04, 0x00, 0x00, 0x00,
    ];

    #[test]
    fn what_another_program_packed_is_unpacked() {
        assert_eq!(unpacked(BY_GNU_GZIP, 100).unwrap(), b"a,b\n");
    }

    #[test]
    fn two_members_are_one_file() {
        assert_eq!(unpacked(&[packed(b"a"), packed(b"b")].concat(), 100).unwrap(), b"ab");
    }

    #[test]
    fn a_bomb_stops_at_the_limit() {
        let bomb = packed(&vec![0; 10_000_000]);
        assert!(bomb.len() < 20_000);
        assert_eq!(unpacked(&bomb, 1000), Err(FileError::TooBig { found: 1001, limit: 1000 }));
        assert_eq!(unpacked(&packed(&[7; 1000]), 1000).unwrap().len(), 1000);
    }

    #[test]
    fn a_file_cut_off_is_refused() {
        let whole = packed(b"measured_at,glucose\n");
        assert!(unpacked(&whole[..whole.len() - 5], 100).unwrap_err().to_string().contains("cut off"));
    }
}
