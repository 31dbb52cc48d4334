//! The case that a session with the rig belongs to, looked up before anything is recorded.

use super::failure::Failure;
use crate::case::CaseError;
use crate::record::{Archive, CaseFileError};
use anyhow::anyhow;
use std::path::Path;

/// The case that a session with the rig belongs to.
#[derive(Clone, Debug)]
pub struct InCase {
    /// Its full name.
    pub name: String,
    /// What the part is called there.
    pub label: String,
}

impl InCase {
    /// Looks a case up before anything is recorded. Without a label for the part, the case's one part is meant.
    ///
    /// # Errors
    /// [`Failure::Usage`] when there is no such case, it is closed, or it does not know the part.
    pub fn find(case: &str, label: &str, archive: Option<&Path>) -> Result<Self, Failure> {
        let usage = |e: CaseFileError| Failure::Usage(e.into());
        let dir = match archive {
            Some(dir) => dir.to_path_buf(),
            None => Archive::default_dir().map_err(|e| Failure::Usage(e.into()))?,
        };
        let archive = Archive::open_to_read(&dir).map_err(|e| Failure::Usage(e.into()))?;
        let case = archive.case(case).map_err(usage)?;
        if let Some((date, _)) = case.closed() {
            let closed = CaseError::Closed { case: case.name.clone(), date: date.to_owned() };
            return Err(Failure::Usage(closed.into()));
        }
        let labels: Vec<&str> = case.parts().map(|p| p.label.as_str()).collect();
        let label = match (label, labels.as_slice()) {
            ("", [one]) => (*one).to_owned(),
            ("", []) => {
                return Err(Failure::Usage(anyhow!(
                    "{} names no part; give --part, or add it: trackpair case note {} --intake KIND,label=…",
                    case.name,
                    case.name
                )));
            }
            ("", several) => {
                return Err(Failure::Usage(anyhow!(
                    "{} names {} parts ({}); say which is on the rig with --part",
                    case.name,
                    several.len(),
                    several.join(", ")
                )));
            }
            (given, labels) if labels.contains(&given) => given.to_owned(),
            (given, labels) => {
                let known = if labels.is_empty() { "none".to_owned() } else { labels.join(", ") };
                let no_part = CaseError::NoPart { case: case.name.clone(), label: given.to_owned(), known };
                return Err(Failure::Usage(no_part.into()));
            }
        };
        Ok(Self { name: case.name.clone(), label })
    }
}
