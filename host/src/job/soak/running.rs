//! One stretch of a soak on a rig that is there: round by round, each lasting before it is acknowledged.

use super::asked::{Again, Asked};
use super::driving::{self, Try};
use super::keeping::{Fate, Keeping};
use super::logged::{self, Away, Moment, hole_words};
use crate::analysis::rounds;
use crate::compare::soak::planned;
use crate::job::event::{Event, Round};
use crate::job::outside::Outside;
use crate::outcome::{SoakBegin, SoakEnd, SoakKept, SoakLine, SoakRound};
use crate::procedure::Bench;
use crate::quantity::PartKind;
use crate::record::soak_log::{self, SoakLog, SoakLogError};
use crate::record::{Archive, ArchiveError, RecordFolder};
use crate::sheet::PartSheet;
use crate::trace::Trace;
use std::time::Duration;

/// How a stretch ended.
#[derive(Debug)]
pub enum Stretch {
    /// The time is up, the user stops it, or the part does: to be judged.
    Ended(SoakEnd),
    /// The rig went away: it may come back.
    Away(String),
    /// Something that waiting does not mend; it can go on later.
    Fault(String),
}

/// Why what was recorded can't be kept.
#[derive(Debug, thiserror::Error)]
pub enum KeepError {
    /// The log.
    #[error(transparent)]
    Log(#[from] SoakLogError),
    /// A trace.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
}

/// A soak with its record. What it holds does not grow from round to round.
pub struct Running {
    pub begin: SoakBegin,
    pub folder: RecordFolder,
    pub log: SoakLog,
    last: Option<SoakRound>,
    rounds: u64,
    dropouts: u64,
    keeping: Keeping,
    /// Traces of the last round, while they are not kept.
    held: Option<(u64, Vec<Trace>)>,
    /// Before the next round.
    away: Option<Away>,
    /// It did not move in a round, and then it did.
    hesitated: bool,
    slow_told: bool,
}

impl Running {
    /// Begins the record.
    ///
    /// # Errors
    /// It can't be written.
    pub fn begin(
        archive: &Archive,
        asked: &Asked,
        (kind, sheet): (PartKind, &str),
        simulated: bool,
        outside: &Outside<'_>,
    ) -> Result<Self, KeepError> {
        let (kind, sheet) = (kind.into(), sheet.to_owned());
        let begin = SoakBegin { kind, sheet, simulated, date: outside.now(), ..asked.begin.clone() };
        let mut folder = archive.begin_record(&begin.part, &begin.date)?;
        let log = SoakLog::begin(&mut folder, begin.clone())?;
        let keeping = Keeping::new(asked.room, planned(&begin));
        Ok(Self::with(begin, folder, log, keeping))
    }

    /// Takes up a record.
    ///
    /// # Errors
    /// Its traces can't be looked at.
    pub fn again(
        archive: &Archive,
        asked_begin: SoakBegin,
        room: u64,
        again: Again,
    ) -> Result<Self, KeepError> {
        let Again { record, log, course, torn_bytes } = again;
        let folder = soak_log::reopen(archive, &record, &asked_begin)?;
        let (with_traces, with_events) = course.with_traces();
        let keeping = Keeping::new(room, planned(&asked_begin));
        let keeping = keeping.again(folder.bytes_of_traces(), with_traces, with_events);
        let rig_ran_on = !asked_begin.rig.starts_with("sim:");
        let mut running = Self::with(asked_begin, folder, log, keeping);
        running.rounds = course.rounds();
        running.last = course.last().cloned();
        running.away = Some(Away { why: "program", rig_ran_on, torn_bytes });
        Ok(running)
    }

    fn with(begin: SoakBegin, folder: RecordFolder, log: SoakLog, keeping: Keeping) -> Self {
        Self {
            begin,
            folder,
            log,
            last: None,
            rounds: 0,
            dropouts: 0,
            keeping,
            held: None,
            away: None,
            hesitated: false,
            slow_told: false,
        }
    }

    /// Rounds done.
    pub fn rounds(&self) -> u64 {
        self.rounds
    }

    /// The rig went away: the next round comes after a hole.
    pub fn went_away(&mut self) {
        let rig_ran_on = !self.begin.rig.starts_with("sim:");
        self.away.get_or_insert(Away { why: "link", rig_ran_on, torn_bytes: 0 });
    }

    /// Whether the time is up.
    pub fn is_over(&self) -> bool {
        // A thousandth: rounds follow the rig's clock, not the host's arithmetic.
        let next = self.last.as_ref().map_or(0.0, |l| l.soaked_s + self.begin.every_s);
        next >= self.begin.hours * 3600.0 - 1e-3 * self.begin.every_s
    }

    /// Rounds until the time is up, the user or the part stops it, or the rig goes away.
    ///
    /// # Errors
    /// What was recorded can't be kept.
    pub fn stretch(
        &mut self,
        bench: &mut Bench<'_>,
        sheet: &PartSheet,
        outside: &Outside<'_>,
    ) -> Result<Stretch, KeepError> {
        while !self.is_over() {
            let due = bench.session().now() + Duration::from_secs_f64(self.begin.every_s);
            bench.set_started(outside.now());
            match driving::round(bench, sheet) {
                Try::Done(traces) => self.done(traces, sheet, outside)?,
                Try::Away(why) => return Ok(Stretch::Away(why)),
                Try::Fault(why) => return Ok(Stretch::Fault(why)),
                Try::Stopped => return self.end("user", self.by_the_user(), outside),
                Try::Still(traces, why) => {
                    if let Some(ended) = self.still(bench, sheet, traces, &why, outside)? {
                        return Ok(ended);
                    }
                }
            }
            if self.is_over() {
                break;
            }
            let left = due.saturating_sub(bench.session().now());
            self.tell_slow(left, outside);
            match bench.pause(left) {
                Ok(()) => {}
                Err(why) if why.is_the_users() => return self.end("user", self.by_the_user(), outside),
                Err(why) if why.is_an_absence() => return Ok(Stretch::Away(why.to_string())),
                Err(why) => return Ok(Stretch::Fault(why.to_string())),
            }
        }
        let text = format!("its time of {} h was up after {} rounds", self.begin.hours, self.rounds);
        self.end("time", text, outside)
    }

    /// Ends it: the traces of the last round are kept, the log is closed.
    ///
    /// # Errors
    /// They can't be written.
    pub fn end(&mut self, why: &str, text: String, outside: &Outside<'_>) -> Result<Stretch, KeepError> {
        if let Some((round, traces)) = self.held.take() {
            let traces = self.store(&traces, outside);
            if !traces.is_empty() {
                self.log.append(&SoakLine::Kept(SoakKept { round, traces }))?;
            }
        }
        let end = SoakEnd { date: outside.now(), why: why.to_owned(), text };
        self.log.append(&SoakLine::End(end.clone()))?;
        Ok(Stretch::Ended(end))
    }

    /// The message when the user ends it.
    pub fn by_the_user(&self) -> String {
        format!("it was ended by the user after {} of {} rounds", self.rounds, planned(&self.begin))
    }

    fn tell_slow(&mut self, left: Duration, outside: &Outside<'_>) {
        if left.is_zero() && !self.slow_told {
            self.slow_told = true;
            outside.say(format!(
                "a round takes longer than --every {:.0} s: they follow each other without a pause",
                self.begin.every_s
            ));
        }
    }

    fn done(
        &mut self,
        traces: Vec<Trace>,
        sheet: &PartSheet,
        outside: &Outside<'_>,
    ) -> Result<(), KeepError> {
        let Some(first) = traces.first() else { return Ok(()) };
        let (at, number) = (Moment::of(first), self.rounds + 1);
        let round = rounds::analyse(&traces, sheet);
        let cycles = first.provenance.sweep.map_or(1, |s| s.cycles);
        let (t_s, soaked_s, hole) = logged::placed(&at, self.last.as_ref(), self.away, self.begin.every_s);
        let mut line = logged::line(number, at, (t_s, soaked_s), cycles, &round);
        if std::mem::take(&mut self.hesitated) {
            line.findings.push("did not move in the round before".to_owned());
        }
        drop(round);
        let sure = line.sure_events();
        let fate = self.keeping.fate(number, sure > 0);
        if fate == Fate::Keep {
            let regular = number == 1 || number.is_multiple_of(self.keeping.every());
            let before = self.folder.bytes_of_traces();
            line.traces = self.store(&traces, outside);
            self.keeping.kept(self.folder.bytes_of_traces() - before, sure > 0 && !regular);
        }
        line.no_room = fate == Fate::NoRoom || (fate == Fate::Keep && line.traces.is_empty());
        if let Some(hole) = &hole {
            self.log.append(&SoakLine::Resume(hole.clone()))?;
            outside.say(hole_words(hole));
        }
        self.away = None;
        self.log.append(&SoakLine::Round(line.clone()))?;
        self.held = line.traces.is_empty().then_some((number, traces));
        (self.rounds, self.dropouts) = (number, self.dropouts + sure);
        outside.tell(Event::Round(Round {
            number,
            planned: planned(&self.begin),
            dropouts: sure,
            dropouts_since: self.dropouts,
        }));
        self.last = Some(line);
        Ok(())
    }

    /// A part that stood still is asked once more, gently. None when it moves again.
    fn still(
        &mut self,
        bench: &mut Bench<'_>,
        sheet: &PartSheet,
        traces: Vec<Trace>,
        why: &str,
        outside: &Outside<'_>,
    ) -> Result<Option<Stretch>, KeepError> {
        let number = self.rounds + 1;
        outside.say(format!("round {number}: {why}; trying once more, gently"));
        let (again, more) = match driving::moves(bench, sheet) {
            Try::Done(_) => {
                self.hesitated = true;
                outside.say("it moves again; the soak goes on, and the next round's line says so");
                return Ok(None);
            }
            Try::Away(why) => return Ok(Some(Stretch::Away(why))),
            Try::Fault(why) => return Ok(Some(Stretch::Fault(why))),
            Try::Stopped => return self.end("user", self.by_the_user(), outside).map(Some),
            Try::Still(more, again) => (again, more),
        };
        // What it stood still in is evidence. The rig is left unpowered by the bench's end.
        self.store(&traces, outside);
        self.store(&more, outside);
        let text = format!(
            "the part stopped moving in round {number}: {why}; a gentle second try: {again}. The drive is off. Look what binds (take the \
             part out and turn it by hand), then qualify it"
        );
        self.end("stopped_moving", text, outside).map(Some)
    }

    /// Keeps traces; their files. What can't be kept is reported, and the soak goes on: figures and dropouts go before traces.
    fn store(&mut self, traces: &[Trace], outside: &Outside<'_>) -> Vec<String> {
        let wanted = traces.iter().filter(|t| !t.is_empty());
        let stored: Result<Vec<String>, ArchiveError> = wanted
            .map(|trace| {
                let file = self.folder.store_trace(trace)?;
                outside.tell(Event::Kept { procedure: trace.provenance.procedure, file: file.clone() });
                Ok(file)
            })
            .collect();
        stored.unwrap_or_else(|error| {
            outside.warn(format!("{error}; the soak goes on without these traces"));
            Vec::new()
        })
    }
}
