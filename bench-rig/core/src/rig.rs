//! Requests and their answers around the machine: frames in, the request-id window, refusals, bytes out.

use trackpair_protocol::VERSION;
use trackpair_protocol::frame::{DELIMITER, Deframer, Frame};
use trackpair_protocol::message::{
    DecodeError, Identity, Message, Reason, Refusal, Reply, Request, RigState, capability, kind,
};

use crate::board::{Board, Micros};
use crate::machine::{Machine, WhyRefused};
use crate::queue::Priority;
use crate::window::{MAX_ANSWER, Place, Window};

/// A rig: protocol and safety around a board.
#[derive(Debug)]
pub struct Rig<B: Board> {
    deframer: Deframer,
    desk: Desk<B>,
}

impl<B: Board> Rig<B> {
    /// Starts unpowered at `now`: drive off, supply off, loads and pull-downs off.
    pub fn new(board: B, now: Micros) -> Self {
        let desk = Desk {
            machine: Machine::new(board, now),
            window: Window::new(),
            ignored: 0,
            frames_dropped: 0,
            answers_lost: 0,
        };
        Self { deframer: Deframer::new(), desk }
    }

    /// Takes bytes from the link as they come. Work that is due before `now` is done first.
    pub fn handle(&mut self, bytes: &[u8], now: Micros) {
        let now = self.desk.machine.advance(now);
        let desk = &mut self.desk;
        // Frame by frame, so that a status counts what was dropped right before it.
        for piece in bytes.split_inclusive(|byte| *byte == DELIMITER) {
            self.deframer.push(piece, |frame| desk.on_frame(&frame, now));
            desk.frames_dropped = self.deframer.drops().frames();
        }
        // A run that has just started takes its first scan now.
        desk.machine.advance(now);
    }

    /// Does what is due up to `now`: guards, setpoints, scans, blocks. The queue for the link holds 8 KiB: a caller that
    /// goes far ahead in one call without [`Rig::transmit`] overruns it.
    pub fn poll(&mut self, now: Micros) {
        self.desk.machine.advance(now);
    }

    /// Moves bytes for the link into `out`, whole frames or parts of one, in order; how many. 0 when none wait.
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        self.desk.machine.queue.pop(out)
    }

    /// When [`Rig::poll`] should be called next at the latest.
    pub fn next_due(&self) -> Micros {
        self.desk.machine.next_due()
    }

    /// The link to the host is gone, and whoever comes next is another: the session and its run end, disarmed.
    pub fn hang_up(&mut self, now: Micros) {
        let now = self.desk.machine.advance(now);
        self.desk.machine.new_session(now);
        self.desk.window = Window::new();
        self.deframer = Deframer::new();
    }

    /// What the rig is doing.
    pub fn state(&self) -> RigState {
        self.desk.machine.state()
    }

    /// The board.
    pub fn board(&self) -> &B {
        &self.desk.machine.board
    }

    /// The board, for a test or simulator that pokes it.
    pub fn board_mut(&mut self) -> &mut B {
        &mut self.desk.machine.board
    }

    /// Frames that came in but are such as only a rig sends (an echo); they are never answered. Saturates.
    pub fn ignored_frames(&self) -> u32 {
        self.desk.ignored
    }
}

/// Where requests are answered.
#[derive(Debug)]
struct Desk<B: Board> {
    machine: Machine<B>,
    window: Window,
    ignored: u32,
    frames_dropped: u32,
    /// Answers for which there was no room.
    answers_lost: u32,
}

impl<B: Board> Desk<B> {
    fn on_frame(&mut self, frame: &Frame<'_>, now: Micros) {
        if frame.kind >= kind::SAMPLES {
            self.ignored = self.ignored.saturating_add(1);
            return;
        }
        let request = match Message::decode(frame) {
            Ok(Message::Request(request)) => Ok(request),
            Ok(_) => Err((Reason::Unknown, frame.kind.into())),
            Err(DecodeError::Unknown(kind)) => Err((Reason::Unknown, kind.into())),
            Err(DecodeError::Malformed(_)) => Err((Reason::Malformed, frame.payload.len() as u32)),
            // Another version's ids may mean something else: the window is not touched.
            Err(DecodeError::Version(_)) => {
                return self.send_refusal(frame, (Reason::Version, VERSION.into()));
            }
        };
        if matches!(frame.kind, kind::READ_STATUS | kind::HEARTBEAT | kind::CLOCK_PING) {
            self.answer(frame, request, now);
            return;
        }
        let opens = match request {
            Ok(Request::Identify { session }) => Some(session),
            _ => None,
        };
        match self.window.place(frame, opens) {
            Place::NoSession => match request {
                Err(no @ (Reason::Unknown, _)) => self.send_refusal(frame, no),
                Err(no) if frame.kind == kind::IDENTIFY => self.send_refusal(frame, no),
                _ => self.send_refusal(frame, (Reason::NoSession, 0)),
            },
            Place::Stale { newest } => self.send_refusal(frame, (Reason::Stale, newest.into())),
            Place::Repeat => {
                let queued = self.machine.queue.push(self.window.answer(), Priority::Answer);
                self.count_lost(queued);
            }
            Place::New => {
                let (bytes, len) = self.answer(frame, request, now);
                self.window.remember(frame, &bytes[..len]);
            }
        }
    }

    /// Carries the request out and sends its answer; the answer's bytes. When the queue has no room the answer is lost and counted:
    /// the host asks again.
    fn answer(
        &mut self,
        frame: &Frame<'_>,
        request: Result<Request, WhyRefused>,
        now: Micros,
    ) -> ([u8; MAX_ANSWER], usize) {
        let answer = match request.and_then(|request| self.carry_out(&request, now)) {
            Ok(reply) => {
                if self.keeps_alive(frame.kind) {
                    self.machine.hear(now);
                }
                Message::Reply(reply)
            }
            Err(no) => refusal(frame, no),
        };
        self.send(frame, &answer)
    }

    /// Whether an accepted request is a sign of life of the session's host: anybody may ask for the status or the clock.
    fn keeps_alive(&self, request: u8) -> bool {
        self.window.is_open() && !matches!(request, kind::READ_STATUS | kind::CLOCK_PING)
    }

    fn send_refusal(&mut self, frame: &Frame<'_>, why: WhyRefused) {
        self.send(frame, &refusal(frame, why));
    }

    fn send(&mut self, frame: &Frame<'_>, answer: &Message<'_>) -> ([u8; MAX_ANSWER], usize) {
        let mut bytes = [0; MAX_ANSWER];
        let len = answer.encode(frame.kind, frame.id, &mut bytes).unwrap_or(0);
        let queued = self.machine.queue.push(&bytes[..len], Priority::Answer);
        self.count_lost(queued);
        (bytes, len)
    }

    fn count_lost(&mut self, queued: bool) {
        self.answers_lost = self.answers_lost.saturating_add(u32::from(!queued));
    }

    fn carry_out(&mut self, request: &Request, now: Micros) -> Result<Reply, WhyRefused> {
        let machine = &mut self.machine;
        match request {
            Request::Identify { session } => {
                machine.new_session(now);
                self.window.open(*session);
                return Ok(Reply::Identity(Identity { session: *session, ..*machine.identity() }));
            }
            Request::DescribeChannel { channel } => {
                return machine.board.channel(*channel).map(Reply::Channel).ok_or((Reason::OutOfRange, 0));
            }
            Request::ReadCalibration { channel } => {
                return machine
                    .board
                    .calibration(*channel)
                    .map(Reply::Calibration)
                    .ok_or((Reason::OutOfRange, 0));
            }
            Request::ReadStatus => {
                let dropped = self.frames_dropped.saturating_add(self.answers_lost);
                return Ok(Reply::Status(machine.status(dropped, now)));
            }
            Request::ClockPing { host_stamp } => {
                return Ok(Reply::Clock { host_stamp: *host_stamp, rig_us: now });
            }
            Request::Heartbeat => {}
            Request::SetSupply { millivolts } => machine.request_supply(*millivolts, now)?,
            Request::SetInput { channel, load, pull_down } => {
                check_input(machine, *channel, *load, *pull_down)?;
                machine.set_input(*channel, *load, *pull_down, now);
            }
            Request::LoadProgram(program) => {
                check_drive(machine.identity())?;
                machine.load(program)?;
            }
            Request::SetLoop(settings) => machine.set_loop(settings)?,
            Request::SetMapping(mapping) => machine.set_mapping(mapping)?,
            Request::Arm => {
                check_drive(machine.identity())?;
                machine.arm(now)?;
            }
            Request::Start(start) => {
                if start.drive {
                    check_drive(machine.identity())?;
                }
                machine.start(start, now)?;
            }
            Request::Stop => machine.stop(now),
            Request::ClearTrip => machine.clear_trip(now)?,
        }
        Ok(Reply::Done { rig_us: now })
    }
}

fn refusal(frame: &Frame<'_>, (reason, detail): WhyRefused) -> Message<'static> {
    Message::Refusal(Refusal { request: frame.kind, reason, detail })
}

/// A rig without a drive can't arm, move or hold a program.
fn check_drive(identity: &Identity) -> Result<(), WhyRefused> {
    if identity.capabilities & (capability::GRIP_DRIVE | capability::BODY_DRIVE) == 0 {
        return Err((Reason::NotCapable, capability::GRIP_DRIVE));
    }
    Ok(())
}

/// Whether the channel has what is to be switched on.
fn check_input<B: Board>(
    machine: &Machine<B>,
    channel: u8,
    load: bool,
    pull_down: bool,
) -> Result<(), WhyRefused> {
    let info = machine.board.channel(channel).ok_or((Reason::OutOfRange, 0))?;
    if machine.identity().capabilities & capability::LOADS == 0 {
        return Err((Reason::NotCapable, capability::LOADS));
    }
    if load && !info.has_load {
        return Err((Reason::OutOfRange, 1));
    }
    if pull_down && !info.has_pull_down {
        return Err((Reason::OutOfRange, 2));
    }
    Ok(())
}
