//! The archive folder: outcome, traces as Parquet, report; and traces from Parquet or CSV.
//!
//! The one layer of the library beside `link` that touches the outside; it does not know what a trace means.

mod archive;
mod csv_error;
mod csv_file;
mod csv_map;
mod csv_table;
mod csv_time;
mod load;
mod parquet_file;
pub mod sheet_file;

pub use archive::{Archive, ArchiveError, FallbackWarning, RecordFolder};
pub use csv_error::{CsvError, CsvWarning};
pub use csv_file::{CsvOptions, csv_trace};
pub use csv_map::{ColumnName, CsvMap, MapError, Target, parse_map};
pub use load::{LoadError, Loaded, LoadedTrace, load_traces};
pub use parquet_file::{ParquetError, TRACE_KEY, trace_from_parquet, trace_to_parquet};
