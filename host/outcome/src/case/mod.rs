//! A case: from a complaint to what was done about it. Its entries are never changed, only added to. It does not know where they are
//! kept, nor how they are shown.
//!
//! - `entry`: the stored documents.
//! - `advice`: what to do next.
//! - `rules`: what may be added to a case, and when it may be closed.
//! - `course`: what its entries come to: complaint, parts, checks, records, what keeps it open.

mod advice;
mod course;
mod entry;
mod repair;
mod rules;

pub use course::{CaseState, CheckEntry};
pub use entry::{
    CasePart, Closing, Content, ENTRY_SCHEMA, Ending, Entry, EntryError, Note, Opening, RecordEntry,
};
pub use repair::UncheckedRepair;
pub use rules::CaseError;

/// A case with its entries, the first being its opening.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Its name: `case-`, date, the user's words for the vehicle.
    pub name: String,
    /// Its entries, in their order; never empty.
    pub entries: Vec<Entry>,
}
