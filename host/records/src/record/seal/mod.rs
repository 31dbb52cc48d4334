//! What makes a record's content provable: manifests with SHA-256, one chain of them over the archive, ed25519 signatures,
//! and seals inside single documents. It does not know what an outcome says.
//!
//! - `key`: the shop's key and its file.
//! - `manifest`: what a seal covers, and its fingerprint.
//! - `document`: the seal inside a report or certificate.
//! - `code`: what the QR code says.

mod code;
mod document;
mod key;
mod manifest;

pub use code::{CODE_OPENS, PrintedCode};
pub use document::{DocumentError, DocumentSeal, check_document, seal_document};
pub use key::{KeyError, PublicKey, ShopKey};
pub use manifest::{FileEntry, MANIFEST_SCHEMA, Manifest, SealFile};

use sha2::{Digest, Sha256};

/// SHA-256 of some bytes (FIPS 180-4).
pub fn sha256(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// The same as 64 hex digits.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&sha256(bytes))
}

/// Bytes as lower-case hex digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Hex digits as bytes; none unless they are exactly so many.
pub fn from_hex<const N: usize>(text: &str) -> Option<[u8; N]> {
    if text.len() != 2 * N || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let mut bytes = [0; N];
    for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sha256_gives_the_published_digests() {
        // FIPS 180-4 examples by NIST (csrc.nist.gov, "SHA256.pdf"): "abc" and the two-block message.
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(
            sha256_hex(b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
        );
    }

    #[test]
    fn hex_digits_come_back_and_others_are_refused() {
        assert_eq!(from_hex::<3>(&hex(&[0, 171, 255])), Some([0, 171, 255]));
        for bad in ["", "00ab", "00abfg", "+0abff", "00abff00", "00abfü"] {
            assert_eq!(from_hex::<3>(bad), None, "{bad}");
        }
    }
}
