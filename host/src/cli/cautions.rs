//! The cautions before a throttle body is driven: shown always, and to be accepted where the rig is real.

use super::Failure;
use crate::link::Address;
use crate::outcome::CAUTIONS;
use anyhow::anyhow;
use std::io::{BufRead, IsTerminal};

/// Why the motor may be driven.
#[derive(Clone, Copy, Debug)]
pub enum Consent {
    /// The rig is simulated in this process. What a port says of itself is no reason.
    NothingMoves,
    /// By option.
    Given,
    /// Not yet: it must be asked for.
    Missing,
}

impl Consent {
    /// From the rig's address as typed, and whether the option was given.
    pub fn of(rig: &str, accepted: bool) -> Self {
        match Address::parse(rig) {
            Ok(Address::Sim { .. }) => Self::NothingMoves,
            _ if accepted => Self::Given,
            _ => Self::Missing,
        }
    }
}

/// Shows the cautions line by line, and asks at a terminal for what is missing.
///
/// # Errors
/// [`Failure::Usage`] when they were not accepted: nothing has been driven then.
pub fn show(consent: Consent, say: &dyn Fn(&str)) -> Result<(), Failure> {
    say("Cautions:");
    CAUTIONS.iter().for_each(|caution| say(&format!("- {caution}")));
    match consent {
        Consent::NothingMoves => {
            say("The rig is simulated: nothing can move here, so it goes on.");
            return Ok(());
        }
        Consent::Given => return Ok(()),
        Consent::Missing => {}
    }
    let input = std::io::stdin();
    if !input.is_terminal() {
        return Err(refused("they were not accepted"));
    }
    say("Type yes when you have read them and nobody is near the bore:");
    let mut answer = String::new();
    match input.lock().read_line(&mut answer) {
        Ok(_) if answer.trim().eq_ignore_ascii_case("yes") => Ok(()),
        _ => Err(refused("the answer was not yes")),
    }
}

fn refused(why: &str) -> Failure {
    Failure::Usage(anyhow!(
        "the cautions must be accepted before the motor is driven, and {why}; nothing was driven: read them, then give \
         --i-have-read-the-cautions"
    ))
}
