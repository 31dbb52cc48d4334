//! What an outcome says of a soak, against scipy on the log alone (`soak.py`).

use anyhow::{Result, ensure};
use std::fs;
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, trackpair};
use trackpair_tests::programs;

#[test]
fn drifts_rates_and_their_significance_are_those_of_an_independent_program() -> Result<()> {
    let folder = tempdir()?;
    let part = folder.path().join("part.toml");
    fs::write(
        &part,
        "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\n\
         [[fault]]\nkind = \"drift\"\nchannel = \"falling\"\npercent_of_supply_per_hour = -0.4\n\
         [[fault]]\nkind = \"dropout\"\nlead = \"rising\"\nrate_per_s = 0.1\nmin_us = 300.0\nmax_us = 900.0\n",
    )?;
    let (rig, archive) = (format!("sim:{}", part.display()), folder.path().join("archive"));
    let mut arguments = vec!["soak", "--rig", &rig, "--for", "0.3h", "--every", "20s", "--archive"];
    let text = archive.display().to_string();
    arguments.push(&text);
    let record = Record::only(&archive, trackpair(arguments)?)?;
    let script = programs::repository().join("tests/python/soak.py");
    let output = Command::new(programs::python()?).arg(script).arg(&record.folder).output()?;
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success() && said.contains("54 rounds") && said.contains("all agree"), "{said}");
    Ok(())
}
