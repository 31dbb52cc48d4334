//! Names and units of what is measured: the vocabulary every other layer shares.

mod channel;
mod condition;
mod figure;
pub mod rounding;
mod unit;

pub use channel::Channel;
pub use condition::{Bridge, Condition, Heading, PartKind, Region};
pub use figure::{FigureName, FindingKind, Sign};
pub use unit::Unit;
