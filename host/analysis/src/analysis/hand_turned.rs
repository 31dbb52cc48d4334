//! Invented recordings of a grip turned by hand and logged by something else than a rig: for the analysis' own tests only.
//!
//! Strokes are minimum-jerk movements (Flash, Hogan, J. Neurosci. 5, 1985, 1688) between the stops and hesitations on the way: pauses
//! and reversals. Loggers clip, step, hum, drift, and log the angle late. Every number here is an engineering assumption.

use super::statistics::Resampler;
use super::synthetic::Synthetic;
use crate::quantity::Channel;
use crate::trace::Trace;

/// How a hand turns.
#[derive(Clone, Debug)]
pub(crate) struct Hand {
    /// Strokes, up and down in turn.
    pub strokes: usize,
    /// Peak speed of each, degrees per second: slowest and fastest.
    pub speed_deg_s: (f64, f64),
    /// Mean number of hesitations in a stroke.
    pub hesitations: f64,
    /// Degrees that a hesitation goes back: least and most; half of them only pause.
    pub back_deg: (f64, f64),
    /// How far before the closed and the open stop it turns back, degrees.
    pub short_deg: (f64, f64),
}

impl Default for Hand {
    fn default() -> Self {
        Self {
            strokes: 12,
            speed_deg_s: (60.0, 160.0),
            hesitations: 0.7,
            back_deg: (0.3, 3.0),
            short_deg: (0.0, 0.0),
        }
    }
}

impl Hand {
    /// Angle per scan, degrees.
    pub fn motion(&self, part: &Synthetic, seed: u64) -> Vec<f64> {
        let mut r = Resampler::new(seed ^ 0x4A4D);
        let (least, most) = (self.short_deg.0, part.travel_deg - self.short_deg.1);
        let mut out = vec![least; (0.4 * part.rate_hz) as usize];
        for stroke in 0..self.strokes {
            let up = stroke % 2 == 0;
            let sign = if up { 1.0 } else { -1.0 };
            let (begin, end) = if up { (least, most) } else { (most, least) };
            let (slow, fast) = self.speed_deg_s;
            let speed = slow + (fast - slow) * r.uniform();
            let mut at = begin;
            let mut count = self.hesitations.floor() as usize;
            count += usize::from(r.uniform() < self.hesitations.fract());
            let mut places: Vec<f64> = (0..count).map(|_| 0.08 + 0.84 * r.uniform()).collect();
            places.sort_by(f64::total_cmp);
            for place in places {
                let stop = begin + sign * place * (most - least);
                if sign * (stop - at) < 1.0 {
                    continue;
                }
                self.go(&mut out, part, stop, speed, &mut r);
                at = stop;
                if r.uniform() < 0.5 {
                    let back = self.back_deg.0 + (self.back_deg.1 - self.back_deg.0) * r.uniform();
                    at = (stop - sign * back).clamp(least, most);
                    self.go(&mut out, part, at, 0.5 * speed, &mut r);
                }
            }
            self.go(&mut out, part, end, speed, &mut r);
            let rest = (0.15 + 0.25 * r.uniform()) * part.rate_hz;
            out.extend(std::iter::repeat_n(end, rest as usize));
        }
        out
    }

    /// One movement and the pause after it.
    fn go(&self, out: &mut Vec<f64>, part: &Synthetic, to: f64, speed: f64, r: &mut Resampler) {
        let from = out.last().copied().unwrap_or(0.0);
        // The peak of a minimum-jerk movement is 15/8 of its mean speed.
        let seconds = (1.875 * (to - from).abs() / speed).max(0.08);
        let n = (seconds * part.rate_hz).ceil() as usize;
        for i in 1..=n {
            let t = i as f64 / n as f64;
            out.push(from + (to - from) * t.powi(3) * (10.0 - 15.0 * t + 6.0 * t * t));
        }
        let pause = (0.02 + 0.25 * r.uniform()) * part.rate_hz;
        out.extend(std::iter::repeat_n(to, pause as usize));
    }

    /// A log of a part turned like this: no rig, no calibration.
    pub fn log(&self, part: &Synthetic, seed: u64) -> Trace {
        let part = Synthetic { foreign: true, rig_errors: false, ..part.clone() };
        part.trace_of(&self.motion(&part, seed))
    }
}

fn change(trace: &mut Trace, channel: Channel, to: impl Fn(usize, f32) -> f32) {
    for column in trace.columns.iter_mut().filter(|c| c.channel == channel) {
        column.values.iter_mut().enumerate().for_each(|(i, v)| *v = to(i, *v));
    }
}

/// A logger whose range ends at some volts.
pub(crate) fn clipped(mut trace: Trace, volts: f32) -> Trace {
    Channel::SENSORS.iter().for_each(|c| change(&mut trace, *c, |_, v| v.min(volts)));
    trace
}

/// A logger with coarse steps, volts.
pub(crate) fn stepped(mut trace: Trace, volts: f32) -> Trace {
    Channel::SENSORS.iter().for_each(|c| change(&mut trace, *c, |_, v| (v / volts).round() * volts));
    trace
}

/// Mains hum of an amplitude in volts on both lines.
pub(crate) fn humming(mut trace: Trace, hz: f64, volts: f64) -> Trace {
    let time = trace.time_us.clone();
    let at = |i: usize| (std::f64::consts::TAU * hz * time[i] as f64 * 1e-6).sin() * volts;
    Channel::SENSORS.iter().for_each(|c| change(&mut trace, *c, |i, v| v + at(i) as f32));
    trace
}

/// By what a supply that ripples by a share multiplies each scan.
fn ripple(trace: &Trace, hz: f64, share: f64) -> Vec<f32> {
    let at = |us: &u64| 1.0 + share * (std::f64::consts::TAU * hz * *us as f64 * 1e-6).sin();
    trace.time_us.iter().map(|us| at(us) as f32).collect()
}

/// Both lines rise and fall together by a share, as with a supply that ripples; its column stays as it is at the first scan.
pub(crate) fn rippling(mut trace: Trace, hz: f64, share: f64) -> Trace {
    let by = ripple(&trace, hz, share);
    Channel::SENSORS.iter().for_each(|c| change(&mut trace, *c, |i, v| v * by[i]));
    let first = trace.channel(Channel::Supply).map_or(5.0, |v| v[0]);
    change(&mut trace, Channel::Supply, |_, _| first);
    trace
}

/// The same of a supply whose column takes part, and holds each value that it took for so many scans.
pub(crate) fn held_supply(trace: Trace, hz: f64, share: f64, scans: usize) -> Trace {
    let by = ripple(&trace, hz, share);
    let volts = trace.channel(Channel::Supply).map(<[f32]>::to_vec).unwrap_or_default();
    let mut trace = rippling(trace, hz, share);
    let taken = |i: usize| i - i % scans;
    change(&mut trace, Channel::Supply, |i, _| volts[taken(i)] * by[taken(i)]);
    trace
}

/// Scans that were taken up to a share of their distance later than their stamps say.
pub(crate) fn late_scans(mut trace: Trace, share: f32, seed: u64) -> Trace {
    let mut random = Resampler::new(seed ^ 0x1A7E);
    let late: Vec<f32> = (0..trace.len()).map(|_| share * random.uniform() as f32).collect();
    for column in trace.columns.iter_mut().filter(|c| Channel::SENSORS.contains(&c.channel)) {
        let old = column.values.clone();
        let next = |i: usize| old[(i + 1).min(old.len() - 1)];
        column.values.iter_mut().enumerate().for_each(|(i, v)| *v += late[i] * (next(i) - old[i]));
    }
    trace
}

/// An angle in steps of some degrees.
pub(crate) fn coarse_angle(mut trace: Trace, deg: f32) -> Trace {
    change(&mut trace, Channel::Reference, |_, v| (v / deg).round() * deg);
    trace
}

/// An angle that is some scans late.
pub(crate) fn late_angle(mut trace: Trace, scans: usize) -> Trace {
    for column in trace.columns.iter_mut().filter(|c| c.channel == Channel::Reference) {
        let old = column.values.clone();
        column.values.iter_mut().enumerate().for_each(|(i, v)| *v = old[i.saturating_sub(scans)]);
    }
    trace
}

/// An angle that slips by some degrees at a share of the log.
pub(crate) fn slipping_angle(mut trace: Trace, deg: f32, at: f64) -> Trace {
    let from = (at * trace.len() as f64) as usize;
    change(&mut trace, Channel::Reference, |i, v| if i >= from { v + deg } else { v });
    trace
}

/// Lines that drift by a share over the recording while the supply's column does not show it.
pub(crate) fn drifting(mut trace: Trace, share: f64) -> Trace {
    let n = trace.len().max(1) as f64;
    Channel::SENSORS
        .iter()
        .for_each(|c| change(&mut trace, *c, |i, v| v * (1.0 + share * i as f64 / n) as f32));
    trace
}

/// The supply sags by 2.5 % from beginning to end and ripples by 0.8 % at 150 Hz, and lines go along. It was logged in steps of so many volts; none: it
/// was not logged, and 5 V are stated.
pub(crate) fn moving_supply(mut trace: Trace, step_v: Option<f32>) -> Trace {
    let end = trace.time_us.last().copied().unwrap_or(1) as f64;
    let factor: Vec<f32> = trace
        .time_us
        .iter()
        .map(|us| {
            let ripple = (std::f64::consts::TAU * 150.0 * *us as f64 * 1e-6).sin();
            (1.0125 - 0.025 * *us as f64 / end + 0.008 * ripple) as f32
        })
        .collect();
    for column in &mut trace.columns {
        if Channel::SENSORS.contains(&column.channel) || column.channel == Channel::Supply {
            column.values.iter_mut().zip(&factor).for_each(|(v, f)| *v *= f);
        }
        if let (Channel::Supply, Some(step)) = (column.channel, step_v) {
            column.values.iter_mut().for_each(|v| *v = (*v / step).round() * step);
        }
    }
    if step_v.is_none() {
        trace.columns.retain(|c| c.channel != Channel::Supply);
        trace.provenance.stated_supply_volts = Some(5.0);
    }
    trace
}

/// Lines and supply fall by a third for 5 ms in the middle of the log.
pub(crate) fn dipping_supply(mut trace: Trace) -> Trace {
    let begin = trace.time_us[trace.len() / 2];
    for column in &mut trace.columns {
        if Channel::SENSORS.contains(&column.channel) || column.channel == Channel::Supply {
            let at = column.values.iter_mut().zip(&trace.time_us);
            at.filter(|(_, us)| (begin..begin + 5000).contains(*us)).for_each(|(v, _)| *v *= 0.67);
        }
    }
    trace
}
