//! The last 32 bytes of a result file: a checksum over all the others.
//!
//! HDF5 has checksums for metadata and chunks but none for its global heap, and with a
//! flipped byte there the library was seen to crash (1.10.8). So a file is only handed
//! to the library once its seal fits. HDF5 readers ignore what follows the end of the
//! file that its first block gives.

/// Words, length of what is sealed (u64, little endian), checksum (the same).
const WORDS: &[u8; 16] = b"holdpoint seal 1";
const LENGTH: usize = 32;

/// FNV-1a, 64 bit (IETF draft-eastlake-fnv): any change of a single byte changes it.
fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, byte| {
        (sum ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// Appends the seal.
pub(super) fn add(bytes: &mut Vec<u8>) {
    let (length, sum) = (bytes.len() as u64, checksum(bytes));
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

pub(super) fn check(bytes: &[u8]) -> Seal {
    let Some((body, seal)) = bytes.split_last_chunk::<LENGTH>() else { return Seal::Missing };
    let (length, sum) = (body.len() as u64, checksum(body));
    if seal[..16] != WORDS[..] {
        Seal::Missing
    } else if seal[16..24] == length.to_le_bytes() && seal[24..] == sum.to_le_bytes() {
        Seal::Whole
    } else {
        Seal::Broken
    }
}

#[cfg(test)]
mod tests {
    use super::{Seal, add, check, checksum};

    #[test]
    fn published_value() {
        // Test vector of the draft: FNV-1a 64 of "foobar".
        assert_eq!(checksum(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn every_changed_byte_and_every_cut_is_seen() {
        let mut bytes = b"some bytes \x00\xff".to_vec();
        add(&mut bytes);
        assert_eq!(check(&bytes), Seal::Whole);
        for k in 0..bytes.len() {
            assert_ne!(check(&bytes[..k]), Seal::Whole);
            let mut bad = bytes.clone();
            bad[k] ^= 0x40;
            assert_ne!(check(&bad), Seal::Whole, "byte {k}");
        }
    }
}
