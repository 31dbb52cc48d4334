//! A board that obeys and writes down every call, and a host's end of the link with its own clock.
#![allow(dead_code, reason = "each test program uses its part of it")]

use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, MAX_CHANNELS, Unit};
use trackpair_protocol::frame::Deframer;
use trackpair_protocol::message::{
    Event, EventKind, Identity, Message, Reason, Refusal, Reply, Request, RigState, Start, Status, capability,
};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::{Program, Segment};
use trackpair_protocol::wire::Text;
use trackpair_rig_core::board::{Board, Drive, GuardLimits, Micros, Missed, MotorLimits, Vitals};
use trackpair_rig_core::rig::Rig;

/// The board's commands, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Call {
    Supply(Micros, u16),
    Input(Micros, u8, bool, bool),
    Drive(Micros, Drive),
    Grip(Micros, Option<i32>),
    Vitals(Micros, Vitals),
    Scan(Micros),
}

#[derive(Debug)]
pub struct MockBoard {
    pub vitals: Vitals,
    /// The measured supply follows the set one, unless fixed here.
    pub supply_mv: Option<u16>,
    pub identity: Identity,
    pub calls: Vec<Call>,
    /// Scans at these times are missed.
    pub misses: fn(Micros) -> bool,
    /// Columns in the table.
    pub channels: u8,
    /// The guards' limits.
    pub limits: GuardLimits,
}

impl MockBoard {
    pub fn new() -> Self {
        Self {
            vitals: Vitals { temperature_cdeg: 2_300, ..Vitals::default() },
            supply_mv: None,
            identity: Identity {
                session: 0,
                boot: 3,
                model: Text::new("mock"),
                serial: Text::new("0001"),
                firmware: Text::new("test"),
                capabilities: capability::GRIP_DRIVE | capability::LOADS | capability::REFERENCE,
                channels: 4,
                min_period_us: 100,
                max_period_us: 1_000_000,
                supply_mv: (4_000, 5_000),
                travel_mdeg: (-2_000, 90_000),
                max_speed_mdeg_s: 400_000,
                max_drive_mv: 0,
            },
            calls: Vec::new(),
            misses: |_| false,
            channels: 4,
            limits: LIMITS,
        }
    }

    /// The same with a motor bridge instead of a grip drive.
    pub fn body() -> Self {
        let mut board = Self::new();
        board.identity.capabilities = capability::BODY_DRIVE | capability::LOADS;
        board.identity.max_drive_mv = 13_000;
        board.limits.motor = Some(MOTOR);
        board.vitals.feedback_ppm = 200_000;
        board
    }

    /// The same with both drives: a grip and a motor bridge.
    pub fn pair() -> Self {
        let mut board = Self::body();
        board.identity.capabilities |= capability::GRIP_DRIVE | capability::REFERENCE;
        board.vitals.grip_ppm = 100_000;
        board
    }

    /// Every time the grip of a pair was turned or let go.
    pub fn grips(&self) -> impl Iterator<Item = (Micros, Option<i32>)> + '_ {
        self.calls.iter().filter_map(|call| match call {
            Call::Grip(at, to) => Some((*at, *to)),
            _ => None,
        })
    }

    /// Every time the drive was set, and how.
    pub fn drives(&self) -> impl Iterator<Item = (Micros, Drive)> + '_ {
        self.calls.iter().filter_map(|call| match call {
            Call::Drive(at, drive) => Some((*at, *drive)),
            _ => None,
        })
    }

    pub fn drive(&self) -> Drive {
        self.drives().last().expect("set at boot").1
    }
}

/// What column `k` counts at a time: a number that shows both.
pub fn count(at: Micros, k: usize) -> i32 {
    ((at / 100) % 3_000) as i32 * 10 + k as i32
}

pub const LIMITS: GuardLimits = GuardLimits {
    over_current_ma: 2_000,
    over_current_us: 5_000,
    travel_mdeg: (-5_000, 95_000),
    supply_tolerance_mv: 100,
    supply_settle_us: 10_000,
    temperature_cdeg: 6_000,
    motor: None,
};

pub const MOTOR: MotorLimits = MotorLimits {
    current_ma: 10_000,
    stall_ma: 1_500,
    stall_us: 200_000,
    stall_ppm: 3_000,
    heat_free_ma: 1_000,
    heat_budget_ma2_ms: 1_000_000_000,
    follow_mdeg: 10_000,
    follow_us: 300_000,
};

/// The plate's angle is 0 at a tenth of the supply and 80 deg at nine tenths.
pub const LOOP: LoopSettings = LoopSettings {
    closed_ppm: 100_000,
    open_ppm: 900_000,
    travel_mdeg: 80_000,
    kp_uv_mdeg: 1_000,
    ki_uv_mdeg_s: 8_000,
    kd_nv_s_mdeg: 10_000,
    speed_filter_us: 500,
    dead_mdeg: 100,
    current_ma: 9_000,
};

impl Board for MockBoard {
    fn identity(&self) -> Identity {
        self.identity
    }

    fn channel(&self, index: u8) -> Option<ChannelInfo> {
        let encodings = [Encoding::U16, Encoding::I16, Encoding::I32, Encoding::U16];
        (index < self.channels).then(|| ChannelInfo {
            index,
            encoding: encodings[usize::from(index) % 4],
            unit: Unit::Volt,
            has_load: index < 2,
            has_pull_down: index == 0,
            name: Text::new("column"),
            scale: 0.001,
            offset: 0.0,
            resolution: 0.001,
            filter_us: 100,
        })
    }

    fn calibration(&self, index: u8) -> Option<Calibration> {
        (index < self.channels).then(|| Calibration {
            channel: index,
            gain_uncertainty: 0.001,
            offset_uncertainty: 0.001,
            day: 20_000,
            certificate: Text::new("none"),
        })
    }

    fn guard_limits(&self) -> GuardLimits {
        self.limits
    }

    fn set_supply(&mut self, millivolts: u16, at: Micros) {
        self.vitals.supply_mv = millivolts;
        self.calls.push(Call::Supply(at, millivolts));
    }

    fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, at: Micros) {
        self.calls.push(Call::Input(at, channel, load, pull_down));
    }

    fn set_drive(&mut self, drive: Drive, at: Micros) {
        self.calls.push(Call::Drive(at, drive));
    }

    fn set_grip(&mut self, to_mdeg: Option<i32>, at: Micros) {
        self.calls.push(Call::Grip(at, to_mdeg));
    }

    fn vitals(&mut self, at: Micros) -> Vitals {
        let supply_mv = self.supply_mv.unwrap_or(self.vitals.supply_mv);
        let vitals = Vitals { supply_mv, ..self.vitals };
        self.calls.push(Call::Vitals(at, vitals));
        vitals
    }

    fn scan(&mut self, at: Micros, mask: u16, counts: &mut [i32; MAX_CHANNELS]) -> Result<(), Missed> {
        self.calls.push(Call::Scan(at));
        if (self.misses)(at) {
            return Err(Missed);
        }
        for (k, slot) in counts.iter_mut().enumerate().filter(|(k, _)| mask & 1 << k != 0) {
            *slot = count(at, k);
        }
        Ok(())
    }
}

/// One block as the host keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    pub run: u32,
    pub number: u32,
    pub first_us: Micros,
    pub period_us: u32,
    pub overrun_before: u32,
    pub scans: usize,
    /// `(column number, counts)`.
    pub columns: Vec<(usize, Vec<i32>)>,
}

/// What came from the rig.
#[derive(Clone, Debug, PartialEq)]
pub enum Heard {
    Reply(u16, Reply),
    Refusal(u16, Refusal),
    Event(Event),
    Block(Block),
}

/// A rig, the host's end of its link, and a clock.
pub struct Bench {
    pub rig: Rig<MockBoard>,
    pub now: Micros,
    pub id: u16,
    pub heard: Vec<Heard>,
    deframer: Deframer,
}

impl Bench {
    pub fn new(board: MockBoard) -> Self {
        let mut bench =
            Self { rig: Rig::new(board, 0), now: 0, id: 100, heard: Vec::new(), deframer: Deframer::new() };
        bench.drain();
        bench
    }

    /// With a session open.
    pub fn opened() -> Self {
        Self::opened_on(MockBoard::new())
    }

    /// With a session open on a board.
    pub fn opened_on(board: MockBoard) -> Self {
        let mut bench = Self::new(board);
        bench.must(Request::Identify { session: 9 });
        bench
    }

    /// With a session, a supply, a program, and armed.
    pub fn armed(program: &[Segment]) -> Self {
        let mut bench = Self::opened();
        bench.must(Request::SetSupply { millivolts: 5_000 });
        bench.must(Request::LoadProgram(Program::from_slice(program).expect("fits")));
        bench.must(Request::Arm);
        bench
    }

    /// A motor bridge with a session, a supply, its position loop, a program, and armed.
    pub fn armed_body(program: &[Segment]) -> Self {
        let mut bench = Self::opened_on(MockBoard::body());
        bench.must(Request::SetSupply { millivolts: 5_000 });
        bench.must(Request::SetLoop(LOOP));
        bench.must(Request::LoadProgram(Program::from_slice(program).expect("fits")));
        bench.must(Request::Arm);
        bench
    }

    /// Takes all that waits for the link.
    pub fn drain(&mut self) {
        let mut bytes = [0; 700];
        loop {
            let count = self.rig.transmit(&mut bytes);
            if count == 0 {
                return;
            }
            self.hear(&bytes[..count]);
        }
    }

    /// Reads bytes from the rig.
    pub fn hear(&mut self, bytes: &[u8]) {
        let channels = u8::try_from(MAX_CHANNELS).expect("small");
        let table = MockBoard { channels, ..MockBoard::new() };
        let encodings: Vec<Encoding> =
            (0..channels).filter_map(|k| table.channel(k)).map(|c| c.encoding).collect();
        let heard = &mut self.heard;
        self.deframer.push(bytes, |frame| {
            heard.push(match Message::decode(&frame).expect("a rig sends what can be read") {
                Message::Reply(reply) => Heard::Reply(frame.id, reply),
                Message::Refusal(refusal) => Heard::Refusal(frame.id, refusal),
                Message::Event(event) => Heard::Event(event),
                Message::Request(request) => panic!("a rig asks nothing: {request:?}"),
                Message::Samples(block) => Heard::Block(Block {
                    run: block.run,
                    number: block.number,
                    first_us: block.first_us,
                    period_us: block.period_us,
                    overrun_before: block.overrun_before,
                    scans: block.scans.into(),
                    columns: (0..channels)
                        .filter(|k| block.channels & 1 << k != 0)
                        .map(|k| (k.into(), block.column(k, &encodings).expect("fits").counts().collect()))
                        .collect(),
                }),
            });
        });
        assert_eq!(self.deframer.drops().frames(), 0, "a rig sends whole frames");
    }

    /// Lets time pass in steps of a millisecond, draining, without a word from the host.
    pub fn wait_silently(&mut self, us: Micros) {
        let end = self.now + us;
        while self.now < end {
            self.now = (self.now + 1_000).min(end);
            self.rig.poll(self.now);
            self.drain();
        }
    }

    /// Lets time pass with a heartbeat every 100 ms.
    pub fn wait(&mut self, us: Micros) {
        let end = self.now + us;
        while self.now < end {
            self.must(Request::Heartbeat);
            self.wait_silently(100_000.min(end - self.now));
        }
    }

    /// The next request's bytes.
    pub fn frame(&mut self, request: Request) -> Vec<u8> {
        self.id = self.id.wrapping_add(1);
        encode(request, self.id)
    }

    /// Sends bytes and takes what comes back at once.
    pub fn send(&mut self, bytes: &[u8]) -> Vec<Heard> {
        let before = self.heard.len();
        self.rig.handle(bytes, self.now);
        self.drain();
        self.heard[before..].to_vec()
    }

    /// The answer to bytes that hold one request.
    #[track_caller]
    pub fn answer(&mut self, bytes: &[u8]) -> Result<Reply, Refusal> {
        let heard = self.send(bytes);
        let mut answers = heard.iter().filter_map(|heard| match heard {
            Heard::Reply(_, reply) => Some(Ok(*reply)),
            Heard::Refusal(_, refusal) => Some(Err(*refusal)),
            _ => None,
        });
        let answer = answers.next().expect("an answer");
        assert!(answers.next().is_none(), "one answer");
        answer
    }

    #[track_caller]
    pub fn ask(&mut self, request: Request) -> Result<Reply, Refusal> {
        let bytes = self.frame(request);
        self.answer(&bytes)
    }

    #[track_caller]
    pub fn must(&mut self, request: Request) -> Reply {
        self.ask(request).expect("accepted")
    }

    /// Checks that a request is refused so.
    #[track_caller]
    pub fn refused(&mut self, request: Request, reason: Reason, detail: u32) {
        let refusal = self.ask(request).expect_err("refused");
        assert_eq!(refusal, Refusal { request: request.kind(), reason, detail });
    }

    #[track_caller]
    pub fn status(&mut self) -> Status {
        match self.must(Request::ReadStatus) {
            Reply::Status(status) => status,
            other => panic!("not a status: {other:?}"),
        }
    }

    #[track_caller]
    pub fn check_state(&mut self, state: RigState) {
        assert_eq!(self.status().state, state);
    }

    pub fn events(&self) -> Vec<Event> {
        self.heard
            .iter()
            .filter_map(|heard| match heard {
                Heard::Event(event) => Some(*event),
                _ => None,
            })
            .collect()
    }

    /// Times and kinds of the events since the last `Booted`.
    pub fn told(&self) -> Vec<(Micros, EventKind)> {
        self.events().iter().skip(1).map(|event| (event.rig_us, event.kind)).collect()
    }

    pub fn blocks(&self) -> Vec<&Block> {
        self.heard
            .iter()
            .filter_map(|heard| match heard {
                Heard::Block(block) => Some(block),
                _ => None,
            })
            .collect()
    }
}

pub fn encode(request: Request, id: u16) -> Vec<u8> {
    let mut bytes = vec![0; 2_000];
    let len = request.encode(id, &mut bytes).expect("fits");
    bytes.truncate(len);
    bytes
}

/// Run 1 of all four columns at 1 kHz, driving.
pub const DRIVING: Start = Start { run: 1, period_us: 1_000, channels: 0b1111, drive: true, max_us: 0 };
/// Run 1 of all four columns at 1 kHz, watching.
pub const WATCHING: Start = Start { drive: false, ..DRIVING };

/// A program that holds for 10 s.
pub const LONG: &[Segment] = &[Segment::Hold { us: 10_000_000 }];

pub fn program(segments: &[Segment]) -> Request {
    Request::LoadProgram(Program::from_slice(segments).expect("fits"))
}
