//! What was recorded, kept on disk as it comes, and what is known of how it came about. What is asked of it is a `Question`.

use super::event::Event;
use super::failure::Failure;
use super::matings::Plugged;
use super::mounted::Mounted;
use super::outside::Outside;
use super::question::Question;
use super::sheets::Shelf;
use crate::outcome::OutcomeReading;
use crate::procedure::{ProcedureError, SelfCheck};
use crate::quantity::{Channel, PartKind, ProcedureKind};
use crate::record::{Archive, RecordFolder};
use crate::session::Story;
use crate::sheet::PartSheet;
use crate::trace::Trace;
use crate::verdict::Scope;
use std::path::Path;

/// A trace and the file that keeps it; none when it could not be written.
pub struct KeptTrace {
    /// The trace.
    pub trace: Trace,
    /// Its file in the record.
    pub file: Option<String>,
}

/// What was recorded, kept on disk as it comes. It grows while a session lasts; then it is judged by a [`Question`], and with its judgement it is
/// filed (`conclude`).
pub struct Recorded {
    pub(super) folder: Option<RecordFolder>,
    pub(super) traces: Vec<KeptTrace>,
    pub(super) warnings: Vec<String>,
    pub(super) failures: Vec<String>,
    /// Whether the first failure is a refusal of the rig.
    pub(super) refused: bool,
    /// What the self-check read, and what keeps it from saying that the part is ready.
    pub(super) checked: Checked,
    pub(super) plugged: Option<Plugged>,
    /// What happened on the line, session by session.
    pub(super) stories: Vec<Story>,
}

/// What a self-check read and warned of.
#[derive(Default)]
pub struct Checked {
    pub(super) readings: Vec<OutcomeReading>,
    pub(super) doubts: Vec<String>,
}

impl Recorded {
    /// Makes a record folder in the archive. When the archive can't be written, in a fallback, with a warning: nothing that
    /// will be recorded may be lost.
    ///
    /// # Errors
    /// [`Failure::Other`] when neither can be written.
    pub fn begin(archive: Option<&Path>, part: &str, outside: &Outside<'_>) -> Result<Self, Failure> {
        let mut recorded = Self::loose();
        let (archive, warning) = Archive::open_or_fallback(archive).map_err(|e| Failure::Other(e.into()))?;
        if let Some(warning) = warning {
            outside.warn(warning.to_string());
            recorded.warn(Some(warning.to_string()));
        }
        let folder = archive.begin_record(part, &outside.now()).map_err(|e| Failure::Other(e.into()))?;
        outside.tell(Event::RecordBegun(folder.path()));
        recorded.folder = Some(folder);
        Ok(recorded)
    }

    /// The same for a session with a rig that a part is plugged into.
    ///
    /// # Errors
    /// As [`Recorded::begin`].
    pub fn of_session(
        mounted: Mounted<'_>,
        sheet: &PartSheet,
        outside: &Outside<'_>,
    ) -> Result<Self, Failure> {
        let mut recorded = Self::begin(mounted.archive, mounted.part, outside)?;
        recorded.plug_in(Plugged::of(mounted, sheet, outside));
        Ok(recorded)
    }

    /// Without a record folder: nothing is written.
    pub fn loose() -> Self {
        Self {
            folder: None,
            traces: Vec::new(),
            warnings: Vec::new(),
            failures: Vec::new(),
            refused: false,
            checked: Checked::default(),
            plugged: None,
            stories: Vec::new(),
        }
    }

    /// Takes over what happened on the line in a session.
    pub fn tell_of(&mut self, story: Story) {
        self.stories.push(story);
    }

    /// Says that a part is plugged into a rig for what will be recorded, and to which case that belongs.
    pub fn plug_in(&mut self, plugged: Plugged) {
        self.plugged = Some(plugged);
    }

    /// Says what the record is about, where its traces are those of both parts.
    pub fn is_about(&mut self, kind: PartKind) {
        if let Some(folder) = &mut self.folder {
            folder.of_kind(kind);
        }
    }

    /// Adds sentences for the reader.
    pub fn warn(&mut self, warnings: impl IntoIterator<Item = String>) {
        for warning in warnings {
            if !self.warnings.contains(&warning) {
                self.warnings.push(warning);
            }
        }
    }

    /// The sheet that a flex is judged by, and what it is judged for.
    pub fn flex_question<'s>(&mut self, shelf: &'s Shelf) -> (&'s PartSheet, Question) {
        let chosen =
            shelf.choose_for_flex(self.trace(ProcedureKind::SelfCheck), self.trace(ProcedureKind::Flex));
        self.warn(chosen.note);
        let scope = Scope::Flex { limp_trips: chosen.limp_trips };
        (chosen.sheet, Question::of(scope).where_lines_are(chosen.shown))
    }

    /// The sheet that what was recorded is judged by: for a throttle body, a flex alone, or a grip; a flex alone has a question of its own.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is for another kind of part.
    pub fn choose_sheet<'s>(
        &mut self,
        question: Question,
        shelf: &'s Shelf,
    ) -> Result<(&'s PartSheet, Question), Failure> {
        if self.is_body() {
            return Ok((shelf.for_body()?, question));
        }
        if self.is_flex_alone() {
            let (sheet, of_flex) = self.flex_question(shelf);
            return Ok((sheet, Question { scope: of_flex.scope, shown: of_flex.shown, ..question }));
        }
        let (sheet, note) = shelf.choose(self.best(&question));
        self.warn(note);
        Ok((sheet, question))
    }

    /// Takes over what a self-check read and what it warned of.
    pub fn heed(&mut self, check: &SelfCheck) {
        let readings = check.readings().into_iter();
        self.checked.readings = readings
            .map(|r| OutcomeReading { name: r.name, value: r.value, unit: r.unit.to_owned() })
            .collect();
        self.warn(check.warnings.iter().map(ToString::to_string));
        let not_ready = check.warnings.iter().filter(|w| w.keeps_from_ready());
        self.checked.doubts = not_ready.map(|w| format!("undecided: {w}")).collect();
    }

    /// Notes why the plan was cut short.
    pub fn fail(&mut self, why: String) {
        self.failures.push(why);
    }

    /// Notes why a procedure failed, and with it the plan.
    pub fn fail_by(&mut self, why: &ProcedureError) {
        if self.failures.is_empty() {
            self.refused = why.is_a_refusal();
        }
        self.fail(why.to_string());
    }

    /// Takes a trace and writes it at once. A trace that can't be written is still judged, and the failure is reported.
    pub fn store(&mut self, trace: Trace, outside: &Outside<'_>) {
        let file = match self.folder.as_mut().map(|folder| folder.store_trace(&trace)) {
            None => None,
            Some(Ok(file)) => {
                outside.tell(Event::Kept { procedure: trace.provenance.procedure, file: file.clone() });
                Some(file)
            }
            Some(Err(error)) => {
                outside.warn(error.to_string());
                self.fail(error.to_string());
                None
            }
        };
        self.traces.push(KeptTrace { trace, file });
    }

    /// Takes a trace that is already in a file.
    pub fn take(&mut self, trace: Trace, file: Option<String>) {
        self.traces.push(KeptTrace { trace, file });
    }

    /// Every trace in the order of recording.
    pub fn all(&self) -> impl Iterator<Item = &Trace> {
        self.traces.iter().map(|k| &k.trace)
    }

    /// The last trace of a procedure.
    pub fn trace(&self, procedure: ProcedureKind) -> Option<&Trace> {
        self.traces.iter().rev().map(|k| &k.trace).find(|t| t.provenance.procedure == procedure)
    }

    /// Why the plan was cut short; none when it was not.
    pub fn failure(&self) -> Option<&str> {
        self.failures.first().map(String::as_str)
    }

    /// The trace that a question about a grip is answered from: the best that was recorded.
    pub fn best(&self, question: &Question) -> Option<&Trace> {
        use ProcedureKind::{Flex, HandSweep, Import, LeadsCheck, SelfCheck, Sweep};
        let order = match question.scope {
            Some(Scope::Flex { .. }) => [Flex, Sweep, HandSweep, Import, SelfCheck, LeadsCheck],
            _ => [Sweep, HandSweep, Import, SelfCheck, LeadsCheck, Flex],
        };
        order.into_iter().find_map(|kind| self.trace(kind).filter(|t| !t.is_empty()))
    }

    /// Whether the traces are a throttle body's: its motor was recorded.
    pub fn is_body(&self) -> bool {
        self.traces.iter().any(|k| k.trace.channel(Channel::MotorAmps).is_some())
    }

    /// Whether a flex is all there is, beside the self-check before it.
    pub fn is_flex_alone(&self) -> bool {
        let kinds = || self.traces.iter().map(|k| k.trace.provenance.procedure);
        kinds().any(|k| k == ProcedureKind::Flex)
            && kinds().all(|k| matches!(k, ProcedureKind::Flex | ProcedureKind::SelfCheck))
    }
}
