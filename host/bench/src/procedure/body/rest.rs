//! Rest and stops: the plate is let go, pressed onto its closed stop, let go, pressed onto its open stop, let go; some times over.
//! No position loop: nothing is known of the angle before it. It begins gently; a plate that does not come to its stops then is
//! pressed harder and without delay, so that it passes a dead spot of the brushes or a gap in the teeth with a run.

use super::super::{Bench, Motion, Recording, Warning, robust};
use crate::quantity::{Channel, ProcedureKind};
use crate::trace::{PlateScale, Trace};
use std::ops::Range;

/// How a plate is pressed on its stops.
#[derive(Clone, Copy, Debug)]
struct Press {
    volts: f64,
    /// Time in which the voltage rises, onto the closed and the open stop, µs.
    rise_us: [u32; 2],
}

/// Gently first: enough for a stiff plate, too little to harm a motor that stands. Then harder, for a winding that lets less through.
const PRESSES: [Press; 3] = [
    Press { volts: 4.5, rise_us: [500_000, 700_000] },
    Press { volts: 8.0, rise_us: [2_000; 2] },
    Press { volts: 12.0, rise_us: [2_000; 2] },
];
/// A span of the first line below this share of the sheet's is no way from stop to stop.
const WHOLE_SHARE: f64 = 0.93;
/// Rounds.
const ROUNDS: u16 = 3;
/// Times of the segments, µs.
const FIRST_REST_US: u32 = 600_000;
const PRESS_US: u32 = 300_000;
const RISE_US: u32 = 1_000_000;
const FALL_US: u32 = 1_500_000;
/// Numbers of segments.
const FIRST_REST: u8 = 0;
const ONTO_CLOSED: u8 = 1;
const PRESS_CLOSED: u8 = 2;
const RISEN: u8 = 3;
const ONTO_OPEN: u8 = 4;
const PRESS_OPEN: u8 = 5;
const FALLEN: u8 = 6;
/// The end of a segment that is looked at, µs.
const LOOK_US: u64 = 100_000;
/// The plate has left its rest when it is this far from it, degrees, for so many scans: nearer, it rests on the springs' own play.
const BREAK_DEG: f64 = 0.16;
const BREAK_SCANS: usize = 5;
/// A rise of the voltage that takes this long shows at which one the plate broke away, µs.
const SLOW_RISE_US: u32 = 100_000;
/// Less change of the first line between the stops than this, ratio of supply, is no motion.
const MOVED: f64 = 0.05;

/// What rest and stops found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RestFound {
    /// The recordings, whatever happened; the last one counts.
    pub recordings: Vec<Recording>,
    /// The first line at both stops; none when it did not move.
    pub plate: Option<PlateScale>,
    /// Where the plate rests, degrees from the closed stop.
    pub rest_deg: Option<f64>,
}

impl Bench<'_> {
    /// Finds rest and stops; the procedures after it go by them.
    pub fn rest_and_stops(&mut self) -> RestFound {
        let mut found = RestFound::default();
        for (attempt, press) in PRESSES.into_iter().enumerate() {
            let mut recording = self.press_stops(press);
            // One that was interrupted may end on its way to a stop.
            let ran = recording.trace.as_ref().filter(|t| !t.was_interrupted());
            let whole = ran.and_then(change).is_some_and(|c| self.is_whole(c));
            if let Some(trace) = recording.trace.as_mut().filter(|t| !t.was_interrupted()) {
                found.plate =
                    if whole { plate(trace, self.sheet.travel_deg) } else { self.nominal_plate(trace) };
                found.rest_deg = found.plate.and_then(|scale| rest(trace, scale));
                let broke = found.plate.and_then(|scale| break_volts(trace, scale, press));
                self.break_volts = self.break_volts.or(broke);
                self.winding_ohms = winding_ohms(trace);
                trace.provenance.plate = found.plate;
            }
            let last = whole || recording.failure.is_some() || attempt + 1 == PRESSES.len();
            if last && !whole && recording.failure.is_none() {
                recording.warnings.push(self.not_whole(&found, recording.trace.as_ref()));
            }
            found.recordings.push(recording);
            if last {
                break;
            }
        }
        (self.plate, self.rest_deg) = (found.plate, found.rest_deg);
        found
    }

    fn press_stops(&mut self, press: Press) -> Recording {
        self.run_body(ProcedureKind::Rest, "rest and both stops", |_, _| {
            Motion::new()
                .release(FIRST_REST_US)
                .volts_ramp(-press.volts, press.rise_us[0])
                .volts(-press.volts, PRESS_US)
                .release(RISE_US)
                .volts_ramp(press.volts, press.rise_us[1])
                .volts(press.volts, PRESS_US)
                .release(FALL_US)
                .repeat(1, ROUNDS - 1)
        })
    }

    /// Whether the first line changed as much as it does from stop to stop.
    fn is_whole(&self, change: f64) -> bool {
        change >= WHOLE_SHARE * (self.sheet.rising.open - self.sheet.rising.closed).abs()
    }

    /// The sheet's line, where a plate moved but did not come to its stops.
    fn nominal_plate(&self, trace: &Trace) -> Option<PlateScale> {
        change(trace).filter(|c| *c >= MOVED).map(|_| self.nominal_scale())
    }

    fn not_whole(&self, found: &RestFound, trace: Option<&Trace>) -> Warning {
        let nominal = (self.sheet.rising.open - self.sheet.rising.closed).abs();
        let found_deg = trace.and_then(change).unwrap_or(0.0) / nominal * self.sheet.travel_deg;
        match found.plate {
            None => Warning::NotMoving { travel_deg: found_deg },
            Some(_) => Warning::TravelOff { found_deg, nominal_deg: self.sheet.travel_deg },
        }
    }
}

/// Change of the first line between the stops, ratio of supply.
fn change(trace: &Trace) -> Option<f64> {
    Some((level(trace, PRESS_OPEN)? - level(trace, PRESS_CLOSED)?).abs())
}

fn plate(trace: &Trace, travel_deg: f64) -> Option<PlateScale> {
    let (closed_ratio, open_ratio) = (level(trace, PRESS_CLOSED)?, level(trace, PRESS_OPEN)?);
    ((open_ratio - closed_ratio).abs() >= MOVED).then_some(PlateScale {
        closed_ratio,
        open_ratio,
        travel_deg,
    })
}

fn rest(trace: &Trace, scale: PlateScale) -> Option<f64> {
    let rests = [FIRST_REST, RISEN, FALLEN].iter().filter_map(|s| level(trace, *s));
    robust::median(&rests.map(|r| scale.deg(r) as f32).collect::<Vec<f32>>())
}

/// Voltage over current where the motor stands and presses on the stops, ohm: winding, brushes and leads together.
fn winding_ohms(trace: &Trace) -> Option<f64> {
    let (volts, amps) = (trace.channel(Channel::MotorVolts)?, trace.channel(Channel::MotorAmps)?);
    let pressing = [PRESS_CLOSED, PRESS_OPEN].into_iter().flat_map(|s| stretches(trace, s));
    let ohms = pressing.flat_map(|range| end(trace, range)).map(|i| volts[i] / amps[i]);
    robust::median(&ohms.filter(|r| r.is_finite()).collect::<Vec<f32>>()).filter(|r| (0.1..100.0).contains(r))
}

/// The least voltage that moved the plate from rest, either way, V.
fn break_volts(trace: &Trace, scale: PlateScale, press: Press) -> Option<f64> {
    let ways = [(ONTO_CLOSED, press.rise_us[0]), (ONTO_OPEN, press.rise_us[1])];
    // A voltage that jumps shows nothing.
    let ways = ways.into_iter().filter(|(_, us)| *us >= SLOW_RISE_US);
    let moved = ways.flat_map(|(segment, us)| {
        stretches(trace, segment).into_iter().filter_map(move |range| {
            let start = ratio(trace, range.start)?;
            let moved = |i: usize| {
                ratio(trace, i).is_some_and(|r| (scale.deg(r) - scale.deg(start)).abs() > BREAK_DEG)
            };
            let at = range.clone().find(|i| (*i..i + BREAK_SCANS).all(moved))?;
            let gone = trace.time_us[at] - trace.time_us[range.start];
            Some(press.volts * (gone as f64 / f64::from(us)).min(1.0))
        })
    });
    moved.min_by(f64::total_cmp)
}

/// Median ratio of the first line at the ends of a segment's passes.
fn level(trace: &Trace, segment: u8) -> Option<f64> {
    let ends = stretches(trace, segment).into_iter().flat_map(|range| end(trace, range));
    let ratios = ends.filter_map(|i| ratio(trace, i));
    robust::median(&ratios.map(|r| r as f32).collect::<Vec<f32>>())
}

/// The last [`LOOK_US`] of a stretch that is not empty.
fn end(trace: &Trace, range: Range<usize>) -> Range<usize> {
    let from = trace.time_us[range.end - 1].saturating_sub(LOOK_US);
    trace.time_us.partition_point(|t| *t < from).max(range.start)..range.end
}

/// First line over the supply at a scan.
fn ratio(trace: &Trace, scan: usize) -> Option<f64> {
    let of = |channel| trace.channel(channel).and_then(|c| c.get(scan)).map(|v| f64::from(*v));
    Some(of(Channel::Rising)? / of(Channel::Supply)?).filter(|r| r.is_finite())
}

/// Scans of every pass of a segment; none of them empty.
fn stretches(trace: &Trace, segment: u8) -> Vec<Range<usize>> {
    let begins = trace.segments_begun();
    let index = |us: u64| trace.time_us.partition_point(|t| *t < us);
    let range = |k: usize| index(begins[k].0)..begins.get(k + 1).map_or(trace.len(), |next| index(next.0));
    (0..begins.len()).filter(|k| begins[*k].1 == segment).map(range).filter(|r| !r.is_empty()).collect()
}
