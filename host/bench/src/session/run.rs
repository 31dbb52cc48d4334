//! One run from start to end: load, arm, start, collect, wait for the last block. What is recorded survives whatever
//! happens.

use super::error::{guard_name, guards_in};
use super::heard::{Block, Heard};
use super::journal::LineEvent;
use super::sequence::{Lost, Piece, Sequence};
use super::{Session, SessionError, done};
use std::collections::VecDeque;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair_protocol::message::{EndCause, Event, EventKind, Guard, Reply, Request, RigState, Start};
use trackpair_protocol::program::Program;

/// Longest wait in one read while a run is on; also how long a stop flag may go unseen.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Without a block for so long, the rig is asked whether the run still is. A rig sends one every 20 ms at least.
const QUIET: Duration = Duration::from_millis(300);

/// A run that goes on without a block for so long, and two scans more, is given up: the rig drives and does not sample.
const GIVEN_UP: Duration = Duration::from_secs(2);

/// Holes of a run that are reported one by one.
const MOST_HOLES: usize = 200;

/// How long the last blocks may come after the end was reported.
const TAIL: Duration = Duration::from_millis(300);

/// How a run is to be.
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

/// What comes next of a run. Times are the rig's.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// Scans, in order of time.
    Scans(Block),
    /// Scans that are missing before the next.
    Lost(Lost),
    /// An event of this run, each once.
    Event(Event),
    /// What has come was handed on: time to look at something else.
    Nothing,
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

/// A run that is on. Let go of before its end, it is stopped.
pub struct Run<'s> {
    session: &'s mut Session,
    stop: CancellationToken,
    number: u32,
    sequence: Sequence,
    news: VecDeque<News>,
    /// Whether there was a wait since [`News::Nothing`] was reported last.
    waited: bool,
    quiet: Quiet,
    newest_us: u64,
    started_us: u64,
    events_lost: u64,
    guard: Option<(Guard, i32)>,
    ended: Option<Ended>,
    /// Holes, as many as are reported one by one.
    holes: Vec<Lost>,
    /// Why it is over; none while it is on.
    cause: Option<RunCause>,
}

#[derive(Clone, Copy, Debug)]
struct Ended {
    cause: EndCause,
    blocks: u32,
    /// When, rig µs; none when it was not reported but asked for.
    at_us: Option<u64>,
}

/// Since when no block has come, on the link's clock.
#[derive(Clone, Copy, Debug)]
struct Quiet {
    blocks: u64,
    blocks_looked_at: u64,
    /// Since when the rig has not been asked either.
    since: Duration,
    last_block: Duration,
}

impl Session {
    /// Begins a run: load, arm, start. It goes on until it ends by itself, by a guard, by [`Run::finish`] or by `stop`.
    ///
    /// # Errors
    /// When it did not start. After that, everything ends in a [`RunEnd`].
    pub fn run(&mut self, spec: &RunSpec, stop: &CancellationToken) -> Result<Run<'_>, SessionError> {
        let number = self.new_run();
        let events_lost = self.line.seen().counts.events_lost;
        if let Some(program) = spec.program {
            self.request(&Request::LoadProgram(program))?;
            self.request(&Request::Arm)?;
        }
        let start = Start {
            run: number,
            period_us: spec.period_us,
            channels: spec.channels,
            drive: spec.program.is_some(),
            max_us: spec.max_us,
        };
        let started_us = done("start", self.ask(&Request::Start(start))?)?;
        let Start { run, period_us, drive, .. } = start;
        self.line.note(LineEvent::RunStarted { run, drive, period_us });
        let mut sequence = Sequence::new(number, spec.period_us, spec.channels, &self.encodings);
        sequence.started_us = Some(started_us);
        let now = self.line.now();
        let mut run = Run {
            session: self,
            stop: stop.clone(),
            number,
            sequence,
            news: VecDeque::new(),
            waited: false,
            quiet: Quiet { blocks: 0, blocks_looked_at: 0, since: now, last_block: now },
            newest_us: 0,
            started_us,
            events_lost,
            guard: None,
            ended: None,
            holes: Vec::new(),
            cause: None,
        };
        run.take_in();
        Ok(run)
    }
}

impl Run<'_> {
    /// What comes next; none when the run is over and everything of it was handed on. It waits for some 20 ms at most.
    #[expect(clippy::should_implement_trait, reason = "a run is asked and finished between two of them")]
    pub fn next(&mut self) -> Option<News> {
        loop {
            if let Some(news) = self.news.pop_front() {
                return Some(news);
            }
            if self.is_over() {
                return None;
            }
            if std::mem::take(&mut self.waited) {
                return Some(News::Nothing);
            }
            match self.wait() {
                Ok(None) => self.waited = true,
                Ok(Some(cause)) => self.conclude(cause),
                Err(error) => self.conclude(RunCause::Lost(error)),
            }
        }
    }

    /// Whether it is over, though not everything of it may have been handed on.
    pub const fn is_over(&self) -> bool {
        self.cause.is_some()
    }

    /// Newest rig time heard, µs.
    pub const fn newest_us(&self) -> u64 {
        self.newest_us
    }

    /// Asks something of the rig meanwhile; rig time at which it took effect.
    ///
    /// # Errors
    /// A refusal, with which the run goes on; a lost rig, with which it is over.
    pub fn ask(&mut self, request: &Request) -> Result<u64, SessionError> {
        let answer = self.session.ask(request);
        self.take_in();
        match answer {
            Ok(Reply::Done { rig_us }) => Ok(rig_us),
            Ok(_) => Ok(self.newest_us),
            Err(error) => {
                if !matches!(error, SessionError::Refused { .. }) && !self.is_over() {
                    self.conclude(RunCause::Lost(error.clone()));
                }
                Err(error)
            }
        }
    }

    /// Enough: stops the run, which then counts as complete. What has come of it is still handed on.
    pub fn finish(&mut self) {
        if !self.is_over() {
            match self.stop_it() {
                Ok(()) => self.conclude(RunCause::Complete),
                Err(error) => self.conclude(RunCause::Lost(error)),
            }
        }
    }

    /// How it ended; one that is still on is finished.
    pub fn end(mut self) -> RunEnd {
        self.finish();
        let lost = self.session.line.seen().counts.events_lost;
        RunEnd {
            cause: self.cause.clone().unwrap_or(RunCause::Complete),
            started_us: self.started_us,
            ended_us: self.newest_us,
            events_lost: lost.saturating_sub(self.events_lost),
            end_reported: self.ended.is_some_and(|ended| ended.at_us.is_some()),
        }
    }

    /// Waits for something to come; why the run is over, when it is.
    fn wait(&mut self) -> Result<Option<RunCause>, SessionError> {
        if let Some(cause) = self.look_at_quiet()? {
            return Ok(Some(cause));
        }
        if self.stop.is_cancelled() {
            self.stop_it()?;
            return Ok(Some(RunCause::Aborted));
        }
        self.pump()?;
        match self.ended {
            None => Ok(None),
            Some(ended) => {
                self.wait_for_tail()?;
                cause_of(ended.cause, self.guard).map(Some)
            }
        }
    }

    /// Where no block has come for long, the rig is asked whether the run still is.
    fn look_at_quiet(&mut self) -> Result<Option<RunCause>, SessionError> {
        let now = self.session.line.now();
        if self.quiet.blocks != self.quiet.blocks_looked_at {
            let blocks = self.quiet.blocks;
            self.quiet = Quiet { blocks, blocks_looked_at: blocks, since: now, last_block: now };
            return Ok(None);
        }
        if now.saturating_sub(self.quiet.since) < QUIET {
            return Ok(None);
        }
        self.quiet.since = now;
        if let Some(cause) = self.ended_unheard()? {
            return Ok(Some(cause));
        }
        let silent = self.session.line.now().saturating_sub(self.quiet.last_block);
        if silent < GIVEN_UP + 2 * Duration::from_micros(self.sequence.period_us().into()) {
            return Ok(None);
        }
        self.stop_it()?;
        Err(SessionError::NoSamples { silent_ms: silent.as_millis() as u64 })
    }

    /// Whether the run has ended and the event that shows it was lost.
    fn ended_unheard(&mut self) -> Result<Option<RunCause>, SessionError> {
        let answer = self.session.ask(&Request::ReadStatus);
        self.take_in();
        let Reply::Status(status) = answer? else { return Ok(None) };
        if status.run != self.number {
            return Err(SessionError::Taken);
        }
        if matches!(status.state, RigState::Watching | RigState::Driving) {
            return Ok(None);
        }
        let tripped = status.state == RigState::Tripped;
        let cause = if tripped { EndCause::Guard } else { EndCause::Complete };
        if self.ended.is_none() {
            self.ended = Some(Ended { cause, blocks: status.blocks, at_us: None });
            self.wait_for_tail()?;
        }
        let cause = self.ended.map_or(cause, |ended| ended.cause);
        cause_of(cause, self.guard).map(Some)
    }

    /// Stops the run and waits for its end and its last blocks. The stop's answer may outrun or follow both.
    fn stop_it(&mut self) -> Result<(), SessionError> {
        let answer = self.session.ask(&Request::Stop);
        self.take_in();
        answer?;
        let until = self.session.line.now() + TAIL;
        while self.ended.is_none() && self.session.line.now() < until {
            self.pump()?;
        }
        self.wait_for_tail()
    }

    fn wait_for_tail(&mut self) -> Result<(), SessionError> {
        let until = self.session.line.now() + TAIL;
        while let Some(ended) = self.ended
            && !self.sequence.is_complete(ended.blocks)
            && self.session.line.now() < until
        {
            self.pump()?;
        }
        Ok(())
    }

    fn pump(&mut self) -> Result<(), SessionError> {
        let pumped = self.session.line.pump(LOOK_EVERY);
        self.take_in();
        pumped
    }

    /// Takes what the rig has sent by itself.
    fn take_in(&mut self) {
        while let Some(heard) = self.session.line.take_heard() {
            match heard {
                Heard::Block(block) => self.block(block),
                Heard::Shed { run, number } if run == self.number => self.sequence.shed(number),
                Heard::Event(event) if event.run == self.number => self.event(event),
                Heard::Shed { .. } | Heard::Event(_) => {}
            }
        }
    }

    fn block(&mut self, block: Block) {
        let seen = block.view();
        if seen.run == self.number {
            let span = u64::from(seen.period_us) * u64::from(seen.scans.saturating_sub(1));
            self.newest_us = self.newest_us.max(seen.first_us.saturating_add(span));
            self.quiet.blocks += 1;
        }
        let Self { sequence, news, holes, .. } = self;
        sequence.take(block, &mut |piece| pass_on(piece, news, holes));
    }

    fn event(&mut self, event: Event) {
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
        self.news.push_back(News::Event(event));
    }

    /// It is over: hands on what waits, with its holes, and tells the link's story of them.
    fn conclude(&mut self, cause: RunCause) {
        let cause = match cause {
            RunCause::Guard(None) => RunCause::Guard(self.tripped_guard()),
            cause => cause,
        };
        let (expected, end_us) = self.ended.map_or((None, None), |ended| (Some(ended.blocks), ended.at_us));
        let Self { sequence, news, holes, .. } = self;
        sequence.finish(expected, end_us, &mut |piece| pass_on(piece, news, holes));
        self.tell_of(&cause);
        self.session.oddities += self.sequence.oddities;
        self.cause = Some(cause);
    }

    /// The tripped guard, when its event was lost.
    fn tripped_guard(&mut self) -> Option<(Guard, i32)> {
        let status = self.session.status().ok()?;
        guards_in(status.tripped.into()).next().map(|guard| (guard, 0))
    }

    /// Holes and end, for the link's story.
    fn tell_of(&mut self, cause: &RunCause) {
        let run = self.number;
        for Lost { from_us, to_us, scans, cause } in std::mem::take(&mut self.holes) {
            self.session.line.note(LineEvent::Gap { run, from_us, to_us, scans, cause });
        }
        let cause = match cause {
            RunCause::Complete => "complete".to_owned(),
            RunCause::Aborted => "stopped by hand".to_owned(),
            RunCause::Guard(Some((guard, _))) => format!("guard: {}", guard_name(*guard)),
            RunCause::Guard(None) => "guard".to_owned(),
            RunCause::Lost(error) => error.to_string(),
        };
        self.session.line.note(LineEvent::RunEnded { run, cause });
    }
}

impl Drop for Run<'_> {
    fn drop(&mut self) {
        self.finish();
    }
}

fn pass_on(piece: Piece, news: &mut VecDeque<News>, holes: &mut Vec<Lost>) {
    news.push_back(match piece {
        Piece::Scans(block) => News::Scans(block),
        Piece::Lost(lost) => {
            if holes.len() < MOST_HOLES {
                holes.push(lost);
            }
            News::Lost(lost)
        }
    });
}

fn cause_of(cause: EndCause, guard: Option<(Guard, i32)>) -> Result<RunCause, SessionError> {
    match cause {
        EndCause::Complete => Ok(RunCause::Complete),
        // Nobody here has asked for a stop: another program has.
        EndCause::Stopped | EndCause::NewSession => Err(SessionError::Taken),
        EndCause::Guard => Ok(RunCause::Guard(guard)),
    }
}
