//! Names and units of what is measured: the vocabulary every other layer shares.
//!
//! - [`FigureName`], [`FindingKind`], [`Cause`], [`ProcedureKind`]: tables, a row each (`figures`, `findings`, `causes`, `procedures`; their form in
//!   `table`). The words about a figure anywhere come from its row.
//! - `methods`, `advice`: texts that several rows share.
//! - [`order`]: medians and other quantiles.
//! - [`Written`]: a name as a document holds it, known or not.

mod advice;
mod causes;
mod channel;
mod condition;
mod figures;
mod findings;
mod methods;
pub mod order;
mod procedures;
pub mod rounding;
mod table;
mod unit;
mod written;

pub use causes::{Cause, CauseRow};
pub use channel::Channel;
pub use condition::{Bridge, Condition, Heading, PartKind, Region};
pub use figures::{Each, FigureGroup, FigureName, FigureRow, Sign};
pub use findings::{FindingKind, FindingRow};
pub use methods::Method;
pub use procedures::{ProcedureKind, ProcedureRow};
pub use unit::Unit;
pub use written::{Name, Written};
