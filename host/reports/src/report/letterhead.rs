//! What stands of the shop at the head of a document: name, address, logo. A logo that can't be used is left out;
//! [`super::Shop::check_logo`] says why.

use super::Shop;
use super::logo::Logo;
use super::text::{LABEL, plain};

/// Lines of an address that are shown; a letterhead has no room for more.
const MOST_LINES: usize = 8;

/// A shop, made harmless.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letterhead {
    /// Name; may be empty.
    pub name: String,
    /// Address, line by line.
    pub address: Vec<String>,
    /// Its logo, where it has a usable one.
    pub logo: Option<Logo>,
}

impl Letterhead {
    /// What there is of a shop; none when it is empty.
    pub fn of(shop: &Shop) -> Option<Self> {
        let address = shop.address.iter().map(|l| plain(l, LABEL)).filter(|l| !l.is_empty()).take(MOST_LINES);
        let head = Self {
            name: plain(&shop.name, LABEL),
            address: address.collect(),
            logo: shop.logo.as_deref().and_then(|bytes| Logo::read(bytes).ok()),
        };
        let empty = head.name.is_empty() && head.address.is_empty() && head.logo.is_none();
        (!empty).then_some(head)
    }
}
