//! `sheet list`, `sheet check`, `sheet show`.

use super::{Ending, Failure};
use crate::cli::args::Sheet;
use crate::record::sheet_file;
use crate::sheet::{shipped, shipped_names, shipped_text};
use anyhow::anyhow;

/// Carries out `sheet`.
pub fn sheet(args: &Sheet) -> Result<Ending, Failure> {
    match args {
        Sheet::List => {
            for sheet in shipped_names().iter().filter_map(|name| shipped(name)) {
                println!("{:<22} {}", sheet.name, sheet.title);
            }
        }
        Sheet::Check { file } => {
            let sheet = sheet_file::load(&file.to_string_lossy()).map_err(|e| Failure::Usage(e.into()))?;
            println!(
                "{}: {} limits and {} finding rules, each with its source; topology {}, travel {} deg",
                sheet.name,
                sheet.limits.len(),
                sheet.findings.len(),
                sheet.topology.name(),
                sheet.travel_deg
            );
        }
        Sheet::Show { name } => {
            let text = shipped_text(name).ok_or_else(|| {
                Failure::Usage(anyhow!(
                    "no shipped sheet is named {name:?}; there are: {}",
                    shipped_names().join(", ")
                ))
            })?;
            print!("{text}");
        }
    }
    Ok(Ending::Done)
}
