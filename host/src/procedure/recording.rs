//! One run recorded whole: samples, marks, progress, how it ended. What was recorded survives every failure.

use super::{Bench, ProcedureError, Progress, Warning};
use crate::session::{
    Decoder, Lost, Recorder, RunCause, RunEnd, RunSink, RunSpec, Session, SessionError, Step,
};
use crate::trace::{
    LinkQuality, Mark, MarkKind, ProcedureKind, Provenance, Stimulus, SweepConditions, Trace, TraceEnd,
    contradiction, ended_early,
};
use trackpair_protocol::message::{Event, Request};
use trackpair_protocol::program::Program;
use trackpair_protocol::samples::SampleBlock;

/// Time between two progress reports on the rig's clock, µs.
const REPORT_EVERY_US: u64 = 200_000;

/// What a procedure has recorded.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// Traces of earlier goes at it, where it was done again; the last trace counts.
    pub before: Vec<Trace>,
    /// The trace; none when nothing could be started.
    pub trace: Option<Trace>,
    /// Why it was cut short; none when it came to its end.
    pub failure: Option<ProcedureError>,
    /// What the reader should know.
    pub warnings: Vec<Warning>,
}

impl Recording {
    /// Nothing was recorded.
    pub(super) fn failed(failure: ProcedureError) -> Self {
        Self { failure: Some(failure), ..Self::default() }
    }
}

/// What to record.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) procedure: ProcedureKind,
    pub(super) program: Option<Program>,
    /// The same as it is stored with the trace.
    pub(super) stimuli: Vec<Stimulus>,
    pub(super) channels: u16,
    pub(super) period_us: u32,
    /// Longest run, µs; 0 = until the program's end or a stop.
    pub(super) max_us: u64,
    /// How long it will take, µs; none = open-ended.
    pub(super) planned_us: Option<u64>,
    pub(super) sweep: Option<SweepConditions>,
}

/// What happens during the run, beside recording.
pub(super) trait Conductor {
    /// What to do now.
    fn step(&mut self, recorder: &Recorder, rig_us: u64) -> Step {
        let _ = (recorder, rig_us);
        Step::Wait
    }

    /// The answer to what it asked.
    fn answered(&mut self, request: &Request, result: Result<u64, SessionError>) {
        let _ = (request, result);
    }

    /// How far it is, when the planned time does not tell: fraction and words.
    fn progress(&self, planned_fraction: f64) -> (f64, String) {
        (planned_fraction, String::new())
    }
}

struct Sink<'r> {
    recorder: Recorder,
    /// The other part of a pair.
    other: Option<Recorder>,
    conductor: &'r mut dyn Conductor,
    progress: &'r mut dyn FnMut(Progress),
    plan: &'r Plan,
    started_us: Option<u64>,
    reported_us: u64,
    overdue_s: Option<f64>,
    /// The conductor had enough: the run then ends before its time.
    had_enough: bool,
}

impl RunSink for Sink<'_> {
    fn scans(&mut self, block: &SampleBlock<'_>) {
        self.started_us.get_or_insert(block.first_us);
        self.each(|recorder| recorder.scans(block));
    }

    fn lost(&mut self, lost: &Lost) {
        self.each(|recorder| recorder.lost(lost));
    }

    fn event(&mut self, event: &Event) {
        self.each(|recorder| recorder.event(event));
    }

    fn answered(&mut self, request: &Request, result: Result<u64, SessionError>) {
        if let Ok(at_us) = result {
            self.mark_answer(request, at_us);
        }
        self.conductor.answered(request, result);
    }

    fn step(&mut self, rig_us: u64) -> Step {
        let Some(started) = self.started_us else { return Step::Wait };
        let elapsed = rig_us.saturating_sub(started);
        self.report(rig_us, elapsed);
        if let Some(planned) = self.plan.planned_us
            && elapsed > planned + planned / 2 + 5_000_000
        {
            self.overdue_s = Some(elapsed as f64 / 1e6);
            return Step::Finish;
        }
        let step = self.conductor.step(&self.recorder, rig_us);
        self.had_enough |= step == Step::Finish;
        step
    }
}

impl Sink<'_> {
    fn each(&mut self, mut tell: impl FnMut(&mut Recorder)) {
        tell(&mut self.recorder);
        self.other.iter_mut().for_each(tell);
    }

    /// The event that tells the same may be lost on the line; the answer is not.
    fn mark_answer(&mut self, request: &Request, at_us: u64) {
        let kind = match *request {
            Request::SetSupply { millivolts } => MarkKind::Supply { millivolts },
            Request::SetInput { channel, load, pull_down } => match self.recorder.channel_of(channel) {
                Some(channel) => MarkKind::Input { channel, load, pull_down },
                None => return,
            },
            _ => return,
        };
        self.recorder.mark(Mark { at_us, kind });
    }

    fn report(&mut self, rig_us: u64, elapsed: u64) {
        if rig_us < self.reported_us + REPORT_EVERY_US {
            return;
        }
        self.reported_us = rig_us;
        let planned = self.plan.planned_us.map_or(0.0, |planned| elapsed as f64 / planned.max(1) as f64);
        let (fraction, message) = self.conductor.progress(planned);
        (self.progress)(Progress {
            procedure: self.plan.procedure,
            done_fraction: fraction.clamp(0.0, 1.0),
            message,
        });
    }
}

impl Bench<'_> {
    /// Does one run and keeps everything. After a failure the rig is unpowered.
    pub(super) fn record(&mut self, plan: &Plan, conductor: &mut dyn Conductor) -> Recording {
        self.record_with(plan, conductor, None).0
    }

    /// The same with what another decoder reads in the same blocks.
    pub(super) fn record_with(
        &mut self,
        plan: &Plan,
        conductor: &mut dyn Conductor,
        other: Option<Decoder>,
    ) -> (Recording, Option<(Recorder, TraceEnd)>) {
        let spec = RunSpec {
            program: plan.program,
            period_us: plan.period_us,
            channels: plan.channels,
            max_us: plan.max_us,
        };
        let recorder = Recorder::new(Decoder::new(&self.session, plan.channels));
        let (session, setup) = (&mut self.session, &mut self.setup);
        let mut sink = Sink {
            recorder,
            other: other.map(Recorder::new),
            conductor,
            progress: &mut *setup.progress,
            plan,
            started_us: None,
            reported_us: 0,
            overdue_s: None,
            had_enough: false,
        };
        let before = Counted::of(session);
        let result = session.run(&spec, &mut sink, setup.stop);
        let (recorder, other, overdue_s) = (sink.recorder, sink.other, sink.overdue_s);
        let had_enough = sink.had_enough;
        let end = match result {
            Ok(end) => end,
            Err(error) => {
                self.give_up();
                return (Recording::failed(error.into()), None);
            }
        };
        let (trace_end, mut failure) = told(plan.procedure, &end);
        if let Some(waited_s) = overdue_s {
            let planned_s = plan.planned_us.unwrap_or(0) as f64 / 1e6;
            failure = Some(ProcedureError::Overdue { procedure: plan.procedure, planned_s, waited_s });
        }
        if failure.is_some() {
            self.give_up();
        }
        let link = before.quality(&mut self.session, matches!(end.cause, RunCause::Lost(_)));
        let provenance = Provenance { link: Some(link), ..self.provenance(plan) };
        let trace_end = if overdue_s.is_some() { TraceEnd::Aborted } else { trace_end };
        let mut trace = recorder.finish(provenance, trace_end);
        if failure.is_none()
            && let Some(wrong) = disagrees(plan, &mut trace, &end, had_enough)
        {
            self.give_up();
            failure = Some(wrong);
        }
        let trace_end = trace.end;
        let warnings = warnings(&trace, &end);
        let other = other.map(|recorder| (recorder, trace_end));
        (Recording { before: Vec::new(), trace: Some(trace), failure, warnings }, other)
    }
}

/// What the line had done before a run.
struct Counted {
    frames: u64,
    damaged: u64,
    requests: u64,
    at_rig: Option<u32>,
}

impl Counted {
    fn of(session: &mut Session) -> Self {
        let at_rig = session.status().ok().map(|s| s.frames_dropped);
        let now = session.statistics();
        Self {
            frames: now.frames,
            damaged: now.drops.frames().into(),
            requests: now.requests + now.retries,
            at_rig,
        }
    }

    /// What it did since. A rig that is lost is not asked.
    fn quality(self, session: &mut Session, lost: bool) -> LinkQuality {
        let at_rig = if lost { None } else { session.status().ok().map(|s| s.frames_dropped) };
        let now = session.statistics();
        LinkQuality {
            frames: now.frames - self.frames,
            damaged: u64::from(now.drops.frames()).saturating_sub(self.damaged),
            requests: (now.requests + now.retries).saturating_sub(self.requests),
            damaged_at_rig: at_rig.zip(self.at_rig).map(|(now, then)| u64::from(now.saturating_sub(then))),
        }
    }
}

/// Whether the rig did something else than it was asked, though it says that the run is complete. A trace that ended early is marked so.
fn disagrees(plan: &Plan, trace: &mut Trace, end: &RunEnd, had_enough: bool) -> Option<ProcedureError> {
    let procedure = plan.procedure;
    let planned_s = plan.planned_us.map_or(0.0, |us| us as f64 / 1e6);
    let took_s = end.ended_us.saturating_sub(end.started_us) as f64 / 1e6;
    if !had_enough && ended_early(trace, planned_s, took_s, end.events_lost == 0 && end.end_reported) {
        trace.end = TraceEnd::EndedEarly;
        return Some(ProcedureError::EndedEarly { procedure, planned_s, took_s });
    }
    contradiction(trace).map(|what| ProcedureError::Contradiction { procedure, what })
}

/// How the trace ended, and the failure if it was one.
pub(super) fn told(procedure: ProcedureKind, end: &RunEnd) -> (TraceEnd, Option<ProcedureError>) {
    match &end.cause {
        RunCause::Complete => (TraceEnd::Complete, None),
        RunCause::Aborted => (TraceEnd::Aborted, Some(ProcedureError::Aborted { procedure })),
        RunCause::Guard(Some((guard, value))) => {
            (TraceEnd::Guard, Some(ProcedureError::Guard { procedure, guard: *guard, value: *value }))
        }
        RunCause::Guard(None) => (TraceEnd::Guard, Some(ProcedureError::UnknownGuard { procedure })),
        RunCause::Lost(error) => (TraceEnd::LinkLost, Some(ProcedureError::Session(error.clone()))),
    }
}

fn warnings(trace: &Trace, end: &RunEnd) -> Vec<Warning> {
    let mut warnings = Vec::new();
    if end.events_lost > 0 {
        warnings.push(Warning::EventsLost { count: end.events_lost });
    }
    if !trace.gaps.is_empty() {
        let scans = trace.gaps.iter().map(|gap| gap.scans).sum();
        warnings.push(Warning::Gaps { count: trace.gaps.len(), scans });
    }
    warnings
}
