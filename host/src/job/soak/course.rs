//! A soak from its beginning to its end: stretch after stretch on the rig, with the rig or the program away in between.

use super::amounts;
use super::asked::Asked;
use super::concluding::{Concluding, conclude};
use super::driving::{self, Try};
use super::plan::Soak;
use super::running::{KeepError, Running, Stretch};
use crate::job::bench_work::on_own_bench;
use crate::job::cautions::{self, Consent};
use crate::job::concluded::Concluded;
use crate::job::event::Event;
use crate::job::failure::Failure;
use crate::job::matings::Plugged;
use crate::job::mounted::Mounted;
use crate::job::outside::Outside;
use crate::job::rig_lock::RigLock;
use crate::job::sheets::Shelf;
use crate::outcome::SoakEnd;
use crate::procedure::Bench;
use crate::quantity::PartKind;
use crate::record::Archive;
use crate::session::Story;
use crate::sheet::PartSheet;
use anyhow::anyhow;

use std::time::Duration;

/// Cycles of a grip's round, where none are asked for: both directions at two speeds.
const CYCLES: u32 = 2;
/// Stretches whose line is reported event by event.
const WHOLE_STORIES: usize = 10;
/// Time between two looks whether a rig is back.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// A soak and where it is.
struct SoakAtWork<'a> {
    plan: &'a Soak<'a>,
    outside: &'a Outside<'a>,
    archive: &'a Archive,
    shelf: Shelf,
    asked: Asked,
    running: Option<Running>,
    sheet: Option<PartSheet>,
    cautions_shown: bool,
    /// What happened on the line, stretch by stretch.
    stories: Vec<Story>,
}

/// Runs it.
///
/// # Errors
/// As [`super::soak`].
pub fn run(plan: &Soak<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let mounted = plan.mounted;
    let (archive, warning) =
        Archive::open_or_fallback(mounted.archive).map_err(|e| Failure::Other(e.into()))?;
    if let Some(warning) = &warning {
        outside.warn(warning.to_string());
    }
    // The rig before the log: a second soak on one rig learns who has it.
    let early =
        plan.resume.is_none().then(|| RigLock::take(mounted.rig, mounted.part, outside)).transpose()?;
    let asked = Asked::of(plan, &archive, outside)?;
    let conclude_only = plan.conclude;
    let _ours = match early {
        Some(ours) => Some(ours),
        None if conclude_only => None,
        None => Some(RigLock::take(&asked.begin.rig, &asked.begin.part, outside)?),
    };
    asked.notes.iter().for_each(|note| outside.say(note));
    let given = Some(asked.begin.sheet.as_str()).filter(|s| !s.is_empty());
    let shelf = Shelf::new(given)?;
    let plugged = Mounted {
        part: &asked.begin.part,
        case: asked.begin.case.as_deref(),
        still_plugged: asked.begin.still_plugged || asked.again.is_some(),
        ..mounted
    };
    // A soak that goes on was counted when it began, and was warned of then.
    let mut plugged = Plugged::of(plugged, shelf.first(), outside);
    plugged.leave(asked.begin.still_plugged);
    let mut whole = SoakAtWork {
        plan,
        outside,
        archive: &archive,
        shelf,
        asked,
        running: None,
        sheet: None,
        cautions_shown: false,
        stories: Vec::new(),
    };
    let fallback = warning.map(|w| w.to_string());
    whole.take_up()?;
    let ended = if conclude_only { None } else { whole.stretches()? };
    let Some(running) = whole.running.take() else {
        return Err(Failure::Rig(anyhow!("no round was done, so there is nothing to judge")));
    };
    let stories = whole.stories;
    let warnings = fallback.into_iter().collect();
    let concluding =
        Concluding { running, ended, archive: &archive, shelf: &whole.shelf, warnings, plugged, stories };
    conclude(concluding, outside)
}

impl SoakAtWork<'_> {
    fn take_up(&mut self) -> Result<(), Failure> {
        if let Some(again) = self.asked.again.take() {
            let (begin, room) = (self.asked.begin.clone(), self.asked.room);
            let running = Running::again(self.archive, begin, room, again).map_err(not_kept)?;
            self.outside.say(format!(
                "going on with {} after round {}",
                running.folder.record(),
                running.rounds()
            ));
            self.running = Some(running);
        }
        Ok(())
    }

    /// Until it has ended; how, unless that stands in the log already.
    fn stretches(&mut self) -> Result<Option<SoakEnd>, Failure> {
        let mut away: Option<Duration> = None;
        loop {
            let why = match self.stretch(&mut away) {
                Ok(Stretch::Ended(end)) => return Ok(Some(end)),
                Ok(Stretch::Fault(why)) => return Err(self.later(&why)),
                Ok(Stretch::Away(why)) => why,
                Err(Failure::Rig(why)) if self.running.is_some() => format!("{why:#}"),
                Err(other) => return Err(other),
            };
            if let Some(end) = self.wait(&why, &mut away)? {
                return Ok(Some(end));
            }
        }
    }

    /// Waits a little for a rig that is away; how the soak ended when the user does not want to wait.
    fn wait(&mut self, why: &str, away: &mut Option<Duration>) -> Result<Option<SoakEnd>, Failure> {
        let clock = self.outside.clock;
        let patience = Duration::from_secs_f64(self.asked.begin.patience_s);
        let since = match *away {
            Some(since) => since,
            None => {
                self.outside.say(format!(
                    "the rig is away ({why}); it is waited for up to {}, Ctrl-C ends the soak and judges what there is",
                    amounts::shown(patience.as_secs_f64())
                ));
                *away.insert(clock.passed())
            }
        };
        if let Some(running) = &mut self.running {
            running.went_away();
        }
        let waited = clock.passed().saturating_sub(since);
        if waited >= patience {
            return Err(self.later(&format!(
                "the rig did not come back within {}: {why}",
                amounts::shown(patience.as_secs_f64())
            )));
        }
        if !clock.wait(LOOK_EVERY.min(patience - waited), self.outside.stop) {
            return self.stopped_by_user();
        }
        Ok(None)
    }

    fn stopped_by_user(&mut self) -> Result<Option<SoakEnd>, Failure> {
        let Some(running) = &mut self.running else {
            return Err(Failure::Rig(anyhow!(
                "stopped by the user before the first round; nothing was recorded"
            )));
        };
        match running.end("user", running.by_the_user(), self.outside).map_err(not_kept)? {
            Stretch::Ended(end) => Ok(Some(end)),
            Stretch::Away(_) | Stretch::Fault(_) => Ok(None),
        }
    }

    /// It can go on later: how.
    fn later(&self, why: &str) -> Failure {
        match &self.running {
            None => Failure::Rig(anyhow!("{why}")),
            Some(running) => Failure::Rig(anyhow!(
                "{why}. The soak has not ended: {} rounds are kept in {}. Mend that, then `trackpair soak --resume {}` goes on; with --conclude \
                 it judges what there is",
                running.rounds(),
                running.folder.path().display(),
                running.folder.record()
            )),
        }
    }

    /// One stretch on the rig.
    fn stretch(&mut self, away: &mut Option<Duration>) -> Result<Stretch, Failure> {
        let (rig, part) = (self.asked.begin.rig.clone(), self.asked.begin.part.clone());
        let first = self.shelf.first().clone();
        let outside = self.outside;
        let (stretch, story) = on_own_bench(&rig, &part, &first, outside, |bench| {
            let body = bench.drives_body();
            self.check_kind(body)?;
            match self.ready(bench, body)? {
                Ok(sheet) => {
                    *away = None;
                    let Some(running) = &mut self.running else {
                        return Ok(Stretch::Fault("the record was not begun".to_owned()));
                    };
                    bench.use_sheet(&sheet);
                    running.stretch(bench, &sheet, outside).map_err(not_kept)
                }
                Err(ended) => Ok(ended),
            }
        })?;
        self.tell_of(story);
        stretch
    }

    /// A rig that comes and goes for days fills no memory: of the last stretches all is kept, of those before what they came to.
    fn tell_of(&mut self, story: Story) {
        if let Some(old) = self.stories.len().checked_sub(WHOLE_STORIES).and_then(|k| self.stories.get_mut(k))
        {
            let forgotten = std::mem::take(&mut old.entries).len() as u64;
            old.summary.iter_mut().for_each(|summary| summary.forgotten += forgotten);
        }
        self.stories.push(story);
    }

    /// A soak goes on with the kind of part that it was begun with.
    fn check_kind(&self, body: bool) -> Result<(), Failure> {
        let (now, begun) = (if body { PartKind::Body } else { PartKind::Grip }, &self.asked.begin.kind);
        // Before its first round it has no kind yet.
        if self.running.is_none() || begun == now.name() {
            return Ok(());
        }
        Err(Failure::Usage(anyhow!(
            "the soak was begun on a {begun}, and the rig at {} drives a {}; put the part back on its rig, or begin another soak",
            self.asked.begin.rig,
            now.name()
        )))
    }

    /// Rig and part ready for rounds, with the sheet; else how it ended.
    fn ready(&mut self, bench: &mut Bench<'_>, body: bool) -> Result<Result<PartSheet, Stretch>, Failure> {
        if body {
            let sheet = self.shelf.for_body()?;
            if self.plan.cycles.is_some() {
                return Err(Failure::Usage(anyhow!(
                    "--cycles is for grips; a throttle body's round is its rest, its stops and one creep: leave --cycles out, and change \
                     --every for more or fewer rounds"
                )));
            }
            if !self.cautions_shown {
                let consent = Consent::of(&self.asked.begin.rig, self.plan.cautions_read);
                cautions::show(consent, self.outside)?;
                self.cautions_shown = true;
            }
            bench.use_sheet(sheet);
        } else {
            self.shelf.check_for_grip()?;
        }
        let first = self.first_look(bench)?;
        let traces = match first {
            Ok(traces) => traces,
            Err(ended) => return Ok(Err(ended)),
        };
        if self.sheet.is_none() {
            let mut sheet = self.chosen(body, traces.last())?;
            sheet.sweep.cycles = self.asked.begin.cycles.unwrap_or(CYCLES);
            self.sheet = Some(sheet);
        }
        let Some(sheet) = self.sheet.clone() else {
            return Ok(Err(Stretch::Fault("no sheet fits".to_owned())));
        };
        if self.running.is_none() {
            let kind = if body { PartKind::Body } else { PartKind::Grip };
            let named = if self.asked.begin.sheet.is_empty() { &sheet.name } else { &self.asked.begin.sheet };
            let simulated = bench.session().is_simulated();
            let running = Running::begin(self.archive, &self.asked, (kind, named), simulated, self.outside)
                .map_err(not_kept)?;
            self.outside.tell(Event::RecordBegun(running.folder.path()));
            self.running = Some(running);
        }
        Ok(Ok(sheet))
    }

    /// Whether it moves: asked twice. A part that never moved is not soaked; one that stopped while the program was away is judged.
    fn first_look(
        &mut self,
        bench: &mut Bench<'_>,
    ) -> Result<Result<Vec<crate::trace::Trace>, Stretch>, Failure> {
        let sheet = self.sheet.clone().unwrap_or_else(|| {
            if bench.drives_body() {
                self.shelf.for_body().unwrap_or(self.shelf.first()).clone()
            } else {
                self.shelf.first().clone()
            }
        });
        let mut why = String::new();
        for _ in 0..2 {
            match driving::moves(bench, &sheet) {
                Try::Done(traces) => return Ok(Ok(traces)),
                Try::Away(why) => return Ok(Err(Stretch::Away(why))),
                Try::Fault(why) => return Ok(Err(Stretch::Fault(why))),
                Try::Stopped => {
                    let ended = self.stopped_by_user()?;
                    return Ok(Err(
                        ended.map_or(Stretch::Fault("stopped by the user".to_owned()), Stretch::Ended)
                    ));
                }
                Try::Still(_, still) => why = still,
            }
        }
        self.outside.say(format!("the part does not move: {why}"));
        match &mut self.running {
            Some(running) if running.rounds() > 0 => {
                let text = format!(
                    "the part does not move any more after round {}: {why}. The drive is off. Look what binds (take the part out and turn it by \
                     hand), then qualify it",
                    running.rounds()
                );
                running.end("stopped_moving", text, self.outside).map(Err).map_err(not_kept)
            }
            _ => Err(Failure::Rig(anyhow!(
                "the part does not move, so there is nothing to soak: {why}. The drive is off and no record was begun. Check clamp and coupling; \
                 `trackpair qualify` says what is wrong with the part"
            ))),
        }
    }

    fn chosen(&self, body: bool, moved: Option<&crate::trace::Trace>) -> Result<PartSheet, Failure> {
        if body {
            return self.shelf.for_body().cloned();
        }
        let (sheet, note) = self.shelf.choose(moved);
        note.iter().for_each(|note| self.outside.say(note));
        Ok(sheet.clone())
    }
}

/// What was recorded can't be kept: the disk, not the rig.
fn not_kept(error: KeepError) -> Failure {
    Failure::Other(error.into())
}
