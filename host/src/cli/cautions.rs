//! The cautions before a throttle body is driven: shown always, and to be accepted where the rig is real.

use super::Failure;
use crate::outcome::CAUTIONS;
use anyhow::anyhow;
use std::io::{BufRead, IsTerminal};

/// Shows the cautions line by line. With a simulated rig, or when accepted by option, it goes on; at a terminal it asks.
///
/// # Errors
/// [`Failure::Usage`] when they were not accepted: nothing has been driven then.
pub fn show(simulated: bool, accepted: bool, say: &dyn Fn(&str)) -> Result<(), Failure> {
    say("Cautions:");
    CAUTIONS.iter().for_each(|caution| say(&format!("- {caution}")));
    if simulated {
        say("The rig is simulated: nothing can move here, so it goes on.");
        return Ok(());
    }
    if accepted {
        return Ok(());
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
