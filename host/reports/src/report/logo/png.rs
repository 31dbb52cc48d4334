//! A PNG (W3C PNG specification): its header is bounded before anything is decoded, and only chunks of pixels and colours are kept.

use super::{Logo, LogoError, MOST_PIXELS};
use png::{ColorType, Decoder, Limits, Transformations};
use std::io::Cursor;

/// What every PNG begins with (section 5.2).
pub(super) const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Chunks that pixels need (sections 11.2 and 11.3.1); what else a file may bring is left behind.
const KEPT: [&[u8]; 5] = [b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"];

/// Memory that decoding may take, bytes: four a pixel of the largest, and as much again.
const MEMORY: usize = 8 * (MOST_PIXELS as usize) * (MOST_PIXELS as usize);

pub(super) fn read(bytes: &[u8]) -> Result<Logo, LogoError> {
    let size = bounded_size(bytes)?;
    let broken = |e: png::DecodingError| LogoError::BrokenPng(e.to_string());
    let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), Limits { bytes: MEMORY });
    decoder.set_transformations(Transformations::normalize_to_color8() | Transformations::ALPHA);
    let mut reader = decoder.read_info().map_err(broken)?;
    let needed = reader.output_buffer_size().ok_or(LogoError::Pixels(size.0, size.1))?;
    let mut pixels = vec![0; needed];
    let frame = reader.next_frame(&mut pixels).map_err(broken)?;
    pixels.truncate(frame.buffer_size());
    let rgba = match frame.color_type {
        ColorType::Rgba => pixels,
        ColorType::GrayscaleAlpha => pixels.chunks_exact(2).flat_map(|p| [p[0], p[0], p[0], p[1]]).collect(),
        other => return Err(LogoError::BrokenPng(format!("unexpected colours {other:?}"))),
    };
    Ok(Logo::Png { file: kept(bytes), size, rgba })
}

/// Width and height that the header claims (section 11.2.1).
fn bounded_size(bytes: &[u8]) -> Result<(u32, u32), LogoError> {
    let number = |at: usize| {
        let four = bytes.get(at..at + 4).and_then(|b| <[u8; 4]>::try_from(b).ok());
        four.map(u32::from_be_bytes).ok_or_else(|| LogoError::BrokenPng("it ends in its header".to_owned()))
    };
    let (width, height) = (number(16)?, number(20)?);
    let allowed = 1..=MOST_PIXELS;
    if !allowed.contains(&width) || !allowed.contains(&height) {
        return Err(LogoError::Pixels(width, height));
    }
    Ok((width, height))
}

/// The file with its needed chunks alone. It was decoded before, so its chunks are whole.
fn kept(bytes: &[u8]) -> Vec<u8> {
    let mut out = SIGNATURE.to_vec();
    let mut rest = &bytes[SIGNATURE.len()..];
    while let Some((length, _)) = rest.split_first_chunk::<4>() {
        let whole = 12_usize.saturating_add(u32::from_be_bytes(*length) as usize);
        let Some((chunk, after)) = rest.split_at_checked(whole) else { break };
        if KEPT.contains(&&chunk[4..8]) {
            out.extend_from_slice(chunk);
        }
        if &chunk[4..8] == b"IEND" {
            break;
        }
        rest = after;
    }
    out
}
