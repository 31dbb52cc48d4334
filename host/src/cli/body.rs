//! The plan of a throttle body and its single procedures: what is asked of the rig, in which order.

use super::bench_work::{keep, with_bench};
use super::cautions;
use super::cautions::Consent;
use super::clock::date;
use super::conclude::{Kept, conclude};
use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::options::mounted::Settled;
use super::qualify::{begin as new_record, checked_seconds};
use super::surroundings::Surroundings;
use super::terminal::enter_key::enter;
use super::terminal::progress::Meter;
use crate::analysis::body::population::Population;
use crate::cli::options::mounted::Common;
use crate::job::Failure;
use crate::job::population;
use crate::job::sheets::Shelf;
use crate::procedure::{Bench, HandEnd, Recording, Warning};
use crate::sheet::PartSheet;
use crate::trace::ProcedureKind;
use crate::verdict::Scope;
use clap::Args;
use std::path::PathBuf;

/// `tooth-map`.
#[derive(Args, Debug)]
pub struct ToothMap {
    /// Rig, part, record, cautions.
    #[command(flatten)]
    pub procedure: BodyProcedure,
    /// Good bodies among which the body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// `guided-push`.
#[derive(Args, Debug)]
pub struct GuidedPush {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "S", default_value_t = 60.0)]
    pub seconds: f64,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

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

/// The whole plan on a bench whose rig drives a body. The sheet that it was driven by.
pub fn qualify_body<'s>(
    bench: &mut Bench<'_>,
    meter: &Meter,
    kept: &mut Kept,
    shelf: &'s Shelf,
    consent: Consent<'_>,
    leads: bool,
) -> Result<&'s PartSheet, Failure> {
    let sheet = begin(bench, meter, kept, shelf, consent)?;
    // What is not done, for want of a rig that could or because it was not wanted, is said by the verdict.
    let leads = leads && bench.can_check_leads();
    let chosen = |k: ProcedureKind| leads || k != ProcedureKind::LeadsCheck;
    bench.plan(with_rest(chosen));
    if rest_and_stops(bench, meter, kept) {
        run(bench, meter, kept, chosen);
    }
    Ok(sheet)
}

/// The leads check on a bench whose rig drives a body, with rest and stops before it: they tell the output at both stops. The sheet that it
/// was driven by.
pub fn leads_of_body<'s>(
    bench: &mut Bench<'_>,
    meter: &Meter,
    kept: &mut Kept,
    shelf: &'s Shelf,
    consent: Consent<'_>,
) -> Result<&'s PartSheet, Failure> {
    let sheet = begin(bench, meter, kept, shelf, consent)?;
    let chosen = |k: ProcedureKind| k == ProcedureKind::LeadsCheck;
    bench.plan(with_rest(chosen));
    if rest_and_stops(bench, meter, kept) {
        run(bench, meter, kept, chosen);
    }
    Ok(sheet)
}

/// Rest and stops, and what of the plan is chosen.
fn with_rest(chosen: impl Fn(ProcedureKind) -> bool) -> Vec<ProcedureKind> {
    let after = PLAN.iter().map(|(kind, _)| *kind).filter(|kind| chosen(*kind));
    std::iter::once(ProcedureKind::Rest).chain(after).collect()
}

/// One procedure, with rest and stops before it.
pub fn one_procedure(
    kind: ProcedureKind,
    args: &BodyProcedure,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let belongs = move |k: ProcedureKind| match kind {
        ProcedureKind::Blip => {
            matches!(k, ProcedureKind::BlipBefore | ProcedureKind::Blip | ProcedureKind::BlipAfter)
        }
        // Lash is reckoned with the motor's constants, which the creep's coasts tell.
        ProcedureKind::Lash => k == kind || k == ProcedureKind::Creep,
        kind => k == kind,
    };
    let common = Settled::of(&args.common, surroundings)?;
    let consent = Consent::of(common.rig, args.i_have_read_the_cautions, surroundings.stop);
    let plan = with_rest(belongs);
    let asked = Asked { kind, common, consent, among: None, plan };
    alone(asked, surroundings, |bench, meter, kept| {
        run(bench, meter, kept, belongs);
    })
}

/// The tooth map, with rest, stops and creep before it: lost motion is reckoned with the motor's constants, which the coasts tell.
pub fn tooth_map(args: &ToothMap, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let kind = ProcedureKind::ToothMap;
    let BodyProcedure { common, i_have_read_the_cautions } = &args.procedure;
    let common = Settled::of(common, surroundings)?;
    let consent = Consent::of(common.rig, *i_have_read_the_cautions, surroundings.stop);
    let among = population::given(args.population.as_deref())?;
    let belongs = move |k: ProcedureKind| k == kind || k == ProcedureKind::Creep;
    let plan = with_rest(belongs);
    alone(Asked { kind, common, consent, among, plan }, surroundings, |bench, meter, kept| {
        run(bench, meter, kept, belongs);
    })
}

/// The guided push, with rest and stops before it.
pub fn guided_push(args: &GuidedPush, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let seconds = checked_seconds(args.seconds)?;
    let kind = ProcedureKind::GuidedPush;
    let common = Settled::of(&args.common, surroundings)?;
    let consent = Consent::of(common.rig, args.i_have_read_the_cautions, surroundings.stop);
    let plan = vec![ProcedureKind::Rest, ProcedureKind::Creep, kind];
    let asked = Asked { kind, common, consent, among: None, plan };
    alone(asked, surroundings, |bench, meter, kept| {
        if run(bench, meter, kept, |k| k == ProcedureKind::Creep) {
            meter.say(
                "The bridge is open now. With a soft probe through the bore: to each place in turn, there slowly to and fro.",
            );
            bench.set_started(date());
            let end = HandEnd { after_us: Some((seconds * 1e6) as u64), keys: Some(&enter) };
            keep(kept, bench.guided_push(end), meter);
        }
    })
}

/// A single procedure, as asked for.
struct Asked<'a> {
    kind: ProcedureKind,
    common: Settled<'a>,
    /// Whether the motor may be driven.
    consent: Consent<'a>,
    /// The healthy bodies to judge among, where others than the shipped ones were given.
    among: Option<Population>,
    /// What will be done, in order.
    plan: Vec<ProcedureKind>,
}

fn alone(
    asked: Asked<'_>,
    surroundings: &Surroundings<'_>,
    work: impl FnOnce(&mut Bench<'_>, &Meter, &mut Kept),
) -> Result<Ending, Failure> {
    let Asked { kind, common, consent, among, plan } = asked;
    let shelf = Shelf::new(common.sheet)?;
    let mut kept = new_record(common, shelf.first(), surroundings)?;
    kept.judge_only(Scope::Procedure(kind), Vec::new());
    kept.judge_among(among);
    let (sheet, story) = with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
        let sheet = begin(bench, meter, &kept, &shelf, consent)?;
        bench.plan(plan);
        if rest_and_stops(bench, meter, &mut kept) {
            work(bench, meter, &mut kept);
        }
        Ok(sheet)
    })?;
    let sheet = sheet?;
    kept.tell_of(story);
    conclude(kept, sheet, common.json, None, surroundings)
}

/// Shows the cautions, has them accepted, and takes the body's sheet.
fn begin<'s>(
    bench: &mut Bench<'_>,
    meter: &Meter,
    kept: &Kept,
    shelf: &'s Shelf,
    consent: Consent<'_>,
) -> Result<&'s PartSheet, Failure> {
    let sheet = shelf.for_body()?;
    kept.check_population(sheet)?;
    cautions::show(consent, &|line| meter.say(line))?;
    bench.use_sheet(sheet);
    Ok(sheet)
}

/// Rest and stops; whether the plan may go on.
fn rest_and_stops(bench: &mut Bench<'_>, meter: &Meter, kept: &mut Kept) -> bool {
    let found = bench.rest_and_stops();
    let moved = found.plate.is_some();
    // What is kept of a first, gentle attempt is told by the last.
    found.recordings.into_iter().fold(true, |_, recording| keep(kept, recording, meter)) && moved
}

/// The procedures of the plan that `chosen` names, until one fails; whether none did.
fn run(
    bench: &mut Bench<'_>,
    meter: &Meter,
    kept: &mut Kept,
    chosen: impl Fn(ProcedureKind) -> bool,
) -> bool {
    PLAN.iter().filter(|(kind, _)| chosen(*kind)).all(|(_, procedure)| {
        bench.set_started(date());
        let mut recording = procedure(bench);
        tell_of_the_part(&mut recording);
        keep(kept, recording, meter)
    })
}

/// A part that a guard of the motor stopped is no fault of the rig: the trace ends there and says so, and the plan goes on.
pub(super) fn tell_of_the_part(recording: &mut Recording) {
    if let Some(failure) = recording.failure.take_if(|f| f.is_the_parts()) {
        recording.warnings.push(Warning::StoppedByPart { what: failure.to_string() });
    }
}
