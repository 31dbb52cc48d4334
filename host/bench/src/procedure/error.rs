//! Why a procedure failed or was cut short, and what the reader should know of one that was not.

use crate::quantity::{PartKind, ProcedureKind};
use crate::session::{SessionError, guard_advice, guard_name};
use trackpair_protocol::message::Guard;

/// Why a procedure did not come to its end.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProcedureError {
    /// The rig or the link.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The user's stop flag.
    #[error("stopped by the user during the {}; what was recorded is kept", .procedure.title())]
    Aborted {
        /// During which procedure.
        procedure: ProcedureKind,
    },
    /// The user's stop flag, between two procedures.
    #[error("stopped by the user; what was recorded is kept")]
    Stopped,
    /// A guard took the drive off.
    #[error(
        "the {} guard took the drive off during the {}{}; {}",
        guard_name(*.guard), .procedure.title(), guard_value(*.guard, *.value), guard_advice(*.guard)
    )]
    Guard {
        /// During which procedure.
        procedure: ProcedureKind,
        /// Which guard.
        guard: Guard,
        /// The offending value in the guard's own unit; 0 when unknown.
        value: i32,
    },
    /// A guard took the drive off and it could not be learnt which.
    #[error("a guard took the drive off during the {}; look at the E-stop, the lid and the part", .procedure.title())]
    UnknownGuard {
        /// During which procedure.
        procedure: ProcedureKind,
    },
    /// The rig takes another kind of part than the procedure is for.
    #[error("{}", wrong_part(*.procedure, *.part))]
    WrongPart {
        /// Which procedure.
        procedure: ProcedureKind,
        /// The kind of part that it is for.
        part: PartKind,
    },
    /// The rig lacks what the procedure needs.
    #[error("this rig can't do a {}: it has no {missing}; use a rig that has one, or {instead}", .procedure.title())]
    NotCapable {
        /// Which procedure.
        procedure: ProcedureKind,
        /// What the rig lacks.
        missing: &'static str,
        /// What can be done with this rig.
        instead: &'static str,
    },
    /// The plan asks for what the rig does not allow.
    #[error("the {} asks for {what} of {given}, this rig allows {allowed}; {advice}", .procedure.title())]
    OutOfRange {
        /// Which procedure.
        procedure: ProcedureKind,
        /// Which quantity.
        what: &'static str,
        /// As planned, with unit.
        given: String,
        /// What the rig allows, with unit.
        allowed: String,
        /// What to do.
        advice: &'static str,
    },
    /// The motor does not cool.
    #[error(
        "the {} waits for the motor to cool, and it stays at {heat_percent:.0} % of its heat budget; let it rest and look at it",
        .procedure.title()
    )]
    StaysHot {
        /// Which procedure.
        procedure: ProcedureKind,
        /// Heat, per cent of the rig's budget.
        heat_percent: f64,
    },
    /// The rig ended the run before its time, and says that it is complete.
    #[error(
        "rig fault: the rig ended the {} after {took_s:.1} s and calls it complete, its program takes {planned_s:.1} s; restart the rig, or \
         have its firmware looked at", .procedure.title()
    )]
    EndedEarly {
        /// Which procedure.
        procedure: ProcedureKind,
        /// Planned time, s.
        planned_s: f64,
        /// How long it took, s.
        took_s: f64,
    },
    /// The rig's events contradict the program that it was given.
    #[error(
        "rig fault: the rig's events during the {} contradict its program: {what}; nothing is said of the part: update the rig's firmware \
         or have it looked at, then repeat", .procedure.title()
    )]
    Contradiction {
        /// During which procedure.
        procedure: ProcedureKind,
        /// What.
        what: String,
    },
    /// The run did not end when it should have.
    #[error("the {} should have taken {planned_s:.0} s and had not ended after {waited_s:.0} s; restart the rig", .procedure.title())]
    Overdue {
        /// Which procedure.
        procedure: ProcedureKind,
        /// Planned time, s.
        planned_s: f64,
        /// Time waited, s.
        waited_s: f64,
    },
}

/// What a rig takes, and what can be asked of it.
fn wrong_part(procedure: ProcedureKind, part: PartKind) -> String {
    let title = procedure.title();
    match part {
        PartKind::Body => format!(
            "this rig takes grips, and {title} is for throttle bodies; for a grip, use `trackpair qualify`, `trackpair flex` or \
             `trackpair procedure self-check|leads-check|hand-sweep`"
        ),
        PartKind::Grip => format!(
            "this rig takes throttle bodies, and {title} is for grips; for a throttle body, use `trackpair qualify` or `trackpair procedure \
             rest|leads-check|creep|step|release|lash|tooth-map|blip|guided-push`"
        ),
        PartKind::Pair => format!(
            "{title} needs a rig with a grip and a throttle body on it, and this one takes one part; for one part, use `trackpair qualify`"
        ),
    }
}

impl ProcedureError {
    /// Whether the user stopped it.
    pub const fn is_the_users(&self) -> bool {
        matches!(self, Self::Aborted { .. } | Self::Stopped)
    }

    /// Whether the rig, its power or its cable went away: it may come back.
    pub const fn is_an_absence(&self) -> bool {
        use SessionError as E;
        matches!(
            self,
            Self::Session(
                E::Link(_) | E::NoBytes { .. } | E::NoAnswer { .. } | E::Rebooted | E::WentSilent { .. }
            )
        )
    }

    /// Whether the rig refused it before it began, or lacks what it takes.
    pub const fn is_a_refusal(&self) -> bool {
        matches!(
            self,
            Self::WrongPart { .. }
                | Self::NotCapable { .. }
                | Self::OutOfRange { .. }
                | Self::Session(SessionError::Refused { .. })
        )
    }

    /// Whether the part stopped it rather than rig, link or user: it drew current without moving, or did not follow.
    pub const fn is_the_parts(&self) -> bool {
        matches!(self, Self::Guard { guard: Guard::Stall | Guard::NotFollowing, .. })
    }
}

/// Something a reader should know about a recording that came to its end.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// Events of the rig were lost: marks may be missing.
    EventsLost {
        /// How many.
        count: u64,
    },
    /// Scans are missing.
    Gaps {
        /// How many holes.
        count: usize,
        /// How many scans in them.
        scans: u64,
    },
    /// A line switch of the leads check was refused by the rig.
    NotSwitched {
        /// What, and why.
        what: String,
    },
    /// The sensor supply is not what was set.
    SupplyOff {
        /// Set, V.
        set_volts: f64,
        /// Measured, V.
        measured_volts: f64,
    },
    /// The sensor supply came up slowly.
    SupplySlow {
        /// Time to within 1 %, ms.
        settle_ms: f64,
    },
    /// The reference does not move while it is driven.
    NotMoving {
        /// Travel seen, degrees.
        travel_deg: f64,
    },
    /// Too much is missing to say whether the part moved.
    NotSeen {
        /// Share of the scans that came, per cent.
        received_percent: f64,
    },
    /// The reference did not meet a stop where one is due.
    NoStop {
        /// `closed` or `open`.
        end: &'static str,
        /// Driven to, degrees on the reference.
        driven_to_deg: f64,
    },
    /// The travel found is not the sheet's.
    TravelOff {
        /// Found, degrees.
        found_deg: f64,
        /// By the sheet, degrees.
        nominal_deg: f64,
    },
    /// Turning takes an unusual share of the drive's force.
    Stiff {
        /// Median drive current while moving, A.
        moving_amps: f64,
        /// Drive current when pressing on a stop, A.
        pressing_amps: f64,
    },
    /// A guard of the motor stopped the procedure because of how the part behaved.
    StoppedByPart {
        /// Which guard, when, and what to look at.
        what: String,
    },
    /// The sheet's speed or rate is beyond the rig's and was lowered.
    Lowered {
        /// What.
        what: &'static str,
        /// As planned.
        planned: f64,
        /// As done.
        used: f64,
        /// Unit.
        unit: &'static str,
    },
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::EventsLost { count } => {
                write!(f, "{count} events of the rig were lost: marks in the trace may be missing")
            }
            Self::Gaps { count, scans } => write!(f, "{scans} scans are missing in {count} gaps"),
            Self::NotSwitched { what } | Self::StoppedByPart { what } => write!(f, "{what}"),
            Self::SupplyOff { set_volts, measured_volts } => write!(
                f,
                "the sensor supply reads {measured_volts:.3} V at the plug, set were {set_volts:.3} V: the part may draw \
                 too much"
            ),
            Self::SupplySlow { settle_ms } => write!(f, "the sensor supply took {settle_ms:.0} ms to settle"),
            Self::NotMoving { travel_deg } => {
                write!(f, "the part moved only {travel_deg:.1}° while it was driven: clamp or grip is stuck")
            }
            Self::NotSeen { received_percent } => write!(
                f,
                "only {received_percent:.0} % of the scans came: whether the part moved can't be said; check cable and plugs, then repeat"
            ),
            Self::NoStop { end, driven_to_deg } => {
                write!(f, "no {end} stop was met down to {driven_to_deg:.1}° on the reference")
            }
            Self::TravelOff { found_deg, nominal_deg } => write!(
                f,
                "the travel found is {found_deg:.1}°, the sheet says {nominal_deg:.1}°: is it the right sheet?"
            ),
            Self::Stiff { moving_amps, pressing_amps } => write!(
                f,
                "turning takes {moving_amps:.2} A of the {pressing_amps:.2} A that the drive has: the part turns stiffly"
            ),
            Self::Lowered { what, planned, used, unit } => {
                write!(f, "the {what} of {planned} {unit} is beyond this rig; {used} {unit} were used")
            }
        }
    }
}

impl Warning {
    /// Whether a part must not be tested as it stands: what is measured then says nothing of it.
    pub const fn keeps_from_ready(&self) -> bool {
        matches!(
            self,
            Self::NotMoving { .. } | Self::NotSeen { .. } | Self::NoStop { .. } | Self::SupplyOff { .. }
        )
    }
}

fn guard_value(guard: Guard, value: i32) -> String {
    let value = f64::from(value);
    match guard {
        _ if value == 0.0 => String::new(),
        Guard::EmergencyStop | Guard::LidOpen => String::new(),
        Guard::LinkSilence => format!(" after {:.0} ms of silence", value / 1e3),
        Guard::OverCurrent => format!(" at {:.2} A", value / 1e3),
        Guard::Travel => format!(" at {:.1}°", value / 1e3),
        Guard::SupplyRange => format!(" at {:.3} V", value / 1e3),
        Guard::Temperature => format!(" at {:.1} degC", value / 1e2),
        Guard::Stall => format!(" at {:.2} A", value / 1e3),
        Guard::Heat => format!(" at {:.0} % of the budget", value / 10.0),
        Guard::NotFollowing => format!(" by {:.1}°", value / 1e3),
    }
}
