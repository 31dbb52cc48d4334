//! Traces for the study, 1000 times as fast as the whole bench: the simulator's own static curves, play and input filter under
//! a motion that is made here, not driven. It analyses nothing.

use trackpair::quantity::{Channel, ProcedureKind, Unit};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::{ChannelProvenance, Column, Provenance, Trace, TraceEnd};
use trackpair_rig_sim::Part;
use trackpair_rig_sim::dropout::Outage;
use trackpair_rig_sim::front::{Input, Slice};
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{Sensor, Topology};

/// Volts are held this long by the simulated part, µs.
const SLICE_US: f64 = 100.0;
/// Travel between the stops, degrees.
pub const TRAVEL_DEG: f64 = 75.0;
/// The rig's input filter, µs.
pub const FILTER_US: f64 = 100.0;

/// How the grip is moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Motion {
    /// Driven from stop to stop and back, rests at the stops, pressed 0.3 deg onto them.
    Sweep,
    /// A hand: to and fro between places of its own, with turns anywhere and pauses.
    Hand,
    /// Driven, but sticking and slipping.
    StickSlip,
    /// Nothing moves.
    Still,
}

impl Motion {
    /// Degrees every [`SLICE_US`].
    pub fn degrees(self, seconds: f64, random: &mut Random) -> Vec<f64> {
        let n = (seconds * 1e6 / SLICE_US) as usize;
        match self {
            Self::Sweep => (0..n).map(|i| swept(i as f64 * SLICE_US * 1e-6)).collect(),
            Self::Hand => hand(n, random),
            Self::StickSlip => slipping(n, random),
            Self::Still => vec![random.between(1.0, TRAVEL_DEG - 1.0); n],
        }
    }
}

/// 60 deg/s between 0.3 deg behind either stop, ramps of 30 ms, rests of 0.25 s.
fn swept(t: f64) -> f64 {
    let (speed, ramp, rest, reach) = (60.0, 0.03, 0.25, TRAVEL_DEG + 0.6);
    let stroke = reach / speed + ramp + rest;
    let (number, t) = ((t / stroke) as u64, t % stroke - rest);
    let total = reach / speed + ramp;
    let way = |t: f64| 0.5 * speed * t * t / ramp;
    let at = if t <= 0.0 {
        0.0
    } else if t < ramp {
        way(t)
    } else if t < total - ramp {
        speed * (t - 0.5 * ramp)
    } else {
        reach - way(total - t)
    };
    if number % 2 == 0 { at - 0.3 } else { reach - at - 0.3 }
}

/// Half cosines between drawn places in drawn times, now and then a pause.
fn hand(n: usize, random: &mut Random) -> Vec<f64> {
    let mut out = Vec::with_capacity(n);
    let mut at = 0.0;
    while out.len() < n {
        let to = if random.unit() < 0.4 { random.between(-0.3, 0.0) } else { random.between(1.0, 75.3) };
        let seconds = ((to - at).abs() / random.between_log(30.0, 600.0)).max(0.05);
        let steps = (seconds * 1e6 / SLICE_US) as usize;
        out.extend(
            (0..steps).map(|k| {
                at + (to - at) * 0.5 * (1.0 - (std::f64::consts::PI * k as f64 / steps as f64).cos())
            }),
        );
        at = to;
        let pause = if random.unit() < 0.5 { random.between(0.0, 3000.0) as usize } else { 0 };
        out.extend(std::iter::repeat_n(at, pause));
    }
    out.truncate(n);
    out
}

/// A sweep that sticks until the drive is drawn ahead and then slips after it within some milliseconds.
fn slipping(n: usize, random: &mut Random) -> Vec<f64> {
    let mut at = 0.0;
    let mut slip = 0.0;
    let mut out = Vec::with_capacity(n);
    let mut breaks = random.between(0.2, 1.5);
    for i in 0..n {
        let behind = swept(i as f64 * SLICE_US * 1e-6) - at;
        if slip == 0.0 && f64::abs(behind) > breaks {
            slip = behind / (random.between(2000.0, 15_000.0) / SLICE_US);
            breaks = random.between(0.2, 1.5);
        }
        at += slip;
        if slip != 0.0 && (swept(i as f64 * SLICE_US * 1e-6) - at) * slip <= 0.0 {
            slip = 0.0;
        }
        out.push(at);
    }
    out
}

/// The shipped sheet of a topology.
pub fn sheet(topology: Topology) -> PartSheet {
    let name = match topology {
        Topology::Complementary => "grip-complementary",
        Topology::HalfSlope => "grip-half-slope",
        Topology::ParallelOffset => "grip-parallel-offset",
    };
    shipped(name).expect("shipped")
}

/// What the rig would record.
pub fn trace(part: &Part, motion: &[f64], rate_hz: f64, outages: &[Outage], random: &mut Random) -> Trace {
    let period = 1e6 / rate_hz;
    let scans = ((motion.len() - 1) as f64 * SLICE_US / period) as usize;
    let lines = [0, 1].map(|line| volts(part, line, motion, period, scans, outages, random));
    let step = 360.0 / 16384.0;
    let reference = (0..scans)
        .map(|i| motion[(i as f64 * period / SLICE_US) as usize])
        .map(|d| ((d / step).round() * step) as f32)
        .collect();
    let supply = (0..scans).map(|_| (5.0 + 1e-4 * random.normal()) as f32).collect();
    let [rising, falling] = lines;
    let column = |channel, unit, values| Column { channel, unit, values };
    Trace {
        provenance: provenance(period),
        time_us: (0..scans).map(|i| (i as f64 * period).round() as u64).collect(),
        columns: vec![
            column(Channel::Rising, Unit::Volt, rising),
            column(Channel::Falling, Unit::Volt, falling),
            column(Channel::Supply, Unit::Volt, supply),
            column(Channel::Reference, Unit::Degree, reference),
        ],
        gaps: Vec::new(),
        marks: Vec::new(),
        end: TraceEnd::Complete,
    }
}

/// One line at the converter: play, noise (also of noisy places), the Hall's 12-bit output, contact, filter, the rig's step.
fn volts(
    part: &Part,
    line: usize,
    motion: &[f64],
    period: f64,
    scans: usize,
    outages: &[Outage],
    random: &mut Random,
) -> Vec<f32> {
    let half = 0.5 * part.hysteresis_deg(line);
    let hall = part.spec().sensor == Sensor::Hall;
    let noisy = part.noisy_places(line);
    let mut seen = motion[0];
    let mut state: Option<Input> = None;
    let mut out = Vec::with_capacity(scans);
    for (i, at) in motion.iter().enumerate() {
        seen = f64::clamp(seen, at - half, at + half);
        let mut noise = part.drawn().noise_volts;
        noise += noisy.iter().filter(|p| (p.0..p.1).contains(&seen)).map(|p| p.2).sum::<f64>();
        let mut v = 5.0 * part.transfer(seen, line) + noise * random.normal();
        if hall {
            v = (v * 4096.0 / 5.0).round() * 5.0 / 4096.0;
        }
        let slice = Slice {
            from_us: i as f64 * SLICE_US,
            from_volts: v,
            volts_per_us: 0.0,
            filter_us: FILTER_US,
            open_us: 150.0,
            supply_volts: 5.0,
            starve_us: 50.0,
        };
        let mut now = state.unwrap_or(Input { filtered: v, node: v });
        let (mut from, end) = (slice.from_us, slice.from_us + SLICE_US);
        while out.len() < scans && (out.len() as f64) * period < end {
            let at_us = out.len() as f64 * period;
            let cut = Slice { from_us: from, ..slice };
            now = cut.advance(line, now, at_us, outages);
            from = at_us;
            let read = now.filtered + 1.5e-4 * random.normal();
            out.push(((read / 5.12 * 65536.0).round() * 5.12 / 65536.0) as f32);
        }
        state = Some(Slice { from_us: from, ..slice }.advance(line, now, end, outages));
    }
    out
}

fn provenance(period_us: f64) -> Provenance {
    let channel = |channel| ChannelProvenance {
        channel,
        scale: 1.0,
        offset: 0.0,
        resolution: 5.12 / 65536.0,
        filter_us: FILTER_US as u32,
        gain_uncertainty: 0.0,
        offset_uncertainty: 0.0,
        calibrated_day: 0,
        certificate: String::new(),
    };
    Provenance {
        simulated: true,
        channels: vec![channel(Channel::Rising), channel(Channel::Falling)],
        part: "invented".into(),
        started: "2026-01-01T00:00:00Z".into(),
        recorded_by: "study".into(),
        ..Provenance::bare(ProcedureKind::Sweep, period_us.round() as u32)
    }
}
