//! Round-trip times and the offset between the link's clock and the rig's.

use super::{Session, SessionError, nonsense};
use hdrhistogram::Histogram;
use trackpair_protocol::message::{Reply, Request};

/// Lowest and highest round-trip time that is distinguished, µs; beyond, it counts as the highest.
pub const PING_RANGE_US: (u64, u64) = (1, 10_000_000);

/// Significant decimal digits of the histogram.
const DIGITS: u8 = 3;

/// Result of many pings.
#[derive(Clone, Debug)]
pub struct Ping {
    /// Round-trip times, µs on the link's clock; range [`PING_RANGE_US`], 3 significant digits. Repeated requests count
    /// with their repeats.
    pub round_trip_us: Histogram<u64>,
    /// Rig clock minus link clock, µs, from the quickest ping.
    pub offset_us: i64,
    /// Largest error of the offset: half the quickest round trip, µs.
    pub offset_error_us: u64,
}

impl Session {
    /// Pings `count` times (at least once).
    ///
    /// # Errors
    /// As [`Session::request`].
    pub fn ping(&mut self, count: u32) -> Result<Ping, SessionError> {
        let (low, high) = PING_RANGE_US;
        let mut round_trip_us = Histogram::new_with_bounds(low, high, DIGITS)
            .map_err(|error| nonsense("clock ping", &error.to_string()))?;
        let mut quickest: Option<(u64, i64)> = None;
        for _ in 0..count.max(1) {
            let sent = self.line.now().as_micros() as u64;
            let reply = self.request(&Request::ClockPing { host_stamp: sent })?;
            let received = self.line.now().as_micros() as u64;
            let Reply::Clock { host_stamp, rig_us } = reply else {
                return Err(nonsense("clock ping", "another kind of answer"));
            };
            if host_stamp != sent {
                return Err(nonsense("clock ping", &format!("sent {sent}, got {host_stamp} back")));
            }
            let trip = received.saturating_sub(sent);
            round_trip_us.saturating_record(trip.clamp(low, high));
            if quickest.is_none_or(|(best, _)| trip < best) {
                quickest = Some((trip, rig_us as i64 - (sent + trip / 2) as i64));
            }
        }
        let (trip, offset_us) = quickest.unwrap_or_default();
        Ok(Ping { round_trip_us, offset_us, offset_error_us: trip.div_ceil(2) })
    }
}
