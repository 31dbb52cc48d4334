//! The seals, in order: each opens, names the one before it, and covers files that still are what they were; and the head.

use super::{BTreeMap, Expected, Sealed, StoredSeal, Verifier, check_document};
use crate::record::head::{HEAD_FILE, Head};
use crate::record::names::{is_case, seal_path};
use crate::record::seal::{PublicKey, SealFile};
use std::fs;

impl Verifier<'_> {
    /// Walks the chain; the seals that could be opened.
    pub(super) fn chain(&mut self, seals: &[StoredSeal], expected: &Expected) -> Vec<Sealed> {
        let (mut sealed, mut before): (Vec<Sealed>, Option<&StoredSeal>) = (Vec::new(), None);
        let mut others: BTreeMap<String, u64> = BTreeMap::new();
        for seal in seals {
            self.found.seals += 1;
            self.link(seal, before);
            before = Some(seal);
            if !expected.keys.is_empty() && !expected.keys.iter().any(|k| k.to_hex() == seal.seal.key) {
                *others.entry(seal.seal.key.clone()).or_default() += 1;
                self.problem(name(seal), format!("it was made with another key, {}", seal.seal.key));
            }
            self.seal_file(seal);
            match seal.seal.open() {
                Err(why) => self.problem(name(seal), why),
                Ok(manifest) => {
                    let row = (seal.sequence, &seal.record, seal.number, &seal.previous);
                    if row != (manifest.sequence, &manifest.record, manifest.number, &manifest.previous) {
                        let why = "its row in the index says something else than its manifest: it was altered or moved";
                        self.problem(name(seal), why);
                    }
                    for entry in &manifest.files {
                        self.file(entry);
                    }
                    self.documents(seal);
                    sealed.push(Sealed { seal: seal.clone(), manifest });
                }
            }
        }
        self.found.newest = before.map(|b| b.seal.fingerprint.clone());
        for (key, count) in others {
            self.found.notes.push(format!(
                "{count} seals were made with the key {key}; name it too if it was the shop's"
            ));
        }
        if let Some(wanted) = &expected.fingerprint
            && !seals.iter().any(|s| s.seal.fingerprint.eq_ignore_ascii_case(wanted))
        {
            self.problem(
                wanted,
                "no seal has this fingerprint: it was removed, or belongs to another archive",
            );
        }
        self.head(seals);
        sealed
    }

    fn link(&mut self, seal: &StoredSeal, before: Option<&StoredSeal>) {
        let due = before.map_or(1, |b| b.sequence.saturating_add(1));
        if seal.sequence < due {
            self.problem(
                name(seal),
                format!("its place in the chain was altered: it should be {due} or later"),
            );
        } else if seal.sequence > due {
            let last = seal.sequence - 1;
            let missing = if last == due { due.to_string() } else { format!("{due} to {last}") };
            self.problem(name(seal), format!("seal {missing} before it is missing from the index"));
        } else if seal.previous.as_ref() != before.map(|b| &b.seal.fingerprint) {
            self.problem(
                name(seal),
                "the seal before it is not the one that it names: seals were exchanged, removed or reordered",
            );
        }
    }

    /// The seal's file says the same as its row.
    fn seal_file(&mut self, seal: &StoredSeal) {
        let path = seal_path(&seal.record, seal.number);
        self.known.insert(path.clone());
        let Ok(text) = fs::read_to_string(self.dir.join(&path)) else {
            return self.problem(path, "the file is missing or can't be read");
        };
        self.found.files += 1;
        self.found.bytes += text.len() as u64;
        if serde_json::from_str::<SealFile>(&text).ok().as_ref() != Some(&seal.seal)
            || text != seal.seal.to_json()
        {
            self.problem(path, "the file was altered: it is not the seal that the index has");
        }
    }

    /// Reports and certificates: listed and signed, each with a seal of its own.
    fn documents(&mut self, seal: &StoredSeal) {
        let entries = match seal.seal.open_documents() {
            Ok(entries) => entries,
            Err(why) => return self.problem(name(seal), why),
        };
        for entry in entries {
            let Some(bytes) = self.file(&entry) else { continue };
            match check_document(&bytes) {
                Ok(own)
                    if own.fingerprint == seal.seal.fingerprint
                        && Some(own.key) == PublicKey::from_hex(&seal.seal.key) => {}
                Ok(_) => self.problem(&entry.path, "it shows the seal of another record"),
                Err(why) => self.problem(&entry.path, why.to_string()),
            }
        }
    }

    /// A chain that was cut at its end is shorter than its head says.
    fn head(&mut self, seals: &[StoredSeal]) {
        if seals.is_empty() && !self.dir.join(HEAD_FILE).exists() {
            return;
        }
        let text = fs::read_to_string(self.dir.join(HEAD_FILE));
        let Some(head) = text.ok().and_then(|t| serde_json::from_str::<Head>(&t).ok()) else {
            return self.problem(
                HEAD_FILE,
                "the file is missing or can't be read; it tells whether seals were cut off at the end",
            );
        };
        if !head.holds() || !seals.iter().any(|s| s.seal.key == head.key) {
            return self.problem(HEAD_FILE, "it was altered: it is not signed by a key of this archive");
        }
        match seals.iter().find(|s| s.sequence == head.sequence) {
            Some(seal) if seal.seal.fingerprint == head.fingerprint => {}
            Some(_) => {
                self.problem(HEAD_FILE, format!("seal {} is not the one that it names", head.sequence))
            }
            None => {
                let last = seals.last().map_or(0, |s| s.sequence);
                let why = format!(
                    "it names seal {}, but the index ends at {last}: seals were removed",
                    head.sequence
                );
                self.problem(HEAD_FILE, why);
            }
        }
    }
}

/// What to call a seal.
fn name(seal: &StoredSeal) -> String {
    let what = if is_case(&seal.record) { "entry" } else { "outcome" };
    format!("seal {} ({}, {what} {})", seal.sequence, seal.record, seal.number)
}
