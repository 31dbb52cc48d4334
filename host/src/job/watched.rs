//! Recordings without a program: how long they may be, and where a grip may be held meanwhile.

use super::failure::Failure;
use anyhow::anyhow;

/// Longest recording without a program, s: about 12 MB of memory a minute.
pub const LONGEST_SECONDS: f64 = 900.0;

/// A time to record for, s: 0.5 to [`LONGEST_SECONDS`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seconds(f64);

impl Seconds {
    /// So many, where they are within the range.
    ///
    /// # Errors
    /// [`Failure::Usage`] when they are not.
    pub fn new(seconds: f64) -> Result<Self, Failure> {
        if (0.5..=LONGEST_SECONDS).contains(&seconds) {
            return Ok(Self(seconds));
        }
        let longest = LONGEST_SECONDS;
        Err(Failure::Usage(anyhow!(
            "--for {seconds} s is out of range: 0.5 s to {longest} s; run it again for longer"
        )))
    }

    /// In microseconds.
    pub const fn as_us(self) -> u64 {
        (self.0 * 1e6) as u64
    }
}

/// A place to hold, within a travel.
///
/// # Errors
/// [`Failure::Usage`] when it is not.
pub fn checked_place(at: f64, travel_deg: f64) -> Result<f64, Failure> {
    if (0.0..=travel_deg).contains(&at) {
        return Ok(at);
    }
    Err(Failure::Usage(anyhow!(
        "--at {at}° is out of range: 0 to {travel_deg:.1}°, from the closed stop to wide open"
    )))
}
