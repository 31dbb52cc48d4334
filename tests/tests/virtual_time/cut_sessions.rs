//! Sessions that are cut at many moments, in every way: a sound part is never condemned by what the interruption did and never cleared by
//! what was not done; a defect that was seen whole before stands.

use std::sync::Mutex;
use trackpair::quantity::ProcedureKind;
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;
use trackpair::verdict::{HowEnded, Verdict, not_done};
use trackpair_tests::cuts::{Cut, grip, judged, throttle_body};
use trackpair_tests::draws::draws;
use trackpair_tests::parallel::on_all_cores;

/// SplitMix64 (Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014).
fn random(mut z: u64) -> u64 {
    z = z.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

fn grip_sheet() -> PartSheet {
    let mut sheet = shipped("grip-complementary").unwrap();
    sheet.sweep.cycles = 2;
    sheet
}

/// Every way to cut sound parts, each at so many seeded moments of its session; what went wrong.
fn wrong(count: u64, run: impl Fn(u64, Cut, u64) -> Vec<Trace> + Sync, sheet: &PartSheet) -> Vec<String> {
    let failures = Mutex::new(Vec::new());
    let parts = *draws(4).end();
    // When a session that nothing cuts records its last scan.
    let ends_us = on_all_cores(parts, |k| {
        let whole = run(1 + k, Cut::CtrlC, u64::MAX);
        *whole.last().and_then(|t| t.time_us.last()).expect("it recorded something")
    });
    let ways = Cut::ALL.len() as u64;
    on_all_cores(parts * ways * count, |k| {
        let (seed, cut) = (1 + k % parts, Cut::ALL[(k / parts % ways) as usize]);
        // Stratified: each moment of a way in its own part of the session.
        let part = k / (parts * ways);
        let longest_us = ends_us[seed as usize - 1];
        let at_us = (part * longest_us + random(k) % longest_us) / count;
        let Some((_, judgement)) = judged(&run(seed, cut, at_us), sheet) else { return };
        if judgement.overall != Verdict::Undecided {
            let why = format!("{:?}: {:?}", judgement.overall, judgement.reasons);
            let why = format!("seed {seed}, {cut:?} at {:.2} s: {why}", at_us as f64 / 1e6);
            failures.lock().unwrap().push(why);
        }
    });
    failures.into_inner().unwrap()
}

#[test]
fn a_sound_grip_that_is_cut_at_any_moment_is_undecided() {
    let sheet = grip_sheet();
    let run = |seed, cut, at_us| grip(&format!("good-grip?seed={seed}"), &sheet, cut, at_us);
    let found = wrong(8, run, &sheet);
    assert!(found.is_empty(), "{} of them:\n{}", found.len(), found.join("\n"));
}

#[test]
fn a_sound_body_that_is_cut_at_any_moment_is_undecided() {
    let sheet = shipped("body").unwrap();
    let run = |seed, cut, at_us| throttle_body(&format!("good-body?seed={seed}"), &sheet, cut, at_us);
    let found = wrong(1, run, &sheet);
    assert!(found.is_empty(), "{} of them:\n{}", found.len(), found.join("\n"));
}

#[test]
fn a_defect_that_was_seen_whole_before_the_cut_stands() {
    let sheet = grip_sheet();
    // Self-check about 11 s, then 1.5 cycles of the sweep or more.
    let stands = |part: &str, cut, at_us| {
        let traces = grip(part, &sheet, cut, at_us);
        let (_, judgement) = judged(&traces, &sheet).expect("something was recorded");
        (judgement.overall, judgement.reasons)
    };
    for seed in 1..=10 {
        for cut in [Cut::EmergencyStop, Cut::CtrlC, Cut::LostLink] {
            let (verdict, reasons) = stands(&format!("worn-grip?seed={seed}"), cut, 22_000_000);
            assert_eq!(verdict, Verdict::Outside, "seed {seed}, {cut:?}: {reasons:?}");
            assert!(reasons.iter().any(|r| r.starts_with("outside: ")), "{reasons:?}");
        }
    }
}

#[test]
fn what_a_session_left_undone_is_named_and_never_within() {
    let sheet = grip_sheet();
    let whole = grip("good-grip?seed=1", &sheet, Cut::CtrlC, u64::MAX);
    assert_eq!(whole.len(), 3);
    assert!(not_done(&whole.iter().collect::<Vec<_>>(), false).is_empty());
    assert_eq!(judged(&whole, &sheet).unwrap().1.overall, Verdict::Within);
    // The rig dies between two procedures: the sweep is whole, the leads check was never begun.
    let two: Vec<_> = whole[..2].to_vec();
    let left = not_done(&two.iter().collect::<Vec<_>>(), false);
    assert_eq!((left[0].procedure, left[0].how), (ProcedureKind::LeadsCheck, HowEnded::NotBegun));
    let judgement = judged(&two, &sheet).unwrap().1;
    assert_eq!(judgement.overall, Verdict::Undecided);
    assert!(
        judgement.reasons.iter().any(|r| r.contains("leads check was not begun")),
        "{:?}",
        judgement.reasons
    );
    // A sweep that is judged by itself misses nothing.
    assert!(not_done(&[&whole[1]], true).is_empty());
}
