//! `explain`: every figure that a record states can be explained, and its budget adds up to what the record states.

use anyhow::{Context, Result};
use serde_json::Value;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, qualify, trackpair};

/// What `explain all --json` says of a record.
fn explained(record: &Record) -> Result<Vec<Value>> {
    let folder = record.folder.to_str().context("a path of UTF-8")?;
    let said = trackpair(["explain", "all", folder, "--json"])?;
    said.expect(0, &[]);
    let document: Value = serde_json::from_str(&said.out)?;
    Ok(document["figures"].as_array().context("figures")?.clone())
}

#[test]
fn every_figure_of_a_record_is_explained_and_its_budget_adds_up() -> Result<()> {
    for rig in ["sim:worn-grip", "sim:good-body"] {
        let archive = tempdir()?;
        let record = qualify(rig, archive.path(), &[])?;
        let all = explained(&record)?;
        let stated = record.outcome["figures"].as_array().context("figures")?;
        // What the release of a grip shows is put beside the analysis of its lines.
        let told = |f: &&Value| !f["figure"].as_str().unwrap_or_default().starts_with("return_");
        assert_eq!(all.iter().filter(told).count(), stated.iter().filter(told).count(), "{rig}");
        for e in &all {
            let number = |key: &str| e[key].as_f64().unwrap_or(f64::NAN);
            let of = format!("{rig}: {} {} {}", e["figure"], e["channel"], e["condition"]);
            assert_eq!(e["value"], e["stored_value"], "{of}");
            let budget = e["budget"].as_array().context("a budget")?;
            let (mut squares, mut shares) = (0.0, 0.0);
            for entry in budget {
                squares += entry["standard_uncertainty"].as_f64().context("a number")?.powi(2);
                shares += entry["share"].as_f64().context("a number")?;
            }
            let expanded = 2.0 * (squares + number("added").powi(2)).sqrt();
            let stored = number("stored_expanded_uncertainty");
            assert!((expanded - stored).abs() <= 1e-9 * stored.max(1e-9), "{of}: {expanded} for {stored}");
            assert!(budget.is_empty() || (shares - 1.0).abs() < 1e-9, "{of}: shares add up to {shares}");
        }
    }
    Ok(())
}

#[test]
fn more_cycles_make_scatter_smaller_and_leave_the_calibration_as_it_is() -> Result<()> {
    let entry = |cycles: &str, name: &str, source: &str| -> Result<f64> {
        let archive = tempdir()?;
        let record = qualify("sim:good-grip?seed=3", archive.path(), &["--cycles", cycles])?;
        let all = explained(&record)?;
        let figure = all
            .iter()
            .find(|e| e["figure"] == name && e["channel"] == "rising")
            .with_context(|| format!("no {name}"))?;
        let entries = figure["budget"].as_array().context("a budget")?;
        Ok(entries
            .iter()
            .find(|e| e["source"] == source)
            .map_or(0.0, |e| e["standard_uncertainty"].as_f64().unwrap_or(f64::NAN)))
    };
    let (few, many) =
        (entry("2", "linearity_independent", "scatter")?, entry("16", "linearity_independent", "scatter")?);
    assert!(many < 0.6 * few, "scatter of 2 cycles {few}, of 16 {many}: eight times as many make it a third");
    let (few, many) = (entry("2", "closed_volts", "gain")?, entry("16", "closed_volts", "gain")?);
    assert!(few > 0.0 && (many / few - 1.0).abs() < 0.01, "gain of 2 cycles {few}, of 16 {many}");
    Ok(())
}

#[test]
fn what_can_not_be_explained_is_said_with_what_can() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:good-grip", archive.path(), &[])?;
    let folder = record.folder.to_str().context("a path of UTF-8")?;
    trackpair(["explain", "linearity", folder])?
        .expect(2, &["no figure \"linearity\"", "linearity_independent"]);
    trackpair(["explain", "lash", folder])?.expect(2, &["has no lash", "hysteresis"]);
    trackpair(["explain", "noise", "no-such-record"])?.expect(2, &["no-such-record"]);
    trackpair(["explain", "noise", folder, "--line", "falling"])?
        .expect(0, &["noise, falling", "scatter between scans", " mV", "von Neumann", "k = 1"]);
    Ok(())
}
