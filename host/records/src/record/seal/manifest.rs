//! What a seal covers: the files of one outcome with their SHA-256, and the seal before it. Its fingerprint is the SHA-256 of its
//! text, which is kept word for word: nothing is ever written anew to be checked.

use super::{PublicKey, ShopKey, from_hex, hex, sha256};
use serde::{Deserialize, Serialize};

/// Version of the manifest.
pub const MANIFEST_SCHEMA: u32 = 1;
/// What a signature of a manifest's fingerprint is for.
const PURPOSE: &str = "trackpair record seal 1";
/// What a signature of a list of documents is for.
const DOCUMENTS_PURPOSE: &str = "trackpair record documents 1";

/// A file and what it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileEntry {
    /// From the archive's folder, with `/`.
    pub path: String,
    /// SHA-256, 64 hex digits.
    pub sha256: String,
    /// Its size.
    pub bytes: u64,
}

/// What a seal covers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// [`MANIFEST_SCHEMA`].
    pub schema: u32,
    /// Place in the archive's chain, from 1.
    pub sequence: u64,
    /// Fingerprint of the seal before; none for the first.
    pub previous: Option<String>,
    /// The record.
    pub record: String,
    /// Which outcome of the record, from 1.
    pub number: u32,
    /// When it was sealed, RFC 3339, by the host's clock.
    pub sealed: String,
    /// Public key of the signer, 64 hex digits.
    pub key: String,
    /// Kind of part.
    pub kind: String,
    /// The user's words for the part.
    pub label: String,
    /// When the record was begun, RFC 3339.
    pub begun: String,
    /// Traces and outcome.
    pub files: Vec<FileEntry>,
}

/// A sealed manifest: what `seal.json` holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SealFile {
    /// The manifest's text.
    pub manifest: String,
    /// Its SHA-256, 64 hex digits.
    pub fingerprint: String,
    /// ed25519 signature of the fingerprint's 32 bytes, 128 hex digits.
    pub signature: String,
    /// The public key, 64 hex digits.
    pub key: String,
    /// JSON list of the reports made with it, as [`FileEntry`]: they show the fingerprint, so the manifest can't name them.
    pub documents: String,
    /// Signature of the fingerprint's 32 bytes followed by that text, 128 hex digits.
    pub documents_signature: String,
}

impl Manifest {
    /// Signs it, without documents yet.
    pub fn seal(&self, key: &ShopKey) -> SealFile {
        // Every type in it serialises.
        let manifest = serde_json::to_string(self).unwrap_or_default();
        let digest = sha256(manifest.as_bytes());
        let seal = SealFile {
            fingerprint: hex(&digest),
            signature: hex(&key.sign(PURPOSE, &digest)),
            key: key.public().to_hex(),
            manifest,
            documents: String::new(),
            documents_signature: String::new(),
        };
        seal.with_documents(&[], key)
    }
}

impl SealFile {
    /// With the documents that were made with its fingerprint.
    pub fn with_documents(self, documents: &[FileEntry], key: &ShopKey) -> Self {
        let documents = serde_json::to_string(documents).unwrap_or_default();
        let signature = key.sign(DOCUMENTS_PURPOSE, &self.documents_message(&documents));
        Self { documents_signature: hex(&signature), documents, ..self }
    }

    fn documents_message(&self, documents: &str) -> Vec<u8> {
        [sha256(self.manifest.as_bytes()).as_slice(), documents.as_bytes()].concat()
    }

    /// The documents, if their list is signed by the same key; else what is amiss, as the end of a sentence.
    ///
    /// # Errors
    /// The list was altered.
    pub fn open_documents(&self) -> Result<Vec<FileEntry>, String> {
        let message = self.documents_message(&self.documents);
        let (key, signature) = (PublicKey::from_hex(&self.key), from_hex::<64>(&self.documents_signature));
        let holds = key.zip(signature).is_some_and(|(k, s)| k.verifies(DOCUMENTS_PURPOSE, &message, &s));
        if !holds {
            return Err("its list of documents was altered: it is not what its key signed".to_owned());
        }
        serde_json::from_str(&self.documents).map_err(|e| format!("its list of documents can't be read: {e}"))
    }

    /// As the text of `seal.json`.
    pub fn to_json(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// The manifest, if fingerprint and signature hold; else what does not, as the end of a sentence.
    ///
    /// # Errors
    /// The manifest was altered, is not signed by the key it names, or is of a later program.
    pub fn open(&self) -> Result<Manifest, String> {
        let digest = sha256(self.manifest.as_bytes());
        if hex(&digest) != self.fingerprint {
            return Err("its manifest was altered: it no longer has its fingerprint".to_owned());
        }
        if !signed(&digest, &self.key, &self.signature) {
            return Err("its signature is not that of the key it names".to_owned());
        }
        #[derive(Deserialize)]
        struct Head {
            schema: u32,
        }
        let head: Head =
            serde_json::from_str(&self.manifest).map_err(|e| format!("its manifest can't be read: {e}"))?;
        if head.schema == 0 || head.schema > MANIFEST_SCHEMA {
            let found = head.schema;
            return Err(format!(
                "its manifest has schema {found}, this program reads 1 to {MANIFEST_SCHEMA}; use a newer program"
            ));
        }
        let manifest: Manifest =
            serde_json::from_str(&self.manifest).map_err(|e| format!("its manifest can't be read: {e}"))?;
        if manifest.key != self.key {
            return Err("its manifest names another key than signed it".to_owned());
        }
        Ok(manifest)
    }
}

/// Whether a fingerprint is signed by a key, both as hex digits.
pub(super) fn signed(digest: &[u8; 32], key: &str, signature: &str) -> bool {
    let (Some(key), Some(signature)) = (PublicKey::from_hex(key), from_hex::<64>(signature)) else {
        return false;
    };
    key.verifies(PURPOSE, digest, &signature)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(path: &str) -> FileEntry {
        FileEntry { path: path.to_owned(), sha256: "11".repeat(32), bytes: 9 }
    }

    fn sealed() -> SealFile {
        let key = ShopKey::from_seed(&[7; 32]);
        let manifest = Manifest {
            schema: MANIFEST_SCHEMA,
            sequence: 3,
            previous: Some("00".repeat(32)),
            record: "invented".to_owned(),
            number: 1,
            sealed: "2026-01-02T03:04:05Z".to_owned(),
            key: key.public().to_hex(),
            kind: "grip".to_owned(),
            label: "an invented grip".to_owned(),
            begun: "2026-01-02T03:04:05Z".to_owned(),
            files: vec![entry("a/b")],
        };
        manifest.seal(&key).with_documents(&[entry("report.html")], &key)
    }

    #[test]
    fn a_seal_opens_and_any_change_of_it_is_told() {
        let good = sealed();
        assert_eq!(good.open().unwrap().sequence, 3);
        assert_eq!(good.open_documents().unwrap(), [entry("report.html")]);
        let fewer = SealFile { documents: "[]".to_owned(), ..good.clone() };
        assert!(fewer.open_documents().unwrap_err().contains("altered"));
        let said = |seal: SealFile| seal.open().unwrap_err();
        let altered = SealFile { manifest: good.manifest.replace("invented", "Invented"), ..good.clone() };
        assert!(said(altered.clone()).contains("altered"));
        let digest = hex(&sha256(altered.manifest.as_bytes()));
        assert!(said(SealFile { fingerprint: digest, ..altered }).contains("signature"));
        let other = ShopKey::from_seed(&[8; 32]).public().to_hex();
        assert!(said(SealFile { key: other, ..good.clone() }).contains("signature"));
        assert!(said(SealFile { signature: "zz".to_owned(), ..good }).contains("signature"));
    }

    #[test]
    fn a_manifest_of_a_later_program_is_named() {
        let key = ShopKey::from_seed(&[7; 32]);
        let manifest = "{\"schema\":2}".to_owned();
        let digest = sha256(manifest.as_bytes());
        let seal = SealFile {
            fingerprint: hex(&digest),
            signature: hex(&key.sign(PURPOSE, &digest)),
            key: key.public().to_hex(),
            manifest,
            ..sealed()
        };
        assert!(seal.open().unwrap_err().contains("schema 2"));
    }
}
