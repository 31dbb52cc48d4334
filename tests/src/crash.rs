//! Programs that keep records and are killed at random moments: what an archive must survive.

use crate::cli::{command, record_folders};
use crate::parallel::on_all_cores;
use crate::programs;
use anyhow::{Context, Result, ensure};
use rand_core::Rng;
use rand_pcg::Pcg64Mcg;
use std::io::Read;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};
use trackpair::record::verify::{Expected, verify};
use trackpair::record::{Archive, Query, RecordState};

/// What became of the programs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Survived {
    /// Programs that were started.
    pub started: u64,
    /// Killed before they had said that the record is kept.
    pub killed: u64,
    /// Records that were acknowledged, all of which are there, sealed.
    pub acknowledged: u64,
    /// Records that are sealed, though their program was killed before it could say so.
    pub sealed_unsaid: u64,
    /// Records that have traces but no outcome.
    pub unfinished: u64,
    /// Half-written or unnamed files that do not count.
    pub leftovers: u64,
}

/// The command that keeps a record of an invented grip with two short traces.
fn keeper(archive: &Path, label: &str) -> Result<Command> {
    let stored = programs::repository().join("tests/data/records/note-1");
    let mut command = command(["judge", "--part", label, "--archive"])?;
    command.arg(archive).arg(stored).stdout(Stdio::piped()).stderr(Stdio::null());
    Ok(command)
}

/// Kills a program after a while, unless it has ended by then; what it had said.
fn killed_after(mut child: Child, delay: Duration) -> Result<String> {
    let mut out = child.stdout.take().context("no standard output")?;
    let (ended, end) = channel();
    let reader = std::thread::spawn(move || {
        let mut said = Vec::new();
        let _ = out.read_to_end(&mut said);
        let _ = ended.send(());
        String::from_utf8_lossy(&said).into_owned()
    });
    // Its standard output ends with it.
    let _ = end.recv_timeout(delay);
    child.kill()?;
    child.wait()?;
    Ok(reader.join().unwrap_or_default())
}

/// Starts `count` programs, two at a time on one archive, and kills each at a random moment of its life. Then the archive must be whole:
/// every acknowledged record there and sealed, nothing half-written that counts.
///
/// # Errors
/// Says what is not so.
pub fn survive(archive: &Path, count: u64, seed: u64) -> Result<Survived> {
    // How long the slower of two takes that are left alone: as many run at once below.
    let first = [keeper(archive, "first")?, keeper(archive, "second")?];
    let begun = Instant::now();
    let started = first.into_iter().map(|mut one| one.spawn()).collect::<Result<Vec<_>, _>>()?;
    for one in started {
        let said = killed_after(one, Duration::from_secs(60))?;
        ensure!(said.contains("Record  "), "the first programs were to end by themselves; one said {said:?}");
    }
    let life = begun.elapsed();

    let acknowledged: Vec<Result<Option<String>>> = on_all_cores(count, |k| {
        let mut random = Pcg64Mcg::new(u128::from(seed) << 64 | u128::from(k));
        // About half are killed before they end.
        let delay = life.mul_f64(2.0 * f64::from(random.next_u32()) / f64::from(u32::MAX));
        let said = killed_after(keeper(archive, &format!("grip {k}"))?.spawn()?, delay)?;
        let record = said.lines().find_map(|line| line.strip_prefix("Record  "));
        Ok(record.and_then(|r| Path::new(r.trim()).file_name()).map(|n| n.to_string_lossy().into_owned()))
    });
    let acknowledged: Vec<String> =
        acknowledged.into_iter().collect::<Result<Vec<_>>>()?.into_iter().flatten().collect();
    check(archive, count, &acknowledged)
}

fn check(archive: &Path, started: u64, acknowledged: &[String]) -> Result<Survived> {
    let opened = Archive::open(archive)?;
    let found = verify(&opened, &Expected::default())?;
    let first = found.problems.first();
    ensure!(
        first.is_none(),
        "the archive is not whole: {} problems, the first: {first:?}",
        found.problems.len()
    );
    let records = opened.find(&Query::default())?;
    let state = |name: &String| records.iter().find(|r| r.record == *name).map(|r| r.state);
    for record in acknowledged {
        ensure!(
            state(record) == Some(RecordState::Sealed),
            "{record} was acknowledged and is {:?}",
            state(record)
        );
    }
    let count = |state: RecordState| records.iter().filter(|r| r.state == state).count() as u64;
    // What is unfinished has all its traces whole.
    for record in records.iter().filter(|r| r.state == RecordState::Unfinished) {
        opened.traces(&opened.record(&record.record)?)?;
    }
    let leftovers = found.notes.iter().filter(|n| n.contains("half-written") || n.contains("no seal covers"));
    let survived = Survived {
        started,
        killed: started - acknowledged.len() as u64,
        acknowledged: acknowledged.len() as u64,
        // The first two were left alone.
        sealed_unsaid: count(RecordState::Sealed) - 2 - acknowledged.len() as u64,
        unfinished: count(RecordState::Unfinished),
        leftovers: leftovers.count() as u64 + (record_folders(archive).len() - records.len()) as u64,
    };
    ensure!(count(RecordState::Unsealed) == 0, "with a key every outcome is sealed");
    Ok(survived)
}
