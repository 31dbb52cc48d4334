//! `records`: the archive as a whole. One file per question: `list`, `show`, `export`.

mod export;
pub mod list;
pub mod show;

use super::ending::Ending;
use super::options::archive::{Where, open};
use super::options::new_file::write_new_bytes;
use super::options::trusted_keys::trusted_keys;
use super::surroundings::Surroundings;
use super::terminal::document::print_document;
use crate::job::Failure;
use crate::record::bundle;
use crate::record::verify::{Expected, Problem, Verification, verify};
use crate::report::text::sentence;
use clap::{Args, Subcommand};
use serde::Serialize;
use std::path::PathBuf;

/// `records`.
#[derive(Debug, Subcommand)]
pub enum RecordsCommand {
    /// Records, a line each: all of them, or those that fit
    List(list::ListRecords),
    /// One record: its last outcome, its files and its seals
    Show(show::ShowRecord),
    /// Records, figures or findings as one table: CSV, JSON or Parquet
    Export(export::ExportRecords),
    /// Check every file, seal and row against how they were kept
    Verify(VerifyRecords),
    /// A record in one file, for a buyer or a warranty desk
    Bundle(BundleRecord),
}

/// `records verify`.
#[derive(Args, Debug)]
pub struct VerifyRecords {
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Public key that may have sealed: 64 hex digits or a PEM file; may be given more than once [else: this machine's own]
    #[arg(long, value_name = "KEY|FILE")]
    pub key: Vec<String>,
    /// A fingerprint from paper, or noted elsewhere, that must be in the chain
    #[arg(long, value_name = "HEX")]
    pub fingerprint: Option<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

/// `records bundle`.
#[derive(Args, Debug)]
pub struct BundleRecord {
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// The record, by its name or a part of it that no other has
    pub record: String,
    /// The file to write, which is not there yet
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// With the traces, which are large
    #[arg(long)]
    pub with_traces: bool,
}

/// Carries out `records`.
pub fn records(command: &RecordsCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        RecordsCommand::List(args) => list::list(args, surroundings),
        RecordsCommand::Show(args) => show::show(args, surroundings),
        RecordsCommand::Export(args) => export::export(args, surroundings),
        RecordsCommand::Verify(args) => verify_records(args, surroundings),
        RecordsCommand::Bundle(args) => bundle_record(args, surroundings),
    }
}

fn verify_records(args: &VerifyRecords, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let expected =
        Expected { keys: trusted_keys(&args.key, surroundings)?, fingerprint: args.fingerprint.clone() };
    let found = verify(&archive, &expected).map_err(|e| Failure::Other(e.into()))?;
    if args.json {
        print_document(&VerificationDocument::of(&found, expected.keys.is_empty()));
    } else {
        print!("{}", told(&found, expected.keys.is_empty()));
    }
    Ok(if found.problems.is_empty() { Ending::Done } else { Ending::NotAsKept })
}

/// The same for programs.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct VerificationDocument<'a> {
    document: &'static str,
    schema: u32,
    /// Whether there is not a problem.
    as_kept: bool,
    /// Seals in the chain.
    seals: u64,
    /// Files that were read.
    files: u64,
    /// Their bytes.
    bytes: u64,
    /// Rows of figures and findings that were compared.
    rows: u64,
    /// Fingerprint of the newest seal; null in an archive without any.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    newest: Option<&'a str>,
    /// True when no key was named, so that a seal of any key was accepted.
    any_key: bool,
    /// What is amiss; empty when nothing is.
    problems: &'a [Problem],
    /// What is not a fault, but the reader should know.
    notes: &'a [String],
}

impl<'a> VerificationDocument<'a> {
    fn of(found: &'a Verification, any_key: bool) -> Self {
        let Verification { seals, files, bytes, rows, newest, problems, notes } = found;
        let (newest, as_kept) = (newest.as_deref(), problems.is_empty());
        let (seals, files, bytes, rows) = (*seals, *files, *bytes, *rows);
        Self {
            document: "verification",
            schema: 1,
            as_kept,
            seals,
            files,
            bytes,
            rows,
            newest,
            any_key,
            problems,
            notes,
        }
    }
}

fn told(found: &Verification, any_key: bool) -> String {
    use std::fmt::Write;
    let mut text = String::new();
    let _ = match found.problems.len() {
        0 => writeln!(text, "AS KEPT: nothing was altered, removed, added or reordered"),
        1 => writeln!(text, "NOT AS KEPT: 1 problem"),
        n => writeln!(text, "NOT AS KEPT: {n} problems"),
    };
    let Verification { seals, files, bytes, rows, .. } = found;
    let _ = writeln!(
        text,
        "looked at    {seals} seals, {files} files ({:.1} MB), {rows} rows",
        *bytes as f64 / 1e6
    );
    if let Some(newest) = &found.newest {
        let _ = writeln!(
            text,
            "newest       {newest} (note it elsewhere: with it a cut or replaced archive is found)"
        );
    }
    for problem in &found.problems {
        let _ = writeln!(text, "problem      {}: {}", sentence(&problem.what), sentence(&problem.why));
    }
    for note in &found.notes {
        let _ = writeln!(text, "note         {}", sentence(note));
    }
    if any_key {
        let _ = writeln!(
            text,
            "note         any key was accepted: name the shop's with --key to hold the seals against it"
        );
    }
    text
}

fn bundle_record(args: &BundleRecord, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let record = archive.record(&args.record).map_err(|e| Failure::Usage(e.into()))?;
    let bytes = bundle(&archive, &record, args.with_traces).map_err(|e| Failure::Other(e.into()))?;
    write_new_bytes(&args.out, &bytes)?;
    println!(
        "{}: {} bytes. Whoever receives it checks it with `trackpair verify`",
        args.out.display(),
        bytes.len()
    );
    Ok(Ending::Done)
}
