//! `sheet list`, `sheet check`, `sheet show`.

use super::ending::Ending;
use super::options::archive::{Where, named};
use super::surroundings::Surroundings;
use super::terminal::document::print_document;
use super::terminal::left_out::tell_left_out;
use crate::compare::risks::{SheetRisks, risks};
use crate::job::Failure;
use crate::job::stored::{Stored, read_all};
use crate::quantity::PartKind;
use crate::record::sheet_file::{self, SheetFileError};
use crate::report::{Style, compare as shown, terminal};
use crate::sheet::{PartSheet, SheetError, Topology, shipped, shipped_names, shipped_text};
use anyhow::Context;
use clap::{Args, Subcommand};
use serde::Serialize;
use std::io::Write;
use std::path::{Path, PathBuf};

/// `sheet`.
#[derive(Debug, Subcommand)]
pub enum Sheet {
    /// Names and titles of the shipped sheets
    List {
        /// Print them as JSON
        #[arg(long)]
        json: bool,
    },
    /// Check a sheet file: keys, units, limits, sources
    Check {
        /// The file
        file: PathBuf,
        /// Print what it holds, or where its mistake is, as JSON
        #[arg(long)]
        json: bool,
    },
    /// Print a sheet, ready to copy and change, and what its limits risk: consumer's and producer's risk
    Show(SheetShow),
}

/// `sheet show`.
#[derive(Args, Debug)]
pub struct SheetShow {
    /// Its name, or a file
    #[arg(value_name = "NAME|FILE")]
    pub name: String,
    /// Records of parts as they came in, 10 at least: risks for their spread and for how well they were measured; names, folders, or an archive
    #[arg(long, value_name = "DIR|RECORD", num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Where records are looked up by name.
    #[command(flatten)]
    pub place: Where,
    /// Print the risks as JSON, without the sheet
    #[arg(long)]
    pub json: bool,
}

/// Opens and closes what `sheet show` adds to a sheet's text, so that it is not added twice.
const OPENS: &str =
    "# ---- What these limits risk. Made by `trackpair sheet show` from the limits above; not read ----";
const CLOSES: &str = "# ---- End of what these limits risk ----";
/// Width of what is added, characters; comment signs come before it.
const WIDTH: usize = 130;

/// Carries out `sheet`.
pub fn sheet(args: &Sheet, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match args {
        Sheet::List { json } => list(*json),
        Sheet::Check { file, json } => check(file, *json),
        Sheet::Show(args) => show(args, surroundings),
    }
}

/// The sheet's text and, as comments behind it, what its limits risk; or the risks as JSON.
fn show(args: &SheetShow, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let name = &args.name;
    let sheet = sheet_file::load(name).map_err(|e| Failure::Usage(e.into()))?;
    let text = match shipped_text(name) {
        Some(text) => text.to_owned(),
        None => std::fs::read_to_string(name)
            .with_context(|| format!("can't read the part sheet {name}"))
            .map_err(Failure::Usage)?,
    };
    let archive =
        if args.records.is_empty() { None } else { named(args.place.archive.as_deref(), surroundings)? };
    let (stored, unread) = read_all(&args.records, archive.as_deref());
    tell_left_out(&unread);
    let subjects: Vec<_> = stored.iter().map(Stored::subject).collect();
    if subjects.is_empty() && !args.records.is_empty() {
        return Err(Failure::Usage(anyhow::anyhow!(
            "none of the records can be read; give names of records, their folders, or an archive"
        )));
    }
    let mut document = risks(&sheet, &subjects).map_err(|e| Failure::Usage(e.into()))?;
    if let Some(records) = &mut document.records {
        records.left_out.splice(0..0, unread);
    }
    if args.json {
        print_document(&document);
    } else {
        let shown = format!("{}\n{}", without_risks(&text).trim_end(), as_comments(&document, &sheet));
        // A reader that has gone away is no failure.
        let _ = std::io::stdout().write_all(shown.as_bytes());
    }
    Ok(Ending::Done)
}

/// A sheet's text without what an earlier `sheet show` added.
fn without_risks(text: &str) -> String {
    let mut within = false;
    let own = |line: &&str| {
        let added = within || line.trim_end() == OPENS;
        within = added && line.trim_end() != CLOSES;
        // What somebody wrote behind an opening without its end is theirs.
        !(added && (line.starts_with('#') || line.trim().is_empty()))
    };
    text.lines().filter(own).map(|line| format!("{line}\n")).collect()
}

/// The risks as comments of a sheet.
fn as_comments(document: &SheetRisks, sheet: &PartSheet) -> String {
    let style = Style { width: WIDTH, colour: false, ascii: false };
    let text = terminal(&shown::risks(document, sheet.topology), style);
    let lines = text.lines().map(|line| format!("# {line}").trim_end().to_owned() + "\n");
    format!("\n{OPENS}\n{}{CLOSES}\n", lines.collect::<String>())
}

/// The document of `sheet list --json`.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SheetList {
    document: &'static str,
    schema: u32,
    /// In their fixed order.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    sheets: Vec<SheetShown>,
}

/// The document of `sheet check --json`: the sheet or its mistake.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SheetCheck<'a> {
    document: &'static str,
    schema: u32,
    /// As given.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    file: String,
    /// A usable sheet.
    sheet: Option<SheetShown>,
    /// Its first mistake.
    mistake: Option<Mistake<'a>>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct SheetShown {
    /// Name.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    name: String,
    /// Title.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    title: String,
    /// Kind of part.
    kind: PartKind,
    /// How the two lines belong together.
    topology: Topology,
    /// Sensor supply, V.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    supply_volts: f64,
    /// Travel, degrees.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    travel_deg: f64,
    /// Number of limits.
    limits: usize,
    /// Number of rules for findings.
    finding_rules: usize,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Mistake<'a> {
    /// What is wrong.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    message: &'a str,
    /// What is allowed and what to do.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    help: &'a str,
    /// Line, from 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    line: usize,
    /// Column in characters, from 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    column: usize,
}

impl SheetShown {
    fn of(sheet: &PartSheet) -> Self {
        Self {
            name: sheet.name.clone(),
            title: sheet.title.clone(),
            kind: sheet.kind,
            topology: sheet.topology,
            supply_volts: sheet.supply_volts,
            travel_deg: sheet.travel_deg,
            limits: sheet.limits.len(),
            finding_rules: sheet.findings.len(),
        }
    }
}

fn list(json: bool) -> Result<Ending, Failure> {
    let sheets = shipped_names().iter().filter_map(|name| shipped(name));
    if json {
        let sheets = sheets.map(|s| SheetShown::of(&s)).collect();
        print_document(&SheetList { document: "sheets", schema: 1, sheets });
    } else {
        sheets.for_each(|sheet| println!("{:<22} {}", sheet.name, sheet.title));
    }
    Ok(Ending::Done)
}

fn check(file: &Path, json: bool) -> Result<Ending, Failure> {
    let loaded = sheet_file::load(&file.to_string_lossy());
    let document = |sheet, mistake| SheetCheck {
        document: "sheet_check",
        schema: 1,
        file: file.display().to_string(),
        sheet,
        mistake,
    };
    match &loaded {
        Ok(sheet) if json => print_document(&document(Some(SheetShown::of(sheet)), None)),
        Ok(sheet) => println!(
            "{}: {} limits and {} finding rules, each with its source; topology {}, travel {} deg",
            sheet.name,
            sheet.limits.len(),
            sheet.findings.len(),
            sheet.topology.name(),
            sheet.travel_deg
        ),
        Err(SheetFileError::Sheet(SheetError { message, help, line, column, .. })) if json => {
            let mistake = Mistake { message, help, line: *line, column: *column };
            print_document(&document(None, Some(mistake)));
        }
        Err(_) => {}
    }
    loaded.map(|_| Ending::Done).map_err(|e| Failure::Usage(e.into()))
}
