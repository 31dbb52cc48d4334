//! What ties a document to the sealed record it was made from: printed on it, and hidden in it as a slot of fixed length
//! that is filled once the document's bytes are known. It does not know keys or hashes, nor where documents go.

/// Characters of a seal in a document: 129 bytes as base64 without padding.
pub const SLOT_CHARS: usize = 172;
/// What stands before a slot.
pub const SLOT_OPENS: &str = "TPSEAL1(";
/// What stands after a slot.
pub const SLOT_CLOSES: &str = ")";

/// What is printed on a document about a sealed record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Name of the record in the archive.
    pub record: String,
    /// SHA-256 of the record's manifest (traces, outcome, predecessor), 64 hex digits.
    pub fingerprint: String,
    /// The shop's public key, ed25519, 64 hex digits.
    pub key: String,
    /// What the QR code says: record, fingerprint, key and signature as one line of ASCII.
    pub code: String,
}

impl Stamp {
    /// The fingerprint in groups of four digits, for reading aloud and comparing on paper: the first `groups`.
    pub fn grouped(&self, groups: usize) -> String {
        let digits: Vec<char> = self.fingerprint.chars().collect();
        let parts: Vec<String> = digits.chunks(4).take(groups).map(|c| c.iter().collect()).collect();
        parts.join(" ")
    }
}

/// An empty slot, to be written exactly once or more into a document's bytes: every one of them is filled alike.
pub fn empty_slot() -> String {
    format!("{SLOT_OPENS}{}{SLOT_CLOSES}", "0".repeat(SLOT_CHARS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fingerprint_is_read_in_groups_of_four() {
        let stamp = Stamp {
            record: "r".to_owned(),
            fingerprint: "0123456789abcdef".to_owned(),
            key: String::new(),
            code: String::new(),
        };
        assert_eq!(stamp.grouped(3), "0123 4567 89ab");
        assert_eq!(stamp.grouped(9), "0123 4567 89ab cdef");
    }

    #[test]
    fn an_empty_slot_has_its_fixed_length() {
        assert_eq!(empty_slot().len(), SLOT_OPENS.len() + SLOT_CHARS + SLOT_CLOSES.len());
    }
}
