//! CRC-32/AUTOSAR over frame contents. Of the common 32-bit polynomials it keeps a Hamming distance of 6 up to 4,092 bytes.
//!
//! Eight bytes at a time by eight table look-ups ("slicing by 8": M. E. Kounavis and F. L. Berry, IEEE Transactions on
//! Computers 57(11), 2008), in three interleaved lanes, so that a look-up need not wait for the one before. A host builds with the feature
//! `simd`: there the CRC of bytes that are all at hand comes from the processor's carry-less multiplication.

/// Polynomial 0xF4ACFB13, reflected, as the register shifts right.
const POLYNOMIAL: u32 = 0xF4AC_FB13_u32.reverse_bits();
/// Bytes of one look-up.
const WORD: usize = 8;
/// Words that are looked up independently of each other.
const LANES: usize = 3;
/// Bytes of one round of all lanes.
const ROUND: usize = LANES * WORD;

/// `tables[k][v]` is what byte `v` leaves in the register after `k` zero bytes more than the tables' first.
type Tables = [[u32; 256]; WORD];

// Statics, not constants: the tables must exist once, never as a copy on a caller's stack.
/// For a word that the next bytes follow.
static NEXT: Tables = tables(0);
/// For a word of one lane: the other lanes' words follow before the lane goes on.
static LANE: Tables = tables(ROUND - WORD);

/// CRC-32/AUTOSAR of `bytes`.
pub fn crc32(bytes: &[u8]) -> u32 {
    #[cfg(feature = "simd")]
    {
        crc_fast::checksum(crc_fast::CrcAlgorithm::Crc32Autosar, bytes) as u32
    }
    #[cfg(not(feature = "simd"))]
    {
        let mut crc = Crc32::new();
        crc.update(bytes);
        crc.value()
    }
}

/// CRC-32/AUTOSAR of bytes that come piece by piece.
#[derive(Clone, Copy, Debug)]
pub struct Crc32 {
    register: u32,
}

impl Crc32 {
    /// Of nothing yet.
    pub const fn new() -> Self {
        Self { register: !0 }
    }

    /// Takes more bytes.
    pub fn update(&mut self, bytes: &[u8]) {
        let (rounds, rest) = bytes.as_chunks::<ROUND>();
        let mut register = self.register;
        if let Some((last, rounds)) = rounds.split_last() {
            let mut lanes = [register, 0, 0];
            for round in rounds {
                for (lane, word) in lanes.iter_mut().zip(round.as_chunks().0) {
                    *lane = look_up(&LANE, *lane, word);
                }
            }
            // The lanes meet in the last round, word after word.
            register = 0;
            for (lane, word) in lanes.iter().zip(last.as_chunks().0) {
                register = look_up(&NEXT, register ^ lane, word);
            }
        }
        let (words, rest) = rest.as_chunks();
        for word in words {
            register = look_up(&NEXT, register, word);
        }
        for &byte in rest {
            register = shift_byte(register ^ u32::from(byte), &NEXT[0]);
        }
        self.register = register;
    }

    /// The CRC of all that came.
    pub const fn value(self) -> u32 {
        !self.register
    }
}

impl Default for Crc32 {
    fn default() -> Self {
        Self::new()
    }
}

/// The register after one word more, by the tables of what follows it.
#[inline(always)]
fn look_up(tables: &Tables, register: u32, word: &[u8; WORD]) -> u32 {
    let [a, b, c, d, e, f, g, h] = (u64::from_le_bytes(*word) ^ u64::from(register)).to_le_bytes();
    let first = tables[7][usize::from(a)] ^ tables[6][usize::from(b)];
    let second = tables[5][usize::from(c)] ^ tables[4][usize::from(d)];
    let third = tables[3][usize::from(e)] ^ tables[2][usize::from(f)];
    let fourth = tables[1][usize::from(g)] ^ tables[0][usize::from(h)];
    (first ^ second) ^ (third ^ fourth)
}

/// The register after its lowest byte has been shifted out.
const fn shift_byte(register: u32, table: &[u32; 256]) -> u32 {
    table[(register & 0xFF) as usize] ^ register >> 8
}

/// The tables whose first is for a byte that `first` zero bytes follow.
const fn tables(first: usize) -> Tables {
    let by_byte = byte_table();
    let mut table = by_byte;
    let mut tables = [[0; 256]; WORD];
    let mut zeros = 0;
    while zeros < first + WORD {
        if zeros >= first {
            tables[zeros - first] = table;
        }
        let mut value = 0;
        while value < 256 {
            table[value] = shift_byte(table[value], &by_byte);
            value += 1;
        }
        zeros += 1;
    }
    tables
}

/// What each byte leaves in the register, bit by bit.
const fn byte_table() -> [u32; 256] {
    let mut table = [0; 256];
    let mut value = 0;
    while value < 256 {
        let (mut register, mut bit) = (value as u32, 0);
        while bit < 8 {
            register = if register & 1 == 1 { register >> 1 ^ POLYNOMIAL } else { register >> 1 };
            bit += 1;
        }
        table[value] = register;
        value += 1;
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_once_and_piece_by_piece_are_those_of_the_crc_crate() {
        let peer = crc::Crc::<u32>::new(&crc::CRC_32_AUTOSAR);
        let bytes: [u8; 1100] = core::array::from_fn(|k| (k * k / 7 + k) as u8);
        for end in (0..200).chain([255, 256, 257, 1023, 1024, 1025, 1100]) {
            let expected = peer.checksum(&bytes[..end]);
            assert_eq!(crc32(&bytes[..end]), expected, "{end} bytes at once");
            for cut in [0, 1, 7, 8, 24, 100] {
                let (front, back) = bytes[..end].split_at(cut.min(end));
                let mut crc = Crc32::default();
                crc.update(front);
                crc.update(back);
                assert_eq!(crc.value(), expected, "{end} bytes, cut at {cut}");
            }
        }
    }
}
