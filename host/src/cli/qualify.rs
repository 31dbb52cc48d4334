//! `qualify` and its single procedures: what is asked of the rig, in which order, and what is made of it.

use super::bench_work::{keep, with_bench};
use super::body::{leads_of_body, qualify_body};
use super::cautions::Consent;
use super::clock::date;
use super::conclude::{Kept, conclude};
use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::options::mounted::Settled;
use super::plugged::Plugged;
use super::settling::{announce, settle};
use super::surroundings::Surroundings;
use super::terminal::enter_key::enter;
use super::terminal::progress::Meter;
use crate::cli::options::mounted::Common;
use crate::job::Failure;
use crate::job::population;
use crate::job::sheets::Shelf;
use crate::procedure::{Bench, HandEnd, SelfCheck};
use crate::sheet::PartSheet;
use crate::trace::ProcedureKind;
use crate::verdict::MOST_MORE_SWEEPS;
use crate::verdict::Scope;
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `qualify`.
#[derive(Args, Debug)]
pub struct Qualify {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// Full cycles, instead of the sheet's
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=200))]
    pub cycles: Option<u32>,
    /// Speed in degrees per second, instead of the sheet's
    #[arg(long, value_name = "DEG_S")]
    pub speed: Option<f64>,
    /// Scans per second, instead of the sheet's
    #[arg(long, value_name = "HZ")]
    pub rate: Option<u32>,
    /// A grip that is undecided is swept again as its verdict advises, so often at most [1]; within and outside then need more than 95 %
    #[arg(long, value_name = "SWEEPS", num_args = 0..=1, require_equals = true, default_missing_value = "1", value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_MORE_SWEEPS)))]
    pub settle: Option<u32>,
    /// Leave the leads check out
    #[arg(long)]
    pub skip_leads: bool,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
    /// Good bodies among which a throttle body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// A single procedure.
#[derive(Args, Debug)]
pub struct OneProcedure {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
}

/// `hand-sweep`.
#[derive(Args, Debug)]
pub struct HandSweep {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "S", default_value_t = 30.0)]
    pub seconds: f64,
    /// Turn the grip without the rig's reference coupled: lines are compared with each other only
    #[arg(long)]
    pub no_reference: bool,
}

/// Longest recording without a program, s: about 12 MB of memory a minute.
pub(super) const LONGEST_SECONDS: f64 = 900.0;

/// The whole plan: self-check, sweep, release, leads check; for a throttle body its own.
pub fn qualify(args: &Qualify, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let common = Settled::of(&args.common, surroundings)?;
    let mut shelf = Shelf::new(common.sheet)?;
    override_sweep(args, &mut shelf)?;
    let among = population::given(args.population.as_deref())?;
    let mut kept = begin(common, shelf.first(), surroundings)?;
    kept.judge_among(among);
    let (chosen, story) =
        with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
            refuse_pair(bench)?;
            if bench.drives_body() {
                refuse_settling(args)?;
                let consent = Consent::of(common.rig, args.i_have_read_the_cautions, surroundings.stop);
                return qualify_body(bench, meter, &mut kept, &shelf, consent, !args.skip_leads);
            }
            shelf.check_for_grip()?;
            kept.check_population(shelf.first())?;
            // What is not done, for want of a rig that could or because it was not wanted, is said by the verdict.
            let leads = !args.skip_leads && bench.can_check_leads();
            let mut plan = vec![ProcedureKind::SelfCheck, ProcedureKind::Sweep, ProcedureKind::Release];
            plan.extend(leads.then_some(ProcedureKind::LeadsCheck));
            if let Some(more) = args.settle {
                plan.extend((0..more).map(|_| ProcedureKind::Sweep));
                announce(meter, shelf.first(), more);
            }
            bench.plan(plan);
            let (sheet, ready) = after_self_check(bench.self_check(), &mut kept, &shelf, bench, meter);
            if ready {
                let mut going_on = keep(&mut kept, bench.sweep(), meter);
                if going_on {
                    bench.set_started(date());
                    going_on = keep(&mut kept, bench.grip_release(), meter);
                }
                if going_on && leads {
                    bench.set_started(date());
                    going_on = keep(&mut kept, bench.leads_check(), meter);
                }
                if let Some(more) = args.settle.filter(|_| going_on) {
                    settle(bench, meter, &mut kept, sheet, more);
                }
            }
            Ok(sheet)
        })?;
    let chosen = chosen?;
    kept.tell_of(story);
    conclude(kept, chosen, common.json, None, surroundings)
}

/// A throttle body is repeated procedure by procedure.
fn refuse_settling(args: &Qualify) -> Result<(), Failure> {
    if args.settle.is_some() {
        return Err(Failure::Usage(anyhow!(
            "--settle sweeps a grip again, and a throttle body is on this rig: leave it out, and repeat what its verdict names with more of it in the \
             part sheet ([body])"
        )));
    }
    Ok(())
}

/// The self-check alone: whether rig and part are ready to be tested.
pub fn self_check(args: &OneProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let common = Settled::of(&args.common, surroundings)?;
    let shelf = shelf_for_grip(common)?;
    let mut kept = begin(common, shelf.first(), surroundings)?;
    kept.judge_only(Scope::Readiness, Vec::new());
    let (sheet, story) = with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
        after_self_check(bench.self_check(), &mut kept, &shelf, bench, meter).0
    })?;
    kept.tell_of(story);
    conclude(kept, sheet, common.json, None, surroundings)
}

/// The leads check: with the self-check that finds a grip's stops before it, or with a body's rest and stops.
pub fn leads_check(args: &BodyProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let common = Settled::of(&args.common, surroundings)?;
    let shelf = Shelf::new(common.sheet)?;
    let mut kept = begin(common, shelf.first(), surroundings)?;
    let (chosen, story) =
        with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
            refuse_pair(bench)?;
            if bench.drives_body() {
                let consent = Consent::of(common.rig, args.i_have_read_the_cautions, surroundings.stop);
                return leads_of_body(bench, meter, &mut kept, &shelf, consent);
            }
            shelf.check_for_grip()?;
            bench.plan(vec![ProcedureKind::SelfCheck, ProcedureKind::LeadsCheck]);
            let (sheet, ready) = after_self_check(bench.self_check(), &mut kept, &shelf, bench, meter);
            if ready {
                keep(&mut kept, bench.leads_check(), meter);
            }
            Ok(sheet)
        })?;
    let chosen = chosen?;
    kept.tell_of(story);
    // Without the steps there is only the self-check, or rest and stops, to speak of.
    let stepped = kept.trace(ProcedureKind::LeadsCheck).is_some();
    let without = if kept.is_body() { Scope::Procedure(ProcedureKind::Rest) } else { Scope::Readiness };
    kept.judge_only(if stepped { Scope::Leads } else { without }, Vec::new());
    conclude(kept, chosen, common.json, None, surroundings)
}

/// A sweep by hand.
pub fn hand_sweep(args: &HandSweep, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let seconds = checked_seconds(args.seconds)?;
    let common = Settled::of(&args.common, surroundings)?;
    let shelf = shelf_for_grip(common)?;
    let mut kept = begin(common, shelf.first(), surroundings)?;
    let (_, story) = with_bench(common.rig, common.part, shelf.first(), surroundings, |bench, meter| {
        let until = HandEnd { after_us: Some((seconds * 1e6) as u64), keys: Some(&enter) };
        bench.leave_out_reference(args.no_reference);
        keep(&mut kept, bench.hand_sweep(until), meter)
    })?;
    kept.tell_of(story);
    let (sheet, note) = shelf.choose(kept.trace(ProcedureKind::HandSweep));
    kept.warn(note);
    conclude(kept, sheet, common.json, None, surroundings)
}

/// A place to hold, within a travel.
pub(super) fn checked_place(at: f64, travel_deg: f64) -> Result<f64, Failure> {
    if (0.0..=travel_deg).contains(&at) {
        return Ok(at);
    }
    Err(Failure::Usage(anyhow!(
        "--at {at} deg is out of range: 0 to {travel_deg:.1} deg, from the closed stop to wide open"
    )))
}

/// Keeps a self-check and chooses the sheet by what it saw. Whether the plan may go on; the bench is then ready for it.
pub(super) fn after_self_check<'s>(
    check: SelfCheck,
    kept: &mut Kept,
    shelf: &'s Shelf,
    bench: &mut Bench<'_>,
    meter: &Meter,
) -> (&'s PartSheet, bool) {
    kept.heed(&check);
    let going_on = keep(kept, check.recording, meter);
    let (sheet, note) = shelf.choose(kept.trace(ProcedureKind::SelfCheck));
    kept.warn(note);
    let ready = going_on && check.moved;
    if ready {
        bench.use_sheet(sheet);
        bench.set_started(date());
    }
    (sheet, ready)
}

/// The sheets for a procedure that only a grip has.
fn shelf_for_grip(common: Settled<'_>) -> Result<Shelf, Failure> {
    let shelf = Shelf::new(common.sheet)?;
    shelf.check_for_grip()?;
    Ok(shelf)
}

/// A rig with both parts on it is for `follow`; each part is qualified on a rig of its own kind.
pub(super) fn refuse_pair(bench: &Bench<'_>) -> Result<(), Failure> {
    if bench.has_pair() {
        return Err(Failure::Usage(anyhow!(
            "a grip and a throttle body are on this rig together: run `trackpair follow` there, and qualify each part on a rig for it"
        )));
    }
    Ok(())
}

/// A record for what a session with the rig will tell.
///
/// # Errors
/// As [`Kept::begin`].
pub(super) fn begin(
    common: Settled<'_>,
    sheet: &PartSheet,
    surroundings: &Surroundings<'_>,
) -> Result<Kept, Failure> {
    let mut kept = Kept::begin(common.archive, common.part)?;
    kept.plug_in(Plugged::of(common, sheet, surroundings)?);
    Ok(kept)
}

/// What the command line says of the sweep, over what the sheet says.
fn override_sweep(args: &Qualify, shelf: &mut Shelf) -> Result<(), Failure> {
    if let Some(speed) = args.speed.filter(|s| !(1.0..=720.0).contains(s)) {
        return Err(Failure::Usage(anyhow!("--speed {speed} is out of range: 1 to 720 deg/s")));
    }
    if let Some(rate) = args.rate.filter(|r| !(50..=20_000).contains(r)) {
        return Err(Failure::Usage(anyhow!("--rate {rate} is out of range: 50 to 20000 Hz")));
    }
    shelf.change(|sheet| {
        sheet.sweep.cycles = args.cycles.unwrap_or(sheet.sweep.cycles);
        sheet.sweep.speed_deg_s = args.speed.unwrap_or(sheet.sweep.speed_deg_s);
        sheet.sweep.rate_hz = args.rate.unwrap_or(sheet.sweep.rate_hz);
    });
    Ok(())
}

pub(super) fn checked_seconds(seconds: f64) -> Result<f64, Failure> {
    if (0.5..=LONGEST_SECONDS).contains(&seconds) {
        return Ok(seconds);
    }
    let longest = LONGEST_SECONDS;
    Err(Failure::Usage(anyhow!(
        "--seconds {seconds} is out of range: 0.5 to {longest}; run it again for longer"
    )))
}
