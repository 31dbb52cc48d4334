//! Requests, replies, heartbeats, and blocks into traces. It does not know why anything is asked.
//!
//! - `error`: what can go wrong, in words.
//! - `statistics`: what happened on the line, counted.
//! - `inbox`: what comes from a rig, sorted. `heard`: what a rig sends by itself.
//! - `endpoint`: ids, repeats, heartbeats, patience: the protocol without bytes moved and without a clock.
//! - `line`, `driver`: what moves the bytes; a real port has a thread of its own. `pace`: how often that wakes up.
//! - `exchange`: one request and its answer.
//! - `journal`: what happened on the line, in order.
//! - `story`: the journal as a file and in words.
//! - `opening`: from a line to a session: who the rig is, then its channels and their calibration.
//! - this file: asking, closing.
//! - `sequence`: blocks put in order, lost ones reported.
//! - `recorder`: blocks and events into the samples and marks of a trace.
//! - `run`: one run from start to end.
//! - `ping`: round-trip times and clock offset.
//! - `sense`: whether what a rig says of itself can be true.
//! - `survey`: who answers at an address.

mod driver;
#[cfg(test)]
mod driver_tests;
mod endpoint;
#[cfg(test)]
mod endpoint_tests;
mod error;
mod exchange;
#[cfg(test)]
mod fake;
mod heard;
mod inbox;
mod journal;
mod line;
mod opening;
mod pace;
mod ping;
mod recorder;
mod run;
mod sense;
mod sequence;
mod statistics;
mod story;
mod survey;
#[cfg(test)]
mod tests;

pub use endpoint::HEARTBEAT_EVERY;
pub use error::{SessionError, explain, guard_advice, guard_name, guards_in, request_name};
pub use heard::Block;
pub use journal::{Counts, Entry, Journal, LineEvent, RoundTrips, Summary};
pub use ping::{PING_RANGE_US, Ping};
pub use recorder::{Decoder, Recorder, RecorderPick};
pub use run::{News, Run, RunCause, RunEnd, RunSpec};
pub use sequence::Lost;
pub use statistics::Statistics;
pub use story::{STORY_SCHEMA, Story, StoryError, many};
pub use survey::{Answerer, survey};

use crate::quantity::Channel;
use crate::trace::{ChannelProvenance, RigProvenance};
use endpoint::Patience;
use line::RigLine;
use sequence::Oddities;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, MAX_CHANNELS};
use trackpair_protocol::message::{Identity, Reply, Request, Status, capability};

/// How patient a session is.
#[derive(Clone, Debug)]
pub struct Options {
    /// Ends the opening when it is cancelled. Of an open session nothing ends by it: its owner has the rig made safe first.
    pub stop: CancellationToken,
    /// Session number: distinguishes this session from any other on the same rig. Each session should have its own.
    pub session: u32,
    /// How long one attempt to identify waits.
    pub identify_timeout: Duration,
    /// How often identify is sent.
    pub identify_attempts: u32,
    /// How long one attempt of any other request waits. Below a third of the rig's link silence, so that a lost request
    /// does not trip it.
    pub timeout: Duration,
    /// How often any other request is sent.
    pub attempts: u32,
}

impl Default for Options {
    /// A fresh session number; identify 7 × 250 ms (a computer that is busy may keep a simulated rig waiting), requests 10 × 90 ms.
    fn default() -> Self {
        use std::hash::{BuildHasher, Hasher};
        let random = std::hash::RandomState::new().build_hasher().finish();
        Self {
            stop: CancellationToken::new(),
            session: (random as u32).max(1),
            identify_timeout: Duration::from_millis(250),
            identify_attempts: 7,
            timeout: Duration::from_millis(90),
            attempts: 10,
        }
    }
}

/// An open session with a rig. Dropping it stops the rig and takes the supply off, as far as the link still carries;
/// [`Session::close`] does the same and says whether it worked.
pub struct Session {
    line: RigLine,
    patience: Patience,
    oddities: Oddities,
    next_run: u32,
    identity: Identity,
    channels: Vec<ChannelInfo>,
    encodings: [Encoding; MAX_CHANNELS],
    calibrations: Vec<Option<Calibration>>,
    facing: Facing,
}

/// Which part of a pair's rig its channels are read as. On any other rig it makes no difference.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Facing {
    /// The grip: its lines, the reference, its drive.
    #[default]
    Grip,
    /// The plate: its feedback lines, the motor.
    Plate,
}

/// What the names of the plate's lines begin with on a pair's rig.
const OF_THE_PLATE: &str = "plate_";

impl Session {
    /// What has happened on the line so far.
    pub fn story(&mut self) -> Story {
        let journal = self.line.journal();
        Story::of(self.line.address(), &journal, &self.statistics())
    }

    /// Who the rig is.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Whether rig and part are simulated.
    pub fn is_simulated(&self) -> bool {
        self.can(capability::SIMULATED)
    }

    /// Whether the rig has a capability.
    pub fn can(&self, capability: u32) -> bool {
        self.identity.capabilities & capability != 0
    }

    /// The channel table, by column number.
    pub fn channels(&self) -> &[ChannelInfo] {
        &self.channels
    }

    /// Whether the rig has a grip and a body on it.
    pub fn has_pair(&self) -> bool {
        self.can(capability::GRIP_DRIVE) && self.can(capability::BODY_DRIVE)
    }

    /// Reads the channels of a pair's rig as those of one part from now on.
    pub fn face(&mut self, facing: Facing) {
        self.facing = facing;
    }

    /// Which part of a pair's rig the channels are read as.
    pub fn facing(&self) -> Facing {
        self.facing
    }

    /// The entry of a channel, when the rig has it.
    pub fn channel(&self, channel: Channel) -> Option<&ChannelInfo> {
        self.channels.iter().find(|info| self.known(info) == Some(channel))
    }

    /// What a column is to the part that is faced; none for what the host does not know, and for the other part's.
    fn known(&self, info: &ChannelInfo) -> Option<Channel> {
        let name = info.name.as_str();
        if !self.has_pair() {
            return Channel::from_name(name);
        }
        let of_the_motor = |c: &Channel| matches!(c, Channel::MotorVolts | Channel::MotorAmps);
        let of_the_grip = |c: &Channel| {
            Channel::SENSORS.contains(c)
                || matches!(c, Channel::Reference | Channel::DriveAmps | Channel::SupplyAmps)
        };
        match (self.facing, name.strip_prefix(OF_THE_PLATE)) {
            (Facing::Grip, None) => Channel::from_name(name).filter(|c| !of_the_motor(c)),
            (Facing::Plate, None) => Channel::from_name(name).filter(|c| !of_the_grip(c)),
            (Facing::Plate, Some(line)) => Channel::from_name(line),
            (Facing::Grip, Some(_)) => None,
        }
    }

    /// Every channel of the rig that the host knows, as a channel mask.
    pub fn known_channels(&self) -> u16 {
        Channel::ALL.iter().filter_map(|c| self.channel(*c)).fold(0, |mask, info| mask | 1 << info.index)
    }

    /// Counters so far.
    pub fn statistics(&self) -> Statistics {
        let counts = self.line.seen().counts;
        let Oddities { duplicate, reordered, late, rejected, lost_line, lost_rig, lost_host } = self.oddities;
        Statistics {
            blocks_duplicate: duplicate,
            blocks_reordered: reordered,
            blocks_late: late,
            blocks_rejected: rejected,
            scans_lost_line: lost_line,
            scans_lost_rig: lost_rig,
            scans_lost_host: lost_host,
            ..counts
        }
    }

    /// Time on the link's clock.
    pub fn now(&self) -> Duration {
        self.line.now()
    }

    /// The rig as provenance.
    pub fn rig_provenance(&self) -> RigProvenance {
        RigProvenance {
            address: self.line.address().to_owned(),
            model: self.identity.model.as_str().to_owned(),
            serial: self.identity.serial.as_str().to_owned(),
            firmware: self.identity.firmware.as_str().to_owned(),
            protocol: trackpair_protocol::VERSION,
            boot: self.identity.boot,
            lets_go: self.can(capability::GRIP_LETS_GO),
        }
    }

    /// What is known of the channels in a mask, in the order of the columns.
    pub fn channel_provenance(&self, mask: u16) -> Vec<ChannelProvenance> {
        self.picked(mask).map(|(channel, info)| self.provenance_of(channel, info)).collect()
    }

    /// Known channels of a mask with their table entries.
    fn picked(&self, mask: u16) -> impl Iterator<Item = (Channel, &ChannelInfo)> {
        self.channels
            .iter()
            .filter(move |info| mask >> info.index & 1 == 1)
            .filter_map(|info| self.known(info).map(|channel| (channel, info)))
    }

    fn provenance_of(&self, channel: Channel, info: &ChannelInfo) -> ChannelProvenance {
        let calibration = self.calibrations.get(usize::from(info.index)).and_then(Option::as_ref);
        ChannelProvenance {
            channel,
            scale: info.scale,
            offset: info.offset,
            resolution: info.resolution,
            filter_us: info.filter_us,
            gain_uncertainty: calibration.map_or(0.0, |c| c.gain_uncertainty),
            offset_uncertainty: calibration.map_or(0.0, |c| c.offset_uncertainty),
            calibrated_day: calibration.map_or(0, |c| c.day),
            certificate: calibration.map_or_else(String::new, |c| c.certificate.as_str().to_owned()),
        }
    }

    /// Asks and waits for the answer, repeating the same bytes under the same id.
    ///
    /// # Errors
    /// A refusal, no answer, or a lost rig.
    pub fn request(&mut self, request: &Request) -> Result<Reply, SessionError> {
        let answer = self.ask(request);
        self.line.forget_heard();
        answer
    }

    /// Reads the rig's status.
    ///
    /// # Errors
    /// As [`Session::request`].
    pub fn status(&mut self) -> Result<Status, SessionError> {
        match self.request(&Request::ReadStatus)? {
            Reply::Status(status) => Ok(status),
            _ => Err(nonsense("read status", "another kind of answer")),
        }
    }

    /// Sets the sensor supply, mV; 0 = off. Rig time at which it took effect, µs.
    ///
    /// # Errors
    /// As [`Session::request`].
    pub fn set_supply(&mut self, millivolts: u16) -> Result<u64, SessionError> {
        done("set supply", self.request(&Request::SetSupply { millivolts })?)
    }

    /// Keeps the session alive for a time on the link's clock.
    ///
    /// # Errors
    /// A lost rig.
    pub fn idle(&mut self, time: Duration) -> Result<(), SessionError> {
        let until = self.line.now() + time;
        // The clock goes on between two looks at it.
        while let Some(left) = until.checked_sub(self.line.now()).filter(|left| !left.is_zero()) {
            let pumped = self.line.pump(left);
            self.line.forget_heard();
            pumped?;
        }
        Ok(())
    }

    /// Stops, takes loads, pull-downs and the supply off, and ends the session.
    ///
    /// # Errors
    /// When the rig did not confirm: then it is up to the rig's own guards, which take the drive off at 300 ms of silence.
    pub fn close(mut self) -> Result<Statistics, SessionError> {
        self.end().map(|()| self.statistics())
    }

    /// As [`Session::close`]; the session can still be asked for its story.
    ///
    /// # Errors
    /// As [`Session::close`].
    pub fn end(&mut self) -> Result<(), SessionError> {
        let result = self.make_safe();
        self.line.set_at_rest(result.is_ok());
        if result.is_ok() {
            self.line.note(LineEvent::Closed);
        }
        result
    }

    /// Stops whatever runs, takes loads and pull-downs and the supply off.
    ///
    /// # Errors
    /// As [`Session::request`].
    pub fn make_safe(&mut self) -> Result<(), SessionError> {
        self.request(&Request::Stop)?;
        let off = self.set_supply(0);
        let status = self.status()?;
        for channel in inputs_on(&status) {
            self.request(&Request::SetInput { channel, load: false, pull_down: false })?;
        }
        off.map(|_| ())
    }

    /// A run number that this session has not used; never 0.
    fn new_run(&mut self) -> u32 {
        self.next_run = self.next_run.wrapping_add(1).max(1);
        self.next_run
    }

    /// As [`Session::request`]; what the rig sends meanwhile is kept for who takes it.
    fn ask(&mut self, request: &Request) -> Result<Reply, SessionError> {
        self.line.exchange(request, self.patience, None)
    }
}

/// Columns whose load or pull-down is on.
fn inputs_on(status: &Status) -> impl Iterator<Item = u8> + use<> {
    let on = status.loads | status.pull_downs;
    (0..16u8).filter(move |column| on >> column & 1 == 1)
}

fn done(request: &'static str, reply: Reply) -> Result<u64, SessionError> {
    match reply {
        Reply::Done { rig_us } => Ok(rig_us),
        _ => Err(nonsense(request, "another kind of answer")),
    }
}

fn nonsense(request: &'static str, problem: &str) -> SessionError {
    SessionError::Nonsense { request, problem: problem.to_owned() }
}
