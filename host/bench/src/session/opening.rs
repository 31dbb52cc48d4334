//! Who the rig is, its channels, its calibration; and why there is none.

use super::driver::Driven;
use super::endpoint::{Patience, Seen};
use super::error::SessionError;
use super::journal::Told;
use super::line::{Line, Polled};
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
        Self::on(Line::Polled(Box::new(Polled::new(link, options.session as u16))), options)
    }

    /// The same over a real port, which gets a thread of its own.
    ///
    /// # Errors
    /// As [`Session::open`].
    pub fn over(port: Port, options: Options) -> Result<Self, SessionError> {
        Self::on(Line::Driven(Box::new(Driven::start(port, options.session as u16)?)), options)
    }

    fn on(line: Line, options: Options) -> Result<Self, SessionError> {
        let mut session = Self {
            line,
            next_run: options.session,
            options,
            oddities: Oddities::default(),
            identity: no_identity(),
            channels: Vec::new(),
            encodings: [Encoding::I16; MAX_CHANNELS],
            calibrations: Vec::new(),
            facing: Facing::Grip,
            opening: true,
            // Nothing to switch off at an address that has not answered as a rig.
            closed: true,
        };
        session.identity = session.identify()?;
        session.closed = false;
        session.line.keep_alive();
        let Identity { model, serial, firmware, boot, .. } = &session.identity;
        let [model, serial, firmware] =
            [model.as_str(), serial.as_str(), firmware.as_str()].map(str::to_owned);
        session.line.note(Told::Opened {
            model,
            serial,
            firmware,
            boot: *boot,
            session: session.options.session,
        });
        sense::check_limits(&session.identity)?;
        session.read_table()?;
        session.opening = false;
        Ok(session)
    }

    fn identify(&mut self) -> Result<Identity, SessionError> {
        let started = self.line.now();
        let attempts = self.options.identify_attempts;
        let patience = Patience { timeout: self.options.identify_timeout, attempts };
        // An answer to another session's identify under the same id is possible once.
        for _ in 0..2 {
            let request = Request::Identify { session: self.options.session };
            match self.exchange(&request, patience) {
                Ok(Reply::Identity(identity)) if identity.session == self.options.session => {
                    return Ok(Identity {
                        model: printable(&identity.model),
                        serial: printable(&identity.serial),
                        firmware: printable(&identity.firmware),
                        ..identity
                    });
                }
                Ok(_) => {}
                Err(SessionError::NoAnswer { attempts, waited_ms, .. }) => {
                    return Err(self.why_no_identity(attempts, waited_ms));
                }
                Err(error) => return Err(error),
            }
        }
        let waited_ms = (self.line.now() - started).as_millis() as u64;
        Err(self.no_answer("identify", 2 * attempts, waited_ms))
    }

    fn why_no_identity(&self, attempts: u32, waited_ms: u64) -> SessionError {
        let address = self.line.address().to_owned();
        let Seen { counts, other_version, echoed } = self.line.seen();
        if counts.bytes == 0 {
            return SessionError::NoBytes { address, waited_ms };
        }
        if let Some(rig) = other_version {
            return SessionError::Version { address, rig, host: trackpair_protocol::VERSION };
        }
        if counts.frames == 0 {
            return SessionError::NotARig { address, bytes: counts.bytes };
        }
        if echoed == counts.frames {
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
            let info = ChannelInfo { name: printable(&info.name), ..info };
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
                    Some(Calibration { certificate: printable(&calibration.certificate), ..calibration })
                }
                Ok(_) => return Err(nonsense("read calibration", "another kind of answer")),
                Err(SessionError::Refused { .. }) => None,
                Err(error) => return Err(error),
            };
            self.calibrations.push(calibration);
        }
        Ok(())
    }
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

pub(super) fn no_identity() -> Identity {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_rig_calls_itself_can_neither_move_a_cursor_nor_turn_a_line_round() {
        let text: Text<24> = Text::new("bench\u{1b}[2J\u{202e}7\u{9b}1m µ");
        assert_eq!(printable(&text).as_str(), "bench?[2J?7?1m µ");
    }
}
