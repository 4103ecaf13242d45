//! Closes the first block of a file image. The library hands out an image of an open
//! file with the "open for writing" flag cleared, but (1.10 at least) leaves the checksum
//! as it was with the flag set; a reader would refuse the file.
//!
//! Layout of superblock version 3 and the checksum: HDF5 File Format Specification,
//! section II.A; the checksum is lookup3 by Jenkins (public domain, 2006).

const SIGNATURE: &[u8] = b"\x89HDF\r\n\x1a\n";
/// Bytes before the checksum, with 8-byte offsets: signature 8, version, two sizes and
/// flags 4, four addresses 32.
const COVERED: usize = 44;

/// Clears the flags and sets the checksum; says no if this is not such an image.
pub(super) fn close(image: &mut [u8]) -> Result<(), String> {
    let known = image.starts_with(SIGNATURE)
        && image.get(8).is_some_and(|version| matches!(version, 2 | 3))
        && image.get(9) == Some(&8);
    match image.get_mut(..COVERED + 4) {
        Some(block) if known => {
            block[11] = 0;
            let sum = lookup3(&block[..COVERED]);
            block[COVERED..].copy_from_slice(&sum.to_le_bytes());
            Ok(())
        }
        _ => Err("the HDF5 library wrote a first block of an unknown kind".into()),
    }
}

/// Jenkins's `hashlittle` with initial value 0.
fn lookup3(bytes: &[u8]) -> u32 {
    let start = 0xdead_beef_u32.wrapping_add(bytes.len() as u32);
    let (mut a, mut b, mut c) = (start, start, start);
    let word = |block: &[u8], k: usize| {
        let byte = |n: usize| u32::from(block.get(4 * k + n).copied().unwrap_or(0)) << (8 * n);
        byte(0) | byte(1) | byte(2) | byte(3)
    };
    let mut blocks = bytes.chunks(12).peekable();
    while let Some(block) = blocks.next() {
        a = a.wrapping_add(word(block, 0));
        b = b.wrapping_add(word(block, 1));
        c = c.wrapping_add(word(block, 2));
        if blocks.peek().is_some() {
            a = a.wrapping_sub(c) ^ c.rotate_left(4);
            c = c.wrapping_add(b);
            b = b.wrapping_sub(a) ^ a.rotate_left(6);
            a = a.wrapping_add(c);
            c = c.wrapping_sub(b) ^ b.rotate_left(8);
            b = b.wrapping_add(a);
            a = a.wrapping_sub(c) ^ c.rotate_left(16);
            c = c.wrapping_add(b);
            b = b.wrapping_sub(a) ^ a.rotate_left(19);
            a = a.wrapping_add(c);
            c = c.wrapping_sub(b) ^ b.rotate_left(4);
            b = b.wrapping_add(a);
        } else {
            c = (c ^ b).wrapping_sub(b.rotate_left(14));
            a = (a ^ c).wrapping_sub(c.rotate_left(11));
            b = (b ^ a).wrapping_sub(a.rotate_left(25));
            c = (c ^ b).wrapping_sub(b.rotate_left(16));
            a = (a ^ c).wrapping_sub(c.rotate_left(4));
            b = (b ^ a).wrapping_sub(a.rotate_left(14));
            c = (c ^ b).wrapping_sub(b.rotate_left(24));
        }
    }
    c
}

#[cfg(test)]
mod tests {
    use super::{close, lookup3};

    #[test]
    fn values_published_with_the_algorithm() {
        // Self-test values in the comments of lookup3.c (driver5), from memory.
        assert_eq!(lookup3(b""), 0xdead_beef);
        assert_eq!(lookup3(b"Four score and seven years ago"), 0x1777_0551);
    }

    #[test]
    fn anything_else_is_refused() {
        assert!(close(&mut []).is_err());
        assert!(close(&mut [0; 100]).is_err());
    }
}
