//! What the options that many commands share mean, once environment and configuration were heard: typed goes before environment,
//! that before the configuration file.

use crate::cli::surroundings::Surroundings;
use crate::job::in_case::InCase;
use crate::job::{Failure, Mounted};
use anyhow::anyhow;
use clap::Args;
use std::cell::OnceCell;
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
    #[arg(long, value_name = "TEXT", default_value = "")]
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
    /// What the case says, once it was looked up.
    #[arg(skip)]
    pub in_case: OnceCell<InCase>,
}

impl Common {
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
                let found = InCase::find(case, &self.part, archive)?;
                Some(self.in_case.get_or_init(|| found))
            }
        };
        Ok(Mounted {
            rig,
            sheet: self.sheet.as_deref().or(config.sheet.value.as_deref()),
            part: case.map_or(&self.part, |case| &case.label),
            case: case.map(|case| case.name.as_str()),
            still_plugged: self.still_plugged,
            archive,
        })
    }
}

/// The rig that is meant.
///
/// # Errors
/// [`Failure::Usage`] when none is named anywhere, or the configuration can't be used.
pub fn rig_meant<'a>(typed: Option<&'a str>, surroundings: &Surroundings<'a>) -> Result<&'a str, Failure> {
    if let Some(rig) = typed {
        return Ok(rig);
    }
    surroundings.config()?.rig.value.as_deref().ok_or_else(|| {
        Failure::Usage(anyhow!(
            "no rig is named: give --rig ADDRESS (serial:PATH, tcp:HOST:PORT or sim:PART), set TRACKPAIR_RIG, or write `rig = …` into the \
             configuration (`trackpair config path`)"
        ))
    })
}
