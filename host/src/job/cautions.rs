//! The cautions before a throttle body is driven: shown always, and to be accepted where the rig is real.

use super::event::Event;
use super::failure::Failure;
use super::outside::{Answer, Outside, Question};
use crate::link::Address;
use anyhow::anyhow;

/// Why the motor may be driven.
#[derive(Clone, Copy, Debug)]
pub enum Consent {
    /// The rig is simulated in this process. What a port says of itself is not a reason.
    NothingMoves,
    /// By option.
    Given,
    /// Not yet: it must be asked for.
    Missing,
}

impl Consent {
    /// From the rig's address, and whether the cautions were accepted beforehand.
    pub fn of(rig: &str, accepted: bool) -> Self {
        match Address::parse(rig) {
            Ok(Address::Sim { .. }) => Self::NothingMoves,
            _ if accepted => Self::Given,
            _ => Self::Missing,
        }
    }
}

/// Has the cautions shown, and asks for what is missing.
///
/// # Errors
/// [`Failure::Usage`] when they were not accepted, [`Failure::Rig`] when the job is to stop: nothing has been driven then.
pub fn show(consent: Consent, outside: &Outside<'_>) -> Result<(), Failure> {
    outside.tell(Event::Cautions { nothing_moves: matches!(consent, Consent::NothingMoves) });
    if !matches!(consent, Consent::Missing) {
        return Ok(());
    }
    match outside.ask(Question::CautionsRead) {
        Answer::Yes => Ok(()),
        Answer::Nobody => Err(refused("they were not accepted")),
        Answer::No if outside.stop.is_cancelled() => {
            Err(Failure::Rig(anyhow!("stopped by you at the cautions: nothing was driven")))
        }
        Answer::No => Err(refused("the answer was not yes")),
    }
}

fn refused(why: &str) -> Failure {
    Failure::Usage(anyhow!(
        "the cautions must be accepted before the motor is driven, and {why}. Nothing was driven. Read them, then give \
         --i-have-read-the-cautions"
    ))
}
