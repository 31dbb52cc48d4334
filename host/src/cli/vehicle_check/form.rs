//! `vehicle-check form`: paper to be filled in at the vehicle, and the file that readings are entered into later.

use super::basis::{Basis, setup};
use super::medium::{Medium, rendered};
use crate::case::Case;
use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::options::new_file::write_new_bytes;
use crate::cli::options::paper::paper;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::letterhead::letterhead;
use crate::job::Failure;
use crate::report::Paper;
use crate::report::document::vehicle_form;
use crate::report::vehicle::VehicleInput;
use crate::vehicle::file::ReadingsFile;
use crate::vehicle::{Entries, VehicleCheck};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `vehicle-check form`.
#[derive(Args, Debug)]
pub struct Form {
    /// What it is made for.
    #[command(flatten)]
    pub basis: Basis,
    /// Paper: a4 or letter [else: configuration, a4]
    #[arg(long, value_name = "PAPER", value_parser = paper)]
    pub paper: Option<Paper>,
    /// The form: a file that ends in .pdf or .html
    #[arg(long, value_name = "FILE", required_unless_present = "template")]
    pub out: Option<PathBuf>,
    /// Write an empty readings file (TOML) to fill in; it must not exist yet
    #[arg(long, value_name = "FILE")]
    pub template: Option<PathBuf>,
}

/// Carries out `vehicle-check form`.
///
/// # Errors
/// [`Failure::Usage`] for a wire, sheet or case that does not exist, or a file that may not be written over.
pub fn form(args: &Form, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let case = args.basis.find_case(surroundings)?;
    let subject = args.basis.subject(case.as_ref())?;
    let file = args.basis.over(ReadingsFile::empty(subject))?;
    let setup = setup(&file)?;
    let medium = args.out.as_deref().map(Medium::of).transpose()?;
    let check = VehicleCheck::of(&setup, &file.meter, &Entries::new(), false, &date())
        .map_err(|e| Failure::Other(e.into()))?;
    if let Some(path) = &args.template {
        if path.extension().and_then(|e| e.to_str()) != Some("toml") {
            return Err(Failure::Usage(anyhow!(
                "{} does not end in .toml; name a file that does",
                path.display()
            )));
        }
        write_new_bytes(path, file.text(&setup).as_bytes())?;
        println!(
            "{}: fill it in, then: trackpair vehicle-check enter --readings {}",
            path.display(),
            path.display()
        );
    }
    if let (Some(path), Some(medium)) = (&args.out, medium) {
        let shop = letterhead(surroundings);
        let input = VehicleInput {
            check: &check,
            case: case.as_ref().map(|c| c.name.as_str()),
            vehicle: case.as_ref().map(Case::vehicle),
            stamp: None,
            shop: shop.as_ref(),
        };
        let paper = args.paper.unwrap_or_else(|| surroundings.paper());
        let bytes = rendered(&vehicle_form(&input), medium, paper)?;
        write_new_bytes(path, &bytes)?;
        println!("{}: the form, {} bytes", path.display(), bytes.len());
    }
    Ok(Ending::Done)
}
