//! The simulated rig in real time behind a pty or a TCP port. The rig's loop never waits for a link: threads of their own read and
//! write, bounded queues in between; when the queue to the host is full, bytes stay in the core, which counts its overruns. One TCP host at a
//! time has the seat; another learns so. Whoever leaves it takes the session along.

use std::collections::VecDeque;
use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::str::FromStr;
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use thiserror::Error;
use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{Message, Reason, Refusal, kind};
use trackpair_rig_core::DEAD_HOST_US;
use trackpair_rig_core::rig::Rig;

use crate::board::SimBoard;
use crate::drive_log::DriveLog;

/// Bytes that may wait for a slow host outside the core.
const OUTBOX: usize = 16 * 1024;
/// Reads that may wait for the rig's loop.
const INBOX: usize = 64;
/// The loop looks at the rig at least this often, unless bytes come in: while the rig has something to say …
const STREAMING_WAIT: Duration = Duration::from_millis(1);
/// … and while it has not. What was due meanwhile is done late, but at its own time on the rig's clock.
const QUIET_WAIT: Duration = Duration::from_millis(5);
/// So long without a byte for the host is quiet.
const QUIET_AFTER: Duration = Duration::from_millis(100);
/// So long a second host waits for the first to go, before it learns that the rig is taken.
const SEAT_WAIT: Duration = Duration::from_millis(200);
/// A host that learned so may ask again for this long.
const TURNED_AWAY: Duration = Duration::from_secs(1);
/// A host that says nothing for so long leaves its seat to the next: the rig takes it for dead.
const DEAD_HOST: Duration = Duration::from_micros(DEAD_HOST_US);

/// Where to serve.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Listen {
    /// A pseudo terminal.
    Pty,
    /// `HOST:PORT`; port 0 takes a free one.
    Tcp(String),
}

/// Why a rig cannot be served.
#[derive(Debug, Error)]
pub enum ServeError {
    /// Not a place to listen.
    #[error("cannot listen on {0:?}; use pty or tcp:HOST:PORT (port 0 takes a free one)")]
    Place(String),
    /// The port cannot be had.
    #[error("cannot listen on tcp:{place}: {cause}; choose another port, or 0 for a free one")]
    Bind {
        /// What was asked for.
        place: String,
        /// The system's message.
        cause: std::io::Error,
    },
    /// There is no pty to be had.
    #[error("cannot open a pseudo terminal: {0}; use --listen tcp:127.0.0.1:0")]
    Pty(String),
    /// The log of the drive can't be written.
    #[error("cannot write the drive log: {0}; give another --drive-log FILE")]
    DriveLog(String),
    /// The link has failed for good.
    #[error("the link has ended; start the rig again")]
    Ended,
}

impl FromStr for Listen {
    type Err = ServeError;

    fn from_str(text: &str) -> Result<Self, ServeError> {
        match text.strip_prefix("tcp:") {
            Some(place) if place.contains(':') => Ok(Self::Tcp(place.to_owned())),
            None if text == "pty" => Ok(Self::Pty),
            _ => Err(ServeError::Place(text.to_owned())),
        }
    }
}

/// Things that happen to the rig while it serves, for tests of a host: seconds after the start.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Script {
    /// The E-stop is pressed.
    pub estop_after_s: Option<f64>,
    /// The lid is opened.
    pub lid_after_s: Option<f64>,
    /// The rig is 90 °C hot.
    pub hot_after_s: Option<f64>,
    /// The sensor supply sags to 3 V.
    pub sag_after_s: Option<f64>,
}

impl Script {
    fn apply(&mut self, now_us: u64, board: &mut SimBoard) {
        let due = |when: &mut Option<f64>| when.take_if(|s| now_us as f64 >= *s * 1e6).is_some();
        if due(&mut self.estop_after_s) {
            board.set_emergency_stop(true);
        }
        if due(&mut self.lid_after_s) {
            board.set_lid_open(true);
        }
        if due(&mut self.hot_after_s) {
            board.set_temperature(90.0);
        }
        if due(&mut self.sag_after_s) {
            board.set_supply_fault(Some(3.0));
        }
    }
}

/// Bytes on their way to the host.
#[derive(Debug, Default)]
struct Outbox {
    state: Mutex<OutboxState>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct OutboxState {
    bytes: VecDeque<u8>,
    open: bool,
}

impl Outbox {
    fn lock(&self) -> MutexGuard<'_, OutboxState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn set_open(&self, open: bool) {
        let mut state = self.lock();
        state.bytes.clear();
        state.open = open;
        self.changed.notify_all();
    }

    /// Moves what the rig has to say, as far as there is room; how many bytes. With nobody there it is discarded.
    fn fill(&self, rig: &mut Rig<SimBoard>) -> usize {
        let (mut chunk, mut moved) = ([0; 2048], 0);
        loop {
            let (open, room) = {
                let state = self.lock();
                (state.open, OUTBOX - state.bytes.len())
            };
            let limit = if open { room.min(chunk.len()) } else { chunk.len() };
            let n = if limit == 0 { 0 } else { rig.transmit(&mut chunk[..limit]) };
            if n == 0 {
                return moved;
            }
            moved += n;
            let mut state = self.lock();
            if state.open {
                state.bytes.extend(&chunk[..n]);
                self.changed.notify_all();
            }
        }
    }

    /// Waits for bytes; `None` when closed.
    fn take(&self, chunk: &mut [u8]) -> Option<usize> {
        let mut state = self.lock();
        while state.open && state.bytes.is_empty() {
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        if !state.open {
            return None;
        }
        let n = state.bytes.len().min(chunk.len());
        chunk.iter_mut().zip(state.bytes.drain(..n)).for_each(|(to, from)| *to = from);
        Some(n)
    }

    fn drain_to(&self, sink: &mut dyn Write) {
        let mut chunk = [0; 2048];
        while let Some(n) = self.take(&mut chunk) {
            let mut rest = &chunk[..n];
            while !rest.is_empty() {
                match sink.write(rest) {
                    Ok(0) => return,
                    Ok(written) => rest = &rest[written..],
                    Err(error) if waits(&error) && self.lock().open => {}
                    Err(_) => return,
                }
            }
        }
    }
}

fn waits(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

/// What comes from the side of the host.
#[derive(Debug)]
enum Incoming {
    Bytes(Vec<u8>),
    /// The host has gone.
    Gone,
}

/// The one place for a TCP host.
#[derive(Debug, Default)]
struct Seat {
    host: Mutex<Option<Host>>,
    left: Condvar,
}

/// Who sits there.
#[derive(Debug)]
struct Host {
    stream: TcpStream,
    heard: Instant,
}

impl Seat {
    fn lock(&self) -> MutexGuard<'_, Option<Host>> {
        self.host.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes the seat, once it is free or its host has fallen silent; `false` when it stays taken.
    fn take(&self, stream: &TcpStream) -> bool {
        let Ok(kept) = stream.try_clone() else { return false };
        let until = Instant::now() + SEAT_WAIT;
        let mut host = self.lock();
        while let Some(sitting) = host.as_ref() {
            if sitting.heard.elapsed() >= DEAD_HOST {
                let _ = sitting.stream.shutdown(Shutdown::Both);
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return false;
            }
            host = self.left.wait_timeout(host, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        *host = Some(Host { stream: kept, heard: Instant::now() });
        true
    }

    fn heard(&self) {
        if let Some(host) = self.lock().as_mut() {
            host.heard = Instant::now();
        }
    }

    fn leave(&self) {
        *self.lock() = None;
        self.left.notify_all();
    }
}

/// An open place where hosts can connect.
#[derive(Debug)]
pub struct Link {
    address: String,
    incoming: Receiver<Incoming>,
    outgoing: Arc<Outbox>,
    /// What the rig is doing, for those that are turned away.
    state: Arc<AtomicU8>,
}

impl Link {
    /// Opens it and starts its threads, which live as long as the process.
    ///
    /// # Errors
    /// No pty or port to be had.
    pub fn open(listen: &Listen) -> Result<Self, ServeError> {
        let (sender, incoming) = sync_channel(INBOX);
        let (outgoing, state) = (Arc::new(Outbox::default()), Arc::new(AtomicU8::new(0)));
        let address = match listen {
            Listen::Pty => open_pty(sender, Arc::clone(&outgoing))?,
            Listen::Tcp(place) => open_tcp(place, sender, Arc::clone(&outgoing), Arc::clone(&state))?,
        };
        Ok(Self { address, incoming, outgoing, state })
    }

    /// The address a host gives: `serial:PATH` or `tcp:HOST:PORT`.
    pub fn address(&self) -> &str {
        &self.address
    }
}

fn open_tcp(
    place: &str,
    sender: SyncSender<Incoming>,
    outbox: Arc<Outbox>,
    state: Arc<AtomicU8>,
) -> Result<String, ServeError> {
    let refused = |cause| ServeError::Bind { place: place.to_owned(), cause };
    let listener = TcpListener::bind(place).map_err(refused)?;
    let address = format!("tcp:{}", listener.local_addr().map_err(refused)?);
    let seat = Arc::new(Seat::default());
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let (seat, sender, outbox, state) =
                (Arc::clone(&seat), sender.clone(), Arc::clone(&outbox), Arc::clone(&state));
            std::thread::spawn(move || {
                if seat.take(&stream) {
                    serve_client(&stream, &seat, &sender, &outbox);
                } else {
                    turn_away(stream, &state);
                }
            });
        }
    });
    Ok(address)
}

/// Serves one client until it or the rig goes.
fn serve_client(stream: &TcpStream, seat: &Seat, sender: &SyncSender<Incoming>, outbox: &Outbox) {
    let _ = stream.set_nodelay(true);
    outbox.set_open(true);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut sink = stream;
            outbox.drain_to(&mut sink);
            let _ = stream.shutdown(Shutdown::Both);
        });
        let mut source = stream;
        pump(&mut source, sender, || seat.heard());
        outbox.set_open(false);
        let _ = stream.shutdown(Shutdown::Both);
    });
    // Before the next one comes, the rig knows that this one has gone.
    let _ = sender.send(Incoming::Gone);
    seat.leave();
}

/// Refuses every request of a host that finds the rig taken.
fn turn_away(mut stream: TcpStream, state: &AtomicU8) {
    let until = Instant::now() + TURNED_AWAY;
    let (mut deframer, mut chunk) = (Deframer::new(), [0; 2048]);
    let _ = stream.set_read_timeout(Some(TURNED_AWAY));
    while Instant::now() < until {
        let n = match stream.read(&mut chunk) {
            Ok(0) => return,
            Ok(n) => n,
            Err(error) if waits(&error) => continue,
            Err(_) => return,
        };
        let mut answers = Vec::new();
        deframer.push(&chunk[..n], |frame| {
            if frame.kind < kind::SAMPLES {
                let detail = state.load(Ordering::Relaxed).into();
                let refusal = Refusal { request: frame.kind, reason: Reason::Untimely, detail };
                let mut bytes = [0; MAX_ENCODED];
                let n = Message::Refusal(refusal).encode(frame.kind, frame.id, &mut bytes).unwrap_or(0);
                answers.extend_from_slice(&bytes[..n]);
            }
        });
        if stream.write_all(&answers).is_err() {
            return;
        }
    }
}

/// Reads until the other end or the rig goes; `heard` after each read.
fn pump(source: &mut dyn Read, sender: &SyncSender<Incoming>, heard: impl Fn()) {
    let mut chunk = [0; 2048];
    loop {
        match source.read(&mut chunk) {
            Ok(0) => return,
            Ok(n) => {
                heard();
                if sender.send(Incoming::Bytes(chunk[..n].to_vec())).is_err() {
                    return;
                }
            }
            Err(error) if waits(&error) => {}
            Err(_) => return,
        }
    }
}

#[cfg(unix)]
fn open_pty(sender: SyncSender<Incoming>, outbox: Arc<Outbox>) -> Result<String, ServeError> {
    use serialport::{SerialPort, TTYPort};
    use std::os::unix::fs::OpenOptionsExt;

    /// Not to become the controlling terminal: `O_NOCTTY` of Linux.
    const O_NOCTTY: i32 = if cfg!(target_os = "macos") { 0x20000 } else { 0o400 };
    let failed = |what: &dyn std::fmt::Display| ServeError::Pty(what.to_string());
    let (mut master, mut slave) = TTYPort::pair().map_err(|e| failed(&e))?;
    let path = slave.name().ok_or_else(|| failed(&"it has no name"))?;
    slave.set_exclusive(false).map_err(|e| failed(&e))?;
    // Kept open, so that a client's close does not end the master; `pair` has made it raw.
    let kept = std::fs::OpenOptions::new().read(true).write(true).custom_flags(O_NOCTTY).open(&path);
    let kept = kept.map_err(|e| failed(&e))?;
    drop(slave);
    master.set_timeout(Duration::from_secs(1)).map_err(|e| failed(&e))?;
    let mut reader = master.try_clone_native().map_err(|e| failed(&e))?;
    outbox.set_open(true);
    std::thread::spawn(move || outbox.drain_to(&mut master));
    std::thread::spawn(move || {
        let _kept = kept;
        pump(&mut reader, &sender, || {});
    });
    Ok(format!("serial:{path}"))
}

#[cfg(not(unix))]
fn open_pty(_: SyncSender<Incoming>, _: Arc<Outbox>) -> Result<String, ServeError> {
    Err(ServeError::Pty("this system has none".to_owned()))
}

/// Runs a rig on the monotonic clock until `stop`. Its time 0 is now.
///
/// # Errors
/// When the link has ended for good, or the log of the drive can't be written.
pub fn run(
    board: SimBoard,
    link: &Link,
    mut script: Script,
    mut drive_log: Option<DriveLog>,
    stop: &AtomicBool,
) -> Result<(), ServeError> {
    let start = Instant::now();
    let now = || start.elapsed().as_micros() as u64;
    let (mut rig, mut spoke) = (Rig::new(board, 0), Duration::ZERO);
    while !stop.load(Ordering::Relaxed) {
        script.apply(now(), rig.board_mut());
        rig.poll(now());
        if link.outgoing.fill(&mut rig) > 0 {
            spoke = start.elapsed();
        }
        if let Some(log) = drive_log.as_mut() {
            log.note(rig.board().drive_is_on(), now()).map_err(|e| ServeError::DriveLog(e.to_string()))?;
        }
        let wait = if start.elapsed() - spoke < QUIET_AFTER { STREAMING_WAIT } else { QUIET_WAIT };
        link.state.store(rig.state() as u8, Ordering::Relaxed);
        match link.incoming.recv_timeout(wait) {
            Ok(first) => {
                for incoming in std::iter::once(first).chain(link.incoming.try_iter()) {
                    match incoming {
                        Incoming::Bytes(bytes) => rig.handle(&bytes, now()),
                        Incoming::Gone => rig.hang_up(now()),
                    }
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Err(ServeError::Ended),
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
    use trackpair_protocol::message::{Message, Reply, Request, Start};

    fn ask(rig: &mut Rig<SimBoard>, id: u16, request: Request, now: u64) {
        let mut frame = [0; MAX_ENCODED];
        let n = request.encode(id, &mut frame).unwrap();
        rig.handle(&frame[..n], now);
    }

    #[test]
    fn a_host_that_does_not_read_costs_counted_scans_and_neither_memory_nor_the_rigs_clock() {
        let board = SimBoard::new(crate::parts::named("good-grip", 1).unwrap(), crate::RigSpec::default(), 1);
        let (mut rig, outbox) = (Rig::new(board, 0), Outbox::default());
        outbox.set_open(true);
        ask(&mut rig, 1, Request::Identify { session: 1 }, 0);
        let start = Start { run: 1, period_us: 200, channels: 0xff, drive: false, max_us: 0 };
        ask(&mut rig, 2, Request::Start(start), 0);
        for now in (0..2_000_000).step_by(1000) {
            rig.poll(now);
            outbox.fill(&mut rig);
            assert!(outbox.lock().bytes.len() <= OUTBOX);
            // It still sends, or the rig would take it for dead.
            if now % 500_000 == 0 {
                ask(&mut rig, 3, Request::Heartbeat, now);
            }
        }
        // The host wakes up: it finds what was kept, in order, and every lost scan counted.
        ask(&mut rig, 4, Request::ReadStatus, 2_000_000);
        let (mut deframer, mut scans, mut lost, mut status) = (Deframer::new(), 0_u64, 0_u64, None);
        let mut chunk = [0; 2048];
        for now in (2_000_000..2_100_000).step_by(1000) {
            rig.poll(now);
            outbox.fill(&mut rig);
            while !outbox.lock().bytes.is_empty() {
                let n = outbox.take(&mut chunk).unwrap();
                deframer.push(&chunk[..n], |frame| match Message::decode(&frame).unwrap() {
                    Message::Samples(block) => {
                        scans += u64::from(block.scans);
                        lost += u64::from(block.overrun_before);
                    }
                    Message::Reply(Reply::Status(s)) => status = Some(s),
                    _ => {}
                });
            }
        }
        let status = status.expect("the status is answered");
        assert_eq!((status.rig_us, deframer.drops().frames()), (2_000_000, 0));
        // 2.1 s at 5 kHz, but for the block that is still being filled.
        assert!(lost > 5_000 && (10_400..=10_500).contains(&(scans + lost)), "{scans} seen, {lost} lost");
    }

    #[test]
    fn with_nobody_there_nothing_is_kept_for_the_next() {
        let board = SimBoard::new(crate::parts::named("good-grip", 1).unwrap(), crate::RigSpec::default(), 1);
        let (mut rig, outbox) = (Rig::new(board, 0), Outbox::default());
        outbox.fill(&mut rig);
        assert!(outbox.lock().bytes.is_empty());
        assert_eq!(rig.transmit(&mut [0; 64]), 0);
    }
}
