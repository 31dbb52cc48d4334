//! `vehicle-check enter`: what was measured, judged, and kept where it was asked for.

use super::basis::{Basis, read_file, setup};
use super::draft::Draft;
use super::medium::{Medium, ending, rendered};
use super::prompt::Asking;
use crate::case::{Case, Content};
use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::filing::keep_in_case;
use crate::cli::options::new_file::write_new_bytes;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::answers::Typed;
use crate::cli::terminal::letterhead::letterhead;
use crate::cli::terminal::say::{say, style, write_report};
use crate::job::Failure;
use crate::record::Document;
use crate::report::document::vehicle_check;
use crate::report::terminal;
use crate::report::vehicle::VehicleInput;
use crate::vehicle::file::ReadingsFile;
use crate::vehicle::{Setup, VehicleCheck};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;
use tokio_util::sync::CancellationToken;

/// `vehicle-check enter`.
#[derive(Args, Debug)]
pub struct Enter {
    /// What it is made for.
    #[command(flatten)]
    pub basis: Basis,
    /// The filled template; without it and without --reading every line is asked for
    #[arg(long, value_name = "FILE")]
    pub readings: Option<PathBuf>,
    /// One reading, like "grip.continuity.first=43 mOhm"; may be given more than once
    #[arg(long, value_name = "LINE=VALUE")]
    pub reading: Vec<String>,
    /// Entries whose unit seems to have slipped by a thousand are true as typed
    #[arg(long)]
    pub as_typed: bool,
    /// Store the judged worksheet in this JSON file, which is not there yet
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Write the judged worksheet for people to this file, .pdf or .html
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print it as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `vehicle-check enter`.
///
/// # Errors
/// [`Failure::Usage`] for entries that can't be read or can't be true; what was answered stays saved.
pub fn enter(args: &Enter, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let medium = args.report.as_deref().map(Medium::of).transpose()?;
    let case = args.basis.find_case(surroundings)?;
    if let Some(case) = &case {
        open_case(case)?;
    }
    let asked = args.readings.is_none() && args.reading.is_empty();
    let draft =
        Draft::of(args.basis.archive.as_deref(), case.as_ref().map(|c| c.name.as_str()), surroundings)?;
    let begun = match &args.readings {
        Some(path) => read_file(path)?,
        None if asked && draft.exists() => read_file(&draft.path)?,
        None => ReadingsFile::empty(args.basis.subject(case.as_ref())?),
    };
    let mut file = args.basis.over(begun)?;
    add_readings(&args.reading, &mut file)?;
    let setup = setup(&file)?;
    let whole = !asked || ask(args, &setup, &mut file, &draft, surroundings.stop)?;
    let check = VehicleCheck::of(&setup, &file.meter, &file.readings, args.as_typed, &date())
        .map_err(|e| Failure::Usage(e.into()))?;
    let shop = letterhead(surroundings);
    let name = case.as_ref().map(|c| c.name.as_str());
    let input = VehicleInput { check: &check, case: name, vehicle: None, stamp: None, shop: shop.as_ref() };
    say(&terminal(&vehicle_check(&input), style(surroundings)), &check, args.json);
    if !whole {
        eprintln!(
            "trackpair: the answers ended before the last line; they are saved in {}, and the next `trackpair vehicle-check enter` goes on there",
            draft.path.display()
        );
        return Ok(ending(&check));
    }
    if let (Some(path), Some(medium)) = (&args.report, medium) {
        write_report(&rendered(&vehicle_check(&input), medium, surroundings.paper())?, path)?;
    }
    if let Some(path) = &args.out {
        write_new_bytes(path, json(&check).as_bytes())?;
    }
    if let Some(case) = &case {
        keep(args, case, &check, surroundings)?;
    }
    // Kept elsewhere, the draft has done its work; without that it is the only place where the answers are.
    if asked && (args.out.is_some() || case.is_some()) {
        draft.done();
    } else if asked {
        eprintln!("trackpair: the answers are saved in {}", draft.path.display());
    }
    Ok(ending(&check))
}

fn open_case(case: &Case) -> Result<(), Failure> {
    let Some((date, _)) = case.closed() else { return Ok(()) };
    let closed = crate::case::CaseError::Closed { case: case.name.clone(), date: date.to_owned() };
    Err(Failure::Usage(closed.into()))
}

fn json(check: &VehicleCheck) -> String {
    // Texts, finite numbers, truths and lists: it serialises.
    serde_json::to_string_pretty(check).unwrap_or_default() + "\n"
}

/// Adds `LINE=VALUE`; a line that has another value already is refused with both.
fn add_readings(typed: &[String], file: &mut ReadingsFile) -> Result<(), Failure> {
    for text in typed {
        let Some((line, value)) = text.split_once('=') else {
            return Err(Failure::Usage(anyhow!(
                "--reading {text:?}: write LINE=VALUE, like \"grip.continuity.first=43 mOhm\""
            )));
        };
        let (line, value) = (line.trim(), value.trim());
        let before = file.readings.insert(line.to_owned(), value.to_owned());
        if let Some(before) = before.filter(|b| !b.trim().is_empty() && b.trim() != value) {
            return Err(Failure::Usage(anyhow!(
                "{line} is given twice: {before:?} and {value:?} contradict each other; measure again and give the true one"
            )));
        }
    }
    Ok(())
}

fn ask(
    args: &Enter,
    setup: &Setup,
    file: &mut ReadingsFile,
    draft: &Draft,
    stop: &CancellationToken,
) -> Result<bool, Failure> {
    if draft.exists() {
        eprintln!("trackpair: going on with what is saved in {}", draft.path.display());
    }
    draft.save(file, setup)?;
    let (mut answers, mut questions) = (Typed::new(stop), std::io::stderr().lock());
    let as_typed = args.as_typed;
    Asking { answers: &mut answers, questions: &mut questions, setup, as_typed, draft }.all(file)
}

/// Adds the worksheet to the case, with its page and its paper.
fn keep(
    args: &Enter,
    case: &Case,
    check: &VehicleCheck,
    surroundings: &Surroundings<'_>,
) -> Result<(), Failure> {
    let shop = letterhead(surroundings);
    let paper = surroundings.paper();
    let content = Content::VehicleCheck(check.clone());
    keep_in_case(args.basis.archive.as_deref(), &case.name, content, surroundings, |stamp| {
        let input = VehicleInput { check, case: Some(&case.name), vehicle: None, stamp, shop: shop.as_ref() };
        [(Medium::Html, "html"), (Medium::Pdf, "pdf")]
            .into_iter()
            .filter_map(|(medium, ending)| match rendered(&vehicle_check(&input), medium, paper) {
                Ok(bytes) => Some(Document { stem: "vehicle-check", ending, bytes }),
                Err(failure) => {
                    eprintln!("trackpair: the worksheet is kept without its {ending}: {:#}", failure.error());
                    None
                }
            })
            .collect()
    })
}
