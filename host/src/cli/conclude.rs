//! From what was recorded to what is printed: analysis, verdict, outcome, record, report.

use super::clock::date;
use super::ending::Ending;
use super::plugged::Plugged;
use super::sealing::to_seal_with;
use super::settling::{Looks, grip_analysis};
use super::surroundings::Surroundings;
use super::terminal::aside::aside;
use super::terminal::say::{style, write_report};
use crate::analysis::PartAnalysis;
use crate::analysis::body::population::Population;
use crate::analysis::body::{self, BodyTraces};
use crate::analysis::follow::{self, PairTraces};
use crate::job::Failure;
use crate::job::population;
use crate::job::sheets::Shelf;
use crate::outcome::{
    Outcome, OutcomeInputs, OutcomeLine, OutcomeNotDone, OutcomeReading, SessionEnd, StoredTrace, build,
};
use crate::procedure::{ProcedureError, SelfCheck};
use crate::quantity::{Channel, PartKind};
use crate::record::{Archive, Document, RecordFolder, Sealing};
use crate::report::{CertificateInput, Paper, PdfError, ReportInput, certificate, html, pdf, terminal};
use crate::session::Story;
use crate::sheet::{PartSheet, Topology};
use crate::trace::{ChannelProvenance, ProcedureKind, Trace};
use crate::verdict::{Judgement, Judging, Scope, judge_by};
use anyhow::anyhow;
use std::io::Write;
use std::path::{Path, PathBuf};

/// A trace and the file that keeps it; none when it could not be written.
struct KeptTrace {
    trace: Trace,
    file: Option<String>,
}

/// What was recorded, kept on disk as it comes.
pub struct Kept {
    folder: Option<RecordFolder>,
    traces: Vec<KeptTrace>,
    warnings: Vec<String>,
    failures: Vec<String>,
    /// Whether the first failure is a refusal of the rig.
    refused: bool,
    /// Whether the traces were picked out of a record.
    alone: bool,
    /// What an earlier outcome says of how the session ended.
    told: Option<(bool, Vec<OutcomeNotDone>)>,
    scope: Option<Scope>,
    shown: Vec<Topology>,
    readings: Vec<OutcomeReading>,
    doubts: Vec<String>,
    among: Option<Population>,
    plugged: Option<Plugged>,
    /// What happened on the line, as `session.jsonl` has it.
    session: String,
    /// What an earlier outcome says of the line.
    line: Option<OutcomeLine>,
}

impl Kept {
    /// Makes a record folder in the archive. When the archive can't be written, in a fallback, with a warning: nothing that
    /// will be recorded shall be lost.
    ///
    /// # Errors
    /// [`Failure::Other`] when neither can be written.
    pub fn begin(archive: Option<&Path>, part: &str) -> Result<Self, Failure> {
        let mut kept = Self::loose();
        let (archive, warning) = Archive::open_or_fallback(archive).map_err(|e| Failure::Other(e.into()))?;
        if let Some(warning) = warning {
            aside(format!("trackpair: {warning}"));
            kept.warn(Some(warning.to_string()));
        }
        kept.folder = Some(archive.begin_record(part, &date()).map_err(|e| Failure::Other(e.into()))?);
        Ok(kept)
    }

    /// Without a record folder: nothing is written.
    pub fn loose() -> Self {
        Self {
            folder: None,
            traces: Vec::new(),
            warnings: Vec::new(),
            failures: Vec::new(),
            refused: false,
            alone: false,
            told: None,
            scope: None,
            shown: Vec::new(),
            readings: Vec::new(),
            doubts: Vec::new(),
            among: None,
            plugged: None,
            session: String::new(),
            line: None,
        }
    }

    /// Takes over what happened on the line in a session.
    pub fn tell_of(&mut self, story: Story) {
        self.session += &story.to_jsonl();
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

    /// Sets what is judged, and the topologies that fit the lines. Without it, what was recorded tells.
    pub fn judge_only(&mut self, scope: Scope, shown: Vec<Topology>) {
        (self.scope, self.shown) = (Some(scope), shown);
    }

    /// Sets the healthy bodies that a body is judged among. Without it, the shipped ones of its kind.
    pub fn judge_among(&mut self, among: Option<Population>) {
        self.among = among;
    }

    /// Checks that the part that the sheet is for can be judged among them.
    ///
    /// # Errors
    /// As [`population::check_fits`].
    pub fn check_population(&self, sheet: &PartSheet) -> Result<(), Failure> {
        population::check_fits(self.among.as_ref(), sheet)
    }

    /// Judges a flex for what it tells; returns the sheet that it is judged by.
    pub fn judge_as_flex<'s>(&mut self, shelf: &'s Shelf) -> &'s PartSheet {
        let chosen =
            shelf.choose_for_flex(self.trace(ProcedureKind::SelfCheck), self.trace(ProcedureKind::Flex));
        self.judge_only(Scope::Flex { limp_trips: chosen.limp_trips }, chosen.shown);
        self.warn(chosen.note);
        chosen.sheet
    }

    /// The sheet that what was kept is judged by: for a throttle body, a flex alone, or a grip.
    ///
    /// # Errors
    /// [`Failure::Usage`] when the given one is for another kind of part.
    pub fn choose_sheet<'s>(&mut self, shelf: &'s Shelf) -> Result<&'s PartSheet, Failure> {
        if self.is_body() {
            return shelf.for_body();
        }
        if self.is_flex_alone() {
            return Ok(self.judge_as_flex(shelf));
        }
        let (sheet, note) = shelf.choose(self.judged());
        self.warn(note);
        Ok(sheet)
    }

    /// Takes over what a self-check read and what it warned of.
    pub fn heed(&mut self, check: &SelfCheck) {
        let readings = check.readings().into_iter();
        self.readings = readings
            .map(|r| OutcomeReading { name: r.name, value: r.value, unit: r.unit.to_owned() })
            .collect();
        self.warn(check.warnings.iter().map(ToString::to_string));
        let not_ready = check.warnings.iter().filter(|w| w.keeps_from_ready());
        self.doubts = not_ready.map(|w| format!("undecided: {w}")).collect();
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

    /// Says that the traces were picked out of a record: what else was planned is not missed.
    pub fn judge_alone(&mut self) {
        self.alone = true;
    }

    /// Says what an earlier outcome of the same traces says of how the session ended.
    pub fn recall(&mut self, before: &Outcome) {
        self.told = Some((before.aborted, before.not_done.clone()));
        self.line.clone_from(&before.line);
    }

    /// Takes a trace and writes it at once. A trace that can't be written is still judged, and the failure is told.
    pub fn store(&mut self, trace: Trace) {
        let file = match self.folder.as_mut().map(|folder| folder.store_trace(&trace)) {
            None => None,
            Some(Ok(file)) => Some(file),
            Some(Err(error)) => {
                aside(format!("trackpair: {error}"));
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

    /// What is judged, where it was set.
    pub const fn scope_given(&self) -> Option<Scope> {
        self.scope
    }

    /// The last trace of a procedure.
    pub fn trace(&self, procedure: ProcedureKind) -> Option<&Trace> {
        self.traces.iter().rev().map(|k| &k.trace).find(|t| t.provenance.procedure == procedure)
    }

    /// Why the plan was cut short; none when it was not.
    pub fn failure(&self) -> Option<&str> {
        self.failures.first().map(String::as_str)
    }

    /// What is judged: the best that was recorded.
    pub fn judged(&self) -> Option<&Trace> {
        use ProcedureKind::{Flex, HandSweep, Import, LeadsCheck, SelfCheck, Sweep};
        let order = match self.scope {
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

/// Judges what was kept, stores and prints it; the report also goes to the file `report`.
///
/// # Errors
/// [`Failure::Rig`] when nothing was recorded, [`Failure::Other`] when the report can't be written to its file or the outcome
/// can't be stored (it is printed first).
pub fn conclude(
    mut kept: Kept,
    sheet: &PartSheet,
    json: bool,
    report: Option<&Path>,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let Some(judged) = Judged::of(&kept, sheet) else {
        let why = kept.failures.first().map_or("the rig sent no samples", String::as_str);
        return Err(Failure::Rig(anyhow!("nothing was recorded, so there is nothing to judge: {why}")));
    };
    let shop = surroundings.shop();
    let mut judged = judged;
    if let (Some(plugged), Some(folder)) = (&kept.plugged, &kept.folder) {
        plugged.count(&mut judged.outcome, sheet, folder);
    }
    let input = ReportInput { shop: shop.as_ref(), ..judged.report(sheet) };
    let outcome = &judged.outcome;
    let text = terminal(&input, style(surroundings));
    let stored = store(&mut kept, &input, surroundings);
    let page = || match &stored {
        Ok(Some(page)) => std::fs::read(page).unwrap_or_else(|_| html(&input).into_bytes()),
        _ => html(&input).into_bytes(),
    };
    let reported = report.map_or(Ok(()), |file| write_report(&page(), file));
    print(&kept, outcome, &text, stored.as_ref().is_ok_and(Option::is_some), json);
    let filed = match (&stored, &kept.plugged, &kept.folder) {
        (Ok(Some(_)), Some(plugged), Some(folder)) => plugged.file(outcome, folder, surroundings),
        _ => Ok(()),
    };
    stored.map(|_| ()).and(reported).and(filed)?;
    // In a session with a rig its faults are the result; of a stored recording its verdict is.
    let faulty = kept.plugged.is_some() && !judged.analysis.rig_faults.is_empty();
    let whole = kept.failures.is_empty() && !faulty;
    Ok(if whole { Ending::Judged(outcome.verdict) } else { Ending::RigFaultOrAborted })
}

/// What was recorded, analysed and judged.
pub(super) struct Judged {
    analysis: PartAnalysis,
    channels: Vec<ChannelProvenance>,
    scope: Scope,
    /// The outcome.
    pub(super) outcome: Outcome,
}

impl Judged {
    /// None when there is nothing to analyse.
    pub(super) fn of(kept: &Kept, sheet: &PartSheet) -> Option<Self> {
        if let Some(looks) = Looks::of(kept, sheet) {
            let channels = kept.judged()?.provenance.channels.clone();
            let mut outcome = outcome_of(kept, looks.analysis(), sheet, &looks.judgement());
            outcome.settling = Some(looks.told());
            return Some(Self { analysis: looks.analysis().clone(), channels, scope: Scope::Part, outcome });
        }
        let (analysis, channels) = analysis_of(kept, sheet)?;
        let judging =
            Judging { scope: kept.scope.unwrap_or_default(), shown: &kept.shown, ..Judging::default() };
        let judgement = judge_by(&analysis, sheet, judging);
        let outcome = outcome_of(kept, &analysis, sheet, &judgement);
        Some(Self { analysis, channels, scope: kept.scope.unwrap_or_default(), outcome })
    }

    /// What a report is made of.
    pub(super) fn report<'a>(&'a self, sheet: &'a PartSheet) -> ReportInput<'a> {
        ReportInput {
            outcome: &self.outcome,
            // Curves belong to figures: where none is judged, none is drawn.
            curves: if self.scope == Scope::Part { self.analysis.curves.as_slice() } else { &[] },
            plots: &self.analysis.plots,
            comparisons: &self.analysis.comparisons,
            sheet,
            channels: &self.channels,
            stamp: None,
            shop: None,
        }
    }
}

/// What the traces tell, and what is known of their channels; none when there is nothing to analyse.
pub(super) fn analysis_of(kept: &Kept, sheet: &PartSheet) -> Option<(PartAnalysis, Vec<ChannelProvenance>)> {
    if let Some(pair) = PairTraces::sorted(kept.traces.iter().map(|k| &k.trace)) {
        return Some((follow::analyse(pair, sheet), pair.grip.provenance.channels.clone()));
    }
    if sheet.kind == PartKind::Pair {
        let channels = kept.traces.first()?.trace.provenance.channels.clone();
        return Some((follow::not_begun(kept.traces.iter().map(|k| &k.trace), sheet), channels));
    }
    if kept.is_body() {
        let traces = BodyTraces::sorted(kept.traces.iter().map(|k| &k.trace));
        let channels = traces.all().next()?.provenance.channels.clone();
        let analysis = match &kept.among {
            Some(among) => body::analyse_among(traces, sheet, among),
            None => body::analyse(traces, sheet),
        };
        return Some((analysis, channels));
    }
    let sweep = kept.judged()?;
    let looks = Looks::of(kept, sheet);
    let analysis = looks.map_or_else(|| grip_analysis(kept, sweep, sheet), |looks| looks.analysis().clone());
    Some((analysis, sweep.provenance.channels.clone()))
}

/// Outcome and documents into the record, sealed with the shop's key, if there is one; the report's file. Before anything is printed: a
/// closed pipe loses nothing.
fn store(
    kept: &mut Kept,
    input: &ReportInput<'_>,
    surroundings: &Surroundings<'_>,
) -> Result<Option<PathBuf>, Failure> {
    let Some(folder) = kept.folder.as_mut() else { return Ok(None) };
    folder.tell_of_session(std::mem::take(&mut kept.session).into_bytes());
    let key = to_seal_with(surroundings);
    let sealing = Sealing { key: key.as_ref(), date: &date() };
    let done = folder
        .conclude(input.outcome, sealing, |stamp| {
            documents(&ReportInput { stamp, ..*input }, surroundings.paper())
        })
        .map_err(|e| Failure::Other(e.into()))?;
    for warning in &done.warnings {
        aside(format!("trackpair: {warning}"));
    }
    Ok(done.documents.into_iter().next())
}

/// What goes into a record beside its outcome: the report for the screen and on paper, and for a part its certificate.
pub fn documents(input: &ReportInput<'_>, paper: Paper) -> Vec<Document> {
    let mut all = vec![Document { stem: "report", ending: "html", bytes: html(input).into_bytes() }];
    let mut add = |stem, made: Result<Vec<u8>, PdfError>| match made {
        Ok(bytes) => all.push(Document { stem, ending: "pdf", bytes }),
        Err(error) => aside(format!("trackpair: no {stem}.pdf: {error}")),
    };
    add("report", pdf(input, paper));
    if input.outcome.scope == Scope::Part.name() {
        let ReportInput { outcome, stamp, shop, .. } = *input;
        add("certificate", certificate(&CertificateInput { outcome, stamp, shop }, paper));
    }
    all
}

/// The short result, and with `json` the document on stdout and everything else on stderr. A reader that has gone away is
/// no failure.
fn print(kept: &Kept, outcome: &Outcome, text: &str, stored: bool, json: bool) {
    let mut people = text.to_owned();
    if let Some(folder) = kept.folder.as_ref().filter(|_| stored) {
        let path = folder.path();
        people += &format!("\nrecord  {}\nreport  {}\n", path.display(), path.join("report.html").display());
    }
    let (mut out, mut err) = (std::io::stdout(), std::io::stderr());
    if json {
        let _ = out.write_all(outcome.to_json().as_bytes());
        let _ = err.write_all(people.as_bytes());
    } else {
        let _ = out.write_all(people.as_bytes());
    }
    for failure in &kept.failures {
        let _ = writeln!(err, "trackpair: {failure}");
    }
}

fn outcome_of(kept: &Kept, analysis: &PartAnalysis, sheet: &PartSheet, judgement: &Judgement) -> Outcome {
    let mut outcome = built(kept, analysis, sheet, judgement);
    // What was written by this program can be read by it.
    let stories = Story::read(&kept.session).unwrap_or_default();
    if let Some(line) = OutcomeLine::of(&stories).or_else(|| kept.line.clone()) {
        outcome.heed_line(line);
    }
    outcome
}

fn built(kept: &Kept, analysis: &PartAnalysis, sheet: &PartSheet, judgement: &Judgement) -> Outcome {
    let stored: Vec<StoredTrace<'_>> =
        kept.traces.iter().map(|k| StoredTrace { trace: &k.trace, file: k.file.as_deref() }).collect();
    let mut warnings = kept.warnings.clone();
    warnings.extend(kept.failures.iter().cloned());
    build(OutcomeInputs {
        analysis,
        judgement,
        sheet,
        topology_shown: <[Topology; 1]>::try_from(kept.shown.as_slice()).ok().map(|[one]| one),
        readings: &kept.readings,
        session: SessionEnd {
            failure: kept.failures.first().map(|why| (why.as_str(), kept.refused)),
            told: kept.told.as_ref().map(|(aborted, not_done)| (*aborted, not_done.as_slice())),
            alone: kept.alone,
        },
        doubts: if kept.scope == Some(Scope::Readiness) { &kept.doubts } else { &[] },
        traces: &stored,
        judged: &date(),
        warnings: &warnings,
    })
}
