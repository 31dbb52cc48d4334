//! `check-part` as a user runs it: a known part is registered, swept, charted; a rig whose calibration drifts is warned of before verdicts are
//! wrong.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::path::Path;
use tempfile::tempdir;
use trackpair_tests::cli::{trackpair, trackpair_told};

/// First sweeps of the registrations here: the fewest that there may be.
const FIRST: &str = "10";

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("a path of UTF-8")
}

fn register(known: &Path, rig: &str) -> Result<()> {
    let words = "the shop's own";
    let said = trackpair([
        "check-part",
        "register",
        text(known)?,
        "--rig",
        rig,
        "--part",
        words,
        "--sweeps",
        FIRST,
    ])?;
    said.expect(0, &["sweep 10 of 10 kept", "registered: sweep it daily"]);
    Ok(())
}

/// One more sweep: exit code and document.
fn sweep(known: &Path, rig: &str) -> Result<(i32, Value)> {
    let said = trackpair(["check-part", "sweep", text(known)?, "--rig", rig, "--json"])?;
    let code = said.code.context("it ends by itself")?;
    ensure!([0, 10, 11].contains(&code), "{code}: {}", said.err);
    Ok((code, serde_json::from_str(&said.out)?))
}

#[test]
fn a_known_part_is_registered_in_sittings_and_stays_steady() -> Result<()> {
    let folder = tempdir()?;
    let known = folder.path().join("known");
    let place = text(&known)?;
    trackpair(["check-part", "sweep", place])?.expect(2, &["is not there", "trackpair check-part register"]);
    let rig = "sim:good-grip?seed=4";
    let begin = ["check-part", "register", place, "--rig", rig, "--sweeps", FIRST, "--most", "4"];
    trackpair(begin)?.expect(0, &["sweep 4 of 10 kept", "6 first sweeps are left"]);
    trackpair(["check-part", "chart", place])?.expect(2, &["4 of 10 first sweeps are done", "goes on"]);
    trackpair(["check-part", "register", place])?
        .expect(0, &["going on, with the settings", "sweep 5 of 10 kept", "sweep 10 of 10 kept"]);
    trackpair(["check-part", "register", place])?.expect(2, &["is registered, with 10 sweeps"]);
    trackpair(["check-part", "chart", place])?.expect(0, &["is registered by 10 sweeps", "SIMULATED"]);
    // On the rig that it was registered on, which need not be named.
    let said = trackpair(["check-part", "sweep", place])?;
    said.expect(0, &["CHECK PART: STEADY", "voltage at closed stop, rising", "guard band"]);
    let report = folder.path().join("charts.html");
    let said = trackpair(["check-part", "chart", place, "--details", "--report", text(&report)?])?;
    said.expect(0, &["moving range up to", "individuals"]);
    ensure!(std::fs::read_to_string(&report)?.contains("Check part: steady"));
    Ok(())
}

/// The first line's converter drifts by the same amount each day: what it does to the voltages is linear, so the day on which the guard band is used
/// up is known from the gain alone.
#[test]
fn a_drift_of_gain_is_warned_of_before_a_verdict_is_wrong() -> Result<()> {
    let folder = tempdir()?;
    let known = folder.path().join("known");
    register(&known, "sim:good-grip?seed=4")?;
    let of = |document: &Value, figure: &str| {
        let all = document["figures"].as_array().cloned().unwrap_or_default();
        all.into_iter().find(|f| f["figure"] == figure && f["channel"] == "rising").context("it has it")
    };
    let (_, still) = sweep(&known, "sim:good-grip?seed=4")?;
    let open = of(&still, "open_volts")?;
    let guard = open["guard"].as_f64().context("a number")?;
    let volts = open["chart"]["baseline"]["mean"].as_f64().context("a number")?;
    // Twelve days to the end of the guard band.
    let days = 12.0;
    let gain_a_day = 100.0 * guard / volts / days;
    let (mut warned, mut wrong) = (None, None);
    for day in 1..=24 {
        let rig = format!("sim:good-grip?seed=4&gain={:.6}", gain_a_day * f64::from(day));
        let (code, document) = sweep(&known, &rig)?;
        if code == 11 && warned.is_none() {
            warned = Some(day);
            let words = trackpair(["check-part", "chart", text(&known)?])?;
            words.expect(11, &["MOVES", "mount the known part again", "of the guard band"]);
        }
        if code == 10 {
            ensure!(of(&document, "open_volts")?["state"] == "misjudges" || document["state"] == "misjudges");
            wrong = Some(day);
            break;
        }
    }
    let (warned, wrong) = (warned.context("it is warned of")?, wrong.context("it is told")?);
    ensure!(
        warned < wrong && f64::from(warned) < days,
        "warned on day {warned}, wrong on day {wrong}, of {days}"
    );
    Ok(())
}

#[test]
fn what_can_not_be_is_refused_and_a_hand_that_is_missing_ends_it_unharmed() -> Result<()> {
    let folder = tempdir()?;
    let known = folder.path().join("known");
    let place = text(&known)?;
    trackpair(["check-part", "register", place, "--sweeps", "3"])?.expect(2, &["3 is not in 10..=200"]);
    trackpair(["check-part", "register", place])?.expect(2, &["no rig is named"]);
    trackpair(["check-part", "register", place, "--rig", "nowhere"])?.expect(2, &["is not a rig address"]);
    ensure!(!known.exists(), "nothing is left of what was refused");
    // A rig of its own needs hands; nobody is there.
    let said = trackpair_told(["check-part", "register", place, "--rig", "tcp:127.0.0.1:1"], "")?;
    said.expect(20, &["mount the known part anew", "nobody confirmed", "run the same command again"]);
    // Somebody is, but the rig is not.
    let said = trackpair_told(["check-part", "register", place], "\n")?;
    said.expect(20, &["127.0.0.1:1"]);
    Ok(())
}
