//! A grip that does not close by itself is found, and nothing of a rig is taken for it: friction, gear, offset, scale or sign of its current, late
//! events, a clamp that slips, a run that is cut. 49 CFR 571.123: a motorcycle's manual throttle must be self-closing on release.

use anyhow::{Context, Result, ensure};
use tempfile::tempdir;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::self_closing;
use trackpair::quantity::{Channel, FigureName, FindingKind, ProcedureKind};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::{Trace, TraceEnd};
use trackpair::verdict::{FindingEffect, Judgement, Verdict};
use trackpair_tests::bench::{Run, link, run_plan};
use trackpair_tests::cli::{qualify, trackpair};
use trackpair_tests::draws::draws;

fn sheet(name: &str) -> PartSheet {
    shipped(name).expect("it ships")
}

fn run(part: &str, sheet: &PartSheet) -> Run {
    let run = run_plan(link(part), sheet);
    assert_eq!(run.failure, None, "{part}");
    run
}

/// The release alone, after something was done to its trace.
fn told(run: &Run, change: impl Fn(&mut Trace)) -> PartAnalysis {
    let mut trace = run.release.clone().expect("it was let go");
    change(&mut trace);
    let mut out = PartAnalysis::default();
    self_closing::tell(Some(&trace), ProcedureKind::Sweep, &mut out);
    out
}

fn value(analysis: &PartAnalysis, name: FigureName) -> Option<f64> {
    analysis.figures.iter().find(|f| f.name == name).map(|f| f.value)
}

fn judged(judgement: &Judgement, name: FigureName) -> Option<Verdict> {
    judgement.figures.iter().find(|f| f.figure.name == name)?.verdict
}

fn amps(trace: &mut Trace, change: impl Fn(f32) -> f32) {
    for column in trace.columns.iter_mut().filter(|c| c.channel == Channel::DriveAmps) {
        column.values.iter_mut().for_each(|v| *v = change(*v));
    }
}

fn on_any_rig(trace: &mut Trace) {
    trace.provenance.rig.as_mut().expect("a rig").lets_go = false;
}

#[test]
fn a_grip_without_its_spring_is_outside_and_the_finding_names_it() {
    let sheet = sheet("grip-complementary");
    for seed in draws(4) {
        let (analysis, judgement) = run(&format!("weak-spring-grip?seed={seed}"), &sheet).judge(&sheet);
        let told = || format!("seed {seed}: {:#?}\n{:#?}", judgement.reasons, analysis.not_testable);
        assert_eq!(judgement.overall, Verdict::Outside, "{}", told());
        assert_eq!(judged(&judgement, FigureName::ReturnRest), Some(Verdict::Outside), "{}", told());
        assert_eq!(judged(&judgement, FigureName::ReturnTorque), Some(Verdict::Outside), "{}", told());
        let named = judgement.findings.iter().find(|f| f.finding.kind == FindingKind::WeakSpring);
        assert!(named.is_some_and(|f| f.effect == FindingEffect::Outside), "{}", told());
    }
}

#[test]
fn sound_grips_of_every_kind_close_by_themselves() {
    for (part, name) in [
        ("good-grip", "grip-complementary"),
        ("good-pot-grip", "grip-complementary"),
        ("half-slope-grip", "grip-half-slope"),
        ("offset-grip", "grip-parallel-offset"),
    ] {
        let sheet = sheet(name);
        for seed in draws(4) {
            let (_, judgement) = run(&format!("{part}?seed={seed}"), &sheet).judge(&sheet);
            for figure in [FigureName::ReturnRest, FigureName::ReturnTime, FigureName::ReturnTorque] {
                let verdict = judged(&judgement, figure);
                assert_eq!(verdict, Some(Verdict::Within), "{part} {seed} {}: {judgement:#?}", figure.name());
            }
            assert_eq!(judgement.overall, Verdict::Within, "{part} {seed}: {:#?}", judgement.reasons);
        }
    }
}

#[test]
fn scale_offset_and_sign_of_the_drives_current_change_nothing() {
    let sheet = sheet("grip-complementary");
    for seed in draws(4) {
        for part in ["good-grip", "weak-spring-grip"] {
            let run = run(&format!("{part}?seed={seed}"), &sheet);
            let plain = value(&told(&run, |_| {}), FigureName::ReturnTorque).expect("a torque");
            let others: [fn(f32) -> f32; 4] = [|a| a + 0.9, |a| a - 2.5, |a| 17.0 * a - 1.0, |a| -0.03 * a];
            for (k, other) in others.into_iter().enumerate() {
                let changed =
                    value(&told(&run, |t| amps(t, other)), FigureName::ReturnTorque).expect("a torque");
                assert!(
                    (changed - plain).abs() < 0.02 * plain.abs() + 0.5,
                    "{part} {seed} {k}: {changed} {plain}"
                );
            }
            // A meter that has no direction gives no torque, and the releases decide as before.
            let blind = told(&run, |t| amps(t, f32::abs));
            assert_eq!(value(&blind, FigureName::ReturnTorque), None, "{part} {seed}");
            let without = told(&run, |t| t.columns.retain(|c| c.channel != Channel::DriveAmps));
            assert!(
                without
                    .not_testable
                    .iter()
                    .any(|n| n.what == "return_torque" && n.why.contains("does not tell"))
            );
            let kinds = |a: &PartAnalysis| a.findings.iter().map(|f| f.kind).collect::<Vec<_>>();
            assert_eq!(kinds(&blind), kinds(&without), "{part} {seed}");
            assert!(part != "good-grip" || without.findings.is_empty(), "{part} {seed}");
        }
    }
}

#[test]
fn a_rig_that_may_hold_the_grip_open_condemns_none_and_clears_none_that_hangs() -> Result<()> {
    let sheet = sheet("grip-complementary");
    let folder = tempdir()?;
    // 0.38 N·m of friction, more than the spring bears, stand for a heavy gear of the rig.
    let heavy = folder.path().join("heavy.toml");
    let hall = "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\nspread = true\n";
    std::fs::write(&heavy, format!("{hall}[[fault]]\nkind = \"seized\"\nfriction_nm = 0.38\n"))?;
    let heavy = heavy.to_str().context("UTF-8")?.to_owned();
    for seed in draws(4) {
        for part in [format!("{heavy}?seed={seed}"), format!("weak-spring-grip?seed={seed}")] {
            let mut run = run(&part, &sheet);
            on_any_rig(run.release.as_mut().context("a release")?);
            let (analysis, judgement) = run.judge(&sheet);
            assert_eq!(judged(&judgement, FigureName::ReturnRest), Some(Verdict::Undecided), "{part}");
            assert_ne!(judgement.overall, Verdict::Within, "{part}: {:#?}", judgement.reasons);
            let of_the_return = |f: &&trackpair::analysis::Finding| f.kind.is_of_a_return();
            assert_eq!(analysis.findings.iter().find(of_the_return), None, "{part}");
            let said = judgement.reasons.iter().any(|r| r.contains("unclamp the grip"));
            assert!(said, "{part}: {:#?}", judgement.reasons);
            // Nothing but what is measured at the lines may still be outside.
            let wrong = judgement
                .figures
                .iter()
                .find(|f| f.figure.name.is_of_a_release() && f.verdict == Some(Verdict::Outside));
            assert!(wrong.is_none(), "{part}: {wrong:?}");
        }
        // One that comes back has shown it on any rig.
        let mut run = run(&format!("good-grip?seed={seed}"), &sheet);
        on_any_rig(run.release.as_mut().context("a release")?);
        assert_eq!(run.judge(&sheet).1.overall, Verdict::Within, "seed {seed}");
    }
    Ok(())
}

#[test]
fn events_that_come_late_runs_that_are_cut_and_clamps_that_slip_condemn_no_sound_grip() {
    let sheet = sheet("grip-complementary");
    for seed in draws(4) {
        let run = run(&format!("good-grip?seed={seed}"), &sheet);
        for late_us in [1_000, 100_000, 300_000, 700_000, 1_500_000] {
            let out = told(&run, |t| t.marks.iter_mut().for_each(|m| m.at_us += late_us));
            assert!(out.findings.is_empty(), "seed {seed}, {late_us} us late: {:?}", out.findings);
            let left = value(&out, FigureName::ReturnRest);
            assert!(left.is_none_or(|deg| deg < 1.0), "seed {seed}, {late_us} us late: {left:?}");
        }
        let whole = run.release.as_ref().map_or(0, Trace::len);
        for share in [0.05, 0.3, 0.5, 0.55, 0.6, 0.8, 0.95] {
            let out = told(&run, |t| {
                let keep = (share * whole as f64) as usize;
                t.time_us.truncate(keep);
                t.columns.iter_mut().for_each(|c| c.values.truncate(keep));
                let last = t.time_us.last().copied().unwrap_or(0);
                t.marks.retain(|m| m.at_us <= last);
                t.end = TraceEnd::Guard;
            });
            assert!(out.findings.is_empty(), "seed {seed}, cut at {share}: {:?}", out.findings);
            let left = value(&out, FigureName::ReturnRest);
            assert!(left.is_none_or(|deg| deg < 1.0), "seed {seed}, cut at {share}: {left:?}");
        }
        let slips = run_plan(link(&format!("slipping-grip?seed={seed}")), &sheet);
        let mut out = PartAnalysis::default();
        self_closing::tell(slips.release.as_ref(), ProcedureKind::Sweep, &mut out);
        assert!(out.findings.is_empty() && out.figures.is_empty(), "seed {seed}: {:?}", out.findings);
    }
}

#[test]
fn what_no_drive_let_go_is_judged_by_its_lines_and_says_what_was_not_tested() -> Result<()> {
    let archive = tempdir()?;
    let place = archive.path().to_str().context("UTF-8")?;
    let rig = "sim:good-grip?seed=3&operator=hand";
    let hand = ["procedure", "hand-sweep", "--rig", rig, "--for", "20s", "--archive", place, "--json"];
    let said = trackpair(hand)?;
    let outcome: serde_json::Value = serde_json::from_str(&said.out).context(said.err.clone())?;
    let reasons = outcome["reasons"].as_array().context("reasons")?;
    ensure!(outcome["verdict"] == "within", "{reasons:?}");
    ensure!(reasons[0].as_str().is_some_and(|r| r.starts_with("self-closing was not tested")), "{reasons:?}");
    // A shop may ask for it.
    let strict = archive.path().join("strict.toml");
    let text = trackpair::sheet::shipped_text("grip-complementary").context("a sheet")?;
    std::fs::write(&strict, text.replace("required = false", "required = true"))?;
    let said = trackpair([&hand[..], &["--sheet", strict.to_str().context("UTF-8")?]].concat())?;
    ensure!(said.code == Some(11), "{}", said.err);
    // A sheet from before has neither limits nor rules for it, and still reads.
    let start = text.find("# A grip must close by itself").context("the passage")?;
    let end = text.find("# What findings mean").context("the findings")?;
    let mut old = format!("{}{}", &text[..start], &text[end..]);
    for kind in ["weak_spring", "broken_spring", "slow_return"] {
        let from = old.find(&format!("[[finding]]\nkind = \"{kind}\"")).context("a rule")?;
        let to = old[from + 1..].find("\n[[").or_else(|| old[from + 1..].find("\n# ")).context("its end")?
            + from
            + 1;
        old.replace_range(from..to, "");
    }
    let file = archive.path().join("old.toml");
    std::fs::write(&file, old)?;
    let another = tempdir()?;
    let record = qualify(
        "sim:weak-spring-grip?seed=2",
        another.path(),
        &["--sheet", file.to_str().context("UTF-8")?],
    )?;
    ensure!(record.said.code == Some(10), "{}", record.said.out);
    Ok(())
}
