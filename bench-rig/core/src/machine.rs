//! State, and the order of things as time goes by: guards, setpoints, scans, blocks, events.
//!
//! At one instant: first a block that is old enough is closed, then the control step (guards, end of run, program, drive),
//! then the scan. It knows no frames and no request ids.

use trackpair_protocol::channel::MAX_CHANNELS;
use trackpair_protocol::mapping::Mapping;
use trackpair_protocol::message::{
    EndCause, Event, EventKind, Guard, Identity, Message, Reason, RigState, Start, Status, capability, kind,
};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::Program;

use crate::board::{Board, Drive, Micros, Vitals};
use crate::follow;
use crate::guards::{self, Guards, Situation, Supply};
use crate::motion::{Limits, Motion, TICK_US};
use crate::position::{self, PositionLoop};
use crate::queue::{Priority, Queue};
use crate::sampler::Sampler;

/// Link silence after which the sensor supply is switched off and a watching run ends, µs.
pub const DEAD_HOST_US: Micros = 2_000_000;

/// Shortest time between two overrun events of a run, µs: a link that is too slow is not loaded with them too.
const OVERRUN_EVENT_US: Micros = 100_000;

/// Room for one encoded event, bytes: the longest takes 40.
const EVENT_BYTES: usize = 64;

/// Why something was not done: the reason and its detail.
pub type WhyRefused = (Reason, u32);

/// The rig without its link.
#[derive(Debug)]
pub struct Machine<B: Board> {
    pub(crate) board: B,
    pub(crate) queue: Queue,
    identity: Identity,
    state: RigState,
    guards: Guards,
    motion: Motion,
    position: Option<PositionLoop>,
    mapping: Mapping,
    grip: Option<i32>,
    setpoint: Option<i32>,
    sampler: Sampler,
    clock: Micros,
    next_tick: Micros,
    last_request: Micros,
    supply: Supply,
    loads: u16,
    pull_downs: u16,
    drive: Drive,
    run: u32,
    run_ends: Option<Micros>,
    events: u32,
    overrun_told: Micros,
}

impl<B: Board> Machine<B> {
    /// Unpowered at `now`.
    pub fn new(mut board: B, now: Micros) -> Self {
        let identity = board.identity();
        board.set_drive(Drive::Off, now);
        board.set_grip(None, now);
        board.set_supply(0, now);
        for index in 0..MAX_CHANNELS as u8 {
            if board.channel(index).is_some_and(|c| c.has_load || c.has_pull_down) {
                board.set_input(index, false, false, now);
            }
        }
        let mut machine = Self {
            queue: Queue::new(),
            identity,
            state: RigState::Resting,
            guards: Guards::new(board.guard_limits()),
            motion: Motion::new(Limits::of(&identity)),
            position: None,
            mapping: Mapping::EMPTY,
            grip: None,
            setpoint: None,
            sampler: Sampler::new(|index| board.channel(index)),
            clock: now,
            next_tick: now + TICK_US,
            last_request: now,
            supply: Supply { millivolts: 0, since: now },
            loads: 0,
            pull_downs: 0,
            drive: Drive::Off,
            run: 0,
            run_ends: None,
            events: 0,
            overrun_told: 0,
            board,
        };
        machine.tell(EventKind::Booted, now);
        machine
    }

    /// When [`Machine::advance`] has something to do next.
    pub fn next_due(&self) -> Micros {
        let mut due = self.control_due();
        for other in [self.sampler.next_scan(), self.sampler.block_due()].into_iter().flatten() {
            due = due.min(other);
        }
        due
    }

    /// Does what is due up to `now`, in order of time; the rig's time after it. Time does not go backwards.
    pub fn advance(&mut self, now: Micros) -> Micros {
        loop {
            let at = self.next_due().max(self.clock);
            if at > now {
                break;
            }
            self.clock = at;
            if self.sampler.block_due().is_some_and(|due| due <= at) {
                self.sampler.close_block(&mut self.queue);
            }
            if self.control_due() <= at {
                if self.next_tick <= at {
                    self.next_tick += TICK_US;
                }
                self.control(at);
            }
            if self.sampler.next_scan().is_some_and(|due| due <= at) {
                self.scan(at);
            }
        }
        self.clock = self.clock.max(now);
        self.clock
    }

    /// A request of the open session was accepted: its host lives.
    pub fn hear(&mut self, at: Micros) {
        self.last_request = at;
    }

    /// What the rig is doing.
    pub fn state(&self) -> RigState {
        self.state
    }

    /// Who the rig is.
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// State, guards, counters at `at`.
    pub fn status(&mut self, frames_dropped: u32, at: Micros) -> Status {
        Status {
            rig_us: at,
            state: self.state,
            tripped: self.guards.tripped(),
            present: self.present(at),
            run: self.run,
            supply_mv: self.supply.millivolts,
            overruns: self.sampler.overruns(),
            frames_dropped,
            blocks: self.sampler.blocks(),
            loads: self.loads,
            pull_downs: self.pull_downs,
            drive_on: self.drive != Drive::Off || self.grip.is_some(),
            heat_permille: self.guards.heat_permille(),
        }
    }

    /// A new session: whatever ran ends, disarmed. Supply, inputs, program and trips stay.
    pub fn new_session(&mut self, at: Micros) {
        self.rest(EndCause::NewSession, at);
        if self.drives_both() {
            // A host that knows nothing of them must not send the plate where it means the grip.
            (self.position, self.mapping) = (None, Mapping::EMPTY);
        }
    }

    /// Sets the supply. Nothing happens when it is so already.
    ///
    /// # Errors
    /// Out of the rig's range; or a tripped guard has taken it off.
    pub fn request_supply(&mut self, millivolts: u16, at: Micros) -> Result<(), WhyRefused> {
        let (low, high) = self.identity.supply_mv;
        if millivolts != 0 && !(low..=high).contains(&millivolts) {
            return Err((Reason::OutOfRange, 0));
        }
        let taken_off_by = self.guards.tripped() & guards::TAKE_SUPPLY_OFF;
        if millivolts != 0 && taken_off_by != 0 {
            return Err((Reason::Guarded, taken_off_by.into()));
        }
        self.set_supply(millivolts, at);
        Ok(())
    }

    /// Switches load and pull-down of a channel that has them. Nothing happens when it is so already.
    pub fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, at: Micros) {
        let bit = 1u16.checked_shl(channel.into()).unwrap_or(0);
        let with = |bits: u16, on: bool| if on { bits | bit } else { bits & !bit };
        let (loads, pull_downs) = (with(self.loads, load), with(self.pull_downs, pull_down));
        if (loads, pull_downs) != (self.loads, self.pull_downs) {
            (self.loads, self.pull_downs) = (loads, pull_downs);
            self.board.set_input(channel, load, pull_down, at);
            self.tell(EventKind::InputSet { channel, load, pull_down }, at);
        }
    }

    /// Replaces the motion program.
    ///
    /// # Errors
    /// While running; or a segment the rig does not allow.
    pub fn load(&mut self, program: &Program) -> Result<(), WhyRefused> {
        if self.running() {
            return Err(self.untimely());
        }
        self.motion.load(program).map_err(|segment| (Reason::OutOfRange, segment.into()))
    }

    /// Sets the position loop of a motor bridge.
    ///
    /// # Errors
    /// Without a motor bridge; while running; a setting out of range.
    pub fn set_loop(&mut self, settings: &LoopSettings) -> Result<(), WhyRefused> {
        let Some(motor) = self.board.guard_limits().motor else {
            return Err((Reason::NotCapable, capability::BODY_DRIVE));
        };
        if self.running() {
            return Err(self.untimely());
        }
        position::validate(settings, motor.current_ma).map_err(|field| (Reason::OutOfRange, field.into()))?;
        self.position = Some(PositionLoop::new(*settings, self.identity.max_drive_mv));
        self.motion.allow_positions();
        Ok(())
    }

    /// Sets what the plate is asked for at each output of the grip; a mapping of no points ends that.
    ///
    /// # Errors
    /// On a rig that has not both drives; while running; before the position loop was set; a point out of range.
    pub fn set_mapping(&mut self, mapping: &Mapping) -> Result<(), WhyRefused> {
        if !self.drives_both() {
            return Err((Reason::NotCapable, capability::GRIP_DRIVE | capability::BODY_DRIVE));
        }
        let Some(position) = self.position.as_ref().filter(|_| !self.running()) else {
            return Err(self.untimely());
        };
        follow::validate(mapping, position.travel_mdeg())
            .map_err(|point| (Reason::OutOfRange, point.into()))?;
        self.mapping = *mapping;
        Ok(())
    }

    /// A pair's rig: it turns a grip and drives a motor.
    fn drives_both(&self) -> bool {
        let both = capability::GRIP_DRIVE | capability::BODY_DRIVE;
        self.identity.capabilities & both == both
    }

    /// Whether angles of a program are the grip's, on a pair's rig: until the position loop is set, and while the plate follows.
    fn angles_are_the_grips(&self) -> bool {
        self.drives_both() && (self.position.is_none() || !self.mapping.points().is_empty())
    }

    /// Arms. Nothing happens when armed already.
    ///
    /// # Errors
    /// While running; a guard is tripped or its cause present.
    pub fn arm(&mut self, at: Micros) -> Result<(), WhyRefused> {
        if self.running() {
            return Err(self.untimely());
        }
        self.unguarded(at)?;
        self.state = RigState::Armed;
        Ok(())
    }

    /// Starts a run: sampling from `at` on, and with `drive` the program.
    ///
    /// # Errors
    /// A field out of range; the last run's number; while running; driving without arming or program; a guard is tripped
    /// or its cause present.
    pub fn start(&mut self, start: &Start, at: Micros) -> Result<(), WhyRefused> {
        self.check_fields(start)?;
        if start.run == self.run || self.running() {
            return Err(self.untimely());
        }
        self.unguarded(at)?;
        if start.drive && (self.state != RigState::Armed || !self.motion.has_program()) {
            return Err(self.untimely());
        }
        self.hear(at);
        self.state = if start.drive { RigState::Driving } else { RigState::Watching };
        self.run = start.run;
        self.run_ends = (start.max_us > 0).then(|| at.saturating_add(start.max_us));
        self.tell_overruns(at);
        self.overrun_told = at;
        self.sampler.start(start.run, start.period_us, start.channels, at);
        self.tell(EventKind::RunStarted, at);
        self.motion.rewind(at);
        self.control(at);
        Ok(())
    }

    /// Stops whatever runs, disarmed. Also fine at rest; a trip stays.
    pub fn stop(&mut self, at: Micros) {
        self.rest(EndCause::Stopped, at);
    }

    /// Clears the trips; disarmed after it: a run ends as by [`Machine::stop`].
    ///
    /// # Errors
    /// A tripped guard's cause is still there.
    pub fn clear_trip(&mut self, at: Micros) -> Result<(), WhyRefused> {
        let present = self.present(at) & self.guards.tripped();
        if present != 0 {
            return Err((Reason::Guarded, present.into()));
        }
        self.guards.clear();
        self.rest(EndCause::Stopped, at);
        self.state = RigState::Resting;
        Ok(())
    }

    fn check_fields(&self, start: &Start) -> Result<(), WhyRefused> {
        let period = self.identity.min_period_us.max(1)..=self.identity.max_period_us;
        let fields = [start.run != 0, period.contains(&start.period_us), self.sampler.allows(start.channels)];
        let bad = fields.iter().position(|allowed| !allowed);
        bad.map_or(Ok(()), |field| Err((Reason::OutOfRange, field as u32)))
    }

    /// The refusal of what the state does not allow.
    fn untimely(&self) -> WhyRefused {
        (Reason::Untimely, self.state as u32)
    }

    fn unguarded(&mut self, at: Micros) -> Result<(), WhyRefused> {
        let bits = self.guards.tripped() | self.present(at) & !guards::bit(Guard::LinkSilence);
        if bits == 0 { Ok(()) } else { Err((Reason::Guarded, bits.into())) }
    }

    fn present(&mut self, at: Micros) -> u16 {
        let vitals = self.board.vitals(at);
        self.guards.present(&vitals, &self.situation(&vitals, at), at)
    }

    fn situation(&self, vitals: &Vitals, at: Micros) -> Situation {
        let deviation = |setpoint: i32| setpoint.saturating_sub(self.plate_mdeg(vitals));
        Situation {
            state: self.state,
            silence_us: at.saturating_sub(self.last_request),
            supply: self.supply,
            deviation_mdeg: self.position.as_ref().and(self.setpoint).map(deviation),
        }
    }

    /// Where the part is: the plate by the position loop's line, the grip by the reference.
    fn plate_mdeg(&self, vitals: &Vitals) -> i32 {
        match &self.position {
            Some(position) => position.plate_mdeg(vitals.feedback_ppm),
            None => vitals.reference_mdeg,
        }
    }

    /// Where the part is that the program's angles are about.
    fn measured_mdeg(&self, vitals: &Vitals) -> i32 {
        if self.angles_are_the_grips() { vitals.reference_mdeg } else { self.plate_mdeg(vitals) }
    }

    fn running(&self) -> bool {
        matches!(self.state, RigState::Watching | RigState::Driving)
    }

    /// The next tick, end of a segment or end of the run.
    fn control_due(&self) -> Micros {
        let mut due = self.next_tick;
        if self.state == RigState::Driving {
            due = due.min(self.motion.ends());
        }
        if self.running() {
            due = due.min(self.run_ends.unwrap_or(Micros::MAX));
        }
        due
    }

    /// One control step.
    fn control(&mut self, at: Micros) {
        let vitals = self.board.vitals(at);
        let situation = self.situation(&vitals, at);
        let tripped = self.guards.check(&vitals, &situation, at);
        if tripped != 0 {
            self.trip(tripped, &vitals, &situation, at);
        }
        if situation.silence_us >= DEAD_HOST_US {
            if self.state == RigState::Watching {
                self.rest(EndCause::Stopped, at);
            }
            self.set_supply(0, at);
        }
        if self.running() && self.run_ends.is_some_and(|end| end <= at) {
            self.rest(EndCause::Complete, at);
        }
        if self.state == RigState::Driving {
            self.follow_program(&vitals, at);
        }
        self.board.set_drive(self.drive, at);
        if at.saturating_sub(self.overrun_told) >= OVERRUN_EVENT_US {
            self.tell_overruns(at);
        }
    }

    fn follow_program(&mut self, vitals: &Vitals, at: Micros) {
        let measured_mdeg = self.measured_mdeg(vitals);
        while self.motion.ends() <= at {
            let began = self.motion.ends();
            let Some(reached) = self.motion.advance(measured_mdeg) else {
                self.rest(EndCause::Complete, at);
                return;
            };
            self.tell(EventKind::SegmentReached { segment: reached.segment, pass: reached.pass }, began);
        }
        let asked = self.motion.drive(at);
        let asked = if self.angles_are_the_grips() { self.turn_grip(asked, vitals, at) } else { asked };
        self.setpoint = match asked {
            Drive::Position(mdeg) => Some(mdeg),
            _ => None,
        };
        let measured_mdeg = self.plate_mdeg(vitals);
        self.drive = match (self.position.as_mut(), asked) {
            (Some(position), Drive::Position(mdeg)) => {
                Drive::Volts(position.volts_mv(mdeg, measured_mdeg, vitals.motor_ma, at))
            }
            (Some(position), other) => {
                position.reset();
                other
            }
            (None, asked) => asked,
        };
    }

    /// On a pair's rig: an angle turns the grip, no angle lets it go; what is left for the plate, which follows the grip's output.
    fn turn_grip(&mut self, asked: Drive, vitals: &Vitals, at: Micros) -> Drive {
        let (grip, rest) = match asked {
            Drive::Position(mdeg) => (Some(mdeg), Drive::Off),
            other => (None, other),
        };
        if grip.is_some() || self.grip.is_some() {
            self.board.set_grip(grip, at);
        }
        self.grip = grip;
        match (follow::setpoint_mdeg(&self.mapping, vitals.grip_ppm), rest) {
            (Some(setpoint), Drive::Off) => Drive::Position(setpoint),
            (_, rest) => rest,
        }
    }

    fn scan(&mut self, at: Micros) {
        let mut counts = [0; MAX_CHANNELS];
        match self.board.scan(at, self.sampler.mask(), &mut counts) {
            Ok(()) => self.sampler.push(&counts, &mut self.queue),
            Err(crate::board::Missed) => self.sampler.miss(&mut self.queue),
        }
    }

    fn trip(&mut self, tripped: u16, vitals: &Vitals, situation: &Situation, at: Micros) {
        self.drive_off(at);
        let heat = self.guards.heat_permille();
        for guard in Guard::ALL.iter().copied().filter(|guard| tripped & guards::bit(*guard) != 0) {
            self.tell(
                EventKind::GuardTripped { guard, value: guards::value(guard, vitals, situation, heat) },
                at,
            );
        }
        self.end_run(EndCause::Guard, at);
        self.state = RigState::Tripped;
        if tripped & guards::TAKE_SUPPLY_OFF != 0 {
            self.set_supply(0, at);
        }
    }

    /// Ends the run if there is one, drive off, disarmed; a trip stays.
    fn rest(&mut self, cause: EndCause, at: Micros) {
        self.drive_off(at);
        self.end_run(cause, at);
        if self.state != RigState::Tripped {
            self.state = RigState::Resting;
        }
    }

    fn drive_off(&mut self, at: Micros) {
        self.drive = Drive::Off;
        self.setpoint = None;
        if self.grip.take().is_some() {
            self.board.set_grip(None, at);
        }
        if let Some(position) = self.position.as_mut() {
            position.reset();
        }
        self.board.set_drive(Drive::Off, at);
    }

    fn end_run(&mut self, cause: EndCause, at: Micros) {
        if !self.running() {
            return;
        }
        self.sampler.stop(&mut self.queue);
        self.tell_overruns(at);
        self.tell(EventKind::RunEnded { cause, blocks: self.sampler.blocks() }, at);
        self.run_ends = None;
    }

    fn set_supply(&mut self, millivolts: u16, at: Micros) {
        if millivolts != self.supply.millivolts {
            self.supply = Supply { millivolts, since: at };
            self.board.set_supply(millivolts, at);
            self.tell(EventKind::SupplySet { millivolts }, at);
        }
    }

    /// Reports lost scans as soon as there is room for it.
    fn tell_overruns(&mut self, at: Micros) {
        let scans = self.sampler.unreported();
        if scans > 0 && self.queue.has_room(EVENT_BYTES, Priority::Event) {
            self.tell_of(self.sampler.run(), EventKind::Overrun { scans }, at);
            self.sampler.mark_reported();
            self.overrun_told = at;
        }
    }

    /// Queues an event of the current run, or of none.
    fn tell(&mut self, what: EventKind, at: Micros) {
        let run = if self.running() { self.run } else { 0 };
        self.tell_of(run, what, at);
    }

    /// Queues an event if there is room. A number is used up either way, so that a lost one shows.
    fn tell_of(&mut self, run: u32, what: EventKind, at: Micros) {
        let event = Event { number: self.events, rig_us: at, run, kind: what };
        self.events = self.events.wrapping_add(1);
        let mut out = [0; EVENT_BYTES];
        if let Some(len) = Message::Event(event).encode(kind::EVENT, 0, &mut out) {
            self.queue.push(&out[..len], Priority::Event);
        }
    }
}
