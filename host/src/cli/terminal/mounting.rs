//! Asks for a part to be mounted for a sweep, and reports on the folder that keeps it.

use super::answers::Typed;
use super::at_terminal::at_terminal_drawn;
use super::drawing::Drawing;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::job::sweep::{Occasion, sweep_into};
use crate::record::study_folder::StudyFolder;
use anyhow::anyhow;

/// Sweeps once into a folder; only the bar shows how far procedures are.
///
/// # Errors
/// As [`sweep_into`].
pub fn sweep_at_terminal(
    folder: &mut StudyFolder,
    occasion: Occasion<'_>,
    shelf: &Shelf,
    surroundings: &Surroundings<'_>,
) -> Result<(), Failure> {
    let drawing = Drawing::hushed(surroundings.progress);
    at_terminal_drawn(surroundings, &drawing, &|event| drawing.draw(event), |outside| {
        sweep_into(folder, occasion, shelf, outside).map(|_| ())
    })
}

/// Says that the last line of a folder was torn, where it was.
pub fn tell_of_torn(folder: &StudyFolder) {
    if folder.torn_bytes() > 0 {
        eprintln!(
            "the last line was torn ({} bytes) when a program was cut off: that sweep was not acknowledged and does not count",
            folder.torn_bytes()
        );
    }
}

/// Asks for a part to be mounted and waits for Enter.
///
/// # Errors
/// [`Failure::Rig`] when nobody answers, or Ctrl-C was pressed: nothing has been driven then.
pub fn ask_to_mount(what: &str, surroundings: &Surroundings<'_>) -> Result<(), Failure> {
    eprintln!("{what}, then press Enter");
    match Typed::answer(surroundings.stop) {
        Some(_) => Ok(()),
        None if surroundings.stop.is_cancelled() => Err(stopped()),
        None => Err(Failure::Rig(anyhow!(
            "nobody confirmed that the part is mounted. What was swept is kept; run the same command again to go on"
        ))),
    }
}

/// The message when the user stopped it.
pub fn stopped() -> Failure {
    Failure::Rig(anyhow!("stopped by you. What was swept is kept; run the same command again to go on"))
}
