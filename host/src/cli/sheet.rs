//! `sheet list`, `sheet check`, `sheet show`.

use super::document::print_document;
use super::{Ending, Failure};
use crate::cli::args::Sheet;
use crate::record::sheet_file::{self, SheetFileError};
use crate::sheet::{PartSheet, SheetError, shipped, shipped_names, shipped_text};
use anyhow::anyhow;
use serde::Serialize;
use std::path::Path;

/// Carries out `sheet`.
pub fn sheet(args: &Sheet) -> Result<Ending, Failure> {
    match args {
        Sheet::List { json } => list(*json),
        Sheet::Check { file, json } => check(file, *json),
        Sheet::Show { name } => {
            let text = shipped_text(name).ok_or_else(|| {
                Failure::Usage(anyhow!(
                    "no shipped sheet is named {name:?}; there are: {}",
                    shipped_names().join(", ")
                ))
            })?;
            print!("{text}");
            Ok(Ending::Done)
        }
    }
}

/// The document of `sheet list --json`.
#[derive(Serialize)]
struct SheetList {
    document: &'static str,
    schema: u32,
    sheets: Vec<SheetShown>,
}

/// The document of `sheet check --json`: the sheet or its mistake.
#[derive(Serialize)]
struct SheetCheck<'a> {
    document: &'static str,
    schema: u32,
    file: String,
    sheet: Option<SheetShown>,
    mistake: Option<Mistake<'a>>,
}

#[derive(Serialize)]
struct SheetShown {
    name: String,
    title: String,
    kind: &'static str,
    topology: &'static str,
    supply_volts: f64,
    travel_deg: f64,
    limits: usize,
    finding_rules: usize,
}

#[derive(Serialize)]
struct Mistake<'a> {
    message: &'a str,
    help: &'a str,
    line: usize,
    column: usize,
}

impl SheetShown {
    fn of(sheet: &PartSheet) -> Self {
        Self {
            name: sheet.name.clone(),
            title: sheet.title.clone(),
            kind: sheet.kind.name(),
            topology: sheet.topology.name(),
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
