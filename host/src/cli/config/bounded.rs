//! Files of bounded size: whatever stands there, memory is not filled.

use std::io::Read;
use std::path::Path;

/// Why a file of bounded size can't be had.
pub enum ReadError {
    /// The system's message.
    System(std::io::Error),
    /// It has more bytes.
    TooLarge,
}

/// A file's bytes, at most so many: whatever stands there, memory is not filled.
pub fn read_bounded(path: &Path, most: u64) -> Result<Vec<u8>, ReadError> {
    let file = std::fs::File::open(path).map_err(ReadError::System)?;
    // A pipe or a device would be waited for.
    let kind = file.metadata().map_err(ReadError::System)?.file_type();
    if !kind.is_file() {
        return Err(ReadError::System(std::io::Error::other("it is not a file")));
    }
    let mut bytes = Vec::new();
    file.take(most + 1).read_to_end(&mut bytes).map_err(ReadError::System)?;
    if bytes.len() as u64 > most { Err(ReadError::TooLarge) } else { Ok(bytes) }
}
