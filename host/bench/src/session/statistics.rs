//! What happened on the line, counted. None of it is an error by itself.

use trackpair_protocol::frame::Drops;

/// Counters of a session. They only grow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Statistics {
    /// Requests sent, repeats not counted, heartbeats counted.
    pub requests: u64,
    /// Repeats of a request whose answer did not come in time.
    pub retries: u64,
    /// Answers that came after the request had been given up or answered otherwise.
    pub late: u64,
    /// Answers that came again.
    pub duplicate: u64,
    /// Heartbeats that were never answered.
    pub heartbeats_unanswered: u64,
    /// Frames of another protocol version.
    pub other_version: u64,
    /// Whole frames that are no message, or such as only a host sends.
    pub not_understood: u64,
    /// Events that never came, by their numbers.
    pub events_lost: u64,
    /// Events that came again.
    pub events_duplicate: u64,
    /// Bytes received.
    pub bytes: u64,
    /// Frames received whole.
    pub frames: u64,
    /// Frames dropped by the deframer, by cause.
    pub drops: Drops,
    /// Blocks that came again.
    pub blocks_duplicate: u64,
    /// Blocks that came before an earlier one and were put in order.
    pub blocks_reordered: u64,
    /// Blocks that came after they had been given up.
    pub blocks_late: u64,
    /// Blocks that belong to no run, or contradict the run they name.
    pub blocks_rejected: u64,
    /// Blocks that came and for which this computer had no room.
    pub blocks_shed: u64,
    /// Scans lost on the way.
    pub scans_lost_line: u64,
    /// Scans that the rig did not send.
    pub scans_lost_rig: u64,
    /// Scans that this computer had no room for.
    pub scans_lost_host: u64,
}
