//! The seal inside a document: a slot of fixed length, filled once the bytes are known. It holds the record's fingerprint, the
//! shop's public key, and its signature over that fingerprint and the SHA-256 of the document with its slots empty; so one
//! file alone can be checked.

use super::{PublicKey, ShopKey, hex, sha256};
use crate::outcome::{SLOT_CHARS, SLOT_CLOSES, SLOT_OPENS, empty_slot};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD as BASE64;
use std::ops::Range;

/// Version of the slot's content.
const SLOT_VERSION: u8 = 1;
/// What a signature of a document is for.
const PURPOSE: &str = "trackpair document seal 1";
/// Version, fingerprint, key, signature.
const SLOT_BYTES: usize = 1 + 32 + 32 + 64;

/// What a document's seal says. It holds: the bytes are those that were signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DocumentSeal {
    /// Fingerprint of the record that the document was made from, 64 hex digits.
    pub fingerprint: String,
    /// Who signed it.
    pub key: PublicKey,
}

/// Why a document does not pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DocumentError {
    /// No slot in it.
    #[error("it carries no seal: it was made without a record, by another program, or the seal was removed")]
    NoSeal,
    /// Slots that say different things, or nothing that can be read.
    #[error("its seal can't be read: it was altered")]
    Unreadable,
    /// The bytes are not those that were signed.
    #[error("it was altered after it was sealed, or its seal belongs to another document")]
    Altered,
}

/// Where the slots' content stands in a document.
fn slots(document: &[u8]) -> Vec<Range<usize>> {
    let (opens, closes) = (SLOT_OPENS.as_bytes(), SLOT_CLOSES.as_bytes());
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(at) = document[from..].windows(opens.len()).position(|w| w == opens) {
        let content = from + at + opens.len()..from + at + opens.len() + SLOT_CHARS;
        if document.get(content.end..).is_some_and(|rest| rest.starts_with(closes)) {
            found.push(content.clone());
        }
        from = content.start;
    }
    found
}

/// Fills every slot of a document.
///
/// # Errors
/// [`DocumentError::NoSeal`] when it has none.
pub fn seal_document(
    mut document: Vec<u8>,
    fingerprint: &[u8; 32],
    key: &ShopKey,
) -> Result<Vec<u8>, DocumentError> {
    let slots = slots(&document);
    if slots.is_empty() {
        return Err(DocumentError::NoSeal);
    }
    empty(&mut document, &slots);
    let signature = key.sign(PURPOSE, &[*fingerprint, sha256(&document)].concat());
    let content = [&[SLOT_VERSION][..], fingerprint, &key.public().to_bytes(), &signature].concat();
    let text = BASE64.encode(content);
    for slot in slots {
        document[slot].copy_from_slice(text.as_bytes());
    }
    Ok(document)
}

/// Checks a document by itself.
///
/// # Errors
/// It carries no seal, or not one of these bytes.
pub fn check_document(document: &[u8]) -> Result<DocumentSeal, DocumentError> {
    let slots = slots(document);
    let first = slots.first().ok_or(DocumentError::NoSeal)?;
    let text = &document[first.clone()];
    if slots.iter().any(|slot| document[slot.clone()] != *text) {
        return Err(DocumentError::Unreadable);
    }
    let content = BASE64.decode(text).map_err(|_| DocumentError::Unreadable)?;
    let content: [u8; SLOT_BYTES] = content.try_into().map_err(|_| DocumentError::Unreadable)?;
    let part = |range: Range<usize>| content[range].to_vec();
    let fingerprint: [u8; 32] = part(1..33).try_into().map_err(|_| DocumentError::Unreadable)?;
    let key: [u8; 32] = part(33..65).try_into().map_err(|_| DocumentError::Unreadable)?;
    let signature: [u8; 64] = part(65..SLOT_BYTES).try_into().map_err(|_| DocumentError::Unreadable)?;
    let key = PublicKey::from_bytes(&key)
        .filter(|_| content[0] == SLOT_VERSION)
        .ok_or(DocumentError::Unreadable)?;
    let mut emptied = document.to_vec();
    empty(&mut emptied, &slots);
    if !key.verifies(PURPOSE, &[fingerprint, sha256(&emptied)].concat(), &signature) {
        return Err(DocumentError::Altered);
    }
    Ok(DocumentSeal { fingerprint: hex(&fingerprint), key })
}

fn empty(document: &mut [u8], slots: &[Range<usize>]) {
    let blank = empty_slot();
    for slot in slots {
        document[slot.clone()].copy_from_slice(&blank.as_bytes()[SLOT_OPENS.len()..][..SLOT_CHARS]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sealed() -> Vec<u8> {
        let document = format!("<a {slot}>text</a>{slot} end", slot = empty_slot());
        seal_document(document.into_bytes(), &[5; 32], &ShopKey::from_seed(&[9; 32])).unwrap()
    }

    #[test]
    fn a_sealed_document_says_who_sealed_it_and_from_which_record() {
        let seal = check_document(&sealed()).unwrap();
        assert_eq!(seal.fingerprint, "05".repeat(32));
        assert_eq!(seal.key, ShopKey::from_seed(&[9; 32]).public());
    }

    #[test]
    fn any_altered_byte_of_a_document_is_found() {
        let good = sealed();
        for k in 0..good.len() {
            let mut bad = good.clone();
            bad[k] ^= 1;
            check_document(&bad).expect_err("an altered byte");
        }
        for length in 0..good.len() {
            check_document(&good[..length]).expect_err("a cut document");
        }
        check_document(&[&good[..], b" "].concat()).expect_err("a longer document");
    }

    #[test]
    fn a_seal_taken_from_another_document_does_not_hold() {
        let (good, other) = (sealed(), format!("other {}", empty_slot()).into_bytes());
        let slot = slots(&good)[0].clone();
        let mut forged = other;
        let place = slots(&forged)[0].clone();
        forged[place].copy_from_slice(&good[slot]);
        assert_eq!(check_document(&forged), Err(DocumentError::Altered));
        assert_eq!(check_document(b"nothing"), Err(DocumentError::NoSeal));
        assert_eq!(
            seal_document(b"no slot".to_vec(), &[0; 32], &ShopKey::from_seed(&[9; 32])),
            Err(DocumentError::NoSeal)
        );
    }
}
