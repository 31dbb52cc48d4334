//! `verify`: one file by itself, with the public key alone: a report, a certificate, a bundle, or what a QR code says.

use super::ending::Ending;
use super::options::trusted_keys::trusted_keys;
use super::surroundings::Surroundings;
use super::terminal::document::print_document;
use crate::job::Failure;
use crate::record::check_bundle;
use crate::record::seal::{CODE_OPENS, PrintedCode, PublicKey, check_document};
use crate::report::text::sentence;
use crate::verdict::Verdict;
use anyhow::{Context, anyhow};
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// `verify`.
#[derive(Args, Debug)]
pub struct Verify {
    /// A report or certificate (HTML, PDF), a bundle (ZIP), or a text file with what a QR code says
    pub file: PathBuf,
    /// The shop's public key: 64 hex digits or a PEM file; may be given more than once [else: this machine's own]
    #[arg(long, value_name = "KEY|FILE")]
    pub key: Vec<String>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

/// What a file shows by itself.
struct Shown {
    /// What it is.
    what: &'static str,
    record: Option<String>,
    fingerprints: Vec<String>,
    keys: Vec<PublicKey>,
    /// Lines for the reader.
    notes: Vec<String>,
    problems: Vec<String>,
}

/// Carries out `verify`.
pub fn verify(args: &Verify, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let trusted = trusted_keys(&args.key, surroundings)?;
    let bytes = std::fs::read(&args.file)
        .with_context(|| format!("can't read {}; give a report, certificate or bundle", args.file.display()))
        .map_err(Failure::Usage)?;
    let mut shown = look(&bytes)?;
    let strangers = shown.keys.iter().filter(|key| !trusted.is_empty() && !trusted.contains(key));
    let strangers: Vec<String> = strangers
        .map(|k| format!("it is sealed with another key than the given one: {}", k.to_hex()))
        .collect();
    shown.problems.extend(strangers);
    let result = Found::of(&shown, !trusted.is_empty());
    if args.json {
        print_document(&shown.document(result));
    } else {
        tell(&shown, result);
    }
    Ok(result.ending())
}

/// Whether it is what was sealed, and whether by a known key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
enum Found {
    Intact,
    IntactSignerUnknown,
    NotAsSealed,
}

impl Found {
    fn of(shown: &Shown, known: bool) -> Self {
        match (shown.problems.is_empty(), known) {
            (false, _) => Self::NotAsSealed,
            (true, true) => Self::Intact,
            (true, false) => Self::IntactSignerUnknown,
        }
    }

    fn ending(self) -> Ending {
        match self {
            Self::Intact => Ending::Done,
            Self::IntactSignerUnknown => Ending::Judged(Verdict::Undecided),
            Self::NotAsSealed => Ending::NotAsKept,
        }
    }
}

/// The same for programs.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SealCheck<'a> {
    document: &'static str,
    schema: u32,
    /// What it is.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["document", "PDF document", "bundle", "printed code"])))]
    file: &'static str,
    /// Whether it is what was sealed, and whether by a known key.
    result: Found,
    /// Name of the record, where it says one.
    record: Option<&'a str>,
    /// SHA-256 of the manifests of its seals.
    #[cfg_attr(feature = "schemas", schemars(inner(regex(pattern = "^[0-9a-f]{64}$"))))]
    fingerprints: &'a [String],
    /// Public keys (ed25519) that made them.
    #[cfg_attr(feature = "schemas", schemars(inner(regex(pattern = "^[0-9a-f]{64}$"))))]
    keys: Vec<String>,
    /// What is amiss; empty when nothing is.
    problems: &'a [String],
    /// What the reader should know.
    notes: &'a [String],
}

impl Shown {
    fn document(&self, result: Found) -> SealCheck<'_> {
        SealCheck {
            document: "seal_check",
            schema: 1,
            file: self.what,
            result,
            record: self.record.as_deref(),
            fingerprints: &self.fingerprints,
            keys: self.keys.iter().map(|key| key.to_hex()).collect(),
            problems: &self.problems,
            notes: &self.notes,
        }
    }
}

fn look(bytes: &[u8]) -> Result<Shown, Failure> {
    if bytes.starts_with(b"PK") {
        return bundle(bytes);
    }
    if let Some(code) =
        std::str::from_utf8(bytes).ok().filter(|text| text.trim_start().starts_with(CODE_OPENS))
    {
        return printed_code(code);
    }
    let what = if bytes.starts_with(b"%PDF") { "PDF document" } else { "document" };
    let (fingerprints, keys, problems) = match check_document(bytes) {
        Ok(seal) => (vec![seal.fingerprint], vec![seal.key], Vec::new()),
        Err(why) => (Vec::new(), Vec::new(), vec![why.to_string()]),
    };
    Ok(Shown { what, record: None, fingerprints, keys, notes: Vec::new(), problems })
}

fn bundle(bytes: &[u8]) -> Result<Shown, Failure> {
    let check = check_bundle(bytes).map_err(|e| Failure::Usage(e.into()))?;
    let mut notes = vec![format!("{} files are what was sealed", check.intact.len())];
    if !check.left_out.is_empty() {
        notes.push(format!("{} traces are sealed but not in this bundle", check.left_out.len()));
    }
    let problems = check.problems.iter().map(|p| format!("{}: {}", p.what, p.why)).collect();
    let (record, fingerprints, keys) = (check.record, check.fingerprints, check.keys);
    Ok(Shown { what: "bundle", record, fingerprints, keys, notes, problems })
}

fn printed_code(text: &str) -> Result<Shown, Failure> {
    let code = PrintedCode::read(text).ok_or_else(|| {
        Failure::Usage(anyhow!(
            "this begins like a printed code, but is not whole: {CODE_OPENS} RECORD FINGERPRINT KEY SIGNATURE on one line"
        ))
    })?;
    let problems =
        if code.signed { vec![] } else { vec!["its key has not signed its fingerprint".to_owned()] };
    let notes = vec![
        "it proves that the key sealed a record of this fingerprint; compare the fingerprint with the paper's, and the paper with the record"
            .to_owned(),
    ];
    let (record, fingerprints, keys) = (Some(code.record), vec![code.fingerprint], vec![code.key]);
    Ok(Shown { what: "printed code", record, fingerprints, keys, notes, problems })
}

fn tell(shown: &Shown, result: Found) {
    let word = match result {
        Found::Intact => "INTACT",
        Found::IntactSignerUnknown => "INTACT, BUT WHOSE SEAL IT IS IS NOT KNOWN",
        Found::NotAsSealed => "NOT AS SEALED",
    };
    println!("{word}: {}", shown.what);
    let line = |name: &str, text: &str| println!("{name:<12} {text}");
    shown.record.iter().for_each(|record| line("record", &sentence(record)));
    shown.fingerprints.iter().for_each(|f| line("fingerprint", f));
    shown.keys.iter().for_each(|key| line("key", &key.to_hex()));
    shown.problems.iter().for_each(|problem| line("problem", &sentence(problem)));
    shown.notes.iter().for_each(|note| line("note", note));
    if result == Found::IntactSignerUnknown {
        line("next", "ask the shop for its public key and give it with --key");
    }
}
