//! Who hands a report over: the shop's own words and logo, as its configuration gives them. Made harmless where they are shown.

use super::logo::{Logo, LogoError};

/// A shop. Everything may be empty.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Shop {
    /// Name; hostile text possible.
    pub name: String,
    /// Address, line by line; hostile text possible.
    pub address: Vec<String>,
    /// Bytes of a logo file: PNG or SVG; anything possible.
    pub logo: Option<Vec<u8>>,
}

impl Shop {
    /// Whether documents will show its logo; a shop without one is in order.
    ///
    /// # Errors
    /// Why documents are made without it.
    pub fn check_logo(&self) -> Result<(), LogoError> {
        self.logo.as_deref().map_or(Ok(()), |bytes| Logo::read(bytes).map(drop))
    }
}

/// Size of the paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 × 11 in (ANSI A).
    Letter,
}

impl Paper {
    /// Width and height, points (1/72 in).
    pub const fn points(self) -> (f32, f32) {
        match self {
            Self::A4 => (595.276, 841.89),
            Self::Letter => (612.0, 792.0),
        }
    }
}
