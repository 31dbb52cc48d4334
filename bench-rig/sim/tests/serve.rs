//! The program in real time: a pty and a TCP port answer to real protocol bytes; a client may go and come; wrong use gets an error.

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use trackpair_protocol::frame::{Deframer, MAX_ENCODED};
use trackpair_protocol::message::{
    EventKind, Guard, Identity, Message, Reason, Refusal, Reply, Request, RigState, Start, capability, kind,
};

/// The longest a machine under load may take for anything here.
const PATIENCE: Duration = Duration::from_secs(20);

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_trackpair-rig"))
}

/// A served rig that ends with the test.
struct Served {
    child: Child,
    address: String,
}

impl Served {
    fn start(arguments: &[&str]) -> Self {
        let mut child =
            program().args(arguments).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address =
            line.trim().strip_prefix("listening on ").unwrap_or_else(|| panic!("{line:?}")).to_owned();
        Self { child, address }
    }

    fn tcp(&self) -> TcpStream {
        let stream = TcpStream::connect(self.address.strip_prefix("tcp:").unwrap()).unwrap();
        stream.set_read_timeout(Some(Duration::from_millis(100))).unwrap();
        stream
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn send(link: &mut dyn Write, id: u16, request: Request) {
    let mut frame = [0; MAX_ENCODED];
    let n = request.encode(id, &mut frame).unwrap();
    link.write_all(&frame[..n]).unwrap();
}

/// Reads until `pick` finds what it wants; samples and the rest go by.
fn wait_for<T>(link: &mut dyn Read, mut pick: impl FnMut(&Message<'_>) -> Option<T>) -> T {
    let (start, mut deframer, mut bytes) = (Instant::now(), Deframer::new(), [0; 4096]);
    let mut found = None;
    while found.is_none() {
        assert!(start.elapsed() < PATIENCE, "nothing of the kind came");
        match link.read(&mut bytes) {
            Ok(0) => panic!("the rig has closed the link"),
            Ok(n) => deframer.push(&bytes[..n], |frame| {
                if found.is_none() {
                    found = pick(&Message::decode(&frame).unwrap());
                }
            }),
            Err(e)
                if matches!(
                    e.kind(),
                    ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted
                ) => {}
            Err(e) => panic!("{e}"),
        }
    }
    found.unwrap()
}

fn identify(link: &mut (impl Read + Write), session: u32) -> Identity {
    send(link, 1, Request::Identify { session });
    wait_for(link, |message| match message {
        Message::Reply(Reply::Identity(identity)) if identity.session == session => Some(*identity),
        _ => None,
    })
}

fn block_number(message: &Message<'_>) -> Option<u32> {
    if let Message::Samples(block) = message { Some(block.number) } else { None }
}

fn state(message: &Message<'_>) -> Option<RigState> {
    if let Message::Reply(Reply::Status(status)) = message { Some(status.state) } else { None }
}

fn refusal(message: &Message<'_>) -> Option<Refusal> {
    if let Message::Refusal(refusal) = message { Some(*refusal) } else { None }
}

const WATCH: Start = Start { run: 1, period_us: 200, channels: 0xff, drive: false, max_us: 0 };

fn fails(arguments: &[&str], code: i32) -> String {
    let Output { status, stderr, .. } = program().args(arguments).output().unwrap();
    let text = String::from_utf8(stderr).unwrap();
    assert_eq!(status.code(), Some(code), "{text}");
    text
}

#[test]
fn a_tcp_client_identifies_the_rig_watches_and_the_next_one_is_served_too() {
    let served = Served::start(&["--part", "worn-grip", "--seed", "7", "--listen", "tcp:127.0.0.1:0"]);
    let mut first = served.tcp();
    assert_ne!(identify(&mut first, 11).capabilities & capability::SIMULATED, 0);
    send(&mut first, 2, Request::Start(WATCH));
    assert!(wait_for(&mut first, |m| block_number(m).filter(|&n| n >= 5)) >= 5);
    drop(first);
    let mut second = served.tcp();
    assert_eq!(identify(&mut second, 12).session, 12);
}

#[test]
fn a_second_host_is_told_that_the_rig_is_taken_and_the_first_goes_on() {
    let served = Served::start(&["--listen", "tcp:127.0.0.1:0"]);
    let mut first = served.tcp();
    identify(&mut first, 11);
    send(&mut first, 2, Request::Start(WATCH));
    let mut second = served.tcp();
    send(&mut second, 1, Request::Identify { session: 12 });
    let refusal = wait_for(&mut second, refusal);
    assert_eq!((refusal.request, refusal.reason), (kind::IDENTIFY, Reason::Untimely));
    assert_eq!(refusal.detail, RigState::Watching as u32);
    send(&mut first, 3, Request::ReadStatus);
    assert_eq!(wait_for(&mut first, state), RigState::Watching);
}

#[test]
fn a_host_that_goes_leaves_no_run_to_the_next() {
    let served = Served::start(&["--listen", "tcp:127.0.0.1:0"]);
    let mut first = served.tcp();
    identify(&mut first, 11);
    send(&mut first, 2, Request::Start(WATCH));
    wait_for(&mut first, |m| block_number(m).filter(|&n| n >= 1));
    drop(first);
    let mut second = served.tcp();
    send(&mut second, 7, Request::ReadStatus);
    assert_eq!(wait_for(&mut second, state), RigState::Resting);
    send(&mut second, 8, Request::Arm);
    assert_eq!(wait_for(&mut second, refusal).reason, Reason::NoSession);
}

#[cfg(unix)]
#[test]
fn a_pty_client_identifies_the_rig_goes_and_comes_back() {
    let served = Served::start(&["--part", "good-pot-grip", "--listen", "pty"]);
    let path = served.address.strip_prefix("serial:").unwrap();
    for session in [21, 22] {
        let mut port = serialport::new(path, 115_200).timeout(Duration::from_millis(100)).open().unwrap();
        assert_eq!(identify(&mut port, session).session, session);
        send(&mut port, 2, Request::Start(Start { run: session, ..WATCH }));
        wait_for(&mut port, |m| block_number(m).filter(|&n| n >= 3));
    }
}

#[test]
fn an_injected_e_stop_is_told_to_the_host() {
    let served = Served::start(&["--listen", "tcp:127.0.0.1:0", "--estop-after", "0.3"]);
    let mut link = served.tcp();
    identify(&mut link, 41);
    let tripped = |m: &Message<'_>| {
        matches!(m, Message::Event(e) if matches!(e.kind, EventKind::GuardTripped { guard: Guard::EmergencyStop, .. }))
            .then_some(())
    };
    let mut id = 1;
    let start = Instant::now();
    while start.elapsed() < PATIENCE {
        // Armed or not, a pressed E-stop trips or refuses; asking for the status shows which guard is present.
        id += 1;
        send(&mut link, id, Request::ReadStatus);
        let seen = wait_for(&mut link, |m| match m {
            Message::Reply(Reply::Status(status)) => Some(status.present | status.tripped),
            m => tripped(m).map(|()| 1),
        });
        if seen & 1 != 0 {
            return;
        }
    }
    panic!("no E-stop came");
}

#[cfg(unix)]
#[test]
fn sigterm_ends_it_with_success() {
    let mut served = Served::start(&["--listen", "tcp:127.0.0.1:0"]);
    let pid = served.child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
    assert_eq!(served.child.wait().unwrap().code(), Some(0));
}

#[test]
fn the_truth_is_written_on_request_and_tells_the_fault() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("truth.json");
    let file = path.to_str().unwrap();
    let _served = Served::start(&["--part", "worn-grip", "--listen", "tcp:127.0.0.1:0", "--truth", file]);
    let truth: trackpair_rig_sim::board::Truth =
        serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
    assert_eq!((truth.part.name.as_str(), truth.part.spec.faults[0].kind()), ("worn-grip", "flat_spot"));
}

#[test]
fn wrong_use_is_told_with_what_to_do() {
    assert!(fails(&["--part", "gold-grip"], 2).contains("known parts: good-grip"));
    assert!(fails(&["--part", "missing.toml"], 2).contains("missing.toml"));
    assert!(fails(&["--listen", "usb"], 2).contains("tcp:HOST:PORT"));
    assert!(fails(&["--operator", "cat"], 2).contains("hand+flex"));
    assert!(fails(&["--seed", "x"], 2).contains("--seed"));
    assert!(
        fails(&["--listen", "tcp:127.0.0.1:0", "--truth", "/nowhere/truth.json"], 1)
            .contains("/nowhere/truth.json")
    );
    let listed = String::from_utf8(program().arg("parts").output().unwrap().stdout).unwrap();
    assert_eq!(listed.lines().count(), trackpair_rig_sim::parts::ALL.len());
}
