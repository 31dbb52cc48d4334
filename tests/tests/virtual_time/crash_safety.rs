//! `kill -9` at any moment, and several programs at once, on one archive. `scripts/kill-study` does the first a thousand times.

use anyhow::{Result, ensure};
use tempfile::tempdir;
use trackpair::record::verify::{Expected, verify};
use trackpair::record::{Archive, Query, RecordState};
use trackpair_tests::cli::{Running, command};
use trackpair_tests::crash::survive;
use trackpair_tests::programs;

#[test]
fn two_hundred_kills_lose_nothing_acknowledged_and_leave_nothing_half_written_that_counts() -> Result<()> {
    let archive = tempdir()?;
    let survived = survive(archive.path(), 200, 1)?;
    println!("{survived:?}");
    // The moments fell before, inside and after the work: else nothing was tested.
    ensure!(survived.acknowledged >= 10, "{survived:?}");
    ensure!(survived.killed >= 10, "{survived:?}");
    ensure!(survived.unfinished + survived.leftovers + survived.sealed_unsaid >= 5, "{survived:?}");
    Ok(())
}

#[test]
fn programs_that_write_at_once_make_one_chain() -> Result<()> {
    let archive = tempdir()?;
    let stored = programs::repository().join("tests/data/records/note-1");
    let running: Vec<Running> = (0..12)
        .map(|_| {
            // The same words and the same second: names must not clash either.
            let mut judge = command(["judge", "--part", "the same grip", "--archive"])?;
            judge.arg(archive.path()).arg(&stored);
            Running::start(judge)
        })
        .collect::<Result<_>>()?;
    for one in running {
        let said = one.finish()?;
        ensure!(said.out.contains("Record  "), "{}{}", said.out, said.err);
    }
    let opened = Archive::open(archive.path())?;
    let records = opened.find(&Query::default())?;
    ensure!(records.len() == 12 && records.iter().all(|r| r.state == RecordState::Sealed), "{records:?}");
    let found = verify(&opened, &Expected::default())?;
    ensure!(
        found.problems.is_empty() && found.seals == 12,
        "{} seals, {:?}",
        found.seals,
        found.problems.first()
    );
    Ok(())
}
