//! Follow: the rig turns a grip and, as an engine controller would, has the plate follow its output by the sheet's mapping. Stops of both
//! first, as a controller has learned them; then ramps at several speeds, steps in three ranges, snap openings that are let go.

use super::recording::Plan;
use super::{Bench, Motion, ProcedureError, Recording, RestFound, SelfCheck, Stops};
use crate::quantity::{Channel, PartKind, ProcedureKind};
use crate::session::{Decoder, Facing, Recorder};
use crate::sheet::{FollowPlan, PartSheet};
use crate::trace::{PlateScale, Trace, TraceEnd};
use trackpair_protocol::mapping::{Mapping, Point};
use trackpair_protocol::message::Request;
use trackpair_protocol::program::MAX_SEGMENTS;

/// The grip is kept this far from its stops, degrees: the drive must not press on them.
const CLEAR_DEG: f64 = 0.5;
/// How long the grip stands still between two motions, µs.
const STAND_US: u32 = 300_000;
/// How long it stands before and behind a step, µs: a plate that follows has long settled.
const STEP_US: u32 = 300_000;
/// How long it stays open in a snap, and how long it is let go, µs.
const SNAP_US: u32 = 500_000;
const LET_GO_US: u32 = 900_000;
/// The steps of each range, from and to, as shares of the grip's travel.
const STEPS: [(f64, f64); 3] = [(0.10, 0.28), (0.40, 0.58), (0.70, 0.88)];
/// Scans per second: the figures are times of milliseconds.
const RATE_HZ: f64 = 5_000.0;

/// What a follow recorded.
#[derive(Clone, Debug, Default)]
pub struct FollowFound {
    /// The grip's self-check.
    pub check: SelfCheck,
    /// The plate's rest and stops; none when the grip was not ready.
    pub rest: Option<RestFound>,
    /// The grip's trace of the run, with its failure; none when it was not begun.
    pub grip: Option<Recording>,
    /// The plate's trace of the same scans.
    pub plate: Option<Trace>,
}

impl Bench<'_> {
    /// Whether both parts can be tested together here.
    ///
    /// # Errors
    /// [`ProcedureError::WrongPart`] on a rig for one of them.
    pub fn takes_pairs(&self) -> Result<(), ProcedureError> {
        let (procedure, part) = (ProcedureKind::Follow, PartKind::Pair);
        if self.has_pair() { Ok(()) } else { Err(ProcedureError::WrongPart { procedure, part }) }
    }

    /// Finds the stops of both parts and has the plate follow the grip. A failure leaves the rig unpowered. `now` dates each trace.
    pub fn follow(&mut self, now: &dyn Fn() -> String) -> FollowFound {
        let mut found = FollowFound::default();
        let sheet = self.sheet.clone();
        let (Some(plan), Some(body)) = (sheet.follow.clone(), sheet.body_of_pair()) else {
            found.grip = Some(self.fail(no_pair_sheet(&sheet)));
            return found;
        };
        if let Err(other_part) = self.takes_pairs() {
            found.grip = Some(self.fail(other_part));
            return found;
        }
        self.session.face(Facing::Grip);
        self.use_sheet(&sheet.grip_of_pair());
        found.check = self.self_check();
        if found.check.recording.failure.is_none() && found.check.moved {
            self.set_started(now());
            self.session.face(Facing::Plate);
            self.use_sheet(&body);
            let rest = self.rest_and_stops();
            let ready = rest.plate.filter(|_| rest.recordings.iter().all(|r| r.failure.is_none()));
            found.rest = Some(rest);
            if let (Some(plate), Some(trace)) = (ready, &found.check.recording.trace) {
                self.set_started(now());
                match self.mapping(trace, &plan, plate) {
                    Ok(mapping) => (found.grip, found.plate) = self.run_pair(&body, &plan, &mapping),
                    Err(failure) => found.grip = Some(self.fail(failure)),
                }
            }
        }
        self.session.face(Facing::Grip);
        self.use_sheet(&sheet);
        found
    }

    /// The sheet's curve between the stops that were found: first line of the grip as a ratio of supply, plate angle in degrees.
    fn mapping(
        &self,
        check: &Trace,
        plan: &FollowPlan,
        plate: PlateScale,
    ) -> Result<Vec<(f64, f64)>, ProcedureError> {
        let Stops { closed_deg, open_deg } = self.stops_or_nominal();
        let ends = [closed_deg, open_deg].map(|at| ratio_at(check, at));
        let [Some(closed), Some(open)] = ends else {
            return Err(ProcedureError::OutOfRange {
                procedure: ProcedureKind::Follow,
                what: "a first line that tells the grip's stops",
                given: "a line without samples there".to_owned(),
                allowed: "samples at both stops".to_owned(),
                advice: "run self-check on the grip alone",
            });
        };
        let point = |&(grip, share): &(f64, f64)| {
            (closed + grip / 100.0 * (open - closed), share / 100.0 * plate.travel_deg)
        };
        Ok(plan.mapping.iter().map(point).collect())
    }

    fn run_pair(
        &mut self,
        body: &PartSheet,
        plan: &FollowPlan,
        mapping: &[(f64, f64)],
    ) -> (Option<Recording>, Option<Trace>) {
        let prepared = self.prepare_pair(body, plan, mapping);
        let planned = match prepared {
            Ok(planned) => planned,
            Err(failure) => return (Some(self.fail(failure)), None),
        };
        // The channels of both are recorded; each decoder takes its own.
        let plates = Decoder::new(&self.session, planned.channels);
        self.session.face(Facing::Grip);
        let (mut grip, plate) = self.record_with(&planned, Some(plates), |tape| {
            tape.until_over(&|_| "ramps, steps, snap openings of the grip".to_owned());
        });
        if let Some(trace) = &mut grip.trace {
            trace.provenance.mapping = mapping.to_vec();
            trace.provenance.plate = None;
        }
        let plate = plate.map(|(recorder, end)| self.plates_trace(&planned, recorder, end));
        (Some(grip), plate)
    }

    fn plates_trace(&mut self, plan: &Plan, recorder: Recorder, end: TraceEnd) -> Trace {
        self.session.face(Facing::Plate);
        let mut provenance = self.provenance(plan);
        provenance.reference_zero_deg = 0.0;
        recorder.finish(provenance, end)
    }

    fn prepare_pair(
        &mut self,
        body: &PartSheet,
        plan: &FollowPlan,
        mapping: &[(f64, f64)],
    ) -> Result<Plan, ProcedureError> {
        let procedure = ProcedureKind::Follow;
        let motion = self.pair_motion(plan);
        let given = motion.stimuli().len();
        let program = motion.program().ok_or(ProcedureError::OutOfRange {
            procedure,
            what: "a program",
            given: format!("{given} segments"),
            allowed: format!("up to {MAX_SEGMENTS}"),
            advice: "ask for fewer speeds in the part sheet",
        })?;
        self.session.face(Facing::Plate);
        let body_plan = self.body_plan(procedure)?;
        self.power_up(procedure)?;
        self.cool(procedure, body_plan.heat_limit)?;
        self.set_loop(&body_plan)?;
        let point = |&(ratio, deg): &(f64, f64)| Point {
            grip_ppm: (ratio * 1e6).round() as i32,
            plate_mdeg: (deg.clamp(0.0, body.travel_deg) * 1e3).round() as i32,
        };
        let points: Vec<Point> = mapping.iter().map(point).collect();
        // A sheet has no more points than the wire carries.
        let mapping = Mapping::from_slice(&points).unwrap_or(Mapping::EMPTY);
        self.session.request(&Request::SetMapping(mapping))?;
        let of_the_plate = self.session.known_channels();
        self.session.face(Facing::Grip);
        let channels = of_the_plate | self.session.known_channels();
        self.session.face(Facing::Plate);
        Ok(Plan {
            procedure,
            program: Some(program),
            stimuli: motion.stimuli(),
            channels,
            period_us: self.period_us(RATE_HZ),
            max_us: 0,
            planned_us: Some(motion.duration_us(0.0)),
            sweep: None,
        })
    }

    fn pair_motion(&self, plan: &FollowPlan) -> Motion {
        let Stops { closed_deg, open_deg } = self.stops_or_nominal();
        let (low, high) = (closed_deg + CLEAR_DEG, open_deg - CLEAR_DEG);
        let at = |share: f64| closed_deg + share * (open_deg - closed_deg);
        let mut motion = Motion::new().ramp(low, self.speed(60.0)).hold(STAND_US);
        for speed in &plan.ramp_deg_s {
            let first = motion.next_segment();
            let speed = self.speed(*speed);
            motion = motion.ramp(high, speed).hold(STAND_US).ramp(low, speed).hold(STAND_US);
            motion = motion.repeat(first, passes(plan.ramps));
        }
        for (from, to) in STEPS {
            motion = motion.step(at(from), STEP_US);
            let first = motion.next_segment();
            motion = motion.step(at(to), STEP_US).step(at(from), STEP_US);
            motion = motion.repeat(first, passes(plan.grip_steps));
        }
        motion = motion.ramp(low, self.speed(60.0));
        if plan.snaps > 0 {
            let first = motion.next_segment();
            motion = motion.step(high, SNAP_US).release(LET_GO_US).repeat(first, passes(plan.snaps));
        }
        motion
    }
}

/// How many more times, for so many in all.
fn passes(count: u32) -> u16 {
    count.saturating_sub(1).min(u32::from(u16::MAX)) as u16
}

fn no_pair_sheet(sheet: &PartSheet) -> ProcedureError {
    ProcedureError::OutOfRange {
        procedure: ProcedureKind::Follow,
        what: "a sheet for a pair",
        given: format!("the sheet {} for a {}", sheet.name, sheet.kind.name()),
        allowed: "a sheet with `kind = \"pair\"`".to_owned(),
        advice: "give --sheet pair, or leave --sheet out",
    }
}

/// First line over the supply where the reference was within half a degree of a place: the median.
fn ratio_at(trace: &Trace, deg: f64) -> Option<f64> {
    let of = |channel| trace.channel(channel);
    let (reference, line, supply) = (of(Channel::Reference)?, of(Channel::Rising)?, of(Channel::Supply)?);
    let near = |k: &usize| (f64::from(reference[*k]) - deg).abs() < 0.5 && supply[*k] > 1.0;
    let ratios: Vec<f32> = (0..trace.len()).filter(near).map(|k| line[k] / supply[k]).collect();
    super::robust::median(&ratios)
}
