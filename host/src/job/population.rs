//! The file behind `--population`: a shop's own good bodies, among which a body is judged. What a population is and how it is learned is the
//! analysis's business.

use super::failure::Failure;
use crate::analysis::body::population::{LEAST_BODIES, Population};
use crate::analysis::body::tooth_map::Layout;
use crate::quantity::PartKind;
use crate::sheet::PartSheet;
use anyhow::{Context, anyhow};
use std::path::Path;

/// The population that was given by file, if any.
///
/// # Errors
/// [`Failure::Usage`] when the file can't be read, is no population, or has other bins than this version's maps.
pub fn given(file: Option<&Path>) -> Result<Option<Population>, Failure> {
    file.map(read).transpose()
}

/// Checks that a body can be judged among a population.
///
/// # Errors
/// [`Failure::Usage`] when it was learned from bodies of another kind, or the part is not a body.
pub fn check_fits(population: Option<&Population>, sheet: &PartSheet) -> Result<(), Failure> {
    let Some(population) = population else { return Ok(()) };
    if sheet.kind != PartKind::Body {
        return Err(usage(format!(
            "--population is for throttle bodies, and what is to be judged is a {}; leave it out",
            sheet.kind.name()
        )));
    }
    if population.origin.kind != sheet.name {
        return Err(usage(format!(
            "the population was learned from bodies of the kind {:?}, and the sheet is {:?}; give the sheet that it was learned with, \
             learn one with --sheet {}, or leave --population out",
            population.origin.kind, sheet.name, sheet.name
        )));
    }
    Ok(())
}

fn usage(message: String) -> Failure {
    Failure::Usage(anyhow!(message))
}

/// A population from its file.
///
/// # Errors
/// As [`given`].
pub fn read(file: &Path) -> Result<Population, Failure> {
    let next = "give a file that `trackpair population learn` wrote";
    let bytes = std::fs::read(file)
        .with_context(|| format!("can't read the population {}; {next}", file.display()))
        .map_err(Failure::Usage)?;
    let population =
        Population::parse(&bytes).map_err(|cause| usage(format!("{}: {cause}; {next}", file.display())))?;
    let whole = population.layout.agrees_with(&Layout::STANDARD)
        && population.layout.bins + 4 >= Layout::STANDARD.least_bins();
    if !whole || population.bodies < LEAST_BODIES {
        return Err(usage(format!(
            "{}: {} bodies with {} bins of {} deg; this version needs at least {LEAST_BODIES} with {} of {} deg or more: learn it \
             anew from the records",
            file.display(),
            population.bodies,
            population.layout.bins,
            population.layout.bin_deg,
            Layout::STANDARD.least_bins(),
            Layout::STANDARD.bin_deg
        )));
    }
    Ok(population)
}
