//! A real port with a thread of its own: bytes, repeats and heartbeats go on whatever the session's owner does meanwhile (a disk that is slow,
//! an analysis, a page). What came waits in a queue; where its owner is too slow for the samples, blocks are dropped and reported, never stalled.

use super::SessionError;
use super::endpoint::{Answer, Endpoint, Patience, Seen};
use super::heard::Heard;
use super::journal::{Journal, LineEvent};
use super::pace::Pace;
use crate::link::{LinkError, Port, Stream, WRITE_PATIENCE, passes};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};
use trackpair_protocol::message::Request;

/// Blocks that may wait for the session's owner: 80 s at the longest time a block takes, some 5 MB.
pub(super) const MOST_WAITING: usize = 4_096;
/// How long what is still to be sent may take at the end.
const LAST_WORDS: Duration = Duration::from_millis(100);
/// How long the driver may take to hand over its story.
const STORY_PATIENCE: Duration = Duration::from_secs(1);
/// Things handed on in one go.
const AT_ONCE: usize = 256;

/// What the session wants of its driver.
enum Command {
    Ask { ticket: u64, request: Box<Request>, patience: Patience },
    KeepAlive,
    Note(LineEvent),
    Story(Sender<Journal>),
    LetGo,
}

/// What the driver hands over.
enum Handed {
    Heard(Heard),
    Answer { ticket: u64, answer: Answer },
    Fault(SessionError),
}

/// What the session's owner may look at at any time.
#[derive(Default)]
struct Shared {
    seen: Seen,
    /// The link's story, when the driver has ended.
    story: Option<Journal>,
}

/// The session's end of it.
pub(super) struct Driven {
    commands: Option<UnboundedSender<Command>>,
    handed: Receiver<Handed>,
    waiting: Arc<AtomicUsize>,
    shared: Arc<Mutex<Shared>>,
    opened: Instant,
    address: String,
    heard: VecDeque<Heard>,
    ticket: u64,
    answer: Option<Answer>,
    /// Why the driver has ended.
    lost: Option<SessionError>,
    thread: Option<JoinHandle<()>>,
}

impl Driven {
    /// Starts the driver of a port; request ids follow on `last_id`.
    ///
    /// # Errors
    /// [`LinkError::Open`] when the system gives no thread.
    pub(super) fn start(port: Port, last_id: u16) -> Result<Self, SessionError> {
        let Port { runtime, stream, address } = port;
        let (commands, orders) = unbounded_channel();
        let (hand, handed) = channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let shared = Arc::new(Mutex::new(Shared::default()));
        let opened = Instant::now();
        let driver = Driver {
            endpoint: Endpoint::new(last_id, &address),
            hand,
            waiting: Arc::clone(&waiting),
            shed: 0,
            shared: Arc::clone(&shared),
            opened,
            address: address.clone(),
            ticket: 0,
        };
        let work = move || runtime.block_on(driver.drive(stream, orders));
        let thread =
            std::thread::Builder::new().name("rig link".to_owned()).spawn(work).map_err(|error| {
                LinkError::Open {
                    address: address.clone(),
                    cause: error.to_string(),
                    advice: "close other programs and try again".to_owned(),
                }
            })?;
        Ok(Self {
            commands: Some(commands),
            handed,
            waiting,
            shared,
            opened,
            address,
            heard: VecDeque::new(),
            ticket: 0,
            answer: None,
            lost: None,
            thread: Some(thread),
        })
    }

    pub(super) fn ask(&mut self, request: &Request, patience: Patience) -> bool {
        let mut bytes = [0; trackpair_protocol::frame::MAX_ENCODED];
        if request.encode(0, &mut bytes).is_none() {
            return false;
        }
        self.ticket += 1;
        self.answer = None;
        self.order(Command::Ask { ticket: self.ticket, request: Box::new(*request), patience });
        true
    }

    pub(super) fn pump(&mut self, timeout: Duration) -> Result<(), SessionError> {
        if let Some(lost) = &self.lost {
            return Err(lost.clone());
        }
        let mut next = match self.handed.recv_timeout(timeout) {
            Ok(handed) => Some(handed),
            Err(RecvTimeoutError::Timeout) => return Ok(()),
            Err(RecvTimeoutError::Disconnected) => return Err(self.ended()),
        };
        let mut left = AT_ONCE;
        while let Some(handed) = next {
            self.take(handed)?;
            left -= 1;
            next = if left == 0 || self.answer.is_some() { None } else { self.handed.try_recv().ok() };
        }
        Ok(())
    }

    pub(super) fn take_heard(&mut self) -> Option<Heard> {
        self.heard.pop_front()
    }

    pub(super) fn take_answer(&mut self) -> Option<Answer> {
        self.answer.take()
    }

    pub(super) fn keep_alive(&mut self) {
        self.order(Command::KeepAlive);
    }

    pub(super) fn note(&mut self, told: LineEvent) {
        self.order(Command::Note(told));
    }

    pub(super) fn journal(&mut self) -> Journal {
        let (tell, told) = channel();
        self.order(Command::Story(tell));
        match told.recv_timeout(STORY_PATIENCE) {
            Ok(story) => story,
            Err(_) => locked(&self.shared).story.clone().unwrap_or_else(|| Journal::of(&self.address)),
        }
    }

    pub(super) fn let_go(&mut self) {
        self.order(Command::LetGo);
    }

    pub(super) fn seen(&self) -> Seen {
        locked(&self.shared).seen
    }

    pub(super) fn now(&self) -> Duration {
        self.opened.elapsed()
    }

    pub(super) fn address(&self) -> &str {
        &self.address
    }

    /// A driver that has ended takes no orders; the next [`Driven::pump`] says so.
    fn order(&mut self, command: Command) {
        if let Some(commands) = &self.commands {
            let _ = commands.send(command);
        }
    }

    fn take(&mut self, handed: Handed) -> Result<(), SessionError> {
        match handed {
            Handed::Heard(heard) => {
                if matches!(heard, Heard::Block(_)) {
                    self.waiting.fetch_sub(1, Ordering::Relaxed);
                }
                self.heard.push_back(heard);
            }
            // An answer to what is not waited for any more.
            Handed::Answer { ticket, .. } if ticket != self.ticket => {}
            Handed::Answer { answer, .. } => self.answer = Some(answer),
            Handed::Fault(fault) => {
                if matches!(fault, SessionError::Link(_)) {
                    self.lost = Some(fault.clone());
                }
                return Err(fault);
            }
        }
        Ok(())
    }

    fn ended(&mut self) -> SessionError {
        let cause = "its driver has ended".to_owned();
        let lost = SessionError::Link(LinkError::Lost { address: self.address.clone(), cause });
        self.lost.get_or_insert(lost).clone()
    }
}

impl Drop for Driven {
    /// Waits for the driver, so that the port is free again.
    fn drop(&mut self) {
        self.commands = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The thread's end of it.
struct Driver {
    endpoint: Endpoint,
    hand: Sender<Handed>,
    /// Blocks that the session's owner has not taken yet.
    waiting: Arc<AtomicUsize>,
    shed: u64,
    shared: Arc<Mutex<Shared>>,
    opened: Instant,
    address: String,
    ticket: u64,
}

impl Driver {
    async fn drive(mut self, stream: Box<dyn Stream>, mut orders: UnboundedReceiver<Command>) {
        let (mut reader, mut writer) = tokio::io::split(stream);
        let mut buffer = vec![0; 16 * 1024];
        let mut out = Vec::new();
        let mut out_since = self.now();
        let mut pace = Pace::default();
        loop {
            let now = self.now();
            self.endpoint.tick(now);
            let more = self.endpoint.take_out();
            if !more.is_empty() {
                if out.is_empty() {
                    out_since = now;
                }
                out.extend(more);
                pace.wrote();
            }
            self.hand_over();
            if !out.is_empty() && now.saturating_sub(out_since) >= WRITE_PATIENCE {
                return self.end(&"it takes no bytes any more");
            }
            // The clock of the port's thread has steps of 1 ms: it wakes up once behind, not many times before.
            let gather = pace.gather(now, WRITE_PATIENCE);
            let stuck = (!out.is_empty()).then_some(out_since + WRITE_PATIENCE);
            let gathered = (!gather.is_zero()).then_some(now + gather);
            let due = [self.endpoint.deadline(), stuck, gathered].into_iter().flatten().min();
            let wait = due.map_or(WRITE_PATIENCE, |at| at.saturating_sub(now));
            tokio::select! {
                biased;
                order = orders.recv() => match order {
                    Some(order) => self.take(order),
                    None => break,
                },
                wrote = writer.write(&out), if !out.is_empty() => match wrote {
                    Ok(0) => return self.end(&"the port was closed"),
                    Ok(count) => {
                        out.drain(..count);
                        out_since = self.now();
                    }
                    Err(error) if passes(error.kind()) => {}
                    Err(error) => return self.end(&error),
                },
                read = reader.read(&mut buffer), if gather.is_zero() => match read {
                    Ok(0) => return self.end(&"the other end was closed"),
                    Ok(count) => {
                        let now = self.now();
                        pace.read(now);
                        self.endpoint.received(now, &buffer[..count]);
                    }
                    Err(error) if passes(error.kind()) => {}
                    Err(error) => return self.end(&error),
                },
                () = tokio::time::sleep(wait) => {
                    if gather.is_zero() {
                        self.endpoint.nothing_came(self.now());
                    }
                }
            }
        }
        // Nobody asks any more: what was to be sent still goes out.
        out.extend(self.endpoint.take_out());
        let _ = tokio::time::timeout(LAST_WORDS, async {
            writer.write_all(&out).await?;
            writer.flush().await
        })
        .await;
    }

    fn now(&self) -> Duration {
        self.opened.elapsed()
    }

    fn take(&mut self, order: Command) {
        match order {
            Command::Ask { ticket, request, patience } => {
                self.ticket = ticket;
                self.endpoint.ask(self.now(), &request, patience);
            }
            Command::KeepAlive => self.endpoint.keep_alive(),
            Command::Note(told) => {
                let now = self.now();
                self.endpoint.journal().tell(now, told);
            }
            Command::Story(tell) => {
                let _ = tell.send(self.endpoint.journal().clone());
            }
            Command::LetGo => self.endpoint.let_go(),
        }
    }

    fn hand_over(&mut self) {
        while let Some(heard) = self.endpoint.take_heard() {
            let heard = self.with_room(heard);
            self.send(Handed::Heard(heard));
        }
        let mut seen = self.endpoint.seen();
        seen.counts.blocks_shed = self.shed;
        locked(&self.shared).seen = seen;
        if let Some(fault) = self.endpoint.take_fault() {
            self.send(Handed::Fault(fault));
        }
        if let Some(answer) = self.endpoint.take_answer() {
            self.send(Handed::Answer { ticket: self.ticket, answer });
        }
    }

    /// A block for which there is no room is reported instead.
    fn with_room(&mut self, heard: Heard) -> Heard {
        let Heard::Block(block) = &heard else { return heard };
        if self.waiting.load(Ordering::Relaxed) >= MOST_WAITING {
            self.shed += 1;
            let block = block.view();
            return Heard::Shed { run: block.run, number: block.number };
        }
        self.waiting.fetch_add(1, Ordering::Relaxed);
        heard
    }

    /// The session's owner may have gone: then nobody misses it.
    fn send(&self, handed: Handed) {
        let _ = self.hand.send(handed);
    }

    /// The port is gone.
    fn end(&mut self, cause: &dyn std::fmt::Display) {
        let lost = LinkError::Lost { address: self.address.clone(), cause: cause.to_string() };
        let now = self.now();
        self.endpoint.journal().tell(now, LineEvent::Fault { why: lost.to_string() });
        self.hand_over();
        locked(&self.shared).story = Some(self.endpoint.journal().clone());
        self.send(Handed::Fault(lost.into()));
    }
}

fn locked(shared: &Mutex<Shared>) -> MutexGuard<'_, Shared> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}
