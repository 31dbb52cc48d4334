//! Known changes: what grew in a healthy part between its two measurements, and the figure that is to show it.

use trackpair::quantity::FigureName;
use trackpair_rig_sim::fault::{Channel, Fault, Lead, Towards};
use trackpair_rig_sim::spec::{Sensor, Topology};

/// Sensor of the grips.
pub const SENSOR: Sensor = Sensor::Hall;
/// Topology of the grips.
pub const TOPOLOGY: Topology = Topology::Complementary;

/// One change.
pub struct Planted {
    /// In words, with its size.
    pub name: &'static str,
    /// Whether it is a throttle body's.
    pub body: bool,
    /// What grew.
    pub fault: fn() -> Fault,
    /// The figure that is to show it.
    pub shows: FigureName,
}

const fn grip(name: &'static str, fault: fn() -> Fault, shows: FigureName) -> Planted {
    Planted { name, body: false, fault, shows }
}

const fn body(name: &'static str, fault: fn() -> Fault, shows: FigureName) -> Planted {
    Planted { name, body: true, fault, shows }
}

fn play(play_deg: f64) -> Fault {
    Fault::Hysteresis { channel: Channel::Both, play_deg }
}

fn shift(offset_percent: f64) -> Fault {
    let channel = Channel::Falling;
    Fault::CorrelationShift { channel, offset_percent, growth_percent: 0.0, from_deg: 0.0 }
}

fn dropouts(rate_per_s: f64) -> Fault {
    Fault::Dropout {
        lead: Lead::Rising,
        rate_per_s,
        burst_s: 0.0,
        pause_s: 0.0,
        flex_rate_per_s: 0.0,
        at_deg: 0.0,
        chance_per_pass: 0.0,
        min_us: 300.0,
        max_us: 3000.0,
        towards: Towards::Open,
    }
}

/// What is planted, smaller before larger.
pub const CHANGES: [Planted; 10] = [
    grip("play grown by 0.01 deg", || play(0.01), FigureName::Hysteresis),
    grip("play grown by 0.03 deg", || play(0.03), FigureName::Hysteresis),
    grip("second line shifted by 0.03 % of supply", || shift(0.03), FigureName::CorrelationOffset),
    grip("second line shifted by 0.10 % of supply", || shift(0.10), FigureName::CorrelationOffset),
    grip("dropouts, 10 a minute", || dropouts(10.0 / 60.0), FigureName::DropoutRate),
    grip("dropouts, 60 a minute", || dropouts(1.0), FigureName::DropoutRate),
    body("friction 1.05 times", || Fault::DryBearing { factor: 1.05 }, FigureName::Friction),
    body("friction 1.2 times", || Fault::DryBearing { factor: 1.2 }, FigureName::Friction),
    body("winding 0.1 ohm more", || Fault::WindingResistance { ohms: 0.1 }, FigureName::WindingResistance),
    body("main spring at 0.9", || Fault::WeakSpring { left: 0.9 }, FigureName::PreloadMain),
];
