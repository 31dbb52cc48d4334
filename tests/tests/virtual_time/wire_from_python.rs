//! The wire as a second reader sees it: a Python program with no code in common checks the vectors and drives
//! a rig.

use std::process::Command;

use anyhow::{Result, ensure};
use trackpair_tests::programs::{self, ServedRig};

/// Runs `wire_peer.py`; its message when it finds a breach.
fn peer(arguments: [&str; 2]) -> Result<String> {
    let script = programs::repository().join("tests/python/wire_peer.py");
    let output = Command::new(programs::python()?).arg(script).args(arguments).output()?;
    let (said, complaint) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    ensure!(output.status.success(), "{said}{complaint}");
    Ok(said.into_owned())
}

#[test]
fn an_independent_reader_agrees_with_every_vector() -> Result<()> {
    let vectors = programs::repository().join("protocol/vectors.json");
    let said = peer(["vectors", vectors.to_str().expect("the path is text")])?;
    ensure!(said.contains("vectors hold"), "it said: {said}");
    Ok(())
}

#[test]
fn an_independent_host_drives_a_rig_over_tcp() -> Result<()> {
    let rig = ServedRig::start(["--part", "good-grip", "--listen", "tcp:127.0.0.1:0"])?;
    let said = peer(["drive", rig.address()])?;
    ensure!(said.contains("keeps to the specification"), "it said: {said}");
    Ok(())
}

#[cfg(unix)]
#[test]
fn an_independent_host_drives_a_rig_over_a_pseudo_terminal() -> Result<()> {
    let rig = ServedRig::start(["--part", "good-grip", "--listen", "pty"])?;
    let said = peer(["drive", rig.address()])?;
    ensure!(said.contains("keeps to the specification"), "it said: {said}");
    Ok(())
}

#[test]
fn a_wrong_byte_in_a_vector_is_a_breach() -> Result<()> {
    let text = std::fs::read_to_string(programs::repository().join("protocol/vectors.json"))?;
    let wrong = text.replacen("1697d06a", "1697d06b", 1);
    ensure!(wrong != text, "the catalogue's check value is among the vectors");
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("wrong.json");
    std::fs::write(&path, wrong)?;
    let complaint =
        peer(["vectors", path.to_str().expect("the path is text")]).expect_err("it must be found");
    ensure!(complaint.to_string().contains("CRC of 313233343536373839"), "it said: {complaint}");
    Ok(())
}
