//! The self-check: supply, noise at rest, reference, both stops, drive current. It says what was seen, not whether that is
//! good enough.

use super::recording::{Plan, Recording};
use super::robust;
use super::{Bench, Motion, ProcedureError, Stops, Warning};
use crate::quantity::{Channel, ProcedureKind};
use crate::trace::{MarkKind, Trace};
use std::ops::Range;
use trackpair_protocol::message::Request;

/// Rest without drive at the start, µs: the supply comes on in it, and the noise is taken at its end.
const REST_US: u32 = 700_000;
/// The supply is switched on this long after the start, µs.
const SUPPLY_AT_US: u64 = 100_000;
/// The noise is taken from this time after the start on, µs.
const NOISE_FROM_US: u64 = 300_000;
/// Time for pressing on a stop, µs.
const PRESS_US: u32 = 200_000;
/// Speed between the ends, deg/s.
const FAST_DEG_S: f64 = 60.0;
/// Speed onto a stop, deg/s: slow enough that the drive current shows where the stop begins.
const SLOW_DEG_S: f64 = 20.0;
/// From this far before the nominal end on, it goes slowly, degrees.
const NEAR_DEG: f64 = 5.0;
/// Setpoint beyond the nominal end, degrees, as far as the rig's travel allows. The drive limits its own current.
const BEYOND_DEG: f64 = 6.0;
/// The reference stays at least this far from the setpoint when a stop holds it, degrees.
const HELD_DEG: f64 = 0.3;
/// Less travel than this is no movement, degrees.
const MOVED_DEG: f64 = 2.0;
/// A part is not called still unless this share of the scans came.
const LEAST_RECEIVED: f64 = 0.9;
/// Scan rate, Hz.
const RATE_HZ: f64 = 5_000.0;

/// Numbers of segments in the program.
const ONTO_CLOSED: u8 = 2;
const PRESS_CLOSED: u8 = 3;
const OPENING: u8 = 4;
const ONTO_OPEN: u8 = 5;
const PRESS_OPEN: u8 = 6;
const BACK: u8 = 7;

/// Noise of a line at rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineNoise {
    /// Which line.
    pub channel: Channel,
    /// Standard deviation of its white part, V.
    pub sd_volts: f64,
    /// Largest minus smallest, V.
    pub peak_to_peak_volts: f64,
}

/// What the self-check saw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SelfCheck {
    /// The recording, whatever happened.
    pub recording: Recording,
    /// Supply measured at the plug at rest, V.
    pub supply_volts: Option<f64>,
    /// Time from switching the supply on to within 1 % of that, ms.
    pub supply_settle_ms: Option<f64>,
    /// Noise at rest of both lines and of the supply.
    pub noise: Vec<LineNoise>,
    /// Reference at the closed stop, degrees.
    pub closed_stop_deg: Option<f64>,
    /// Reference at the open stop, degrees.
    pub open_stop_deg: Option<f64>,
    /// Travel that the reference saw while driven, degrees.
    pub travel_seen_deg: f64,
    /// Whether it moved at all.
    pub moved: bool,
    /// Median magnitude of the drive current while moving, A.
    pub moving_amps: Option<f64>,
    /// Magnitude of the drive current while pressing on the open stop, A.
    pub pressing_amps: Option<f64>,
    /// What the reader should know, the recording's included.
    pub warnings: Vec<Warning>,
}

/// One thing that a self-check read, for people.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What.
    pub name: String,
    /// Its value; none when it was not seen.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
}

impl SelfCheck {
    /// What was read, in the order of the check.
    pub fn readings(&self) -> Vec<Reading> {
        let one = |name: &str, value, unit| Reading { name: name.to_owned(), value, unit };
        let mut all = vec![
            one("supply", self.supply_volts, "V"),
            one("supply settles in", self.supply_settle_ms, "ms"),
        ];
        let noise = |n: &LineNoise| one(&format!("noise {}", n.channel), Some(n.sd_volts * 1e3), "mV");
        all.extend(self.noise.iter().map(noise));
        all.extend([
            one("closed stop", self.closed_stop_deg, "deg on the reference"),
            one("open stop", self.open_stop_deg, "deg on the reference"),
            one("travel seen", Some(self.travel_seen_deg), "deg"),
            one("turning takes", self.moving_amps, "A"),
            one("pressing takes", self.pressing_amps, "A"),
        ]);
        all.retain(|r| r.value.is_none_or(f64::is_finite));
        all
    }
}

impl Bench<'_> {
    /// Checks rig and part: about 12 s. Later procedures go by the stops it finds.
    pub fn self_check(&mut self) -> SelfCheck {
        let plan = match self.plan_self_check() {
            Ok(plan) => plan,
            Err(failure) => {
                return SelfCheck { recording: Recording::failed(failure), ..SelfCheck::default() };
            }
        };
        let (millivolts, plan, ends) = plan;
        let recording = self.record(&plan, |tape| {
            let words = |_| "supply, noise, reference, stops".to_owned();
            // The supply comes on during the rest. A refusal shows in what is read.
            if tape.listen() && tape.until(tape.started_us().unwrap_or(0) + SUPPLY_AT_US, &words) {
                let _ = tape.ask(&Request::SetSupply { millivolts });
            }
            tape.until_over(&words);
        });
        let mut check = SelfCheck { warnings: recording.warnings.clone(), recording, ..SelfCheck::default() };
        // What a rig says that contradicts itself shows nothing of the part.
        let believed = !matches!(
            check.recording.failure,
            Some(ProcedureError::Contradiction { .. } | ProcedureError::EndedEarly { .. })
        );
        if let Some(trace) = check.recording.trace.take_if(|_| believed) {
            look_at_rest(&trace, f64::from(millivolts) / 1e3, &mut check);
            look_at_motion(&trace, ends, self.sheet.travel_deg, &mut check);
            check.recording.trace = Some(trace);
        }
        self.stops = check
            .closed_stop_deg
            .zip(check.open_stop_deg)
            .map(|(closed, open)| Stops { closed_deg: closed, open_deg: open });
        if let (Some(trace), Some(stops)) = (&mut check.recording.trace, self.stops) {
            trace.provenance.reference_zero_deg = stops.closed_deg;
        }
        check
    }

    fn plan_self_check(&mut self) -> Result<(u16, Plan, (f64, f64)), ProcedureError> {
        let procedure = ProcedureKind::SelfCheck;
        self.require_drive(procedure)?;
        let millivolts = self.supply_mv(procedure)?;
        self.clear_trip(procedure)?;
        self.session.set_supply(0)?;
        self.settle(procedure, super::SUPPLY_SETTLE)?;
        let travel = self.sheet.travel_deg;
        let (low, high) = (self.within_travel(-BEYOND_DEG), self.within_travel(travel + BEYOND_DEG));
        let (fast, slow) = (self.speed(FAST_DEG_S), self.speed(SLOW_DEG_S));
        let motion = Motion::new()
            .release(REST_US)
            .ramp(NEAR_DEG, fast)
            .ramp(low, slow)
            .hold(PRESS_US)
            .ramp((travel - NEAR_DEG).max(NEAR_DEG), fast)
            .ramp(high, slow)
            .hold(PRESS_US)
            .ramp(NEAR_DEG, fast);
        let plan = Plan {
            procedure,
            program: motion.program(),
            stimuli: motion.stimuli(),
            channels: self.session.known_channels(),
            period_us: self.period_us(RATE_HZ),
            max_us: 0,
            planned_us: Some(motion.duration_us(0.0)),
            sweep: None,
        };
        Ok((millivolts, plan, (low, high)))
    }
}

fn look_at_rest(trace: &Trace, set_volts: f64, check: &mut SelfCheck) {
    let Some(&start) = trace.time_us.first() else { return };
    // The program begins with the recording; where its first scans were lost, its first segment shows when.
    let start = trace.segments_begun().iter().find(|(_, s)| *s == 0).map_or(start, |(at, _)| start.min(*at));
    let rest = between(trace, start + NOISE_FROM_US, start + u64::from(REST_US));
    // Of a rest that was half lost nothing is read.
    let due = (u64::from(REST_US) - NOISE_FROM_US) / u64::from(trace.provenance.period_us.max(1));
    if (rest.len() as u64) < due / 2 {
        return;
    }
    if let Some(supply) = trace.channel(Channel::Supply) {
        check.supply_volts = robust::median(&supply[rest.clone()]);
        let on =
            trace.marks.iter().find(|m| matches!(m.kind, MarkKind::Supply { millivolts } if millivolts > 0));
        check.supply_settle_ms = check
            .supply_volts
            .zip(on)
            .and_then(|(volts, on)| settle_ms(trace, supply, on.at_us, &rest, volts));
    }
    for channel in [Channel::Rising, Channel::Falling, Channel::Supply] {
        let Some(values) = trace.channel(channel).map(|values| &values[rest.clone()]) else { continue };
        if let Some(sd_volts) = robust::noise(values) {
            let (low, high) = extremes(values);
            check.noise.push(LineNoise { channel, sd_volts, peak_to_peak_volts: high - low });
        }
    }
    if let Some(measured_volts) = check.supply_volts
        && (measured_volts - set_volts).abs() > 0.02 * set_volts
    {
        check.warnings.push(Warning::SupplyOff { set_volts, measured_volts });
    }
    // Common practice, no source: a sensor supply is up within some milliseconds.
    if let Some(settle_ms) = check.supply_settle_ms.filter(|ms| *ms > 50.0) {
        check.warnings.push(Warning::SupplySlow { settle_ms });
    }
}

/// From `on_us` to the last time it was more than 1 % off, ms.
fn settle_ms(trace: &Trace, supply: &[f32], on_us: u64, rest: &Range<usize>, volts: f64) -> Option<f64> {
    let from = trace.time_us.partition_point(|t| *t < on_us);
    let window = supply.get(from..rest.end)?;
    let off = |v: &f32| (f64::from(*v) - volts).abs() > 0.01 * volts.abs();
    let settled = window.iter().rposition(off).map_or(0, |k| k + 1);
    let at = trace.time_us.get(from + settled)?;
    Some(at.saturating_sub(on_us) as f64 / 1e3)
}

fn look_at_motion(trace: &Trace, (low, high): (f64, f64), nominal_deg: f64, check: &mut SelfCheck) {
    let Some(reference) = trace.channel(Channel::Reference) else { return };
    let amps = trace.channel(Channel::DriveAmps);
    let driven = segment(trace, 1).start..trace.len();
    let (least, most) = extremes(&reference[driven]);
    check.travel_seen_deg = (most - least).max(0.0);
    check.moved = check.travel_seen_deg >= MOVED_DEG;
    check.moving_amps = amps.and_then(|amps| magnitude(&amps[segment(trace, OPENING)]));
    check.pressing_amps = amps.and_then(|amps| magnitude(&amps[segment(trace, PRESS_OPEN)]));
    let told = |number| trace.marks.iter().any(|m| is_segment(&m.kind, number));
    let finished_driving = told(BACK);
    if !check.moved {
        if finished_driving && received(trace) < LEAST_RECEIVED {
            check.warnings.push(Warning::NotSeen { received_percent: 100.0 * received(trace) });
        } else if finished_driving {
            check.warnings.push(Warning::NotMoving { travel_deg: check.travel_seen_deg });
        }
        return;
    }
    check.closed_stop_deg =
        stop(reference, amps, segment(trace, ONTO_CLOSED), segment(trace, PRESS_CLOSED), low);
    check.open_stop_deg = stop(reference, amps, segment(trace, ONTO_OPEN), segment(trace, PRESS_OPEN), high);
    if !finished_driving {
        return;
    }
    for (end, found, driven_to_deg, segments) in [
        ("closed", check.closed_stop_deg, low, [ONTO_CLOSED, PRESS_CLOSED]),
        ("open", check.open_stop_deg, high, [ONTO_OPEN, PRESS_OPEN]),
    ] {
        // An event that was lost is no stop that was missed.
        if found.is_none() && segments.into_iter().all(told) {
            check.warnings.push(Warning::NoStop { end, driven_to_deg });
        }
    }
    if let Some((closed, open)) = check.closed_stop_deg.zip(check.open_stop_deg)
        && (open - closed - nominal_deg).abs() > 0.1 * nominal_deg
    {
        check.warnings.push(Warning::TravelOff { found_deg: open - closed, nominal_deg });
    }
    if let Some((moving_amps, pressing_amps)) = check.moving_amps.zip(check.pressing_amps)
        && moving_amps > 0.6 * pressing_amps
    {
        check.warnings.push(Warning::Stiff { moving_amps, pressing_amps });
    }
}

/// Share of the recording's time in which scans came.
fn received(trace: &Trace) -> f64 {
    let (Some(first), Some(last)) = (trace.time_us.first(), trace.time_us.last()) else { return 0.0 };
    let lost: u64 = trace.gaps.iter().map(|g| g.scans).sum();
    let due = (last - first) / u64::from(trace.provenance.period_us.max(1)) + 1;
    1.0 - lost.min(due) as f64 / due as f64
}

/// Where the reference meets a stop: where the drive current begins to rise from what moving takes to what pressing
/// takes. Coupling and stop give way a little under full force, so that the reading while pressing lies beyond it. None
/// when the reference follows the setpoint to its end.
fn stop(
    reference: &[f32],
    amps: Option<&[f32]>,
    onto: Range<usize>,
    press: Range<usize>,
    setpoint_deg: f64,
) -> Option<f64> {
    let press = press.start + press.len() / 2..press.end;
    let pressed_deg = robust::median(&reference[press.clone()])?;
    if (pressed_deg - setpoint_deg).abs() < HELD_DEG {
        return None;
    }
    let contact = amps.and_then(|amps| contact(reference, amps, onto, press, pressed_deg));
    Some(contact.unwrap_or(pressed_deg))
}

fn contact(
    reference: &[f32],
    amps: &[f32],
    onto: Range<usize>,
    press: Range<usize>,
    pressed_deg: f64,
) -> Option<f64> {
    let away = |k: &usize| (f64::from(reference[*k]) - pressed_deg).abs();
    let moving: Vec<f32> = onto.clone().filter(|k| (1.0..4.0).contains(&away(k))).map(|k| amps[k]).collect();
    let (moving_amps, pressing_amps) = (robust::median(&moving)?, robust::median(&amps[press])?);
    let rise = pressing_amps - moving_amps;
    let points: Vec<(f64, f64)> = onto
        .filter(|k| away(k) < 1.0)
        .map(|k| ((f64::from(amps[k]) - moving_amps) / rise, f64::from(reference[k])))
        .filter(|(share, _)| (0.2..0.9).contains(share))
        .collect();
    if points.len() < 5 {
        return None;
    }
    let (at_contact, _) = robust::line(&points)?;
    ((at_contact - pressed_deg).abs() < 1.0).then_some(at_contact)
}

fn is_segment(kind: &MarkKind, number: u8) -> bool {
    matches!(kind, MarkKind::Segment { segment, .. } if *segment == number)
}

/// Scans of a segment, by its mark; empty when it was not reached.
fn segment(trace: &Trace, number: u8) -> Range<usize> {
    let at = |number| trace.marks.iter().find(|m| is_segment(&m.kind, number)).map(|m| m.at_us);
    let Some(from_us) = at(number) else { return trace.len()..trace.len() };
    between(trace, from_us, at(number + 1).unwrap_or(u64::MAX))
}

fn between(trace: &Trace, from_us: u64, to_us: u64) -> Range<usize> {
    let from = trace.time_us.partition_point(|t| *t < from_us);
    let to = trace.time_us.partition_point(|t| *t < to_us);
    from..to.max(from)
}

fn extremes(values: &[f32]) -> (f64, f64) {
    let start = (f64::INFINITY, f64::NEG_INFINITY);
    values.iter().fold(start, |(low, high), v| (low.min(f64::from(*v)), high.max(f64::from(*v))))
}

fn magnitude(amps: &[f32]) -> Option<f64> {
    robust::median(&amps.iter().map(|a| a.abs()).collect::<Vec<_>>())
}
