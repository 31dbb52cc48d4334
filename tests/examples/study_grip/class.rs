//! Classes of parts: what is planted in them, over which range of severity, and what a right answer is. It runs nothing.
//!
//! Ranges begin near what can just be seen; those of a prototype study, so that its table can be laid beside ours.

use serde::Serialize;
use trackpair::quantity::{FigureName, FindingKind};
use trackpair_rig_sim::fault::{Channel, Fault, Lead, LeakTo, Shape, Towards};
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{PartSpec, Sensor, Topology};

/// What is wrong with a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    Healthy,
    FlatSpot,
    DropoutLine,
    DropoutPlace,
    DropoutCommon,
    NoisyTrack,
    SupplyLead,
    GroundLead,
    SignalLead,
    Leakage,
    Gain,
    Offset,
    CorrelationShift,
    Hysteresis,
    Sticky,
    CommonNonlinearity,
    DeadChannel,
    Swapped,
    Seized,
    DeadBand,
}

/// What a right answer is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Right {
    /// No finding.
    Nothing,
    /// The first finding is of this kind.
    Kind(FindingKind),
    /// A figure of this name is outside, and no finding stands before it.
    Figure(&'static [FigureName]),
}

impl Class {
    /// Every class, in the order of the tables.
    pub const ALL: [Self; 20] = [
        Self::Healthy,
        Self::FlatSpot,
        Self::DropoutLine,
        Self::DropoutPlace,
        Self::DropoutCommon,
        Self::NoisyTrack,
        Self::SupplyLead,
        Self::GroundLead,
        Self::SignalLead,
        Self::Leakage,
        Self::Gain,
        Self::Offset,
        Self::CorrelationShift,
        Self::Hysteresis,
        Self::Sticky,
        Self::CommonNonlinearity,
        Self::DeadChannel,
        Self::Swapped,
        Self::Seized,
        Self::DeadBand,
    ];

    /// Name, the range of severity in words, and what the prototype study had: share with the right class first.
    pub const fn words(self) -> (&'static str, &'static str, Option<f64>) {
        match self {
            Self::Healthy => ("healthy", "with spread", Some(1.0)),
            Self::FlatSpot => ("flat spot", "0.5 to 3 deg, 40 to 100 % of slope", Some(0.90)),
            Self::DropoutLine => ("dropout, one line", "20 us to 5 ms, 0.2 to 2 a second", Some(0.95)),
            Self::DropoutPlace => ("dropout, at a place", "20 us to 5 ms, 60 to 100 % of passes", None),
            Self::DropoutCommon => ("dropout, common", "20 us to 5 ms, 0.2 to 2 a second", Some(0.98)),
            Self::NoisyTrack => ("noisy track", "6 to 80 mV over 1 to 10 deg", Some(1.0)),
            Self::SupplyLead => ("supply lead", "12 to 60 ohm", Some(1.0)),
            Self::GroundLead => ("ground lead", "12 to 60 ohm", Some(1.0)),
            Self::SignalLead => ("signal lead", "300 to 5000 ohm", Some(0.97)),
            Self::Leakage => ("leakage", "Hall 1.5 to 20 kohm, pot 9 to 90 kohm", Some(0.22)),
            Self::Gain => ("gain error", "4 to 15 %", Some(0.97)),
            Self::Offset => ("offset error", "2 to 8 % of supply", Some(0.97)),
            Self::CorrelationShift => {
                ("correlation shift", "1.5 to 6 % of supply, all at once or growing", None)
            }
            Self::Hysteresis => ("hysteresis", "0.4 to 3 deg", Some(1.0)),
            Self::Sticky => ("sticky", "0.4 to 3 deg of play, 0.05 to 0.3 Nm", None),
            Self::CommonNonlinearity => ("common nonlinearity", "0.9 to 4 deg", Some(0.97)),
            Self::DeadChannel => ("dead channel", "stuck at 0 to 4 or 96 to 100 %", Some(1.0)),
            Self::Swapped => ("swapped channels", "-", None),
            Self::Seized => ("seized", "-", None),
            Self::DeadBand => ("dead band", "1.2 to 6 deg at one stop", None),
        }
    }

    /// What a right answer is.
    pub const fn right(self) -> Right {
        match self {
            Self::Healthy => Right::Nothing,
            Self::FlatSpot => Right::Kind(FindingKind::FlatSpot),
            Self::DropoutLine | Self::DropoutPlace | Self::DropoutCommon => Right::Kind(FindingKind::Dropout),
            Self::NoisyTrack => Right::Kind(FindingKind::NoisyTrack),
            Self::SupplyLead => Right::Kind(FindingKind::SupplyLead),
            Self::GroundLead => Right::Kind(FindingKind::GroundLead),
            Self::SignalLead => Right::Kind(FindingKind::SignalLead),
            Self::Leakage => Right::Kind(FindingKind::Leakage),
            Self::Gain | Self::Offset | Self::CorrelationShift => Right::Kind(FindingKind::GainOffset),
            Self::Hysteresis | Self::Sticky => Right::Figure(&[FigureName::Hysteresis]),
            Self::CommonNonlinearity => Right::Kind(FindingKind::CommonNonlinearity),
            Self::DeadChannel => Right::Kind(FindingKind::DeadChannel),
            Self::Swapped => Right::Kind(FindingKind::SwappedChannels),
            Self::Seized => Right::Kind(FindingKind::NotMoving),
            Self::DeadBand => Right::Figure(&[FigureName::DeadBandClosed, FigureName::DeadBandOpen]),
        }
    }
}

/// A part to be tried.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Its class.
    pub class: Class,
    /// What is put on the rig.
    pub spec: PartSpec,
    /// Where in its range the severity lies, 0 to 1 in logarithm; the mildest of several numbers.
    pub severity: f64,
}

impl Drawn {
    /// Upper half of the range: a fault that a bench is expected to find.
    pub fn nominal(&self) -> bool {
        self.class != Class::Healthy && self.severity >= 0.5
    }
}

/// Draws a part of a class: half of them Hall, half complementary and a quarter of either other topology.
pub fn draw(class: Class, random: &mut Random) -> Drawn {
    let sensor = if random.unit() < 0.5 { Sensor::Hall } else { Sensor::Potentiometer };
    let topology = match random.unit() {
        u if u < 0.5 => Topology::Complementary,
        u if u < 0.75 => Topology::HalfSlope,
        _ => Topology::ParallelOffset,
    };
    let mut spec = PartSpec::healthy(sensor, topology);
    let mut range = Severity { random, mildest: 1.0 };
    spec.faults.extend(fault(class, sensor, &mut range));
    Drawn { class, spec, severity: range.mildest }
}

/// Draws numbers and remembers the mildest.
struct Severity<'a> {
    random: &'a mut Random,
    mildest: f64,
}

impl Severity<'_> {
    /// Log-uniform from the mildest to the worst; the worst may be the smaller number.
    fn log(&mut self, mildest: f64, worst: f64) -> f64 {
        let u = self.random.unit();
        self.mildest = self.mildest.min(u);
        mildest * (worst / mildest).powf(u)
    }

    /// Uniform, both ends equally bad.
    fn any(&mut self, from: f64, to: f64) -> f64 {
        self.random.between(from, to)
    }

    fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[((self.random.unit() * choices.len() as f64) as usize).min(choices.len() - 1)]
    }

    fn sign(&mut self) -> f64 {
        self.one_of(&[-1.0, 1.0])
    }

    fn channel(&mut self) -> Channel {
        self.one_of(&[Channel::Rising, Channel::Falling])
    }
}

fn fault(class: Class, sensor: Sensor, s: &mut Severity<'_>) -> Option<Fault> {
    Some(match class {
        Class::Healthy => return None,
        Class::FlatSpot => Fault::FlatSpot {
            channel: s.channel(),
            centre_deg: s.any(4.0, 71.0),
            width_deg: s.log(0.5, 3.0),
            slope_loss: s.log(0.4, 1.0),
            shape: s.one_of(&[Shape::Snap, Shape::CatchUp, Shape::Permanent]),
        },
        Class::DropoutLine | Class::DropoutPlace | Class::DropoutCommon => dropout(class, s),
        Class::NoisyTrack => Fault::NoisyTrack {
            channel: s.channel(),
            centre_deg: s.any(10.0, 65.0),
            width_deg: s.log(1.0, 10.0),
            noise_volts: s.log(6e-3, 80e-3),
        },
        Class::SupplyLead => Fault::SupplyLead { ohms: s.log(12.0, 60.0) },
        Class::GroundLead => Fault::GroundLead { ohms: s.log(12.0, 60.0) },
        Class::SignalLead => Fault::SignalLead { channel: s.channel(), ohms: s.log(300.0, 5000.0) },
        Class::Leakage => {
            // Source 50 ohm (Hall), 230 to 580 ohm along a track: 0.25 to 3 % and 0.5 to 5 % of the reading at half travel.
            let ohms = if sensor == Sensor::Hall { s.log(20_000.0, 1500.0) } else { s.log(90_000.0, 9000.0) };
            Fault::Leakage { channel: s.channel(), ohms, to: s.one_of(&[LeakTo::Ground, LeakTo::Supply]) }
        }
        Class::Gain => Fault::GainError { channel: s.channel(), percent: s.sign() * s.log(4.0, 15.0) },
        Class::Offset => {
            Fault::OffsetError { channel: s.channel(), percent_of_supply: s.sign() * s.log(2.0, 8.0) }
        }
        Class::CorrelationShift => {
            let (at_once, percent) = (s.any(0.0, 1.0) < 0.5, s.sign() * s.log(1.5, 6.0));
            Fault::CorrelationShift {
                channel: s.channel(),
                offset_percent: if at_once { percent } else { 0.0 },
                growth_percent: if at_once { 0.0 } else { percent },
                from_deg: if at_once { 0.0 } else { s.any(0.0, 30.0) },
            }
        }
        _ => return mechanical(class, s),
    })
}

fn dropout(class: Class, s: &mut Severity<'_>) -> Fault {
    let place = class == Class::DropoutPlace;
    let lead = match class {
        Class::DropoutCommon => s.one_of(&[Lead::Supply, Lead::Ground, Lead::Both]),
        _ => s.one_of(&[Lead::Rising, Lead::Falling]),
    };
    let length = s.log(20.0, 5000.0);
    Fault::Dropout {
        lead,
        rate_per_s: if place { 0.0 } else { s.random.between_log(0.2, 2.0) },
        burst_s: 0.0,
        pause_s: 0.0,
        flex_rate_per_s: 0.0,
        at_deg: s.any(6.0, 68.0),
        chance_per_pass: if place { s.any(0.6, 1.0) } else { 0.0 },
        min_us: length,
        max_us: length,
        towards: s.one_of(&[Towards::Open, Towards::Ground, Towards::Supply]),
    }
}

fn mechanical(class: Class, s: &mut Severity<'_>) -> Option<Fault> {
    Some(match class {
        Class::Hysteresis => {
            let channel = s.one_of(&[Channel::Both, Channel::Rising, Channel::Falling]);
            Fault::Hysteresis { channel, play_deg: s.log(0.4, 3.0) }
        }
        Class::Sticky => Fault::Sticky {
            friction_nm: s.random.between_log(0.05, 0.3),
            uneven: s.any(0.0, 0.8),
            centre_deg: 0.0,
            width_deg: 0.0,
            play_deg: s.log(0.4, 3.0),
        },
        Class::CommonNonlinearity => Fault::CommonNonlinearity {
            amplitude_deg: s.log(0.9, 4.0),
            period_deg: s.one_of(&[75.0, 90.0]),
            phase_deg: s.any(0.0, 360.0),
        },
        Class::DeadChannel => {
            let level = s.any(0.0, 4.0);
            Fault::DeadChannel { channel: s.channel(), level_percent: s.one_of(&[level, 100.0 - level]) }
        }
        Class::Swapped => Fault::SwappedChannels {},
        Class::Seized => Fault::Seized { friction_nm: 3.0 },
        Class::DeadBand => {
            let (width, closed) = (s.log(1.2, 6.0), s.any(0.0, 1.0) < 0.5);
            Fault::DeadBand {
                closed_deg: if closed { width } else { 0.0 },
                open_deg: if closed { 0.0 } else { width },
            }
        }
        _ => return None,
    })
}
