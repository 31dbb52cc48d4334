//! Who hands a report over: the shop's own words and logo, as its configuration gives them. Made harmless where they are shown.

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

/// Size of the paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 × 11 in (ANSI A).
    Letter,
}
