//! The program and a rig as two processes in real time, over TCP and over a pseudo terminal: the verdict arrives; Ctrl-C, a killed
//! host and an unplugged rig leave the rig unpowered and what was recorded kept.
#![cfg(unix)]

use crate::turns::{Turn, Turns};
use anyhow::{Context, Result, bail, ensure};
use serialport::{SerialPort, TTYPort};
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::ops::{Deref, DerefMut};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};
use tempfile::tempdir;
use trackpair::link::{self, Address};
use trackpair::session::{Options, Session};
use trackpair_protocol::LINK_SILENCE_US;
use trackpair_protocol::frame::Deframer;
use trackpair_protocol::message::{Event, EventKind, Guard, Message, RigState, Status};
use trackpair_tests::cli::{DEADLINE, Record, Running, command, files_under, qualify, trackpair};
use trackpair_tests::programs::ServedRig;
use trackpair_tests::reading::read_some;

/// A plan of about ten seconds.
pub const SHORT: [&str; 5] = ["--cycles", "1", "--speed", "180", "--skip-leads"];
/// A sweep that is still on when it is disturbed.
const LONG: [&str; 5] = ["--cycles", "2", "--speed", "30", "--skip-leads"];

/// A rig in real time, at most two at once: a host that gets no processor for 300 ms loses its rig, as it should.
pub struct Served {
    rig: ServedRig,
    _turn: Turn,
}

impl Deref for Served {
    type Target = ServedRig;

    fn deref(&self) -> &ServedRig {
        &self.rig
    }
}

impl DerefMut for Served {
    fn deref_mut(&mut self) -> &mut ServedRig {
        &mut self.rig
    }
}

pub fn serve(part: &str, listen: &str, more: &[&str]) -> Result<Served> {
    static TURNS: Turns = Turns::new(2);
    let turn = TURNS.take();
    let seed: &[&str] = if more.contains(&"--seed") { &[] } else { &["--seed", "7"] };
    let rig = ServedRig::start([&["--part", part, "--listen", listen][..], seed, more].concat())?;
    Ok(Served { rig, _turn: turn })
}

/// Waits until a file of this name lies in an archive: nothing else announces it.
pub fn wait_for_file(archive: &Path, name: &str) -> Result<()> {
    let until = Instant::now() + DEADLINE;
    while !files_under(archive).iter().any(|file| file.ends_with(name)) {
        ensure!(Instant::now() < until, "it never came: {:?}", files_under(archive));
        std::thread::sleep(Duration::from_millis(20));
    }
    Ok(())
}

/// `qualify` at an address, running.
fn begin(rig: &ServedRig, archive: &Path, plan: &[&str]) -> Result<Running> {
    let mut qualify = command(["qualify", "--rig", rig.address(), "--archive"])?;
    qualify.arg(archive).args(plan);
    Running::start(qualify)
}

/// What the rig says of itself to a new session.
pub fn status(rig: &ServedRig) -> Result<Status> {
    let mut session = Session::over(link::open(&Address::parse(rig.address())?)?, Options::default())?;
    Ok(session.status()?)
}

#[track_caller]
pub fn check_unpowered(status: &Status) {
    assert!(!status.drive_on && status.supply_mv == 0, "{status:?}");
    assert_eq!((status.loads, status.pull_downs), (0, 0), "{status:?}");
}

/// Half of a sweep of 2 cycles of 75° at 30°/s is 5 s; asked for are 4 s, in which both lines have moved.
#[track_caller]
fn check_half_is_there(record: &Record) {
    let sweep = record.trace("sweep").unwrap();
    let trace = trackpair::record::trace_from_parquet(std::fs::read(&sweep).unwrap()).unwrap();
    let (first, last) = (trace.time_us[0], *trace.time_us.last().unwrap());
    assert!(last - first > 4_000_000, "{} us of the sweep were kept", last - first);
    let lines = [trackpair::quantity::Channel::Rising, trackpair::quantity::Channel::Falling];
    for line in lines.map(|c| trace.channel(c).unwrap()) {
        let (low, high) = line.iter().fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        assert!(high - low > 3.0, "{low} to {high} V");
    }
}

/// What every recording that was cut short must be: kept, marked, and never a clean bill.
#[track_caller]
fn check_kept_and_marked(record: &Record, end: &str) {
    assert_eq!(record.outcome["aborted"], true, "{}", record.said.out);
    let sweep = record.trace("sweep").unwrap();
    let trace = trackpair::record::trace_from_parquet(std::fs::read(&sweep).unwrap()).unwrap();
    assert!(trace.time_us.is_sorted_by(|a, b| a < b));
    let procedures = record.outcome["procedures"].as_array().unwrap();
    assert!(procedures.iter().any(|p| p["procedure"] == "sweep" && p["end"] == end), "{procedures:?}");
    assert_ne!(record.verdict(), "within");
    assert!(String::from_utf8(record.file("report.html").unwrap()).unwrap().contains("CUT SHORT"));
}

#[test]
fn the_verdict_arrives_over_tcp() -> Result<()> {
    let (rig, archive) = (serve("worn-grip", "tcp:127.0.0.1:0", &[])?, tempdir()?);
    let record = qualify(rig.address(), archive.path(), &SHORT)?;
    record.said.expect(10, &["SIMULATED", "FLAT SPOT", "rising line"]);
    assert_eq!(record.outcome["rig"]["address"], rig.address());
    check_unpowered(&status(&rig)?);
    Ok(())
}

#[test]
fn the_verdict_arrives_over_a_pseudo_terminal_leads_check_and_all() -> Result<()> {
    let (rig, archive) = (serve("corroded-ground-grip", "pty", &[])?, tempdir()?);
    let record = qualify(rig.address(), archive.path(), &["--cycles", "2", "--speed", "180"])?;
    record.said.expect(10, &["SIMULATED", "GROUND LEAD"]);
    assert_eq!(record.outcome["gaps"].as_array().map(Vec::len), Some(0), "{}", record.outcome["gaps"]);
    let said = trackpair(["rigs", "--rig", rig.address()])?;
    said.expect(0, &[rig.address(), "firmware"]);
    Ok(())
}

#[test]
fn ctrl_c_in_the_sweep_keeps_the_recording_and_leaves_the_rig_unpowered() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "tcp:127.0.0.1:0", &[])?, tempdir()?);
    let mut host = begin(&rig, archive.path(), &LONG)?;
    wait_for_half_of_the_sweep(&mut host)?;
    host.signal("INT")?;
    let record = Record::only(archive.path(), host.finish()?)?;
    record.said.expect(20, &["SIMULATED", "stopped"]);
    check_kept_and_marked(&record, "aborted");
    check_half_is_there(&record);
    let status = status(&rig)?;
    check_unpowered(&status);
    assert_eq!((status.state, status.tripped), (RigState::Resting, 0), "stopped in order: {status:?}");
    Ok(())
}

#[test]
fn a_killed_host_costs_the_drive_in_300_ms_and_the_supply_after_two_seconds() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "pty", &[])?, tempdir()?);
    let mut host = begin(&rig, archive.path(), &LONG)?;
    wait_for_half_of_the_sweep(&mut host)?;
    host.signal("KILL")?;
    assert_eq!(host.finish()?.code, None, "killed, it can't clean up");
    // This one only hears, and says nothing itself.
    let mut listener = Listener::open(rig.address())?;
    let silence = |e: &Event| match e.kind {
        EventKind::GuardTripped { guard: Guard::LinkSilence, value } => {
            Some((e.rig_us, u64::from(value as u32)))
        }
        _ => None,
    };
    let (tripped_us, silence_us) = listener.wait_for(silence)?;
    // One control step of the rig is 1 ms.
    assert!((LINK_SILENCE_US..=LINK_SILENCE_US + 1_000).contains(&silence_us), "{silence_us} us");
    let off = |e: &Event| matches!(e.kind, EventKind::SupplySet { millivolts: 0 }).then_some(e.rig_us);
    let off_us = listener.wait_for(off)?;
    let last_word_us = tripped_us - silence_us;
    assert!((2_000_000..=2_001_000).contains(&(off_us - last_word_us)), "{} us", off_us - last_word_us);
    drop(listener);
    let status = status(&rig)?;
    check_unpowered(&status);
    assert_eq!(status.tripped, 1 << Guard::LinkSilence as u16, "{status:?}");
    // What was recorded before is on disk already.
    let kept = files_under(&archive.path().join("traces"));
    let first = kept.iter().find(|f| f.ends_with("trace-1-self_check.parquet")).context("a trace")?;
    trackpair::record::trace_from_parquet(std::fs::read(first)?)?;
    Ok(())
}

/// A connection shows that its host has gone: the rig waits for no silence, and the next host inherits nothing.
#[test]
fn a_second_host_is_told_that_the_rig_is_taken_and_a_killed_one_leaves_it_at_rest() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "tcp:127.0.0.1:0", &[])?, tempdir()?);
    let mut host = begin(&rig, archive.path(), &LONG)?;
    host.wait_for("sweep")?;
    // From another computer, say: on this one the program itself knows who has the rig.
    let refused = status(&rig).expect_err("it is taken").to_string();
    ensure!(
        refused.contains("another program is connected to the rig") && refused.contains("driving"),
        "{refused}"
    );
    wait_for_half_of_the_sweep(&mut host)?;
    host.signal("KILL")?;
    assert_eq!(host.finish()?.code, None, "killed, it can't clean up");
    let status = status(&rig)?;
    assert_eq!((status.state, status.tripped, status.drive_on), (RigState::Resting, 0, false), "{status:?}");
    Ok(())
}

/// A terminal opened for a child's standard stream, without becoming the controlling one: `O_NOCTTY`.
fn opened(terminal: &TTYPort, options: &mut OpenOptions) -> Result<File> {
    let flags = if cfg!(target_os = "macos") { 0x20000 } else { 0o400 };
    let path = terminal.name().context("it has a name")?;
    Ok(options.custom_flags(flags).open(path)?)
}

/// Ctrl-S in the terminal: nobody reads what is drawn.
#[test]
fn a_paused_terminal_holds_up_what_is_drawn_and_not_the_rig() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "pty", &[])?, tempdir()?);
    let (mut screen, mut terminal) = TTYPort::pair()?;
    screen.set_timeout(DEADLINE)?;
    terminal.set_exclusive(false)?;
    terminal.set_timeout(Duration::from_millis(50))?;
    // What the terminal holds before it is full would hold up nobody yet.
    while terminal.write(&[b'.'; 64]).is_ok() {}
    let stderr = opened(&terminal, OpenOptions::new().write(true))?;
    let mut qualify = command(["qualify", "--rig", rig.address(), "--archive"])?;
    qualify.arg(archive.path()).args(SHORT).stdout(Stdio::piped()).stderr(stderr);
    let running = qualify.spawn()?;
    // It goes on until all is recorded; what it has to say at last waits for the terminal.
    wait_for_file(archive.path(), "trace-3-release.parquet")?;
    drop(terminal);
    let resumed = std::thread::spawn(move || while read_some(&mut screen, &mut [0; 4096]).is_ok() {});
    let said = running.wait_with_output()?;
    drop(resumed);
    let out = String::from_utf8_lossy(&said.stdout);
    // One cycle shows too little of dropouts to clear a part; that all of it was done is what counts here.
    assert!(matches!(said.status.code(), Some(0 | 11)) && !out.contains("CUT SHORT"), "{out}");
    check_unpowered(&status(&rig)?);
    Ok(())
}

/// A computer that does something else for 200 ms: less than the 300 ms after which the rig takes the drive off. What happened on the line
/// stands in the record, and `-v` shows it on the way.
#[test]
fn a_host_that_is_held_up_for_200_ms_goes_on_and_the_story_of_the_line_is_kept() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "pty", &[])?, tempdir()?);
    let place = archive.path().to_str().context("text")?;
    let log = archive.path().join("log.txt");
    let more = ["-v", "--log-file", log.to_str().context("text")?];
    let mut host = begin(&rig, archive.path(), &[&SHORT[..], &more].concat())?;
    wait_for_half_of_the_sweep(&mut host)?;
    host.signal("STOP")?;
    // What is tested, not waited for.
    std::thread::sleep(Duration::from_millis(200));
    host.signal("CONT")?;
    let said = host.finish()?;
    assert!(
        matches!(said.code, Some(0 | 11)) && !said.out.contains("CUT SHORT"),
        "{} {}",
        said.out,
        said.err
    );
    check_unpowered(&status(&rig)?);
    let record = trackpair_tests::cli::record_folders(archive.path()).pop().context("a record")?;
    let name = record.file_name().and_then(|n| n.to_str()).context("text")?;
    let told = trackpair(["records", "show", name, "--session", "--archive", place])?;
    told.expect(
        0,
        &[
            "opened: simulated grip rig",
            "begins, driving",
            "ends: complete",
            "no frame was damaged",
            "half within",
        ],
    );
    let log = std::fs::read_to_string(log)?;
    for part in [
        "session opened",
        "run started",
        "run ended",
        "session closed",
        "rig{address=",
        ":session{number=",
        ":run{number=",
    ] {
        ensure!(log.contains(part), "{part}: {log}");
    }
    Ok(())
}

/// The cautions before a motor is driven, with Ctrl-C for an answer.
#[test]
fn ctrl_c_at_a_question_starts_nothing_and_a_yes_behind_it_neither() -> Result<()> {
    let (rig, archive) = (serve("good-body", "pty", &[])?, tempdir()?);
    let (mut keys, mut terminal) = TTYPort::pair()?;
    terminal.set_exclusive(false)?;
    let stdin = opened(&terminal, OpenOptions::new().read(true))?;
    let mut creep = command(["procedure", "creep", "--rig", rig.address(), "--archive"])?;
    creep.arg(archive.path()).stdin(stdin);
    let mut host = Running::start(creep)?;
    host.wait_for("Type yes")?;
    let asked = Instant::now();
    host.signal("INT")?;
    let said = host.finish()?;
    let felt = asked.elapsed();
    // Whoever types it then is too late.
    let _ = keys.write_all(b"yes\n");
    said.expect(20, &["stopped by you at the cautions: nothing was driven"]);
    ensure!(felt < Duration::from_secs(2), "it took {felt:?}");
    let status = status(&rig)?;
    assert_eq!((status.run, status.supply_mv), (0, 0), "nothing was started");
    Ok(())
}

#[test]
fn a_rig_in_real_time_keeps_the_protocol() -> Result<()> {
    let rig = serve("good-grip", "pty", &[])?;
    trackpair(["rigs", "--conform", rig.address()])?.expect(0, &["the rig keeps all"]);
    check_unpowered(&status(&rig)?);
    Ok(())
}

#[test]
fn a_rig_that_is_unplugged_in_the_sweep_leaves_the_recorded_part() -> Result<()> {
    for listen in ["tcp:127.0.0.1:0", "pty"] {
        let (rig, archive) = (serve("good-grip", listen, &[])?, tempdir()?);
        let mut host = begin(&rig, archive.path(), &LONG)?;
        wait_for_half_of_the_sweep(&mut host)?;
        // Killing the rig's program takes the port away, as a pulled plug does.
        drop(rig);
        let record = Record::only(archive.path(), host.finish()?)?;
        record.said.expect(20, &["SIMULATED", "check"]);
        check_kept_and_marked(&record, "link_lost");
        check_half_is_there(&record);
    }
    Ok(())
}

/// Another program opens a session in the middle of a sweep: the first one gets an error, and keeps what it has.
#[test]
fn another_program_that_takes_the_rig_over_ends_the_sweep_and_nothing_is_lost() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "pty", &[])?, tempdir()?);
    let mut first = begin(&rig, archive.path(), &LONG)?;
    wait_for_half_of_the_sweep(&mut first)?;
    // A second host on the same wire, as careless software or a second cable would be.
    let path = rig.address().strip_prefix("serial:").context("a serial address")?;
    let mut wire = OpenOptions::new().write(true).open(path)?;
    let mut frame = [0; trackpair_protocol::frame::MAX_ENCODED];
    let identify = trackpair_protocol::message::Request::Identify { session: 0x0BAD_CAFE };
    let n = identify.encode(1, &mut frame).context("it fits")?;
    wire.write_all(&[&[0][..], &frame[..n]].concat())?;
    let record = Record::only(archive.path(), first.finish()?)?;
    record.said.expect(20, &["another program has taken over the rig", "close it"]);
    assert_eq!(record.outcome["aborted"], true);
    check_half_is_there(&record);
    Ok(())
}

#[test]
fn an_emergency_stop_in_the_sweep_is_named_and_what_was_recorded_is_kept() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "tcp:127.0.0.1:0", &["--estop-after", "10"])?, tempdir()?);
    let mut host = begin(&rig, archive.path(), &["--cycles", "20", "--speed", "30", "--skip-leads"])?;
    host.wait_for("sweep")?;
    let record = Record::only(archive.path(), host.finish()?)?;
    record.said.expect(20, &["E-stop", "release the E-stop"]);
    check_kept_and_marked(&record, "guard");
    check_unpowered(&status(&rig)?);
    Ok(())
}

/// Stopped while the grip is on its way, before the open stop was ever reached, or before the supply was up; and a supply that gives way.
#[test]
fn what_an_interruption_did_condemns_no_sound_grip_and_says_so_wherever_the_record_is_shown() -> Result<()> {
    for (way, after) in
        [("--estop-after", "3.1"), ("--estop-after", "0.4"), ("--lid-after", "2"), ("--sag-after", "10")]
    {
        let (rig, archive) =
            (serve("good-grip", "tcp:127.0.0.1:0", &["--seed", "3", way, after])?, tempdir()?);
        let said = begin(&rig, archive.path(), &["--cycles", "2"])?.finish()?;
        said.expect(20, &[]).silent_about("OUTSIDE");
        let record = Record::only(archive.path(), said)?;
        assert_eq!(record.verdict(), "undecided", "{way} {after}: {}", record.said.out);
        let archived = archive.path().to_str().context("a path of ASCII")?;
        if way == "--sag-after" {
            // How far it has fallen when the rig's guard takes the drive off, and whether a scan of the fall still leaves
            // the rig, hangs on when in the rig's step that is; it gives way to 3 V, and the guard acts below 4.5 V.
            let (_, read) = record
                .said
                .out
                .split_once("supply range guard took the drive off during the sweep at ")
                .context("the guard")?;
            let volts: f64 = read.split_whitespace().next().context("a reading")?.parse()?;
            ensure!((2.9..4.5).contains(&volts), "{volts} V: {}", record.said.out);
            check_kept_and_marked(&record, "guard");
            continue;
        }
        let not_done = record.outcome["not_done"].as_array().context("what was not done")?;
        assert_eq!(
            (&not_done[0]["procedure"], &not_done[0]["how"]),
            (&"self_check".into(), &"cut_short".into())
        );
        assert!(
            not_done.iter().any(|n| n["procedure"] == "leads_check" && n["how"] == "not_begun"),
            "{not_done:?}"
        );
        trackpair(["records", "list", "--archive", archived])?.expect(0, &["undecided, cut short"]);
        let folder = &trackpair_tests::cli::record_folders(archive.path())[0];
        let folder = folder.to_str().context("a path of ASCII")?;
        trackpair(["judge", folder])?.expect(11, &["CUT SHORT", "UNDECIDED"]).silent_about("OUTSIDE");
        trackpair(["rejudge", "--all", "--archive", archived])?.expect(0, &[]);
        trackpair(["records", "list", "--archive", archived])?.expect(0, &["undecided, cut short"]);
    }
    Ok(())
}

#[test]
fn rigs_tells_who_answers_and_a_histogram_of_round_trips() -> Result<()> {
    let rig = serve("good-grip", "tcp:127.0.0.1:0", &[])?;
    trackpair(["rigs", "--rig", rig.address()])?.expect(0, &[rig.address(), "firmware"]);
    let said = trackpair(["rigs", "--rig", rig.address(), "--ping", "50"])?;
    said.expect(0, &["50 round trips", "p50", "p99", "max"]);
    let counted: u64 = said
        .out
        .lines()
        .filter_map(|l| l.split_once(" µs ")?.1.split_whitespace().next()?.parse::<u64>().ok())
        .sum();
    assert_eq!(counted, 50, "{}", said.out);
    Ok(())
}

#[test]
fn rigs_says_where_nobody_answers() -> Result<()> {
    let said = trackpair(["rigs", "--rig", "tcp:127.0.0.1:1"])?;
    said.expect(20, &["tcp:127.0.0.1:1", "no rig"]);
    Ok(())
}

/// Waits until half of the sweep is recorded.
fn wait_for_half_of_the_sweep(host: &mut Running) -> Result<()> {
    host.wait_for("sweep 50 %")
}

/// A second program that hears a rig and never speaks.
struct Listener {
    port: Box<dyn SerialPort>,
    deframer: Deframer,
    heard: Vec<Event>,
}

impl Listener {
    fn open(address: &str) -> Result<Self> {
        let path = address.strip_prefix("serial:").context("a serial address")?;
        let port = serialport::new(path, 115_200).timeout(DEADLINE.min(Duration::from_secs(20))).open()?;
        Ok(Self { port, deframer: Deframer::new(), heard: Vec::new() })
    }

    /// The first event that `pick` takes.
    fn wait_for<T>(&mut self, pick: impl Fn(&Event) -> Option<T>) -> Result<T> {
        let mut bytes = [0; 4096];
        loop {
            if let Some(found) = self.heard.iter().find_map(&pick) {
                return Ok(found);
            }
            let n = read_some(&mut self.port, &mut bytes)
                .with_context(|| format!("heard only {:?}", self.heard))?;
            if n == 0 {
                bail!("the rig has gone; heard only {:?}", self.heard);
            }
            let heard = &mut self.heard;
            self.deframer.push(&bytes[..n], |frame| {
                if let Ok(Message::Event(event)) = Message::decode(&frame) {
                    heard.push(event);
                }
            });
        }
    }
}
