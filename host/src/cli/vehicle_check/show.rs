//! `vehicle-check show`: a stored worksheet.

use super::medium::{Medium, ending, rendered};
use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::letterhead::letterhead;
use crate::cli::terminal::say::{say, style, write_report};
use crate::job::Failure;
use crate::report::document::vehicle_check;
use crate::report::terminal;
use crate::report::vehicle::VehicleInput;
use crate::vehicle::{CHECK_SCHEMA, VehicleCheck};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `vehicle-check show`.
#[derive(Args, Debug)]
pub struct Show {
    /// The JSON file that `vehicle-check enter --out` wrote
    pub file: PathBuf,
    /// Write it for people to this file, .pdf or .html
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print it as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `vehicle-check show`.
///
/// # Errors
/// [`Failure::Usage`] when the file is no worksheet.
pub fn show(args: &Show, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let medium = args.report.as_deref().map(Medium::of).transpose()?;
    let bad = |why: String| {
        Failure::Usage(anyhow!(
            "{} is not a stored worksheet: {why}; give the JSON file that `trackpair vehicle-check enter --out` wrote",
            args.file.display()
        ))
    };
    let text = std::fs::read_to_string(&args.file).map_err(|e| bad(e.to_string()))?;
    let check: VehicleCheck = serde_json::from_str(&text).map_err(|e| bad(e.to_string()))?;
    if check.schema > CHECK_SCHEMA {
        return Err(bad(format!("its schema is {}, this program reads 1 to {CHECK_SCHEMA}", check.schema)));
    }
    let shop = letterhead(surroundings);
    let input = VehicleInput { check: &check, case: None, vehicle: None, stamp: None, shop: shop.as_ref() };
    say(&terminal(&vehicle_check(&input), style(surroundings)), &check, args.json);
    if let (Some(path), Some(medium)) = (&args.report, medium) {
        write_report(&rendered(&vehicle_check(&input), medium, surroundings.paper())?, path)?;
    }
    Ok(ending(&check))
}
