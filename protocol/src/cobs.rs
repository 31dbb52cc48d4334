//! Consistent overhead byte stuffing (Cheshire & Baker, 1999) on slices. It knows no frames and no delimiters.
//!
//! A run of non-zero bytes is sent behind one code byte: its length plus one. A code below 0xFF stands for "the run,
//! then a zero"; 0xFF for "254 bytes, no zero". The zero after the last run is not part of the contents.

/// Code byte of a full run, which no zero follows.
const FULL: u8 = 0xFF;
/// Most bytes behind one code.
const RUN: usize = 254;
/// A run is copied as blocks of this length where there is room behind it: no call, no branch per byte.
const BLOCK: usize = 64;

/// Longest encoding of `n` bytes, without a delimiter.
pub const fn max_encoded(n: usize) -> usize {
    n + n.div_ceil(RUN) + (n == 0) as usize
}

/// Stuffs `raw` into `out` without a delimiter; its length, or `None` when `out` is too small.
pub fn encode(raw: &[u8], out: &mut [u8]) -> Option<usize> {
    let mut rest = raw;
    let mut written = 0;
    loop {
        let window = &rest[..rest.len().min(RUN)];
        let run = memchr::memchr(0, window).unwrap_or(window.len());
        let block = out.get_mut(written..written + 1 + run)?;
        block[0] = run as u8 + 1;
        block[1..].copy_from_slice(&rest[..run]);
        written += 1 + run;
        if run == rest.len() {
            return Some(written);
        }
        // A full run takes no zero with it; any other has just found one.
        rest = &rest[if run == RUN { run } else { run + 1 }..];
    }
}

/// Unstuffs `bytes` in place (no delimiter inside); the length of what it held, or `None` when it is not a valid encoding:
/// empty, with a zero in it, or with a code that points beyond its end.
pub fn decode_in_place(bytes: &mut [u8]) -> Option<usize> {
    if bytes.is_empty() || memchr::memchr(0, bytes).is_some() {
        return None;
    }
    let (mut at, mut len) = (0, 0);
    while let Some(&code) = bytes.get(at) {
        let end = at + usize::from(code);
        if end > bytes.len() {
            return None;
        }
        bytes.copy_within(at + 1..end, len);
        len += end - at - 1;
        at = end;
        if code != FULL && at < bytes.len() {
            bytes[len] = 0;
            len += 1;
        }
    }
    Some(len)
}

/// Unstuffs `encoded`, which holds no zero, into `out`; the length, or `None` when it is not a valid encoding or `out` is
/// smaller than `encoded`. May write beyond the length it returns.
pub(crate) fn decode_without_zeros(encoded: &[u8], out: &mut [u8]) -> Option<usize> {
    if encoded.is_empty() || out.len() < encoded.len() {
        return None;
    }
    let (mut rest, mut len) = (encoded, 0);
    while let Some((&code, tail)) = rest.split_first() {
        let run = usize::from(code).checked_sub(1)?;
        let to = out.get_mut(len..)?;
        let blocks = run.div_ceil(BLOCK);
        match (tail.get(..blocks * BLOCK), to.get_mut(..blocks * BLOCK)) {
            (Some(from), Some(to)) => {
                for (to, from) in to.as_chunks_mut::<BLOCK>().0.iter_mut().zip(from.as_chunks::<BLOCK>().0) {
                    *to = *from;
                }
            }
            _ => to.get_mut(..run)?.copy_from_slice(tail.get(..run)?),
        }
        len += run;
        rest = &tail[run..];
        if code != FULL && !rest.is_empty() {
            *out.get_mut(len)? = 0;
            len += 1;
        }
    }
    Some(len)
}
