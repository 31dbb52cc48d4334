//! The guided prompt: one question after another, until the answer can be used. An empty answer leaves a question out.

use super::typed;
use crate::case::{CasePart, Opening};
use crate::diagnosis::{Complaint, Look, Seen, Symptom};
use crate::quantity::PartKind;
use crate::report::document::{look_words, symptom_words};
use crate::report::text::{SENTENCE, plain};
use std::io::{self, BufRead, Write};

/// Why there are no answers.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// The questions ended before their end.
    #[error(
        "the answers ended before the last question; nothing was kept. Give them as options instead: trackpair case new --help"
    )]
    Ended,
    /// Neither answers nor questions go through.
    #[error("the terminal can't be read or written: {0}")]
    Terminal(#[from] io::Error),
}

/// Asks, and takes what is answered.
pub struct Asking<'a> {
    /// Where answers come from.
    pub answers: &'a mut dyn BufRead,
    /// Where questions go.
    pub questions: &'a mut dyn Write,
}

impl Asking<'_> {
    /// A line; empty where the question is left out.
    fn line(&mut self, question: &str) -> Result<String, AskError> {
        write!(self.questions, "{question}\n> ")?;
        self.questions.flush()?;
        let mut line = String::new();
        if self.answers.read_line(&mut line)? == 0 {
            return Err(AskError::Ended);
        }
        Ok(line.trim().to_owned())
    }

    /// The same until `read` can use it.
    fn until<T>(&mut self, question: &str, read: impl Fn(&str) -> Result<T, String>) -> Result<T, AskError> {
        loop {
            let line = self.line(question)?;
            match read(&line) {
                Ok(value) => return Ok(value),
                Err(why) => writeln!(self.questions, "  {}: {why}", plain(&line, SENTENCE))?,
            }
        }
    }

    /// Everything that a case begins with.
    ///
    /// # Errors
    /// The answers end, or the terminal is gone.
    pub fn opening(&mut self) -> Result<Opening, AskError> {
        let words = self.until("What is the complaint, in the rider's words?", not_empty)?;
        let vehicle =
            self.until("Which vehicle? Your own words: what it is, number plate, distance", not_empty)?;
        let symptoms = self.symptoms()?;
        let codes = self.until(
            "Trouble codes in its memory, with spaces between (P2135 P0122); Enter for none",
            |line| line.split_whitespace().map(typed::code).collect::<Result<Vec<_>, _>>(),
        )?;
        let mut seen = Vec::new();
        for look in Look::ALL {
            seen.extend(self.look(look)?);
        }
        let parts = self.parts()?;
        Ok(Opening { vehicle, complaint: Complaint { words, symptoms, codes, seen }, parts })
    }

    fn symptoms(&mut self) -> Result<Vec<Symptom>, AskError> {
        let list: String = Symptom::ALL
            .iter()
            .enumerate()
            .map(|(k, s)| format!("  {:>2}  {}\n", k + 1, symptom_words(*s)))
            .collect();
        self.until(
            &format!("Which of these apply? Numbers with spaces between; Enter for none\n{list}"),
            |line| {
                line.split_whitespace()
                    .map(|word| {
                        let number = word.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
                        let found = number.and_then(|n| Symptom::ALL.get(n)).copied();
                        found.ok_or_else(|| {
                            format!("{word:?} is not a number from 1 to {}", Symptom::ALL.len())
                        })
                    })
                    .collect()
            },
        )
    }

    fn look(&mut self, look: Look) -> Result<Option<Seen>, AskError> {
        let question = format!(
            "{}\n  good, bad or unclear, and what there is to say; Enter where you have not looked",
            look_words(look)
        );
        self.until(&question, |line| {
            if line.is_empty() {
                return Ok(None);
            }
            let (word, note) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
            typed::seen(&format!("{}={}:{note}", look.name(), word.trim_end_matches([':', ',']))).map(Some)
        })
    }

    fn parts(&mut self) -> Result<Vec<CasePart>, AskError> {
        let mut parts: Vec<CasePart> = Vec::new();
        loop {
            let more = if parts.is_empty() { "Which part is in question" } else { "Another part" };
            let question = format!("{more}: grip, body or pair; Enter for none");
            let kind = self.until(&question, |line| match line {
                "" => Ok(None),
                word => {
                    PartKind::from_name(word).map(Some).ok_or_else(|| "answer grip, body or pair".to_owned())
                }
            })?;
            let Some(kind) = kind else { return Ok(parts) };
            let mut field = |question: &str| self.line(question).map(|l| Some(l).filter(|l| !l.is_empty()));
            let number = field("  part number")?;
            let serial = field("  serial number")?;
            let used = field("  its use so far: hours, distance, years")?;
            let origin = field("  where it comes from")?;
            let mut part = CasePart { kind, number, serial, used, origin, ..CasePart::default() };
            let words = [Some(kind.name().to_owned()), part.number.clone(), part.serial.clone()];
            part.label = words.into_iter().flatten().collect::<Vec<_>>().join(" ");
            if parts.iter().any(|p| p.label == part.label) {
                writeln!(
                    self.questions,
                    "  {} is there already; give it a number or serial of its own",
                    plain(&part.label, SENTENCE)
                )?;
                continue;
            }
            parts.push(part);
        }
    }
}

fn not_empty(line: &str) -> Result<String, String> {
    if line.is_empty() { Err("this question needs an answer".to_owned()) } else { Ok(line.to_owned()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(answers: &str) -> (Result<Opening, AskError>, String) {
        let mut questions = Vec::new();
        let mut answers = answers.as_bytes();
        let opening = Asking { answers: &mut answers, questions: &mut questions }.opening();
        (opening, String::from_utf8(questions).unwrap())
    }

    #[test]
    fn questions_are_asked_again_until_their_answers_can_be_used() {
        let (opening, asked) = ask(
            "\nlimp-home at random\nan invented twin\n1 99\n1 2\nP99\np2135\nbad: green growth\n\nfine\ngood\nunclear\n\ngrip\n4711\n\n18000 km\n\nwheel\nbody\n\n\n\n\n\n",
        );
        let opening = opening.unwrap();
        assert_eq!(opening.complaint.words, "limp-home at random");
        assert_eq!(opening.complaint.symptoms, [Symptom::LimpHome, Symptom::WhenSteering]);
        assert_eq!(opening.complaint.codes, ["P2135"]);
        let seen: Vec<_> = opening.complaint.seen.iter().map(|s| (s.look, s.good, s.note.as_str())).collect();
        let due = [
            (Look::Terminals, Some(false), "green growth"),
            (Look::PinFit, Some(true), ""),
            (Look::ConnectorBend, None, ""),
        ];
        assert_eq!(seen, due);
        let labels: Vec<_> = opening.parts.iter().map(|p| p.label.as_str()).collect();
        assert_eq!(labels, ["grip 4711", "body"]);
        for refused in
            ["needs an answer", "not a number from 1 to", "written like P2135", "answer grip, body or pair"]
        {
            assert!(asked.contains(refused), "{refused}: {asked}");
        }
    }

    #[test]
    fn answers_that_end_too_early_are_told() {
        assert!(matches!(ask("limp-home\n").0, Err(AskError::Ended)));
    }
}
