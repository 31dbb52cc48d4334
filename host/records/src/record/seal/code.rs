//! What the QR code on paper says, so that a print can be held against its record: one line of ASCII.

use super::manifest::signed;
use super::{PublicKey, SealFile, from_hex, hex};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD as BASE64;

/// Its first word.
pub const CODE_OPENS: &str = "TRACKPAIR1";

/// A printed code: `TRACKPAIR1 RECORD FINGERPRINT KEY SIGNATURE`; the fingerprint as hex digits, key and signature as base64 (RFC 4648, 5).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintedCode {
    /// Name of the record, as printed: it is not what is signed.
    pub record: String,
    /// Fingerprint, 64 hex digits.
    pub fingerprint: String,
    /// Public key.
    pub key: PublicKey,
    /// Whether the key has signed the fingerprint.
    pub signed: bool,
}

impl PrintedCode {
    /// The code of a sealed record. Names with letters beyond ASCII are shortened to what is.
    pub fn text(record: &str, seal: &SealFile) -> String {
        let ascii: String = record.chars().filter(char::is_ascii_graphic).collect();
        let base64 = |bytes: &[u8]| BASE64.encode(bytes);
        let key = from_hex::<32>(&seal.key).map(|k| base64(&k)).unwrap_or_default();
        let signature = from_hex::<64>(&seal.signature).map(|s| base64(&s)).unwrap_or_default();
        format!("{CODE_OPENS} {ascii} {} {key} {signature}", seal.fingerprint)
    }

    /// Reads a code; none when it is not one.
    pub fn read(text: &str) -> Option<Self> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let [CODE_OPENS, record, fingerprint, key, signature] = words[..] else { return None };
        let digest = from_hex::<32>(fingerprint)?;
        let key: [u8; 32] = BASE64.decode(key).ok()?.try_into().ok()?;
        let signature = BASE64.decode(signature).ok()?;
        Some(Self {
            record: record.to_owned(),
            fingerprint: fingerprint.to_owned(),
            key: PublicKey::from_bytes(&key)?,
            signed: signed(&digest, &hex(&key), &hex(&signature)),
        })
    }
}
