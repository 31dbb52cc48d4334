//! Flex: a place is held, or the grip is left free, while somebody flexes the pigtail, for minutes or hours. Only windows
//! around jumps are kept, with samples from before the trigger, so that memory stays flat; the whole trace too while it is
//! short.

mod baseline;
mod watcher;

use super::recording::{Plan, Recording, told};
use super::{Bench, HandEnd, Motion, ProcedureError, Warning};
use crate::quantity::{Channel, ProcedureKind};
use crate::session::{Decoder, RunSpec};
use crate::trace::{Provenance, Trace};
use trackpair_protocol::message::Request;
use watcher::Watcher;

/// After a place is reached, this long until jumps count, µs.
const SETTLE_US: u64 = 200_000;
/// Speed to the place, deg/s.
const SPEED_DEG_S: f64 = 60.0;
/// Speed of the sweep while the pigtail is flexed, deg/s: a stroke in 4 s.
const SWEEP_DEG_S: f64 = 20.0;
/// That sweep keeps this far from the stops, degrees.
const CLEAR_DEG: f64 = 0.5;
/// One round of holding, µs; repeated for as long as it takes.
const ROUND_US: u32 = 60_000_000;

/// A place this far beyond the open stop that was found is held at the stop: parts' travels are alike only so far, degrees.
pub const STOP_TOLERANCE_DEG: f64 = 1.0;

/// What to do.
#[derive(Clone, Copy, Default)]
pub struct FlexPlan<'k> {
    /// Place to hold, degrees of travel from the closed stop; none = free, drive off.
    pub hold_deg: Option<f64>,
    /// The rig sweeps slowly, stop to stop, meanwhile: what keeps to a place of the travel is distinguished from what keeps to the hand.
    pub sweep: bool,
    /// Places along the pigtail that are flexed in turn; none = one or many, untold.
    pub places: Option<&'k FlexPlaces>,
    /// Hears of each event as soon as it is over.
    pub cue: Option<&'k dyn Fn(&FlexCue)>,
    /// When it ends.
    pub until: HandEnd<'k>,
}

impl std::fmt::Debug for FlexPlan<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { hold_deg, sweep, places, until, .. } = self;
        f.debug_struct("FlexPlan")
            .field("hold_deg", hold_deg)
            .field("sweep", sweep)
            .field("places", places)
            .field("until", until)
            .finish_non_exhaustive()
    }
}

/// Places along the pigtail.
#[derive(Debug)]
pub struct FlexPlaces {
    /// Their names, at least one; numbered from 1.
    pub names: Vec<String>,
    /// So long at each, hands off first, on the rig's clock, µs; none = as typed, hands off first.
    pub each_us: Option<u64>,
}

impl FlexPlaces {
    /// A place's name.
    pub fn name(&self, place: u8) -> &str {
        match place.checked_sub(1) {
            None => "hands off",
            Some(k) => self.names.get(usize::from(k)).map_or("", String::as_str),
        }
    }
}

/// An event, for those who flex.
#[derive(Clone, Debug, PartialEq)]
pub struct FlexCue {
    /// From 1.
    pub number: u64,
    /// When it began, µs after the beginning.
    pub after_us: u64,
    /// From its first sample beyond the threshold to its last, µs.
    pub length_us: u64,
    /// Whether the line came back and was lost again in it.
    pub on_and_off: bool,
    /// Lines that jumped.
    pub lines: Vec<Channel>,
    /// Where the hand was; none where no places are named.
    pub place: Option<u8>,
}

/// What is kept of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FlexKeep {
    /// Time kept before a trigger, µs.
    pub before_us: u64,
    /// Time kept after a trigger, µs.
    pub after_us: u64,
    /// Most windows kept; events beyond are still reported, without their samples.
    pub most_windows: usize,
    /// Most events reported; those beyond are counted.
    pub most_events: usize,
    /// A run up to this long is also kept whole, µs.
    pub whole_up_to_us: u64,
}

impl Default for FlexKeep {
    /// 50 ms before and after each trigger, 500 windows (about 20 MB at 5 kHz), and all of it up to 2 minutes.
    fn default() -> Self {
        Self {
            before_us: 50_000,
            after_us: 50_000,
            most_windows: 500,
            most_events: 100_000,
            whole_up_to_us: 120_000_000,
        }
    }
}

/// One jump, or several close together.
#[derive(Clone, Debug, PartialEq)]
pub struct FlexEvent {
    /// First sample beyond the threshold, rig µs.
    pub at_us: u64,
    /// Last sample beyond it, rig µs.
    pub until_us: u64,
    /// Lines that jumped, each with its largest deviation from the median of its neighbours, V.
    pub lines: Vec<(Channel, f64)>,
    /// Samples around it; none when [`FlexKeep::most_windows`] were kept already.
    pub window: Option<Trace>,
}

/// Mean, smallest and largest value of each watched line over a stretch of time, V.
#[derive(Clone, Debug, PartialEq)]
pub struct BaselinePoint {
    /// Start of the stretch, rig µs.
    pub at_us: u64,
    /// Scans in it.
    pub scans: u64,
    /// Per watched line: channel, mean, smallest, largest.
    pub lines: Vec<(Channel, f64, f64, f64)>,
}

/// What flexing brought to light.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlexCapture {
    /// The whole trace, when it is short enough; why it was cut short; what the reader should know.
    pub recording: Recording,
    /// Events in order of time.
    pub events: Vec<FlexEvent>,
    /// Events beyond [`FlexKeep::most_events`].
    pub events_beyond: u64,
    /// Time in which a jump would have been seen, µs: scans that came, times the scan period.
    pub observed_us: u64,
    /// Holes in what came.
    pub gaps: usize,
    /// Scans that are missing in them.
    pub scans_lost: u64,
    /// Noise of each watched line at the end, V.
    pub noise: Vec<(Channel, f64)>,
    /// The course of the watched lines, coarser the longer it took.
    pub baseline: Vec<BaselinePoint>,
}

/// What the run will be: the program of a held place and its time to get there.
struct Course {
    motion: Motion,
    counts_after_us: u64,
    max_us: u64,
}

impl Bench<'_> {
    /// Watches for jumps of the lines and the supply, holding a place or free, and keeps what [`FlexKeep::default`] says.
    pub fn flex(&mut self, plan: FlexPlan<'_>) -> FlexCapture {
        self.flex_keeping(plan, FlexKeep::default())
    }

    /// Like [`Bench::flex`], keeping as `keep` says.
    pub fn flex_keeping(&mut self, plan: FlexPlan<'_>, keep: FlexKeep) -> FlexCapture {
        let capture = self.watch_for_jumps(plan, keep).unwrap_or_else(|failure| FlexCapture {
            recording: Recording::failed(failure),
            ..FlexCapture::default()
        });
        if capture.recording.failure.is_some() {
            self.give_up();
        }
        capture
    }

    fn watch_for_jumps(&mut self, plan: FlexPlan<'_>, keep: FlexKeep) -> Result<FlexCapture, ProcedureError> {
        let procedure = ProcedureKind::Flex;
        self.takes_grips(procedure)?;
        let course = self.course(&plan)?;
        self.power_up(procedure)?;
        self.pull_downs(true)?;
        let spec = RunSpec {
            program: (plan.sweep || plan.hold_deg.is_some()).then(|| course.motion.program()).flatten(),
            period_us: self.period_us(f64::from(self.sheet.sweep.rate_hz)),
            channels: self.session.known_channels(),
            max_us: course.max_us,
        };
        let decoder = Decoder::new(&self.session, spec.channels);
        let recorded = Plan {
            procedure,
            program: spec.program,
            stimuli: course.motion.stimuli(),
            channels: spec.channels,
            period_us: spec.period_us,
            max_us: spec.max_us,
            planned_us: None,
            sweep: None,
        };
        let names = plan.places.map(|p| p.names.clone()).unwrap_or_default();
        let provenance = Provenance { places: names, ..self.provenance(&recorded) };
        let (session, setup) = (&mut self.session, &mut self.setup);
        let mut watcher =
            Watcher::new(plan, keep, decoder, provenance, course.counts_after_us, &mut *setup.progress);
        let mut run = session.run(&spec, setup.stop)?;
        watcher.watch(&mut run);
        let end = run.end();
        let (trace_end, failure) = told(procedure, &end);
        let mut capture = watcher.finish(trace_end);
        capture.recording.failure = failure;
        if capture.recording.failure.is_none() {
            self.pull_downs(false)?;
        }
        let warnings = &mut capture.recording.warnings;
        if end.events_lost > 0 {
            warnings.push(Warning::EventsLost { count: end.events_lost });
        }
        if capture.gaps > 0 {
            warnings.push(Warning::Gaps { count: capture.gaps, scans: capture.scans_lost });
        }
        Ok(capture)
    }

    /// Switches the pull-down of every line that has one. With it an open line falls at once, instead of floating on its
    /// cable's charge while a short open goes by.
    fn pull_downs(&mut self, on: bool) -> Result<(), ProcedureError> {
        for line in Channel::SENSORS {
            if let Some((channel, _, true)) = self.input(line) {
                self.session.request(&Request::SetInput { channel, load: false, pull_down: on })?;
            }
        }
        Ok(())
    }

    fn course(&self, plan: &FlexPlan<'_>) -> Result<Course, ProcedureError> {
        if plan.sweep {
            return self.sweeping_course(plan);
        }
        let Some(hold_deg) = plan.hold_deg else {
            let max_us = plan.until.after_us.unwrap_or(0);
            return Ok(Course { motion: Motion::new(), counts_after_us: 0, max_us });
        };
        self.require_drive(ProcedureKind::Flex)?;
        let stops = self.stops_or_nominal();
        let travel_deg = stops.open_deg - stops.closed_deg;
        if !(0.0..=travel_deg + STOP_TOLERANCE_DEG).contains(&hold_deg) {
            return Err(ProcedureError::OutOfRange {
                procedure: ProcedureKind::Flex,
                what: "a place to hold",
                given: format!("{hold_deg}°"),
                allowed: format!("0 to {travel_deg:.1}°"),
                advice: "give a place within the travel",
            });
        }
        let place_deg = self.within_travel(stops.closed_deg + hold_deg.min(travel_deg));
        let approach = Motion::new().ramp(place_deg, self.speed(SPEED_DEG_S));
        let counts_after_us = approach.duration_us(stops.closed_deg) + SETTLE_US;
        let max_us = plan.until.after_us.map_or(0, |after| after + counts_after_us);
        let longest = plan.until.after_us.unwrap_or(u64::from(u16::MAX) * u64::from(ROUND_US)) + SETTLE_US;
        let rounds = longest.div_ceil(u64::from(ROUND_US)).clamp(1, u64::from(u16::MAX));
        let hold = approach.next_segment();
        let motion = approach.hold(ROUND_US).repeat(hold, (rounds - 1) as u16);
        Ok(Course { motion, counts_after_us, max_us })
    }
}

impl Bench<'_> {
    /// Slowly to and fro between the stops, for as long as it takes.
    fn sweeping_course(&self, plan: &FlexPlan<'_>) -> Result<Course, ProcedureError> {
        self.require_drive(ProcedureKind::Flex)?;
        let stops = self.stops_or_nominal();
        let speed = self.speed(SWEEP_DEG_S);
        let (low, high) = (stops.closed_deg + CLEAR_DEG, stops.open_deg - CLEAR_DEG);
        let approach = Motion::new().ramp(low, speed);
        let counts_after_us = approach.duration_us(stops.closed_deg) + SETTLE_US;
        let first = approach.next_segment();
        let motion = approach.ramp(high, speed).ramp(low, speed).repeat(first, u16::MAX);
        let max_us = plan.until.after_us.map_or(0, |after| after + counts_after_us);
        Ok(Course { motion, counts_after_us, max_us })
    }
}
