//! Requests, replies, heartbeats, and blocks into traces. It does not know why anything is asked.
//!
//! - `error`: what can go wrong, in words.
//! - `statistics`: what happened on the line, counted.
//! - `inbox`: what comes from a rig, sorted.
//! - this file: opening, asking, keeping alive, closing.
//! - `sequence`: blocks put in order, lost ones told.
//! - `recorder`: blocks and events into the samples and marks of a trace.
//! - `run`: one run from start to end.
//! - `ping`: round-trip times and clock offset.
//! - `sense`: whether what a rig says of itself can be true.
//! - `survey`: who answers at an address.

mod error;
#[cfg(test)]
mod fake;
mod inbox;
mod ping;
mod recorder;
mod run;
mod sense;
mod sequence;
mod statistics;
mod survey;
#[cfg(test)]
mod tests;

pub use error::{SessionError, explain, guard_advice, guard_name, guards_in, request_name};
pub use ping::{PING_RANGE_US, Ping};
pub use recorder::{Decoder, Recorder, RecorderPick};
pub use run::{RunCause, RunEnd, RunSink, RunSpec, Step};
pub use sequence::Lost;
pub use statistics::Statistics;
pub use survey::{Answerer, survey};

use crate::link::Link;
use crate::quantity::{Channel, Unit};
use crate::trace::{ChannelProvenance, RigProvenance};
use inbox::{Inbox, Listener, Nobody};
use std::time::Duration;
use trackpair_protocol::channel::{self, Calibration, ChannelInfo, Encoding, MAX_CHANNELS};
use trackpair_protocol::frame::{DELIMITER, Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Identity, Reason, Refusal, Reply, Request, Status, capability, kind};

/// How patient a session is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Options {
    /// Session number: tells this session from any other on the same rig. Each session should have its own.
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
    /// A fresh session number; identify 4 × 250 ms, requests 10 × 90 ms.
    fn default() -> Self {
        use std::hash::{BuildHasher, Hasher};
        let random = std::hash::RandomState::new().build_hasher().finish();
        Self {
            session: (random as u32).max(1),
            identify_timeout: Duration::from_millis(250),
            identify_attempts: 4,
            timeout: Duration::from_millis(90),
            attempts: 10,
        }
    }
}

/// Time between heartbeats on the link's clock.
pub const HEARTBEAT_EVERY: Duration = Duration::from_millis(100);

/// Silence after which a rig counts as gone. More than three times the rig's own patience.
const GONE_AFTER: Duration = Duration::from_millis(1_000);

/// An open session with a rig. Dropping it stops the rig and takes the supply off, as far as the link still carries;
/// [`Session::close`] does the same and says whether it worked.
pub struct Session {
    link: Box<dyn Link>,
    options: Options,
    deframer: Deframer,
    inbox: Inbox,
    buffer: Vec<u8>,
    last_id: u16,
    last_beat: Duration,
    next_run: u32,
    identity: Identity,
    channels: Vec<ChannelInfo>,
    encodings: [Encoding; MAX_CHANNELS],
    calibrations: Vec<Option<Calibration>>,
    facing: Facing,
    closed: bool,
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
    /// Resynchronises, identifies the rig, reads its channel table and calibration.
    ///
    /// # Errors
    /// [`SessionError::NoBytes`], [`SessionError::NotARig`], [`SessionError::Version`] by what came back; any other when
    /// the rig answers but can't be understood.
    pub fn open(link: Box<dyn Link>, options: Options) -> Result<Self, SessionError> {
        let mut session = Self {
            link,
            options,
            deframer: Deframer::new(),
            inbox: Inbox::default(),
            buffer: vec![0; 16 * 1024],
            last_id: options.session as u16,
            last_beat: Duration::ZERO,
            next_run: options.session,
            identity: no_identity(),
            channels: Vec::new(),
            encodings: [Encoding::I16; MAX_CHANNELS],
            calibrations: Vec::new(),
            facing: Facing::Grip,
            // Nothing to switch off at an address that has not answered as a rig.
            closed: true,
        };
        session.identity = session.identify()?;
        session.closed = false;
        sense::check_limits(&session.identity)?;
        session.read_table()?;
        Ok(session)
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
        Statistics { drops: self.deframer.drops(), ..self.inbox.counts }
    }

    /// Time on the link's clock.
    pub fn now(&self) -> Duration {
        self.link.now()
    }

    /// The rig as provenance.
    pub fn rig_provenance(&self) -> RigProvenance {
        RigProvenance {
            address: self.link.address().to_owned(),
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
        self.request_while(request, &mut Nobody)
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
        let until = self.link.now() + time;
        // The clock goes on between two looks at it.
        while let Some(left) = until.checked_sub(self.link.now()).filter(|left| !left.is_zero()) {
            self.pump(left, &mut Nobody)?;
        }
        Ok(())
    }

    /// Stops, takes loads, pull-downs and the supply off, and ends the session.
    ///
    /// # Errors
    /// When the rig did not confirm: then it is up to the rig's own guards, which take the drive off at 300 ms of silence.
    pub fn close(mut self) -> Result<Statistics, SessionError> {
        let result = self.make_safe();
        self.closed = result.is_ok();
        result.map(|()| self.statistics())
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

    fn identify(&mut self) -> Result<Identity, SessionError> {
        self.link.write(&[DELIMITER])?;
        let started = self.link.now();
        let patience = (self.options.identify_timeout, self.options.identify_attempts);
        // An answer to another session's identify under the same id is possible once.
        for _ in 0..2 {
            let request = Request::Identify { session: self.options.session };
            match self.exchange(&request, patience, &mut Nobody) {
                Ok(Reply::Identity(identity)) if identity.session == self.options.session => {
                    return Ok(identity);
                }
                Ok(_) => self.inbox.counts.late += 1,
                Err(SessionError::NoAnswer { attempts, waited_ms, .. }) => {
                    return Err(self.why_no_identity(attempts, waited_ms));
                }
                Err(error) => return Err(error),
            }
        }
        let waited_ms = (self.link.now() - started).as_millis() as u64;
        Err(self.no_answer("identify", 2 * patience.1, waited_ms))
    }

    fn no_answer(&self, request: &'static str, attempts: u32, waited_ms: u64) -> SessionError {
        SessionError::NoAnswer { address: self.link.address().to_owned(), request, attempts, waited_ms }
    }

    fn why_no_identity(&self, attempts: u32, waited_ms: u64) -> SessionError {
        let address = self.link.address().to_owned();
        let counts = self.inbox.counts;
        if counts.bytes == 0 {
            return SessionError::NoBytes { address, waited_ms };
        }
        if let Some(rig) = self.inbox.other_version {
            return SessionError::Version { address, rig, host: trackpair_protocol::VERSION };
        }
        if counts.frames == 0 {
            return SessionError::NotARig { address, bytes: counts.bytes };
        }
        if self.inbox.echoed == counts.frames {
            return SessionError::Echo { address };
        }
        self.no_answer("identify", attempts, waited_ms)
    }

    fn read_table(&mut self) -> Result<(), SessionError> {
        let count = self.identity.channels;
        if count == 0 || usize::from(count) > MAX_CHANNELS {
            return Err(nonsense("identify", &format!("{count} channels, allowed are 1 to {MAX_CHANNELS}")));
        }
        for channel in 0..count {
            let Reply::Channel(info) = self.request(&Request::DescribeChannel { channel })? else {
                return Err(nonsense("describe channel", "another kind of answer"));
            };
            if info.index != channel {
                return Err(nonsense(
                    "describe channel",
                    &format!("asked for {channel}, told of {}", info.index),
                ));
            }
            check_entry(&self.channels, &info)?;
            self.encodings[usize::from(channel)] = info.encoding;
            self.channels.push(info);
            let calibration = match self.request(&Request::ReadCalibration { channel }) {
                Ok(Reply::Calibration(calibration)) => {
                    sense::check_calibration(&self.channels[usize::from(channel)], &calibration)?;
                    Some(calibration)
                }
                Ok(_) => return Err(nonsense("read calibration", "another kind of answer")),
                Err(SessionError::Refused { .. }) => None,
                Err(error) => return Err(error),
            };
            self.calibrations.push(calibration);
        }
        Ok(())
    }

    /// A run number that this session has not used; never 0.
    fn new_run(&mut self) -> u32 {
        self.next_run = self.next_run.wrapping_add(1).max(1);
        self.next_run
    }

    /// The next request id; never 0, which is for what a rig sends unasked.
    fn new_id(&mut self) -> u16 {
        self.last_id = self.last_id.wrapping_add(1).max(1);
        self.last_id
    }

    fn request_while(
        &mut self,
        request: &Request,
        listener: &mut dyn Listener,
    ) -> Result<Reply, SessionError> {
        self.exchange(request, (self.options.timeout, self.options.attempts), listener)
    }

    fn exchange(
        &mut self,
        request: &Request,
        (timeout, attempts): (Duration, u32),
        listener: &mut dyn Listener,
    ) -> Result<Reply, SessionError> {
        let (id, kind, name) = (self.new_id(), request.kind(), request_name(request.kind()));
        let mut bytes = [0; MAX_ENCODED];
        let Some(len) = request.encode(id, &mut bytes) else {
            return Err(nonsense(name, "it does not fit a frame"));
        };
        self.inbox.expect(id, kind);
        self.inbox.counts.requests += 1;
        let started = self.link.now();
        for attempt in 0..attempts {
            self.inbox.counts.retries += u64::from(attempt > 0);
            self.link.write(&bytes[..len])?;
            let until = self.link.now() + timeout;
            loop {
                let now = self.link.now();
                self.pump(until.saturating_sub(now), listener)?;
                if let Some(answer) = self.inbox.take_answer() {
                    return answer.map_err(|refusal| self.refused(name, refusal));
                }
                if self.link.now() >= until {
                    break;
                }
            }
        }
        self.inbox.give_up();
        let waited_ms = (self.link.now() - started).as_millis() as u64;
        Err(self.no_answer(name, attempts, waited_ms))
    }

    fn refused(&self, request: &'static str, refusal: Refusal) -> SessionError {
        match refusal.reason {
            Reason::Stale => SessionError::Taken,
            Reason::NoSession => SessionError::Rebooted,
            Reason::Version => SessionError::Version {
                address: self.link.address().to_owned(),
                rig: refusal.detail as u8,
                host: trackpair_protocol::VERSION,
            },
            Reason::Untimely if refusal.request == kind::IDENTIFY => SessionError::Busy {
                address: self.link.address().to_owned(),
                doing: error::state_name(refusal.detail),
            },
            _ => SessionError::Refused { request, refusal },
        }
    }

    /// Keeps the rig alive and hands on what comes within `timeout`.
    fn pump(&mut self, timeout: Duration, listener: &mut dyn Listener) -> Result<(), SessionError> {
        self.keep_alive()?;
        let now = self.link.now();
        let next_beat = (self.last_beat + HEARTBEAT_EVERY).saturating_sub(now);
        let wait = if self.is_open() { timeout.min(next_beat) } else { timeout };
        let count = self.link.read(&mut self.buffer, wait)?;
        if count == 0 {
            return self.check_silence();
        }
        let Self { deframer, inbox, buffer, link, .. } = self;
        inbox.counts.bytes += count as u64;
        let now = link.now();
        deframer.push(&buffer[..count], |frame| inbox.accept(&frame, now, listener));
        self.inbox.take_fault().map_or(Ok(()), Err)
    }

    fn is_open(&self) -> bool {
        !self.closed
    }

    fn keep_alive(&mut self) -> Result<(), SessionError> {
        let now = self.link.now();
        let due = now >= self.last_beat + HEARTBEAT_EVERY || self.inbox.boot_suspected;
        if !self.is_open() || !due {
            return Ok(());
        }
        self.inbox.boot_suspected = false;
        self.last_beat = now;
        let id = self.new_id();
        let mut bytes = [0; MAX_ENCODED];
        if let Some(len) = Request::Heartbeat.encode(id, &mut bytes) {
            self.inbox.counts.requests += 1;
            self.inbox.beat_sent(id, now);
            self.link.write(&bytes[..len])?;
        }
        Ok(())
    }

    fn check_silence(&self) -> Result<(), SessionError> {
        let silent = self.inbox.silent_since().map(|since| self.link.now().saturating_sub(since));
        match silent {
            Some(silent) if silent >= GONE_AFTER => {
                Err(SessionError::WentSilent { silent_ms: silent.as_millis() as u64 })
            }
            _ => Ok(()),
        }
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        if self.closed {
            return;
        }
        // Best effort: whatever the link still carries. Each is sent twice against a lost frame, none is waited for long.
        for request in [Request::Stop, Request::SetSupply { millivolts: 0 }] {
            let id = self.new_id();
            let mut bytes = [0; MAX_ENCODED];
            let Some(len) = request.encode(id, &mut bytes) else { return };
            for _ in 0..2 {
                if self.link.write(&bytes[..len]).is_err() {
                    return;
                }
            }
        }
        let _ = self.link.read(&mut self.buffer, Duration::from_millis(20));
    }
}

/// Columns whose load or pull-down is on.
fn inputs_on(status: &Status) -> impl Iterator<Item = u8> + use<> {
    let on = status.loads | status.pull_downs;
    (0..16u8).filter(move |column| on >> column & 1 == 1)
}

fn check_entry(known: &[ChannelInfo], info: &ChannelInfo) -> Result<(), SessionError> {
    let name = info.name.as_str();
    sense::check_channel(info)?;
    let Some(channel) = Channel::from_name(name) else { return Ok(()) };
    if known.iter().any(|other| Channel::from_name(other.name.as_str()) == Some(channel)) {
        return Err(nonsense("describe channel", &format!("two channels are named {name}")));
    }
    let unit = host_unit(info.unit);
    if unit != expected_unit(channel) {
        return Err(nonsense("describe channel", &format!("{name} is in {}", info.unit.symbol())));
    }
    Ok(())
}

/// The host's unit for one on the wire.
const fn host_unit(unit: channel::Unit) -> Unit {
    match unit {
        channel::Unit::Volt => Unit::Volt,
        channel::Unit::Ampere => Unit::Ampere,
        channel::Unit::Degree => Unit::Degree,
        channel::Unit::Celsius => Unit::Celsius,
    }
}

/// The unit in which a channel must come.
const fn expected_unit(channel: Channel) -> Unit {
    match channel {
        Channel::Rising | Channel::Falling | Channel::Supply | Channel::Ground | Channel::MotorVolts => {
            Unit::Volt
        }
        Channel::Reference => Unit::Degree,
        Channel::SupplyAmps | Channel::DriveAmps | Channel::MotorAmps => Unit::Ampere,
        Channel::Temperature => Unit::Celsius,
    }
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

fn no_identity() -> Identity {
    use trackpair_protocol::wire::Text;
    Identity {
        session: 0,
        boot: 0,
        model: Text::new(""),
        serial: Text::new(""),
        firmware: Text::new(""),
        capabilities: 0,
        channels: 0,
        min_period_us: 0,
        max_period_us: 0,
        supply_mv: (0, 0),
        travel_mdeg: (0, 0),
        max_speed_mdeg_s: 0,
        max_drive_mv: 0,
    }
}
