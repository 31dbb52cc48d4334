//! Soaks through the program: on a simulated rig for virtual hours, killed and gone on with, on a rig that another program has.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::{TempDir, tempdir};
use trackpair::record::Archive;
use trackpair::record::verify::{Expected, verify};
use trackpair_tests::cli::{Record, Running, Said, command, record_folders, trackpair};
use trackpair_tests::programs::ServedRig;
use trackpair_tests::soaks::{log_lines, rounds, survive};

/// A place for an archive and a part file with faults of a grip.
fn place(faults: &str) -> Result<(TempDir, String)> {
    let folder = tempdir()?;
    let part = folder.path().join("part.toml");
    fs::write(&part, format!("kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\n{faults}"))?;
    let rig = format!("sim:{}", part.to_str().context("UTF-8")?);
    Ok((folder, rig))
}

fn arguments<'a>(rig: &'a str, archive: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    ["soak", "--full", "--rig", rig, "--archive", archive].into_iter().chain(more.iter().copied()).collect()
}

/// Soaks a part with faults; its record.
fn soak(faults: &str, more: &[&str]) -> Result<(TempDir, Record)> {
    let (folder, rig) = place(faults)?;
    let archive = folder.path().join("archive");
    let said = trackpair(arguments(&rig, archive.to_str().context("UTF-8")?, more))?;
    let record = Record::only(&archive, said)?;
    Ok((folder, record))
}

fn whole(archive: &Path) -> Result<()> {
    let found = verify(&Archive::open(archive)?, &Expected::default())?;
    ensure!(found.problems.is_empty(), "{:?}", found.problems);
    Ok(())
}

const SHORT: [&str; 4] = ["--for", "0.2h", "--every", "30s"];

#[test]
fn a_soak_keeps_every_round_says_what_drifts_and_is_sealed() -> Result<()> {
    let drift = "[[fault]]\nkind = \"drift\"\nchannel = \"rising\"\npercent_of_supply_per_hour = 1.0\n";
    let (_folder, record) = soak(drift, &SHORT)?;
    // Its correlation offset goes 1 % of supply an hour towards a limit of 2 %.
    record.said.expect(11, &["24 of 24 planned", "drifts and would reach its limit in", "soak it longer"]);
    let soak = &record.outcome["soak"];
    ensure!(record.outcome["scope"] == "soak" && soak["rounds"] == 24 && soak["ended"] == "time", "{soak}");
    // Nothing went otherwise than planned, so that nothing is warned of.
    ensure!(
        record.outcome["warnings"].as_array().is_some_and(Vec::is_empty),
        "{}",
        record.outcome["warnings"]
    );
    ensure!(rounds(&record.folder)?.len() == 24);
    let drifts = soak["drifts"].as_array().context("drifts")?;
    let drift = |figure: &str, channel: &str| {
        drifts.iter().find(|d| d["figure"] == figure && d["channel"] == channel).context("a drift")
    };
    let rising = drift("closed_volts", "rising")?;
    // 1 % of supply is 50 mV at 5 V.
    let per_hour = rising["per_hour"].as_f64().context("a slope")?;
    ensure!(rising["drifts"] == true && (per_hour - 0.05).abs() < 0.002, "{rising}");
    ensure!(drift("closed_volts", "falling")?["drifts"] == false);
    let html = String::from_utf8(record.file("report.html")?)?;
    ensure!(
        html.contains("Over time")
            && html.contains("SIMULATED")
            && html.contains("hours since the soak began")
    );
    record.file("report.pdf")?;
    // What the line did all the time is beside it.
    ensure!(record.outcome["line"]["counts"]["frames"].as_u64() > Some(1_000), "{}", record.outcome["line"]);
    ensure!(String::from_utf8(record.file("session.jsonl")?)?.contains("\"what\":\"run_started\""));
    whole(&record.archive)
}

#[test]
fn every_dropout_of_every_round_stands_in_the_log_with_its_time_place_line_length_and_depth() -> Result<()> {
    let faults = "[[fault]]\nkind = \"dropout\"\nlead = \"falling\"\nrate_per_s = 0.1\nmin_us = 300.0\nmax_us = 900.0\n";
    let (_folder, record) = soak(faults, &SHORT)?;
    record.said.expect(10, &["outside: dropout"]);
    let rounds = rounds(&record.folder)?;
    let events: Vec<&Value> =
        rounds.iter().flat_map(|r| r["events"].as_array().into_iter().flatten()).collect();
    ensure!(events.len() >= 8, "{events:?}");
    for event in &events {
        // Planted are 300 to 900 us; a scan takes 200 us.
        let length = event["length_us"].as_f64().context("a length")?;
        ensure!(
            event["wire"] == "falling" && event["sure"] == true && (100.0..1100.0).contains(&length),
            "{event}"
        );
        ensure!(
            event["at_us"].is_u64() && event["at_deg"].is_f64() && event["depth"].as_f64() < Some(0.0),
            "{event}"
        );
    }
    let told = record.outcome["soak"]["events"]["all"]["events"].as_u64();
    ensure!(told == Some(events.len() as u64), "{told:?}");
    Ok(())
}

#[test]
fn a_part_that_stops_moving_ends_the_soak_after_one_gentle_second_try_and_nothing_is_lost() -> Result<()> {
    let (_folder, record) = soak("[[fault]]\nkind = \"seizes\"\nafter_s = 200.0\n", &SHORT)?;
    record.said.expect(
        11,
        &["stopped moving in round 8", "trying once more, gently", "The drive is off", "qualify it"],
    );
    let soak = &record.outcome["soak"];
    ensure!(soak["ended"] == "stopped_moving" && soak["rounds"] == 7, "{soak}");
    ensure!(rounds(&record.folder)?.len() == 7 && record.findings("not_moving").len() == 1);
    whole(&record.archive)
}

#[test]
fn a_part_that_never_moves_is_not_soaked_and_leaves_no_record() -> Result<()> {
    let (folder, rig) = place("[[fault]]\nkind = \"seized\"\n")?;
    let archive = folder.path().join("archive");
    let said = trackpair(arguments(&rig, archive.to_str().context("UTF-8")?, &SHORT))?;
    said.expect(20, &["the part does not move", "no record was begun", "trackpair qualify"]);
    ensure!(record_folders(&archive).is_empty());
    Ok(())
}

#[test]
fn ctrl_c_ends_a_soak_cleanly_and_what_there_is_is_judged() -> Result<()> {
    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let long = ["--for", "100h", "--every", "30s"];
    let mut running = Running::start(command(arguments(&rig, archive.to_str().context("UTF-8")?, &long))?)?;
    running.wait_for("round 12 of 12000 kept")?;
    running.signal("INT")?;
    let record = Record::only(&archive, running.finish()?)?;
    record.said.expect(11, &["ended by the user after", "of 12000 rounds were done"]);
    ensure!(record.outcome["soak"]["rounds"].as_u64() >= Some(12));
    // The last round's traces are kept, though it was a round like others.
    let lines = log_lines(&record.folder)?;
    ensure!(lines.last().is_some_and(|l| l["line"] == "end" && l["why"] == "user"), "{:?}", lines.last());
    whole(&archive)
}

#[test]
fn memory_stays_flat_from_the_tenth_round_to_the_hundredth() -> Result<()> {
    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let more = ["--for", "1h", "--every", "30s", "--cycles", "1", "--disk", "20MB"];
    let mut running = Running::start(command(arguments(&rig, archive.to_str().context("UTF-8")?, &more))?)?;
    let resident = |id: u32| -> Result<u64> {
        let status = fs::read_to_string(format!("/proc/{id}/status"))?;
        let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:")).context("VmRSS")?;
        Ok(line.trim().trim_end_matches(" kB").parse()?)
    };
    running.wait_for("round 10 of 120 kept")?;
    let early = resident(running.id())?;
    running.wait_for("round 100 of 120 kept")?;
    let late = resident(running.id())?;
    let record = Record::only(&archive, running.finish()?)?;
    // One cycle does not show repeatability.
    record.said.expect(11, &["120 of 120 planned"]);
    println!("resident: {early} kB after 10 rounds, {late} kB after 100");
    // What one round's arrays take varies by a few MB with the moment that is caught; 90 rounds kept would take 190 MB.
    ensure!(late < early + 24_000, "{early} kB after 10 rounds, {late} kB after 100");
    let traces: u64 = record
        .files()
        .iter()
        .filter(|f| f.extension().is_some_and(|e| e == "parquet"))
        .map(|f| f.metadata().map_or(0, |m| m.len()))
        .sum();
    let log = fs::metadata(record.folder.join("soak.jsonl"))?.len();
    ensure!(traces + log <= 20_000_000, "{traces} {log}");
    ensure!(rounds(&record.folder)?.len() == 120, "figures are never dropped");
    Ok(())
}

#[test]
fn two_soaks_on_one_rig_and_any_other_command_on_it_are_told_who_has_it() -> Result<()> {
    let rig = ServedRig::start(["--listen", "tcp:127.0.0.1:0"])?;
    let (address, folder) = (rig.address().to_owned(), tempdir()?);
    let archive = folder.path().to_str().context("UTF-8")?;
    let first = arguments(&address, archive, &["--part", "grip of shelf 3"]);
    let mut first = Running::start(command(first)?)?;
    first.wait_for("self-check")?;
    let process = format!("process {}", first.id());
    let words = ["is in use by another program", process.as_str(), "grip of shelf 3", "use another rig"];
    for second in [
        arguments(&address, archive, &[]),
        vec!["qualify", "--rig", &address, "--archive", archive],
        vec!["rigs", "--rig", &address],
        vec!["rigs", "--rig", &address, "--ping", "3"],
    ] {
        trackpair(second)?.expect(20, &words);
    }
    // However it ends, the system takes the lock back.
    first.signal("KILL")?;
    first.finish()?;
    trackpair(["rigs", "--rig", &address, "--ping", "3"])?.expect(0, &["round trips"]);
    Ok(())
}

/// The only soak's name, after a program was cut off in it.
fn only_record(archive: &Path) -> Result<(PathBuf, String)> {
    let folder = record_folders(archive).pop().context("a record")?;
    let name = folder.file_name().context("a name")?.to_string_lossy().into_owned();
    Ok((folder, name))
}

fn killed_in_round_3(archive: &Path, rig: &str) -> Result<(PathBuf, String)> {
    let text = archive.to_str().context("UTF-8")?;
    let mut running = Running::start(command(arguments(rig, text, &SHORT))?)?;
    running.wait_for("round 3 of 24 kept")?;
    running.signal("KILL")?;
    running.finish()?;
    only_record(archive)
}

#[test]
fn a_killed_soak_goes_on_says_what_it_missed_and_the_outcome_knows_the_hole() -> Result<()> {
    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let (record, name) = killed_in_round_3(&archive, &rig)?;
    let before = rounds(&record)?;
    let text = archive.to_str().context("UTF-8")?;
    let said: Said = trackpair(["soak", "--full", "--resume", &name, "--archive", text])?;
    let record = Record::only(&archive, said)?;
    record
        .said
        .expect(0, &["going on with", "the program was away from", "rounds were missed", "24 of 24 planned"]);
    let holes = record.outcome["soak"]["holes"].as_array().context("holes")?;
    ensure!(
        holes.len() == 1 && holes[0]["why"] == "program" && holes[0]["by_rig_clock"] == false,
        "{holes:?}"
    );
    let after = rounds(&record.folder)?;
    ensure!(after[..before.len()] == before[..] && after.len() == 24, "{} {}", before.len(), after.len());
    whole(&archive)?;
    // It has ended: there is nothing to go on with.
    trackpair(["soak", "--full", "--resume", &name, "--archive", text])?
        .expect(2, &["has ended and was judged", "without --resume"]);
    Ok(())
}

#[test]
fn the_same_command_finds_the_unfinished_soak_and_conclude_judges_what_there_is() -> Result<()> {
    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let (record, name) = killed_in_round_3(&archive, &rig)?;
    let text = archive.to_str().context("UTF-8")?;
    let mut again = Running::start(command(arguments(&rig, text, &SHORT))?)?;
    again.wait_for("has not ended: going on with it")?;
    again.wait_for("round 6 of 24 kept")?;
    again.signal("KILL")?;
    again.finish()?;
    let kept = rounds(&record)?.len();
    let said = trackpair(["soak", "--full", "--resume", &name, "--conclude", "--archive", text])?;
    let record = Record::only(&archive, said)?;
    record.said.expect(11, &["without going on", "rounds were done"]);
    ensure!(record.outcome["soak"]["rounds"] == kept);
    whole(&archive)
}

#[test]
fn a_torn_last_line_is_cut_off_and_said_and_an_altered_one_is_refused() -> Result<()> {
    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let (record, name) = killed_in_round_3(&archive, &rig)?;
    let text = archive.to_str().context("UTF-8")?;
    let (log, kept) = (record.join("soak.jsonl"), rounds(&record)?.len());
    let whole_log = fs::read(&log)?;
    fs::write(&log, [whole_log.as_slice(), b"{\"line\":\"round\",\"round\":"].concat())?;
    let said = trackpair(["soak", "--full", "--resume", &name, "--conclude", "--archive", text])?;
    said.expect(11, &["last line was torn (24 bytes)", "does not count"]);
    let done = Record::only(&archive, said)?;
    ensure!(done.outcome["soak"]["rounds"] == kept);

    let (folder, rig) = place("")?;
    let archive = folder.path().join("archive");
    let (record, name) = killed_in_round_3(&archive, &rig)?;
    let log = record.join("soak.jsonl");
    let altered = fs::read_to_string(&log)?.replacen("\"round\":2", "\"round\":two", 1);
    fs::write(&log, altered)?;
    let text = archive.to_str().context("UTF-8")?;
    let said = trackpair(["soak", "--full", "--resume", &name, "--archive", text])?;
    said.expect(1, &["line 3", "makes no sense", "take it from a backup"]);
    Ok(())
}

#[test]
fn an_altered_log_of_a_sealed_soak_is_found_and_judge_says_what_it_cant_do() -> Result<()> {
    let (_folder, record) = soak("", &["--for", "0.05h", "--every", "30s"])?;
    let archive = record.archive.to_str().context("UTF-8")?;
    whole(&record.archive)?;
    trackpair(["judge", record.folder.to_str().context("UTF-8")?])?.expect(2, &["is a soak", "--conclude"]);
    trackpair(["rejudge", "--all", "--archive", archive])?.expect(0, &["it is a soak"]);
    let log = record.folder.join("soak.jsonl");
    fs::write(&log, fs::read_to_string(&log)?.replacen("\"value\":0.", "\"value\":1.", 1))?;
    trackpair(["records", "verify", "--archive", archive])?.expect(12, &["soak.jsonl", "altered"]);
    Ok(())
}

#[test]
fn settings_out_of_range_and_records_that_are_no_soak_are_refused_before_anything_is_driven() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let text = archive.to_str().context("UTF-8")?;
    let grip = "sim:good-grip";
    for (rig, more, words) in [
        (grip, vec!["--for", "0h"], vec!["--for 0 h", "more than 0 h, up to 672"]),
        (grip, vec!["--for", "900h"], vec!["--for 900 h", "up to 672"]),
        (grip, vec!["--every", "1s"], vec!["--every", "5s to 24h"]),
        (grip, vec!["--every", "60"], vec!["\"60\" is not a time", "90s"]),
        (grip, vec!["--disk", "5MB"], vec!["--disk 5 MB is too little", "give", "at least"]),
        (grip, vec!["--disk", "much"], vec!["is not a size", "500MB"]),
        (
            grip,
            vec!["--resume", "nothing-of-that-name"],
            vec!["is not a soak that could go on", "records list"],
        ),
        ("sim:good-body", vec!["--cycles", "3"], vec!["--cycles is for grips", "--every"]),
        ("sim:no-such-part", vec![], vec!["no part is named"]),
    ] {
        trackpair(arguments(rig, text, &more))?.expect(2, &words);
    }
    ensure!(record_folders(&archive).is_empty());
    Ok(())
}

#[test]
fn forty_kills_at_random_moments_lose_no_round_that_was_acknowledged() -> Result<()> {
    let folder = tempdir()?;
    let survived = survive(folder.path(), 40, 1)?;
    println!("{survived:?}");
    // The moments fell before, inside and after rounds: else nothing was tested.
    ensure!(survived.kills >= 35 && survived.acknowledged >= 40 && survived.holes >= 10, "{survived:?}");
    Ok(())
}

/// On a rig in real time: half a minute.
#[test]
fn an_unplugged_rig_is_waited_for_and_when_it_stays_away_the_soak_can_go_on_later() -> Result<()> {
    let rig = ServedRig::start(["--listen", "tcp:127.0.0.1:0"])?;
    let (address, folder) = (rig.address().to_owned(), tempdir()?);
    let archive = folder.path().join("archive");
    let text = archive.to_str().context("UTF-8")?;
    let more = ["--for", "1h", "--every", "5s", "--cycles", "1", "--patience", "4s"];
    let mut soak = Running::start(command(arguments(&address, text, &more))?)?;
    soak.wait_for("round 1 of 720 kept")?;
    drop(rig);
    soak.wait_for("the rig is away")?;
    let rig = ServedRig::start(["--listen", &address])?;
    soak.wait_for("the rig was away from")?;
    soak.wait_for("kept: 0 dropouts in it")?;
    drop(rig);
    let said = soak.finish()?;
    said.expect(
        20,
        &["did not come back within 4 s", "The soak has not ended", "soak --resume", "--conclude"],
    );
    let (record, name) = only_record(&archive)?;
    let kept = rounds(&record)?.len();
    let said = trackpair(["soak", "--full", "--resume", &name, "--conclude", "--archive", text])?;
    let record = Record::only(&archive, said)?;
    ensure!(record.outcome["soak"]["rounds"] == kept && record.outcome["soak"]["holes"][0]["why"] == "link");
    whole(&archive)
}
