//! `records export`: records, or the figures or findings of their last outcomes, as one table that other programs open.

use crate::cli::ending::Ending;
use crate::cli::options::archive::{Where, open};
use crate::cli::options::filter::Filter;
use crate::cli::options::new_file::write_new_bytes;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::record::table::{Exported, Table, to_csv, to_json, to_parquet};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// `records export`.
#[derive(Args, Debug)]
pub struct ExportRecords {
    /// What becomes the rows
    #[arg(long, value_enum, default_value_t = What::Figures)]
    pub what: What,
    /// Format of the file. In CSV a text that a spreadsheet would take for a formula (it begins with = + - @, a tab or a line's end, and is no
    /// number) gets an apostrophe before it; JSON and Parquet hold every text as it is
    #[arg(long, value_enum)]
    pub format: Format,
    /// The file to write, which is not there yet
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Which records.
    #[command(flatten)]
    pub filter: Filter,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
}

/// What becomes the rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum What {
    /// Records, with their last outcome
    Records,
    /// Figures of the last outcomes
    Figures,
    /// Findings of the last outcomes
    Findings,
}

/// Format of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// RFC 4180, UTF-8
    Csv,
    /// A list of objects
    Json,
    /// Parquet
    Parquet,
}

/// Carries out `records export`.
pub fn export(args: &ExportRecords, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    args.filter.check()?;
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let what = match args.what {
        What::Records => Exported::Records,
        What::Figures => Exported::Figures,
        What::Findings => Exported::Findings,
    };
    let table: Table = archive.export(what, &args.filter.query(&[])).map_err(|e| Failure::Other(e.into()))?;
    let bytes = match args.format {
        Format::Csv => to_csv(&table).into_bytes(),
        Format::Json => to_json(&table).into_bytes(),
        Format::Parquet => to_parquet(&table).map_err(|e| Failure::Other(e.into()))?,
    };
    write_new_bytes(&args.out, &bytes)?;
    println!("{}: {} rows", args.out.display(), table.rows.len());
    Ok(Ending::Done)
}
