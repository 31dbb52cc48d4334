//! One run recorded whole: samples, marks, progress, how it ended. What was recorded survives every failure.

use super::{Bench, ProcedureError, Progress, Warning};
use crate::quantity::ProcedureKind;
use crate::session::{Decoder, News, Recorder, Run, RunCause, RunEnd, RunSpec, Session, SessionError};
use crate::trace::{
    LinkQuality, Mark, MarkKind, Provenance, Stimulus, SweepConditions, Trace, TraceEnd, contradiction,
    ended_early,
};
use trackpair_protocol::message::Request;
use trackpair_protocol::program::Program;

/// Time between two progress reports on the rig's clock, µs.
pub(super) const REPORT_EVERY_US: u64 = 200_000;

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

/// A run while it is recorded. What a procedure does meanwhile it does in order, between two [`Tape::listen`].
pub(super) struct Tape<'b> {
    run: Run<'b>,
    recorder: Recorder,
    /// The other part of a pair.
    other: Option<Recorder>,
    progress: &'b mut dyn FnMut(Progress),
    plan: &'b Plan,
    started_us: Option<u64>,
    reported_us: u64,
    overdue_s: Option<f64>,
    /// The procedure had enough: the run then ends before its time.
    had_enough: bool,
}

impl Tape<'_> {
    /// Records what has come since; false when the run is over.
    pub(super) fn listen(&mut self) -> bool {
        while let Some(news) = self.run.next() {
            match news {
                News::Scans(block) => {
                    let block = block.view();
                    self.started_us.get_or_insert(block.first_us);
                    self.each(|recorder| recorder.scans(&block));
                }
                News::Lost(lost) => self.each(|recorder| recorder.lost(&lost)),
                News::Event(event) => self.each(|recorder| recorder.event(&event)),
                News::Nothing if self.is_overdue() => self.run.finish(),
                News::Nothing if self.started_us.is_none() => {}
                News::Nothing => return true,
            }
        }
        false
    }

    /// Records until the run is over, and says meanwhile what is going on, given the fraction of the planned time that is over.
    pub(super) fn until_over(&mut self, words: &dyn Fn(f64) -> String) {
        while self.listen() {
            self.report(words);
        }
    }

    /// The same until a time on the rig's clock, µs; false when the run is over before.
    pub(super) fn until(&mut self, at_us: u64, words: &dyn Fn(f64) -> String) -> bool {
        while self.now_us() < at_us {
            if !self.listen() {
                return false;
            }
            self.report(words);
        }
        true
    }

    /// Whether the run is over, though not all of it may have been listened to.
    pub(super) const fn is_over(&self) -> bool {
        self.run.is_over()
    }

    /// What is recorded so far.
    pub(super) const fn recorder(&self) -> &Recorder {
        &self.recorder
    }

    /// Newest time heard from the rig, µs.
    pub(super) const fn now_us(&self) -> u64 {
        self.run.newest_us()
    }

    /// Time of the first scan, once one has come; rig µs.
    pub(super) const fn started_us(&self) -> Option<u64> {
        self.started_us
    }

    /// Time since the first scan, µs.
    pub(super) fn elapsed_us(&self) -> u64 {
        self.started_us.map_or(0, |started| self.now_us().saturating_sub(started))
    }

    /// Asks something of the rig meanwhile; what it switched is marked. Rig time at which it took effect.
    ///
    /// # Errors
    /// A refusal, with which the run goes on; a lost rig, with which it is over.
    pub(super) fn ask(&mut self, request: &Request) -> Result<u64, SessionError> {
        let at_us = self.run.ask(request)?;
        self.mark_answer(request, at_us);
        Ok(at_us)
    }

    /// Enough: the run is stopped, and is complete all the same.
    pub(super) fn finish(&mut self) {
        self.had_enough = true;
        self.run.finish();
    }

    /// Reports how far it is, now and then.
    pub(super) fn report(&mut self, words: &dyn Fn(f64) -> String) {
        let rig_us = self.now_us();
        if rig_us < self.reported_us + REPORT_EVERY_US {
            return;
        }
        self.reported_us = rig_us;
        let elapsed = self.elapsed_us() as f64;
        let planned = self.plan.planned_us.map_or(0.0, |planned| elapsed / planned.max(1) as f64);
        (self.progress)(Progress {
            procedure: self.plan.procedure,
            done_fraction: planned.clamp(0.0, 1.0),
            message: words(planned),
        });
    }

    fn each(&mut self, mut tell: impl FnMut(&mut Recorder)) {
        tell(&mut self.recorder);
        self.other.iter_mut().for_each(tell);
    }

    /// Whether it takes far longer than planned.
    fn is_overdue(&mut self) -> bool {
        let elapsed = self.elapsed_us();
        let overdue = self.plan.planned_us.is_some_and(|planned| elapsed > planned + planned / 2 + 5_000_000);
        if overdue {
            self.overdue_s = Some(elapsed as f64 / 1e6);
        }
        overdue
    }

    /// The event that shows the same may be lost on the line; the answer is not.
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
}

impl Bench<'_> {
    /// Does one run, with what the procedure does meanwhile, and keeps everything. After a failure the rig is unpowered.
    pub(super) fn record(&mut self, plan: &Plan, work: impl FnOnce(&mut Tape<'_>)) -> Recording {
        self.record_with(plan, None, work).0
    }

    /// The same with what another decoder reads in the same blocks.
    pub(super) fn record_with(
        &mut self,
        plan: &Plan,
        other: Option<Decoder>,
        work: impl FnOnce(&mut Tape<'_>),
    ) -> (Recording, Option<(Recorder, TraceEnd)>) {
        let before = Counted::of(&mut self.session);
        let taken = match self.take(plan, other, work) {
            Ok(taken) => taken,
            Err(error) => {
                self.give_up();
                return (Recording::failed(error.into()), None);
            }
        };
        let Taken { end, recorder, other, overdue_s, had_enough } = taken;
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

/// What a run left.
struct Taken {
    end: RunEnd,
    recorder: Recorder,
    other: Option<Recorder>,
    overdue_s: Option<f64>,
    had_enough: bool,
}

impl Bench<'_> {
    /// Begins the run and lets the procedure work.
    fn take(
        &mut self,
        plan: &Plan,
        other: Option<Decoder>,
        work: impl FnOnce(&mut Tape<'_>),
    ) -> Result<Taken, SessionError> {
        let spec = RunSpec {
            program: plan.program,
            period_us: plan.period_us,
            channels: plan.channels,
            max_us: plan.max_us,
        };
        let recorder = Recorder::new(Decoder::new(&self.session, plan.channels));
        let mut tape = Tape {
            run: self.session.run(&spec, self.setup.stop)?,
            recorder,
            other: other.map(Recorder::new),
            progress: &mut *self.setup.progress,
            plan,
            started_us: None,
            reported_us: 0,
            overdue_s: None,
            had_enough: false,
        };
        work(&mut tape);
        // Whatever the procedure left of it.
        while tape.listen() {}
        let Tape { run, recorder, other, overdue_s, had_enough, .. } = tape;
        Ok(Taken { end: run.end(), recorder, other, overdue_s, had_enough })
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
