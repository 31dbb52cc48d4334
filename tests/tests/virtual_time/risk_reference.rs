//! What a decision rule risks, against scipy's bivariate normal distribution (`risks.py`), and as `sheet show` prints it.

use anyhow::{Context, Result, ensure};
use serde_json::{Value, json};
use std::fs;
use tempfile::tempdir;
use trackpair::sheet::{parse, shipped_text};
use trackpair::verdict::{CONFORMANCE_PROBABILITY, Measured};
use trackpair_tests::cli::trackpair;
use trackpair_tests::programs;

/// Limits, uncertainty, mean and spread of the parts.
type Case = (Option<f64>, Option<f64>, f64, f64, f64);

const CASES: [Case; 8] = [
    (Some(-1.0), Some(1.0), 0.25, 0.0, 0.51),
    (Some(-1.0), Some(1.0), 0.1, 0.3, 0.4),
    (Some(0.35), Some(0.65), 0.019, 0.5, 0.06),
    (Some(-1.0), Some(1.0), 0.5, 0.0, 0.6),
    (Some(-1.0), Some(1.0), 0.55, 0.1, 0.6),
    (None, Some(0.5), 0.05, 0.2, 0.12),
    (None, Some(0.5), 0.2, 0.6, 0.3),
    (Some(100.0), None, 8.0, 130.0, 20.0),
];

#[test]
fn the_risks_are_those_of_an_independent_program() -> Result<()> {
    let of = |(min, max, u, mean, sd): Case| {
        let measured = Measured { min, max, u };
        let risks = measured.risks_of_normal(&measured.zones(CONFORMANCE_PROBABILITY), mean, sd);
        json!({ "min": min, "max": max, "u": u, "mean": mean, "sd": sd, "consumer": risks.consumer,
            "producer": risks.producer, "held_back": risks.held_back, "beyond": risks.beyond })
    };
    let cases: Vec<Value> = CASES.into_iter().map(of).collect();
    let said = programs::script_says("risks.py", &json!(cases).to_string())?;
    ensure!(said.contains("8 cases of four risks agree"), "{said}");
    Ok(())
}

#[test]
fn a_shown_sheet_is_still_that_sheet_and_tells_both_risks_once() -> Result<()> {
    let folder = tempdir()?;
    for name in ["grip-complementary", "body", "pair"] {
        let said = trackpair(["sheet", "show", name])?;
        said.expect(
            0,
            &[
                "consumer's risk",
                "producer's risk",
                "5 % are accepted, 5 % are called outside",
                "ISO 14253-1",
            ],
        );
        let shipped = shipped_text(name).context("it ships")?;
        assert!(said.out.starts_with(shipped), "{name}: the text comes first, unchanged");
        assert_eq!(parse(&said.out, name)?, parse(shipped, name)?, "what is added is not read");
        // Shown again from the file, it stands there once.
        let file = folder.path().join(format!("{name}.toml"));
        fs::write(&file, &said.out)?;
        let again = trackpair(["sheet", "show", file.to_str().context("UTF-8")?])?;
        assert_eq!(again.out, said.out, "{name}");
    }
    Ok(())
}

#[test]
fn with_records_the_risks_are_for_their_spread_and_their_uncertainty() -> Result<()> {
    let folder = tempdir()?;
    let shelf = folder.path().to_str().context("UTF-8")?;
    for seed in 1..=10 {
        trackpair(["qualify", "--rig", &format!("sim:good-grip?seed={seed}"), "--archive", shelf])?
            .expect(0, &[]);
    }
    let said = trackpair(["sheet", "show", "grip-complementary", "--records", shelf, "--json"])?;
    said.expect(0, &[]);
    let document: Value = serde_json::from_str(&said.out)?;
    assert_eq!(document["records"]["used"], 10);
    let limits = document["limits"].as_array().context("a list")?;
    let closed = &limits[0]["measured"][0];
    let (u, sd) = (closed["standard_uncertainty"].as_f64(), closed["standard_deviation"].as_f64());
    // Healthy parts scatter by 0.3 % of supply in their offset (bench-rig/sim/PARTS.md), 15 mV at 5 V, and a bench knows better.
    assert!(u < sd && sd > Some(0.005) && sd < Some(0.03), "{closed}");
    assert!(limits.iter().any(|l| l["not_from_records"].is_string()), "events have no spread");
    trackpair(["sheet", "show", "grip-complementary", "--records", shelf])?
        .expect(0, &["SIMULATED", "10 records", "is in the spread"]);
    Ok(())
}

#[test]
fn what_can_not_be_shown_is_refused_and_says_what_can() -> Result<()> {
    trackpair(["sheet", "show", "grip"])?
        .expect(2, &["no part sheet is named \"grip\"", "grip-complementary"]);
    let none = ["sheet", "show", "body", "--records", "/dev/null"];
    trackpair(none)?.expect(2, &["none of the records can be read"]);
    let stored = programs::repository().join("tests/data/records/note-1");
    let one = ["sheet", "show", "grip-complementary", "--records", stored.to_str().context("UTF-8")?];
    trackpair(one)?.expect(2, &["10 at least are needed"]);
    Ok(())
}
