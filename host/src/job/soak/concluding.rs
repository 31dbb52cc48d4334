//! From the log to the outcome: what the last round's traces show, with the dropouts of all rounds, judged, kept and sealed.

use super::asked::of_log;
use super::logged::hole_words;
use super::running::Running;
use crate::analysis::budget::{Budget, Source};
use crate::analysis::dropout::Wire;
use crate::analysis::statistics::{poisson_lower, poisson_upper};
use crate::analysis::{Detail, Figure, Finding, PartAnalysis, rounds};
use crate::compare::soak::{Course, WireEvents, is_near};
use crate::job::concluded::{Concluded, into_record};
use crate::job::failure::Failure;
use crate::job::judged::Judged;
use crate::job::matings::Plugged;
use crate::job::outside::Outside;
use crate::job::sheets::Shelf;
use crate::outcome::{
    Outcome, OutcomeInputs, OutcomeLine, OutcomeSoak, SoakEnd, SoakEvents, SoakLine, StoredTrace, build,
};
use crate::quantity::{Condition, FigureName, FindingKind, PartKind, Written};
use crate::record::{Archive, LoadedTrace};
use crate::report::{ReportInput, reach_words, soak_name};
use crate::session::Story;
use crate::sheet::PartSheet;
use crate::trace::Trace;
use crate::verdict::{Scope, Verdict, judge_scope};
use anyhow::anyhow;

/// Two-sided 68 % interval of a rate: one-sided confidence of each bound.
const ONE_SIGMA: f64 = 0.841_344_746;
/// How sure it is that contact was lost: a sure dropout; three that are not; one or two.
const SURE: [f64; 3] = [0.97, 0.9, 0.6];
/// How sure it is that a part stopped that stood still twice while it was driven.
const STOOD: f64 = 0.99;

/// A soak to be judged.
pub struct Concluding<'a> {
    pub running: Running,
    /// How it ended; none when that is to be written now.
    pub ended: Option<SoakEnd>,
    pub archive: &'a Archive,
    pub shelf: &'a Shelf,
    pub warnings: Vec<String>,
    /// Its matings, and the case that it is filed in.
    pub plugged: Plugged,
    /// What happened on the line while this program had the rig.
    pub stories: Vec<Story>,
}

/// Judges it and keeps the outcome.
///
/// # Errors
/// [`Failure::Rig`] when no round was done, [`Failure::Other`] when log or traces can't be read or the outcome can't be kept.
pub fn conclude(mut soak: Concluding<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    if soak.ended.is_none() {
        // It may stand in the log already, when the program was cut off while it judged.
        let course = read(&mut soak.running)?;
        if course.end().is_none() {
            let text = format!("it was judged after {} rounds without going on", course.rounds());
            soak.running.end("user", text, outside).map_err(|e| Failure::Other(e.into()))?;
        }
    }
    let course = read(&mut soak.running)?;
    let (traces, sheet) = (last_traces(&soak, &course)?, sheet_of(&soak)?);
    if traces.is_empty() {
        return Err(Failure::Other(anyhow!(
            "not one round's trace could be kept, so what the figures are uncertain by can't be told: the record stays as it is, with figures and \
             dropouts in its soak.jsonl; make room on the disk and soak it again"
        )));
    }
    let (mut outcome, mut analysis) = judged(&mut soak, &course, &traces, sheet, &outside.now())?;
    soak.plugged.count(&mut outcome, sheet, &soak.running.folder);
    if let Some(line) = OutcomeLine::of(&soak.stories) {
        outcome.heed_line(line);
    }
    soak.running.folder.tell_of_sessions(&soak.stories);
    // Its course is drawn from the outcome.
    (analysis.plots, analysis.comparisons) = (Vec::new(), Vec::new());
    let channels = traces.first().map(|t| t.trace.provenance.channels.clone()).unwrap_or_default();
    let judged = Judged { analysis, channels, scope: Scope::Soak, outcome };
    let shop = outside.letterhead();
    let folder = &mut soak.running.folder;
    let report = into_record(folder, &ReportInput { shop, ..judged.report(sheet) }, outside)?;
    let filed = soak.plugged.file(&judged.outcome, folder, outside);
    Ok(Concluded {
        judged,
        sheet: sheet.clone(),
        shop: shop.cloned(),
        record: Some(folder.path()),
        report,
        failures: Vec::new(),
        whole: true,
        not_stored: None,
        filed,
    })
}

fn read(running: &mut Running) -> Result<Course, Failure> {
    let mut course = Course::default();
    running.log.read(&mut |line: SoakLine| course.take(line)).map_err(of_log)?;
    if course.rounds() == 0 {
        return Err(Failure::Rig(anyhow!(
            "no round was done, so there is nothing to judge; `trackpair soak --resume {}` goes on",
            running.folder.record()
        )));
    }
    Ok(course)
}

/// The traces of the last round that has any.
fn last_traces(soak: &Concluding<'_>, course: &Course) -> Result<Vec<LoadedTrace>, Failure> {
    let failed = |e: crate::record::ArchiveError| Failure::Other(e.into());
    let stored = soak.archive.record(soak.running.folder.record()).map_err(failed)?;
    let wanted = stored.traces.iter().filter(|t| course.kept().contains(&t.file));
    wanted.map(|t| soak.archive.trace(t).map_err(failed)).collect()
}

fn sheet_of<'s>(soak: &Concluding<'s>) -> Result<&'s PartSheet, Failure> {
    let begin = &soak.running.begin;
    if begin.kind == PartKind::Body {
        return soak.shelf.for_body();
    }
    Ok(soak.shelf.named(&begin.sheet).unwrap_or(soak.shelf.first()))
}

fn judged(
    soak: &mut Concluding<'_>,
    course: &Course,
    loaded: &[LoadedTrace],
    sheet: &PartSheet,
    now: &str,
) -> Result<(Outcome, PartAnalysis), Failure> {
    let record = soak.running.folder.record().to_owned();
    let log = soak.running.log.described(&record).map_err(of_log)?;
    let told =
        course.outcome(sheet, log).ok_or_else(|| Failure::Other(anyhow!("the log has no first line")))?;
    let traces: Vec<Trace> = loaded.iter().map(|l| l.trace.clone()).collect();
    let mut analysis = rounds::analyse(&traces, sheet).analysis;
    over_all_rounds(&mut analysis, course, &told);
    let judgement = judge_scope(&analysis, sheet, Scope::Soak, &[]);
    let stored: Vec<StoredTrace<'_>> =
        loaded.iter().map(|l| StoredTrace { trace: &l.trace, file: l.file.as_deref() }).collect();
    let begin = &soak.running.begin;
    let mut warnings = std::mem::take(&mut soak.warnings);
    warnings.extend(course.end().filter(|end| end.why != "time").map(|end| end.text.clone()));
    warnings.extend(told.holes.iter().map(hole_words));
    let outcome = build(OutcomeInputs {
        session: Default::default(),
        analysis: &analysis,
        judgement: &judgement,
        sheet,
        topology_shown: None,
        readings: &[],
        doubts: &doubts(&told, &analysis, sheet),
        traces: &stored,
        judged: now,
        warnings: &warnings,
    });
    let mut outcome = Outcome { recorded: begin.date.clone(), grade: None, soak: Some(told), ..outcome };
    outcome.part.label.clone_from(&begin.part);
    Ok((outcome, analysis))
}

/// What all rounds show, in place of the last one alone: dropouts, trips, and whether it stopped moving.
fn over_all_rounds(analysis: &mut PartAnalysis, course: &Course, told: &OutcomeSoak) {
    let lost = match analysis.kind {
        PartKind::Grip | PartKind::Pair => FindingKind::Dropout,
        PartKind::Body => FindingKind::FeedbackIntermittent,
    };
    analysis.findings.retain(|f| f.kind != lost);
    let all = course.wires().iter();
    analysis.findings.extend(all.map(|(wire, events)| finding(lost, wire, events, told)));
    for figure in &mut analysis.figures {
        match figure.name {
            FigureName::DropoutRate => *figure = rate(&told.events, told.rounds),
            FigureName::LimpTrips => {
                figure.value = course.trips();
                figure.definition = format!("of all {} rounds: {}", told.rounds, figure.definition);
            }
            _ => figure.definition = format!("in the last round that has traces: {}", figure.definition),
        }
    }
    if let Some(end) = course.end().filter(|end| end.why == "stopped_moving") {
        analysis.findings.insert(
            0,
            Finding {
                kind: FindingKind::NotMoving,
                channel: None,
                from_deg: None,
                to_deg: None,
                confidence: STOOD,
                text: end.text.clone(),
                details: Vec::new(),
            },
        );
    }
}

fn rate(events: &SoakEvents, rounds: u64) -> Figure {
    let (count, minutes) = (events.all.events, events.all.minutes.max(1e-9));
    let half = 0.5 * (poisson_upper(count, ONE_SIGMA) - poisson_lower(count, ONE_SIGMA));
    Figure {
        name: FigureName::DropoutRate,
        channel: None,
        value: count as f64 / minutes,
        budget: Budget::of(Source::Counts, half / minutes),
        upper_bound: Some(poisson_upper(count + events.unsure, 0.95) / minutes),
        added: 0.0,
        at_deg: None,
        condition: Condition::NONE,
        definition: format!(
            "{count} events in {minutes:.3} min watched in {rounds} rounds, {} more that are not sure and only widen the bound; upper bound \
             exact Poisson, 95 % one-sided",
            events.unsure
        ),
    }
}

fn finding(kind: FindingKind, wire: &Written<Wire>, events: &WireEvents, told: &OutcomeSoak) -> Finding {
    let (shortest, longest) = events.length_us.unwrap_or((0.0, 0.0));
    let who = match wire.known() {
        Some(Wire::Common) => {
            "both lines were lost together while the supply at the plug stood: supply or ground of the part"
        }
        Some(Wire::Supply) => {
            "both lines and the supply at the plug dipped together: supply lead, plug or rig"
        }
        _ => "the line was lost",
    };
    let count = events.sure + events.unsure;
    let unsure =
        if events.unsure > 0 { format!(" ({} of them not sure)", events.unsure) } else { String::new() };
    let detail = |name, value, unit| Detail { name, value, unit };
    Finding {
        kind,
        channel: wire.known().and_then(Wire::channel),
        from_deg: events.at_deg.map(|(low, _)| low),
        to_deg: events.at_deg.map(|(_, high)| high),
        confidence: match (events.sure, events.unsure) {
            (1.., _) => SURE[0],
            (_, 3..) => SURE[1],
            _ => SURE[2],
        },
        text: format!(
            "{who} {count} times{unsure}, for {shortest:.0} to {longest:.0} us, in {} of {} rounds",
            events.rounds, told.rounds
        ),
        details: vec![
            detail("events", count as f64, "1"),
            detail("rounds", events.rounds as f64, "1"),
            detail("shortest", shortest, "us"),
            detail("longest", longest, "us"),
            detail("deepest", 5000.0 * events.deepest, "mV at 5 V"),
        ],
    }
}

/// What keeps the part from being within, beside the last round's figures: drifts that soon reach a limit, and rounds that broke one.
fn doubts(told: &OutcomeSoak, analysis: &PartAnalysis, sheet: &PartSheet) -> Vec<String> {
    let mut doubts = Vec::new();
    if told.ended.as_deref() == Some("stopped_moving") {
        doubts.push("undecided: the part stopped moving: look what binds, then qualify it".to_owned());
    } else if 2 * told.rounds < told.rounds_planned {
        doubts.push(format!(
            "undecided: only {} of {} rounds were done: soak it for its whole time",
            told.rounds, told.rounds_planned
        ));
    }
    let last = judge_scope(analysis, sheet, Scope::Soak, &[]);
    for drift in &told.drifts {
        let name = soak_name(drift, &sheet.topology);
        if let Some(from) = drift.reaches_from_h.filter(|_| is_near(drift, told.hours)) {
            let when = reach_words(from, drift.reaches_to_h);
            doubts.push(format!(
                "undecided: {name} drifts and would reach its limit in {when} of such use; soak it longer, or watch it from service to service"
            ));
        }
        let now = last.figures.iter().find(|f| {
            drift.figure == f.figure.name
                && f.figure.channel.map(Written::from) == drift.channel
                && f.figure.condition == drift.condition
        });
        let still = now.is_some_and(|f| f.verdict == Some(Verdict::Outside));
        if drift.rounds_outside > 0 && !still {
            doubts.push(format!(
                "undecided: {name} was outside its limit in {} of {} rounds, and not in the last: look at those rounds in the log",
                drift.rounds_outside, drift.rounds
            ));
        }
    }
    doubts
}
