//! The program on a computer that is odd: a disk that takes its time, a clock that is set back, a reader of its words that stands still. The rig
//! does not feel it, nothing is lost, and it ends unpowered.
#![cfg(target_os = "linux")]

use crate::real_line::{SHORT, check_unpowered, serve, status, wait_for_file};
use anyhow::{Context, Result, ensure};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Running, command, trackpair};

/// `odd_system.c` as what is loaded before the C library. The C compiler is the one that Rust links with.
fn odd_system(folder: &Path) -> Result<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/real_time/odd_system.c");
    let made = folder.join("odd_system.so");
    let said = Command::new("cc")
        .args(["-shared", "-fPIC", "-O1", "-o"])
        .args([&made, &source])
        .arg("-ldl")
        .output()?;
    ensure!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    Ok(made)
}

/// 30 ms for each write, half a second until anything is on the disk: some seconds between two procedures.
#[test]
fn a_slow_disk_holds_up_what_is_stored_and_not_the_rig() -> Result<()> {
    let (rig, archive, odd) = (serve("good-grip", "pty", &[])?, tempdir()?, tempdir()?);
    let mut qualify = command(["qualify", "--rig", rig.address(), "--archive"])?;
    qualify.arg(archive.path()).args(SHORT).env("LD_PRELOAD", odd_system(odd.path())?);
    qualify.envs([("ODD_WRITE_MS", "30"), ("ODD_SYNC_MS", "500")]);
    let begun = Instant::now();
    let record = Record::only(archive.path(), Running::start(qualify)?.finish()?)?;
    ensure!(matches!(record.said.code, Some(0 | 11)), "{:?}", record.said);
    record.said.silent_about("CUT SHORT");
    let line = &record.outcome["line"];
    ensure!(line["longest_heartbeat_gap_ms"].as_u64().is_some_and(|ms| ms < 300), "{line}");
    ensure!(line["counts"]["scans_lost_host"] == 0, "{line}");
    // The disk was as slow as it was meant to be: three traces, each synced, and the record's files.
    ensure!(begun.elapsed() > Duration::from_secs(12), "{:?}", begun.elapsed());
    check_unpowered(&status(&rig)?);
    Ok(())
}

/// The host's clock dates records and nothing else.
#[test]
fn a_clock_that_is_set_back_in_the_middle_changes_neither_verdict_nor_seals() -> Result<()> {
    let (archive, odd) = (tempdir()?, tempdir()?);
    let place = archive.path().to_str().context("text")?;
    let mut qualify = command(["qualify", "--rig", "sim:good-grip?seed=7", "--archive", place])?;
    qualify.env("LD_PRELOAD", odd_system(odd.path())?).env("ODD_CLOCK_BACK_S", "90000");
    let said = Running::start(qualify)?.finish()?;
    let record = Record::only(archive.path(), said)?;
    record.said.expect(0, &["WITHIN"]);
    let date = |key: &str| record.outcome[key].as_str().unwrap_or_default().to_owned();
    // The record is named by the first look at the clock; what is dated by later ones is a day older.
    let name = record.folder.file_name().and_then(|n| n.to_str()).context("text")?;
    ensure!(!name.starts_with(&date("judged")[..10].replace('-', "")), "{name} {}", date("judged"));
    trackpair(["records", "verify", "--archive", place])?.expect(0, &[]);
    trackpair(["records", "show", name, "--session", "--archive", place])?
        .expect(0, &["closed: the rig is unpowered"]);
    Ok(())
}

/// A pipe that is full and that nobody reads: what is to be printed waits, after the rig was unpowered and the record stored.
#[test]
fn who_does_not_read_what_is_printed_holds_up_no_rig_and_no_record() -> Result<()> {
    let (rig, archive) = (serve("good-grip", "pty", &[])?, tempdir()?);
    let (mut reader, writer) = std::io::pipe()?;
    let mut filler = writer.try_clone()?;
    let mut qualify = command(["qualify", "--rig", rig.address(), "--archive"])?;
    qualify.arg(archive.path()).args(SHORT).stdout(writer).stderr(Stdio::null());
    // More than any pipe holds: it is full until it is read.
    let full = std::thread::spawn(move || filler.write_all(&vec![b'.'; 4 << 20]));
    let mut running = qualify.spawn()?;
    drop(qualify);
    wait_for_file(archive.path(), "outcome.json")?;
    check_unpowered(&status(&rig)?);
    ensure!(running.try_wait()?.is_none(), "what it has to say was not held up");
    let mut said = Vec::new();
    reader.read_to_end(&mut said)?;
    full.join().expect("no panic")?;
    let code = running.wait()?.code();
    let said = String::from_utf8_lossy(&said);
    ensure!(
        matches!(code, Some(0 | 11)) && said.contains("report"),
        "{code:?} {}",
        said.trim_start_matches('.')
    );
    Ok(())
}
