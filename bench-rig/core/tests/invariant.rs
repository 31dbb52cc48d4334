//! The law of the rig: the drive is on only while armed, with no guard tripped or present, and the host alive. It is held
//! against random requests (new, repeated, late, corrupted), times, faults and silences, and judged by what the board
//! received, not by what the rig says of itself.

mod common;

use std::cell::Cell;

use common::*;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use trackpair_protocol::LINK_SILENCE_US;
use trackpair_protocol::mapping::{Mapping, Point};
use trackpair_protocol::message::{EventKind, Request, Start};
use trackpair_protocol::program::{Program, Segment};
use trackpair_rig_core::TICK_US;
use trackpair_rig_core::board::{Drive, Micros, Vitals};

/// A thing that happens to the rig.
#[derive(Clone, Debug)]
enum Deed {
    /// A new request.
    Ask(u8, u32),
    /// The host's usual way to a driven run, all at once.
    ArmAndStart(u32),
    /// The newest request's bytes again.
    Repeat,
    /// Bytes of long ago again.
    Late(usize),
    /// A request with a flipped bit.
    Corrupted(u8, usize),
    /// Any bytes.
    Noise(Vec<u8>),
    /// Time with heartbeats.
    Live(Micros),
    /// Time without a word.
    Silence(Micros),
    /// A fault comes or goes.
    Fault(u8, bool),
}

fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    let deed = prop_oneof![
        4 => (0u8..14, 1u32..6).prop_map(|(which, run)| Deed::Ask(which, run)),
        4 => (1u32..1_000_000).prop_map(Deed::ArmAndStart),
        1 => Just(Deed::Repeat),
        1 => any::<usize>().prop_map(Deed::Late),
        1 => (0u8..14, any::<usize>()).prop_map(|(which, bit)| Deed::Corrupted(which, bit)),
        1 => prop::collection::vec(any::<u8>(), 0..40).prop_map(Deed::Noise),
        4 => (1u64..150_000).prop_map(Deed::Live),
        2 => (1u64..400_000).prop_map(Deed::Silence),
        1 => (0u8..6, any::<bool>()).prop_map(|(which, comes)| Deed::Fault(which, comes)),
        2 => (0u8..6).prop_map(|which| Deed::Fault(which, false)),
    ];
    prop::collection::vec(deed, 1..60)
}

fn request(which: u8, run: u32) -> Request {
    let segments = [
        Segment::Ramp { to_mdeg: 40_000, speed_mdeg_s: 90_000, accel_mdeg_s2: 900_000 },
        Segment::Release { us: 7_700 },
        Segment::Step { to_mdeg: 1_000, us: 20_000 },
        Segment::Repeat { from: 0, times: 3 },
    ];
    let start = Start { run, ..DRIVING };
    match which {
        0 => Request::Identify { session: run },
        1 => Request::ReadStatus,
        2 => Request::SetSupply { millivolts: 4_500 + 100 * run as u16 },
        3 => Request::LoadProgram(Program::from_slice(&segments).expect("fits")),
        4 | 5 => Request::Arm,
        6 | 7 => Request::Start(start),
        8 => Request::Start(Start { drive: false, ..start }),
        9 => Request::Stop,
        10 => Request::ClearTrip,
        11 => Request::DescribeChannel { channel: run as u8 },
        12 => Request::SetSupply { millivolts: 0 },
        _ => Request::Heartbeat,
    }
}

/// What an observer of the line and the board holds to be true.
#[derive(Default)]
struct Observer {
    armed: bool,
    driving: bool,
    last_accepted: Micros,
    supply: (u16, Micros),
    over_current_since: Option<Micros>,
    vitals: Vitals,
    vitals_just_read: bool,
    calls_seen: usize,
    heard_seen: usize,
    times_on: u32,
}

impl Observer {
    /// Whether a guard's cause is there that forbids the drive at `at`.
    fn forbids(&self, at: Micros) -> bool {
        let v = &self.vitals;
        let settled = self.supply.0 > 0 && at - self.supply.1 >= LIMITS.supply_settle_us;
        v.emergency_stop
            || v.lid_open
            || v.temperature_cdeg > LIMITS.temperature_cdeg
            || v.reference_mdeg < LIMITS.travel_mdeg.0
            || v.reference_mdeg > LIMITS.travel_mdeg.1
            || (settled && v.supply_mv.abs_diff(self.supply.0) > LIMITS.supply_tolerance_mv)
            || self.over_current_since.is_some_and(|since| at - since >= LIMITS.over_current_us + TICK_US)
    }

    /// A drive goes on, or stays so: it may.
    fn check_on(&mut self, at: Micros) {
        self.times_on += 1;
        assert!(self.vitals_just_read, "at {at}: on without looking at the guards");
        assert!(self.driving, "at {at}: on without arm and start");
        assert!(!self.forbids(at), "at {at}: on with {:?}", self.vitals);
        let silence = at - self.last_accepted;
        assert!(silence <= LINK_SILENCE_US + TICK_US, "at {at}: on after {silence} us of silence");
    }

    fn watch(&mut self, bench: &Bench) {
        for call in &bench.rig.board().calls[self.calls_seen..] {
            match *call {
                Call::Vitals(at, vitals) => {
                    self.vitals = vitals;
                    self.vitals_just_read = true;
                    if vitals.drive_ma <= LIMITS.over_current_ma {
                        self.over_current_since = None;
                    } else {
                        self.over_current_since.get_or_insert(at);
                    }
                }
                Call::Supply(at, millivolts) => self.supply = (millivolts, at),
                Call::Drive(at, Drive::Off) => {
                    // The drive is taken off for a cause: what was armed is no longer.
                    let cause = self.forbids(at) || at - self.last_accepted > LINK_SILENCE_US + TICK_US;
                    if self.vitals_just_read && cause {
                        (self.armed, self.driving) = (false, false);
                    }
                    self.vitals_just_read = false;
                }
                Call::Drive(at, Drive::Position(_) | Drive::Volts(_) | Drive::Brake) => {
                    self.check_on(at);
                    self.vitals_just_read = false;
                }
                // The motor's drive is set in the same step, after it.
                Call::Grip(at, Some(_)) => self.check_on(at),
                Call::Grip(_, None) | Call::Input(..) | Call::Scan(_) => {}
            }
        }
        self.calls_seen = bench.rig.board().calls.len();
        for heard in &bench.heard[self.heard_seen..] {
            if let Heard::Event(event) = heard
                && matches!(event.kind, EventKind::RunEnded { .. } | EventKind::GuardTripped { .. })
            {
                (self.armed, self.driving) = (false, false);
            }
        }
        self.heard_seen = bench.heard.len();
    }

    /// A new request was accepted at `at`.
    fn accepted(&mut self, request: &Request, at: Micros) {
        if *request != Request::ReadStatus {
            self.last_accepted = at;
        }
        match request {
            Request::Arm => self.armed = true,
            Request::Start(start) => (self.armed, self.driving) = (false, start.drive && self.armed),
            Request::Identify { .. } | Request::Stop | Request::ClearTrip => {
                (self.armed, self.driving) = (false, false)
            }
            _ => {}
        }
    }
}

/// What the rig under trial drives.
#[derive(Clone, Copy, PartialEq)]
enum PartKind {
    Grip,
    Body,
    Pair,
}

/// A bench, its observer, and the host's memory of what it sent.
struct Trial {
    bench: Bench,
    seen: Observer,
    sent: Vec<(Request, Vec<u8>)>,
}

impl Trial {
    fn new(kind: PartKind) -> Self {
        let bench = match kind {
            PartKind::Grip => Bench::opened(),
            PartKind::Body => Bench::opened_on(MockBoard::body()),
            PartKind::Pair => Bench::opened_on(MockBoard::pair()),
        };
        let mut trial = Self { bench, seen: Observer::default(), sent: Vec::new() };
        trial.seen.watch(&trial.bench);
        if kind != PartKind::Grip {
            trial.ask(Request::SetLoop(LOOP));
        }
        if kind == PartKind::Pair {
            let points = [(100_000, 0), (900_000, 80_000)]
                .map(|(grip_ppm, plate_mdeg)| Point { grip_ppm, plate_mdeg });
            trial.ask(Request::SetMapping(Mapping::from_slice(&points).expect("fits")));
        }
        trial
    }

    fn request(&self, which: u8, run: u32) -> Request {
        let bridge = self.bench.rig.board().identity.max_drive_mv > 0;
        match request(which, run) {
            Request::LoadProgram(_) if bridge => program(&[
                Segment::Ramp { to_mdeg: 40_000, speed_mdeg_s: 90_000, accel_mdeg_s2: 900_000 },
                Segment::Volts { mv: -5_000, us: 7_700 },
                Segment::Brake { us: 3_300 },
                Segment::Release { us: 7_700 },
                Segment::VoltsRamp { to_mv: 9_000, us: 20_000 },
                Segment::Repeat { from: 0, times: 3 },
            ]),
            other => other,
        }
    }

    fn ask(&mut self, request: Request) {
        let bytes = self.bench.frame(request);
        self.sent.push((request, bytes));
        self.send(self.sent.len() - 1, true);
    }

    /// Sends what was sent before, or for the first time.
    fn send(&mut self, which: usize, first: bool) {
        let (request, bytes) = self.sent[which].clone();
        let at = self.bench.now;
        self.bench.rig.poll(at);
        self.bench.drain();
        self.seen.watch(&self.bench);
        // The answer comes while the board gets its command: the observer takes the answer first. A repeat is not a sign of life, but
        // of a stateless request there is no repeat: each counts.
        let stateless = matches!(request, Request::Heartbeat | Request::ReadStatus);
        let answered = self.bench.answer(&bytes).is_ok();
        if answered && (first || stateless) {
            self.seen.accepted(&request, at);
        }
        self.seen.watch(&self.bench);
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.bench.send(bytes);
        self.seen.watch(&self.bench);
    }

    fn silence(&mut self, us: Micros) {
        self.bench.wait_silently(us);
        self.seen.watch(&self.bench);
    }

    fn fault(&mut self, which: u8, comes: bool) {
        let board = self.bench.rig.board_mut();
        match which {
            0 => board.vitals.emergency_stop = comes,
            1 => board.vitals.lid_open = comes,
            2 => board.vitals.temperature_cdeg = if comes { 9_000 } else { 2_000 },
            3 => board.vitals.reference_mdeg = if comes { 99_000 } else { 10_000 },
            4 => board.supply_mv = comes.then_some(3_000),
            _ => {
                board.vitals.drive_ma = if comes { 5_000 } else { 100 };
                board.vitals.motor_ma = board.vitals.drive_ma as i32;
            }
        }
    }

    fn arm_and_start(&mut self, run: u32) {
        for which in [10, 9, 3, 4] {
            self.ask(self.request(which, run % 5));
        }
        self.ask(self.request(6, run));
    }

    fn doing(&mut self, deed: &Deed) {
        match deed {
            Deed::Ask(which, run) => self.ask(self.request(*which, *run)),
            Deed::ArmAndStart(run) => self.arm_and_start(*run),
            Deed::Repeat => {
                if let Some(newest) = self.sent.len().checked_sub(1) {
                    self.send(newest, false);
                }
            }
            Deed::Late(which) => {
                // An Identify of another session is new whenever it comes.
                let old = which % self.sent.len().max(1);
                if self.sent.get(old).is_some_and(|(request, _)| !matches!(request, Request::Identify { .. }))
                {
                    self.send(old, false);
                }
            }
            Deed::Corrupted(which, bit) => {
                let mut bytes = self.bench.frame(request(*which, 3));
                let bit = bit % (8 * (bytes.len() - 1));
                bytes[bit / 8] ^= 1 << (bit % 8);
                // A flip that makes a delimiter leaves two pieces, both bad.
                self.bytes(&bytes);
            }
            Deed::Noise(bytes) => {
                let ended: Vec<u8> = bytes.iter().copied().chain([0]).collect();
                self.bytes(&ended);
            }
            Deed::Live(us) => {
                let mut left = *us;
                while left > 0 {
                    self.ask(Request::Heartbeat);
                    self.silence(left.min(90_000));
                    left -= left.min(90_000);
                }
            }
            Deed::Silence(us) => self.silence(*us),
            Deed::Fault(which, comes) => self.fault(*which, *comes),
        }
    }
}

#[test]
fn a_grip_drive_is_on_only_while_armed_unguarded_and_heard_and_silence_takes_it_off() {
    try_the_law(PartKind::Grip);
}

#[test]
fn a_motor_bridge_is_on_only_while_armed_unguarded_and_heard_and_silence_opens_it() {
    try_the_law(PartKind::Body);
}

#[test]
fn both_drives_of_a_pair_are_on_only_while_armed_unguarded_and_heard_and_silence_takes_them_off() {
    try_the_law(PartKind::Pair);
}

fn try_the_law(kind: PartKind) {
    let (on, trials) = (Cell::new(0u32), Cell::new(0u32));
    let config = Config { cases: 600, failure_persistence: None, ..Config::default() };
    TestRunner::new(config)
        .run(&deeds(), |deeds| {
            let mut trial = Trial::new(kind);
            for deed in &deeds {
                trial.doing(deed);
            }
            trials.set(trials.get() + 1);
            on.set(on.get() + u32::from(trial.seen.times_on > 0));
            trial.silence(310_000);
            prop_assert_eq!(trial.bench.rig.board().drive(), Drive::Off);
            let end = trial.bench.rig.board().calls.len();
            trial.silence(3_000_000);
            let later = &trial.bench.rig.board().calls[end..];
            prop_assert!(
                later.iter().all(|call| !matches!(call, Call::Drive(_, drive) if *drive != Drive::Off))
            );
            prop_assert!(later.iter().all(|call| !matches!(call, Call::Grip(_, Some(_)))));
            prop_assert_eq!(trial.bench.rig.board().grips().last().and_then(|(_, to)| to), None);
            prop_assert_eq!(
                trial.bench.rig.board().vitals.supply_mv,
                0,
                "a dead host leaves the part unpowered"
            );
            Ok(())
        })
        .unwrap();
    // The law is worth nothing if the drive was never on.
    assert!(on.get() * 3 > trials.get(), "on in {} of {}", on.get(), trials.get());
}

proptest! {
    #[test]
    fn any_bytes_in_any_portions_leave_a_rig_that_answers(
        bytes in prop::collection::vec(any::<u8>(), 0..4_000), portion in 1usize..500,
    ) {
        let mut bench = Bench::opened();
        for part in bytes.chunks(portion) {
            bench.now += 100;
            bench.rig.handle(part, bench.now);
        }
        bench.send(&[0]);
        bench.heard.clear();
        bench.must(Request::ReadStatus);
        prop_assert_eq!(bench.rig.board().drive(), Drive::Off);
    }
}
