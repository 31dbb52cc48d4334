//! The archive: traces as Parquet, outcomes, reports, an index over them, seals; and traces from Parquet or CSV.
//!
//! The one layer of the library beside `link` that touches the outside; it does not know what a trace means.
//!
//! - `archive`, `folder`: where records are kept; one record being kept; `stored`: what it gives out of one; `archive_error`: what can go wrong. `cases`: cases and their entries.
//! - `index`: the database beside the files.
//! - `seal`, `head`: what makes content and order provable.
//! - `line_log`: JSON lines that are lasting one by one; `soak_log`: those of a soak while it runs.
//! - `study_folder`: a gauge study or a known part: what is to be done, sweep by sweep what was seen.
//! - `bundle`: a record in one file, which is checked by itself.
//! - `verify`: whether an archive still is what was kept.
//! - `table`: rows of the index for other programs.
//! - `names`, `whole_file`: where files lie, and that they are whole or absent.
//! - `parquet_file`, `csv_*`: samples in files; `load`: from wherever they lie.

mod archive;
mod archive_error;
mod bundle;
mod cases;
mod csv_blocks;
mod csv_error;
mod csv_file;
mod csv_map;
mod csv_numbers;
mod csv_table;
mod csv_time;
mod folder;
mod head;
mod index;
pub mod line_log;
mod load;
mod names;
mod parquet_file;
pub mod seal;
pub mod sheet_file;
pub mod soak_log;
mod stored;
pub mod study_folder;
pub mod table;
pub mod verify;
mod whole_file;

pub use archive::{Archive, FallbackWarning};
pub use archive_error::ArchiveError;
pub use bundle::{BundleCheck, BundleError, bundle, check_bundle};
pub use cases::{CaseFileError, KeptEntry};
pub use csv_error::{CsvError, CsvWarning};
pub use csv_file::{CsvOptions, csv_trace};
pub use csv_map::{ColumnName, CsvMap, MapError, Target, parse_map};
pub use folder::{ClockWarning, Document, KeptOutcome, RecordFolder, Sealing};
pub use index::{
    INDEX_FILE, INDEX_SCHEMA, Index, IndexError, LeadMatings, PartMatings, Query, RecordState, RecordSummary,
    StoredOutcome, StoredSeal, StoredTraceFile,
};
pub use load::{LoadError, Loaded, load_traces};
pub use parquet_file::{ParquetError, TRACE_KEY, trace_from_parquet, trace_to_parquet};
pub use stored::{LoadedTrace, StoredRecord};
