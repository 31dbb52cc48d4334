//! Cases in the archive: an entry is a file, a row and a seal in the archive's chain, whole or not at all.

use super::archive::Archive;
use super::archive_error::ArchiveError;
use super::folder::{ClockWarning, Document, Sealing};
use super::head;
use super::index::{Index, StoredEntry, StoredSeal, Writing};
use super::names::{case_path, case_stem};
use super::seal::{
    FileEntry, MANIFEST_SCHEMA, Manifest, PrintedCode, ShopKey, seal_document, sha256, sha256_hex,
};
use super::whole_file::write_whole;
use crate::case::{Case, CaseError, Content, ENTRY_SCHEMA, Entry, EntryError, Opening};
use crate::outcome::Stamp;
use std::path::PathBuf;

/// Kind that a manifest of a case's entry has.
pub(super) const CASE_KIND: &str = "case";
/// Cases of one second and vehicle that are distinguished.
const MOST_ALIKE: u32 = 1000;

/// Why a case can't be kept or read.
#[derive(Debug, thiserror::Error)]
pub enum CaseFileError {
    /// The archive can't be used.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// The entry may not be added.
    #[error(transparent)]
    Rule(#[from] CaseError),
    /// No case of that name.
    #[error("the archive {archive} has no case {case:?}; `trackpair case list` shows their names", archive = .archive.display())]
    NoCase {
        /// The archive's folder.
        archive: PathBuf,
        /// What was asked for.
        case: String,
    },
    /// Several cases fit.
    #[error("{part:?} fits {count} cases ({names}); give more of the name")]
    Several {
        /// What was asked for.
        part: String,
        /// How many fit.
        count: usize,
        /// The first of them.
        names: String,
    },
    /// A stored entry can't be read.
    #[error("{case}, entry {number}: {cause}; `trackpair records verify` says what else is amiss")]
    Entry {
        /// The case.
        case: String,
        /// Which.
        number: u32,
        /// Why.
        cause: EntryError,
    },
}

impl From<super::index::IndexError> for CaseFileError {
    fn from(cause: super::index::IndexError) -> Self {
        Self::Archive(cause.into())
    }
}

/// An entry that was kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptEntry {
    /// The case.
    pub case: String,
    /// Its number there.
    pub number: u32,
    /// Fingerprint of its seal; none without a key.
    pub fingerprint: Option<String>,
    /// Its file.
    pub file: PathBuf,
    /// Its documents' files.
    pub documents: Vec<PathBuf>,
    /// What the user should know: the clock, the head.
    pub warnings: Vec<String>,
}

impl Archive {
    /// Begins a case, named by date and the user's words for the vehicle.
    ///
    /// # Errors
    /// It can't be written; nothing of it counts then.
    pub fn open_case(&self, opening: Opening, sealing: Sealing<'_>) -> Result<KeptEntry, CaseFileError> {
        let stem = case_stem(sealing.date, &opening.vehicle);
        let mut index = Index::open(self.dir())?;
        let writing = index.begin_writing()?;
        let names = (1..=MOST_ALIKE).map(|n| if n == 1 { stem.clone() } else { format!("{stem}-{n}") });
        let mut free = None;
        for name in names {
            if writing.entries_of(&name)?.is_empty() {
                free = Some(name);
                break;
            }
        }
        let name = free.unwrap_or(stem);
        let entry = self.entry(&name, 1, Content::Opening(opening), sealing);
        let kept = self.write_entry(writing, &[], &entry, sealing, |_| Vec::new())?;
        Ok(self.renewed(kept, &mut index, sealing))
    }

    /// Adds an entry to a case, with documents that go with it.
    ///
    /// # Errors
    /// There is no such case, its rules forbid the entry, or it can't be written; nothing of it counts then.
    pub fn add_to_case(
        &self,
        case: &str,
        content: Content,
        sealing: Sealing<'_>,
        documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
    ) -> Result<KeptEntry, CaseFileError> {
        let mut index = Index::open(self.dir())?;
        let writing = index.begin_writing()?;
        let stored = writing.entries_of(case)?;
        let before = self.read_case(case, &stored)?;
        before.allows(&content)?;
        let entry = self.entry(case, stored.len() as u32 + 1, content, sealing);
        let kept = self.write_entry(writing, &before.entries, &entry, sealing, documents)?;
        Ok(self.renewed(kept, &mut index, sealing))
    }

    /// Every case, in the order of their opening.
    ///
    /// # Errors
    /// The index or an entry can't be read.
    pub fn cases(&self) -> Result<Vec<Case>, CaseFileError> {
        let all = self.index()?.entries()?;
        let mut cases = Vec::new();
        for stored in all.chunk_by(|a, b| a.case == b.case) {
            cases.push(self.read_case(&stored[0].case, stored)?);
        }
        cases.sort_by(|a, b| (a.opened(), &a.name).cmp(&(b.opened(), &b.name)));
        Ok(cases)
    }

    /// A case by its name, or by a part of it that no other has.
    ///
    /// # Errors
    /// None fits, several do, or it can't be read.
    pub fn case(&self, name: &str) -> Result<Case, CaseFileError> {
        let index = self.index()?;
        let exact = index.entries_of(name)?;
        if !exact.is_empty() {
            return self.read_case(name, &exact);
        }
        let mut names: Vec<String> = index.entries()?.into_iter().map(|e| e.case).collect();
        names.dedup();
        names.retain(|n| !name.is_empty() && n.contains(name));
        match names.as_slice() {
            [] => Err(self.no_case(name)),
            [one] => self.read_case(one, &index.entries_of(one)?),
            several => Err(CaseFileError::Several {
                part: name.to_owned(),
                count: several.len(),
                names: several.iter().take(5).cloned().collect::<Vec<_>>().join(", "),
            }),
        }
    }

    fn no_case(&self, name: &str) -> CaseFileError {
        CaseFileError::NoCase { archive: self.dir().to_path_buf(), case: name.to_owned() }
    }

    fn read_case(&self, name: &str, stored: &[StoredEntry]) -> Result<Case, CaseFileError> {
        if stored.is_empty() {
            return Err(self.no_case(name));
        }
        let read = |stored: &StoredEntry| {
            Entry::from_json(&stored.entry).map_err(|cause| CaseFileError::Entry {
                case: name.to_owned(),
                number: stored.number,
                cause,
            })
        };
        let entries = stored.iter().map(read).collect::<Result<_, _>>()?;
        Ok(Case { name: name.to_owned(), entries })
    }

    fn entry(&self, case: &str, number: u32, content: Content, sealing: Sealing<'_>) -> Entry {
        let date = sealing.date.to_owned();
        Entry { schema: ENTRY_SCHEMA, case: case.to_owned(), number, date, content }
    }

    fn write_entry(
        &self,
        writing: Writing<'_>,
        before: &[Entry],
        entry: &Entry,
        sealing: Sealing<'_>,
        documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
    ) -> Result<KeptEntry, CaseFileError> {
        let text = entry.to_json();
        let file = self.put(&case_path(&entry.case, entry.number, "entry", "json"), text.as_bytes())?;
        writing.add_entry(&StoredEntry::of(entry, &file.path, text))?;
        let path = self.dir().join(&file.path);
        let mut kept = KeptEntry {
            case: entry.case.clone(),
            number: entry.number,
            fingerprint: None,
            file: path,
            documents: Vec::new(),
            warnings: Vec::new(),
        };
        let documents = match sealing.key {
            None => self.put_documents(entry, documents(None))?,
            Some(key) => self.seal_entry(&writing, before, entry, file, key, &mut kept, documents)?,
        };
        kept.documents = documents.into_iter().map(|d| self.dir().join(d.path)).collect();
        writing.commit()?;
        Ok(kept)
    }

    /// The next link of the chain, the documents that show it, and its row.
    #[expect(clippy::too_many_arguments, reason = "each is one thing that a seal is made of")]
    fn seal_entry(
        &self,
        writing: &Writing<'_>,
        before: &[Entry],
        entry: &Entry,
        file: FileEntry,
        key: &ShopKey,
        kept: &mut KeptEntry,
        documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
    ) -> Result<Vec<FileEntry>, CaseFileError> {
        let last = writing.head()?;
        let first = before.first().unwrap_or(entry);
        let vehicle = match &first.content {
            Content::Opening(opening) => opening.vehicle.clone(),
            _ => String::new(),
        };
        let manifest = Manifest {
            schema: MANIFEST_SCHEMA,
            sequence: last.as_ref().map_or(1, |b| b.sequence + 1),
            previous: last.as_ref().map(|b| b.seal.fingerprint.clone()),
            record: entry.case.clone(),
            number: entry.number,
            sealed: entry.date.clone(),
            key: key.public().to_hex(),
            kind: CASE_KIND.to_owned(),
            label: vehicle,
            begun: first.date.clone(),
            files: vec![file],
        };
        let seal = manifest.seal(key);
        let stamp = Stamp {
            record: entry.case.clone(),
            fingerprint: seal.fingerprint.clone(),
            key: seal.key.clone(),
            code: PrintedCode::text(&entry.case, &seal),
        };
        let digest = sha256(seal.manifest.as_bytes());
        let sealed = documents(Some(&stamp)).into_iter().map(|document| {
            let bytes = seal_document(document.bytes.clone(), &digest, key).unwrap_or(document.bytes);
            Document { bytes, ..document }
        });
        let documents = self.put_documents(entry, sealed.collect())?;
        let seal = seal.with_documents(&documents, key);
        self.put(&case_path(&entry.case, entry.number, "seal", "json"), seal.to_json().as_bytes())?;
        kept.fingerprint = Some(stamp.fingerprint);
        kept.warnings
            .extend(last.as_ref().and_then(|l| ClockWarning::of(l, &entry.date)).map(|w| w.to_string()));
        writing.add_seal(&StoredSeal {
            sequence: manifest.sequence,
            record: manifest.record,
            number: manifest.number,
            previous: manifest.previous,
            seal,
        })?;
        Ok(documents)
    }

    fn put_documents(
        &self,
        entry: &Entry,
        documents: Vec<Document>,
    ) -> Result<Vec<FileEntry>, CaseFileError> {
        documents
            .iter()
            .map(|d| self.put(&case_path(&entry.case, entry.number, d.stem, d.ending), &d.bytes))
            .collect()
    }

    fn put(&self, path: &str, bytes: &[u8]) -> Result<FileEntry, CaseFileError> {
        let full = self.dir().join(path);
        write_whole(&full, bytes).map_err(|cause| ArchiveError::File { path: full, cause })?;
        Ok(FileEntry { path: path.to_owned(), sha256: sha256_hex(bytes), bytes: bytes.len() as u64 })
    }

    /// What was committed counts; a head that stays behind the chain is not a fault of it.
    fn renewed(&self, mut kept: KeptEntry, index: &mut Index, sealing: Sealing<'_>) -> KeptEntry {
        if let Some(key) = sealing.key {
            let failed = head::renew(self.dir(), index, key, sealing.date).err();
            kept.warnings.extend(failed.map(|e| e.to_string()));
        }
        kept
    }
}

#[cfg(test)]
#[path = "cases_tests.rs"]
mod tests;
