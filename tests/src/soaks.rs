//! Reads the logs of soaks, and kills soaks at random moments. It knows their lines as JSON, not the program's types.

use crate::cli::{command, record_folders};
use anyhow::{Context, Result, ensure};
use rand_core::Rng;
use rand_pcg::Pcg64Mcg;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::{Duration, Instant};
use trackpair::record::Archive;
use trackpair::record::verify::{Expected, verify};

/// Every whole line of the log in a record's folder.
///
/// # Errors
/// There is none, or a line before the last is no JSON.
pub fn log_lines(record: &Path) -> Result<Vec<Value>> {
    let text = std::fs::read_to_string(record.join("soak.jsonl"))?;
    let whole = text.rfind('\n').map_or("", |end| &text[..=end]);
    whole.lines().map(|line| serde_json::from_str(line).with_context(|| line.to_owned())).collect()
}

/// Its rounds.
///
/// # Errors
/// As [`log_lines`].
pub fn rounds(record: &Path) -> Result<Vec<Value>> {
    Ok(log_lines(record)?.into_iter().filter(|line| line["line"] == "round").collect())
}

/// What became of soaks that were killed and gone on with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Survived {
    /// Programs that were killed.
    pub kills: u64,
    /// Soaks that came to their end.
    pub ended: u64,
    /// Rounds that were acknowledged, all of which are in the logs.
    pub acknowledged: u64,
    /// Holes that the outcomes show.
    pub holes: u64,
}

/// Starts a soak on an invented part, kills the program at a random moment, goes on with it, and so on until so many kills were done; every
/// soak that comes to its end makes room for the next. Every round that was acknowledged must be in its log with the same values ever
/// after, and the archive must verify.
///
/// # Errors
/// Says what is not so.
pub fn survive(folder: &Path, kills: u64, seed: u64) -> Result<Survived> {
    let part = folder.join("part.toml");
    std::fs::write(
        &part,
        "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\n[[fault]]\nkind = \"dropout\"\nlead = \"rising\"\n\
         rate_per_s = 0.2\nmin_us = 300.0\nmax_us = 900.0\n",
    )?;
    let (rig, archive) = (format!("sim:{}", part.display()), folder.join("archive"));
    let mut random = Pcg64Mcg::new(u128::from(seed));
    let mut survived = Survived::default();
    let mut known: Vec<Value> = Vec::new();
    while survived.kills < kills {
        let mut soak = command([
            "soak",
            "--rig",
            &rig,
            "--for",
            "0.2h",
            "--every",
            "30s",
            "--disk",
            "40MB",
            "--archive",
        ])?;
        soak.arg(&archive);
        let delay = Duration::from_secs(3).mul_f64(f64::from(random.next_u32()) / f64::from(u32::MAX));
        let (acknowledged, killed) = acknowledged_until(soak, delay)?;
        survived.kills += u64::from(killed);
        survived.acknowledged += acknowledged.len() as u64;
        let Some(record) = record_folders(&archive).pop() else { continue };
        let rounds = rounds(&record).unwrap_or_default();
        ensure!(
            rounds.len() >= known.len() && rounds[..known.len()] == known[..],
            "{} lost rounds",
            record.display()
        );
        for number in acknowledged {
            ensure!(
                rounds.iter().any(|r| r["round"] == number),
                "round {number} of {} was lost",
                record.display()
            );
        }
        known = rounds;
        if record.join("seal.json").exists() {
            let outcome: Value =
                serde_json::from_str(&std::fs::read_to_string(record.join("outcome.json"))?)?;
            survived.holes += outcome["soak"]["holes"].as_array().map_or(0, |h| h.len() as u64);
            survived.ended += 1;
            known.clear();
        }
    }
    if archive.join("archive.sqlite").exists() {
        let found = verify(&Archive::open(&archive)?, &Expected::default())?;
        ensure!(found.problems.is_empty(), "the archive is not whole: {:?}", found.problems);
    }
    Ok(survived)
}

/// Rounds that a program acknowledged until it was killed, or ended before that; whether it was killed.
fn acknowledged_until(mut command: Command, delay: Duration) -> Result<(Vec<u64>, bool)> {
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::piped()).spawn()?;
    let err = child.stderr.take().context("no standard error")?;
    let (said, lines) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(err).lines().map_while(Result::ok) {
            let _ = said.send(line);
        }
    });
    let until = Instant::now() + delay;
    let mut rounds = Vec::new();
    let mut take = |line: String| {
        let number = line.strip_prefix("round ").filter(|l| l.contains(" kept: "));
        rounds.extend(number.and_then(|l| l.split(' ').next()?.parse::<u64>().ok()));
    };
    let killed = loop {
        match lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(line) => take(line),
            Err(RecvTimeoutError::Disconnected) => break false,
            Err(RecvTimeoutError::Timeout) => break true,
        }
    };
    child.kill()?;
    child.wait()?;
    lines.iter().for_each(take);
    Ok((rounds, killed))
}
