//! When the drive went on and off, as a file of lines: what the rig's own power stage did, beside what it reported to the host.

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

/// One line per change: the computer's clock (µs since 1970), the rig's clock (µs), `on` or `off`. Each is on disk at once.
#[derive(Debug)]
pub struct DriveLog {
    file: File,
    on: bool,
}

impl DriveLog {
    /// Begins a new file; the drive is off.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn create(path: &Path) -> io::Result<Self> {
        Ok(Self { file: File::create(path)?, on: false })
    }

    /// Notes the drive's state at a time of the rig's clock, µs.
    ///
    /// # Errors
    /// When a line can't be written.
    pub fn note(&mut self, on: bool, rig_us: u64) -> io::Result<()> {
        if on == self.on {
            return Ok(());
        }
        self.on = on;
        let unix_us = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_micros();
        writeln!(self.file, "{unix_us} {rig_us} {}", if on { "on" } else { "off" })?;
        self.file.flush()
    }
}
