//! What the archive gives out of a record. It does not know where that lies.

use super::index::{RecordSummary, StoredOutcome, StoredSeal, StoredTraceFile};
use crate::trace::Trace;

/// A record with all that is known of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredRecord {
    /// As in a list.
    pub summary: RecordSummary,
    /// Its outcomes, by number.
    pub outcomes: Vec<StoredOutcome>,
    /// Its traces, in the order of recording.
    pub traces: Vec<StoredTraceFile>,
    /// Its seals, by number of the outcome.
    pub seals: Vec<StoredSeal>,
}

/// A trace and the record's file that holds it; none for imported files.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadedTrace {
    /// The trace.
    pub trace: Trace,
    /// Name of its Parquet file.
    pub file: Option<String>,
}
