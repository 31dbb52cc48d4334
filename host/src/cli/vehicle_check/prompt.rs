//! The guided questions: line by line, until an answer can be used. What was answered is saved after every line.

use super::draft::Draft;
use crate::job::Failure;
use crate::report::text::sentence;
use crate::vehicle::file::ReadingsFile;
use crate::vehicle::{Line, Setup, VehicleCheck, allowed, instruction, run_words, show, title};
use anyhow::Context;
use std::io::{BufRead, Write};

/// Asks for a worksheet's lines.
pub struct Asking<'a> {
    /// Where answers come from.
    pub answers: &'a mut dyn BufRead,
    /// Where questions go.
    pub questions: &'a mut dyn Write,
    /// What the lines are.
    pub setup: &'a Setup,
    /// Whether entries whose unit may have slipped are kept.
    pub as_typed: bool,
    /// Where answers are saved.
    pub draft: &'a Draft,
}

/// What came of a question.
enum Answer {
    Next,
    Back,
    Ended,
}

impl Asking<'_> {
    /// Asks for every line that has no entry; false where the answers ended before.
    ///
    /// # Errors
    /// The terminal is gone, or an answer can't be saved.
    pub fn all(&mut self, file: &mut ReadingsFile) -> Result<bool, Failure> {
        let lines: Vec<Line> = self.setup.lines().into_iter().filter(|l| !l.computed).collect();
        let open = |file: &ReadingsFile, line: &Line, skipped: bool| match file
            .readings
            .get(&line.id)
            .map(String::as_str)
        {
            None | Some("") => true,
            Some("-") => skipped,
            Some(_) => false,
        };
        // What was left out is asked for again once nothing else is open.
        let skipped = !lines.iter().any(|l| open(file, l, false));
        self.say("Enter what the meter shows, with its unit. ? repeats, - leaves a line out, back goes to the line before.")?;
        let mut asked: Vec<usize> = Vec::new();
        let mut k = 0;
        let mut told = None;
        while k < lines.len() {
            if !open(file, &lines[k], skipped) && !asked.contains(&k) {
                k += 1;
                continue;
            }
            let line = &lines[k];
            if told != Some((line.run, title(line.check))) {
                told = Some((line.run, title(line.check)));
                self.instruct(line)?;
            }
            match self.one(line, file)? {
                Answer::Ended => return Ok(false),
                Answer::Next => {
                    asked.push(k);
                    k += 1;
                }
                Answer::Back => match asked.pop() {
                    Some(before) => {
                        file.readings.remove(&lines[before].id);
                        k = before;
                    }
                    None => self.say("  This is the first line.")?,
                },
            }
        }
        Ok(true)
    }

    fn say(&mut self, words: &str) -> Result<(), Failure> {
        writeln!(self.questions, "{words}").context("the terminal can't be written").map_err(Failure::Other)
    }

    fn instruct(&mut self, line: &Line) -> Result<(), Failure> {
        self.say(&format!(
            "\n{}: {}\n{}",
            run_words(line.run).to_uppercase(),
            title(line.check),
            instruction(line.run, line.check)
        ))
    }

    /// One line, until its answer can be used.
    fn one(&mut self, line: &Line, file: &mut ReadingsFile) -> Result<Answer, Failure> {
        let volts = self.setup.sheet_of(line.run).map_or(5.0, |s| s.supply_volts);
        let question =
            format!("{} ({}), expected {}:\n> ", show::place(line), line.id, show::expected(line, volts));
        loop {
            write!(self.questions, "{question}")
                .and_then(|()| self.questions.flush())
                .context("the terminal can't be written")
                .map_err(Failure::Other)?;
            let mut answer = String::new();
            let read = self
                .answers
                .read_line(&mut answer)
                .context("the terminal can't be read")
                .map_err(Failure::Other)?;
            if read == 0 {
                return Ok(Answer::Ended);
            }
            let answer = answer.trim();
            match answer {
                "" => self.say(&format!("  Allowed are {}; - leaves the line out.", allowed(line.check)))?,
                "?" => self.instruct(line)?,
                "back" => return Ok(Answer::Back),
                _ => {
                    let mut with = file.clone();
                    with.readings.insert(line.id.clone(), answer.to_owned());
                    match VehicleCheck::of(self.setup, &with.meter, &with.readings, self.as_typed, "") {
                        Err(why) => self.say(&format!("  {}", sentence(&why.to_string())))?,
                        Ok(_) => {
                            *file = with;
                            self.draft.save(file, self.setup)?;
                            return Ok(Answer::Next);
                        }
                    }
                }
            }
        }
    }
}
