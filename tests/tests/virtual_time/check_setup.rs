//! `check-setup` as a user meets it, and the udev rule that it speaks of.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::{Running, command, trackpair};
use trackpair_tests::programs::{self, ServedRig};

const RULE: &str = "packaging/udev/70-trackpair.rules";

/// The checks of a machine, by name and state.
fn states(document: &str) -> Result<Vec<(String, String)>> {
    let document: Value = serde_json::from_str(document)?;
    let checks = document["checks"].as_array().context("checks")?;
    let text = |v: &Value| v.as_str().map(str::to_owned).context("a text");
    checks.iter().map(|c| Ok((text(&c["check"])?, text(&c["state"])?))).collect()
}

#[test]
fn a_machine_with_a_rig_and_a_writable_archive_is_ready() -> Result<()> {
    let archive = tempdir()?;
    let archive = archive.path().to_str().context("ASCII")?;
    let rig = ServedRig::start(["--part", "good-grip", "--listen", "pty"])?;
    let said = trackpair(["check-setup", "--rig", rig.address(), "--archive", archive])?;
    said.expect(
        0,
        &["may be opened", "answers", "can be written", "MB are free", "made at the first record"],
    );
    let json = trackpair(["check-setup", "--json", "--rig", rig.address(), "--archive", archive])?;
    let states = states(&json.out)?;
    ensure!(states.iter().all(|(_, state)| state != "problem"), "{states:?}");
    ensure!(states.iter().any(|(check, state)| check == "rig" && state == "ok"), "{states:?}");
    Ok(())
}

#[test]
fn every_problem_is_named_with_what_to_do_and_the_exit_code_says_so() -> Result<()> {
    let folder = tempdir()?;
    let file = folder.path().join("file");
    std::fs::write(&file, "")?;
    let below = file.join("records");
    let archive = below.to_str().context("ASCII")?;
    let key = folder.path().join("shop.key");
    std::fs::write(&key, "not secret")?;
    let mut check = command(["check-setup", "--rig", "serial:/dev/no-such-port", "--archive", archive])?;
    check.env("TRACKPAIR_KEY", &key).env("LC_ALL", "C");
    let said = Running::start(check)?.finish()?;
    said.expect(
        1,
        &[
            "/dev/no-such-port does not exist",
            "a file in the place of the folder",
            "chmod 600",
            "ASCII",
            "there are 3 problems",
        ],
    );
    ensure!(std::fs::read_dir(folder.path())?.count() == 2, "nothing is left behind");
    Ok(())
}

#[test]
fn a_key_other_than_the_last_seals_is_a_warning() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let archive = archive.to_str().context("ASCII")?;
    let stored = programs::repository().join("tests/data/records/note-1");
    let stored = stored.to_str().context("UTF-8")?;
    trackpair(["judge", "--archive", archive, stored])?;
    let at = ["check-setup", "--rig", "sim:good-grip", "--archive", archive];
    trackpair(at)?.expect(0, &["is readable by you alone; public key"]);
    let mut check = command(at)?;
    check.env("TRACKPAIR_KEY", folder.path().join("other.key"));
    Running::start(check)?.finish()?.expect(0, &["is not there, but the archive's last seal"]);
    let other = trackpair::record::seal::ShopKey::from_seed(&[9; 32]);
    other.save(&folder.path().join("other.key"))?;
    let mut check = command(at)?;
    check.env("TRACKPAIR_KEY", folder.path().join("other.key"));
    Running::start(check)?.finish()?.expect(0, &["was made with another key", &other.public().to_hex()]);
    Ok(())
}

#[test]
fn a_rig_that_does_not_answer_is_a_problem_and_so_is_an_address_that_is_none() -> Result<()> {
    trackpair(["check-setup", "--rig", "tcp:127.0.0.1:1"])?
        .expect(1, &["PROBLEM", "tcp:127.0.0.1:1", "has power"]);
    trackpair(["check-setup", "--rig", "ttyACM0"])?.expect(1, &["is not a rig address", "mend --rig"]);
    trackpair(["check-setup", "--rig", "sim:no-such-part"])?.expect(1, &["no-such-part"]);
    Ok(())
}

/// One `KEY{attribute}OPERATOR"value"` of a rule (udev(7)).
fn entry(text: &str) -> Option<(&str, &str, &str)> {
    let at = text.find(['=', '!', '+'])?;
    let (key, rest) = text.split_at(at);
    let operator = ["==", "!=", "+=", ":=", "="].into_iter().find(|o| rest.starts_with(o))?;
    let value = rest[operator.len()..].strip_prefix('"')?.strip_suffix('"')?;
    (!value.contains('"')).then_some((key, operator, value))
}

#[test]
fn the_udev_rule_gives_the_rig_to_who_sits_there_and_to_nothing_else() -> Result<()> {
    let file = programs::repository().join(RULE);
    let name = file.file_name().and_then(|n| n.to_str()).context("a name")?;
    ensure!(name < "73-seat-late.rules", "uaccess is granted there");
    let text = std::fs::read_to_string(&file)?;
    let rules: Vec<&str> = text.lines().filter(|l| !l.is_empty() && !l.starts_with('#')).collect();
    let [rule] = rules[..] else { anyhow::bail!("one rule is expected: {rules:?}") };
    let entries: Vec<_> = rule
        .split(", ")
        .map(|e| entry(e).with_context(|| format!("no entry: {e}")))
        .collect::<Result<_>>()?;
    let asked = ["ACTION", "SUBSYSTEM", "ATTRS{idVendor}", "ATTRS{idProduct}", "ATTRS{product}"];
    let done = ["TAG", "ENV{ID_MM_DEVICE_IGNORE}", "SYMLINK"];
    for (key, operator, value) in &entries {
        let is_question = matches!(*operator, "==" | "!=");
        ensure!(if is_question { asked.contains(key) } else { done.contains(key) }, "{key}{operator}{value}");
    }
    for wanted in [
        ("SUBSYSTEM", "==", "tty"),
        ("ATTRS{idVendor}", "==", "1209"),
        ("ATTRS{idProduct}", "==", "0001"),
        ("ATTRS{product}", "==", "Trackpair*"),
        ("TAG", "+=", "uaccess"),
    ] {
        ensure!(entries.contains(&wanted), "{wanted:?} missing in {rule}");
    }
    let readme = std::fs::read_to_string(programs::repository().join("README.md"))?;
    ensure!(readme.contains(RULE), "the README tells how to install it");
    Ok(())
}

#[test]
fn udev_itself_finds_nothing_wrong_with_the_rule() -> Result<()> {
    let can_verify = Command::new("udevadm").args(["verify", "--help"]).output();
    if !can_verify.is_ok_and(|o| o.status.success()) {
        eprintln!(
            "udevadm can't verify here (systemd 254 or later does): the rule was parsed by the other test alone"
        );
        return Ok(());
    }
    let output = Command::new("udevadm").arg("verify").arg(programs::repository().join(RULE)).output()?;
    let said = [output.stdout, output.stderr].concat();
    ensure!(output.status.success(), "{}", String::from_utf8_lossy(&said));
    Ok(())
}
