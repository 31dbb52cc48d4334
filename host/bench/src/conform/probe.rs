//! Frames out, answers, events and blocks in.

use crate::link::{Link, LinkError};
use std::collections::VecDeque;
use std::time::Duration;
use trackpair_protocol::frame::{self, DELIMITER, Deframer, MAX_ENCODED};
use trackpair_protocol::message::{
    Event, Identity, Message, Reason, Refusal, Reply, Request, Status, capability, kind,
};

/// How long an answer is waited for before the frame is sent again. WIRE.md 2 asks a host to wait 100 ms.
const PATIENCE: Duration = Duration::from_millis(300);
/// How often a frame is sent.
const ATTEMPTS: u32 = 3;
/// How long nothing must come to be sure that nothing does.
pub(super) const QUIET: Duration = Duration::from_millis(300);

/// Why a point is not kept, or not known to be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub(super) enum Broken {
    /// The link failed.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// The rig does something else.
    #[error("{0}")]
    Otherwise(String),
    /// It can't be asked of this rig.
    #[error("{0}")]
    NotAsked(String),
}

/// Says what the rig does instead.
pub(super) fn otherwise<T>(what: impl Into<String>) -> Result<T, Broken> {
    Err(Broken::Otherwise(what.into()))
}

/// A frame that answers something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct AnswerFrame {
    pub(super) kind: u8,
    pub(super) id: u16,
    pub(super) payload: Vec<u8>,
}

/// A sample block without its samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct BlockSeen {
    pub(super) run: u32,
    pub(super) number: u32,
    pub(super) first_us: u64,
    pub(super) period_us: u32,
    pub(super) scans: u16,
    pub(super) channels: u16,
    pub(super) overrun_before: u32,
    pub(super) column_bytes: usize,
}

/// A host that asks what a rig does.
pub(super) struct Probe {
    link: Box<dyn Link>,
    deframer: Deframer,
    buffer: Vec<u8>,
    answers: VecDeque<AnswerFrame>,
    /// Events since the point began.
    pub(super) events: Vec<Event>,
    /// Blocks since the point began.
    pub(super) blocks: Vec<BlockSeen>,
    /// Frames that this program can't read.
    pub(super) unreadable: Vec<String>,
    id: u16,
    session: u32,
    run: u32,
    identity: Option<Identity>,
}

impl Probe {
    pub(super) fn new(link: Box<dyn Link>) -> Self {
        let session = crate::session::Options::default().session;
        Self {
            link,
            deframer: Deframer::new(),
            buffer: vec![0; 16 * 1024],
            answers: VecDeque::new(),
            events: Vec::new(),
            blocks: Vec::new(),
            unreadable: Vec::new(),
            id: session as u16,
            session,
            run: session,
            identity: None,
        }
    }

    /// A new session with everything off, and nothing left of what came before.
    pub(super) fn begin(&mut self) -> Result<Identity, Broken> {
        self.link.write(&[DELIMITER])?;
        let identity = self.identify()?;
        for request in [Request::Stop, Request::ClearTrip, Request::SetSupply { millivolts: 0 }] {
            // A guard whose cause is still there is no matter here.
            let _ = self.ask(&request)?;
        }
        let status = self.status()?;
        for channel in (0..16u8).filter(|k| (status.loads | status.pull_downs) >> k & 1 == 1) {
            let _ = self.ask(&Request::SetInput { channel, load: false, pull_down: false })?;
        }
        self.events.clear();
        self.blocks.clear();
        self.unreadable.clear();
        self.answers.clear();
        Ok(identity)
    }

    /// Opens a new session.
    pub(super) fn identify(&mut self) -> Result<Identity, Broken> {
        self.session = self.session.wrapping_add(1).max(1);
        let session = self.session;
        match self.reply(&Request::Identify { session })? {
            Reply::Identity(identity) if identity.session == session => {
                self.identity = Some(identity);
                Ok(identity)
            }
            Reply::Identity(identity) => otherwise(format!(
                "Identify of session {session} is answered for session {}",
                identity.session
            )),
            other => otherwise(format!("Identify is answered with {other:?}")),
        }
    }

    /// Who the rig is.
    pub(super) fn identity(&self) -> Result<Identity, Broken> {
        self.identity.ok_or_else(|| Broken::NotAsked("no session was opened".to_owned()))
    }

    pub(super) fn new_run(&mut self) -> u32 {
        self.run = self.run.wrapping_add(1).max(1);
        self.run
    }

    pub(super) fn new_id(&mut self) -> u16 {
        self.id = self.id.wrapping_add(1).max(1);
        self.id
    }

    pub(super) fn now(&self) -> Duration {
        self.link.now()
    }

    /// Sends bytes as they are.
    pub(super) fn send(&mut self, bytes: &[u8]) -> Result<(), Broken> {
        Ok(self.link.write(bytes)?)
    }

    /// Hears what comes within a time.
    pub(super) fn hear(&mut self, time: Duration) -> Result<(), Broken> {
        let until = self.link.now() + time;
        while let Some(left) = until.checked_sub(self.link.now()).filter(|left| !left.is_zero()) {
            self.hear_once(left)?;
        }
        Ok(())
    }

    /// Hears until `enough`, at most so long; whether it was.
    pub(super) fn hear_until(
        &mut self,
        most: Duration,
        enough: impl Fn(&Self) -> bool,
    ) -> Result<bool, Broken> {
        let until = self.link.now() + most;
        loop {
            if enough(self) {
                return Ok(true);
            }
            match until.checked_sub(self.link.now()).filter(|left| !left.is_zero()) {
                Some(left) => self.hear_once(left)?,
                None => return Ok(false),
            }
        }
    }

    fn hear_once(&mut self, time: Duration) -> Result<(), Broken> {
        let count = self.link.read(&mut self.buffer, time)?;
        let Self { deframer, buffer, answers, events, blocks, unreadable, .. } = self;
        deframer.push(&buffer[..count], |frame| match Message::decode(&frame) {
            Ok(Message::Event(event)) => events.push(event),
            Ok(Message::Samples(b)) => blocks.push(BlockSeen {
                run: b.run,
                number: b.number,
                first_us: b.first_us,
                period_us: b.period_us,
                scans: b.scans,
                channels: b.channels,
                overrun_before: b.overrun_before,
                column_bytes: b.columns.len(),
            }),
            Ok(_) => answers.push_back(AnswerFrame {
                kind: frame.kind,
                id: frame.id,
                payload: frame.payload.to_vec(),
            }),
            Err(error) => unreadable.push(format!("a frame of kind {:#04x}: {error:?}", frame.kind)),
        });
        Ok(())
    }

    /// Sends a frame and waits for the answer of its id; repeated as any host repeats.
    pub(super) fn exchange(&mut self, kind: u8, id: u16, payload: &[u8]) -> Result<AnswerFrame, Broken> {
        let mut bytes = [0; MAX_ENCODED];
        let Some(len) = frame::encode(kind, id, payload, &mut bytes) else {
            return Err(Broken::NotAsked("it does not fit a frame".to_owned()));
        };
        for _ in 0..ATTEMPTS {
            self.send(&bytes[..len])?;
            self.hear_until(PATIENCE, |probe| probe.answers_of(id) > 0)?;
            if let Some(answer) = self.take_answer(id) {
                return Ok(answer);
            }
        }
        let unreadable = self.unreadable.last().map_or(String::new(), |what| format!(" ({what})"));
        otherwise(format!("a frame of kind {kind:#04x} is not answered{unreadable}"))
    }

    /// Asks under a fresh id.
    pub(super) fn ask(&mut self, request: &Request) -> Result<Result<Reply, Refusal>, Broken> {
        let id = self.new_id();
        let (kind, payload) = encoded(request)?;
        let answer = self.exchange(kind, id, &payload)?;
        read(&answer, kind)
    }

    /// The same, for what no rig may refuse here.
    pub(super) fn reply(&mut self, request: &Request) -> Result<Reply, Broken> {
        match self.ask(request)? {
            Ok(reply) => Ok(reply),
            Err(refusal) => otherwise(format!("{request:?} is refused: {}", told(&refusal))),
        }
    }

    /// The same, for what a rig must refuse.
    pub(super) fn refused(
        &mut self,
        request: &Request,
        reason: Reason,
        detail: Option<u32>,
    ) -> Result<(), Broken> {
        let answer = self.ask(request)?;
        must_refuse(&format!("{request:?}"), answer, reason, detail)
    }

    /// Sends a payload of the host's own making, which the rig must refuse.
    pub(super) fn refused_bytes(
        &mut self,
        kind: u8,
        payload: &[u8],
        reason: Reason,
        detail: Option<u32>,
    ) -> Result<(), Broken> {
        let id = self.new_id();
        let answer = self.exchange(kind, id, payload)?;
        let what = format!("kind {kind:#04x} with {} bytes", payload.len());
        refuses(&what, kind, &answer, reason, detail)
    }

    pub(super) fn status(&mut self) -> Result<Status, Broken> {
        match self.reply(&Request::ReadStatus)? {
            Reply::Status(status) => Ok(status),
            other => otherwise(format!("ReadStatus is answered with {other:?}")),
        }
    }

    /// The first answer that came with an id, taken out.
    pub(super) fn take_answer(&mut self, id: u16) -> Option<AnswerFrame> {
        let at = self.answers.iter().position(|a| a.id == id)?;
        self.answers.remove(at)
    }

    /// How many answers wait that came with an id.
    pub(super) fn answers_of(&self, id: u16) -> usize {
        self.answers.iter().filter(|a| a.id == id).count()
    }
}

/// Kind and payload of a request.
pub(super) fn encoded(request: &Request) -> Result<(u8, Vec<u8>), Broken> {
    let mut bytes = [0; MAX_ENCODED];
    let mut found = None;
    if let Some(len) = request.encode(1, &mut bytes) {
        Deframer::new().push(&bytes[..len], |frame| found = Some((frame.kind, frame.payload.to_vec())));
    }
    found.ok_or_else(|| Broken::NotAsked("it does not fit a frame".to_owned()))
}

fn read(answer: &AnswerFrame, asked: u8) -> Result<Result<Reply, Refusal>, Broken> {
    let frame = frame::Frame {
        version: trackpair_protocol::VERSION,
        kind: answer.kind,
        id: answer.id,
        payload: &answer.payload,
    };
    match Message::decode(&frame) {
        Ok(Message::Reply(reply)) if answer.kind == asked | kind::REPLY => Ok(Ok(reply)),
        Ok(Message::Refusal(refusal)) if refusal.request == asked => Ok(Err(refusal)),
        Ok(Message::Refusal(refusal)) => {
            otherwise(format!("a refusal of kind {asked:#04x} names kind {:#04x}", refusal.request))
        }
        _ => otherwise(format!("kind {asked:#04x} is answered with kind {:#04x}", answer.kind)),
    }
}

/// Whether a frame answers `kind` with this refusal.
pub(super) fn refuses(
    what: &str,
    kind: u8,
    answer: &AnswerFrame,
    reason: Reason,
    detail: Option<u32>,
) -> Result<(), Broken> {
    must_refuse(what, read(answer, kind)?, reason, detail)
}

fn must_refuse(
    what: &str,
    answer: Result<Reply, Refusal>,
    reason: Reason,
    detail: Option<u32>,
) -> Result<(), Broken> {
    let wanted = match detail {
        Some(detail) => format!("{reason:?} {detail}"),
        None => format!("{reason:?}"),
    };
    match answer {
        Err(refusal) if refusal.reason == reason && detail.is_none_or(|d| d == refusal.detail) => Ok(()),
        Err(refusal) => otherwise(format!("{what} is refused with {}, not {wanted}", told(&refusal))),
        Ok(_) => otherwise(format!("{what} is accepted, and must be refused with {wanted}")),
    }
}

fn told(refusal: &Refusal) -> String {
    format!("{:?} {}", refusal.reason, refusal.detail)
}

/// Whether a rig drives a grip or a throttle body.
pub(super) const fn drives(identity: &Identity) -> bool {
    identity.capabilities & (capability::GRIP_DRIVE | capability::BODY_DRIVE) != 0
}
