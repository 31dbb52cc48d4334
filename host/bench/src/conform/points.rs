//! What is asked of a rig, in the order of WIRE.md.

use super::driving::{
    armed, bad_programs, clear_trip, heartbeats, looking_on, not_armed, releases, silence_armed, tripped,
};
use super::framing::{
    damaged_frame, empty_frames, other_version, repeat, rig_kinds, stale, stateless, too_long, too_short,
};
use super::probe::{Broken, Probe};
use super::requests::{
    channels, identity, inputs, malformed, sessions, start_out_of_range, status, supply_levels, unknown_kind,
};
use super::runs::{
    clock, dead_host, event_numbers, new_session, stopped_run, watched_run, watching, young_blocks,
};

/// One thing that is asked.
pub(super) struct Asked {
    pub(super) section: &'static str,
    pub(super) title: &'static str,
    /// Whether it takes a rig that drives something.
    pub(super) drives: bool,
    pub(super) ask: fn(&mut Probe) -> Result<(), Broken>,
}

const fn point(
    section: &'static str,
    title: &'static str,
    ask: fn(&mut Probe) -> Result<(), Broken>,
) -> Asked {
    Asked { section, title, drives: false, ask }
}

/// Every point.
pub(super) const POINTS: &[Asked] = &[
    point("1", "empty frames are passed over", empty_frames),
    point("1", "a damaged frame is not answered, and counted", damaged_frame),
    point("1", "a frame that is too long is dropped, and the next one is read", too_long),
    point("1", "a frame that is too short is dropped", too_short),
    point("2", "a repeat gets the same answer, byte for byte, and is not carried out again", repeat),
    point("2", "an old id, or the newest with another content, is refused with Stale", stale),
    point("2", "ReadStatus, Heartbeat and ClockPing are answered whatever their id", stateless),
    point("2", "a frame of another version is refused with Version", other_version),
    point("2", "kinds of 0x7D and above are not answered", rig_kinds),
    point("3", "an unknown kind is refused with Unknown", unknown_kind),
    point("3", "a payload of another size is refused with Malformed", malformed),
    point("4", "Start: run 0, periods and channels out of range are refused", start_out_of_range),
    point("4", "SetSupply: off and the stated levels, nothing else", supply_levels),
    point("4", "SetInput: what is not there is refused", inputs),
    point("4", "an Identify of a new session is told by its number", sessions),
    point("5", "Identity: limits in order", identity),
    point("5", "Channel: every entry can be read, names are unique", channels),
    point("5", "Status tells the supply that was set", status),
    point("3.1", "watching: Arm, Start and LoadProgram are untimely", watching),
    point("6", "a watched run: one start, one end, blocks without a hole, scans on its period", watched_run),
    point("6", "a block is at most 20 ms old", young_blocks),
    point("6", "Stop ends a run, and the last block comes before its end", stopped_run),
    point("6", "events are numbered without a hole", event_numbers),
    point("5", "the clock goes as fast as this computer's", clock),
    point("8", "a new session ends the run of the old one", new_session),
    point("8", "2 s of silence end a watching run and switch the supply off", dead_host),
    driven("3.1", "armed by Arm, at rest by Stop, ClearTrip and a start that watches", armed),
    driven("4", "Start with drive is untimely before Arm and before a program", not_armed),
    driven("7", "LoadProgram: no segment, and segments that are not allowed, are refused", bad_programs),
    driven("7", "a program that lets go reports its segments and ends complete", releases),
    driven("8", "300 ms without an accepted request trip LinkSilence while armed", silence_armed),
    driven("8", "ReadStatus and ClockPing keep no drive on", looking_on),
    driven("8", "Heartbeat keeps a drive on", heartbeats),
    driven("4", "ClearTrip ends a run", clear_trip),
    driven("9", "tripped: Arm and Start are refused with Guarded until ClearTrip", tripped),
];

const fn driven(
    section: &'static str,
    title: &'static str,
    ask: fn(&mut Probe) -> Result<(), Broken>,
) -> Asked {
    Asked { section, title, drives: true, ask }
}
