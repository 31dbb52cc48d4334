//! A small host for whole sessions over virtual time: it asks, runs programs, and keeps what it hears.

#![allow(dead_code, reason = "each test program uses its part of it")]

use trackpair_protocol::channel::Encoding;
use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{EndCause, EventKind, Guard, Message, Reply, Request, Start};
use trackpair_protocol::program::{Program, Segment};
use trackpair_rig_sim::board::column;
use trackpair_rig_sim::part::Part;
use trackpair_rig_sim::{PartSpec, RigSpec, SimBoard, SimRig, part_address};

/// A host that keeps what it hears.
pub struct Host {
    pub rig: SimRig,
    deframer: Deframer,
    id: u16,
    pub replies: Vec<Reply>,
    pub events: Vec<EventKind>,
    /// Guards that have tripped so far.
    pub tripped: Vec<Guard>,
    encodings: [Encoding; 8],
    scales: [f64; 8],
    pub times: Vec<u64>,
    pub columns: [Vec<f64>; 8],
    blocks: u32,
}

impl Host {
    pub fn new(rig: SimRig) -> Self {
        let (replies, events, tripped) = (Vec::new(), Vec::new(), Vec::new());
        let columns = std::array::from_fn(|_| Vec::new());
        let (deframer, times) = (Deframer::new(), Vec::new());
        let encodings = [Encoding::U16; 8];
        let (id, blocks, scales) = (0, 0, [0.0; 8]);
        let mut host =
            Self { rig, deframer, id, replies, events, tripped, encodings, scales, times, columns, blocks };
        host.ask(Request::Identify { session: 9 });
        for channel in 0..8 {
            match host.ask(Request::DescribeChannel { channel }) {
                Reply::Channel(info) => {
                    host.encodings[usize::from(channel)] = info.encoding;
                    host.scales[usize::from(channel)] = info.scale;
                }
                other => panic!("{other:?}"),
            }
        }
        host
    }

    pub fn of(address: &str) -> Self {
        Self::new(part_address(address).unwrap().rig())
    }

    pub fn exact(spec: PartSpec) -> Self {
        let part = Part::draw("exact", PartSpec { spread: false, ..spec }, 1);
        Self::new(SimRig::new(SimBoard::new(part, RigSpec::default(), 1)))
    }

    pub fn hear(&mut self, timeout_us: u64) {
        let mut bytes = [0; 4096];
        let n = self.rig.read(&mut bytes, timeout_us);
        self.deframer.push(&bytes[..n], |frame| match Message::decode(&frame).unwrap() {
            Message::Reply(reply) => self.replies.push(reply),
            Message::Event(event) => {
                if let EventKind::GuardTripped { guard, .. } = event.kind {
                    self.tripped.push(guard);
                }
                self.events.push(event.kind);
            }
            Message::Samples(block) => {
                assert_eq!(block.number, self.blocks, "a block is missing");
                self.blocks += 1;
                self.times.extend(
                    (0..block.scans).map(|j| block.first_us + u64::from(j) * u64::from(block.period_us)),
                );
                for channel in 0..8 {
                    if let Some(column) = block.column(channel, &self.encodings) {
                        let scale = self.scales[usize::from(channel)];
                        self.columns[usize::from(channel)]
                            .extend(column.counts().map(|c| scale * f64::from(c)));
                    }
                }
            }
            Message::Refusal(refusal) => panic!("{refusal:?}"),
            Message::Request(request) => panic!("{request:?}"),
        });
    }

    #[track_caller]
    pub fn ask(&mut self, request: Request) -> Reply {
        self.id += 1;
        let mut frame = [0; MAX_ENCODED];
        let n = request.encode(self.id, &mut frame).unwrap();
        self.replies.clear();
        self.rig.write(&frame[..n]);
        for _ in 0..1000 {
            self.hear(1000);
            if let Some(reply) = self.replies.pop() {
                return reply;
            }
        }
        panic!("no answer to {request:?}");
    }

    /// Runs until the rig says that the run has ended.
    pub fn finish(&mut self) -> EndCause {
        loop {
            for _ in 0..50 {
                self.hear(2000);
                let ended = |e: &EventKind| {
                    if let EventKind::RunEnded { cause, .. } = e { Some(*cause) } else { None }
                };
                if let Some(cause) = self.events.iter().find_map(ended) {
                    self.events.clear();
                    return cause;
                }
            }
            self.ask(Request::Heartbeat);
        }
    }

    pub fn run(&mut self, program: Option<&[Segment]>, seconds: f64) -> EndCause {
        self.columns.iter_mut().for_each(Vec::clear);
        self.times.clear();
        self.blocks = 0;
        let drive = program.is_some();
        if let Some(segments) = program {
            self.ask(Request::LoadProgram(Program::from_slice(segments).unwrap()));
            self.ask(Request::Arm);
        }
        let max_us = (seconds * 1e6) as u64;
        self.ask(Request::Start(Start {
            run: u32::from(self.id),
            period_us: 200,
            channels: 0xff,
            drive,
            max_us,
        }));
        self.finish()
    }

    pub fn supply(&mut self, millivolts: u16) {
        self.ask(Request::SetSupply { millivolts });
        let until = self.rig.now_us() + 50_000;
        while self.rig.now_us() < until {
            self.hear(1000);
        }
    }

    pub fn mean(&self, column: u8) -> f64 {
        let values = &self.columns[usize::from(column)];
        values.iter().sum::<f64>() / values.len() as f64
    }

    pub fn ratio(&self, column: u8) -> f64 {
        self.mean(column) / self.mean(column::SUPPLY)
    }
}

pub fn ramp(to_mdeg: i32) -> Segment {
    Segment::Ramp { to_mdeg, speed_mdeg_s: 60_000, accel_mdeg_s2: 2_000_000 }
}

#[track_caller]
pub fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
}
