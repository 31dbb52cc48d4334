//! From a line to a session, a type per state: who the rig is ([`AwaitingIdentity`]), its channels and their calibration ([`AwaitingTable`]), then
//! the [`Session`]; and why there is none.

use super::driver::Driven;
use super::endpoint::{Patience, Seen};
use super::error::SessionError;
use super::journal::LineEvent;
use super::line::{Line, Polled, RigLine};
use super::sequence::Oddities;
use super::{Facing, Options, Session, nonsense, sense};
use crate::link::{Link, Port};
use crate::quantity::{Channel, Unit};
use trackpair_protocol::channel::{self, Calibration, ChannelInfo, Encoding, MAX_CHANNELS};
use trackpair_protocol::message::{Identity, Reply, Request};
use trackpair_protocol::wire::Text;

impl Session {
    /// Opens a session over a link that is polled: resynchronises, identifies the rig, reads its channel table and calibration.
    ///
    /// # Errors
    /// [`SessionError::NoBytes`], [`SessionError::NotARig`], [`SessionError::Version`] by what came back; any other when
    /// the rig answers but can't be understood.
    pub fn open(link: Box<dyn Link>, options: Options) -> Result<Self, SessionError> {
        let line = Line::Polled(Box::new(Polled::new(link, options.session as u16)));
        AwaitingIdentity { line, options }.identified()?.opened()
    }

    /// The same over a real port, which gets a thread of its own.
    ///
    /// # Errors
    /// As [`Session::open`].
    pub fn over(port: Port, options: Options) -> Result<Self, SessionError> {
        let line = Line::Driven(Box::new(Driven::start(port, options.session as u16)?));
        AwaitingIdentity { line, options }.identified()?.opened()
    }
}

/// Whoever is at the address is asked who it is. Given up, it sends nothing more: there is nothing to switch off at an address that has not
/// answered as a rig.
struct AwaitingIdentity {
    line: Line,
    options: Options,
}

impl AwaitingIdentity {
    /// The rig has said who it is.
    fn identified(mut self) -> Result<AwaitingTable, SessionError> {
        let identity = self.identify()?;
        let Self { line, options } = self;
        let mut line = RigLine::hold(line);
        let Identity { model, serial, firmware, boot, .. } = &identity;
        let [model, serial, firmware] =
            [model.as_str(), serial.as_str(), firmware.as_str()].map(str::to_owned);
        line.note(LineEvent::Opened { model, serial, firmware, boot: *boot, session: options.session });
        Ok(AwaitingTable { line, options, identity })
    }

    fn identify(&mut self) -> Result<Identity, SessionError> {
        let started = self.line.now();
        let Options { session, identify_timeout, identify_attempts, .. } = self.options;
        let patience = Patience { timeout: identify_timeout, attempts: identify_attempts };
        // An answer to another session's identify under the same id is possible once.
        for _ in 0..2 {
            match self.line.exchange(&Request::Identify { session }, patience, Some(&self.options.stop)) {
                Ok(Reply::Identity(identity)) if identity.session == session => {
                    return Ok(Identity {
                        model: printable(&identity.model),
                        serial: printable(&identity.serial),
                        firmware: printable(&identity.firmware),
                        ..identity
                    });
                }
                Ok(_) => {}
                Err(none @ SessionError::NoAnswer { waited_ms, .. }) => {
                    return Err(self.why_no_identity(waited_ms).unwrap_or(none));
                }
                Err(error) => return Err(error),
            }
        }
        Err(self.line.no_answer("identify", 2 * identify_attempts, self.line.now() - started))
    }

    /// What came instead of an identity; none when frames of a rig came.
    fn why_no_identity(&self, waited_ms: u64) -> Option<SessionError> {
        let address = self.line.address().to_owned();
        let Seen { counts, other_version, echoed } = self.line.seen();
        if counts.bytes == 0 {
            return Some(SessionError::NoBytes { address, waited_ms });
        }
        if let Some(rig) = other_version {
            return Some(SessionError::Version { address, rig, host: trackpair_protocol::VERSION });
        }
        if counts.frames == 0 {
            return Some(SessionError::NotARig { address, bytes: counts.bytes });
        }
        (echoed == counts.frames).then_some(SessionError::Echo { address })
    }
}

/// A rig that has said who it is, is asked for its channels and their calibration.
struct AwaitingTable {
    line: RigLine,
    options: Options,
    identity: Identity,
}

impl AwaitingTable {
    /// Its channels are known, and all that the rig says of itself can be true.
    fn opened(mut self) -> Result<Session, SessionError> {
        sense::check_limits(&self.identity)?;
        let count = self.identity.channels;
        if count == 0 || usize::from(count) > MAX_CHANNELS {
            return Err(nonsense("identify", &format!("{count} channels, allowed are 1 to {MAX_CHANNELS}")));
        }
        let (mut channels, mut calibrations) = (Vec::new(), Vec::new());
        let mut encodings = [Encoding::I16; MAX_CHANNELS];
        for channel in 0..count {
            let info = self.entry(channel)?;
            check_entry(&channels, &info)?;
            encodings[usize::from(channel)] = info.encoding;
            calibrations.push(self.calibration(&info)?);
            channels.push(info);
        }
        let Self { line, options, identity } = self;
        Ok(Session {
            line,
            patience: patience(&options),
            oddities: Oddities::default(),
            next_run: options.session,
            identity,
            channels,
            encodings,
            calibrations,
            facing: Facing::Grip,
        })
    }

    fn entry(&mut self, channel: u8) -> Result<ChannelInfo, SessionError> {
        let Reply::Channel(info) = self.request(&Request::DescribeChannel { channel })? else {
            return Err(nonsense("describe channel", "another kind of answer"));
        };
        if info.index != channel {
            let problem = format!("asked for {channel}, told of {}", info.index);
            return Err(nonsense("describe channel", &problem));
        }
        Ok(ChannelInfo { name: printable(&info.name), ..info })
    }

    /// The calibration of a channel; none when the rig has none.
    fn calibration(&mut self, info: &ChannelInfo) -> Result<Option<Calibration>, SessionError> {
        match self.request(&Request::ReadCalibration { channel: info.index }) {
            Ok(Reply::Calibration(calibration)) => {
                sense::check_calibration(info, &calibration)?;
                Ok(Some(Calibration { certificate: printable(&calibration.certificate), ..calibration }))
            }
            Ok(_) => Err(nonsense("read calibration", "another kind of answer")),
            Err(SessionError::Refused { .. }) => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn request(&mut self, request: &Request) -> Result<Reply, SessionError> {
        let answer = self.line.exchange(request, patience(&self.options), Some(&self.options.stop));
        self.line.forget_heard();
        answer
    }
}

/// How long and how often a rig that has said who it is, is asked.
const fn patience(options: &Options) -> Patience {
    Patience { timeout: options.timeout, attempts: options.attempts }
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

/// A text of the rig as it may stand on a terminal: what is no printed character becomes a question mark.
fn printable<const N: usize>(text: &Text<N>) -> Text<N> {
    let kept: String = text.as_str().chars().map(|c| if is_printed(c) { c } else { '?' }).collect();
    Text::new(&kept)
}

/// No control, no mark that turns the direction of writing, nothing without width.
fn is_printed(c: char) -> bool {
    let hidden = ['\u{ad}', '\u{61c}', '\u{2028}', '\u{2029}', '\u{feff}'];
    !c.is_control()
        && !hidden.contains(&c)
        && !matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}')
}

/// The host's unit for one on the wire.
pub(super) const fn host_unit(unit: channel::Unit) -> Unit {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_rig_calls_itself_can_neither_move_a_cursor_nor_turn_a_line_round() {
        let text: Text<24> = Text::new("bench\u{1b}[2J\u{202e}7\u{9b}1m µ");
        assert_eq!(printable(&text).as_str(), "bench?[2J?7?1m µ");
    }
}
