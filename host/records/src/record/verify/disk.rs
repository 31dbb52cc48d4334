//! Files under the archive's folder that nothing names.

use super::{Path, PathBuf, Verifier};
use crate::record::head::HEAD_FILE;
use crate::record::index::INDEX_FILE;
use crate::record::names::{CASES, RECORDS, TRACES};
use crate::record::whole_file::PART;
use std::fs;

impl Verifier<'_> {
    /// Every file in the folders of records and traces belongs to something.
    pub(super) fn disk(&mut self) {
        for folder in [CASES, RECORDS, TRACES] {
            for path in files(&self.dir.join(folder)) {
                let Ok(inside) = path.strip_prefix(self.dir) else { continue };
                let inside = inside.to_string_lossy().replace('\\', "/");
                if self.known.contains(&inside) {
                    continue;
                }
                if inside.ends_with(PART) {
                    self.found.notes.push(format!(
                        "{inside}: left half-written by a program that was cut off; it does not count"
                    ));
                } else if self.is_unsealed(&path) {
                    self.found.notes.push(format!(
                        "{inside}: no seal covers it: the key could not be used, or a program was cut off before it could enter it"
                    ));
                } else {
                    self.problem(inside, "no seal and no row names this file: it was added");
                }
            }
        }
        for entry in fs::read_dir(self.dir).into_iter().flatten().flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            let own =
                [CASES, RECORDS, TRACES, HEAD_FILE].contains(&name.as_str()) || name.starts_with(INDEX_FILE);
            if !own && !name.starts_with('.') {
                self.found.notes.push(format!("{name}: not part of the archive; it was not looked at"));
            }
        }
    }

    /// A file of an outcome that was never sealed, or a trace of a record of which none was.
    fn is_unsealed(&self, path: &Path) -> bool {
        let record = path.ancestors().skip(1).find_map(|folder| {
            let name = folder.file_name()?.to_str()?;
            name.strip_prefix("record=").or_else(|| {
                let above = folder.parent()?.file_name()?;
                (above == RECORDS || above == CASES).then_some(name)
            })
        });
        let Some(seals) = record.and_then(|record| self.index.seals_of(record).ok()) else { return false };
        if path.starts_with(self.dir.join(TRACES)) {
            return seals.is_empty();
        }
        // `report-3.html` belongs to the third outcome, `report.html` to the first.
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        let number = stem.rsplit_once('-').map_or(Some(1), |(_, n)| n.parse::<u32>().ok());
        number.is_some_and(|number| seals.iter().all(|s| s.number != number))
    }
}

/// Every file under a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for path in fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()) {
        // Links are not followed: they are files that nothing names.
        if path.is_dir() && !path.is_symlink() {
            found.extend(files(&path));
        } else {
            found.push(path);
        }
    }
    found.sort();
    found
}
