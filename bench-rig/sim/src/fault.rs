//! Every fault that can be planted in a part, with its units and ranges. It does not act: the layers of physics read it.

use serde::{Deserialize, Serialize};

/// Channel (or channels) a fault is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// First channel.
    Rising,
    /// Second channel, whatever the topology.
    Falling,
    /// Both alike.
    Both,
}

impl Channel {
    /// Whether the fault is in channel 0 (rising) or 1 (falling).
    pub fn holds(self, index: usize) -> bool {
        self == Self::Both || self == [Self::Rising, Self::Falling][index & 1]
    }
}

/// How the output comes back after a flat spot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Jumps back at its end.
    Snap,
    /// Catches up over another width.
    CatchUp,
    /// Never: what was lost stays lost.
    Permanent,
}

/// Which lead loses contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lead {
    /// Signal lead of the first channel.
    Rising,
    /// Signal lead of the second channel.
    Falling,
    /// Both signal leads at once.
    Both,
    /// Supply lead.
    Supply,
    /// Ground lead.
    Ground,
}

/// Where a signal goes while its contact is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Towards {
    /// Nowhere by itself: the rig's input resistance, pull-down and load discharge the cable.
    Open,
    /// Shorted to ground.
    Ground,
    /// Shorted to the supply.
    Supply,
}

/// What a leak leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LeakTo {
    /// The sensor's ground.
    Ground,
    /// The sensor's supply.
    Supply,
}

fn falling() -> Channel {
    Channel::Falling
}
fn both() -> Channel {
    Channel::Both
}
fn snap() -> Shape {
    Shape::Snap
}
fn open() -> Towards {
    Towards::Open
}
fn ground() -> LeakTo {
    LeakTo::Ground
}
fn ninety() -> f64 {
    90.0
}
fn three_nm() -> f64 {
    3.0
}
fn three_fifths() -> f64 {
    0.6
}
fn one_and_a_half() -> f64 {
    1.5
}
fn whole() -> f64 {
    1.0
}
fn one_tooth() -> u8 {
    1
}

/// A fault with its severity. `PARTS.md` documents each key with its unit and range.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
#[expect(
    missing_docs,
    reason = "every field is documented, with unit and range, in PARTS.md and bounded in `numbers`"
)]
pub enum Fault {
    /// The output loses slope over a part of the travel.
    FlatSpot {
        channel: Channel,
        centre_deg: f64,
        width_deg: f64,
        slope_loss: f64,
        #[serde(default = "snap")]
        shape: Shape,
    },
    /// A contact that breaks for microseconds to milliseconds: at random, in bursts, at a place of the travel, or when flexed.
    Dropout {
        lead: Lead,
        #[serde(default)]
        rate_per_s: f64,
        #[serde(default)]
        burst_s: f64,
        #[serde(default)]
        pause_s: f64,
        #[serde(default)]
        flex_rate_per_s: f64,
        #[serde(default)]
        at_deg: f64,
        #[serde(default)]
        chance_per_pass: f64,
        min_us: f64,
        max_us: f64,
        #[serde(default = "open")]
        towards: Towards,
    },
    /// Extra noise over a part of the travel.
    NoisyTrack { channel: Channel, centre_deg: f64, width_deg: f64, noise_volts: f64 },
    /// Resistance in the supply lead.
    SupplyLead { ohms: f64 },
    /// Resistance in the ground lead.
    GroundLead { ohms: f64 },
    /// Resistance in a signal lead.
    SignalLead { channel: Channel, ohms: f64 },
    /// Leakage of a signal.
    Leakage {
        channel: Channel,
        ohms: f64,
        #[serde(default = "ground")]
        to: LeakTo,
    },
    /// Slope too large or small, about half supply.
    GainError { channel: Channel, percent: f64 },
    /// The whole output shifted.
    OffsetError { channel: Channel, percent_of_supply: f64 },
    /// One channel parted from the other: at once, and growing from an angle on.
    CorrelationShift {
        #[serde(default = "falling")]
        channel: Channel,
        #[serde(default)]
        offset_percent: f64,
        #[serde(default)]
        growth_percent: f64,
        #[serde(default)]
        from_deg: f64,
    },
    /// Extra hysteresis between grip and output.
    Hysteresis {
        #[serde(default = "both")]
        channel: Channel,
        play_deg: f64,
    },
    /// A grip that binds: more, and uneven, friction; play in the drive of the magnet or wiper.
    Sticky {
        friction_nm: f64,
        #[serde(default)]
        uneven: f64,
        #[serde(default)]
        centre_deg: f64,
        #[serde(default)]
        width_deg: f64,
        #[serde(default)]
        play_deg: f64,
    },
    /// An angle error common to both channels: magnet or wiper off centre.
    CommonNonlinearity {
        amplitude_deg: f64,
        #[serde(default = "ninety")]
        period_deg: f64,
        #[serde(default)]
        phase_deg: f64,
    },
    /// An output stuck at a level.
    DeadChannel { channel: Channel, level_percent: f64 },
    /// The two signal leads exchanged.
    SwappedChannels {},
    /// The grip does not turn.
    Seized {
        #[serde(default = "three_nm")]
        friction_nm: f64,
    },
    /// A grip or plate that moves well, and from a time on does not.
    Seizes {
        after_s: f64,
        #[serde(default = "three_nm")]
        friction_nm: f64,
    },
    /// An output that moves away steadily while the part is in use.
    Drift { channel: Channel, percent_of_supply_per_hour: f64 },
    /// The grip slips in the rig's clamp (or on its tube) beyond a torque.
    Slipping { torque_nm: f64 },
    /// Grip travel at a stop without any change of the output.
    DeadBand {
        #[serde(default)]
        closed_deg: f64,
        #[serde(default)]
        open_deg: f64,
    },
    /// A return spring that has lost torque: a grip's, or a body's main spring.
    WeakSpring { left: f64 },
    /// Worn teeth of a body's sector.
    WornTeeth {
        centre_deg: f64,
        depth_deg: f64,
        #[serde(default = "three_fifths")]
        opening_share: f64,
        #[serde(default = "one_tooth")]
        teeth: u8,
    },
    /// A piece out of a tooth of a body's sector.
    ChippedTooth {
        centre_deg: f64,
        #[serde(default = "one_and_a_half")]
        width_deg: f64,
        depth_deg: f64,
        #[serde(default = "whole")]
        opening_share: f64,
    },
    /// A tooth of a body's sector that is not there.
    MissingTooth { centre_deg: f64 },
    /// More lash in both meshes of a body.
    GrownLash {
        extra_deg: f64,
        #[serde(default = "three_fifths")]
        sector_share: f64,
    },
    /// A segment of a body's commutator with bad contact.
    BrushDeadSpot {
        #[serde(default)]
        rotor_deg: f64,
        width_deg: f64,
        ohms: f64,
    },
    /// A default (limp-home side) spring of a body that has lost torque.
    WeakDefaultSpring { left: f64 },
    /// Dirt between plate and bore at the closed stop.
    StickyPlate {
        friction_nm: f64,
        #[serde(default = "one_and_a_half")]
        width_deg: f64,
    },
    /// Plate bearings that have run dry.
    DryBearing { factor: f64 },
    /// More resistance in a body's motor: winding, brushes or their leads.
    WindingResistance { ohms: f64 },
    /// Turns of a body's winding that are shorted.
    ShortedTurns { share: f64 },
    /// A contact that breaks when a body's plate is struck: at a stop, or by a flank after its lash.
    ImpactDropout {
        lead: Lead,
        impact_rad_s2: f64,
        #[serde(default = "whole")]
        chance_per_impact: f64,
        min_us: f64,
        max_us: f64,
        #[serde(default = "open")]
        towards: Towards,
    },
}
