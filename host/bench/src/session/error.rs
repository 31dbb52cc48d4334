//! Why a session failed, and refusals in words.

use crate::link::LinkError;
use trackpair_protocol::message::{Guard, Reason, Refusal, RigState, capability, kind};

/// Why a session could not be opened or can't go on.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SessionError {
    /// The link itself failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// Called off while the rig was asked who it is.
    #[error("stopped by the user while the rig at {address} was asked who it is; nothing was driven")]
    Stopped {
        /// Where.
        address: String,
    },
    /// Not one byte came back.
    #[error(
        "nothing answers at {address}: no byte in {waited_ms} ms; check that the rig is on and that this is its port{}",
        other_baud(.address)
    )]
    NoBytes {
        /// Where.
        address: String,
        /// How long it was tried.
        waited_ms: u64,
    },
    /// Bytes came, but never a whole frame.
    #[error(
        "{address} sends {bytes} bytes that hold no frame of a rig: it is not a rig, or the baud rate is wrong; \
         try serial:PATH?baud=N with the rate in the rig's manual"
    )]
    NotARig {
        /// Where.
        address: String,
        /// How many bytes came.
        bytes: u64,
    },
    /// A rig of another protocol version.
    #[error(
        "the rig at {address} speaks protocol version {rig}, this program version {host}; update the older of the two"
    )]
    Version {
        /// Where.
        address: String,
        /// The rig's version.
        rig: u8,
        /// This program's version.
        host: u8,
    },
    /// What was sent came back, and nothing else.
    #[error(
        "{address} sends back what is sent to it and nothing else: an echo, no rig; check that this is the rig's port, and that \
         transmit and receive are not joined in the cable"
    )]
    Echo {
        /// Where.
        address: String,
    },
    /// Frames came, but not the answer.
    #[error(
        "{address} gave no answer to {request} in {attempts} attempts ({waited_ms} ms); the line may be disturbed: check cable and \
         plug{}", other_baud(.address)
    )]
    NoAnswer {
        /// Where.
        address: String,
        /// Which request.
        request: &'static str,
        /// How often it was sent.
        attempts: u32,
        /// How long it was tried.
        waited_ms: u64,
    },
    /// The rig refused.
    #[error("the rig refused {request}: {}", explain(.refusal))]
    Refused {
        /// Which request.
        request: &'static str,
        /// Reason and detail.
        refusal: Refusal,
    },
    /// The rig has started anew and lost its settings.
    #[error("the rig has restarted in the middle of the session; check its power, then start again")]
    Rebooted,
    /// Another program has opened a session.
    #[error("another program has taken over the rig; close it, then start again")]
    Taken,
    /// Another program is connected to the rig.
    #[error("another program is connected to the rig at {address} ({doing}); close it, then start again")]
    Busy {
        /// Where.
        address: String,
        /// What the rig is doing.
        doing: String,
    },
    /// The rig was there and does not answer any more.
    #[error("the rig has not answered for {silent_ms} ms; check its power and the cable, then start again")]
    WentSilent {
        /// For how long.
        silent_ms: u64,
    },
    /// The rig says that its run goes on, and sends no samples.
    #[error(
        "the rig says that it runs and has sent no sample for {silent_ms} ms; it was stopped: switch it off and on, then start again"
    )]
    NoSamples {
        /// For how long.
        silent_ms: u64,
    },
    /// An answer of the right kind with the wrong content, or a channel table that contradicts itself.
    #[error(
        "the rig's answer to {request} makes no sense: {problem}; its firmware or stored calibration may be damaged: calibrate it anew, or reload the firmware"
    )]
    Nonsense {
        /// Which request.
        request: &'static str,
        /// What is wrong.
        problem: String,
    },
}

/// A rig that is spoken to at the wrong rate does not understand and stays silent.
fn other_baud(address: &str) -> &'static str {
    if address.starts_with("serial:") {
        "; a wrong baud rate is possible too: try serial:PATH?baud=N with the rate in the rig's manual"
    } else {
        ""
    }
}

/// A request's name in messages, by its kind byte.
pub fn request_name(request: u8) -> &'static str {
    match request {
        kind::IDENTIFY => "identify",
        kind::DESCRIBE_CHANNEL => "describe channel",
        kind::READ_CALIBRATION => "read calibration",
        kind::READ_STATUS => "read status",
        kind::SET_SUPPLY => "set supply",
        kind::SET_INPUT => "set input",
        kind::LOAD_PROGRAM => "load program",
        kind::ARM => "arm",
        kind::START => "start",
        kind::STOP => "stop",
        kind::CLEAR_TRIP => "clear trip",
        kind::HEARTBEAT => "heartbeat",
        kind::CLOCK_PING => "clock ping",
        kind::SET_LOOP => "set loop",
        kind::SET_MAPPING => "set mapping",
        _ => "an unknown request",
    }
}

/// A guard's name in messages.
pub const fn guard_name(guard: Guard) -> &'static str {
    match guard {
        Guard::EmergencyStop => "E-stop",
        Guard::LidOpen => "lid",
        Guard::LinkSilence => "link silence",
        Guard::OverCurrent => "over-current",
        Guard::Travel => "travel",
        Guard::SupplyRange => "supply range",
        Guard::Temperature => "temperature",
        Guard::Stall => "stall current",
        Guard::Heat => "motor heat",
        Guard::NotFollowing => "plate not following",
    }
}

/// What to do about a guard.
pub const fn guard_advice(guard: Guard) -> &'static str {
    match guard {
        Guard::EmergencyStop => "release the E-stop",
        Guard::LidOpen => "close the lid",
        Guard::LinkSilence => "check the cable, and that the computer is not overloaded",
        Guard::OverCurrent => "check that the part turns freely and is mounted straight",
        Guard::Travel => "check the mounting: the angle left the rig's travel",
        Guard::SupplyRange => "check the part for a short on its supply",
        Guard::Temperature => "let the rig cool",
        Guard::Stall => "check by eye, unpowered, whether the plate is blocked",
        Guard::Heat => "let the motor cool",
        Guard::NotFollowing => "check feedback wiring and the plate: it did not go where the rig drove it",
    }
}

/// Guards by their bits, in the order of their codes.
pub fn guards_in(bits: u32) -> impl Iterator<Item = Guard> {
    Guard::ALL.iter().copied().filter(move |guard| bits >> (*guard as u32) & 1 == 1)
}

/// A refusal as a sentence: the reason, its detail, and what to do.
pub fn explain(refusal: &Refusal) -> String {
    let detail = refusal.detail;
    match refusal.reason {
        Reason::Unknown => {
            format!("it does not know request kind {detail:#04x}; its firmware is older than this program")
        }
        Reason::Malformed => {
            format!("the {detail} bytes of the request do not fit it; report this as a defect")
        }
        Reason::Version => format!("it speaks protocol version {detail}; update the older of the two"),
        Reason::OutOfRange if refusal.request == kind::LOAD_PROGRAM => {
            format!("segment {detail} of the motion program is outside what the rig allows")
        }
        Reason::OutOfRange => format!("field {detail} of the request is outside what the rig allows"),
        Reason::Untimely => format!("not while it is {}", state_name(detail)),
        Reason::Guarded => explain_guards(detail),
        Reason::Stale => format!("another program has asked since (its newest request is {detail})"),
        Reason::NotCapable => format!("it has no {}", capability_name(detail)),
        Reason::NoSession => "it knows no session: it has restarted".to_owned(),
    }
}

fn explain_guards(bits: u32) -> String {
    let told: Vec<String> =
        guards_in(bits).map(|guard| format!("{} ({})", guard_name(guard), guard_advice(guard))).collect();
    if told.is_empty() {
        "a guard is tripped".to_owned()
    } else {
        format!("guard tripped: {}", told.join(", "))
    }
}

pub(super) fn state_name(code: u32) -> String {
    const STATES: [(RigState, &str); 5] = [
        (RigState::Resting, "resting"),
        (RigState::Armed, "armed"),
        (RigState::Watching, "watching"),
        (RigState::Driving, "driving"),
        (RigState::Tripped, "tripped by a guard"),
    ];
    STATES
        .iter()
        .find(|(state, _)| *state as u32 == code)
        .map_or_else(|| format!("in state {code}"), |(_, name)| (*name).to_owned())
}

fn capability_name(bit: u32) -> String {
    match bit {
        capability::GRIP_DRIVE => "grip drive".to_owned(),
        capability::REFERENCE => "reference angle".to_owned(),
        capability::SUPPLY_ADJUSTABLE => "adjustable sensor supply".to_owned(),
        capability::LOADS => "switchable loads".to_owned(),
        capability::BODY_DRIVE => "drive for a throttle body".to_owned(),
        other => format!("capability {other:#x}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_says_the_reason_and_what_to_do() {
        let says = |request, reason, detail| explain(&Refusal { request, reason, detail });
        assert!(
            says(kind::ARM, Reason::Guarded, 0b11)
                .contains("E-stop (release the E-stop), lid (close the lid)")
        );
        assert!(says(kind::LOAD_PROGRAM, Reason::OutOfRange, 4).contains("segment 4"));
        assert!(says(kind::SET_SUPPLY, Reason::OutOfRange, 0).contains("field 0"));
        assert!(says(kind::START, Reason::Untimely, 3).contains("driving"));
        assert!(says(kind::SET_INPUT, Reason::NotCapable, capability::LOADS).contains("switchable loads"));
    }
}
