//! Which sheet is meant: the given one, or the shipped one whose topology the part shows.

use super::Failure;
use crate::analysis::grip::topology_shown;
use crate::record::sheet_file;
use crate::sheet::{PartSheet, Topology, shipped, shipped_names};
use crate::trace::Trace;

/// The sheets that come into question, the likeliest first.
pub struct Shelf {
    sheets: Vec<PartSheet>,
    given: bool,
}

impl Shelf {
    /// The given sheet alone, or all shipped ones.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is unknown or can't be used.
    pub fn new(given: Option<&str>) -> Result<Self, Failure> {
        match given {
            Some(name) => {
                let sheet = sheet_file::load(name).map_err(|e| Failure::Usage(e.into()))?;
                Ok(Self { sheets: vec![sheet], given: true })
            }
            None => {
                Ok(Self { sheets: shipped_names().iter().filter_map(|n| shipped(n)).collect(), given: false })
            }
        }
    }

    /// Changes every sheet, for what the command line overrides.
    pub fn change(&mut self, change: impl Fn(&mut PartSheet)) {
        self.sheets.iter_mut().for_each(change);
    }

    /// The sheet to begin with, before anything is known of the part.
    pub fn first(&self) -> &PartSheet {
        &self.sheets[0]
    }

    /// The sheet to judge by, and a sentence on why when it was not given.
    pub fn choose(&self, moved: Option<&Trace>) -> (&PartSheet, Option<String>) {
        if self.given {
            return (self.first(), None);
        }
        let found = moved.and_then(|trace| topology_shown(trace, self.first()));
        let of = |wanted: Topology| self.sheets.iter().find(|s| s.topology == wanted);
        match found.and_then(|t| of(t).map(|s| (s, t))) {
            Some((sheet, topology)) => {
                let note = format!(
                    "no sheet was given: {} was chosen because the lines move as a {} pair; --sheet fixes it",
                    sheet.name,
                    topology.name()
                );
                (sheet, Some(note))
            }
            None => {
                let note = format!(
                    "no sheet was given and the lines do not show a topology: {} was taken; --sheet fixes it",
                    self.first().name
                );
                (self.first(), Some(note))
            }
        }
    }
}
