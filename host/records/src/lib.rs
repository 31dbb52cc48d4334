//! Where records are kept, found and proven: archive, index, Parquet, CSV, seals.
//!
//! - [`record`]: the archive folder, Parquet and CSV files, seals.

pub mod record;

// Layers below, under the names that every file uses.
#[cfg(test)]
use trackpair_analysis::verdict;
use trackpair_bench::session;
use trackpair_model::{quantity, sheet, trace};
use trackpair_outcome::{case, outcome};
