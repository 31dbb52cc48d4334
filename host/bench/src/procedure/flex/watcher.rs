//! Watches the lines for jumps while a flex runs, and keeps windows around them, with samples from before the trigger.

use super::super::detector::Detector;
use super::super::recording::REPORT_EVERY_US;
use super::super::{Progress, Typed};
use super::baseline::Baseline;
use super::{FlexCapture, FlexCue, FlexEvent, FlexKeep, FlexPlan};
use crate::quantity::{Channel, ProcedureKind};
use crate::session::{Decoder, Lost, News, Recorder, Run};
use crate::trace::{Column, Gap, Mark, MarkKind, Provenance, Trace, TraceEnd};
use std::collections::VecDeque;
use trackpair_protocol::samples::SampleBlock;

/// Lines that are watched for jumps.
const WATCHED: [Channel; 3] = [Channel::Rising, Channel::Falling, Channel::Supply];
/// Longest window of one event, µs: a line that never rests makes several.
const LONGEST_WINDOW_US: u64 = 1_000_000;

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

/// Watches the run.
pub(super) struct Watcher<'r, 'k> {
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

impl Watcher<'_, '_> {
    /// Watches until the run is over.
    pub(super) fn watch(&mut self, run: &mut Run<'_>) {
        while let Some(news) = run.next() {
            match news {
                News::Scans(block) => self.scans(&block.view()),
                News::Lost(lost) => self.lost(&lost),
                News::Event(event) => {
                    if let Some(whole) = &mut self.whole {
                        whole.event(&event);
                    }
                }
                News::Nothing => {
                    if self.look(run.newest_us()) {
                        run.finish();
                    }
                }
            }
        }
    }

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

    /// Follows the hand and says how far it is. Whether it is to end.
    fn look(&mut self, rig_us: u64) -> bool {
        let Some(started) = self.started_us else { return false };
        let typed = self.plan.until.typed();
        self.follow_hand(typed, rig_us, rig_us.saturating_sub(started));
        if rig_us >= self.reported_us + REPORT_EVERY_US {
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
        typed == Typed::End
    }
}

impl<'r, 'k> Watcher<'r, 'k> {
    /// For a run with this decoder; jumps count from so long after its start on, µs.
    pub(super) fn new(
        plan: FlexPlan<'k>,
        keep: FlexKeep,
        decoder: Decoder,
        provenance: Provenance,
        counts_after_us: u64,
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
            baseline: Baseline::default(),
            open: None,
            counts_after_us,
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

    /// Marks where the hand goes: by its time at each place, or by what was typed.
    fn follow_hand(&mut self, typed: Typed, rig_us: u64, elapsed_us: u64) {
        let Some(places) = self.plan.places else { return };
        let place = match (places.each_us, typed) {
            (Some(each), _) => (elapsed_us / each.max(1) % (places.names.len() as u64 + 1)) as u8,
            (None, Typed::Place(place)) if usize::from(place) <= places.names.len() => place,
            (None, _) => self.place,
        };
        if place == self.place {
            return;
        }
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

    /// What there is to keep of it.
    pub(super) fn finish(mut self, end: TraceEnd) -> FlexCapture {
        self.close();
        let mut capture = self.capture;
        capture.baseline = self.baseline.into_points();
        capture.noise = self
            .watched
            .iter()
            .filter_map(|(_, channel, detector)| detector.noise().map(|noise| (*channel, noise)))
            .collect();
        capture.recording.trace = self.whole.map(|recorder| recorder.finish(self.provenance, end));
        capture
    }
}
