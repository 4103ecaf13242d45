//! The last 32 bytes of a result file: a checksum over all the others.
//!
//! HDF5 has checksums for metadata and chunks but none for its global heap, and with a
//! flipped byte there the library was seen to crash (1.10.8). So a file is only handed
//! to the library once its seal fits. HDF5 readers ignore what follows the end of the
//! file that its first block gives.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::opened::in_blocks;

/// Words, length of what is sealed (u64, little endian), checksum (the same).
const WORDS: &[u8; 16] = b"holdpoint seal 1";
const LENGTH: usize = 32;

/// The checksum of no bytes.
const EMPTY: u64 = 0xcbf2_9ce4_8422_2325;

/// FNV-1a, 64 bit (IETF draft-eastlake-fnv): any change of a single byte changes it.
/// Goes on from the checksum of what stands before.
fn checksum(before: u64, bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(before, |sum, byte| (sum ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3))
}

/// Appends the seal.
pub(super) fn add(bytes: &mut Vec<u8>) {
    let (length, sum) = (bytes.len() as u64, checksum(EMPTY, bytes));
    bytes.extend_from_slice(WORDS);
    bytes.extend_from_slice(&length.to_le_bytes());
    bytes.extend_from_slice(&sum.to_le_bytes());
}

/// What the end of a file says about it.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Seal {
    Whole,
    /// No seal: another program's file, or the end is missing.
    Missing,
    /// A seal that does not fit: something was changed.
    Broken,
}

/// Checks a file of this length, without holding it in memory.
pub(super) fn check_file(file: &mut File, length: u64) -> io::Result<Seal> {
    let Some(sealed) = length.checked_sub(LENGTH as u64) else { return Ok(Seal::Missing) };
    let mut seal = [0; LENGTH];
    file.seek(SeekFrom::Start(sealed))?;
    file.read_exact(&mut seal)?;
    if seal[..16] != WORDS[..] {
        return Ok(Seal::Missing);
    }
    let mut sum = EMPTY;
    in_blocks(file, sealed, 0, |_, block| sum = checksum(sum, block))?;
    let fits = seal[16..24] == sealed.to_le_bytes() && seal[24..] == sum.to_le_bytes();
    Ok(if fits { Seal::Whole } else { Seal::Broken })
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::{EMPTY, Seal, add, check_file, checksum};

    #[test]
    fn published_value() {
        // Test vector of the draft: FNV-1a 64 of "foobar".
        assert_eq!(checksum(EMPTY, b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn every_changed_byte_and_every_cut_is_seen() {
        let mut bytes = b"some bytes \x00\xff".to_vec();
        add(&mut bytes);
        let check = |bytes: &[u8]| {
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(bytes).unwrap();
            check_file(&mut file, bytes.len() as u64).unwrap()
        };
        assert_eq!(check(&bytes), Seal::Whole);
        for k in 0..bytes.len() {
            assert_ne!(check(&bytes[..k]), Seal::Whole);
            let mut bad = bytes.clone();
            bad[k] ^= 0x40;
            assert_ne!(check(&bad), Seal::Whole, "byte {k}");
        }
    }
}
