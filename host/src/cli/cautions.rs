//! The cautions before a throttle body is driven: shown always, and to be accepted where the rig is real.

use super::terminal::answers::Typed;
use crate::job::Failure;
use crate::link::Address;
use crate::outcome::CAUTIONS;
use anyhow::anyhow;
use std::io::IsTerminal;
use tokio_util::sync::CancellationToken;

/// Why the motor may be driven.
#[derive(Clone, Copy, Debug)]
pub enum Consent<'a> {
    /// The rig is simulated in this process. What a port says of itself is no reason.
    NothingMoves,
    /// By option.
    Given,
    /// Not yet: it must be asked for, until Ctrl-C.
    Missing(&'a CancellationToken),
}

impl<'a> Consent<'a> {
    /// From the rig's address as typed, and whether the option was given.
    pub fn of(rig: &str, accepted: bool, stop: &'a CancellationToken) -> Self {
        match Address::parse(rig) {
            Ok(Address::Sim { .. }) => Self::NothingMoves,
            _ if accepted => Self::Given,
            _ => Self::Missing(stop),
        }
    }
}

/// Shows the cautions line by line, and asks at a terminal for what is missing.
///
/// # Errors
/// [`Failure::Usage`] when they were not accepted, [`Failure::Rig`] on Ctrl-C: nothing has been driven then.
pub fn show(consent: Consent<'_>, say: &dyn Fn(&str)) -> Result<(), Failure> {
    say("Cautions:");
    CAUTIONS.iter().for_each(|caution| say(&format!("- {caution}")));
    let stop = match consent {
        Consent::NothingMoves => {
            say("The rig is simulated: nothing can move here, so it goes on.");
            return Ok(());
        }
        Consent::Given => return Ok(()),
        Consent::Missing(stop) => stop,
    };
    if !std::io::stdin().is_terminal() {
        return Err(refused("they were not accepted"));
    }
    say("Type yes when you have read them and nobody is near the bore:");
    match Typed::answer(stop) {
        Some(answer) if answer.eq_ignore_ascii_case("yes") => Ok(()),
        None if stop.is_cancelled() => {
            Err(Failure::Rig(anyhow!("stopped by you at the cautions: nothing was driven")))
        }
        _ => Err(refused("the answer was not yes")),
    }
}

fn refused(why: &str) -> Failure {
    Failure::Usage(anyhow!(
        "the cautions must be accepted before the motor is driven, and {why}; nothing was driven: read them, then give \
         --i-have-read-the-cautions"
    ))
}
