//! Consistent overhead byte stuffing (Cheshire & Baker, 1999) on slices.

/// Longest encoding of `n` bytes, without a delimiter.
pub const fn max_encoded(n: usize) -> usize {
    n + n.div_ceil(254) + (n == 0) as usize
}

/// Stuffs `raw` into `out` without a delimiter; its length, or `None` when `out` is too small.
pub fn encode(raw: &[u8], out: &mut [u8]) -> Option<usize> {
    let _ = (raw, out);
    unimplemented!()
}

/// Unstuffs `bytes[..]` in place (no delimiter inside); the length of what it held, or `None` when it is no valid encoding.
pub fn decode_in_place(bytes: &mut [u8]) -> Option<usize> {
    let _ = bytes;
    unimplemented!()
}
