//! Suspects in words, the same for every medium. It ranks nothing and lays nothing out.

use super::document::Suspect;
use super::text::ohms;
use super::text::{LABEL, SENTENCE, plain};
use crate::outcome::OutcomeSuspect;

/// Most sentences for or against that are shown; all of them stand in the stored outcome.
const MOST: usize = 6;

/// Rows in their order.
pub fn rows(suspects: &[OutcomeSuspect]) -> Vec<Suspect> {
    let several = suspects.iter().any(|s| s.problem > 1);
    suspects.iter().map(|s| row(s, several)).collect()
}

fn row(suspect: &OutcomeSuspect, several: bool) -> Suspect {
    let tied = if suspect.tied_with.is_empty() { "" } else { ", tied" };
    let problem = if several { format!(", problem {}", suspect.problem) } else { String::new() };
    let heading =
        plain(&format!("{}: {:.0} %{tied}{problem}", suspect.title, 100.0 * suspect.probability), LABEL);
    let told = |all: &[String]| {
        let mut some: Vec<String> = all.iter().take(MOST).cloned().collect();
        if all.len() > MOST {
            some.push(format!("{} more in outcome.json", all.len() - MOST));
        }
        some.join("; ")
    };
    let rivals: Vec<String> = suspect.rivals.iter().map(|r| format!("{} ({})", r.title, r.why)).collect();
    let codes: Vec<&str> = suspect.codes.iter().map(|c| c.code.as_str()).collect();
    let lines = [
        ("What fits", told(&suspect.evidence)),
        ("What speaks against it", told(&suspect.against)),
        (Suspect::RIVALS, told(&rivals)),
        ("Trouble codes that would fit", codes.join(", ")),
    ];
    Suspect {
        heading,
        lines: lines
            .into_iter()
            .filter(|(_, text)| !text.is_empty())
            .map(|(name, text)| (name, plain(&ohms(&text), SENTENCE)))
            .collect(),
        next_check: plain(&ohms(&suspect.next_check), SENTENCE),
    }
}
