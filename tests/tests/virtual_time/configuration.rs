//! The configuration as a user meets it: what it changes, where each value came from, and mistakes pointed at. And that tests reach
//! nothing of the tester's own.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::path::PathBuf;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Running, Said, command, home, record_folders, trackpair};

/// Writes this test's configuration; its path.
fn configure(text: &str) -> Result<PathBuf> {
    let folder = home().join("config/trackpair");
    std::fs::create_dir_all(&folder)?;
    let file = folder.join("config.toml");
    std::fs::write(&file, text)?;
    Ok(file)
}

fn with(arguments: &[&str], variables: &[(&str, &str)]) -> Result<Said> {
    let mut command = command(arguments)?;
    command.envs(variables.iter().copied());
    Running::start(command)?.finish()
}

/// A setting's value and origin.
fn setting(variables: &[(&str, &str)], name: &str) -> Result<(Value, String)> {
    let said = with(&["config", "show", "--json"], variables)?;
    said.expect(0, &[]);
    let document: Value = serde_json::from_str(&said.out)?;
    let settings = document["settings"].as_array().context("settings")?;
    let one = settings.iter().find(|s| s["name"] == name).context("the setting")?;
    Ok((one["value"].clone(), one["origin"].as_str().context("an origin")?.to_owned()))
}

#[test]
fn a_command_reads_no_configuration_but_its_tests() -> Result<()> {
    let file = home().join("config/trackpair/config.toml");
    trackpair(["config", "path"])?.expect(0, &[file.to_str().context("ASCII")?]);
    // Where nothing is set, the places that are meant are shown.
    let places = [home().join("data/trackpair/archive"), home().join("config/trackpair/shop.key")];
    let shown = places.clone().map(|place| format!("{} (default)", place.display()));
    trackpair(["config", "show"])?.expect(0, &["not there", &shown[0], &shown[1]]);
    ensure!(!file.exists() && !places[1].exists(), "showing makes nothing");
    Ok(())
}

#[test]
fn typed_goes_before_environment_before_file_before_default() -> Result<()> {
    let none = setting(&[], "rig")?;
    assert_eq!(none, (Value::Null, "default".to_owned()));
    configure("rig = 'sim:good-grip'\narchive = 'kept'\n")?;
    assert_eq!(setting(&[], "rig")?, ("sim:good-grip".into(), "file".to_owned()));
    let variables = [("TRACKPAIR_RIG", "sim:good-body")];
    assert_eq!(setting(&variables, "rig")?, ("sim:good-body".into(), "environment".to_owned()));
    // The rig that is meant says who it is; a body's model differs from a grip's in what can be asked of it.
    let asked = |arguments: &[&str], variables| -> Result<Value> {
        let said = with(arguments, variables)?;
        let document: Value = serde_json::from_str(&said.out)?;
        Ok(document["rigs"][0]["address"].clone())
    };
    assert_eq!(asked(&["rigs", "--json", "--ping", "2"], &[])?, "sim:good-grip");
    assert_eq!(asked(&["rigs", "--json", "--ping", "2"], &variables)?, "sim:good-body");
    let typed = ["rigs", "--json", "--ping", "2", "--rig", "sim:worn-grip"];
    assert_eq!(asked(&typed, &variables)?, "sim:worn-grip");
    Ok(())
}

#[test]
fn every_command_keeps_its_records_where_the_configuration_says() -> Result<()> {
    let file = configure("rig = 'sim:good-grip'\nsheet = 'grip-complementary'\narchive = 'kept'\n")?;
    let kept = file.parent().context("a folder")?.join("kept");
    let record = Record::only(&kept, trackpair(["procedure", "self-check"])?)?;
    record.said.expect(0, &[]);
    assert_eq!(record.outcome["sheet"]["name"], "grip-complementary");
    let other = tempdir()?;
    let typed = other.path().to_str().context("ASCII")?;
    Record::only(other.path(), trackpair(["procedure", "self-check", "--archive", typed])?)?;
    // A judgement is kept only when that is asked for.
    let trace = record.trace("self_check")?;
    let trace = trace.to_str().context("ASCII")?;
    let records = || record_folders(&kept).len();
    let before = records();
    trackpair(["judge", trace])?;
    assert_eq!(records(), before);
    trackpair(["judge", trace, "--keep"])?;
    assert_eq!(records(), before + 1);
    Ok(())
}

#[test]
fn without_any_rig_every_place_to_name_one_is_said() -> Result<()> {
    let places = ["--rig ADDRESS", "TRACKPAIR_RIG", "config path"];
    trackpair(["qualify"])?.expect(2, &places);
    trackpair(["rigs", "--ping", "3"])?.expect(2, &places);
    Ok(())
}

#[test]
fn a_mistake_in_the_file_is_pointed_at_before_anything_is_recorded() -> Result<()> {
    let file = configure("rig = 'sim:good-grip'\n[shop]\nname = 'S'\nlogo = 'none.png'\n")?;
    let place = |line: u32, column: u32| format!("{}:{line}:{column}", file.display());
    trackpair(["procedure", "self-check"])?.expect(2, &[&place(4, 8), "can't be read", "PNG or SVG"]);
    configure("arhive = 'x'\n")?;
    trackpair(["procedure", "self-check"])?
        .expect(2, &[&place(1, 1), "unknown key `arhive`", "did you mean `archive`"]);
    ensure!(!home().join("data").exists(), "nothing was recorded");
    // What needs no configuration goes on; what shows it says the same.
    trackpair(["sheet", "list"])?.expect(0, &["grip-complementary"]);
    trackpair(["config", "path"])?.expect(0, &["config.toml"]);
    trackpair(["config", "show"])?.expect(2, &["unknown key `arhive`"]);
    trackpair(["check-setup"])?.expect(1, &["PROBLEM", "line 1, column 1: unknown key", "did you mean"]);
    Ok(())
}

#[test]
fn the_example_can_be_used_as_it_is() -> Result<()> {
    configure(&trackpair(["config", "example"])?.out)?;
    trackpair(["config", "show"])?
        .expect(0, &["serial:/dev/ttyACM0 (file)", "Street and number, Town, Telephone"]);
    Ok(())
}
