//! One run from start to end: load, arm, start, collect, wait for the last block. What is recorded survives whatever
//! happens.

use super::error::{guard_name, guards_in};
use super::inbox::Listener;
use super::journal::Told;
use super::sequence::{Lost, Oddities, Piece, Sequence};
use super::{Session, SessionError, done};
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair_protocol::message::{EndCause, Event, EventKind, Guard, Reply, Request, RigState, Start};
use trackpair_protocol::program::Program;
use trackpair_protocol::samples::SampleBlock;

/// Longest wait in one read while a run is on; also how long a stop flag may go unseen.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Without a block for so long, the rig is asked whether the run still is. A rig sends one every 20 ms at least.
const QUIET: Duration = Duration::from_millis(300);

/// A run that goes on without a block for so long, and two scans more, is given up: the rig drives and does not sample.
const GIVEN_UP: Duration = Duration::from_secs(2);

/// Holes of a run that are told one by one.
const MOST_HOLES: usize = 200;

/// How long the last blocks may come after the end was told.
const TAIL: Duration = Duration::from_millis(300);

/// How a run shall be.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSpec {
    /// Motion program; none = the rig only watches.
    pub program: Option<Program>,
    /// Scan period, µs.
    pub period_us: u32,
    /// Channels, bit = column.
    pub channels: u16,
    /// Longest run, µs; 0 = the program's end, or until stopped.
    pub max_us: u64,
}

/// What a sink wants next.
#[derive(Clone, Debug, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "one at a time, on the stack, a few hundred times a second at most"
)]
pub enum Step {
    /// Nothing: go on.
    Wait,
    /// Ask this of the rig now.
    Ask(Request),
    /// Enough: stop the run. It then counts as complete.
    Finish,
}

/// Where a run's samples and events go, and who conducts it. Times are the rig's.
pub trait RunSink {
    /// Scans in order of time.
    fn scans(&mut self, block: &SampleBlock<'_>);
    /// Scans that are missing before the next.
    fn lost(&mut self, lost: &Lost);
    /// An event of this run, each once.
    fn event(&mut self, event: &Event);
    /// A request asked for by [`RunSink::step`] took effect at this rig time, or was refused.
    fn answered(&mut self, request: &Request, result: Result<u64, SessionError>) {
        let _ = (request, result);
    }
    /// What to do, given the newest time heard from the rig.
    fn step(&mut self, rig_us: u64) -> Step {
        let _ = rig_us;
        Step::Wait
    }
}

/// Why a run ended.
#[derive(Clone, Debug, PartialEq)]
pub enum RunCause {
    /// The program is done, the time is over, or the sink had enough.
    Complete,
    /// The stop flag was set.
    Aborted,
    /// A guard took the drive off: which, and the value in its own unit, as far as they are known.
    Guard(Option<(Guard, i32)>),
    /// The link or the rig was lost, or another program took over.
    Lost(SessionError),
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq)]
pub struct RunEnd {
    /// Why.
    pub cause: RunCause,
    /// Rig clock at the start, µs; 0 when unknown.
    pub started_us: u64,
    /// Newest rig time heard, µs.
    pub ended_us: u64,
    /// Events of the session that never came while the run was on.
    pub events_lost: u64,
    /// Whether the event came that reports the end: without it, events before it may be missing unnoticed.
    pub end_reported: bool,
}

/// A run as it is heard.
struct Heard<'s> {
    run: u32,
    sequence: Sequence,
    sink: &'s mut dyn RunSink,
    newest_us: u64,
    blocks_seen: u64,
    guard: Option<(Guard, i32)>,
    ended: Option<Ended>,
    /// Holes, as many as are told one by one.
    holes: Vec<Lost>,
}

#[derive(Clone, Copy, Debug)]
struct Ended {
    cause: EndCause,
    blocks: u32,
    /// When, rig µs; none when it was not told but asked for.
    at_us: Option<u64>,
}

impl Listener for Heard<'_> {
    fn block(&mut self, block: &SampleBlock<'_>) {
        if block.run == self.run {
            let span = u64::from(block.period_us) * u64::from(block.scans.saturating_sub(1));
            self.newest_us = self.newest_us.max(block.first_us.saturating_add(span));
            self.blocks_seen += 1;
        }
        let Self { sink, holes, sequence, .. } = self;
        sequence.take(block, &mut |piece| pass_on(piece, &mut **sink, holes));
    }

    fn event(&mut self, event: &Event) {
        if event.run != self.run {
            return;
        }
        self.newest_us = self.newest_us.max(event.rig_us);
        match event.kind {
            EventKind::RunStarted => self.sequence.started_us = Some(event.rig_us),
            EventKind::GuardTripped { guard, value } => {
                self.guard.get_or_insert((guard, value));
            }
            EventKind::RunEnded { cause, blocks } => {
                self.ended = Some(Ended { cause, blocks, at_us: Some(event.rig_us) });
            }
            _ => {}
        }
        self.sink.event(event);
    }

    fn shed(&mut self, run: u32, number: u32) {
        if run == self.run {
            self.sequence.shed(number);
        }
    }
}

fn pass_on(piece: Piece<'_>, sink: &mut dyn RunSink, holes: &mut Vec<Lost>) {
    match piece {
        Piece::Scans(block) => sink.scans(block),
        Piece::Lost(lost) => {
            if holes.len() < MOST_HOLES {
                holes.push(lost);
            }
            sink.lost(&lost);
        }
    }
}

impl Session {
    /// Does one run and feeds `sink`, until it ends by itself, by the sink, by a guard, or by `stop`.
    ///
    /// # Errors
    /// Only when the run did not start. After that, everything ends in a [`RunEnd`].
    pub fn run(
        &mut self,
        spec: &RunSpec,
        sink: &mut dyn RunSink,
        stop: &CancellationToken,
    ) -> Result<RunEnd, SessionError> {
        let run = self.new_run();
        let mut heard = Heard {
            run,
            sequence: Sequence::new(run, spec.period_us, spec.channels, &self.encodings),
            sink,
            newest_us: 0,
            blocks_seen: 0,
            guard: None,
            ended: None,
            holes: Vec::new(),
        };
        let events_lost = self.line.seen().counts.events_lost;
        let started_us = self.start(spec, &mut heard)?;
        let mut cause = self.collect(&mut heard, stop);
        if let RunCause::Guard(None) = cause {
            cause = RunCause::Guard(self.tripped_guard());
        }
        let (expected, end_us) = match heard.ended {
            Some(ended) => (Some(ended.blocks), ended.at_us),
            None => (None, None),
        };
        let Heard { sink, holes, sequence, .. } = &mut heard;
        sequence.finish(expected, end_us, &mut |piece| pass_on(piece, &mut **sink, holes));
        self.tell_of(run, holes, &cause);
        self.count_oddities(heard.sequence.oddities);
        let events_lost = self.line.seen().counts.events_lost.saturating_sub(events_lost);
        Ok(RunEnd {
            cause,
            started_us,
            ended_us: heard.newest_us,
            events_lost,
            end_reported: end_us.is_some(),
        })
    }

    /// Holes and end of a run, for the link's story.
    fn tell_of(&mut self, run: u32, holes: &[Lost], cause: &RunCause) {
        for Lost { from_us, to_us, scans, cause } in holes.iter().copied() {
            self.line.note(Told::Gap { run, from_us, to_us, scans, cause });
        }
        let cause = match cause {
            RunCause::Complete => "complete".to_owned(),
            RunCause::Aborted => "stopped by hand".to_owned(),
            RunCause::Guard(Some((guard, _))) => format!("guard: {}", guard_name(*guard)),
            RunCause::Guard(None) => "guard".to_owned(),
            RunCause::Lost(error) => error.to_string(),
        };
        self.line.note(Told::RunEnded { run, cause });
    }

    /// Loads, arms and starts; rig time of the start.
    fn start(&mut self, spec: &RunSpec, heard: &mut Heard<'_>) -> Result<u64, SessionError> {
        if let Some(program) = spec.program {
            self.request(&Request::LoadProgram(program))?;
            self.request(&Request::Arm)?;
        }
        let start = Start {
            run: heard.run,
            period_us: spec.period_us,
            channels: spec.channels,
            drive: spec.program.is_some(),
            max_us: spec.max_us,
        };
        let started_us = done("start", self.request_while(&Request::Start(start), heard)?)?;
        heard.sequence.started_us.get_or_insert(started_us);
        let Start { run, period_us, drive, .. } = start;
        self.line.note(Told::RunStarted { run, drive, period_us });
        Ok(started_us)
    }

    fn collect(&mut self, heard: &mut Heard<'_>, stop: &CancellationToken) -> RunCause {
        match self.collect_until_end(heard, stop) {
            Ok(cause) => cause,
            Err(error) => RunCause::Lost(error),
        }
    }

    fn collect_until_end(
        &mut self,
        heard: &mut Heard<'_>,
        stop: &CancellationToken,
    ) -> Result<RunCause, SessionError> {
        let mut blocks_seen = 0;
        let (mut quiet_since, mut last_block) = (self.line.now(), self.line.now());
        let patience = GIVEN_UP + 2 * Duration::from_micros(heard.sequence.period_us().into());
        loop {
            if stop.is_cancelled() {
                self.stop_run(heard)?;
                return Ok(RunCause::Aborted);
            }
            self.pump(LOOK_EVERY, heard)?;
            if let Some(ended) = heard.ended {
                self.wait_for_tail(heard)?;
                return cause_of(ended.cause, heard.guard);
            }
            match heard.sink.step(heard.newest_us) {
                Step::Wait => {}
                Step::Ask(request) => self.ask(&request, heard)?,
                Step::Finish => {
                    self.stop_run(heard)?;
                    return Ok(RunCause::Complete);
                }
            }
            if heard.blocks_seen != blocks_seen {
                blocks_seen = heard.blocks_seen;
                quiet_since = self.line.now();
                last_block = quiet_since;
            } else if self.line.now().saturating_sub(quiet_since) >= QUIET {
                quiet_since = self.line.now();
                if let Some(cause) = self.ended_unheard(heard)? {
                    return Ok(cause);
                }
                let silent = self.line.now().saturating_sub(last_block);
                if silent >= patience {
                    self.stop_run(heard)?;
                    return Err(SessionError::NoSamples { silent_ms: silent.as_millis() as u64 });
                }
            }
        }
    }

    /// Asks what the sink wants. A refusal is the sink's business; a lost rig is not.
    fn ask(&mut self, request: &Request, heard: &mut Heard<'_>) -> Result<(), SessionError> {
        let result = match self.request_while(request, heard) {
            Ok(Reply::Done { rig_us }) => Ok(rig_us),
            Ok(_) => Ok(heard.newest_us),
            Err(error @ SessionError::Refused { .. }) => Err(error),
            Err(error) => return Err(error),
        };
        heard.sink.answered(request, result);
        Ok(())
    }

    /// Stops the run and waits for its end and its last blocks. The stop's answer may outrun or follow both.
    fn stop_run(&mut self, heard: &mut Heard<'_>) -> Result<(), SessionError> {
        self.request_while(&Request::Stop, heard)?;
        let until = self.line.now() + TAIL;
        while heard.ended.is_none() && self.line.now() < until {
            self.pump(LOOK_EVERY, heard)?;
        }
        self.wait_for_tail(heard)
    }

    fn wait_for_tail(&mut self, heard: &mut Heard<'_>) -> Result<(), SessionError> {
        let until = self.line.now() + TAIL;
        while let Some(ended) = heard.ended
            && !heard.sequence.is_complete(ended.blocks)
            && self.line.now() < until
        {
            self.pump(LOOK_EVERY, heard)?;
        }
        Ok(())
    }

    /// Whether the run has ended and the event that tells it was lost.
    fn ended_unheard(&mut self, heard: &mut Heard<'_>) -> Result<Option<RunCause>, SessionError> {
        let Reply::Status(status) = self.request_while(&Request::ReadStatus, heard)? else {
            return Ok(None);
        };
        if status.run != heard.run {
            return Err(SessionError::Taken);
        }
        if matches!(status.state, RigState::Watching | RigState::Driving) {
            return Ok(None);
        }
        let tripped = status.state == RigState::Tripped;
        let cause = if tripped { EndCause::Guard } else { EndCause::Complete };
        if heard.ended.is_none() {
            heard.ended = Some(Ended { cause, blocks: status.blocks, at_us: None });
            self.wait_for_tail(heard)?;
        }
        let cause = heard.ended.map_or(cause, |ended| ended.cause);
        cause_of(cause, heard.guard).map(Some)
    }

    /// The tripped guard, when its event was lost.
    fn tripped_guard(&mut self) -> Option<(Guard, i32)> {
        let status = self.status().ok()?;
        guards_in(status.tripped.into()).next().map(|guard| (guard, 0))
    }

    fn count_oddities(&mut self, oddities: Oddities) {
        self.oddities.duplicate += oddities.duplicate;
        self.oddities.reordered += oddities.reordered;
        self.oddities.late += oddities.late;
        self.oddities.rejected += oddities.rejected;
    }
}

fn cause_of(cause: EndCause, guard: Option<(Guard, i32)>) -> Result<RunCause, SessionError> {
    match cause {
        EndCause::Complete => Ok(RunCause::Complete),
        // Nobody here has asked for a stop: another program has.
        EndCause::Stopped | EndCause::NewSession => Err(SessionError::Taken),
        EndCause::Guard => Ok(RunCause::Guard(guard)),
    }
}
