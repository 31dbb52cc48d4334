//! Reading from a stream in a test, where the end of some other test's child process may interrupt it.

use std::io::{ErrorKind, Read, Result};

/// Like [`Read::read`], but a signal that has come (`EINTR`) is no error: it reads again.
///
/// # Errors
/// Those of the stream; a timeout is one.
pub fn read_some(from: &mut impl Read, bytes: &mut [u8]) -> Result<usize> {
    loop {
        match from.read(bytes) {
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            read => return read,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Is interrupted twice, then gives a byte, then fails.
    struct Restless(u32);

    impl Read for Restless {
        fn read(&mut self, bytes: &mut [u8]) -> Result<usize> {
            self.0 += 1;
            match self.0 {
                1 | 2 => Err(ErrorKind::Interrupted.into()),
                3 => {
                    bytes[0] = 7;
                    Ok(1)
                }
                _ => Err(ErrorKind::TimedOut.into()),
            }
        }
    }

    #[test]
    fn an_interruption_is_no_error_and_a_timeout_is() {
        let (mut from, mut bytes) = (Restless(0), [0]);
        assert_eq!(read_some(&mut from, &mut bytes).unwrap(), 1);
        assert_eq!(bytes, [7]);
        assert_eq!(read_some(&mut from, &mut bytes).unwrap_err().kind(), ErrorKind::TimedOut);
    }
}
