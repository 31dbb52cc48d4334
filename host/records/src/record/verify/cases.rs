//! The entries of cases: each row is what its sealed file says, there is no other, and none is missing.

use super::{Sealed, Verifier};
use crate::case::Entry;
use crate::record::archive_error::ArchiveError;
use crate::record::index::StoredEntry;
use crate::record::names::case_path;
use std::collections::BTreeMap;
use std::fs;

impl Verifier<'_> {
    /// Compares the rows of every entry with its file, and looks for entries without a row or a seal.
    pub(super) fn cases(&mut self, sealed: &[Sealed]) -> Result<(), ArchiveError> {
        let seals: BTreeMap<(&str, u32), &Sealed> =
            sealed.iter().map(|one| ((one.manifest.record.as_str(), one.manifest.number), one)).collect();
        let rows = self.index.entries()?;
        self.found.rows += rows.len() as u64;
        for (name, number) in seals.keys() {
            if !rows.iter().any(|row| row.case == *name && row.number == *number) {
                self.problem(row_of(name, *number), "the row is missing");
            }
        }
        for row in &rows {
            let seal = seals.get(&(row.case.as_str(), row.number)).copied();
            self.entry(row, seal);
        }
        for case in rows.chunk_by(|a, b| a.case == b.case) {
            let numbers = case.iter().map(|row| row.number);
            if !numbers.eq(1..=case.len() as u32) {
                let why = "its entries are not numbered from 1 without a gap: one was removed or added";
                self.problem(row_of(&case[0].case, case[0].number), why);
            }
        }
        Ok(())
    }

    fn entry(&mut self, row: &StoredEntry, seal: Option<&Sealed>) {
        let what = row_of(&row.case, row.number);
        let file = seal
            .and_then(|one| one.manifest.files.last())
            .map_or_else(|| case_path(&row.case, row.number, "entry", "json"), |file| file.path.clone());
        self.known.insert(file.clone());
        if seal.is_none() {
            self.found.notes.push(format!(
                "{}, entry {}: not sealed, because the key could not be used; its content is not proven",
                row.case, row.number
            ));
        }
        if self.found.problems.iter().any(|p| p.what == file) {
            return;
        }
        let text = fs::read_to_string(self.dir.join(&file));
        let Some((text, entry)) = text.ok().and_then(|t| Some((t.clone(), Entry::from_json(&t).ok()?)))
        else {
            return self.problem(file, "the entry can't be read");
        };
        if StoredEntry::of(&entry, &file, text) != *row {
            self.problem(what, "the row is not what its file says");
        }
        let Some(seal) = seal else { return };
        let manifest = &seal.manifest;
        if (manifest.record.as_str(), manifest.number) != (entry.case.as_str(), entry.number) {
            self.problem(file, "it is another entry than its seal names");
        }
    }
}

fn row_of(case: &str, number: u32) -> String {
    format!("{}: case_entries of {case}, entry {number}", crate::record::INDEX_FILE)
}
