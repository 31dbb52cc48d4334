//! Flex: a place is held, or the grip is left free, while somebody flexes the pigtail, for minutes or hours. Only windows
//! around jumps are kept, with samples from before the trigger, so that memory stays flat; the whole trace too while it is
//! short.

use super::detector::Detector;
use super::recording::{Plan, Recording, told};
use super::{Bench, HandEnd, Motion, ProcedureError, Progress, Warning};
use crate::quantity::Channel;
use crate::session::{Decoder, Lost, Recorder, RunSink, RunSpec, Step};
use crate::trace::{Column, Gap, Mark, MarkKind, ProcedureKind, Provenance, Trace, TraceEnd};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicU8, Ordering};
use trackpair_protocol::message::{Event, Request};
use trackpair_protocol::samples::SampleBlock;

/// Lines that are watched for jumps.
const WATCHED: [Channel; 3] = [Channel::Rising, Channel::Falling, Channel::Supply];
/// Longest window of one event, µs: a line that never rests makes several.
const LONGEST_WINDOW_US: u64 = 1_000_000;
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
/// Most points of the baseline; when there are more, two become one.
const BASELINE_POINTS: usize = 2_048;
/// First width of a baseline point, µs.
const BASELINE_US: u64 = 100_000;

/// A place this far beyond the open stop that was found is held at the stop: parts' travels are alike only so far, degrees.
pub const STOP_TOLERANCE_DEG: f64 = 1.0;

/// What to do.
#[derive(Clone, Copy, Default)]
pub struct FlexPlan<'k> {
    /// Place to hold, degrees of travel from the closed stop; none = free, drive off.
    pub hold_deg: Option<f64>,
    /// The rig sweeps slowly, stop to stop, meanwhile: what keeps to a place of the travel is told from what keeps to the hand.
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

/// Places along the pigtail, and where the hand is.
#[derive(Debug)]
pub struct FlexPlaces {
    /// Their names, at least one; numbered from 1.
    pub names: Vec<String>,
    /// So long at each, hands off first, on the rig's clock, µs; none = where `hand` says.
    pub each_us: Option<u64>,
    /// Where the hand is, by number; 0 = hands off. Set by whoever watches it.
    pub hand: AtomicU8,
}

impl FlexPlaces {
    /// Where the hand is so long after the beginning.
    fn at(&self, elapsed_us: u64) -> u8 {
        let all = self.names.len() as u64 + 1;
        match self.each_us {
            Some(each) => (elapsed_us / each.max(1) % all) as u8,
            None => self.hand.load(Ordering::Relaxed).min(self.names.len() as u8),
        }
    }

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
    /// Where the hand was; none where no places are told.
    pub place: Option<u8>,
}

/// What is kept of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FlexKeep {
    /// Time kept before a trigger, µs.
    pub before_us: u64,
    /// Time kept after a trigger, µs.
    pub after_us: u64,
    /// Most windows kept; events beyond are still told, without their samples.
    pub most_windows: usize,
    /// Most events told; those beyond are counted.
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

/// An event that is still being collected.
#[derive(Debug)]
struct Open {
    event: FlexEvent,
    time_us: Vec<u64>,
    columns: Vec<Vec<f32>>,
    gaps: Vec<Gap>,
    ends_us: u64,
    latest_us: u64,
    /// Jumps that lie apart: one of a short loss, two of the ends of a long one, more of several.
    apart: u32,
}

/// Samples kept from before: a ring as deep as the pre-trigger time.
#[derive(Debug)]
struct History {
    depth: usize,
    time_us: VecDeque<u64>,
    columns: Vec<VecDeque<f32>>,
}

impl History {
    fn new(depth: usize, columns: usize) -> Self {
        let columns = vec![VecDeque::with_capacity(depth + 1); columns];
        Self { depth, time_us: VecDeque::with_capacity(depth + 1), columns }
    }

    fn push(&mut self, at_us: u64, scan: impl Iterator<Item = f32>) {
        if self.time_us.len() == self.depth {
            self.time_us.pop_front();
            self.columns.iter_mut().for_each(|column| {
                column.pop_front();
            });
        }
        self.time_us.push_back(at_us);
        for (column, value) in self.columns.iter_mut().zip(scan) {
            column.push_back(value);
        }
    }

    fn clear(&mut self) {
        self.time_us.clear();
        self.columns.iter_mut().for_each(VecDeque::clear);
    }
}

/// A coarse course of the lines in bounded memory.
#[derive(Debug)]
struct Baseline {
    width_us: u64,
    points: Vec<BaselinePoint>,
}

impl Baseline {
    fn add(&mut self, at_us: u64, values: &[(Channel, f32)]) {
        let fresh = match self.points.last() {
            Some(last) => at_us >= last.at_us + self.width_us,
            None => true,
        };
        if fresh {
            if self.points.len() == BASELINE_POINTS {
                self.coarsen();
            }
            let line = |(channel, value): &(Channel, f32)| {
                let value = f64::from(*value);
                (*channel, value, value, value)
            };
            self.points.push(BaselinePoint { at_us, scans: 1, lines: values.iter().map(line).collect() });
            return;
        }
        let Some(point) = self.points.last_mut() else { return };
        point.scans += 1;
        for ((_, mean, low, high), (_, value)) in point.lines.iter_mut().zip(values) {
            let value = f64::from(*value);
            *mean += (value - *mean) / point.scans as f64;
            *low = low.min(value);
            *high = high.max(value);
        }
    }

    /// Two neighbours become one.
    fn coarsen(&mut self) {
        self.width_us *= 2;
        self.points = self.points.chunks(2).map(merge).collect();
    }
}

fn merge(pair: &[BaselinePoint]) -> BaselinePoint {
    let mut point = pair[0].clone();
    if let [_, second] = pair {
        let scans = point.scans + second.scans;
        for (a, b) in point.lines.iter_mut().zip(&second.lines) {
            a.1 += (b.1 - a.1) * second.scans as f64 / scans as f64;
            a.2 = a.2.min(b.2);
            a.3 = a.3.max(b.3);
        }
        point.scans = scans;
    }
    point
}

/// Watches the run.
struct Watcher<'r, 'k> {
    plan: FlexPlan<'k>,
    keep: FlexKeep,
    progress: &'r mut dyn FnMut(Progress),
    decoder: Decoder,
    provenance: Provenance,
    /// Watched lines: position among the picks, channel, detector.
    watched: Vec<(usize, Channel, Detector)>,
    scratch: Vec<Vec<f32>>,
    history: History,
    baseline: Baseline,
    open: Option<Open>,
    /// From here on jumps count, after the place was reached; relative to the start, µs.
    counts_after_us: u64,
    started_us: Option<u64>,
    reported_us: u64,
    place: u8,
    whole: Option<Recorder>,
    capture: FlexCapture,
    windows: usize,
}

impl RunSink for Watcher<'_, '_> {
    fn scans(&mut self, block: &SampleBlock<'_>) {
        let started = *self.started_us.get_or_insert(block.first_us);
        if block.first_us.saturating_sub(started) > self.keep.whole_up_to_us {
            self.whole = None;
        }
        if let Some(whole) = &mut self.whole {
            whole.scans(block);
        }
        for (k, column) in self.scratch.iter_mut().enumerate() {
            column.clear();
            if !self.decoder.append(block, k, column) {
                column.resize(usize::from(block.scans), f32::NAN);
            }
        }
        for scan in 0..usize::from(block.scans) {
            let at_us = block.first_us + scan as u64 * u64::from(block.period_us);
            self.take(scan, at_us, u64::from(block.period_us), at_us >= started + self.counts_after_us);
        }
    }

    fn lost(&mut self, lost: &Lost) {
        self.capture.gaps += 1;
        self.capture.scans_lost += lost.scans;
        self.history.clear();
        self.watched.iter_mut().for_each(|(_, _, detector)| detector.interrupt());
        if let Some(whole) = &mut self.whole {
            whole.lost(lost);
        }
        if let Some(open) = &mut self.open {
            let Lost { from_us, to_us, scans, cause } = *lost;
            open.gaps.push(Gap { index: open.time_us.len(), from_us, to_us, scans, cause });
        }
    }

    fn event(&mut self, event: &Event) {
        if let Some(whole) = &mut self.whole {
            whole.event(event);
        }
    }

    fn step(&mut self, rig_us: u64) -> Step {
        let Some(started) = self.started_us else { return Step::Wait };
        self.follow_hand(rig_us, rig_us.saturating_sub(started));
        if rig_us >= self.reported_us + 200_000 {
            self.reported_us = rig_us;
            let elapsed = rig_us.saturating_sub(started) as f64;
            let planned = self.plan.until.after_us.map_or(0.0, |after| elapsed / after.max(1) as f64);
            let count = self.capture.events.len() as u64 + self.capture.events_beyond;
            (self.progress)(Progress {
                procedure: ProcedureKind::Flex,
                done_fraction: planned.clamp(0.0, 1.0),
                message: match self.plan.places {
                    Some(places) => {
                        format!(
                            "{count} events in {:.0} s, {} {}",
                            elapsed / 1e6,
                            self.place,
                            places.name(self.place)
                        )
                    }
                    None => format!("{count} events in {:.0} s", elapsed / 1e6),
                },
            });
        }
        if self.plan.until.is_pressed() { Step::Finish } else { Step::Wait }
    }
}

impl<'r, 'k> Watcher<'r, 'k> {
    fn new(
        plan: FlexPlan<'k>,
        keep: FlexKeep,
        decoder: Decoder,
        provenance: Provenance,
        progress: &'r mut dyn FnMut(Progress),
    ) -> Self {
        let picks = decoder.picks();
        let period_us = provenance.period_us.max(1);
        let place = |channel| picks.iter().position(|pick| pick.channel == channel);
        let watched = WATCHED
            .into_iter()
            .filter_map(|channel| place(channel).map(|k| (k, channel, Detector::new(period_us))))
            .collect();
        let before = (keep.before_us / u64::from(period_us)) as usize + Detector::DELAY + 1;
        let short = plan.until.after_us.is_none_or(|after| after <= keep.whole_up_to_us);
        Self {
            plan,
            keep,
            progress,
            watched,
            scratch: vec![Vec::new(); picks.len()],
            history: History::new(before, picks.len()),
            baseline: Baseline { width_us: BASELINE_US, points: Vec::new() },
            open: None,
            counts_after_us: 0,
            started_us: None,
            reported_us: 0,
            place: 0,
            whole: short.then(|| Recorder::new(decoder.clone())),
            capture: FlexCapture::default(),
            windows: 0,
            decoder,
            provenance,
        }
    }

    fn take(&mut self, scan: usize, at_us: u64, period_us: u64, counts: bool) {
        let scratch = &self.scratch;
        self.history.push(at_us, scratch.iter().map(|column| column[scan]));
        if let Some(open) = &mut self.open {
            open.time_us.push(at_us);
            for (column, values) in open.columns.iter_mut().zip(scratch) {
                column.push(values[scan]);
            }
        }
        let mut values = [(Channel::Rising, 0.0); WATCHED.len()];
        let mut jumps = [(Channel::Rising, 0.0); WATCHED.len()];
        let mut jumped = 0;
        for (slot, (k, channel, detector)) in values.iter_mut().zip(&mut self.watched) {
            let value = scratch[*k][scan];
            *slot = (*channel, value);
            if let Some(deviation) = detector.push(value).filter(|_| counts) {
                jumps[jumped] = (*channel, deviation);
                jumped += 1;
            }
        }
        if counts {
            self.capture.observed_us += period_us;
            self.baseline.add(at_us, &values[..self.watched.len()]);
        }
        if jumped > 0 {
            let judged_us = at_us.saturating_sub(Detector::DELAY as u64 * period_us);
            self.trigger(judged_us, &jumps[..jumped]);
        }
        if self.open.as_ref().is_some_and(|open| at_us >= open.ends_us) {
            self.close();
        }
    }

    fn trigger(&mut self, at_us: u64, jumps: &[(Channel, f64)]) {
        let after_us = self.keep.after_us;
        let history = &self.history;
        let open = self.open.get_or_insert_with(|| Open {
            event: FlexEvent { at_us, until_us: at_us, lines: Vec::new(), window: None },
            time_us: history.time_us.iter().copied().collect(),
            columns: history.columns.iter().map(|column| column.iter().copied().collect()).collect(),
            gaps: Vec::new(),
            ends_us: at_us + after_us,
            latest_us: at_us + LONGEST_WINDOW_US,
            apart: 1,
        });
        let near_us = Detector::DELAY as u64 * u64::from(self.provenance.period_us);
        open.apart += u32::from(at_us > open.event.until_us + near_us);
        open.event.until_us = at_us;
        open.ends_us = (at_us + after_us).min(open.latest_us);
        for (channel, deviation) in jumps {
            match open.event.lines.iter_mut().find(|(c, _)| c == channel) {
                Some((_, largest)) if largest.abs() >= deviation.abs() => {}
                Some((_, largest)) => *largest = *deviation,
                None => open.event.lines.push((*channel, *deviation)),
            }
        }
    }

    /// Marks where the hand goes.
    fn follow_hand(&mut self, rig_us: u64, elapsed_us: u64) {
        let Some(place) = self.plan.places.map(|p| p.at(elapsed_us)).filter(|p| *p != self.place) else {
            return;
        };
        self.place = place;
        if let Some(whole) = &mut self.whole {
            whole.mark(Mark { at_us: rig_us, kind: MarkKind::Place { place } });
        }
    }

    fn cue(&self, open: &Open) {
        let (Some(cue), event) = (self.plan.cue, &open.event) else { return };
        cue(&FlexCue {
            number: self.capture.events.len() as u64 + self.capture.events_beyond + 1,
            after_us: event.at_us.saturating_sub(self.started_us.unwrap_or(event.at_us)),
            length_us: event.until_us - event.at_us + u64::from(self.provenance.period_us),
            on_and_off: open.apart > 2,
            lines: event.lines.iter().map(|(channel, _)| *channel).collect(),
            place: self.plan.places.map(|_| self.place),
        });
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        self.cue(&open);
        if self.capture.events.len() >= self.keep.most_events {
            self.capture.events_beyond += 1;
            return;
        }
        let mut event = open.event;
        if self.windows < self.keep.most_windows {
            self.windows += 1;
            let columns = self
                .decoder
                .picks()
                .iter()
                .zip(open.columns)
                .map(|(pick, values)| Column { channel: pick.channel, unit: pick.unit, values })
                .collect();
            event.window = Some(Trace {
                provenance: self.provenance.clone(),
                time_us: open.time_us,
                columns,
                gaps: open.gaps,
                marks: Vec::new(),
                end: TraceEnd::Complete,
            });
        }
        self.capture.events.push(event);
    }

    fn finish(mut self, end: TraceEnd) -> FlexCapture {
        self.close();
        let mut capture = self.capture;
        capture.baseline = self.baseline.points;
        capture.noise = self
            .watched
            .iter()
            .filter_map(|(_, channel, detector)| detector.noise().map(|noise| (*channel, noise)))
            .collect();
        capture.recording.trace = self.whole.map(|recorder| recorder.finish(self.provenance, end));
        capture
    }
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
        self.require_grip(procedure)?;
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
        let mut watcher = Watcher::new(plan, keep, decoder, provenance, &mut *setup.progress);
        watcher.counts_after_us = course.counts_after_us;
        let end = session.run(&spec, &mut watcher, setup.stop)?;
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
                given: format!("{hold_deg} deg"),
                allowed: format!("0 to {travel_deg:.1} deg"),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_baseline_stays_bounded_and_keeps_means_and_extremes() {
        let mut baseline = Baseline { width_us: BASELINE_US, points: Vec::new() };
        let scans = 10 * BASELINE_POINTS as u64;
        for k in 0..scans {
            let value = if k == 777 { 0.0 } else { 2.0 };
            baseline.add(k * BASELINE_US, &[(Channel::Rising, value)]);
        }
        assert!(baseline.points.len() <= BASELINE_POINTS);
        assert_eq!(baseline.points.iter().map(|p| p.scans).sum::<u64>(), scans);
        let lowest = baseline.points.iter().map(|p| p.lines[0].2).fold(9.0, f64::min);
        assert_eq!(lowest, 0.0);
        let mean: f64 =
            baseline.points.iter().map(|p| p.lines[0].1 * p.scans as f64).sum::<f64>() / scans as f64;
        assert!((mean - (2.0 - 2.0 / scans as f64)).abs() < 1e-9, "{mean}");
    }
}
