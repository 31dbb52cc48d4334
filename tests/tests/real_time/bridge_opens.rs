//! A throttle body over a pseudo terminal in real time: whatever ends the host or the line, the bridge is open within 300 ms. Judged by
//! the rig's own log of its power stage, on the computer's clock.
#![cfg(unix)]

use crate::turns::{Turn, Turns};
use anyhow::{Context, Result, ensure};
use serialport::{SerialPort, TTYPort};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{DEADLINE, Record, Running, command, files_under};
use trackpair_tests::programs::{self, ServedRig};
use trackpair_tests::reading::read_some;

/// Longest time from an end of the link to an open bridge, µs: the rig's patience, its tick, and this machine's scheduling.
const OPEN_WITHIN_US: u64 = 300_000 + 1_000 + 50_000;

/// A rig with a body on it, the log of its bridge, and the program at work on it.
struct Scene {
    _rig: ServedRig,
    host: Running,
    log: PathBuf,
    archive: TempDir,
    _turn: Turn,
}

/// One test at a time: a host that gets no processor for 300 ms loses its rig, as it should.
fn turn() -> Turn {
    static TURNS: Turns = Turns::new(1);
    TURNS.take()
}

/// A rig with a body on a pseudo terminal, and the log of its bridge.
fn rig(folder: &Path) -> Result<(ServedRig, PathBuf)> {
    rig_at("pty", folder, &[])
}

/// A rig with a body anywhere.
fn rig_at(listen: &str, folder: &Path, more: &[&str]) -> Result<(ServedRig, PathBuf)> {
    let log = folder.join("drive.log");
    let name = log.to_str().context("the path is text")?;
    let plain = ["--part", "good-body", "--seed", "7", "--listen", listen, "--drive-log", name];
    Ok((ServedRig::start([&plain[..], more].concat())?, log))
}

/// `step` at an address, by the shipped sheet with a fifth of its steps: 19 s instead of 69.
fn host(address: &str, folder: &Path) -> Result<Running> {
    let sheet = folder.join("few-steps.toml");
    let shipped =
        std::fs::read_to_string(programs::repository().join("host/model/src/sheet/sheets/body.toml"))?;
    ensure!(shipped.contains("steps = 60 "), "the shipped sheet has other steps");
    std::fs::write(&sheet, shipped.replace("steps = 60 ", "steps = 12 "))?;
    let mut step = command(["procedure", "step", "--rig", address, "--i-have-read-the-cautions", "--sheet"])?;
    step.arg(sheet).arg("--archive").arg(folder.join("records"));
    Running::start(step)
}

/// A rig and `step` on it, its steps on.
fn driving() -> Result<Scene> {
    let turn = turn();
    let archive = tempdir()?;
    let (rig, log) = rig(archive.path())?;
    let mut host = host(rig.address(), archive.path())?;
    host.wait_for("steps 25 %")?;
    Ok(Scene { _rig: rig, host, log, archive, _turn: turn })
}

/// The log's lines: computer's clock, µs, and whether the bridge went on.
fn changes(log: &Path) -> Result<Vec<(u64, bool)>> {
    let text = std::fs::read_to_string(log)?;
    let line = |l: &str| {
        let mut words = l.split(' ');
        Some((words.next()?.parse().ok()?, words.nth(1)? == "on"))
    };
    Ok(text.lines().filter_map(line).collect())
}

fn unix_us() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_micros() as u64
}

/// The bridge is on now, and off for good soon after `ended`.
#[track_caller]
fn check_opens(log: &Path, ended: impl FnOnce() -> Result<()>) -> Result<()> {
    let before = changes(log)?;
    assert!(before.last().is_some_and(|(_, on)| *on), "the bridge is not driven: {before:?}");
    let end_us = unix_us();
    ended()?;
    let until = Instant::now() + DEADLINE;
    let off = loop {
        let after: Vec<(u64, bool)> = changes(log)?.split_off(before.len());
        if let Some((at, false)) = after.last() {
            break *at;
        }
        assert!(Instant::now() < until, "the bridge stays on: {after:?}");
        std::thread::yield_now();
    };
    let took = off.saturating_sub(end_us);
    assert!(took <= OPEN_WITHIN_US, "the bridge opened after {took} us");
    Ok(())
}

/// The log does not grow for a while after the bridge opened.
fn check_stays_open(log: &Path) -> Result<()> {
    let (before, from) = (changes(log)?.len(), Instant::now());
    while from.elapsed() < Duration::from_secs(1) {
        assert_eq!(changes(log)?.len(), before, "the bridge went on again");
        std::thread::yield_now();
    }
    Ok(())
}

#[test]
fn ctrl_c_opens_the_bridge_and_keeps_the_recording() -> Result<()> {
    let scene = driving()?;
    check_opens(&scene.log, || scene.host.signal("INT"))?;
    let said = scene.host.finish()?;
    said.expect(20, &["stopped by the user"]);
    assert!(trace_is_kept(scene.archive.path()));
    Ok(())
}

#[test]
fn a_closed_terminal_opens_the_bridge() -> Result<()> {
    let scene = driving()?;
    check_opens(&scene.log, || scene.host.signal("HUP"))?;
    check_stays_open(&scene.log)
}

#[test]
fn a_killed_host_opens_the_bridge() -> Result<()> {
    let scene = driving()?;
    check_opens(&scene.log, || scene.host.signal("KILL"))?;
    check_stays_open(&scene.log)
}

#[test]
fn a_host_that_hangs_opens_the_bridge() -> Result<()> {
    let scene = driving()?;
    check_opens(&scene.log, || scene.host.signal("STOP"))?;
    check_stays_open(&scene.log)?;
    scene.host.signal("CONT")
}

#[test]
fn a_pulled_cable_opens_the_bridge_and_the_host_says_so() -> Result<()> {
    let turn = turn();
    let archive = tempdir()?;
    let (rig, log) = rig(archive.path())?;
    let cable = Cable::to(rig.address())?;
    let mut host = host(&cable.address, archive.path())?;
    host.wait_for("steps 25 %")?;
    check_opens(&log, || {
        cable.pull();
        Ok(())
    })?;
    check_stays_open(&log)?;
    host.finish()?.expect(20, &["check"]);
    assert!(trace_is_kept(archive.path()));
    drop(turn);
    Ok(())
}

/// Rest and stops take 14 s of the rig's clock, the steps 19 s more: the E-stop is pressed among them.
#[test]
fn an_emergency_stop_among_the_steps_opens_the_bridge_and_what_was_recorded_is_never_within() -> Result<()> {
    let turn = turn();
    let archive = tempdir()?;
    let (rig, log) = rig_at("tcp:127.0.0.1:0", archive.path(), &["--estop-after", "22"])?;
    let said = host(rig.address(), archive.path())?.finish()?;
    let record = Record::only(&archive.path().join("records"), said)?;
    record.said.expect(20, &["SIMULATED", "E-stop", "release the E-stop"]);
    assert_ne!(record.verdict(), "within");
    assert_eq!(record.outcome["aborted"], true);
    let procedures = record.outcome["procedures"].as_array().context("procedures")?;
    assert!(procedures.iter().any(|p| p["procedure"] == "step" && p["end"] == "guard"), "{procedures:?}");
    let trace = trackpair::record::trace_from_parquet(std::fs::read(record.trace("step")?)?)?;
    assert!(trace.len() > 1000 && trace.time_us.is_sorted_by(|a, b| a < b), "{} scans", trace.len());
    assert!(changes(&log)?.last().is_some_and(|(_, on)| !on), "the bridge is open");
    drop(turn);
    Ok(())
}

/// At no terminal, nobody can say yes.
#[test]
fn without_the_cautions_accepted_nothing_is_driven() -> Result<()> {
    let turn = turn();
    let archive = tempdir()?;
    let (rig, log) = rig_at("tcp:127.0.0.1:0", archive.path(), &[])?;
    for procedure in ["qualify", "procedure rest", "procedure step", "procedure guided-push"] {
        let mut refused = command(procedure.split(' ').chain(["--rig", rig.address(), "--archive"]))?;
        refused.arg(archive.path().join("records"));
        let said = Running::start(refused)?.finish()?;
        let words =
            ["Keep fingers and tools out of the bore", "Nothing was driven", "--i-have-read-the-cautions"];
        said.expect(2, &words);
        assert!(said.out.is_empty(), "{}", said.out);
    }
    assert_eq!(changes(&log)?, [], "the bridge stays open");
    assert!(files_under(&archive.path().join("records")).is_empty(), "no record of nothing");
    drop(turn);
    Ok(())
}

/// Two pseudo terminals joined by this process, until pulled: both ends stay open and hear nothing more.
struct Cable {
    address: String,
    pulled: Arc<AtomicBool>,
    _end: TTYPort,
}

impl Cable {
    fn to(rig: &str) -> Result<Self> {
        let path = rig.strip_prefix("serial:").context("a serial address")?;
        let open = |path: &str| serialport::new(path, 2_000_000).timeout(Duration::from_millis(50));
        let at_rig = TTYPort::open(&open(path))?;
        let (mut at_host, end) = TTYPort::pair()?;
        at_host.set_timeout(Duration::from_millis(50))?;
        let address = format!("serial:{}", end.name().context("it has no name")?);
        let pulled = Arc::new(AtomicBool::new(false));
        let (rig_too, host_too) = (at_rig.try_clone_native()?, at_host.try_clone_native()?);
        for (from, to) in [(at_rig, host_too), (at_host, rig_too)] {
            let pulled = Arc::clone(&pulled);
            std::thread::spawn(move || carry(from, to, &pulled));
        }
        Ok(Self { address, pulled, _end: end })
    }

    fn pull(&self) {
        self.pulled.store(true, Ordering::Relaxed);
    }
}

/// Carries bytes one way; of a pulled cable they are read and lost.
fn carry(mut from: TTYPort, mut to: TTYPort, pulled: &AtomicBool) {
    let mut bytes = [0; 4096];
    loop {
        match read_some(&mut from, &mut bytes) {
            Ok(0) => return,
            Ok(n) if !pulled.load(Ordering::Relaxed) => {
                if to.write_all(&bytes[..n]).is_err() {
                    return;
                }
            }
            Ok(_) => {}
            Err(e) if e.kind() == ErrorKind::TimedOut => {}
            Err(_) => return,
        }
    }
}

/// Whether the record has a trace of the steps.
fn trace_is_kept(archive: &Path) -> bool {
    let named = |name: &str| name.contains("/trace-") && name.ends_with("step.parquet");
    files_under(&archive.join("records").join("traces")).iter().any(|f| named(&f.to_string_lossy()))
}
