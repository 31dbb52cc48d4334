//! The leads check: the supply is stepped 5 → 4 → 5 V, each line is loaded with 10 kΩ, then both pull-downs are switched on. Which
//! lead is bad shows in what the lines do then; to say it is not this file's business.
//!
//! A grip is turned to three places of its travel. A throttle body stays at rest with its bridge open: motor current in shared leads
//! would look like a drop of the sensor's own, and its two lines stand at different ratios there.

use super::recording::{Plan, Recording, Tape};
use super::{Bench, Motion, ProcedureError, Warning};
use crate::quantity::{Channel, ProcedureKind};
use crate::session::SessionError;
use crate::trace::MarkKind;
use trackpair_protocol::message::{Request, capability};

/// Places, as fractions of the travel.
const PLACES: [f64; 3] = [0.1, 0.5, 0.9];
/// Time in each state, µs on the rig's clock.
const STATE_US: u64 = 300_000;
/// What a hold is longer than its states by, µs: for a request's way to the rig and its answer's back on a slow line, each time, and once
/// for repeats. What is late adds up: a state begins when the request before it was answered.
const ANSWER_US: u64 = 150_000;
const REPEATS_US: u64 = 500_000;
/// Lower supply of the step, mV.
const LOW_MV: u16 = 4_000;
/// So much later than the program comes to a place the event that shows it counts as lost, µs: a part that did not stand where the program begins
/// comes there later.
const EVENT_US: u64 = 200_000;
/// Speed between the places, deg/s.
const SPEED_DEG_S: f64 = 60.0;
/// Time in which a plate comes to rest before the first switch, µs.
const REST_US: u32 = 800_000;
/// Where switches come too late the check is done again, and each time with so many times the allowance for answers: what made them
/// late (a line that repeats, a busy computer) is likely still there.
const ALLOWANCES: [u64; 3] = [1, 4, 16];

/// What is switched during the hold of one place, in order.
#[derive(Clone, Debug)]
struct Place {
    segment: u8,
    /// When the program comes to it, µs after its start.
    due_us: u64,
    requests: Vec<Request>,
}

/// What became of the switches.
#[derive(Debug, Default)]
struct Switched {
    done: usize,
    /// In words, each that the rig refused.
    refused: Vec<String>,
    /// Those that could not be done in time.
    missed: usize,
}

impl Switched {
    /// Switches place by place, each time when the state before has lasted [`STATE_US`].
    fn switch(&mut self, tape: &mut Tape<'_>, places: &[Place]) {
        let total: usize = places.iter().map(|place| place.requests.len()).sum();
        for place in places {
            let mut since_us = arrived(tape, place, &self.words(total));
            for (k, request) in place.requests.iter().enumerate() {
                let lasted = since_us.is_some_and(|since| {
                    stays_until(tape, since + STATE_US, place.segment, &self.words(total))
                });
                if !lasted {
                    self.leave(tape, &place.requests[k..], k > 0);
                    break;
                }
                since_us = self.ask(tape, request).or(since_us);
            }
        }
        tape.until_over(&self.words(total));
    }

    /// The part has moved on: what is left of a place can't be had any more, but where anything was switched nothing stays so.
    fn leave(&mut self, tape: &mut Tape<'_>, rest: &[Request], switched: bool) {
        for request in rest {
            if is_departure(request) || tape.is_over() {
                self.missed += 1;
            } else if switched {
                self.ask(tape, request);
            }
        }
    }

    /// Rig time at which it took effect; none when it did not.
    fn ask(&mut self, tape: &mut Tape<'_>, request: &Request) -> Option<u64> {
        match tape.ask(request) {
            Ok(at_us) => {
                self.done += 1;
                Some(at_us)
            }
            Err(error @ SessionError::Refused { .. }) => {
                self.done += 1;
                self.refused.push(format!("leads check without {}: {error}", switch_name(request)));
                None
            }
            Err(_) => {
                self.missed += 1;
                None
            }
        }
    }

    fn words(&self, total: usize) -> impl Fn(f64) -> String + use<> {
        let done = self.done;
        move |_| format!("switch {done} of {total}")
    }
}

/// When a segment of the program began, rig µs; none as long as it was not reported.
fn begun(tape: &Tape<'_>, segment: u8) -> Option<u64> {
    let is = |kind: &MarkKind| matches!(kind, MarkKind::Segment { segment: s, .. } if *s == segment);
    tape.recorder().marks().iter().find(|mark| is(&mark.kind)).map(|mark| mark.at_us)
}

/// Waits until the part is at a place; none when it is past it, or the run is over. Where the event that shows it was lost, the program's own
/// time does.
fn arrived(tape: &mut Tape<'_>, place: &Place, words: &dyn Fn(f64) -> String) -> Option<u64> {
    loop {
        if let Some(at_us) = begun(tape, place.segment) {
            return Some(at_us);
        }
        let due_us = tape.started_us().map(|started| started + place.due_us + EVENT_US);
        if let Some(due_us) = due_us.filter(|due| tape.now_us() >= *due) {
            return Some(due_us);
        }
        if begun(tape, place.segment + 1).is_some() || !tape.listen() {
            return None;
        }
        tape.report(words);
    }
}

/// Waits until a time on the rig's clock; false when the part leaves the segment or the run ends before.
fn stays_until(tape: &mut Tape<'_>, at_us: u64, segment: u8, words: &dyn Fn(f64) -> String) -> bool {
    loop {
        if begun(tape, segment + 1).is_some() {
            return false;
        }
        if tape.now_us() >= at_us {
            return true;
        }
        if !tape.listen() {
            return false;
        }
        tape.report(words);
    }
}

/// Length of the hold in which all of these are switched, µs, with so many times the allowance for answers.
fn hold_us(requests: &[Request], allowance: u64) -> u32 {
    let states = requests.len() as u64;
    (STATE_US * (states + 1) + allowance * (ANSWER_US * states + REPEATS_US)) as u32
}

/// Whether a request leaves the normal state: low supply, or something switched on.
fn is_departure(request: &Request) -> bool {
    match request {
        Request::SetSupply { millivolts } => *millivolts == LOW_MV,
        Request::SetInput { load, pull_down, .. } => *load || *pull_down,
        _ => false,
    }
}

fn switch_name(request: &Request) -> String {
    match request {
        Request::SetSupply { millivolts } => format!("the supply at {} V", f64::from(*millivolts) / 1e3),
        Request::SetInput { channel, load: true, .. } => format!("the load on column {channel}"),
        Request::SetInput { channel, .. } => format!("the pull-down on column {channel}"),
        _ => "a switch".to_owned(),
    }
}

impl Bench<'_> {
    /// Whether the rig can step the supply or load a line at all.
    pub fn can_check_leads(&self) -> bool {
        self.can_step_supply() || self.session.can(capability::LOADS)
    }

    /// Steps supply, loads and pull-downs: about 10 s at three places of a grip, 6 s at a body's rest. What the rig can't switch is
    /// left out; without an adjustable supply and without loads there is nothing to check. Where switches came too late it is done again
    /// with longer holds; all are kept, and the best one counts.
    pub fn leads_check(&mut self) -> Recording {
        let mut goes: Vec<(Recording, usize)> = Vec::new();
        for allowance in ALLOWANCES {
            goes.push(self.leads_once(allowance));
            if goes.last().is_some_and(|(go, missed)| *missed == 0 || go.failure.is_some()) {
                break;
            }
        }
        let late: Vec<usize> = goes[..goes.len() - 1].iter().map(|(_, missed)| *missed).collect();
        // A failed one counts: what failed must not be hidden by what went before.
        let key = |(go, missed): &(Recording, usize)| if go.failure.is_some() { 0 } else { *missed };
        let counts = (0..goes.len()).rev().min_by_key(|i| key(&goes[*i])).unwrap_or_default();
        let (mut best, _) = goes.remove(counts);
        best.before = goes.into_iter().filter_map(|(go, _)| go.trace).collect();
        best.warnings.extend(late.into_iter().map(|missed| Warning::NotSwitched {
            what: format!("{missed} switches of a leads check came too late: it was done again"),
        }));
        best
    }

    /// One leads check, and how many of its switches came too late.
    fn leads_once(&mut self, allowance: u64) -> (Recording, usize) {
        let (plan, places) = match self.plan_leads_check(allowance) {
            Ok(plan) => plan,
            Err(failure) => return (self.fail(failure), 0),
        };
        let mut switched = Switched::default();
        let mut recording = self.record(&plan, |tape| switched.switch(tape, &places));
        if recording.failure.is_none()
            && let Err(error) = self.restore()
        {
            recording.failure = Some(error.into());
            self.give_up();
        }
        let Switched { mut refused, missed, .. } = switched;
        recording.warnings.extend(refused.iter().map(|what| Warning::NotSwitched { what: what.clone() }));
        if missed > 0 && recording.failure.is_none() {
            let what = format!("{missed} switches of the leads check came too late");
            refused.push(what.clone());
            recording.warnings.push(Warning::NotSwitched { what });
        }
        if let Some(trace) = &mut recording.trace {
            trace.provenance.refused = refused;
        }
        (recording, missed)
    }

    fn can_step_supply(&self) -> bool {
        self.session.can(capability::SUPPLY_ADJUSTABLE)
            && self.session.identity().supply_mv.0 <= LOW_MV
            && self.supply_mv(ProcedureKind::LeadsCheck).is_ok_and(|normal| normal > LOW_MV)
    }

    fn plan_leads_check(&mut self, allowance: u64) -> Result<(Plan, Vec<Place>), ProcedureError> {
        let procedure = ProcedureKind::LeadsCheck;
        let body = self.drives_body().then(|| self.body_plan(procedure)).transpose()?;
        if body.is_none() {
            self.require_drive(procedure)?;
        }
        // A supply that the rig can't give is refused in its own words.
        self.supply_mv(procedure)?;
        if !self.can_step_supply() {
            self.require(
                procedure,
                capability::LOADS,
                "adjustable supply and no loads",
                "check the leads by meter",
            )?;
        }
        let normal_mv = self.power_up(procedure)?;
        let supply_step: Vec<Request> = if self.can_step_supply() {
            [LOW_MV, normal_mv].map(|millivolts| Request::SetSupply { millivolts }).to_vec()
        } else {
            Vec::new()
        };
        let (motion, places, from_deg) = match body {
            Some(_) => self.at_rest(supply_step, allowance),
            None => self.at_three_places(supply_step, allowance),
        };
        let rate_hz = body.map_or(self.sheet.sweep.rate_hz, |plan| plan.rate_hz);
        let plan = Plan {
            procedure,
            program: motion.program(),
            stimuli: motion.stimuli(),
            channels: self.session.known_channels(),
            period_us: self.period_us(f64::from(rate_hz)),
            max_us: 0,
            planned_us: Some(motion.duration_us(from_deg)),
            sweep: None,
        };
        Ok((plan, places))
    }

    /// A grip: the supply is stepped at three places, the inputs at the middle one.
    fn at_three_places(&self, supply_step: Vec<Request>, allowance: u64) -> (Motion, Vec<Place>, f64) {
        let at_each = [supply_step.clone(), self.input_steps(), supply_step];
        let stops = self.stops_or_nominal();
        let speed = self.speed(SPEED_DEG_S);
        let (mut motion, mut places) = (Motion::new(), Vec::new());
        for (fraction, requests) in PLACES.into_iter().zip(at_each) {
            let place_deg = stops.closed_deg + fraction * (stops.open_deg - stops.closed_deg);
            motion = motion.ramp(self.within_travel(place_deg), speed);
            let hold_us = hold_us(&requests, allowance);
            let due_us = motion.duration_us(stops.closed_deg);
            places.push(Place { segment: motion.next_segment(), due_us, requests });
            motion = motion.hold(hold_us);
        }
        (motion.ramp(self.within_travel(stops.closed_deg), speed), places, stops.closed_deg)
    }

    /// A body: everything at rest, the bridge open.
    fn at_rest(&self, supply_step: Vec<Request>, allowance: u64) -> (Motion, Vec<Place>, f64) {
        let requests = [supply_step, self.input_steps()].concat();
        let motion = Motion::new().release(REST_US);
        let segment = motion.next_segment();
        let motion = motion.release(hold_us(&requests, allowance));
        (motion, vec![Place { segment, due_us: REST_US.into(), requests }], 0.0)
    }

    /// Load on and off for each line, then the pull-downs of both on, then off.
    fn input_steps(&self) -> Vec<Request> {
        let lines: Vec<_> = Channel::SENSORS.iter().filter_map(|line| self.input(*line)).collect();
        let mut steps = Vec::new();
        for (channel, _, _) in lines.iter().filter(|(_, has_load, _)| *has_load) {
            for load in [true, false] {
                steps.push(Request::SetInput { channel: *channel, load, pull_down: false });
            }
        }
        for pull_down in [true, false] {
            for (channel, _, _) in lines.iter().filter(|(_, _, has_pull_down)| *has_pull_down) {
                steps.push(Request::SetInput { channel: *channel, load: false, pull_down });
            }
        }
        steps
    }

    /// Everything as it was before: normal supply, nothing switched on.
    fn restore(&mut self) -> Result<(), SessionError> {
        let lines: Vec<u8> =
            Channel::SENSORS.iter().filter_map(|l| self.input(*l)).map(|input| input.0).collect();
        for channel in lines {
            self.session.request(&Request::SetInput { channel, load: false, pull_down: false })?;
        }
        if let Ok(millivolts) = self.supply_mv(ProcedureKind::LeadsCheck) {
            self.session.set_supply(millivolts)?;
        }
        Ok(())
    }
}
