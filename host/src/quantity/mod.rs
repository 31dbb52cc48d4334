//! Names and units of what is measured: the vocabulary every other layer shares.

mod channel;
mod figure;
pub mod rounding;
mod unit;

pub use channel::Channel;
pub use figure::{FigureName, FindingKind};
pub use unit::Unit;
