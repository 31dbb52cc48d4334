//! A grip's whole plan and its single procedures: what is asked of the rig, in which order, and what is made of it. A throttle body on the rig
//! is handed on to its own plan.

use super::bench_work::{keep, other_part, with_bench};
use super::body::{leads_of_body, qualify_body};
use super::cautions::Consent;
use super::concluded::{Concluded, conclude};
use super::failure::Failure;
use super::mounted::Mounted;
use super::outside::Outside;
use super::population;
use super::question::Question;
use super::recorded::Recorded;
use super::settling::{announce, settle};
use super::sheets::Shelf;
use super::watched::Seconds;
use crate::procedure::{Bench, HandEnd, Typed};
use crate::quantity::ProcedureKind;
use crate::sheet::PartSheet;
use crate::verdict::Scope;
use anyhow::anyhow;
use std::path::Path;

/// The whole plan, as asked for.
#[derive(Clone, Copy, Debug)]
pub struct Qualify<'a> {
    /// Part and rig.
    pub mounted: Mounted<'a>,
    /// Full cycles, instead of the sheet's.
    pub cycles: Option<u32>,
    /// Speed in degrees per second, 1 to 720, instead of the sheet's.
    pub speed: Option<f64>,
    /// Scans per second, 50 to 20000, instead of the sheet's.
    pub rate: Option<u32>,
    /// An undecided grip is swept again, so often at most.
    pub settle: Option<u32>,
    /// Whether leads are checked, where the rig can.
    pub leads: bool,
    /// Whether the cautions before a throttle body is driven were accepted beforehand.
    pub cautions_read: bool,
    /// A file of good bodies among which a throttle body is judged, instead of the shipped ones.
    pub population: Option<&'a Path>,
}

/// A sweep by hand, as asked for.
#[derive(Clone, Copy)]
pub struct HandSweep<'a> {
    /// Part and rig.
    pub mounted: Mounted<'a>,
    /// How long at most.
    pub seconds: Seconds,
    /// What somebody at the bench typed since it was last asked; it must not wait.
    pub keys: &'a dyn Fn() -> Typed,
    /// Without the rig's reference coupled.
    pub no_reference: bool,
}

/// The whole plan: self-check, sweep, release, leads check; for a throttle body its own.
///
/// # Errors
/// [`Failure`]; what was recorded before it is recorded.
pub fn qualify(plan: &Qualify<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let mounted = plan.mounted;
    let mut shelf = Shelf::new(mounted.sheet)?;
    override_sweep(plan, &mut shelf)?;
    let population = population::given(plan.population)?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    let question = Question::of_the_part(population);
    let (chosen, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        refuse_pair(bench)?;
        if bench.drives_body() {
            refuse_settling(plan)?;
            let consent = Consent::of(mounted.rig, plan.cautions_read);
            return qualify_body(bench, (&mut recorded, &question), &shelf, consent, plan.leads, outside);
        }
        shelf.check_for_grip()?;
        question.check_population(shelf.first())?;
        // The verdict names what was not done, because the rig can't or because it was not wanted.
        let leads = plan.leads && bench.can_check_leads();
        let mut planned = vec![ProcedureKind::SelfCheck, ProcedureKind::Sweep, ProcedureKind::Release];
        planned.extend(leads.then_some(ProcedureKind::LeadsCheck));
        if let Some(more) = plan.settle {
            planned.extend((0..more).map(|_| ProcedureKind::Sweep));
            announce(outside, shelf.first(), more);
        }
        bench.plan(planned);
        let (sheet, ready) = after_self_check(&mut recorded, &shelf, bench, outside);
        if ready {
            let mut going_on = keep(&mut recorded, bench.sweep(), outside);
            if going_on {
                bench.set_started(outside.now());
                going_on = keep(&mut recorded, bench.grip_release(), outside);
            }
            if going_on && leads {
                bench.set_started(outside.now());
                going_on = keep(&mut recorded, bench.leads_check(), outside);
            }
            if let Some(more) = plan.settle.filter(|_| going_on) {
                settle(bench, &mut recorded, &question, sheet, more, outside);
            }
        }
        Ok(sheet)
    })?;
    let chosen = chosen?;
    recorded.tell_of(story);
    conclude(recorded, &question, chosen, outside)
}

/// A throttle body is repeated procedure by procedure.
fn refuse_settling(plan: &Qualify<'_>) -> Result<(), Failure> {
    if plan.settle.is_some() {
        return Err(Failure::Usage(anyhow!(
            "--settle sweeps a grip again, and a throttle body is on this rig: leave it out, and repeat what its verdict names with more of it in the \
             part sheet ([body])"
        )));
    }
    Ok(())
}

/// The self-check alone: whether rig and part are ready to be tested.
///
/// # Errors
/// As [`qualify`].
pub fn self_check(mounted: Mounted<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let shelf = shelf_for_grip(mounted)?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    let (sheet, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        bench.takes_grips(ProcedureKind::SelfCheck).map_err(other_part)?;
        Ok(after_self_check(&mut recorded, &shelf, bench, outside).0)
    })?;
    let sheet = sheet?;
    recorded.tell_of(story);
    conclude(recorded, &Question::of(Scope::Readiness), sheet, outside)
}

/// The leads check: with the self-check that finds a grip's stops before it, or with a body's rest and stops.
///
/// # Errors
/// As [`qualify`].
pub fn leads_check(
    mounted: Mounted<'_>,
    cautions_read: bool,
    outside: &Outside<'_>,
) -> Result<Concluded, Failure> {
    let shelf = Shelf::new(mounted.sheet)?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    let (chosen, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        refuse_pair(bench)?;
        if bench.drives_body() {
            let consent = Consent::of(mounted.rig, cautions_read);
            return leads_of_body(bench, (&mut recorded, &Question::default()), &shelf, consent, outside);
        }
        shelf.check_for_grip()?;
        bench.plan(vec![ProcedureKind::SelfCheck, ProcedureKind::LeadsCheck]);
        let (sheet, ready) = after_self_check(&mut recorded, &shelf, bench, outside);
        if ready {
            keep(&mut recorded, bench.leads_check(), outside);
        }
        Ok(sheet)
    })?;
    let chosen = chosen?;
    recorded.tell_of(story);
    // Without the steps there is only the self-check, or rest and stops, to speak of.
    let stepped = recorded.trace(ProcedureKind::LeadsCheck).is_some();
    let without = if recorded.is_body() { Scope::Procedure(ProcedureKind::Rest) } else { Scope::Readiness };
    conclude(recorded, &Question::of(if stepped { Scope::Leads } else { without }), chosen, outside)
}

/// A sweep by hand.
///
/// # Errors
/// As [`qualify`].
pub fn hand_sweep(plan: HandSweep<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let mounted = plan.mounted;
    let shelf = shelf_for_grip(mounted)?;
    let mut recorded = Recorded::of_session(mounted, shelf.first(), outside)?;
    let (swept, story) = with_bench(mounted.rig, mounted.part, shelf.first(), outside, |bench| {
        bench.takes_grips(ProcedureKind::HandSweep).map_err(other_part)?;
        let until = HandEnd { after_us: Some(plan.seconds.as_us()), keys: Some(plan.keys) };
        bench.leave_out_reference(plan.no_reference);
        keep(&mut recorded, bench.hand_sweep(until), outside);
        Ok(())
    })?;
    swept?;
    recorded.tell_of(story);
    let (sheet, note) = shelf.choose(recorded.trace(ProcedureKind::HandSweep));
    recorded.warn(note);
    conclude(recorded, &Question::default(), sheet, outside)
}

/// Runs a self-check, keeps it, and chooses the sheet by what it saw. Whether the plan may go on; the bench is then ready for it.
pub fn after_self_check<'s>(
    recorded: &mut Recorded,
    shelf: &'s Shelf,
    bench: &mut Bench<'_>,
    outside: &Outside<'_>,
) -> (&'s PartSheet, bool) {
    let check = bench.self_check();
    recorded.heed(&check);
    let going_on = keep(recorded, check.recording, outside);
    let (sheet, note) = shelf.choose(recorded.trace(ProcedureKind::SelfCheck));
    recorded.warn(note);
    let ready = going_on && check.moved;
    if ready {
        bench.use_sheet(sheet);
        bench.set_started(outside.now());
    }
    (sheet, ready)
}

/// The sheets for a procedure that only a grip has.
fn shelf_for_grip(mounted: Mounted<'_>) -> Result<Shelf, Failure> {
    let shelf = Shelf::new(mounted.sheet)?;
    shelf.check_for_grip()?;
    Ok(shelf)
}

/// A rig with both parts on it is for `follow`; each part is qualified on a rig of its own kind.
///
/// # Errors
/// [`Failure::Usage`] on such a rig.
pub fn refuse_pair(bench: &Bench<'_>) -> Result<(), Failure> {
    if bench.has_pair() {
        return Err(Failure::Usage(anyhow!(
            "a grip and a throttle body are on this rig together: run `trackpair follow` there, and qualify each part on a rig for it"
        )));
    }
    Ok(())
}

/// What the plan says of the sweep, over what the sheet says.
fn override_sweep(plan: &Qualify<'_>, shelf: &mut Shelf) -> Result<(), Failure> {
    if let Some(speed) = plan.speed.filter(|s| !(1.0..=720.0).contains(s)) {
        return Err(Failure::Usage(anyhow!("--speed {speed} is out of range: 1 to 720 °/s")));
    }
    if let Some(rate) = plan.rate.filter(|r| !(50..=20_000).contains(r)) {
        return Err(Failure::Usage(anyhow!("--rate {rate} is out of range: 50 to 20000 Hz")));
    }
    shelf.change(|sheet| {
        sheet.sweep.cycles = plan.cycles.unwrap_or(sheet.sweep.cycles);
        sheet.sweep.speed_deg_s = plan.speed.unwrap_or(sheet.sweep.speed_deg_s);
        sheet.sweep.rate_hz = plan.rate.unwrap_or(sheet.sweep.rate_hz);
    });
    Ok(())
}
