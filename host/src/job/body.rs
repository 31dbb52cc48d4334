//! The plan of a throttle body and its single procedures: what is asked of the rig, in which order.

use super::bench_work::{keep, other_part, with_bench};
use super::cautions::{self, Consent};
use super::concluded::{Concluded, conclude};
use super::failure::Failure;
use super::mounted::Mounted;
use super::outside::Outside;
use super::population;
use super::question::Question;
use super::recorded::Recorded;
use super::sheets::Shelf;
use super::watched::Seconds;
use crate::analysis::body::population::Population;
use crate::procedure::{Bench, HandEnd, Recording, Typed, Warning};
use crate::quantity::ProcedureKind;
use crate::sheet::PartSheet;
use crate::verdict::Scope;
use std::path::Path;

/// A procedure after rest and stops.
type Procedure = fn(&mut Bench<'_>) -> Recording;

/// The plan after rest and stops, in order: what needs the plate to be sound before what may wear it.
const PLAN: [(ProcedureKind, Procedure); 9] = [
    (ProcedureKind::LeadsCheck, |b| b.leads_check()),
    (ProcedureKind::Creep, |b| b.creep()),
    (ProcedureKind::Step, |b| b.steps()),
    (ProcedureKind::Release, |b| b.release()),
    (ProcedureKind::Lash, |b| b.lash()),
    (ProcedureKind::ToothMap, |b| b.tooth_map()),
    (ProcedureKind::BlipBefore, |b| b.check_before_blips()),
    (ProcedureKind::Blip, |b| b.blips()),
    (ProcedureKind::BlipAfter, |b| b.check_after_blips()),
];

/// A guided push, as asked for.
#[derive(Clone, Copy)]
pub struct GuidedPush<'a> {
    /// Part and rig.
    pub mounted: Mounted<'a>,
    /// Whether the cautions were accepted beforehand.
    pub cautions_read: bool,
    /// How long at most.
    pub seconds: Seconds,
    /// What somebody at the bench typed since it was last asked; it must not wait.
    pub keys: &'a dyn Fn() -> Typed,
}

/// The whole plan on a bench whose rig drives a body. The sheet that it was driven by.
///
/// # Errors
/// [`Failure::Usage`] when the sheet or the population is for another part, or the cautions were not accepted.
pub fn qualify_body<'s>(
    bench: &mut Bench<'_>,
    (recorded, question): (&mut Recorded, &Question),
    shelf: &'s Shelf,
    consent: Consent,
    leads: bool,
    outside: &Outside<'_>,
) -> Result<&'s PartSheet, Failure> {
    let sheet = begin(bench, question, shelf, consent, outside)?;
    // The verdict names what was not done, because the rig can't or because it was not wanted.
    let leads = leads && bench.can_check_leads();
    let chosen = |k: ProcedureKind| leads || k != ProcedureKind::LeadsCheck;
    bench.plan(with_rest(chosen));
    if rest_and_stops(bench, recorded, outside) {
        run(bench, recorded, chosen, outside);
    }
    Ok(sheet)
}

/// The leads check on a bench whose rig drives a body, with rest and stops before it: they show the output at both stops. The sheet that it
/// was driven by.
///
/// # Errors
/// As [`qualify_body`].
pub fn leads_of_body<'s>(
    bench: &mut Bench<'_>,
    (recorded, question): (&mut Recorded, &Question),
    shelf: &'s Shelf,
    consent: Consent,
    outside: &Outside<'_>,
) -> Result<&'s PartSheet, Failure> {
    let sheet = begin(bench, question, shelf, consent, outside)?;
    let chosen = |k: ProcedureKind| k == ProcedureKind::LeadsCheck;
    bench.plan(with_rest(chosen));
    if rest_and_stops(bench, recorded, outside) {
        run(bench, recorded, chosen, outside);
    }
    Ok(sheet)
}

/// Rest and stops, and what of the plan is chosen.
fn with_rest(chosen: impl Fn(ProcedureKind) -> bool) -> Vec<ProcedureKind> {
    let after = PLAN.iter().map(|(kind, _)| *kind).filter(|kind| chosen(*kind));
    std::iter::once(ProcedureKind::Rest).chain(after).collect()
}

/// One procedure, with rest and stops before it.
///
/// # Errors
/// [`Failure`]; what was recorded before it is recorded.
pub fn one_procedure(
    kind: ProcedureKind,
    mounted: Mounted<'_>,
    cautions_read: bool,
    outside: &Outside<'_>,
) -> Result<Concluded, Failure> {
    let belongs = move |k: ProcedureKind| match kind {
        ProcedureKind::Blip => {
            matches!(k, ProcedureKind::BlipBefore | ProcedureKind::Blip | ProcedureKind::BlipAfter)
        }
        // Lash is computed with the motor's constants, which come from the creep's coasts.
        ProcedureKind::Lash => k == kind || k == ProcedureKind::Creep,
        kind => k == kind,
    };
    let consent = Consent::of(mounted.rig, cautions_read);
    let plan = with_rest(belongs);
    alone(Asked { kind, mounted, consent, population: None, plan }, outside, |bench, recorded| {
        run(bench, recorded, belongs, outside);
    })
}

/// The tooth map, with rest, stops and creep before it: lost motion is computed with the motor's constants, which come from the coasts. The body is
/// judged among the good ones of a file, where one is given.
///
/// # Errors
/// As [`one_procedure`].
pub fn tooth_map(
    mounted: Mounted<'_>,
    cautions_read: bool,
    population: Option<&Path>,
    outside: &Outside<'_>,
) -> Result<Concluded, Failure> {
    let kind = ProcedureKind::ToothMap;
    let consent = Consent::of(mounted.rig, cautions_read);
    let population = population::given(population)?;
    let belongs = move |k: ProcedureKind| k == kind || k == ProcedureKind::Creep;
    let plan = with_rest(belongs);
    alone(Asked { kind, mounted, consent, population, plan }, outside, |bench, recorded| {
        run(bench, recorded, belongs, outside);
    })
}

/// The guided push, with rest and stops before it.
///
/// # Errors
/// As [`one_procedure`].
pub fn guided_push(push: GuidedPush<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let GuidedPush { mounted, cautions_read, seconds, keys } = push;
    let kind = ProcedureKind::GuidedPush;
    let consent = Consent::of(mounted.rig, cautions_read);
    let plan = vec![ProcedureKind::Rest, ProcedureKind::Creep, kind];
    alone(Asked { kind, mounted, consent, population: None, plan }, outside, |bench, recorded| {
        if run(bench, recorded, |k| k == ProcedureKind::Creep, outside) {
            outside.say(
                "The bridge is open now. With a soft probe through the bore: to each place in turn, there slowly to and fro.",
            );
            bench.set_started(outside.now());
            let end = HandEnd { after_us: Some(seconds.as_us()), keys: Some(keys) };
            keep(recorded, bench.guided_push(end), outside);
        }
    })
}

/// A single procedure, as asked for.
struct Asked<'a> {
    kind: ProcedureKind,
    mounted: Mounted<'a>,
    /// Whether the motor may be driven.
    consent: Consent,
    /// The healthy bodies to judge population, where others than the shipped ones were given.
    population: Option<Population>,
    /// What will be done, in order.
    plan: Vec<ProcedureKind>,
}

fn alone(
    asked: Asked<'_>,
    outside: &Outside<'_>,
    work: impl FnOnce(&mut Bench<'_>, &mut Recorded),
) -> Result<Concluded, Failure> {
    let Asked { kind, mounted, consent, population, plan } = asked;
    let shelf = Shelf::new(mounted.sheet)?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    let question = Question::of(Scope::Procedure(kind)).in_population(population);
    let (sheet, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        bench.takes_bodies(kind).map_err(other_part)?;
        let sheet = begin(bench, &question, &shelf, consent, outside)?;
        bench.plan(plan);
        if rest_and_stops(bench, &mut recorded, outside) {
            work(bench, &mut recorded);
        }
        Ok(sheet)
    })?;
    let sheet = sheet?;
    recorded.tell_of(story);
    conclude(recorded, &question, sheet, outside)
}

/// Shows the cautions, has them accepted, and takes the body's sheet.
fn begin<'s>(
    bench: &mut Bench<'_>,
    question: &Question,
    shelf: &'s Shelf,
    consent: Consent,
    outside: &Outside<'_>,
) -> Result<&'s PartSheet, Failure> {
    let sheet = shelf.for_body()?;
    question.check_population(sheet)?;
    cautions::show(consent, outside)?;
    bench.use_sheet(sheet);
    Ok(sheet)
}

/// Rest and stops; whether the plan may go on.
fn rest_and_stops(bench: &mut Bench<'_>, recorded: &mut Recorded, outside: &Outside<'_>) -> bool {
    let found = bench.rest_and_stops();
    let moved = found.plate.is_some();
    // The last attempt shows what is kept of a first, gentle one.
    found.recordings.into_iter().fold(true, |_, recording| keep(recorded, recording, outside)) && moved
}

/// The procedures of the plan that `chosen` names, until one fails; whether none did.
fn run(
    bench: &mut Bench<'_>,
    recorded: &mut Recorded,
    chosen: impl Fn(ProcedureKind) -> bool,
    outside: &Outside<'_>,
) -> bool {
    PLAN.iter().filter(|(kind, _)| chosen(*kind)).all(|(_, procedure)| {
        bench.set_started(outside.now());
        let mut recording = procedure(bench);
        tell_of_the_part(&mut recording);
        keep(recorded, recording, outside)
    })
}

/// A part that a guard of the motor stopped is not a fault of the rig: the trace ends there and says so, and the plan goes on.
pub fn tell_of_the_part(recording: &mut Recording) {
    if let Some(failure) = recording.failure.take_if(|f| f.is_the_parts()) {
        recording.warnings.push(Warning::StoppedByPart { what: failure.to_string() });
    }
}
