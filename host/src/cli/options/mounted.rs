//! What the options that many commands share mean, once environment and configuration were heard: typed goes before environment,
//! that before the configuration file.

use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::answers::Typed;
use crate::cli::terminal::conclusion::Printed;
use crate::job::in_case::InCase;
use crate::job::{Failure, Mounted};
use crate::link::Address;
use anyhow::anyhow;
use clap::Args;
use std::cell::OnceCell;
use std::io::IsTerminal;
use std::path::PathBuf;

/// Which rig, which part, where to keep the record.
#[derive(Args, Debug)]
pub struct Common {
    /// Rig address: serial:PATH[?baud=N], tcp:HOST:PORT, sim:PART[?seed=N] or sim:FILE.toml [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// Part sheet, by name or file [else: TRACKPAIR_SHEET, configuration, the shipped sheet whose topology the part shows]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// The part in your words: number, serial, where it came from
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub part: String,
    /// The case that the record belongs to, by its name or a part of it; without --part, its one part is meant
    #[arg(long, value_name = "CASE")]
    pub case: Option<String>,
    /// The part has been left plugged in since the last session: no mating is counted
    #[arg(long)]
    pub still_plugged: bool,
    /// Folder that keeps the records [else: TRACKPAIR_ARCHIVE, configuration, the platform's place for data]
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Print outcome.json on stdout, everything else on stderr
    #[arg(long)]
    pub json: bool,
    /// Print every figure and finding before the summary
    #[arg(long)]
    pub full: bool,
    /// What the case says, once it was looked up.
    #[arg(skip)]
    pub in_case: OnceCell<InCase>,
    /// The part, once it was asked for at the terminal.
    #[arg(skip)]
    pub answered: OnceCell<String>,
}

impl Common {
    /// Asks what the part is, where it was not given and somebody sits at the terminal. An empty answer leaves the part without words.
    /// Nobody is asked for a rig that can't be meant.
    ///
    /// # Errors
    /// As [`rig_meant`]; [`Failure::Rig`] when Ctrl-C was pressed instead: nothing was driven.
    pub fn ask_for_part(&self, surroundings: &Surroundings<'_>) -> Result<(), Failure> {
        let known = !self.part.is_empty() || self.case.is_some();
        if known || !surroundings.progress || !std::io::stdin().is_terminal() {
            return Ok(());
        }
        rig_meant(self.rig.as_deref(), surroundings)?;
        eprintln!("Which part is this? Number, serial, where it came from; Enter leaves it open:");
        match Typed::answer(surroundings.stop) {
            Some(words) => {
                self.answered.get_or_init(|| words);
                Ok(())
            }
            None if surroundings.stop.is_cancelled() => {
                Err(Failure::Rig(anyhow!("stopped by you; nothing was driven")))
            }
            None => Ok(()),
        }
    }

    /// What of the conclusion is printed.
    pub fn printed(&self) -> Printed<'_> {
        Printed { json: self.json, full: self.full, report: None }
    }

    /// The part in words: as typed, or as answered.
    pub fn part_in_words(&self) -> &str {
        self.answered.get().map_or(self.part.as_str(), String::as_str)
    }

    /// What is meant by what was typed. What a report will need is looked at now, before anything is recorded.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the configuration can't be used, its logo included, no rig is named anywhere, or there is no such case.
    pub fn settled<'a>(&'a self, surroundings: &Surroundings<'a>) -> Result<Mounted<'a>, Failure> {
        let config = surroundings.config()?;
        config.shop().map_err(|e| Failure::Usage(e.into()))?;
        let rig = rig_meant(self.rig.as_deref(), surroundings)?;
        let archive = self.archive.as_deref().or(config.archive.value.as_deref());
        let case = match &self.case {
            None => None,
            Some(case) => {
                let found = InCase::find(case, self.part_in_words(), archive)?;
                Some(self.in_case.get_or_init(|| found))
            }
        };
        Ok(Mounted {
            rig,
            sheet: self.sheet.as_deref().or(config.sheet.value.as_deref()),
            part: case.map_or(self.part_in_words(), |case| &case.label),
            case: case.map(|case| case.name.as_str()),
            still_plugged: self.still_plugged,
            archive,
        })
    }
}

/// The rig that is meant.
///
/// # Errors
/// [`Failure::Usage`] when none is named anywhere, the address can't be understood, or the configuration can't be used.
pub fn rig_meant<'a>(typed: Option<&'a str>, surroundings: &Surroundings<'a>) -> Result<&'a str, Failure> {
    if let Some(rig) = typed {
        Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
        return Ok(rig);
    }
    surroundings.config()?.rig.value.as_deref().ok_or_else(|| {
        Failure::Usage(anyhow!(
            "no rig is named: give --rig ADDRESS (serial:PATH, tcp:HOST:PORT or sim:PART), set TRACKPAIR_RIG, or write `rig = …` into the \
             configuration (`trackpair config path`)"
        ))
    })
}
