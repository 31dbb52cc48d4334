//! A shop's logo: read, bounded, and rebuilt from what is known to be harmless, so that nothing else of the file reaches a
//! document. It does not know where it is shown.
//!
//! - `png`: pixels.
//! - `svg`: shapes.

mod png;
mod svg;

pub use svg::tree;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

/// Largest file, bytes.
pub const MOST_BYTES: usize = 1 << 20;
/// Most pixels of a side.
pub const MOST_PIXELS: u32 = 4096;

/// Why a file is no logo that can be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LogoError {
    /// Too many bytes.
    #[error("the logo has {0} bytes, more than {MOST_BYTES}; give a smaller PNG or SVG")]
    TooLarge(usize),
    /// Neither of the two formats.
    #[error("the logo is neither PNG nor SVG; save it as one of them")]
    UnknownFormat,
    /// More pixels than a logo needs.
    #[error("the logo has {0} × {1} pixels; 1 to {MOST_PIXELS} a side are allowed; make it smaller")]
    Pixels(u32, u32),
    /// A PNG that can't be decoded.
    #[error("the logo's PNG is damaged ({0}); save it anew")]
    BrokenPng(String),
    /// An SVG that is no XML, or too deep, or brings entities.
    #[error("the logo's SVG can't be read ({0}); save it as plain SVG without a DOCTYPE")]
    BrokenSvg(String),
    /// An SVG with what a still picture does not need.
    #[error(
        "the logo's SVG holds {0}, which is not allowed in a document; save it as plain SVG: shapes alone, text as paths"
    )]
    NotAllowed(String),
}

/// A logo that may stand in a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Logo {
    /// Pixels.
    Png {
        /// The file, rebuilt from its chunks of pixels and colours.
        file: Vec<u8>,
        /// Width and height, pixels.
        size: (u32, u32),
        /// Red, green, blue, opacity of each pixel.
        rgba: Vec<u8>,
    },
    /// Shapes.
    Svg {
        /// The picture, written anew from the shapes that it draws.
        text: String,
    },
}

impl Logo {
    /// Reads a PNG or an SVG.
    ///
    /// # Errors
    /// Too large, damaged, or with more in it than a still picture needs: scripts, references, foreign content, entities.
    pub fn read(bytes: &[u8]) -> Result<Self, LogoError> {
        if bytes.len() > MOST_BYTES {
            return Err(LogoError::TooLarge(bytes.len()));
        }
        if bytes.starts_with(png::SIGNATURE) {
            return png::read(bytes);
        }
        let text = std::str::from_utf8(bytes).map_err(|_| LogoError::UnknownFormat)?;
        let begins = text.trim_start_matches('\u{feff}').trim_start();
        if !begins.starts_with('<') {
            return Err(LogoError::UnknownFormat);
        }
        Ok(Self::Svg { text: svg::rebuilt(begins)? })
    }

    /// For the `src` of a picture that brings its data along.
    pub fn data_url(&self) -> String {
        match self {
            Self::Png { file, .. } => format!("data:image/png;base64,{}", STANDARD.encode(file)),
            Self::Svg { text } => format!("data:image/svg+xml;base64,{}", STANDARD.encode(text)),
        }
    }
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
