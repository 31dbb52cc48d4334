//! A record in one file for a buyer, a customer or a warranty desk: its outcomes, documents and seals, and on request its traces, as a
//! ZIP that any system opens; checked by itself, with the public key alone.

use super::archive::Archive;
use super::archive_error::ArchiveError;
use super::names::outcome_path;
use super::seal::{FileEntry, PublicKey, SealFile, check_document, sha256_hex};
use super::stored::StoredRecord;
use super::verify::Problem;
use std::collections::BTreeSet;
use std::fs;
use std::io::{Cursor, Read, Write};
use zip::result::ZipError;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// Most that is read of a bundle, bytes.
const MOST_BYTES: u64 = 4 << 30;
/// Most files in a bundle.
const MOST_FILES: usize = 10_000;

/// Why a bundle can't be made or read.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// The record can't be read.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// Nothing in it is sealed.
    #[error(
        "the record {0} is not sealed, so nobody could check a bundle of it; `trackpair rejudge {0}` makes a sealed outcome"
    )]
    NotSealed(String),
    /// A seal of it does not open.
    #[error(
        "seal {sequence} of the record can't be used: {why}; `trackpair records verify` says what else is amiss"
    )]
    Seal {
        /// Which.
        sequence: u64,
        /// Why.
        why: String,
    },
    /// Not a ZIP, or a damaged one.
    #[error("this is not a whole ZIP file ({0}); ask for it again")]
    Zip(#[from] ZipError),
    /// It can't be read.
    #[error("the bundle can't be read: {0}")]
    Read(#[from] std::io::Error),
    /// Larger than any bundle.
    #[error("it holds more than {MOST_FILES} files or {MOST_BYTES} bytes: this is not a bundle of trackpair")]
    TooLarge,
}

/// What a bundle shows when it is checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BundleCheck {
    /// Name of the record; none without a seal that opens.
    pub record: Option<String>,
    /// Fingerprints of its seals.
    pub fingerprints: Vec<String>,
    /// Keys that made them.
    pub keys: Vec<PublicKey>,
    /// Files that are what they were.
    pub intact: Vec<String>,
    /// Files that are sealed but not in the bundle.
    pub left_out: Vec<String>,
    /// What is amiss.
    pub problems: Vec<Problem>,
}

/// A record as the bytes of a ZIP file. Every file in it is held against its seal first.
///
/// # Errors
/// It is not sealed, or a file is missing or was altered.
pub fn bundle(archive: &Archive, record: &StoredRecord, with_traces: bool) -> Result<Vec<u8>, BundleError> {
    if record.seals.is_empty() {
        return Err(BundleError::NotSealed(record.summary.record.clone()));
    }
    let mut entries: Vec<FileEntry> = Vec::new();
    for stored in &record.seals {
        let failed = |why| BundleError::Seal { sequence: stored.sequence, why };
        let files = stored.seal.open().map_err(failed)?.files;
        let documents = stored.seal.open_documents().map_err(failed)?;
        for entry in files.into_iter().chain(documents) {
            if (with_traces || !entry.path.ends_with(".parquet")) && !entries.contains(&entry) {
                entries.push(entry);
            }
        }
    }
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    // Stored, and without the time of packing: the same record gives the same bytes.
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for stored in &record.seals {
        writer.start_file(outcome_path(&stored.record, stored.number, "seal", "json"), options)?;
        writer.write_all(stored.seal.to_json().as_bytes())?;
    }
    for entry in entries {
        let path = archive.dir().join(&entry.path);
        let bytes = fs::read(&path).map_err(|cause| ArchiveError::Read { path: path.clone(), cause })?;
        if sha256_hex(&bytes) != entry.sha256 {
            return Err(ArchiveError::Swapped { path }.into());
        }
        writer.start_file(&entry.path, options)?;
        writer.write_all(&bytes)?;
    }
    Ok(writer.finish()?.into_inner())
}

/// Checks a bundle by itself: whose keys these are is for the reader to know.
///
/// # Errors
/// It is no ZIP, or can't be read. What is amiss with its content is not an error: it is reported.
pub fn check_bundle(bytes: &[u8]) -> Result<BundleCheck, BundleError> {
    let files = unpack(bytes)?;
    let mut check = BundleCheck {
        record: None,
        fingerprints: Vec::new(),
        keys: Vec::new(),
        intact: Vec::new(),
        left_out: Vec::new(),
        problems: Vec::new(),
    };
    let mut named: BTreeSet<String> = BTreeSet::new();
    for (name, content) in files.iter().filter(|(name, _)| is_seal(name)) {
        named.insert(name.clone());
        if let Err(why) = check.seal(name, content, &files, &mut named) {
            check.problems.push(Problem { what: name.clone(), why });
        }
    }
    if check.fingerprints.is_empty() && check.problems.is_empty() {
        let why = "no seal is in it: it was made by another program, or the seal was removed".to_owned();
        check.problems.push(Problem { what: "the bundle".to_owned(), why });
    }
    for (name, _) in files.iter().filter(|(name, _)| !named.contains(name)) {
        let why = "no seal names this file: it was added".to_owned();
        check.problems.push(Problem { what: name.clone(), why });
    }
    Ok(check)
}

impl BundleCheck {
    fn seal(
        &mut self,
        name: &str,
        content: &[u8],
        files: &[(String, Vec<u8>)],
        named: &mut BTreeSet<String>,
    ) -> Result<(), String> {
        let text = std::str::from_utf8(content).map_err(|_| "it is not a text".to_owned())?;
        let seal: SealFile = serde_json::from_str(text).map_err(|e| format!("it can't be read: {e}"))?;
        if seal.to_json() != text {
            return Err("it was altered".to_owned());
        }
        let manifest = seal.open()?;
        if name != outcome_path(&manifest.record, manifest.number, "seal", "json") {
            return Err("it is the seal of another outcome".to_owned());
        }
        if self.record.get_or_insert_with(|| manifest.record.clone()) != &manifest.record {
            return Err("it is of another record".to_owned());
        }
        let documents = seal.open_documents()?;
        self.fingerprints.push(seal.fingerprint.clone());
        self.keys.extend(PublicKey::from_hex(&seal.key).filter(|key| !self.keys.contains(key)));
        for entry in &manifest.files {
            self.file(entry, files, named);
        }
        for entry in &documents {
            let Some(bytes) = self.file(entry, files, named) else { continue };
            if !check_document(bytes).is_ok_and(|own| own.fingerprint == seal.fingerprint) {
                let why = "it does not show the seal of this record".to_owned();
                self.problems.push(Problem { what: entry.path.clone(), why });
            }
        }
        Ok(())
    }

    fn file<'f>(
        &mut self,
        entry: &FileEntry,
        files: &'f [(String, Vec<u8>)],
        named: &mut BTreeSet<String>,
    ) -> Option<&'f [u8]> {
        let first = named.insert(entry.path.clone());
        let Some((_, bytes)) = files.iter().find(|(name, _)| *name == entry.path) else {
            if entry.path.ends_with(".parquet") {
                if first {
                    self.left_out.push(entry.path.clone());
                }
            } else {
                let why = "it is sealed, but not in the bundle".to_owned();
                self.problems.push(Problem { what: entry.path.clone(), why });
            }
            return None;
        };
        if sha256_hex(bytes) != entry.sha256 {
            let why = "it was altered or swapped (SHA-256 differs)".to_owned();
            self.problems.push(Problem { what: entry.path.clone(), why });
            return None;
        }
        if first {
            self.intact.push(entry.path.clone());
        }
        Some(bytes)
    }
}

fn is_seal(name: &str) -> bool {
    name.rsplit('/').next().is_some_and(|file| file.starts_with("seal") && file.ends_with(".json"))
}

/// Names and contents, read within bounds. Nothing is written anywhere.
fn unpack(bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, BundleError> {
    let mut zip = ZipArchive::new(Cursor::new(bytes))?;
    if zip.len() > MOST_FILES {
        return Err(BundleError::TooLarge);
    }
    let (mut files, mut left) = (Vec::new(), MOST_BYTES);
    for k in 0..zip.len() {
        let mut entry = zip.by_index(k)?;
        let name = entry.name()?.into_owned();
        let mut content = Vec::new();
        let read = entry.by_ref().take(left + 1).read_to_end(&mut content)? as u64;
        left = left.checked_sub(read).ok_or(BundleError::TooLarge)?;
        files.push((name, content));
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::verify::tests::{kept, key};

    fn made(with_traces: bool) -> Vec<u8> {
        let dir = tempfile::tempdir().unwrap();
        let archive = kept(dir.path());
        bundle(&archive, &archive.record("20260131-140506-second").unwrap(), with_traces).unwrap()
    }

    fn repacked(change: impl FnOnce(&mut Vec<(String, Vec<u8>)>)) -> Vec<u8> {
        let mut files = unpack(&made(true)).unwrap();
        change(&mut files);
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, content) in files {
            writer
                .start_file(name, SimpleFileOptions::default().compression_method(CompressionMethod::Stored))
                .unwrap();
            writer.write_all(&content).unwrap();
        }
        writer.finish().unwrap().into_inner()
    }

    #[test]
    fn a_bundle_shows_by_itself_that_it_is_whole() {
        let check = check_bundle(&made(true)).unwrap();
        assert_eq!(check.problems, []);
        assert_eq!(check.record.as_deref(), Some("20260131-140506-second"));
        assert_eq!((check.fingerprints.len(), check.keys.as_slice()), (2, [key().public()].as_slice()));
        // Two outcomes, two reports, one trace.
        assert_eq!((check.intact.len(), check.left_out.len()), (5, 0));
        let short = check_bundle(&made(false)).unwrap();
        assert_eq!(
            (short.problems.as_slice(), short.intact.len(), short.left_out.len()),
            ([].as_slice(), 4, 1)
        );
        assert_eq!(made(true), made(true), "the same record gives the same bytes");
    }

    #[test]
    fn whatever_is_altered_removed_or_added_in_a_bundle_is_found() {
        let names: Vec<String> = unpack(&made(true)).unwrap().into_iter().map(|(name, _)| name).collect();
        for name in &names {
            let found =
                |files: &mut Vec<(String, Vec<u8>)>| files.iter().position(|(n, _)| n == name).unwrap();
            let altered = repacked(|files| {
                let k = found(files);
                let middle = files[k].1.len() / 2;
                files[k].1[middle] ^= 1;
            });
            assert!(!check_bundle(&altered).unwrap().problems.is_empty(), "{name} altered");
            if !name.ends_with(".parquet") {
                let removed = repacked(|files| {
                    let k = found(files);
                    files.remove(k);
                });
                assert!(!check_bundle(&removed).unwrap().problems.is_empty(), "{name} removed");
            }
        }
        let added = repacked(|files| files.push(("records/x/note.txt".to_owned(), b"trust me".to_vec())));
        assert!(check_bundle(&added).unwrap().problems[0].why.contains("added"));
        let bare = repacked(|files| files.retain(|(name, _)| !is_seal(name)));
        assert!(!check_bundle(&bare).unwrap().problems.is_empty());
    }

    #[test]
    fn what_is_no_bundle_is_told() {
        let good = made(false);
        assert!(matches!(check_bundle(b"PK\x03\x04"), Err(BundleError::Zip(_))));
        assert!(matches!(check_bundle(&good[..good.len() / 2]), Err(BundleError::Zip(_))));
    }
}
