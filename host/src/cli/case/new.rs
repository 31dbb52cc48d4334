//! `case new`: a case begins with what was complained of.

use super::ask::Asking;
use super::typed::{self, Intake};
use crate::case::{CaseError, Opening};
use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::filing::{Desk, refused, tell_kept};
use crate::cli::options::archive::Where;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::answers::Typed;
use crate::diagnosis::Complaint;
use crate::job::Failure;
use anyhow::anyhow;
use clap::Args;
use std::io::IsTerminal;

/// `case new`.
#[derive(Args, Debug)]
pub struct NewCase {
    /// The complaint in the rider's words; without it, on a terminal, everything is asked for
    #[arg(long, value_name = "TEXT")]
    pub complaint: Option<String>,
    /// The vehicle in your own words
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub vehicle: String,
    /// Symptoms, codes, what was seen, parts.
    #[command(flatten)]
    pub intake: Intake,
    /// Ask for everything, whatever standard input is
    #[arg(long, conflicts_with_all = ["complaint", "symptom", "code", "seen", "intake"])]
    pub ask: bool,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
}

/// Carries out `case new`.
///
/// # Errors
/// [`Failure::Usage`] for what can't be understood; nothing is kept then.
pub fn new(args: &NewCase, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let opening = match &args.complaint {
        Some(words) => typed_opening(args, words)?,
        None if args.ask || std::io::stdin().is_terminal() => {
            let (mut answers, mut questions) = (Typed::new(surroundings.stop), std::io::stderr().lock());
            Asking { answers: &mut answers, questions: &mut questions }.opening().map_err(|e| {
                if surroundings.stop.is_cancelled() {
                    Failure::Rig(anyhow!("stopped by you: no case was begun"))
                } else {
                    Failure::Usage(e.into())
                }
            })?
        }
        None => {
            return Err(Failure::Usage(anyhow!(
                "a case begins with its complaint: give --complaint TEXT, or --ask to be asked for everything"
            )));
        }
    };
    let desk = Desk::of(args.place.archive.as_deref(), surroundings)?;
    let date = date();
    let kept = desk.archive.open_case(opening, desk.sealing(&date)).map_err(refused)?;
    tell_kept(&kept);
    println!("next: trackpair case show {}", kept.case);
    Ok(Ending::Done)
}

fn typed_opening(args: &NewCase, words: &str) -> Result<Opening, Failure> {
    if words.trim().is_empty() {
        return Err(Failure::Usage(anyhow!("--complaint is empty; write what the rider says")));
    }
    if let Some(why) = typed::contradiction(&args.intake.seen) {
        return Err(Failure::Usage(anyhow!("{why}")));
    }
    let twice = args
        .intake
        .intake
        .iter()
        .enumerate()
        .find(|(k, p)| args.intake.intake[..*k].iter().any(|o| o.label == p.label));
    if let Some((_, part)) = twice {
        let error = CaseError::PartTwice { case: "the case".to_owned(), label: part.label.clone() };
        return Err(Failure::Usage(error.into()));
    }
    let complaint = Complaint {
        words: words.to_owned(),
        symptoms: args.intake.symptom.clone(),
        codes: args.intake.code.clone(),
        seen: args.intake.seen.clone(),
    };
    Ok(Opening { vehicle: args.vehicle.clone(), complaint, parts: args.intake.intake.clone() })
}
