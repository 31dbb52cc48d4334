//! A scripted rig behind an in-memory link on a virtual clock, for the tests of this layer. It follows the protocol only
//! as far as they need, and breaks it where they say.

use crate::link::{Link, LinkError};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::time::Duration;
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, Unit};
use trackpair_protocol::frame::{self, Deframer, MAX_ENCODED};
use trackpair_protocol::message::{
    EndCause, Event, EventKind, Guard, Identity, Message, Reason, Refusal, Reply, Request, RigState, Start,
    Status,
};
use trackpair_protocol::samples::SampleBlock;
use trackpair_protocol::wire::Text;

/// Scans in every block of the fake rig.
pub(super) const SCANS: u16 = 10;

/// What answers at the address.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Nature {
    /// A rig.
    #[default]
    Rig,
    /// Nothing at all.
    Silent,
    /// A cable whose transmit and receive are joined.
    Echo,
    /// Something that talks, but not this protocol.
    Babble,
    /// A rig of protocol version 9.
    OtherVersion,
    /// A rig that another program keeps asking: every request is stale.
    Busy,
    /// A rig whose seat another program has: everything is refused, because it is driving.
    Seated,
}

/// What is to happen. Block numbers are those of the run.
#[derive(Clone, Debug, Default)]
pub(super) struct Script {
    pub(super) nature: Nature,
    /// Blocks of a run; it ends by itself after them.
    pub(super) blocks: u32,
    /// Blocks that are lost on the line.
    pub(super) lost_blocks: Vec<u32>,
    /// The event that shows the run's end is lost.
    pub(super) end_untold: bool,
    /// A guard trips instead of this block.
    pub(super) guard_at: Option<u32>,
    /// The rig starts anew instead of this block.
    pub(super) reboot_at: Option<u32>,
    /// The rig falls silent instead of this block.
    pub(super) vanish_at: Option<u32>,
    /// Another program opens a session instead of this block.
    pub(super) taken_at: Option<u32>,
    /// The link reports its own loss instead of this block.
    pub(super) unplugged_at: Option<u32>,
    /// Requests that get no answer the first time, by their order; heartbeats don't count.
    pub(super) unanswered: Vec<u32>,
    /// Every answer is sent twice.
    pub(super) twice: bool,
    /// Gain uncertainty that it states.
    pub(super) gain_uncertainty: Option<f64>,
    /// Scale of its channels.
    pub(super) scale: Option<f64>,
}

/// What the rig has heard and how it stands.
#[derive(Clone, Debug, Default)]
pub(super) struct Heard {
    pub(super) requests: Vec<Request>,
    pub(super) ids: Vec<u16>,
    pub(super) supply_mv: u16,
    pub(super) running: bool,
    pub(super) delimiters_first: bool,
}

/// The link with the rig behind it.
pub(super) struct FakeRig {
    script: Script,
    heard: Rc<RefCell<Heard>>,
    now: Duration,
    /// The rig's clock is behind the link's by this.
    clock_zero: Duration,
    deframer: Deframer,
    out: VecDeque<u8>,
    events: u32,
    run: Option<Running>,
    last_run: u32,
    blocks_sent: u32,
    tripped: u16,
    gone: bool,
    unplugged: bool,
    /// The newest request of the window and the bytes that answered it.
    newest: Option<(u16, Vec<u8>)>,
}

#[derive(Clone, Copy)]
struct Running {
    start: Start,
    from_us: u64,
}

impl FakeRig {
    pub(super) fn new(script: Script) -> (Self, Rc<RefCell<Heard>>) {
        let heard = Rc::new(RefCell::new(Heard::default()));
        let rig = Self {
            script,
            heard: heard.clone(),
            now: Duration::from_secs(5),
            clock_zero: Duration::ZERO,
            deframer: Deframer::new(),
            out: VecDeque::new(),
            events: 0,
            run: None,
            last_run: 0,
            blocks_sent: 0,
            tripped: 0,
            gone: false,
            unplugged: false,
            newest: None,
        };
        (rig, heard)
    }

    fn rig_us(&self) -> u64 {
        (self.now - self.clock_zero).as_micros() as u64
    }

    fn send(&mut self, message: &Message<'_>, request_kind: u8, id: u16) {
        let mut bytes = [0; MAX_ENCODED];
        let len = message.encode(request_kind, id, &mut bytes).unwrap();
        self.out.extend(&bytes[..len]);
    }

    fn refuse(&mut self, request: u8, reason: Reason, detail: u32, id: u16) {
        self.send(&Message::Refusal(Refusal { request, reason, detail }), 0, id);
    }

    fn tell(&mut self, kind: EventKind) {
        let run = self.run.map_or(0, |running| running.start.run);
        let event = Event { number: self.events, rig_us: self.rig_us(), run, kind };
        self.events += 1;
        self.send(&Message::Event(event), 0, 0);
    }

    fn end_run(&mut self, cause: EndCause) {
        if self.run.is_some() {
            if self.script.end_untold {
                self.events += 1;
            } else {
                self.tell(EventKind::RunEnded { cause, blocks: self.blocks_sent });
            }
            self.run = None;
        }
        self.heard.borrow_mut().running = false;
    }

    fn answer(&mut self, request: &Request, id: u16) {
        let order = self.heard.borrow().requests.iter().filter(|r| **r != Request::Heartbeat).count() as u32;
        {
            let mut heard = self.heard.borrow_mut();
            heard.requests.push(*request);
            heard.ids.push(id);
        }
        let done = Reply::Done { rig_us: self.rig_us() };
        let reply = match *request {
            Request::Identify { session } => Reply::Identity(identity(session)),
            Request::DescribeChannel { channel } => {
                let info = channel_info(channel);
                Reply::Channel(ChannelInfo { scale: self.script.scale.unwrap_or(info.scale), ..info })
            }
            Request::ReadCalibration { channel } => {
                let mut calibration = calibration(channel);
                calibration.gain_uncertainty =
                    self.script.gain_uncertainty.unwrap_or(calibration.gain_uncertainty);
                Reply::Calibration(calibration)
            }
            Request::ReadStatus => Reply::Status(self.status()),
            Request::ClockPing { host_stamp } => Reply::Clock { host_stamp, rig_us: self.rig_us() },
            Request::SetSupply { millivolts } => {
                self.heard.borrow_mut().supply_mv = millivolts;
                self.tell(EventKind::SupplySet { millivolts });
                done
            }
            Request::Start(start) => {
                self.run = Some(Running { start, from_us: self.rig_us() });
                (self.last_run, self.blocks_sent) = (start.run, 0);
                self.heard.borrow_mut().running = true;
                self.tell(EventKind::RunStarted);
                done
            }
            Request::Stop => {
                self.end_run(EndCause::Stopped);
                done
            }
            _ => done,
        };
        if *request != Request::Heartbeat && self.script.unanswered.contains(&order) {
            return;
        }
        for _ in 0..1 + u8::from(self.script.twice) {
            self.send(&Message::Reply(reply), request.kind(), id);
        }
    }

    /// Carries a request out once, answers a repeat from memory, refuses an older one.
    fn place(&mut self, request: &Request, id: u16) {
        if matches!(request, Request::ReadStatus | Request::Heartbeat | Request::ClockPing { .. }) {
            return self.answer(request, id);
        }
        match &self.newest {
            Some((newest, answer)) if *newest == id => self.out.extend(answer.clone()),
            Some((newest, _)) if id.wrapping_sub(*newest) as i16 <= 0 => {
                let newest = *newest;
                self.refuse(request.kind(), Reason::Stale, newest.into(), id);
            }
            _ => {
                let sent = self.out.len();
                self.answer(request, id);
                let answer: Vec<u8> = self.out.iter().skip(sent).copied().collect();
                let lost = answer.is_empty();
                self.newest = (!lost).then_some((id, answer)).or(self.newest.take());
            }
        }
    }

    fn status(&self) -> Status {
        let state = match (self.tripped, self.run) {
            (0, None) => RigState::Resting,
            (0, Some(_)) => RigState::Driving,
            _ => RigState::Tripped,
        };
        Status {
            rig_us: self.rig_us(),
            state,
            tripped: self.tripped,
            present: 0,
            run: self.last_run,
            supply_mv: self.heard.borrow().supply_mv,
            overruns: 0,
            frames_dropped: 0,
            blocks: self.blocks_sent,
            loads: 0,
            pull_downs: 0,
            drive_on: false,
            heat_permille: 0,
        }
    }

    /// Sends the block that is due, or what the script has instead of it; whether there was something to do.
    fn advance_run(&mut self) {
        let Some(Running { start, from_us }) = self.run else { return };
        let number = self.blocks_sent;
        let span = u64::from(SCANS) * u64::from(start.period_us);
        if self.rig_us() < from_us + span * u64::from(number + 1) {
            return;
        }
        if self.script.guard_at == Some(number) {
            self.tripped = 1 << Guard::LidOpen as u16;
            self.tell(EventKind::GuardTripped { guard: Guard::LidOpen, value: 0 });
            return self.end_run(EndCause::Guard);
        }
        if self.script.reboot_at == Some(number) {
            (self.run, self.events, self.clock_zero) = (None, 0, self.now);
            {
                let mut heard = self.heard.borrow_mut();
                (heard.supply_mv, heard.running) = (0, false);
            }
            return self.tell(EventKind::Booted);
        }
        if self.script.taken_at == Some(number) {
            return self.end_run(EndCause::NewSession);
        }
        self.gone |= self.script.vanish_at == Some(number);
        self.unplugged |= self.script.unplugged_at == Some(number);
        self.blocks_sent += 1;
        if !self.script.lost_blocks.contains(&number) {
            self.send_block(number, &start, from_us + span * u64::from(number));
        }
        if self.blocks_sent == self.script.blocks {
            self.end_run(EndCause::Complete);
        }
    }

    /// A block whose counts are the scan's number in the run, in every column.
    fn send_block(&mut self, number: u32, start: &Start, first_us: u64) {
        let mut columns = Vec::new();
        for _ in 0..start.channels.count_ones() {
            let first = number * u32::from(SCANS);
            (first..first + u32::from(SCANS)).for_each(|count| columns.extend((count as u16).to_le_bytes()));
        }
        let block = SampleBlock {
            run: start.run,
            number,
            first_us,
            period_us: start.period_us,
            scans: SCANS,
            channels: start.channels,
            overrun_before: 0,
            columns: &columns,
        };
        self.send(&Message::Samples(block), 0, 0);
    }

    fn hear(&mut self, bytes: &[u8]) {
        let mut requests = Vec::new();
        self.deframer.push(bytes, |frame| {
            if let Ok(Message::Request(request)) = Message::decode(&frame) {
                requests.push((frame.id, frame.kind, request));
            }
        });
        for (id, kind, request) in requests {
            match self.script.nature {
                Nature::Rig => self.place(&request, id),
                Nature::Silent => {}
                Nature::Echo => {
                    let mut bytes = [0; MAX_ENCODED];
                    if let Some(len) = request.encode(id, &mut bytes) {
                        self.out.extend(&bytes[..len]);
                    }
                }
                Nature::Babble => self.out.extend(b"AT+OK\r\nready\r\n\0"),
                Nature::OtherVersion => self.send_other_version(id),
                Nature::Seated => self.refuse(kind, Reason::Untimely, RigState::Driving as u32, id),
                Nature::Busy if matches!(request, Request::Identify { .. }) => self.answer(&request, id),
                Nature::Busy => self.refuse(kind, Reason::Stale, 77, id),
            }
        }
    }

    /// A frame whose header says version 9: made from a good one, with the CRC of the whole.
    fn send_other_version(&mut self, id: u16) {
        let mut raw = vec![9, 0x81];
        raw.extend(id.to_le_bytes());
        raw.extend([1, 2, 3, 4]);
        raw.extend(trackpair_protocol::crc::crc32(&raw).to_le_bytes());
        let mut bytes = [0; MAX_ENCODED];
        let len = trackpair_protocol::cobs::encode(&raw, &mut bytes).unwrap();
        self.out.extend(&bytes[..len]);
        self.out.push_back(frame::DELIMITER);
    }
}

impl Link for FakeRig {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        if self.unplugged {
            return Err(self.lost());
        }
        let mut heard = self.heard.borrow_mut();
        heard.delimiters_first |= heard.requests.is_empty() && bytes.first() == Some(&frame::DELIMITER);
        drop(heard);
        self.now += Duration::from_micros(100);
        if !self.gone {
            self.hear(bytes);
        }
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let deadline = self.now + timeout;
        loop {
            if self.unplugged {
                return Err(self.lost());
            }
            let count = if self.gone { 0 } else { self.out.len().min(out.len()) };
            if count > 0 || self.now >= deadline {
                out.iter_mut().zip(self.out.drain(..count)).for_each(|(slot, byte)| *slot = byte);
                return Ok(count);
            }
            self.now = (self.now + Duration::from_micros(500)).min(deadline);
            self.advance_run();
        }
    }

    fn now(&self) -> Duration {
        self.now
    }

    fn address(&self) -> &str {
        "fake:rig"
    }
}

impl FakeRig {
    fn lost(&self) -> LinkError {
        LinkError::Lost { address: self.address().to_owned(), cause: "unplugged".to_owned() }
    }
}

fn identity(session: u32) -> Identity {
    Identity {
        session,
        boot: 3,
        model: Text::new("fake"),
        serial: Text::new("F-1"),
        firmware: Text::new("0"),
        capabilities: 0x1F,
        channels: 2,
        min_period_us: 100,
        max_period_us: 100_000,
        supply_mv: (4_000, 5_000),
        travel_mdeg: (-3_000, 80_000),
        max_speed_mdeg_s: 400_000,
        max_drive_mv: 0,
    }
}

fn channel_info(index: u8) -> ChannelInfo {
    let (name, unit) = if index == 0 { ("rising", Unit::Volt) } else { ("reference", Unit::Degree) };
    ChannelInfo {
        index,
        encoding: Encoding::U16,
        unit,
        has_load: true,
        has_pull_down: true,
        name: Text::new(name),
        scale: 5e-4,
        offset: 1.0,
        resolution: 5e-4,
        filter_us: 100,
    }
}

fn calibration(channel: u8) -> Calibration {
    Calibration {
        channel,
        gain_uncertainty: 1e-5,
        offset_uncertainty: 2e-5,
        day: 20_000,
        certificate: Text::new("none"),
    }
}
